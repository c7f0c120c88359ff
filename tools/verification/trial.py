"""The space that the hunt searches: sequences of happenings on a plant, each with its time and sizes as whole numbers.

A trial is written as a normal scenario file, so that `twoslide run` plays it again.  Faults that make an instrument lie
within its range are left out: requirements speak of true values, and no controller can know them then.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import tomlkit

MINUTES = 30
LAST_S = MINUTES * 60 - 120  # nothing begins later: what it does shall be seen
MOST_HAPPENINGS = 6
LOAD_KW, CONDENSING_C = (150, 520), (26, 38)


@dataclass(frozen=True, slots=True)
class Template:
    """One kind of happening.  sizes: name, low, high of each whole number; event: TOML keys, with {name} for a size."""

    sizes: tuple[tuple[str, int, int], ...]
    event: tuple[tuple[str, str], ...]


def _of(kind: str, sizes: tuple[tuple[str, int, int], ...] = (), **keys: str) -> Template:
    return Template(sizes, (("kind", kind), *((key.rstrip("_"), text) for key, text in keys.items())))


def _operator(action: str, *sizes: tuple[str, int, int], **keys: str) -> Template:
    return _of("operator", sizes, action=action, **keys)


_LASTING = ("s", 1, 300)
_BRIEF = ("ms", 200, 20_000)


def _fault(name: str, low_pct: int, high_pct: int) -> Template:
    size = (("pct", low_pct, high_pct), ("over", 1, 300))
    return _of("plant_fault", size, fault=name, size="{pct} %", over="{over} s")


def _switched(name: str) -> Template:
    return _of("plant_fault", (_LASTING,), fault=name, lasting="{s} s")


_SIGNALS = (
    "suction_pressure", "discharge_pressure", "discharge_temperature", "motor_current", "oil_pressure", "capacity_position",
)  # fmt: skip

TEMPLATES: dict[str, Template] = {
    "load step": _of("load_step", (("kw", -400, 300),), change="{kw} kW"),
    "load ramp": _of("load_ramp", (("kw", 0, 600), ("over", 10, 600)), to="{kw} kW", over="{over} s"),
    "other compressor": _of("other_compressor", (("flow", 0, 1500),), flow="{flow} m³/h"),
    "selected off": _operator("select_off"),
    "selected local": _operator("select_local"),
    "selected remote": _operator("select_remote"),
    "remote run on": _operator("remote_run_on"),
    "remote run off": _operator("remote_run_off"),
    "stop button": _operator("stop_button"),
    "reset": _operator("reset"),
    "second set point": _operator("second_set_point_on"),
    "first set point": _operator("second_set_point_off"),
    "capacity by hand": _operator("capacity_manual_on", ("pct", 0, 100), demand="{pct} %"),
    "capacity automatic": _operator("capacity_manual_off"),
    "volume ratio by hand": _operator("volume_ratio_manual_on", ("pct", 0, 100), demand="{pct} %"),
    "volume ratio automatic": _operator("volume_ratio_manual_off"),
    "safety chain": _of("safety_chain", (_LASTING,), lasting="{s} s"),
    "valves closed": _of("valves_closed", (_LASTING,), lasting="{s} s"),
    "power dip": _of("power_dip", (_BRIEF,), lasting="{ms} ms"),
    "condenser fans": _of("condenser_fans", (("pct", 0, 100),), running="{pct} %"),
    "liquid surge": _of("liquid_surge", (("flow", 1, 300), _LASTING), flow="{flow} g/s", lasting="{s} s"),
    "oil pump weak": _fault("oil_pump_weak", 5, 100),
    "oil filter fouls": _fault("oil_filter_fouling", 5, 99),
    "oil cooler fouls": _fault("oil_cooler_fouling", 5, 100),
    "condenser fouls": _fault("condenser_fouling", 5, 98),
    "strainer fouls": _fault("strainer_fouling", 5, 98),
    "coupling worn": _fault("coupling_worn", 5, 100),
    "contactor stuck": _switched("contactor_stuck"),
    "capacity slide stuck": _switched("capacity_slide_stuck"),
    "volume-ratio slide stuck": _switched("volume_ratio_slide_stuck"),
    "capacity linkage slips": _fault("capacity_linkage_slip", 2, 40),
    **{
        f"{signal.replace('_', ' ')} {fault}": _of(
            "instrument_fault", (_LASTING,), instrument=signal, fault=f"{fault}_circuit", lasting="{s} s"
        )
        for signal in _SIGNALS
        for fault in ("open", "short")
    },
}  # fmt: skip
NAMES = tuple(TEMPLATES)


@dataclass(frozen=True, slots=True)
class Happening:
    """One of the templates, at a time, with its sizes."""

    name: str
    at_s: int
    sizes: tuple[int, ...] = ()

    def event(self) -> dict[str, str]:
        """As a scenario writes it."""
        template = TEMPLATES[self.name]
        values = {name: size for (name, _, _), size in zip(template.sizes, self.sizes, strict=True)}
        keys = {key: text.format(**values) for key, text in template.event}
        if "change" in keys and not keys["change"].startswith("-"):
            keys["change"] = f"+{keys['change']}"
        return {**keys, "at": f"{self.at_s} s"}


@dataclass(frozen=True, slots=True)
class Trial:
    """One point of the space."""

    load_kw: int
    condensing_c: int
    seed: int
    happenings: tuple[Happening, ...]

    @property
    def size(self) -> tuple[int, int]:
        """What makes a trial smaller than another: fewer happenings, then smaller numbers."""
        return len(self.happenings), sum(h.at_s + sum(map(abs, h.sizes)) for h in self.happenings)

    def numbers(self) -> tuple[list[int], list[tuple[int, int]]]:
        """All times and sizes in one row, and the range of each: what an optimiser moves."""
        values, ranges = [self.load_kw, self.condensing_c], [LOAD_KW, CONDENSING_C]
        for h in self.happenings:
            values += [h.at_s, *h.sizes]
            ranges += [(0, LAST_S), *((low, high) for _, low, high in TEMPLATES[h.name].sizes)]
        return values, ranges

    def moved(self, values: Sequence[float]) -> Trial:
        """The same happenings with other numbers, rounded and held within their ranges."""
        _, ranges = self.numbers()
        row = [min(high, max(low, round(v))) for v, (low, high) in zip(values, ranges, strict=True)]
        happenings, k = [], 2
        for h in self.happenings:
            n = len(h.sizes)
            happenings.append(Happening(h.name, row[k], tuple(row[k + 1 : k + 1 + n])))
            k += 1 + n
        return replace(self, load_kw=row[0], condensing_c=row[1], happenings=tuple(happenings))

    def as_dict(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "load_kw": self.load_kw, "condensing_c": self.condensing_c, "seed": self.seed,
            "happenings": [[h.name, h.at_s, list(h.sizes)] for h in self.happenings],
        }  # fmt: skip


def from_dict(data: dict[str, Any]) -> Trial:
    """The trial that `as_dict` gave."""
    happenings = tuple(Happening(name, at_s, tuple(sizes)) for name, at_s, sizes in data["happenings"])
    return Trial(data["load_kw"], data["condensing_c"], data["seed"], happenings)


def scenario_text(
    trial: Trial, plant: Path, controller: str, sheet: Path | None, folder: Path, title: str = "A trial of the hunt"
) -> str:
    """The trial as a scenario file that will lie in `folder`."""
    document: Any = tomlkit.document()
    document["title"] = title
    document["purpose"] = "made by the hunt for a counter-example"
    document["expects"] = "every requirement holds"
    document["plant"] = _seen_from(plant, folder)
    document["controller"] = controller
    if sheet is not None:
        document["settings"] = _seen_from(sheet, folder)
    document["duration"] = f"{MINUTES} min"
    document["seed"] = trial.seed
    document["start"] = {
        "suction_pressure": "-6 °C sat", "discharge_pressure": f"{trial.condensing_c} °C sat", "load": f"{trial.load_kw} kW",
    }  # fmt: skip
    events = tomlkit.aot()
    for h in sorted(trial.happenings, key=lambda h: h.at_s):
        events.append(tomlkit.item(h.event()))
    if trial.happenings:
        document["event"] = events
    return tomlkit.dumps(document)


def _seen_from(path: Path, folder: Path) -> str:
    """A path as a file in `folder` writes it; absolute on another drive."""
    try:
        return Path(os.path.relpath(path.resolve(), folder.resolve())).as_posix()
    except ValueError:
        return path.resolve().as_posix()
