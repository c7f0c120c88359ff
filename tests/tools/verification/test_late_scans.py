"""Scans that come late: what they do to a run, and what they excuse."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from scenarios.preparation import SCAN_MS, prepare
from scenarios.trace import Event
from tests.tools.verification.bench import finding, trace
from tools.verification.campaign import LIBRARY
from tools.verification.findings import Verdict
from tools.verification.late_scans import SETTLES_MS, excused, late_spells
from tools.verification.trial_judge import player_of

LATE = Event(2_000, "disturbance", "late_scan", "the next scan is late")
AGAIN = Event(2_500, "disturbance", "late_scan", "scans come in time again")


def test_spells_end_where_scans_come_in_time_again() -> None:
    run = trace(10, events=[LATE, Event(2_200, "disturbance", "late_scan", "the next scan is late"), AGAIN])
    assert late_spells(run) == [(2_000.0, 2_500.0)]
    assert late_spells(trace(10, events=[LATE])) == [(2_000.0, np.inf)]
    assert late_spells(trace(10)) == []


def test_a_requirement_is_not_asked_while_scans_are_late_nor_where_its_window_reaches_them() -> None:
    times_ms = np.arange(0.0, 12_000.0, 100.0)
    out = excused(times_ms, [(2_000.0, 2_500.0)], 1_000.0)
    assert times_ms[out][0] == 1_000.0
    assert times_ms[out][-1] == 2_500.0 + SETTLES_MS


def test_what_breaks_long_after_a_late_scan_is_broken() -> None:
    """The same breach is excused beside the late scan and not a minute later."""
    beside = [20 <= k < 25 for k in range(700)]
    later = [20 <= k < 25 or k == 650 for k in range(700)]
    for motor, verdict in ((beside, Verdict.HELD), (later, Verdict.FAILED)):
        run = trace(700, events=[LATE, AGAIN], motor_run=motor)
        assert finding("not motor_run", run).verdict is verdict


def test_outputs_stand_still_while_no_scan_comes_and_waits_are_never_shorter(tmp_path: Path) -> None:
    """The shipped scenario: outputs in the rows of a late spell are those of the last scan before it."""
    (prepared,) = prepare([LIBRARY / "verification" / "late_scans.toml"], log_ms=SCAN_MS)
    run, failure = player_of(tmp_path)(prepared)
    assert failure == ""
    spells = late_spells(run)
    assert len(spells) == 6
    times_ms = run["time_ms"]
    for begun_ms, over_ms in spells:
        rows = np.flatnonzero((times_ms >= begun_ms) & (times_ms < over_ms))
        assert len(rows) == (over_ms - begun_ms) / SCAN_MS
        for column in (
            "motor_run",
            "oil_pump",
            "capacity_unload",
            "volume_ratio_decrease",
            "mode",
            "capacity_demand_frac",
        ):
            assert np.all(run[column][rows] == run[column][rows[0] - 1]), column
    started_ms = times_ms[np.flatnonzero(run["motor_run"])[0]] - times_ms[np.flatnonzero(run["oil_pump"])[0]]
    assert started_ms >= prepared.settings.common.sequence.pre_lubrication_ms


def test_a_clock_that_wraps_changes_nothing(tmp_path: Path) -> None:
    text = (LIBRARY / "verification" / "clock_wraps.toml").read_text(encoding="utf-8")
    assert 'controller_clock = "4294667296 ms"' in text
    text = text.replace('"../', f'"{LIBRARY.as_posix()}/')
    traces = []
    for name, clock in (("wraps", "4294667296 ms"), ("new", "0 s")):
        path = tmp_path / f"{name}.toml"
        path.write_text(text.replace("4294667296 ms", clock), encoding="utf-8")
        traces.append(player_of(tmp_path)(prepare([path], log_ms=SCAN_MS)[0])[0])
    for column, values in traces[0].values.items():
        assert np.array_equal(values, traces[1].values[column], equal_nan=True), column
