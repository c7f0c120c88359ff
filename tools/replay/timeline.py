"""One clock for all that the log says: event lists, changes in the trends, limits crossed; each with its uncertainty."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from controller.process_image import Trip
from scenarios.alarm_rates import Alarm, AlarmRates, alarm_rates
from scenarios.logged_data.records import Floats, LoggedData, LoggedEvent, Times
from tools.replay.edges import edge_events
from tools.replay.watched import Watched, common_of, quantity_of, watched_limits

RUNNING_SHARE = 0.15  # of the greatest current: less is no turning motor; common practice, no source
SETTLED_MS = 10_000  # a quantity that has been back this long crosses anew; common practice, no source


@dataclass(frozen=True, slots=True)
class SettingsPeriod:
    """Settings and from when on they were valid; the first is valid from the start of the log."""

    from_ms: int
    settings: Any
    name: str
    path: Path | None = None


@dataclass(frozen=True, slots=True)
class Crossing:
    """A watched limit passed.  value: the first sample beyond it."""

    watched: Watched
    event: LoggedEvent
    value: float
    lasted_ms: int


def settings_at(history: Sequence[SettingsPeriod], time_ms: int) -> SettingsPeriod | None:
    """The settings valid at a time; None if there are none at all."""
    valid = [one for one in history if one.from_ms <= time_ms]
    return valid[-1] if valid else (history[0] if history else None)


def running_states(data: LoggedData) -> tuple[Times, Floats, str] | None:
    """(times, 1 or 0, series) of the running machine: its contact, else its current or power; None if neither is logged."""
    if "motor_running" in data.series:
        times, values = data.series["motor_running"].good()
        return times, (values > 0.5).astype(np.float64), "motor_running"
    for name in ("motor_current_a", "motor_power_kw"):
        if name in data.series:
            times, values = data.series[name].good()
            top = float(np.percentile(values, 99)) if len(values) else 0.0
            if top > 0.0:
                return times, (values > RUNNING_SHARE * top).astype(np.float64), name
    if "motor_run" in data.series:
        times, values = data.series["motor_run"].good()
        return times, (values > 0.5).astype(np.float64), "motor_run"
    return None


def crossings(data: LoggedData, history: Sequence[SettingsPeriod]) -> list[Crossing]:
    """Every passing of a limit that the settings of the time hold, on the quantities that the log has."""
    out: list[Crossing] = []
    running = running_states(data)
    for k, period in enumerate(history):
        end_ms = history[k + 1].from_ms if k + 1 < len(history) else data.end_ms + 1
        for one in watched_limits(period.settings):
            found = quantity_of(data, one, period.settings)
            if found is None:
                continue
            times, values = found
            inside = (times >= (period.from_ms if k else data.start_ms - 1)) & (times < end_ms) & np.isfinite(values)
            times, values = times[inside], values[inside]
            watched = np.ones(len(times), dtype=bool)
            if running is not None and one.running_only:
                watched = _in_service(running, times, _bypass_ms(one, period.settings))
            out += _passed(data, one, times, values, watched)
    return sorted(out, key=lambda c: c.event.time_ms)


def _bypass_ms(one: Watched, settings: Any) -> int:
    """How long after a start a limit is not watched."""
    c = common_of(settings)
    p = c.protection
    return {
        Trip.LOW_SUCTION_PRESSURE: p.low_suction_bypass_ms, Trip.LOW_OIL_DIFFERENTIAL: p.low_oil_bypass_ms,
        Trip.LOW_DISCHARGE_SUPERHEAT: p.low_superheat_bypass_ms,
            Trip.MOTOR_OVERLOAD: p.failed_start_ms + c.sequence.start_confirm_ms,
    }.get(one.cause, 0)  # fmt: skip


def _in_service(running: tuple[Times, Floats, str], times: Times, bypass_ms: int) -> NDArray[np.bool_]:
    """Where the machine runs, the time after each start left out."""
    run_times, on, _ = running
    place = np.searchsorted(run_times, times, side="right") - 1
    out = (place >= 0) & (on[np.maximum(place, 0)] > 0.5)
    for start_ms in run_times[1:][np.diff(on) > 0].tolist():
        out &= ~((times >= start_ms) & (times < start_ms + bypass_ms))
    return out


def _passed(data: LoggedData, one: Watched, times: Times, values: Floats, watched: NDArray[np.bool_]) -> list[Crossing]:
    beyond = watched & (values >= one.limit if one.direction > 0 else values <= one.limit)
    rises = np.flatnonzero(np.diff(np.concatenate([[False], beyond]).astype(np.int8)) == 1)
    falls = np.flatnonzero(np.diff(np.concatenate([beyond, [False]]).astype(np.int8)) == -1)
    slack_ms = int(data.series[one.needs[0]].uncertainty_ms)
    out: list[Crossing] = []
    last_ms = -SETTLED_MS
    for a, b in zip(rises.tolist(), falls.tolist(), strict=True):
        at_ms = int(times[a])
        before_ms = int(times[a - 1]) if a else at_ms
        if out and at_ms - last_ms < SETTLED_MS:
            last_ms = int(times[b])
            continue
        last_ms = int(times[b])
        word = "above" if one.direction > 0 else "below"
        shown = f"{values[a]:.4g}"
        if shown == f"{one.limit:.4g}" and values[a] != one.limit:
            shown = f"{values[a]:.5g}"  # beyond by less than four digits show
        text = f"{one.quantity} {shown} {one.unit} {word} its {one.kind} limit {one.limit:.4g} {one.unit}"
        event = LoggedEvent(
            at_ms,
            before_ms - slack_ms,
            at_ms + slack_ms,
            "limit",
            one.cause.name,
            "on",
            text,
            data.series[one.needs[0]].source,
        )
        out.append(Crossing(one, event, float(values[a]), last_ms - at_ms))
    return out


def timeline(data: LoggedData, history: Sequence[SettingsPeriod] = ()) -> list[LoggedEvent]:
    """All events in the order of the latest moment at which each can have happened."""
    events = [*data.events, *edge_events(data), *(c.event for c in crossings(data, history))]
    return sorted(events, key=lambda e: (e.time_ms, e.latest_ms, e.kind))


def flood(data: LoggedData, events: Sequence[LoggedEvent]) -> AlarmRates | None:
    """How hard the alarms pressed on the operator; None for a log without length.

    Alarms are those that came: of an event list if there is one, else of the trends.
    """
    came = [e for e in events if e.kind in ("alarm", "trip") and e.state in ("on", "")]
    listed = [e for e in came if any(e.source == path.name for path in data.files)]
    chosen = listed or came
    if data.end_ms <= data.start_ms:
        return None
    alarms = [Alarm(min(max(e.time_ms, data.start_ms), data.end_ms), e.name or e.text) for e in chosen]
    return alarm_rates(alarms, data.start_ms, data.end_ms)
