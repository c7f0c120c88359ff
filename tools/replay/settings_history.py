"""Which settings were valid when: sheets with the moment from which each counts.

evening.toml                      from the start of the log
raised.toml@2026-10-25 01:41:00   from then on, in the log's own zone
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import polars as pl

from controller.registry import CROSS_CHECKS, SHIPPED
from scenarios.errors import InputRefused, Problem
from scenarios.logged_data.clock import parse_stamps, to_utc, zone_of
from scenarios.logged_data.records import NO_TIME
from scenarios.quantities import Site
from scenarios.settings_sheet import load_sheet, sheet_controller
from tools.replay.timeline import SettingsPeriod

_FORMS = ("%Y-%m-%d %H:%M:%S%.f", "%Y-%m-%d %H:%M")


@dataclass(frozen=True, slots=True)
class History:
    """Settings periods in time order, all of one shipped controller."""

    controller: str
    periods: tuple[SettingsPeriod, ...]
    notes: tuple[str, ...]

    @property
    def last(self) -> Any:
        """The settings valid at the end."""
        return self.periods[-1].settings


def read_history(given: Sequence[str], site: Site, start_ms: int, zone: str) -> History:
    """Read the sheets of `SHEET` or `SHEET@TIME` words.

    zone: of the times, "" for as written; a time may end in " (2)" for the second pass of a repeated hour.  InputRefused
    for sheets of different controllers, of a controller that is not shipped, or a time that is none.
    """
    periods: list[SettingsPeriod] = []
    notes: list[str] = []
    controller = ""
    for k, word in enumerate(given):
        name, _, when = word.rpartition("@") if "@" in word else (word, "", "")
        path = Path(name)
        own = sheet_controller(path)
        if own not in SHIPPED:
            limit = f"shipped are {', '.join(SHIPPED)}"
            raise InputRefused(Problem(f'is for "{own}", whose logic is not shipped', file=str(path), limit=limit))
        if controller and own != controller:
            raise InputRefused(Problem(f'is for "{own}", the first sheet is for "{controller}"', file=str(path)))
        controller = own
        kind = SHIPPED[own].settings_type
        sheet = load_sheet(path, own, kind, site, CROSS_CHECKS[kind])
        notes += sheet.notes
        from_ms = _moment(when, zone, word) if when else start_ms
        if k and not when:
            raise InputRefused(
                Problem(f'"{word}" does not say from when it counts', way_out='write SHEET@"2026-10-25 01:41"')
            )
        periods.append(SettingsPeriod(from_ms, sheet.settings, path.name))
    periods.sort(key=lambda p: p.from_ms)
    return History(controller, tuple(periods), tuple(notes))


def _moment(text: str, zone: str, word: str) -> int:
    second = text.rstrip().endswith("(2)")
    series = pl.Series([text.replace("(2)", "").strip()])
    for form in _FORMS:
        found = parse_stamps(series, form)
        if found[0] != NO_TIME:
            if not zone:
                return int(found[0])
            # a second row an hour earlier on the clock tells the first pass of a repeated hour from the second
            if second:
                series_ms = pl.Series([int(found[0]) + 1, int(found[0]) - 1_800_001 + 1, int(found[0])]).to_numpy()
                return int(to_utc(series_ms[[0, 1, 2]], zone_of(zone)).time_ms[2])
            return int(to_utc(found, zone_of(zone)).time_ms[0])
    raise InputRefused(
        Problem(f'"{text}" in "{word}" is no time', value=text, way_out='write it as "2026-10-25 01:41:00"')
    )
