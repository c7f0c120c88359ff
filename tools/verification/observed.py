"""One cause, done on the signal simulator, and what was seen: the row of a cause-and-effect matrix."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

from controller.process_image import Inhibit, Mode, Outputs, Selection, StartRefused, StopReason, Trip
from scenarios.preparation import SCAN_MS
from tools.verification.box_bench import BoxBench, Mark, words
from tools.verification.causes import DERIVED, REST, SERVICE, STOP, Cause
from tools.verification.signal_box import COUNT_MA, INDEX, LEAST_MA, MOST_MA, UNITS, value_of

COLUMNS: dict[str, str] = {  # name: head
    "limit": "begins at",
    "milliamp": "mA",
    "alarm": "alarm",
    "inhibit": "inhibit",
    "capacity": "capacity pair",
    "volume_ratio": "volume-ratio pair",
    "class": "what it does",
    "motor": "motor",
    "at_stop": "capacity at the stop",
    "oil_pump": "oil pump",
    "oil_heater": "oil heater",
    "injection": "injection cooling",
    "trip": "first out",
    "trips": "trips latched",
    "refused": "start refused",
    "mode": "ends in",
    "reason": "stop reason",
    "latch": "when it has gone",
    "reset": "reset",
}
_DRIVES = ("capacity_load", "capacity_unload", "volume_ratio_increase", "volume_ratio_decrease")
_SLIDE_WINDOW_S = 20.0  # in which drives are compared with those without the cause
_AFTER_STOP_S = 3.0
_LONGEST_STOP_S = 120.0  # a stop that has begun is watched to its end, so long at most
_RESTART_S = 150.0
_FROZEN_S = 30.0  # a signal that stands still for longer might be called frozen
_MOVED_PCT = 4.0  # less of travel than this is no movement
_RESTARTS_S = 3900.0
_DECIMALS = {"kPa": 1, "°C": 2, "A": 1, "kW": 1, "%": 1}


def bits(word: int) -> str:
    """A word of trip bits in words."""
    return ", ".join(words(Trip, trip) for trip in Trip if trip and word & 1 << trip)


def seconds(ms: int) -> str:
    """A time since the cause."""
    return f"{ms / 1000:.1f}\N{NO-BREAK SPACE}s"


@dataclass(slots=True)
class Watch:
    """What happened since the cause, in ms after the scan that first saw it; −1 for never."""

    began_ms: int
    before: Outputs
    motor_off_ms: int = -1
    motor_on_ms: int = -1
    travel_pct: float = 0.0
    unloading_ms: int = -1
    alarms: dict[int, int] = field(default_factory=dict)  # bit: when
    inhibit_ms: int = -1
    inhibits: list[int] = field(default_factory=list)
    trip_ms: int = -1
    refused: list[int] = field(default_factory=list)
    modes: list[int] = field(default_factory=list)
    moved_pct: dict[str, float] = field(default_factory=dict)  # of each slide, within the window
    began_pct: dict[str, float] = field(default_factory=dict)
    drive_first_ms: dict[str, int] = field(default_factory=dict)
    changes: dict[str, list[tuple[int, bool]]] = field(default_factory=dict)

    def see(self, bench: BoxBench) -> None:
        """Note one scan."""
        out, at_ms = bench.outputs, bench.box.time_ms - self.began_ms
        if out.motor_run != self.before.motor_run and self.motor_off_ms < 0 and self.motor_on_ms < 0:
            if out.motor_run:
                self.motor_on_ms = at_ms
            else:
                self.motor_off_ms, self.travel_pct = at_ms, bench.box.capacity_pct
        new = out.alarm_word & ~self.before.alarm_word
        for trip in Trip if new else ():
            if new & 1 << trip:
                self.alarms.setdefault(1 << trip, at_ms)
        if out.inhibit and out.inhibit not in self.inhibits:
            self.inhibit_ms = at_ms if self.inhibit_ms < 0 else self.inhibit_ms
            self.inhibits.append(int(out.inhibit))
        if out.trip_word and self.trip_ms < 0:
            self.trip_ms = at_ms
        if out.start_refused and out.start_refused not in self.refused:
            self.refused.append(int(out.start_refused))
        if not self.modes or self.modes[-1] != out.mode:
            self.modes.append(int(out.mode))
        if out.mode == Mode.UNLOADING and self.unloading_ms < 0:
            self.unloading_ms = at_ms
        for name in _DRIVES:
            if getattr(out, name):
                self.drive_first_ms.setdefault(name, at_ms)
        if at_ms <= 1000.0 * _SLIDE_WINDOW_S:
            for slide in ("capacity", "volume_ratio"):
                position_pct = getattr(bench.box, f"{slide}_pct")
                self.moved_pct[slide] = position_pct - self.began_pct.setdefault(slide, position_pct)
        for name in ("oil_pump", "oil_heater", "injection_cooling"):
            now, told = bool(getattr(out, name)), self.changes.setdefault(name, [])
            if now != (told[-1][1] if told else bool(getattr(self.before, name))):
                told.append((at_ms, now))


def find_limit(bench: BoxBench, mark: Mark, cause: Cause) -> int | None:
    """The first count of the input card, from the healthy value on, at which the effect shows; None if it never does.

    By halving, so the effect is taken to stay once it has come.
    """
    signal, wanted = cause.signal, cause.wanted
    if signal is None or wanted is None:
        return None

    def shows(count: int) -> bool:
        bench.back(mark)
        bench.heart.begin(f"{cause.text}, {count * COUNT_MA:.3f} mA")
        signal.force(bench.box, count, lively=cause.hold_s > _FROZEN_S)
        return bench.until(wanted, cause.hold_s)

    healthy = round(mark.box.milliamps()[INDEX[signal.name]] / COUNT_MA)
    far = round((MOST_MA if signal.side > 0 else LEAST_MA) / COUNT_MA)
    if not shows(far):
        return None
    near = healthy + 2 * signal.side
    while abs(far - near) > 1:
        middle = (near + far) // 2
        near, far = (near, middle) if shows(middle) else (middle, far)
    return far


def _watched(bench: BoxBench, cause: Cause, before: Outputs) -> Watch:
    """Scan until all is over: past the motor's stop, or past the time that the cause is watched for."""
    watch = Watch(bench.box.time_ms + SCAN_MS, before)
    enough_ms = 1000.0 * cause.watch_s
    while True:
        bench.scan()
        watch.see(bench)
        at_ms = bench.box.time_ms - watch.began_ms
        if cause.at in (SERVICE, STOP) and watch.motor_off_ms >= 0:
            if at_ms >= watch.motor_off_ms + 1000.0 * _AFTER_STOP_S and (cause.at == SERVICE or at_ms >= enough_ms):
                return watch
        elif at_ms >= enough_ms:
            stopping = bench.outputs.mode == Mode.UNLOADING and at_ms < enough_ms + 1000.0 * _LONGEST_STOP_S
            if not stopping:
                return watch


def _press_reset(bench: BoxBench) -> None:
    bench.box.operator.reset_pressed = False
    bench.run(0.2)
    bench.box.operator.reset_pressed = True
    bench.run(0.3)
    bench.box.operator.reset_pressed = False
    bench.run(0.3)


def limit_cells(bench: BoxBench, cause: Cause, settings: Any, count: int) -> dict[str, str]:
    """Where an effect begins: the signal's value, what that is of, and the loop's current."""
    signal = cause.signal
    if signal is None:
        return {}
    name, milliamp = signal.name, count * COUNT_MA
    value, unit = value_of(bench.box.ranges, name, milliamp), UNITS[INDEX[name]]
    text = f"{value:.{_DECIMALS.get(unit, 1)}f} {unit}"
    derived = DERIVED.get((name, signal.side))
    more = derived(bench.box, settings, value) if derived else ""
    return {"limit": f"{text} ({more})" if more else text, "milliamp": f"{milliamp:.3f}"}


def observe(
    bench: BoxBench, mark: Mark, cause: Cause, usual: Watch | None, count: int | None, settings: Any = None
) -> tuple[dict[str, str], Watch]:
    """Do one cause from a mark; the row's cells by column, and the watch itself.

    usual: what the slides do from the same mark without any cause; count: where its signal is put, of `find_limit`.
    """
    if cause.signal is not None and count is None:
        return {"limit": "no effect within the signal's range"}, Watch(0, Outputs())
    bench.back(mark)
    bench.heart.begin(cause.text)
    before = replace(bench.outputs)
    cells: dict[str, str] = {}
    if cause.signal is not None and count is not None:
        cells = limit_cells(bench, cause, settings, count)
        cause.signal.force(bench.box, count)
    elif cause.act is not None:
        cause.act(bench.box)
    watch = _watched(bench, cause, before)
    out = replace(bench.outputs)
    cells |= _seen(watch, out, usual)
    cells |= _afterwards(bench, cause, out)
    return {name: text for name, text in cells.items() if text}, watch


def restarts(bench: BoxBench, mark: Mark) -> dict[str, str]:
    """Switched off and on again as soon as it has stopped, for more than an hour: when it starts, and what it says."""
    bench.back(mark)
    bench.heart.begin("switched off and on again")
    box = bench.box
    began_ms = bench.started_ms
    starts_ms, refused, ran = [began_ms], list[int](), True
    box.operator.selection = Selection.OFF
    while box.time_ms - began_ms < 1000.0 * _RESTARTS_S:
        out = bench.scan()
        if out.motor_run != ran:
            ran = out.motor_run
            box.operator.selection = Selection.OFF if ran else Selection.LOCAL
            box.suction_kpa_abs = box.healthy.start_suction_kpa_abs
            if ran:
                starts_ms.append(box.time_ms)
        if out.start_refused and out.start_refused not in refused:
            refused.append(int(out.start_refused))
    minutes = ", ".join(f"{(at_ms - began_ms) / 60_000:.1f}" for at_ms in starts_ms)
    return {
        "motor": f"starts at {minutes} min",
        "refused": ", then ".join(words(StartRefused, value) for value in refused),
    }


def _seen(watch: Watch, out: Outputs, usual: Watch | None) -> dict[str, str]:
    alarm = "; ".join(f"{bits(bit)}, {seconds(at_ms)}" for bit, at_ms in watch.alarms.items())
    inhibit = ", then ".join(words(Inhibit, value) for value in watch.inhibits)
    motor = ""
    if watch.motor_off_ms >= 0:
        motor = f"off, {seconds(watch.motor_off_ms)}" + ("; on again" if out.motor_run else "")
    elif watch.motor_on_ms >= 0:
        motor = f"on, {seconds(watch.motor_on_ms)}" + ("" if out.motor_run else "; off again")
    return {
        "alarm": alarm,
        "inhibit": f"{inhibit}, {seconds(watch.inhibit_ms)}" if inhibit else "",
        "capacity": _slide(watch, usual, "capacity", "loads", "unloads"),
        "volume_ratio": _slide(watch, usual, "volume_ratio", "increases", "decreases"),
        "class": _class_of(watch),
        "motor": motor,
        "at_stop": f"{watch.travel_pct:.0f} %" if watch.motor_off_ms >= 0 and watch.unloading_ms >= 0 else "",
        "oil_pump": _switched(watch, "oil_pump"),
        "oil_heater": _switched(watch, "oil_heater"),
        "injection": _switched(watch, "injection_cooling"),
        "trip": f"{words(Trip, out.trip_first_out)}, {seconds(watch.trip_ms)}" if out.trip_first_out else "",
        "trips": bits(out.trip_word),
        "refused": ", then ".join(words(StartRefused, value) for value in watch.refused),
        "mode": words(Mode, out.mode) or "off",
        "reason": words(StopReason, out.stop_reason),
    }


def _class_of(watch: Watch) -> str:
    """What the cause did to the machine, by what was seen."""
    if watch.motor_off_ms >= 0:
        if watch.unloading_ms < 0:
            return "stops at once"
        return "unloads, then stops"
    if watch.motor_on_ms >= 0 or not watch.before.motor_run:
        return ""
    if any(value % 2 == 0 for value in watch.inhibits):
        return "forced unload"
    if watch.inhibits:
        return "load inhibit"
    return "alarm" if watch.alarms else ""


def _stopped_early(watch: Watch) -> bool:
    return 0 <= watch.motor_off_ms < 1000.0 * _SLIDE_WINDOW_S


def _slide(watch: Watch, usual: Watch | None, slide: str, ups: str, downs: str) -> str:
    """What a pair does because of the cause: by its travel in the window against what it does without."""
    up, down = {
        "capacity": ("capacity_load", "capacity_unload"),
        "volume_ratio": ("volume_ratio_increase", "volume_ratio_decrease"),
    }[slide]
    moved, used = watch.moved_pct.get(slide, 0.0), 0.0 if usual is None else usual.moved_pct.get(slide, 0.0)
    if moved < min(0.0, used) - _MOVED_PCT and down in watch.drive_first_ms:
        return f"{downs} from {seconds(watch.drive_first_ms[down])}, {moved:.0f} %"
    if moved > max(0.0, used) + _MOVED_PCT and up in watch.drive_first_ms:
        return f"{ups} from {seconds(watch.drive_first_ms[up])}, +{moved:.0f} %"
    if _stopped_early(watch):
        return ""  # the window was cut short: nothing to compare
    if abs(used) > _MOVED_PCT and abs(moved) < 0.4 * abs(used):
        return "held"
    return ""


def _switched(watch: Watch, name: str) -> str:
    return ", ".join(f"{'on' if on else 'off'} {seconds(at_ms)}" for at_ms, on in watch.changes.get(name, ())[:3])


def _afterwards(bench: BoxBench, cause: Cause, out: Outputs) -> dict[str, str]:
    """Press reset while it stands, take it away, press again."""
    if cause.at == REST and not out.trip_word:
        if out.motor_run:
            return {}
        cause.undo(bench.box)
        gone_ms = bench.box.time_ms
        started = bench.until(lambda o: bool(o.motor_run), _RESTART_S)
        took = seconds(bench.box.time_ms - gone_ms)
        return {"latch": f"starts after {took}" if started else f"does not start in {_RESTART_S:g} s"}
    if not out.trip_word:
        if not (out.inhibit or out.alarm_word):
            return {}
        cause.undo(bench.box)
        cleared = bench.until(lambda o: not (o.inhibit or o.alarm_word), 30.0)
        return {"latch": "goes with it" if cleared else "stays 30 s"}
    _press_reset(bench)
    while_there = not bench.outputs.trip_word
    if while_there:
        return {"latch": "latched", "reset": "accepted while it stands"}
    cause.undo(bench.box)
    bench.run(5.0)
    if not bench.outputs.trip_word:
        return {"latch": "goes with it", "reset": "refused while it stands"}
    _press_reset(bench)
    if bench.outputs.trip_word:
        bench.until(lambda o: not o.motor_run and not bench.box.motor_running, 10.0)
        _press_reset(bench)
    cleared = not bench.outputs.trip_word
    return {"latch": "latched", "reset": "by hand, once it has gone" if cleared else "refused 5 s after it has gone"}
