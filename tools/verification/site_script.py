"""The site script: the start and unload sequence without gas, and every trip proven by a simulated signal, line by line.

The currents are worked out from the sheet's limits and the transmitters' ranges; what must be seen comes from running the
controller on those very currents.  Where the two disagree the line says so.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from typing import Any

from controller.process_image import Mode, Outputs, Selection
from controller.protection_settings import TripClass
from scenarios.errors import ControllerFailed, InputRefused, Problem
from scenarios.isolated import Heart
from tools.verification.box_bench import BoxBench, Mark, words
from tools.verification.cause_effect import make_bench, settled_s
from tools.verification.cause_list import all_causes
from tools.verification.causes import INSTRUMENTS, REST, SEQUENCE, SERVICE, START, STOP, TRIPS, Cause
from tools.verification.observed import observe
from tools.verification.script_lines import Line, Seen, SetTo, set_to, watch
from tools.verification.signal_box import COUNT_MA, NAMES, Box, milliamp_of
from tools.verification.trip_values import SHORT_OF_MA, STEP_MA, TripValue, trip_values

COLD, SIGNALS, CONTACTS, LOOPS = (
    "A. Start, slides and unloading without gas",
    "B. Trips proven by a simulated current",
    "C. Trips proven by a contact or a slide",
    "D. Failed current loops",
)
PARTS = (COLD, SIGNALS, CONTACTS, LOOPS)
_LOOK_S = 5.0  # that nothing happens is looked at for so long, beyond a delay
_STOP_S = 130.0
_STILL_S = 20.0  # a slide that has not moved for so long rests; a load ramp moves it oftener
_HALF_PCT, _HIGH_PCT, _LOW_PCT = 50.0, 90.0, 10.0


@dataclass(frozen=True, slots=True)
class Script:
    """Everything of the script: lines, set-up, and the slides' way through part A for the picture."""

    lines: tuple[Line, ...]
    setup: tuple[tuple[str, str, SetTo, SetTo], ...]  # loop, range, at rest, in service
    track: tuple[tuple[float, float, float, bool], ...]  # s, capacity %, volume ratio %, motor commanded
    starts: int  # that parts B to D need
    wait_s: float  # from start to start


def _steps(milliamp: float) -> float:
    return STEP_MA * round(milliamp / STEP_MA)


def _setup(rest: Box, service: Box) -> list[tuple[str, str, SetTo, SetTo]]:
    rows = []
    for name in NAMES:
        k = NAMES.index(name)
        low, high = rest.ranges.low[k], rest.ranges.high[k]
        both = [
            set_to(box, name, _steps(milliamp_of(box.ranges, name, box.plain_value(name)))) for box in (rest, service)
        ]
        rows.append((name.replace("_", " "), f"{low:g} to {high:g} {both[0].value.split()[-1]}", both[0], both[1]))
    return rows


def _cold_lines(bench: BoxBench, rest: Mark, track: list[tuple[float, float, float, bool]]) -> list[Line]:
    """Part A: from rest to service, both slides stroked by hand, and a controlled unload."""
    bench.back(rest)
    box, began_ms = bench.box, bench.box.time_ms
    lines = list[Line]()

    def note() -> None:
        if not track or box.time_ms - began_ms - 1000.0 * track[-1][0] >= 500.0:
            seconds = (box.time_ms - began_ms) / 1000.0
            track.append((seconds, box.capacity_pct, box.volume_ratio_pct, bool(bench.outputs.motor_run)))

    def add(do: str, seconds: float, until: Any = None, note_text: str = "", sets: tuple[SetTo, ...] = ()) -> None:
        bench.heart.begin(do)
        sees = watch(bench, seconds, until, note)
        lines.append(Line(COLD, f"A{len(lines) + 1}", do, sets, tuple(sees), note_text))

    def by_hand(slide: str, demand_pct: float, text: str) -> None:
        setattr(box.operator, f"{slide}_manual", True)
        setattr(box.operator, f"{slide}_manual_demand_pct", demand_pct)
        began, position = box.time_ms, f"{slide}_pct"
        bench.heart.begin(text)
        still = [0, getattr(box, position)]

        def rests(_out: Outputs) -> bool:
            now = getattr(box, position)
            still[0] = still[0] + 1 if now == still[1] else 0
            still[1] = now
            return bool(still[0] >= 10.0 * _STILL_S)

        sees = watch(bench, 600.0, rests, note, (slide,))
        at = Seen(f"rests at {getattr(box, position):.0f} %", (box.time_ms - began) / 1000.0 - _STILL_S)
        lines.append(Line(COLD, f"A{len(lines) + 1}", text, (), (*sees, at), _stroke_note(box, slide)))

    add(
        "selector OFF; all signals as in the table «at rest»",
        3.0,
        note_text="nothing is commanded; both slides may stand anywhere",
    )
    box.operator.selection = Selection.LOCAL
    add(
        "selector LOCAL",
        300.0,
        lambda out: bool(out.motor_run),
        "the contactor is in its test position: no motor turns",
    )
    add(
        "let the running feedback come with the contactor; set the motor's current and the oil pressures as «in service»",
        120.0, lambda out: out.mode == Mode.AUTOMATIC,
    )  # fmt: skip
    bench.set_point_kpa_abs = bench.outputs.suction_set_point_kpa_abs or box.healthy.suction_kpa_abs
    box.suction_kpa_abs = bench.set_point_kpa_abs
    for slide, demands in (("capacity", (_HIGH_PCT, _LOW_PCT)), ("volume_ratio", (_LOW_PCT, _HIGH_PCT))):
        for demand in (*demands, _HALF_PCT):
            by_hand(slide, demand, f"{slide.replace('_', ' ')} by hand, demand {demand:g} %")
    box.operator.capacity_manual = box.operator.volume_ratio_manual = False
    add("both slides back to automatic", 10.0, note_text="no jump of either slide")
    box.operator.selection = Selection.OFF
    add("selector OFF", _STOP_S, lambda out: not out.motor_run, "capacity goes first, the volume ratio follows")
    add("look on until the oil pump stops", 200.0, lambda out: not out.oil_pump)
    box.operator.selection = Selection.LOCAL
    box.suction_kpa_abs = box.healthy.start_suction_kpa_abs
    add("selector LOCAL at once", 5.0, note_text="it must not start before its wait is over")
    box.operator.selection = Selection.OFF
    add("selector OFF", 2.0)
    return lines


def _stroke_note(box: Box, slide: str) -> str:
    h = box.healthy
    up, down = (h.stroke_up_s, h.stroke_down_s) if slide == "capacity" else (h.volume_ratio_up_s, h.volume_ratio_down_s)
    return f"by the sheet a whole stroke takes {up:g} s up, {down:g} s down; write down what it really takes"


def _forced(bench: BoxBench, value: TripValue, milliamp: float) -> tuple[SetTo, ...]:
    """Set a current with what goes along; all that was changed, in words."""
    box = bench.box
    box.forced.clear()
    value.signal.force(box, round(milliamp / COUNT_MA))
    return tuple(set_to(box, name, _steps(box.forced[name][0])) for name in box.forced)


def _signal_lines(bench: BoxBench, service: Mark, value: TripValue, number: str) -> list[Line]:
    """Part B: one trip, from just short of its pre-alarm to its reset."""
    bench.back(service)
    bench.heart.begin(words(type(value.trip), value.trip))
    box, side, name = bench.box, value.signal.side, words(type(value.trip), value.trip)
    unreachable = value.unreachable(box)
    head = f"{name}: {value.rule}"
    if unreachable:
        return [Line(SIGNALS, f"{number}.1", head, note=unreachable, contradicts=True)]
    bit, lines = 1 << value.trip, list[Line]()
    alarm_ma, trip_ma = value.milliamp(box, value.alarm), value.milliamp(box, value.limit)

    def add(do: str, sets: tuple[SetTo, ...], sees: list[Seen], note: str = "", wrong: bool = False) -> None:
        lines.append(Line(SIGNALS, f"{number}.{len(lines) + 1}", do, sets, tuple(sees), note, wrong))

    since = f", at least {value.bypass_s:g} s after the start" if value.bypass_s else ""
    sets = _forced(bench, value, alarm_ma - side * SHORT_OF_MA)
    sees = watch(bench, _LOOK_S)
    wrong = bool(bench.outputs.alarm_word & bit)
    add(f"{head}. In service{since}: just short of the pre-alarm", sets, sees, f"no alarm «{name}»", wrong)
    sets = _forced(bench, value, alarm_ma)
    sees = watch(bench, _LOOK_S)
    add("to the pre-alarm", sets, sees, "", not bench.outputs.alarm_word & bit)
    sets = _forced(bench, value, trip_ma - side * SHORT_OF_MA)
    sees = watch(bench, value.delay_s + _LOOK_S)
    stopped = not bench.outputs.motor_run or bench.outputs.mode == Mode.UNLOADING
    wait = value.delay_s + _LOOK_S
    add(f"just short of the trip, {wait:g} s", sets, sees, "no trip, the motor contactor stays closed", stopped)
    sets = _forced(bench, value, trip_ma)
    stops = value.kind >= TripClass.CONTROLLED_STOP
    sees = watch(bench, value.delay_s + (_STOP_S if stops else _LOOK_S), lambda out: bool(out.trip_word & bit))
    tripped = bool(bench.outputs.trip_word & bit) and not bench.outputs.motor_run
    began = [seen.after_s for seen in sees if seen.text.startswith(("motor contactor opens", "mode unloading"))]
    late = stops and not (began and abs(began[0] - value.delay_s) <= 0.001 * 150.0)
    text = f"class {words(TripClass, value.kind) or 'alarm'}, delay {value.delay_s:g} s by the sheet"
    add("to the trip", sets, sees, text, tripped != stops or late)
    if tripped:
        lines += _reset_lines(bench, number, len(lines))
    return lines


def _reset_lines(bench: BoxBench, number: str, done: int) -> list[Line]:
    """Reset while the cause stands, take it away, reset again: as this controller does it."""
    bench.run(1.0)
    out = list[Line]()
    for do in ("reset while it stands", "back to «in service», then reset"):
        bench.box.forced.clear() if out else None
        bench.run(1.0)
        bench.box.operator.reset_pressed = True
        bench.run(0.5)
        bench.box.operator.reset_pressed = False
        bench.run(0.5)
        cleared = not bench.outputs.trip_word
        seen = Seen("trip cleared" if cleared else "reset refused: trip stays", 0.5)
        out.append(Line(SIGNALS, f"{number}.{done + len(out) + 1}", do, (), (seen,)))
        if cleared:
            break
    return out


_SHOWN = {  # cells of an observed row that somebody at the cabinet can see
    "alarm": "alarm", "inhibit": "inhibit", "capacity": "capacity", "volume_ratio": "volume ratio", "motor": "motor",
    "oil_pump": "oil pump", "trip": "first out", "refused": "start refused", "latch": "when it has gone", "reset": "reset",
}  # fmt: skip


def _observed_line(bench: BoxBench, mark: Mark, cause: Cause, part: str, number: str) -> Line:
    """Parts C and D: what was seen of one cause, as the matrix sees it."""
    cells, _ = observe(bench, mark, cause, None, None)
    sees = tuple(Seen(f"{head}: {cells[name]}", -1.0) for name, head in _SHOWN.items() if name in cells)
    return Line(part, number, cause.text, (), sees or (Seen("nothing changes", -1.0),))


def script_of(bench: BoxBench, settings: Any, heart: Heart) -> Script:
    """The whole script.  Raises InputRefused where the settings tell no limits, ControllerFailed where a scan fails."""
    if getattr(settings, "common", None) is None:
        raise InputRefused(
            Problem(
                "this controller tells no limits, so there is no current to work out",
                way_out="twoslide matrix finds them",
            )
        )
    rest = bench.to_rest()
    track: list[tuple[float, float, float, bool]] = []
    lines = _cold_lines(bench, rest, track)
    heart.come(0.2)
    bench.back(rest)
    pulled = bench.to_service(settled_s(settings))
    bench.box.suction_kpa_abs = bench.set_point_kpa_abs  # nobody can hold a rising load for a whole test
    bench.run(2.0)
    service = bench.mark()
    starts = 0
    values = trip_values(settings, bench.box)
    for k, value in enumerate(values, start=1):
        made = _signal_lines(bench, service, value, f"B{k}")
        starts += not bench.outputs.motor_run
        lines += made
        heart.come(0.2 + 0.4 * k / len(values))
    causes = all_causes(settings)
    contacts = [c for c in causes if c.signal is None and c.group in (TRIPS, SEQUENCE)]
    loops = [c for c in causes if c.signal is None and c.group == INSTRUMENTS and "open circuit" in c.text]
    marks = {SERVICE: pulled, STOP: pulled, REST: rest, START: rest}
    for part, letter, members in ((CONTACTS, "C", contacts), (LOOPS, "D", loops)):
        for k, cause in enumerate(members, start=1):
            lines.append(_observed_line(bench, marks[cause.at], cause, part, f"{letter}{k}"))
            starts += not bench.outputs.motor_run
    heart.come(1.0)
    bench.back(service)
    at_rest = replace(rest.box, oil_pump=False)
    wait_s = 0.001 * settings.common.sequence.start_to_start_ms
    return Script(tuple(lines), tuple(_setup(at_rest, service.box)), tuple(track), starts, wait_s)


def in_child(job: dict[str, Any], heart: Heart) -> dict[str, Any]:
    """The part that runs in the child process: the script as plain data, or why there is none."""
    bench, taken = make_bench(job, heart)
    try:
        script = script_of(bench, taken.settings, heart)
    except ControllerFailed as error:
        return {"failed": str(error)}
    return {"script": asdict(script), "stamp": taken.stamp, "notes": list(taken.notes)}


def read_script(answer: dict[str, Any]) -> Script:
    """What the child gave back."""
    s = answer["script"]

    def sets(given: Any) -> SetTo:
        return SetTo(**given)

    lines = [
        Line(**{**line, "sets": tuple(map(sets, line["sets"])), "sees": tuple(Seen(**seen) for seen in line["sees"])})
        for line in s["lines"]
    ]
    setup = tuple((a, b, sets(c), sets(d)) for a, b, c, d in s["setup"])
    track = tuple((float(t), float(c), float(v), bool(m)) for t, c, v, m in s["track"])
    return Script(tuple(lines), setup, track, s["starts"], s["wait_s"])
