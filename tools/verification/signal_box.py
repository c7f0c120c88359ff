"""A signal simulator at the cabinet's terminals: fifteen current loops, contacts and switches, and no plant behind them.

What a person on site does with calibrators and a motor isolated in its test position, done in the program: pressures and
temperatures are currents that somebody sets; the slides follow their drives at their stroke times, the contactor's
feedback follows its command, oil pressure follows the pump.  Nothing here knows a compressor.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, fields, replace
from typing import Any

from controller.process_image import Inputs, Outputs, Selection
from controller.protection_settings import OilDifference
from controller.saturation import saturation_temperature_c
from controller.scaling import to_engineering, to_milliampere
from scenarios.preparation import SCAN_MS
from scenarios.wiring import Operator, Wiring, wire_inputs

CHANNELS = tuple(f.name for f in fields(Inputs) if isinstance(f.default, float))[:15]
SUFFIXES = ("_kpa_abs", "_c", "_pct", "_a", "_kw")
COUNT_MA = 0.001  # an input card of 14 bits over 4–20 mA, as the instruments of the plants have it
LEAST_MA, MOST_MA = 3.8, 20.5  # a live transmitter's range (NAMUR NE 43, secondary pages)
OPEN_MA, SHORT_MA = 3.5, 21.5  # below 3.6 and above 21 mA: failed
FEEDBACK_MS = 300  # contactor and auxiliary contact; common practice, no source
STROKE_S = 50.0  # of a slide whose settings are not told
FULL_LOAD_A = 372.0  # of a motor whose name plate is not told
PULL_KPA = 15.0  # suction pressure above the set point that makes a law want to load
_SUCTION_GAS_C, _OIL_LEVEL_PCT, _KW_PER_A = -5.0, 60.0, 0.55  # nothing is set on them
_DITHER = (
    0,
    1,
    -1,
)  # counts, scan by scan: a live signal is never still; three, so that a look every ten scans sees it move
_ASIDE = (0, 1, 0)  # the same for a signal that must not come back over a limit


def short_of(channel: str) -> str:
    """A channel's name without its unit.

    >>> short_of("suction_pressure_kpa_abs")
    'suction_pressure'
    """
    for suffix in SUFFIXES:
        if channel.endswith(suffix):
            return channel.removesuffix(suffix)
    return channel


NAMES = tuple(short_of(channel) for channel in CHANNELS)
INDEX = {name: k for k, name in enumerate(NAMES)}
UNITS = tuple(str(Inputs.__dataclass_fields__[channel].metadata["unit"]) for channel in CHANNELS)


def usual_ranges() -> Wiring:
    """The spans of usual transmitters, as the process image has them: for a site that has told none of its own."""
    spans = [Inputs.__dataclass_fields__[channel].metadata for channel in CHANNELS]
    low, high = tuple(float(m["low"]) for m in spans), tuple(float(m["high"]) for m in spans)
    return Wiring(low, high)  # type: ignore[arg-type]


def milliamp_of(ranges: Wiring, name: str, value: float) -> float:
    """Loop current of a value on one channel, in whole counts of the input card."""
    k = INDEX[name]
    return round(to_milliampere(value, ranges.low[k], ranges.high[k]) / COUNT_MA) * COUNT_MA


def value_of(ranges: Wiring, name: str, milliamp: float) -> float:
    """What the input card reads at a loop current."""
    k = INDEX[name]
    return to_engineering(milliamp, ranges.low[k], ranges.high[k])


@dataclass(frozen=True, slots=True)
class Healthy:
    """What a healthy machine in service shows, in cabinet units; far from every limit that is told."""

    start_suction_kpa_abs: float = 320.0
    suction_kpa_abs: float = 292.0
    discharge_kpa_abs: float = 1248.0
    discharge_c: float = 72.0
    oil_c: float = 45.0
    oil_rise_kpa: float = 190.0  # pump on: over discharge pressure; after the filter
    filter_kpa: float = 30.0
    current_a: float = 0.6 * FULL_LOAD_A
    stroke_up_s: float = STROKE_S
    stroke_down_s: float = 0.5 * STROKE_S
    volume_ratio_up_s: float = STROKE_S
    volume_ratio_down_s: float = 0.5 * STROKE_S
    process_c: float = 0.0


def healthy_of(settings: Any) -> Healthy:
    """What suits a shipped controller's settings; the demo plant's values for a controller that tells none."""
    common = getattr(settings, "common", None)
    if common is None:
        return Healthy()
    hold, trip, run, aim = common.inhibit, common.protection, common.sequence, common.capacity
    discharge = 0.8 * hold.discharge_pressure_hold_kpa_abs
    dew_c = saturation_temperature_c(common.refrigerant, discharge)
    pumped = trip.oil_difference == OilDifference.SUPPLY_LESS_DISCHARGE
    rise = 1.6 * trip.low_oil_differential_alarm_kpa if pumped else -0.2 * trip.low_oil_differential_alarm_kpa
    margin_c = trip.high_oil_temperature_alarm_c - run.oil_minimum_c
    return Healthy(
        start_suction_kpa_abs=run.restart_kpa_abs + 10.0,
        suction_kpa_abs=aim.suction_set_point_kpa_abs,
        discharge_kpa_abs=discharge,
        discharge_c=min(dew_c + 40.0, hold.discharge_temperature_hold_c - 12.0),
        oil_c=run.oil_minimum_c + 0.55 * margin_c,
        oil_rise_kpa=rise,
        filter_kpa=0.3 * trip.high_filter_differential_alarm_kpa,
        current_a=0.6 * common.motor.full_load_current_a,
        stroke_up_s=0.001 * aim.drive.stroke_up_ms,
        stroke_down_s=0.001 * aim.drive.stroke_down_ms,
        volume_ratio_up_s=0.001 * common.volume_ratio.drive.stroke_up_ms,
        volume_ratio_down_s=0.001 * common.volume_ratio.drive.stroke_down_ms,
        process_c=aim.target.process_set_point_c + 3.0,
    )


@dataclass(slots=True)
class Box:
    """The simulator's state.  What is in `forced` stands as set, in mA; the rest shows a healthy machine."""

    ranges: Wiring
    healthy: Healthy
    operator: Operator = field(default_factory=lambda: Operator(selection=Selection.OFF))
    time_ms: int = 0
    suction_kpa_abs: float = 0.0
    capacity_pct: float = 0.0
    volume_ratio_pct: float = 0.0
    motor_running: bool = False
    motor_changes_ms: int = 0  # the feedback follows then
    oil_pump: bool = False
    forced: dict[str, tuple[float, int]] = field(default_factory=dict)  # channel: mA, side its dither keeps to
    feedback: bool | None = None  # what the running feedback says whatever the contactor does
    capacity_stuck: bool = False
    volume_ratio_stuck: bool = False
    capacity_apart_pct: float = 0.0  # the other half's position less this one's
    volume_ratio_apart_pct: float = 0.0
    high_high_level: bool = False
    interrupted_ms: int = 0
    scan: int = 0

    def copy(self) -> Box:
        """One that goes on from here by itself."""
        return replace(self, operator=replace(self.operator), forced=dict(self.forced))

    def force(self, name: str, milliamp: float, side: int = 0) -> None:
        """Set a loop's current.  side: +1 or −1 where the signal's last count may only wander to that side."""
        self.forced[name] = (milliamp, side)

    def release(self) -> None:
        """Everything that was forced shows a healthy machine again."""
        self.forced.clear()
        self.feedback = None
        self.capacity_stuck = self.volume_ratio_stuck = self.high_high_level = False
        self.capacity_apart_pct = self.volume_ratio_apart_pct = 0.0

    def follow(self, outputs: Outputs, dt_ms: int = SCAN_MS) -> None:
        """Let time pass under the outputs of the last scan."""
        h = self.healthy
        self.time_ms += dt_ms
        if not self.capacity_stuck:
            way = outputs.capacity_load / h.stroke_up_s - outputs.capacity_unload / h.stroke_down_s
            self.capacity_pct = min(100.0, max(0.0, self.capacity_pct + 0.1 * dt_ms * way))
        if not self.volume_ratio_stuck:
            way = (
                outputs.volume_ratio_increase / h.volume_ratio_up_s
                - outputs.volume_ratio_decrease / h.volume_ratio_down_s
            )
            self.volume_ratio_pct = min(100.0, max(0.0, self.volume_ratio_pct + 0.1 * dt_ms * way))
        commanded = outputs.motor_run and self.operator.safety_chain_closed and not self.operator.stop_button_pressed
        if commanded != self.motor_running:
            self.motor_changes_ms += dt_ms
            if self.motor_changes_ms >= FEEDBACK_MS:
                self.motor_running, self.motor_changes_ms = commanded, 0
        else:
            self.motor_changes_ms = 0
        self.oil_pump = outputs.oil_pump

    def plain_value(self, name: str) -> float:
        """What a healthy machine shows on a channel now, in cabinet units."""
        return self.plain_values()[INDEX[name]]

    def plain_values(self) -> tuple[float, ...]:
        """What a healthy machine shows on every channel now, in channel order."""
        h = self.healthy
        oil = h.discharge_kpa_abs + (h.oil_rise_kpa if self.oil_pump or h.oil_rise_kpa < 0.0 else 0.0)
        current_a = h.current_a if self.motor_running else 0.0
        return (
            self.suction_kpa_abs,
            h.discharge_kpa_abs,
            _SUCTION_GAS_C,
            h.discharge_c,
            oil + h.filter_kpa,
            oil,
            h.oil_c,
            _OIL_LEVEL_PCT,
            current_a,
            _KW_PER_A * current_a,
            self.capacity_pct,
            self.capacity_pct + self.capacity_apart_pct,
            self.volume_ratio_pct,
            self.volume_ratio_pct + self.volume_ratio_apart_pct,
            h.process_c,
        )

    def milliamps(self) -> list[float]:
        """The fifteen currents of this scan."""
        out, low, high, beat = [], self.ranges.low, self.ranges.high, self.scan % 3
        for k, value in enumerate(self.plain_values()):
            forced = self.forced.get(NAMES[k])
            if forced is not None:
                milliamp, wander = forced[0], forced[1] * _ASIDE[beat]
            else:
                milliamp = COUNT_MA * round((4.0 + 16.0 * (value - low[k]) / (high[k] - low[k])) / COUNT_MA)
                wander = _DITHER[beat]
            if LEAST_MA < milliamp < MOST_MA:
                milliamp += wander * COUNT_MA
            out.append(milliamp)
        return out

    def read(self, inputs: Inputs) -> None:
        """Fill the process image as the cabinet's own cards would."""
        running = self.motor_running if self.feedback is None else self.feedback
        wire_inputs(self.ranges, self.operator, _Readings(self.milliamps(), self.high_high_level, running), inputs)
        inputs.supply_interrupted_ms, self.interrupted_ms = self.interrupted_ms, 0
        self.scan += 1


@dataclass(slots=True)
class _Readings:
    milliamp: list[float]
    vessel_high_high_level: bool
    motor_running: bool


Act = Callable[[Box], None]
