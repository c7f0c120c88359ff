"""What a line of the site script is, and how one is made: something is done at the signal simulator, and what the
controller does is noted with its time, as somebody at the cabinet would see it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

from controller.process_image import Inhibit, Mode, Outputs, StartRefused, Trip
from scenarios.preparation import SCAN_MS
from tools.verification.box_bench import BoxBench, words
from tools.verification.signal_box import INDEX, UNITS, Box, value_of

_OUTPUTS = {  # output: what is seen when it comes on, when it goes off
    "motor_run": ("motor contactor closes", "motor contactor opens"),
    "oil_pump": ("oil pump on", "oil pump off"),
    "oil_heater": ("oil heater on", "oil heater off"),
    "injection_cooling": ("injection cooling on", "injection cooling off"),
}
_DRIVES = {
    "capacity_load": "capacity load drive on",
    "capacity_unload": "capacity unload drive on",
    "volume_ratio_increase": "volume-ratio increase drive on",
    "volume_ratio_decrease": "volume-ratio decrease drive on",
}


@dataclass(frozen=True, slots=True)
class SetTo:
    """One loop to set, as the person at the calibrator needs it."""

    loop: str
    value: str
    milliamp: float

    def __str__(self) -> str:
        return f"{self.loop} {self.value} = {self.milliamp:.2f} mA"


@dataclass(frozen=True, slots=True)
class Seen:
    """One thing that must be seen, and when after the line's beginning."""

    text: str
    after_s: float  # negative where the text says when, or no time belongs to it


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the script: what is done, and what must be seen."""

    part: str
    number: str
    do: str
    sets: tuple[SetTo, ...] = ()
    sees: tuple[Seen, ...] = ()
    note: str = ""
    contradicts: bool = False  # the controller did not do what its settings say


@dataclass(slots=True)
class Eye:
    """Somebody who looks at the cabinet: tells what is new since the last look."""

    last: Outputs
    began_ms: int
    seen: list[Seen] = field(default_factory=list)
    told: set[str] = field(default_factory=set)
    slides: tuple[str, ...] = ("capacity", "volume_ratio")  # whose drives are told

    def look(self, bench: BoxBench) -> None:
        """Note what this scan has changed."""
        out, after_s = bench.outputs, (bench.box.time_ms - self.began_ms) / 1000.0
        told = list[str]()
        for name, (on, off) in _OUTPUTS.items():
            if bool(getattr(out, name)) != bool(getattr(self.last, name)):
                told.append(on if getattr(out, name) else off)
        for name, text in _DRIVES.items():
            if getattr(out, name) and name not in self.told and name.startswith(self.slides):
                self.told.add(name)
                told.append(text)
        if out.mode != self.last.mode:
            told.append(f"mode {words(Mode, out.mode) or 'off'}")
        new = out.alarm_word & ~self.last.alarm_word
        told += [f"alarm «{words(Trip, trip)}»" for trip in Trip if trip and new & 1 << trip]
        if out.inhibit != self.last.inhibit:
            told.append(f"inhibit «{words(Inhibit, out.inhibit)}»" if out.inhibit else "no inhibit")
        if out.trip_first_out != self.last.trip_first_out:
            told.append(f"trip «{words(Trip, out.trip_first_out)}»" if out.trip_first_out else "trip cleared")
        if out.start_refused != self.last.start_refused and out.start_refused:
            told.append(f"start refused «{words(StartRefused, out.start_refused)}»")
        self.seen += [Seen(text, after_s) for text in told]
        self.last = replace(out)


def set_to(box: Box, name: str, milliamp: float) -> SetTo:
    """A loop's setting in words."""
    unit = UNITS[INDEX[name]]
    digits = 2 if unit in ("°C", "%") else 1
    return SetTo(name.replace("_", " "), f"{value_of(box.ranges, name, milliamp):.{digits}f} {unit}", milliamp)


def watch(
    bench: BoxBench,
    seconds: float,
    until: Callable[[Outputs], bool] | None = None,
    each: Callable[[], Any] | None = None,
    slides: tuple[str, ...] = ("capacity", "volume_ratio"),
) -> list[Seen]:
    """Scan for a time, or until something holds; what was seen.  each: called after every scan; slides: whose drives."""
    eye = Eye(replace(bench.outputs), bench.box.time_ms + SCAN_MS, slides=slides)
    for _ in range(round(seconds * 1000.0 / SCAN_MS)):
        bench.scan()
        eye.look(bench)
        if each is not None:
            each()
        if until is not None and until(bench.outputs):
            break
    return eye.seen
