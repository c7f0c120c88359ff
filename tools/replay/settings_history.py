"""Which settings were valid when: sheets with the moment from which each counts.

evening.toml                      from the start of the log
raised.toml@2026-10-25 01:41:00   from then on, in the log's own zone
back.toml@2026-10-25 02:20 (2)    in the second pass of an hour that the autumn change repeats
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import polars as pl

from controller.registry import CROSS_CHECKS, SHIPPED
from scenarios.errors import InputRefused, Problem
from scenarios.logged_data.clock import parse_stamps, zone_of
from scenarios.logged_data.records import NO_TIME
from scenarios.quantities import Site
from scenarios.settings_sheet import load_sheet, sheet_controller
from tools.replay.timeline import SettingsPeriod

_PASS = re.compile(r"(.*?)\s*(?:\(([12])(?:st|nd)?\))?", re.DOTALL)
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

    zone: of the times, "" for as written; a time of a repeated hour ends in " (1)" or " (2)", its pass.  InputRefused
    for sheets of different controllers, of a controller that is not shipped, or a time that is none.
    """
    periods: list[SettingsPeriod] = []
    notes: list[str] = []
    controller = ""
    for k, word in enumerate(given):
        name, _, when = word.rpartition("@") if "@" in word and not Path(word).is_file() else (word, "", "")
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
        periods.append(SettingsPeriod(from_ms, sheet.settings, path.name, path))
    periods.sort(key=lambda p: p.from_ms)
    return History(controller, tuple(periods), tuple(notes))


def _moment(text: str, zone: str, word: str) -> int:
    """A local time as UTC; InputRefused where it is none, never was, or came twice and does not say which."""
    plain, passes = _PASS.fullmatch(text.strip()).groups()  # type: ignore[union-attr]  # its first group takes anything
    series = pl.Series([plain.strip()])
    found = next((int(t[0]) for form in _FORMS if (t := parse_stamps(series, form))[0] != NO_TIME), None)
    if found is None:
        raise InputRefused(
            Problem(f'"{text}" in "{word}" is no time', value=text, way_out='write it as "2026-10-25 01:41:00"')
        )
    first = second = found
    if zone:
        naive = datetime.fromtimestamp(0, UTC).replace(tzinfo=None) + timedelta(milliseconds=found)
        first, second = (round(1000.0 * naive.replace(tzinfo=zone_of(zone), fold=fold).timestamp()) for fold in (0, 1))
    if second < first:
        raise InputRefused(Problem(
            f'"{plain}" in "{word}" never was: the clock was put forward over it', value=text,
            way_out=f"write a time of {zone} before or after the change",
        ))  # fmt: skip
    if second > first and not passes:
        raise InputRefused(Problem(
            f'"{plain}" in "{word}" came twice that night', value=text,
            way_out=f'write "{plain} (1)" for the first pass or "{plain} (2)" for the second',
        ))  # fmt: skip
    if second == first and passes:
        raise InputRefused(Problem(
            f'"{plain}" in "{word}" came once only', value=text,
            way_out=f'write "{plain}"' + ("" if zone else "; the log has no time zone"),
        ))  # fmt: skip
    return second if passes == "2" else first
