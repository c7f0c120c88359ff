"""Times: formats, day and month, and the two hours of the year that a wall clock gets wrong.

The standard library's zoneinfo, which follows the IANA database, makes the wall-clock texts; `to_utc` must undo them.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scenarios.errors import InputRefused
from scenarios.logged_data.clock import (
    add_days,
    clock_times,
    number_plan,
    parse_stamps,
    read_times,
    stamp_plan,
    to_utc,
    written,
    zone_of,
)
from scenarios.logged_data.records import NO_TIME

WANTED = int(datetime(2026, 11, 27, 14, 3, 7, tzinfo=UTC).timestamp() * 1000)


@pytest.mark.parametrize(
    ("cell", "off_ms"),
    [
        ("2026-11-27 "
         "14:03:07", 0), ("2026-11-27T14:03:07Z", 0), ("2026-11-27T15:03:07+01:00", 0),
         ("2026-11-27T15:03:07.250+0100", 250),
        ("27.11.2026 14:03:07", 0), ("27.11.26 14:03:07,5", 500), ("27/11/2026 14:03:07", 0), ("11/27/2026 02:03:07 PM", 0),
        ("11/27/2026 2:03:07 p.m.", 0), ("27-11-2026 14:03:07", 0), ("27-Nov-2026 14:03:07", 0), ("2026/11/27 14:03:07", 0),
        ("20261127140307", 0), ("20261127T140307", 0), ("27.11.2026, 14:03:07", 0),
    ],
)  # fmt: skip
def test_every_format(cell: str, off_ms: int) -> None:
    plan = stamp_plan([cell, cell], (0,))
    assert plan is not None
    assert plan.choices == ()
    assert parse_stamps(pl.Series([cell]), plan.form).tolist() == [WANTED + off_ms]


def test_day_and_month_that_cannot_be_told_apart_are_asked() -> None:
    plan = stamp_plan(["03/04/2026 01:00:00", "03/04/2026 01:00:01"], (0,))
    assert plan is not None
    assert plan.form == "?"
    assert len(plan.choices) == 2


def test_days_that_run_on_decide_day_and_month() -> None:
    day_first = stamp_plan([f"{d:02d}/04/2026 {h:02d}:00:00" for d in (3, 4, 5) for h in range(24)], (0,))
    month_first = stamp_plan([f"04/{d:02d}/2026 {h:02d}:00:00" for d in (3, 4, 5) for h in range(24)], (0,))
    assert day_first is not None
    assert month_first is not None
    assert (day_first.form[:8], month_first.form[:8]) == ("%d/%m/%Y", "%m/%d/%Y")


@pytest.mark.parametrize(
    ("cells", "header", "kind", "second_ms"),
    [
        (["1795788187", "1795788188"], "time", "epoch s", 1_795_788_188_000),
        (["1795788187000", "1795788187500"], "ts", "epoch ms", 1_795_788_187_500),
        (["46353.5", "46353.75"], "Date", "days", WANTED - WANTED % 86_400_000 + 64_800_000),
        (["0", "0.5"], "time [s]", "elapsed", 500),
    ],
)
def test_numbers_as_times(cells: list[str], header: str, kind: str, second_ms: int) -> None:
    plan = number_plan(cells, 0, header, "s" if kind == "elapsed" else "")
    assert plan is not None
    assert plan.kind == kind
    assert read_times(pl.DataFrame({"a": cells}), plan).tolist()[1] == second_ms


def test_elapsed_time_without_a_unit_is_asked() -> None:
    plan = number_plan(["0", "1", "2"], 0, "time", "")
    assert plan is not None
    assert plan.unit == "?"


def test_times_of_day_run_past_midnight() -> None:
    ms = add_days(clock_times(pl.Series(["23:59:59", "00:00:01", "x", "00:00:00,5", "12:00:00 PM"])))
    assert ms.tolist() == [86_399_000, 86_401_000, NO_TIME, 86_400_500, 129_600_000]


ZONES = ["Europe/Berlin", "America/New_York", "Australia/Sydney", "Asia/Kolkata", "Australia/Lord_Howe", "UTC"]


@given(st.sampled_from(ZONES), st.integers(0, 3 * 365 * 24), st.integers(1, 600), st.integers(60, 400))
def test_the_wall_clock_is_undone(zone: str, start_h: int, step_s: int, count: int) -> None:
    """Any evenly sampled stretch comes back, changes of the clocks included, but for an hour that is there in part."""
    start = datetime(2025, 1, 1, tzinfo=UTC) + timedelta(hours=start_h)
    moments = [start + timedelta(seconds=step_s * k) for k in range(count)]
    local = [m.astimezone(zone_of(zone)).replace(tzinfo=None) for m in moments]
    local_ms = np.array([round((m - datetime(1970, 1, 1)).total_seconds() * 1000) for m in local], dtype=np.int64)
    found = to_utc(local_ms, zone_of(zone))
    truth = np.array([round(m.timestamp() * 1000) for m in moments], dtype=np.int64)
    assert found.never == 0
    back = np.diff(local_ms) < 0
    folds = [m.astimezone(zone_of(zone)).fold for m in moments]
    if any(folds) and not back.any():
        return  # the log begins inside the second pass: nothing in it tells
    assert np.array_equal(found.time_ms, truth)
    assert np.all(np.diff(found.time_ms) > 0)


def test_the_autumn_hour_is_told_apart_by_the_row_order() -> None:
    """Where "earliest" would send the clock backwards, it runs on."""
    start = datetime(2026, 10, 25, 0, 30, tzinfo=UTC)
    moments = [start + timedelta(minutes=k) for k in range(120)]
    local = pl.Series([m.astimezone(zone_of("Europe/Berlin")).strftime("%Y-%m-%d %H:%M:%S") for m in moments])
    found = to_utc(parse_stamps(local, "%Y-%m-%d %H:%M:%S%.f"), zone_of("Europe/Berlin"))
    assert found.twice == 90  # 30 rows of the first pass, 60 of the second
    assert found.time_ms.tolist() == [int(m.timestamp() * 1000) for m in moments]
    naive = local.str.to_datetime("%Y-%m-%d %H:%M:%S").dt.replace_time_zone("Europe/Berlin", ambiguous="earliest")
    assert naive.dt.epoch("ms").diff().min() < 0


def test_an_hour_that_does_not_exist_is_counted() -> None:
    text = pl.Series(["2026-03-29 01:59:00", "2026-03-29 02:30:00", "2026-03-29 03:01:00"])
    assert to_utc(parse_stamps(text, "%Y-%m-%d %H:%M:%S%.f"), zone_of("Europe/Berlin")).never == 1


def test_an_unknown_zone_is_refused() -> None:
    with pytest.raises(InputRefused, match="no time zone"):
        zone_of("Mars/Olympus")


def test_written_in_the_zone() -> None:
    assert written(WANTED, "Europe/Berlin") == "2026-11-27 15:03:07"
