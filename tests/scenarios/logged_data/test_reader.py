"""A log read as its mapping says: what contradicts the answers is refused or told."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from scenarios.errors import InputRefused
from scenarios.logged_data.mapping import write_mapping
from scenarios.logged_data.proposal import inspect_logs
from scenarios.logged_data.reader import read_log

HEAD = (
    "Time;Suction pressure [bar(a)];Discharge pressure [bar(a)];Suction temp [{}];Discharge temp [°C];Motor current [A]"
)


def written(
    folder: Path, suction_temp: float = -5.0, label: str = "°C", head: str = HEAD, current_a: float = 205.0
) -> Path:
    """A log of 200 s; the last fifth of it stands at rest, with warm gas."""
    lines = [head.format(label)]
    for k in range(200):
        wave, runs = 0.01 * np.sin(k / 9.0), k < 160
        cells = [
            2.91 + wave,
            13.5 + wave,
            (suction_temp if runs else 24.0) + wave,
            72.0 + wave,
            current_a * runs + wave,
        ]
        lines.append(";".join([f"2026-05-13 01:{k // 60:02d}:{k % 60:02d}", *(f"{c:.3f}" for c in cells)]))
    (folder / "log.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return folder / "log.csv"


def mapped(log: Path) -> Path:
    found = inspect_logs([log], log.with_name("m.toml"))
    write_mapping(found.mapping)
    return log.with_name("m.toml")


def test_a_sound_log_has_no_issue_and_a_standing_machine_is_not_judged(tmp_path: Path) -> None:
    data = read_log([], mapped(written(tmp_path)))
    assert data.issues["log.csv"] == []
    assert len(data.series) == 5


def test_an_answer_that_the_running_machine_contradicts_is_told(tmp_path: Path) -> None:
    """−5 °C written as 23 °F under a header of °C, and somebody answers °C all the same."""
    mapping = mapped(written(tmp_path, 23.0))
    assert 'unit = "?"' in mapping.read_text()
    mapping.write_text(mapping.read_text().replace('signal = "suction_temperature_c"\nunit = "?"',
                                                   'signal = "suction_temperature_c"\nunit = "°C"')
                       .replace('unit = "?"', 'unit = "bar(a)"'))  # fmt: skip
    issues = read_log([], mapping).issues["log.csv"]
    assert [i.kind for i in issues] == ["unit"]
    assert "33 K of superheat" in issues[0].text


def test_a_refrigerant_that_is_none_is_refused_in_words(tmp_path: Path) -> None:
    mapping = mapped(written(tmp_path))
    mapping.write_text(mapping.read_text().replace('refrigerant = "R717"', 'refrigerant = "R9999"'))
    with pytest.raises(InputRefused, match="R9999") as refused:
        read_log([], mapping)
    assert refused.value.problems[0].file == str(mapping)


def test_two_columns_of_one_name_are_told_apart_and_it_is_said(tmp_path: Path) -> None:
    log = written(tmp_path, head=HEAD.replace("Discharge temp [°C]", "Suction temp [°C]"))
    found = inspect_logs([log], tmp_path / "m.toml")
    assert [p.column.name for p in found.files[0].proposals].count("Suction temp (2)") == 1
    assert any('is called "Suction temp (2)" here' in issue.text for issue in found.files[0].issues)


def test_a_cut_line_is_read_as_far_as_it_goes(tmp_path: Path) -> None:
    log = written(tmp_path)
    log.write_bytes(log.read_bytes()[:-30])  # within the last line
    issues = read_log([], mapped(log)).issues["log.csv"]
    assert any("may be cut off" in issue.text for issue in issues)
    assert [issue.line for issue in issues if "fewer or more" in issue.text] == [201]
