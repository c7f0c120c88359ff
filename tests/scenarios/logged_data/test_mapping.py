"""The mapping file, and reading a log by it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from scenarios.errors import InputRefused
from scenarios.logged_data.mapping import read_mapping, write_mapping
from scenarios.logged_data.proposal import inspect_logs
from scenarios.logged_data.reader import read_log
from scenarios.logged_data.records import Quality

LOG = "Zeit;Saugdruck [bar];Sauggastemp. [°C];Druckgastemp. [°C];Motor läuft\n" + "".join(
    f"27.11.2026 02:{k // 60:02d}:{k % 60:02d};{1.91 + 0.01 * (k % 3):.2f};-6,4;75,{k % 10};{int(k < 250)}\n".replace(
        "1.9", "1,9"
    )
    for k in range(300)
)


@pytest.fixture
def log(tmp_path: Path) -> Path:
    path = tmp_path / "night.csv"
    path.write_text(LOG, encoding="cp1252")
    return path


def mapped(log: Path, **changes: str) -> Path:
    out = log.with_name("m.toml")
    found = inspect_logs([log], out)
    write_mapping(found.mapping)
    text = out.read_text()
    for old, new in changes.items():
        text = text.replace(old, new)
    out.write_text(text)
    return out


def test_a_question_is_refused_with_its_line_and_choices(log: Path) -> None:
    out = mapped(log)
    line = next(k for k, text in enumerate(out.read_text().splitlines(), 1) if text == 'unit = "?"')
    with pytest.raises(InputRefused) as caught:
        read_mapping(out)
    problem = caught.value.problems[0]
    assert problem.line == line
    assert "bar(g) or bar(a)" in problem.limit
    assert "gauge or absolute" in problem.message


def answer(out: Path, unit: str) -> Path:
    out.write_text(out.read_text().replace('unit = "?"', f'unit = "{unit}"'))
    return out


def test_an_answer_makes_kpa_absolute(log: Path) -> None:
    data = read_log([log], answer(mapped(log), "bar(g)"))
    assert data.series["suction_pressure_kpa_abs"].values[0] == pytest.approx(191.0 + 101.325)
    assert data.series["motor_running"].values.tolist()[249:251] == [1.0, 0.0]
    assert data.series["discharge_temperature_c"].interval_ms == 1000.0


@pytest.mark.parametrize(
    ("unit", "words"),
    [
        ("bar", "gauge or absolute"),
        ("furlong", "no unit of"),
        ("°C", "saturation"),
        ("kW", "no unit of"),
        ("MPa(a)", "unusual|cannot"),
    ],
)
def test_wrong_answers_are_refused(log: Path, unit: str, words: str) -> None:
    with pytest.raises(InputRefused, match=words):
        read_log([], answer(mapped(log), unit))


def test_what_is_impossible_is_refused_even_when_checked(log: Path) -> None:
    out = answer(mapped(log), "MPa(a)")
    out.write_text(out.read_text().replace("confidence = 0.6", "checked = true\nscale = 100.0"))
    with pytest.raises(InputRefused, match="cannot be"):
        read_log([], out)


def test_milliamps_need_their_span(log: Path) -> None:
    path = log.with_name("loop.csv")
    path.write_text(
        "time [s];PT_SUC [mA]\n" + "".join(f"{k};{ma}\n" for k, ma in enumerate([4.0, 12.0, 20.0, 3.5, 21.5, 3.9] * 5))
    )
    out = path.with_name("l.toml")
    write_mapping(inspect_logs([path], out).mapping)
    with pytest.raises(InputRefused, match="span"):
        read_log([], answer(out, "mA"))
    out.write_text(out.read_text().replace('unit = "mA"', 'unit = "mA"\nat_4_ma = "0 kPa"\nat_20_ma = "9 bar(g)"'))
    series = read_log([], out).series["suction_pressure_kpa_abs"]
    assert series.values[:3].tolist() == pytest.approx([0.0, 500.6625, 1001.325])
    assert [bool(q & Quality.OUT_OF_RANGE) for q in series.quality[:6]] == [False, False, False, True, True, False]


def test_a_typing_error_in_the_mapping_is_told(log: Path) -> None:
    out = answer(mapped(log), "bar(g)")
    text = out.read_text()
    for old, new, words in (
        ("suction_pressure_kpa_abs", "suction_presure_kpa_abs", "did you mean"),
        ('column = "Saugdruck"', 'column = "Saugdrück"', "has no column"),
        ('kind = "trends"', 'kind = "trend"', "no kind of log"),
        ("time_zone = ", "time_zonne = ", "unknown key"),
        ('"as written"', '"Mars/Olympus"', "no time zone"),
        ('signal = "suction_temperature_c"', 'signal = "discharge_temperature_c"', "are both"),
    ):
        assert old in text
        out.write_text(text.replace(old, new, 1))
        with pytest.raises(InputRefused, match=words):
            read_log([], out)


def test_another_file_than_the_mapping_names(log: Path, tmp_path: Path) -> None:
    with pytest.raises(InputRefused, match="not in the mapping"):
        read_log([tmp_path / "other.csv"], answer(mapped(log), "bar(g)"))


def test_own_trace_maps_itself(tmp_path: Path) -> None:
    import polars as pl

    frame = pl.DataFrame({
        "time_ms": np.arange(0, 60_000, 1000), "time_s": np.arange(60.0),
        "suction_pressure_measured_pa": 290e3 + np.arange(60.0),
        "suction_pressure_pa": 290e3 + np.arange(60.0), "capacity_travel_measured_frac": np.linspace(0.2, 0.8, 60),
        "motor_running": [True] * 60, "mode": ["AUTOMATIC"] * 60,
    })  # fmt: skip
    frame.write_parquet(tmp_path / "trace.parquet")
    found = inspect_logs([tmp_path / "trace.parquet"], tmp_path / "m.toml")
    assert found.mapping.questions() == 0
    write_mapping(found.mapping)
    data = read_log([], tmp_path / "m.toml")
    assert data.series["suction_pressure_kpa_abs"].values[10] == pytest.approx(290.01)
    assert data.series["capacity_position_pct"].values[-1] == pytest.approx(80.0)
    assert data.series["mode"].values[0] == 5.0
