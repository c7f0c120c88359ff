"""What a log shows, in plain words first: a record that terminal, page and JSON are made from."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from scenarios.alarm_rates import AlarmRates
from scenarios.logged_data.clock import written
from scenarios.logged_data.records import LoggedData, LoggedEvent
from tools.replay.controller_replay import SCAN_MS, ControllerReplay, replay_controller
from tools.replay.edges import state_word
from tools.replay.first_out import Stop, explain_stops
from tools.replay.settings_history import History
from tools.replay.timeline import flood, timeline

WHOLE_UP_TO_MS = 12 * 3_600_000
BEFORE_STOP_MS, AFTER_STOP_MS = 3_600_000, 1_800_000
CAUTION = (
    "An engineering aid, no safety system. It reads a log and repeats the logic; it knows nothing of what was not "
    "logged. Hard-wired "
    "cut-outs, relief devices, local codes and licensed practice come first; whoever answers for the plant judges "
    "what follows."
)


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the timeline for people: repeats of one text are one line."""

    time_ms: int
    uncertainty_ms: int
    kind: str
    text: str
    source: str
    times: int = 1
    last_ms: int = 0


@dataclass(slots=True)
class Findings:
    """Everything that is known of a logged event."""

    data: LoggedData
    history: History | None
    events: list[LoggedEvent]
    stops: list[Stop]
    alarms: AlarmRates | None
    replay: ControllerReplay | None
    words: list[str] = field(default_factory=list)

    def clock(self, time_ms: int) -> str:
        """A time in the log's own zone; in a repeated hour with the offset."""
        return clock_text(self.data, time_ms)


def clock_text(data: LoggedData, time_ms: int) -> str:
    """A time in the log's zone, with its offset where the same wall clock comes twice."""
    text = written(time_ms, data.zone)
    if not data.zone:
        return text
    for other in (time_ms - 3_600_000, time_ms + 3_600_000):
        if written(other, data.zone) == text:
            return f"{text} {'(1st)' if other > time_ms else '(2nd)'}"
    return text


def find(data: LoggedData, history: History | None, progress: Callable[[float], None] | None = None) -> Findings:
    """Timeline, stops, alarm load and, where settings are given, the controller's replay."""
    periods = history.periods if history else ()
    events = timeline(data, periods)
    stops = explain_stops(data, periods)
    made = None
    if history is not None and {"suction_pressure_kpa_abs", "discharge_pressure_kpa_abs"} <= set(data.series):
        start_ms, end_ms = part_to_replay(data, stops)
        made = replay_controller(data, history.controller, periods, start_ms, end_ms, progress)
    found = Findings(data, history, events, stops, flood(data, events), made)
    found.words = in_words(found)
    return found


def part_to_replay(data: LoggedData, stops: Sequence[Stop]) -> tuple[int, int]:
    """The whole log, or of a long one the time round its last trip."""
    if data.end_ms - data.start_ms <= WHOLE_UP_TO_MS:
        return data.start_ms, data.end_ms
    trips = [s for s in stops if s.verdict in ("trip", "tie", "hard-wired", "from values", "unexplained")] or list(
        stops
    )
    middle = trips[-1].latest_ms if trips else data.end_ms
    return max(data.start_ms, middle - BEFORE_STOP_MS), min(data.end_ms, middle + AFTER_STOP_MS)


def condensed(events: Sequence[LoggedEvent], most: int = 400) -> list[Line]:
    """The timeline for people: the same text within ten minutes of its last time is one line with a count."""
    lines: list[Line] = []
    open_at: dict[tuple[str, str], int] = {}
    for event in events:
        text = (
            event.text
            if event.kind != "limit"
            else event.text.split(" limit")[0].rsplit(" its", 1)[0].split(" ", 2)[0] and event.text
        )
        key = (event.kind, _shape(text))
        place = open_at.get(key)
        if place is not None and event.time_ms - lines[place].last_ms < 600_000:
            old = lines[place]
            lines[place] = Line(
                old.time_ms, old.uncertainty_ms, old.kind, old.text, old.source, old.times + 1, event.time_ms
            )
            continue
        open_at[key] = len(lines)
        text = f"{event.text}{' (went)' if event.state == 'off' and event.kind in ('alarm', 'trip') else ''}"
        lines.append(
            Line(
                event.time_ms,
                (event.latest_ms - event.earliest_ms) // 2,
                event.kind,
                text,
                event.source.split(":")[0],
                1,
                event.time_ms,
            )
        )
    return lines[-most:]


def _shape(text: str) -> str:
    """A text without its numbers, so that repeats with other values are seen as repeats."""
    return "".join("#" if c.isdigit() or c in ".," else c for c in text).replace("#", "")


def stop_words(found: Findings, stop: Stop) -> str:
    """When it stopped and why, in one line."""
    half_s = max(0.1, (stop.latest_ms - stop.earliest_ms) / 2000.0)
    sure = "" if stop.sure else " (not on record: an inference)"
    return f"{found.clock(stop.latest_ms)} ± {half_s:.1f} s the machine stopped. First cause: {stop.text}{sure}."


def changes_before(found: Findings, stop: Stop) -> list[str]:
    """What people changed before a stop, the last few."""
    changes = [e for e in stop.preceding if e.kind in ("setting", "manual", "operator")]
    earlier = [
        e for e in found.events if e.kind in ("setting", "manual") and e.time_ms < stop.earliest_ms and e not in changes
    ]
    return [
        f"{_ago((stop.earliest_ms - event.time_ms) / 60_000.0)} before it: {event.text}."
        for event in [*earlier[-3:], *changes[-3:]]
        if event.time_ms < stop.earliest_ms
    ]


def _ago(minutes: float) -> str:
    return f"{minutes:.0f} min" if minutes < 180.0 else f"{minutes / 60.0:.0f} h"


def in_words(found: Findings) -> list[str]:
    """The findings in plain words, the stops first."""
    out = []
    if not found.stops:
        out.append(
            "The log shows no stop of the machine."
            if _can_tell(found.data)
            else "The log has no running contact, current or power: stops cannot be seen in it."
        )
    for stop in found.stops:
        out.append(stop_words(found, stop))
        out += [f"{text[0].upper()}{text[1:]}." for text in stop.evidence]
        if stop.margins and stop.verdict != "trip":
            near = stop.margins[0]
            out.append(
                f"Nearest to its trip was the {near.quantity}: {near.values[-1][1]:.4g} {near.unit} against "
                f"{near.limit:.4g}."
            )
        out += changes_before(found, stop)
        holds = [e for e in stop.preceding if e.kind == "inhibit"]
        if holds:
            out.append(f"In the {_minutes(stop)} before it the load was inhibited {len(holds)} times.")
    if found.replay is not None:
        out += _replay_words(found)
    if found.alarms is not None and found.alarms.count:
        a = found.alarms
        out.append(
            f"{a.count} alarms and trips, {a.per_h:.1f} an hour: {a.verdict} by the usual guide (6 and 12 an hour, "
            f"ISA-18.2 and EEMUA 191 as "
            f"recalled; meant for weeks, so a hint here). Worst ten minutes: {a.worst_window}."
        )
    return out


def _minutes(stop: Stop) -> str:
    first = min((e.time_ms for e in stop.preceding), default=stop.latest_ms)
    return f"{max(1.0, (stop.latest_ms - first) / 60_000.0):.0f} min"


def _can_tell(data: LoggedData) -> bool:
    return any(n in data.series for n in ("motor_running", "motor_current_a", "motor_power_kw", "motor_run"))


def output_name(name: str) -> str:
    """A signal's name for people: without its unit."""
    return name.removesuffix("_pct").removesuffix("_kpa_abs").replace("_", " ")


def _replay_words(found: Findings) -> list[str]:
    made = found.replay
    assert made is not None
    hours = (int(made.time_ms[-1]) - int(made.time_ms[0])) / 3.6e6
    if not made.compared:
        return [
            f"The controller's logic was run over {hours:.1f} h of the log, but no command of it is logged to compare with."
        ]
    names = ", ".join(output_name(n) for n in made.compared)
    first = made.first
    if first is None:
        return [
            f"Over {hours:.1f} h ({len(made.time_ms):,} scans of {SCAN_MS} ms) the recomputed logic agrees with "
            f"the log in {names}."
        ]
    agree_min = (first.time_ms - int(made.time_ms[0])) / 60_000.0
    label = output_name(first.output)
    return [
        f"The recomputed logic agrees with the log for {agree_min:.0f} min in {names}. It parts first at "
        f"{found.clock(first.time_ms)} in the {label}: "
        f"logged {state_word(found.data, first.output, first.logged)}, recomputed "
        f"{state_word(found.data, first.output, round(first.recomputed, 2))}.",
        f"Why it may: {'; '.join(first.why[:4])}.",
    ]
