"""The season command: its table and page from a made season, its refusals, and its place on disk."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pvlib
import pytest
from click.testing import CliRunner

from scenarios import season as computed
from scenarios.errors import InputRefused
from scenarios.season_days import MonthDay
from scenarios.season_records import GAS_RATIOS, DayResult, Season, Variant
from scenarios.weather_log import MONTH_DAYS, MONTH_STARTS
from tools.season import answer_lines, as_dict, held_table, month_table, season
from tools.season_report import write_season_report

LIBRARY = Path(__file__).resolve().parents[2] / "scenarios" / "library"
PUBLIC = Path(pvlib.__file__).parent / "data"


def day(k: int, ratio: float | None, motor: float) -> DayResult:
    moving = tuple(motor * (1.05 + 0.1 * abs(r - 2.5)) for r in GAS_RATIOS)
    return DayResult(
        MONTH_STARTS[k],
        ratio,
        motor,
        300.0,
        8000.0,
        1.0,
        2.0,
        24.0,
        10.0 + k,
        5.0 + k,
        15.0 + k,
        50.0,
        60.0,
        0,
        0,
        moving,
    )


def made(factors: tuple[float, ...] = (1.10, 1.04, 1.08), wet_bulb_k: float = 280.0) -> Season:
    months = tuple(MonthDay(k + 1, MONTH_STARTS[k], MONTH_DAYS[k], wet_bulb_k, 281.0, 3e5, 3e5) for k in range(12))
    slides = Variant(None, tuple(day(k, None, 1500.0 + 20 * k) for k in range(12)), MONTH_DAYS)
    held = tuple(
        Variant(ratio, tuple(day(k, ratio, factor * (1500.0 + 20 * k)) for k in range(12)), MONTH_DAYS)
        for ratio, factor in zip((2.6, 3.4, 4.4), factors, strict=True)
    )
    return Season(months, slides, held, 3, ("a <note>",))


def test_the_answer_says_what_was_saved_and_against_what() -> None:
    first, second = answer_lines(made())
    assert "full-load ratio 3.40" in first
    assert "saves 3.8 % of the motor's energy" in first  # 1 − 1/1.04
    assert "an estimate" in second
    best = min(GAS_RATIOS, key=lambda r: abs(r - 2.5))
    assert f"gives the gas {best:.2f}" in second


def test_the_tables_have_a_line_a_month_and_a_line_a_port() -> None:
    months, held = month_table(made()), held_table(made())
    assert [list(months.columns[0].cells)[k] for k in (0, 11, 12)] == ["Jan", "Dec", "year"]
    assert set(months.columns[-2].cells) == {"3.8", "3.85"}
    ports = list(held.columns[0].cells)
    assert ports == ["slides working", "held at 2.60", "held at 3.40 (best)", "held at 4.40"]


def test_a_negative_figure_has_a_true_minus_sign_everywhere() -> None:
    found = made(factors=(0.99, 1.0, 1.0), wet_bulb_k=266.15)
    tables = (month_table(found), held_table(found))
    cells = [str(cell) for table in tables for column in table.columns for cell in column.cells]
    assert "−1.01" in cells  # 1 − 1/0.99
    assert "7.9 (−7.0)" in cells  # wet bulb, °C
    assert not [text for text in (*cells, *answer_lines(found)) if re.search(r"(?<!\w)-\d", text)]


def test_the_page_stands_alone_and_says_the_same(tmp_path: Path) -> None:
    found = made()
    answer = answer_lines(found)
    path = tmp_path / "report.html"
    write_season_report(
        path, found, "A year <here>", [("notes", "a <note>")], answer, month_table(found), held_table(found)
    )
    text = path.read_text(encoding="utf-8")
    assert "A year &lt;here&gt;" in text
    assert "a &lt;note&gt;" in text
    assert answer[0].replace("'", "&#39;") in text
    assert "held at 3.40 (best)" in text
    assert not re.findall(r'<(?:script|link|img)[^>]+(?:src|href)="http', text)
    assert [p.name for p in tmp_path.iterdir()] == ["report.html"]


def test_the_figures_on_disk_are_plain_json() -> None:
    data = json.loads(json.dumps(as_dict(made(), "t"), allow_nan=False))
    assert data["best_held_ratio"] == 3.4
    assert data["saving_against_best_held_pct"] == pytest.approx(100 * (1 - 1 / 1.04))
    assert data["saving_against_best_held_all_energy_pct"] < data["saving_against_best_held_pct"]
    assert len(data["slides"]["days"]) == len(data["months"]) == 12


def arguments(folder: Path, **other: str) -> list[str]:
    given = {
        "weather": str(PUBLIC / "703165TY.csv"),
        "load": str(LIBRARY / "loads" / "fish_hall_whole_day.csv"),
        "settings": str(LIBRARY / "sheets" / "demo_scheduled_pi.toml"),
        "out": str(folder),
        **other,
    }
    return [
        str(LIBRARY / "plants" / "harrow_ness.toml"),
        *(x for key, value in given.items() for x in (f"--{key}", value)),
    ]


def invoke(args: list[str]) -> None:
    CliRunner().invoke(season, args, catch_exceptions=False, standalone_mode=False)


@pytest.mark.parametrize(
    ("other", "words"),
    [
        ({"ratio": "9"}, "--ratio 9 is out of reach; the slide reaches 1.3 to 6.2"),
        ({"weather": str(LIBRARY / "weather" / "upland_town_may_tmy3.csv")}, "is not a whole year"),
        ({"weather": "nowhere.csv", "load": "nothing.csv"}, "nothing.csv: no such file"),
        ({"controller": "nobody"}, 'unknown controller "nobody"'),
    ],
)
def test_what_is_refused_before_anything_runs(tmp_path: Path, other: dict[str, str], words: str) -> None:
    with pytest.raises(InputRefused) as caught:
        invoke(arguments(tmp_path / "out", **other))
    assert words in str(caught.value)
    assert not (tmp_path / "out").exists()


def test_a_folder_of_other_things_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("mine")
    with pytest.raises(InputRefused, match=r"holds other files \(mine.txt\)"):
        invoke(arguments(tmp_path))


def test_a_season_from_the_command_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every part but the twelve days' runs, which are made up here; tests/scenarios/test_season.py runs days."""

    def one(self: computed.SeasonRun, month: MonthDay, ratio: float | None, _progress: object) -> DayResult:
        factor = 1.0 if ratio is None else 1.03 + 0.2 * (ratio / 3.4 - 1.0) ** 2
        return day(month.month - 1, ratio, 1500.0 * factor)

    monkeypatch.setattr(computed.SeasonRun, "day", one)
    result = CliRunner().invoke(season, arguments(tmp_path / "out"), standalone_mode=False)
    assert result.exception is None, result.exception
    data = json.loads((tmp_path / "out" / "season.json").read_text(encoding="utf-8"))
    assert data["best_held_ratio"] == pytest.approx(3.4, abs=0.1)  # found between the built-in 3.0 and 3.6
    assert data["saving_against_best_held_pct"] == pytest.approx(100.0 * (1.0 - 1.0 / 1.03), abs=0.02)
    assert (tmp_path / "out" / "report.html").stat().st_size > 100_000
    assert "no safety system" in result.output
