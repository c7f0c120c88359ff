"""Which sheet was valid when: local times, the hour that comes twice, the one that never was, and what is refused."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from controller.registry import SHIPPED
from scenarios.errors import InputRefused
from scenarios.quantities import Site
from scenarios.settings_sheet import write_sheet
from tools.replay.settings_history import History, read_history
from tools.replay.timeline import settings_at

SITE = Site(101_325.0)
BERLIN = "Europe/Berlin"
START = int(datetime(2026, 10, 24, 23, 20, tzinfo=UTC).timestamp() * 1000)


@pytest.fixture
def sheets(tmp_path: Path) -> Path:
    for name in ("a", "b", "c"):
        write_sheet(tmp_path / f"{name}.toml", "scheduled_pi", SHIPPED["scheduled_pi"].settings_type())
    write_sheet(tmp_path / "step.toml", "three_position", SHIPPED["three_position"].settings_type())
    return tmp_path


def read(folder: Path, *given: str, zone: str = BERLIN) -> History:
    return read_history([str(folder / word) for word in given], SITE, START, zone)


def utc(text: str) -> int:
    return int(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp() * 1000)


@pytest.mark.parametrize(
    ("local", "moment"),  # Central European: summer time is UTC + 2 h until 2026-10-25 01:00 UTC, then UTC + 1 h
    [
        ("2026-10-25 01:41:00", "2026-10-24 23:41:00"),
        ("2026-10-25 01:41", "2026-10-24 23:41:00"),
        ("2026-10-25 02:10:00 (1)", "2026-10-25 00:10:00"),
        ("2026-10-25 02:10:00 (2)", "2026-10-25 01:10:00"),
        ("2026-10-25 02:50 (2)", "2026-10-25 01:50:00"),
        ("2026-10-25 02:50:00 (2nd)", "2026-10-25 01:50:00"),
        ("2026-10-25 03:00:00", "2026-10-25 02:00:00"),
        ("2026-07-01 12:00:00.5", "2026-07-01 10:00:00.500"),
    ],
)
def test_a_local_time_is_one_moment(sheets: Path, local: str, moment: str) -> None:
    found = read(sheets, "a.toml", f"b.toml@{local}")
    assert {p.name: p.from_ms for p in found.periods} == {"a.toml": START, "b.toml": utc(moment)}


def test_without_a_zone_a_time_counts_as_it_is_written(sheets: Path) -> None:
    assert read(sheets, "a.toml", "b.toml@2026-10-25 02:10", zone="").periods[1].from_ms == utc("2026-10-25 02:10:00")


@pytest.mark.parametrize(
    ("local", "words"),
    [
        ("2026-10-25 02:10", "came twice"),
        ("2026-10-25 01:10 (2)", "came once only"),
        ("2027-03-28 02:30", "never was"),
        ("quarter past two", "is no time"),
        ("2026-13-25 01:10", "is no time"),
    ],
)
def test_a_time_that_is_not_one_moment_is_refused(sheets: Path, local: str, words: str) -> None:
    with pytest.raises(InputRefused, match=words) as refused:
        read(sheets, "a.toml", f"b.toml@{local}")
    assert refused.value.problems[0].way_out


def test_sheets_are_put_in_the_order_of_their_times(sheets: Path) -> None:
    found = read(sheets, "a.toml", "c.toml@2026-10-25 03:30", "b.toml@2026-10-25 01:41")
    assert [p.name for p in found.periods] == ["a.toml", "b.toml", "c.toml"]
    before = settings_at(found.periods, utc("2026-10-25 02:29:59"))
    after = settings_at(found.periods, utc("2026-10-25 02:30:00"))
    assert before is not None
    assert after is not None
    assert (before.name, after.name) == ("b.toml", "c.toml")
    assert before.path == sheets / "b.toml"


def test_two_sheets_from_the_start_or_of_two_controllers_are_refused(sheets: Path) -> None:
    with pytest.raises(InputRefused, match="does not say from when"):
        read(sheets, "a.toml", "b.toml")
    with pytest.raises(InputRefused, match="three_position"):
        read(sheets, "a.toml", "step.toml@2026-10-25 01:41")
