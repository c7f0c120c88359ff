"""What a cause is: what is done at the cabinet's terminals, and in which state of the machine."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import IntEnum
from typing import Any

from controller.process_image import Inhibit, Mode, Outputs, Trip
from controller.protection_settings import OilDifference
from controller.saturation import saturation_temperature_c
from tools.verification.signal_box import COUNT_MA, Act, Box, milliamp_of, value_of

SERVICE, REST, START, STOP = "in service", "at rest", "at the start", "at a stop"
PRE_ALARMS = "Pre-alarms"
INHIBITS = "Load inhibit and forced unload"
TRIPS = "Trips"
INSTRUMENTS = "Failed instruments"
PERMISSIVES = "Permissives: asked to start at rest"
SEQUENCE = "Starting and stopping"
COMMANDS = "Commands in service"
GROUPS = (TRIPS, PRE_ALARMS, INHIBITS, INSTRUMENTS, PERMISSIVES, SEQUENCE, COMMANDS)


def plain(member: IntEnum) -> str:
    """A state's name in words."""
    return member.name.replace("_", " ").lower()


@dataclass(frozen=True, slots=True)
class Signal:
    """One analog channel that is moved from its healthy value to one side; `along` move by the same difference."""

    name: str
    side: int
    along: tuple[str, ...] = ()

    def force(self, box: Box, count: int, lively: bool = True) -> None:
        """Set the loop to a current in counts of the input card, and the others with it.

        lively: its last count wanders to the far side, so that nobody takes the signal for a frozen one.
        """
        milliamp = count * COUNT_MA
        before = box.plain_value(self.name)
        box.force(self.name, milliamp, self.side if lively else 0)
        moved = value_of(box.ranges, self.name, milliamp) - before
        for other in self.along:
            box.force(other, milliamp_of(box.ranges, other, box.plain_value(other) + moved))


Wanted = Callable[[Outputs], bool]
Derived = Callable[
    [Box, Any, float], str
]  # (box, settings, value of the signal): what the limit really is of, in words


def _superheat(box: Box, settings: Any, value: float) -> str:
    common = getattr(settings, "common", None)
    if common is None:
        return ""
    dew_c = saturation_temperature_c(common.refrigerant, box.plain_value("discharge_pressure"))
    return f"superheat {value - dew_c:.1f} K"


def _oil_differential(box: Box, settings: Any, value: float) -> str:
    common = getattr(settings, "common", None)
    if common is not None and common.protection.oil_difference == OilDifference.SUPPLY_LESS_SUCTION:
        return f"{value - box.plain_value('suction_pressure'):.1f} kPa over suction"
    return f"{value - box.plain_value('discharge_pressure'):.1f} kPa over discharge"


def _filter_differential(box: Box, _settings: Any, value: float) -> str:
    return f"{value - box.plain_value('oil_pressure'):.1f} kPa over the filter"


def _full_load_share(_box: Box, settings: Any, value: float) -> str:
    common = getattr(settings, "common", None)
    return "" if common is None else f"{100.0 * value / common.motor.full_load_current_a:.1f} % of full load"


DERIVED: dict[tuple[str, int], Derived] = {
    ("discharge_temperature", -1): _superheat,
    ("oil_pressure", -1): _oil_differential,
    ("oil_pressure_before_filter", 1): _filter_differential,
    ("motor_current", 1): _full_load_share,
}


@dataclass(frozen=True, slots=True)
class Cause:
    """What is done.  With `signal`, the least change of that signal that shows `wanted` is searched, and then done."""

    key: str
    group: str
    text: str
    at: str = SERVICE
    act: Act | None = None
    undo: Act = Box.release
    signal: Signal | None = None
    wanted: Wanted | None = None
    hold_s: float = 4.0  # how long the search holds each value
    watch_s: float = 20.0  # how long effects are watched, beyond the stop of the motor


def _bit(trip: Trip) -> int:
    return 1 << int(trip)


def alarmed(trip: Trip) -> Wanted:
    """Its pre-alarm is there."""
    return lambda out: bool(out.alarm_word & _bit(trip))


def tripped(trip: Trip) -> Wanted:
    """Off, or on its way there, for this cause: an unrelated stop must not pass for it.

    A controller without trip words is taken at its motor.
    """

    def stops(out: Outputs) -> bool:
        if out.motor_run:
            return out.mode == Mode.UNLOADING and bool(out.alarm_word & _bit(trip))
        return bool(out.trip_word & _bit(trip)) or not out.trip_word

    return stops


def inhibited(hold: Inhibit, unload: Inhibit) -> tuple[Wanted, Wanted]:
    """Capacity is held by this limit; it is forced down by it."""
    return (lambda out: out.inhibit in (hold, unload)), (lambda out: out.inhibit == unload)


OIL = ("oil_pressure", "oil_pressure_before_filter")
# signal, what is done to it, the trip that it leads to, the delay's setting
ANALOG_TRIPS: tuple[tuple[Signal, str, Trip, str], ...] = (
    (
        Signal("discharge_pressure", 1, OIL),
        "discharge pressure rises",
        Trip.HIGH_DISCHARGE_PRESSURE,
        "high_discharge_pressure_delay_ms",
    ),
    (
        Signal("suction_pressure", -1),
        "suction pressure falls",
        Trip.LOW_SUCTION_PRESSURE,
        "low_suction_pressure_delay_ms",
    ),
    (
        Signal("discharge_temperature", 1),
        "discharge temperature rises",
        Trip.HIGH_DISCHARGE_TEMPERATURE,
        "high_discharge_temperature_delay_ms",
    ),
    (
        Signal("discharge_temperature", -1),
        "discharge temperature falls: too little superheat",
        Trip.LOW_DISCHARGE_SUPERHEAT,
        "low_discharge_superheat_delay_ms",
    ),
    (
        Signal("oil_pressure", -1, ("oil_pressure_before_filter",)),
        "oil pressure falls: too little oil differential",
        Trip.LOW_OIL_DIFFERENTIAL,
        "low_oil_differential_delay_ms",
    ),
    (
        Signal("oil_pressure_before_filter", 1),
        "pressure before the oil filter rises",
        Trip.HIGH_FILTER_DIFFERENTIAL,
        "high_filter_differential_delay_ms",
    ),
    (Signal("oil_temperature", 1), "oil temperature rises", Trip.HIGH_OIL_TEMPERATURE, "high_oil_temperature_delay_ms"),
    (Signal("motor_current", 1), "motor current rises", Trip.MOTOR_OVERLOAD, "motor_overload_delay_ms"),
)
UNKNOWN_DELAY_S = 130.0  # the search holds a value that long where no setting tells the delay


def delay_s(settings: Any, name: str) -> float:
    """How long a value has to be held before its trip must have come."""
    common = getattr(settings, "common", None)
    return UNKNOWN_DELAY_S if common is None else 0.001 * getattr(common.protection, name) + 2.0
