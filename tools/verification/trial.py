"""The space that the hunt searches: sequences of happenings, each with its time and sizes as whole numbers, on a plant of
the spread that its file allows, under a sheet with some settings moved, and with a clock that wraps on the way.

A trial is written as a normal scenario file (ground.py), so that `twoslide run` plays it again.  Faults that make an
instrument lie within its range are left out: requirements speak of true values, and no controller can know them then.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from tools.verification.plant_scale import Scale

MINUTES = 30
LAST_S = MINUTES * 60 - 120  # nothing begins later: what it does shall be seen
MOST_HAPPENINGS = 6
LOAD_PCT = (25, 90)  # of the machine's full load at its rating point
CONDENSING_K = (-9, 3)  # over its rating's condensing temperature, at the start
SUCTION_K = (2, 16)  # over its rating's evaporating temperature, at the start: up to a plant that stood for a while
WRAP_S = (1, LAST_S)  # when the controller's 32-bit clock wraps
PLANTS = 40  # draws of the plant's spread that a trial may have; 0 is the file's own plant
MOST_SETTINGS = 2

# Settings that a trial may move, and how far, in % of the sheet's value.  Times and limits that requirements ask for by
# name; limits of pressure and current only as far as a plant may have them.
_TIME = (40, 250)
MOVED: dict[str, tuple[int, int]] = {
    **{
        f"common.sequence.{name}": _TIME
        for name in (
            "pre_lubrication", "start_confirm", "run_up", "oil_after_stop", "stop_to_start", "valves_closed", "idle_delay",
        )
    },
    "common.sequence.unload_timeout": (80, 250),
    "common.sequence.spin_down": (40, 200),
    "common.sequence.start_to_start": (5, 100),
    "common.sequence.volume_ratio_unloads_below": (40, 200),
    **{
        f"common.protection.{name}": _TIME
        for name in (
            "high_discharge_pressure_delay", "low_suction_pressure_delay", "low_suction_bypass",
            "high_discharge_temperature_delay", "low_discharge_superheat_delay", "low_superheat_bypass",
            "low_oil_differential_delay", "low_oil_bypass", "high_filter_differential_delay",
            "high_oil_temperature_delay", "vessel_high_level_delay", "motor_overload_delay", "failed_start",
            "failed_stop", "running_feedback_lost", "signal_lost_delay",
        )
    },
    "common.protection.high_discharge_pressure_trip": (96, 104),
    "common.protection.low_oil_differential_trip": (60, 130),
    "common.protection.motor_overload_trip": (90, 110),
    "common.motor.full_load_current": (60, 105),
    "common.inhibit.current_hold": (70, 103),
    "common.inhibit.current_unload": (75, 108),
    "common.inhibit.signal_unload_delay": _TIME,
    "common.slide_watch.stuck": _TIME,
    "common.slide_watch.position_lost": _TIME,
    "common.slide_watch.disagree_delay": _TIME,
    "common.capacity.minimum_load": (60, 300),
    "common.capacity.load_ramp": (10, 200),
    "common.capacity.set_point_ramp": (10, 200),
    "common.capacity.windup_band": (60, 200),
    "common.capacity.drive.end_stop_guard": (40, 250),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Template:
    """One kind of happening.  sizes: name, low, high of each whole number; event: TOML keys, with {name} for a size.

    load_pct, swept_pct, flow_pct: shares of what the machine does at full load, written in kW, m³/h and g/s.
    """

    sizes: tuple[tuple[str, int, int], ...]
    event: tuple[tuple[str, str], ...]


def _of(kind: str, sizes: tuple[tuple[str, int, int], ...] = (), **keys: str) -> Template:
    return Template(sizes, (("kind", kind), *((key.rstrip("_"), text) for key, text in keys.items())))


def _operator(action: str, *sizes: tuple[str, int, int], **keys: str) -> Template:
    return _of("operator", sizes, action=action, **keys)


_LASTING = ("s", 1, 300)
_BRIEF = ("ms", 200, 20_000)
_SCANS = ("scans", 1, 10)  # a program that comes a second late has other faults; common practice, no source


def _fault(name: str, low_pct: int, high_pct: int) -> Template:
    size = (("pct", low_pct, high_pct), ("over", 1, 300))
    return _of("plant_fault", size, fault=name, size="{pct} %", over="{over} s")


def _switched(name: str) -> Template:
    return _of("plant_fault", (_LASTING,), fault=name, lasting="{s} s")


_SIGNALS = (
    "suction_pressure", "discharge_pressure", "discharge_temperature", "motor_current", "oil_pressure", "capacity_position",
)  # fmt: skip

TEMPLATES: dict[str, Template] = {
    "load step": _of("load_step", (("load_pct", -80, 150),), change="{load_pct} kW"),
    "load ramp": _of("load_ramp", (("load_pct", 0, 200), ("over", 10, 600)), to="{load_pct} kW", over="{over} s"),
    "other compressor": _of("other_compressor", (("swept_pct", 0, 160),), flow="{swept_pct} m³/h"),
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
    "late scan": _of("late_scan", (_SCANS,), lasting="{scans}00 ms"),
    "condenser fans": _of("condenser_fans", (("pct", 0, 100),), running="{pct} %"),
    "liquid surge": _of("liquid_surge", (("flow_pct", 1, 1200), _LASTING), flow="{flow_pct} g/s", lasting="{s} s"),
    "oil is lost": _of("oil_loss", (("gram", 10, 3000), _LASTING), flow="{gram} g/s", lasting="{s} s"),
    "oil pump weak": _fault("oil_pump_weak", 5, 100),
    "oil filter fouls": _fault("oil_filter_fouling", 5, 99),
    "oil cooler fouls": _fault("oil_cooler_fouling", 5, 100),
    "condenser fouls": _fault("condenser_fouling", 5, 98),
    "strainer fouls": _fault("strainer_fouling", 5, 98),
    "coupling worn": _fault("coupling_worn", 5, 100),
    "contactor stuck": _switched("contactor_stuck"),
    "contactor open": _switched("contactor_open"),
    "capacity slide stuck": _switched("capacity_slide_stuck"),
    "volume-ratio slide stuck": _switched("volume_ratio_slide_stuck"),
    "capacity linkage slips": _fault("capacity_linkage_slip", 2, 80),
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

    def event(self, scale: Scale) -> dict[str, str]:
        """As a scenario writes it."""
        template = TEMPLATES[self.name]
        values = {name: scale.size(name, size) for (name, _, _), size in zip(template.sizes, self.sizes, strict=True)}
        keys = {key: text.format(**values) for key, text in template.event}
        if "change" in keys and not keys["change"].startswith("-"):
            keys["change"] = f"+{keys['change']}"
        return {**keys, "at": f"{self.at_s} s"}


@dataclass(frozen=True, slots=True)
class Trial:
    """One point of the space.  wraps_s: when the controller's clock wraps; plant: a draw of the plant's spread, 0 for the
    file's own; settings: those that are moved, with % of the sheet's value."""

    load_pct: int
    condensing_k: int
    suction_k: int
    seed: int
    happenings: tuple[Happening, ...]
    wraps_s: int = 700
    plant: int = 0
    settings: tuple[tuple[str, int], ...] = ()

    @property
    def size(self) -> tuple[int, int, int]:
        """What makes a trial smaller than another: fewer happenings, less that is moved, then smaller numbers."""
        moved = len(self.settings) + (self.plant != 0)
        return len(self.happenings), moved, sum(h.at_s + sum(map(abs, h.sizes)) for h in self.happenings)

    def smaller(self) -> list[Trial]:
        """Trials with one thing left out, the largest step first; a trial keeps at least one happening."""
        k = len(self.happenings)
        found = [self.without_happening(i) for i in range(k)] if k > 1 else []
        found += [replace(self, plant=0)] if self.plant else []
        return found + [
            replace(self, settings=self.settings[:i] + self.settings[i + 1 :]) for i in range(len(self.settings))
        ]

    def without_happening(self, number: int) -> Trial:
        """The same without one of its happenings."""
        return replace(self, happenings=self.happenings[:number] + self.happenings[number + 1 :])

    def numbers(self) -> tuple[list[int], list[tuple[int, int]]]:
        """All times and sizes in one row, and the range of each: what an optimiser moves."""
        values = [self.load_pct, self.condensing_k, self.suction_k, self.wraps_s]
        ranges = [LOAD_PCT, CONDENSING_K, SUCTION_K, WRAP_S]
        for name, share_pct in self.settings:
            values.append(share_pct)
            ranges.append(MOVED[name])
        for h in self.happenings:
            values += [h.at_s, *h.sizes]
            ranges += [(0, LAST_S), *((low, high) for _, low, high in TEMPLATES[h.name].sizes)]
        return values, ranges

    def moved(self, values: Sequence[float]) -> Trial:
        """The same happenings and settings with other numbers, rounded and held within their ranges."""
        _, ranges = self.numbers()
        row = [min(high, max(low, round(v))) for v, (low, high) in zip(values, ranges, strict=True)]
        settings = tuple((name, row[4 + i]) for i, (name, _) in enumerate(self.settings))
        happenings, k = [], 4 + len(settings)
        for h in self.happenings:
            n = len(h.sizes)
            happenings.append(Happening(h.name, row[k], tuple(row[k + 1 : k + 1 + n])))
            k += 1 + n
        return replace(
            self, load_pct=row[0], condensing_k=row[1], suction_k=row[2], wraps_s=row[3], settings=settings,
            happenings=tuple(happenings),
        )  # fmt: skip

    def told(self) -> str:
        """Its happenings and what is moved, in words."""
        words = [
            f"{h.at_s} s {h.name}{' ' + ' '.join(map(str, h.sizes)) if h.sizes else ''}"
            for h in sorted(self.happenings, key=lambda h: h.at_s)
        ]
        words += [f"{name} at {share_pct} %" for name, share_pct in self.settings]
        return "; ".join([*words, *([f"plant {self.plant} of its spread"] if self.plant else [])])

    def as_dict(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "load_pct": self.load_pct, "condensing_k": self.condensing_k, "suction_k": self.suction_k,
            "seed": self.seed, "wraps_s": self.wraps_s,
            "plant": self.plant, "settings": [list(one) for one in self.settings],
            "happenings": [[h.name, h.at_s, list(h.sizes)] for h in self.happenings],
        }  # fmt: skip


def from_dict(data: dict[str, Any]) -> Trial:
    """The trial that `as_dict` gave."""
    happenings = tuple(Happening(name, at_s, tuple(sizes)) for name, at_s, sizes in data["happenings"])
    settings = tuple((name, share_pct) for name, share_pct in data["settings"])
    return Trial(
        data["load_pct"],
        data["condensing_k"],
        data["suction_k"],
        data["seed"],
        happenings,
        data["wraps_s"],
        data["plant"],
        settings,
    )
