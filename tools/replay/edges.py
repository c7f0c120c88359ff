"""Changes in the trends of a log as events: each between the sample before it and the sample that shows it.

A change-of-value logger has no sample before it: it looked at its last scan, saw nothing new and wrote nothing.  So the
change lies within one scan of the logger before its stamp, whatever the distance to the row before.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from controller.process_image import Inhibit, Mode, Selection, StartRefused, StopReason, Trip
from scenarios.logged_data.records import LoggedData, LoggedEvent, Series
from scenarios.logged_data.signals import signals

_KIND = {
    "motor_run": "motor", "motor_running": "motor", "oil_pump": "motor", "mode": "mode", "inhibit": "inhibit",
    "trip_first_out": "trip", "trip_word": "trip", "alarm_word": "alarm", "selection": "operator", "remote_run": "operator",
    "second_set_point": "operator", "reset_pressed": "operator", "stop_button_pressed": "operator",
    "capacity_manual": "manual",
    "volume_ratio_manual": "manual", "safety_chain_closed": "contact", "valves_open": "contact",
    "vessel_high_high_level": "contact",
    "start_refused": "start", "stop_reason": "stop", "starts_count": "counter", "trips_count": "counter",
    "suction_set_point_kpa_abs": "setting",
}  # fmt: skip
_FORM = {
    "mode": Mode, "inhibit": Inhibit, "trip_first_out": Trip, "selection": Selection, "start_refused": StartRefused,
    "stop_reason": StopReason,
}  # fmt: skip
SET_POINT_JUMP_KPA = 1.0  # less between two samples is a ramp or a logger's rounding; common practice, no source
STEPS_ENOUGH = 20  # so many stamps have no common divisor but the logger's scan; own choice, no source


def state_word(data: LoggedData, name: str, value: float) -> str:
    """A state's name in the log's own words where it has some."""
    known = data.states.get(name)
    if known and int(value) in known:
        return known[int(value)].replace("_", " ").lower()
    form = _FORM.get(name)
    if form is not None and int(value) in {int(m) for m in form}:
        return str(form(int(value)).name).replace("_", " ").lower()
    if name in signals() and signals()[name].kind == "contact":
        return "on" if value else "off"
    return f"{value:g}"


def logger_scan_ms(data: LoggedData, series: Series) -> int:
    """How far before its stamp a change of a change-of-value series may lie: the scan of its logger, at least 1 ms.

    Nothing in a log says it; what all stamps of the file are apart is a multiple of it.  Their greatest common divisor is
    taken, and of few stamps, whose divisor is large by chance, the whole hour, minute, second … that divides it.
    """
    file = series.source.split(":")[0]
    own = [s.good()[0] for s in data.series.values() if s.change_of_value and s.source.split(":")[0] == file]
    steps = np.diff(np.unique(np.concatenate([*own, series.good()[0]])))
    if not len(steps):
        return 1
    common = int(np.gcd.reduce(steps))
    if len(steps) >= STEPS_ENOUGH:
        return common
    return next(unit for unit in (3_600_000, 60_000, 1000, 100, 10, 1) if common % unit == 0)


def _changes(series: Series, scan_ms: int) -> Iterator[tuple[int, int, float, float]]:
    """(last time before, first time after, old, new) of each change between believable samples."""
    times, values = series.good()
    for k in np.flatnonzero(np.diff(values) != 0.0).tolist():
        before = int(times[k + 1]) - scan_ms if series.change_of_value else int(times[k])
        yield before, int(times[k + 1]), float(values[k]), float(values[k + 1])


def _event(series: Series, kind: str, name: str, state: str, text: str, before_ms: int, after_ms: int) -> LoggedEvent:
    slack_ms = int(series.uncertainty_ms)
    return LoggedEvent(after_ms, before_ms - slack_ms, after_ms + slack_ms, kind, name, state, text, series.source)


def edge_events(data: LoggedData) -> list[LoggedEvent]:
    """An event for every change of a contact, state, word, counter or set point; the slides' drives are left out."""
    out: list[LoggedEvent] = []
    for name, series in data.series.items():
        kind = _KIND.get(name)
        if kind is None:
            continue
        scan_ms = logger_scan_ms(data, series) if series.change_of_value else 0
        for before_ms, after_ms, old, new in _changes(series, scan_ms):
            if name in ("trip_word", "alarm_word"):
                out += _bits(series, kind, int(old), int(new), before_ms, after_ms)
                continue
            if kind == "setting":
                if abs(new - old) >= SET_POINT_JUMP_KPA:
                    text = f"suction set point {old:.1f} → {new:.1f} kPa abs"
                    out.append(_event(series, kind, name, "", text, before_ms, after_ms))
                continue
            if kind == "counter":
                text = f"{name.removesuffix('_count').replace('_', ' ')} counter {old:g} → {new:g}"
                out.append(_event(series, kind, name, "", text, before_ms, after_ms))
                continue
            label = name.removesuffix("_pressed").replace("_", " ")
            if signals()[name].kind == "contact":
                state = "on" if new else "off"
                text = f"{label} {state}"
                if name == "safety_chain_closed":
                    text, state = f"hard-wired safety chain {'closed' if new else 'opened'}", "off" if new else "on"
                out.append(_event(series, kind, name, state, text, before_ms, after_ms))
                continue
            word = state_word(data, name, new)
            state = "off" if word in ("none", "0", "off") else "on"
            cause = word.replace(" ", "_").upper() if name == "trip_first_out" and state == "on" else name
            text = f"{label}: {state_word(data, name, old)} → {word}"
            out.append(_event(series, kind, cause, state, text, before_ms, after_ms))
    return out


def _bits(series: Series, kind: str, old: int, new: int, before_ms: int, after_ms: int) -> list[LoggedEvent]:
    out = []
    for cause in Trip:
        bit = 1 << int(cause)
        if not cause or not (old ^ new) & bit:
            continue
        state = "on" if new & bit else "off"
        text = f"{kind} {cause.name.replace('_', ' ').lower()} {'came' if state == 'on' else 'went'}"
        out.append(_event(series, kind, cause.name, state, text, before_ms, after_ms))
    return out
