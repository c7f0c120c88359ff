"""Why did it stop: the first cause of each stop, ties named as ties, and what no logic can have done.

The logger's samples bound every moment from two sides.  Two causes whose bounds overlap cannot be put in order by this
log, and are a tie.  A stop that no logged trip, operator or command explains came from where the logic does not see:
the hard-wired chain, the motor's own protection, or the supply.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from controller.process_image import Trip
from scenarios.logged_data.records import LoggedData, LoggedEvent
from tools.replay.edges import logger_scan_ms
from tools.replay.timeline import Crossing, SettingsPeriod, crossings, running_states, settings_at, timeline
from tools.replay.watched import common_of, quantity_of, watched_limits

BEFORE_MS = 120_000  # a controlled stop unloads first, which takes its unload time-out at most
AFTER_MS = 5_000  # what a stop brings about by itself comes within seconds
PRECEDING_MS = 15 * 60_000
_CONSEQUENCES = (Trip.FAILED_START.name,)  # the running feedback is lost because the contactor fell


@dataclass(frozen=True, slots=True)
class Margin:
    """How near a watched quantity was to its trip before the stop; times back from the stop."""

    quantity: str
    unit: str
    limit: float
    direction: int
    values: tuple[tuple[int, float], ...]  # (ms before the stop, value)

    @property
    def left(self) -> float:
        """What was left to the limit at the last sample, in its unit; negative is beyond."""
        return self.direction * (self.limit - self.values[-1][1])


@dataclass(slots=True)
class Stop:
    """One stop of the motor.

    verdict: "trip", "tie", "operator", "logic", "hard-wired", "unexplained", "from values"; causes: the first cause, or
    the tied ones; later: trips that came after; sure: False where it rests on values and not on a record of the trip.
    """

    earliest_ms: int
    latest_ms: int
    by: str
    verdict: str = "unexplained"
    causes: list[LoggedEvent] = field(default_factory=list)
    later: list[LoggedEvent] = field(default_factory=list)
    text: str = ""
    sure: bool = True
    preceding: list[LoggedEvent] = field(default_factory=list)
    margins: list[Margin] = field(default_factory=list)
    evidence: list[str] = field(default_factory=list)


def stops_of(data: LoggedData) -> list[Stop]:
    """Every moment at which the machine went from running to standing."""
    found = running_states(data)
    if found is None:
        return []
    times, on, by = found
    slack_ms = int(data.series[by].uncertainty_ms)
    out = []
    for k in np.flatnonzero(np.diff(on) < 0).tolist():
        before_ms = int(times[k])
        if data.series[by].change_of_value:
            before_ms = int(times[k + 1]) - logger_scan_ms(data, data.series[by])
        out.append(Stop(before_ms - slack_ms, int(times[k + 1]) + slack_ms, by))
    return out


def explain_stops(data: LoggedData, history: Sequence[SettingsPeriod] = ()) -> list[Stop]:
    """Each stop with its first cause, what came after, and what came before."""
    events = timeline(data, history)
    passed = crossings(data, history)
    stops = stops_of(data)
    for stop in stops:
        _explain(data, stop, events, passed, _feedback_ms(history, stop))
        since_ms = stop.latest_ms - PRECEDING_MS
        chosen = {id(e) for e in (*stop.causes, *stop.later)}
        stop.preceding = [e for e in events if since_ms <= e.time_ms <= stop.latest_ms and id(e) not in chosen]
        stop.margins = _margins(data, stop, history)
    return stops


def _feedback_ms(history: Sequence[SettingsPeriod], stop: Stop) -> int:
    """How long the logic waits for a lost running feedback before it takes its command away; 2 s where no sheet says."""
    period = settings_at(history, stop.earliest_ms)
    return common_of(period.settings).protection.running_feedback_lost_ms if period is not None else 2000


def _overlap(a: LoggedEvent, b: LoggedEvent) -> bool:
    return a.earliest_ms <= b.latest_ms and b.earliest_ms <= a.latest_ms


def _explain(
    data: LoggedData, stop: Stop, events: Sequence[LoggedEvent], passed: Sequence[Crossing], feedback_ms: int
) -> None:
    trips = [
        e for e in events
        if e.kind == "trip" and e.state in ("on", "") and e.latest_ms >= stop.earliest_ms - BEFORE_MS
            and e.earliest_ms <= stop.latest_ms + AFTER_MS
    ]  # fmt: skip
    trips = _one_a_cause(trips)
    chain = [
        e
        for e in events
        if e.name == "safety_chain_closed"
        and e.state == "on"
        and stop.earliest_ms - AFTER_MS <= e.latest_ms
        and e.earliest_ms <= stop.latest_ms
    ]
    caused = [e for e in trips if e.name not in _CONSEQUENCES and e.earliest_ms <= stop.latest_ms]
    consequences = [e for e in trips if e not in caused]
    command = _command_at(data, stop)
    if caused:
        _first_of(data, stop, caused, consequences)
    elif chain:
        stop.verdict, stop.causes, stop.later = "hard-wired", chain[:1], consequences
        stop.text = (
            "the hard-wired safety chain opened; it breaks the contactor by itself, and which of its members "
            "did is not in the log"
        )
    elif command == "held":
        stop.verdict, stop.later = "hard-wired", consequences
        stop.text = (
            "the motor stopped while the logic still commanded it to run, and no logic trip explains it: this "
            "points to the hard-wired chain "
            "(pressure cut-outs, emergency stop, the motor's own protection) or to the supply, which the logic never saw"
        )
    else:
        _without_trip(data, stop, events, consequences, command, passed, feedback_ms)
    if stop.later:
        names = ", ".join(_name(e) for e in stop.later[:4])
        stop.evidence.append(f"after it came {names}: consequences or later causes, not the first")
    _support(stop, passed)
    _holes(data, stop)


def _one_a_cause(trips: Sequence[LoggedEvent]) -> list[LoggedEvent]:
    """The first record of each cause; a record of unknown cause is dropped where a known one is beside it."""
    out: dict[str, LoggedEvent] = {}
    for event in sorted(trips, key=lambda e: (e.latest_ms, e.earliest_ms)):
        key = event.name or f"?{event.text}"
        known = out.get(key)
        finer = known is not None and event.latest_ms - event.earliest_ms < known.latest_ms - known.earliest_ms
        own = event.source.endswith("trip_first_out")  # the controller's own word of which came first
        if known is None or ((finer or own) and _overlap(event, known)):
            out[key] = event
    named = [e for e in out.values() if e.name]
    return [e for e in out.values() if e.name or not any(_overlap(e, n) for n in named)]


def _first_of(data: LoggedData, stop: Stop, caused: list[LoggedEvent], consequences: list[LoggedEvent]) -> None:
    caused.sort(key=lambda e: (e.latest_ms, e.earliest_ms))
    first = caused[0]
    tied = [e for e in caused if _overlap(e, first)]
    own = [e for e in tied if e.source == _source(data, "trip_first_out")]
    if len(tied) > 1 and len(own) == 1:
        stop.verdict, stop.causes = "trip", own
        stop.text = f"{_name(own[0])}, which the controller itself latched first"
        stop.later = [e for e in caused if e is not own[0]] + consequences
        return
    if len(tied) > 1:
        stop.verdict, stop.causes = "tie", tied
        wide_s = (max(e.latest_ms for e in tied) - min(e.earliest_ms for e in tied)) / 1000.0
        stop.text = (
            f"{' and '.join(_name(e) for e in tied)} came within {wide_s:.1f} s: this log cannot tell which was first"
        )
    else:
        stop.verdict, stop.causes = "trip", [first]
        stop.text = _name(first)
    stop.later = [e for e in caused if e not in tied] + consequences


def _source(data: LoggedData, name: str) -> str:
    return data.series[name].source if name in data.series else ""


def _name(event: LoggedEvent) -> str:
    if event.kind == "trip" and event.name:
        return f"trip: {event.name.replace('_', ' ').lower()}"
    return event.text


def _command_at(data: LoggedData, stop: Stop) -> str:
    """Whether the motor's command was "held" after the motor fell, "fell" with or before it, or "" if it is not known."""
    if "motor_run" not in data.series or stop.by == "motor_run":
        return ""
    _, after = _around(data, stop, "motor_run")
    if np.isnan(after):
        return ""
    return "held" if after > 0.5 else "fell"


def _around(data: LoggedData, stop: Stop, name: str) -> tuple[float, float]:
    """A contact's last value before the stop and its first after it, NaN where there is none.

    On change of value the last change counts until the next, half a second being allowed for what falls together.
    """
    series = data.series[name]
    if series.change_of_value:
        held, _ = series.held(np.array([stop.earliest_ms - 1, stop.latest_ms + 500], dtype=np.int64))
        return float(held[0]), float(held[1])
    times, values = series.good()
    before, after = np.flatnonzero(times <= stop.earliest_ms), np.flatnonzero(times >= stop.latest_ms)
    return float(values[before[-1]]) if len(before) else np.nan, float(values[after[0]]) if len(after) else np.nan


def _fell_together(data: LoggedData, stop: Stop, name: str) -> bool:
    """Whether a contact went off in the very samples in which the machine stopped."""
    if name not in data.series:
        return False
    before, after = _around(data, stop, name)
    return before > 0.5 and after < 0.5


def _without_trip(
    data: LoggedData,
    stop: Stop,
    events: Sequence[LoggedEvent],
    consequences: list[LoggedEvent],
    command: str,
    passed: Sequence[Crossing],
    feedback_ms: int,
) -> None:
    """No trip is on record: an operator, the logic's own stop, a limit passed, or nothing that the log knows."""
    stop.later = consequences
    near = [e for e in events if stop.earliest_ms - BEFORE_MS <= e.latest_ms and e.earliest_ms <= stop.latest_ms]
    people = [
        e for e in near
        if (e.kind == "operator" and (e.name in ("selection", "remote_run",
            "stop_button_pressed") or "stop" in e.text.lower()))
        or (e.kind == "stop" and e.name == "" and "operator" in e.text.lower())
    ]  # fmt: skip
    reason = [e for e in near if e.kind == "stop" and e.name == "stop_reason"]
    if people:
        stop.verdict, stop.causes, stop.text = "operator", people[-1:], f"stopped by hand: {people[-1].text}"
        return
    if reason:
        stop.verdict, stop.causes, stop.text = "logic", reason[-1:], f"the logic's own stop: {reason[-1].text}"
        return
    lasting = [
        c for c in passed
        if c.watched.kind == "trip" and stop.earliest_ms - BEFORE_MS <= c.event.latest_ms
            and c.event.earliest_ms <= stop.latest_ms
        and c.event.earliest_ms + c.watched.delay_ms <= stop.latest_ms + AFTER_MS
            and c.event.earliest_ms + c.lasted_ms >= stop.earliest_ms - AFTER_MS
    ]  # fmt: skip
    if lasting:
        lasting.sort(key=lambda c: c.event.latest_ms + c.watched.delay_ms)
        tied = [c for c in lasting if _overlap(c.event, lasting[0].event)]
        stop.verdict = "from values" if len(tied) == 1 else "tie"
        stop.causes, stop.sure = [c.event for c in tied], False
        stop.text = f"no trip is on record; by the values {' and '.join(c.event.text for c in tied)}"
        return
    if command == "fell" and _fell_together(data, stop, "oil_pump"):
        stop.verdict, stop.sure = "hard-wired", False
        stop.text = (
            "motor and oil pump lost their commands in one sample, and no trip is on record: a trip or a normal "
            "stop leaves the oil pump on "
            "for a while, so this points to the cabinet's supply"
        )
        return
    if (
        command == "fell"
        and _fell_together(data, stop, "motor_run")
        and stop.latest_ms - stop.earliest_ms >= feedback_ms
    ):
        stop.sure = False
        stop.text = (
            f"motor and command fell within one sample of {(stop.latest_ms - stop.earliest_ms) / 1000.0:g} s: the "
            f"logic may have stopped it, or "
            "the hard-wired chain did and the logic followed when it missed the running feedback; this log cannot tell"
        )
        return
    if command == "fell":
        stop.verdict, stop.sure = "logic", False
        stop.text = (
            "the logic took its command away, and why is not in the log: an idle stop, a remote stop, or a "
            "trip that nobody recorded"
        )
        return
    stop.verdict, stop.sure = "unexplained", False
    stop.text = (
        "no trip, no operator and no passed limit in the log explains it; the log has no motor command, so it "
        "cannot tell the logic "
        "from the hard-wired chain, the motor's own protection or the supply"
    )


def _support(stop: Stop, passed: Sequence[Crossing]) -> None:
    """Whether the values agree with the recorded cause."""
    for cause in stop.causes:
        if cause.kind != "trip":
            continue
        fits = [c for c in passed if c.watched.kind == "trip" and c.watched.cause.name == cause.name
            and c.event.earliest_ms <= cause.latest_ms
                and c.event.latest_ms >= cause.earliest_ms - BEFORE_MS]  # fmt: skip
        if fits:
            stop.evidence.append(f"the values agree: {fits[-1].event.text}")
        elif any(c.watched.cause.name == cause.name for c in passed):
            stop.evidence.append(
                "no logged sample passed the trip's limit: it was passed between two samples, or its limit was another"
            )


def _holes(data: LoggedData, stop: Stop) -> None:
    """A log that itself stops with the machine points to the supply."""
    wide_ms = stop.latest_ms - stop.earliest_ms
    usual_ms = max(data.series[stop.by].interval_ms, 1.0)
    if wide_ms > 5.0 * usual_ms and not data.series[stop.by].change_of_value:
        stop.evidence.append(
            f"the log has a hole of {wide_ms / 1000.0:.0f} s at the stop: the supply may have failed, and the "
            f"order inside is not known"
        )


def _margins(data: LoggedData, stop: Stop, history: Sequence[SettingsPeriod]) -> list[Margin]:
    """Each watched quantity 10, 5, 2, 1 min and the last sample before the stop, against its trip; nearest first."""
    period = settings_at(history, stop.earliest_ms)
    if period is None:
        return []
    out = []
    for one in watched_limits(period.settings):
        found = quantity_of(data, one, period.settings) if one.kind == "trip" else None
        if found is None:
            continue
        times, values = found
        points = []
        for back_ms in (600_000, 300_000, 120_000, 60_000, 0):
            place = int(np.searchsorted(times, stop.earliest_ms - back_ms, side="right")) - 1
            if place >= 0 and np.isfinite(values[place]) and stop.earliest_ms - back_ms - int(times[place]) < 60_000:
                points.append((back_ms, float(values[place])))
        if points and points[-1][0] == 0:
            out.append(Margin(one.quantity, one.unit, one.limit, one.direction, tuple(points)))
    return sorted(out, key=lambda m: m.left / max(abs(m.limit), 1.0))
