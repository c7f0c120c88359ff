"""Instruments: what the controller gets instead of the truth.

Each channel has a span, a first-order lag (exact for an input held over the step; for thermometers the well's), noise, a
resolution and a 4–20 mA loop after NAMUR NE 43: a live measurement stays within 3.8 and 20.5 mA, and 3.5 or 21.5 mA say
that the sensor has failed.  Noise is given from outside as standard normal numbers, so that the plant draws none itself.

Where they sit: suction pressure and temperature on the dry line at the flange, after stop-check valve and strainer;
discharge pressure and temperature between rotors and discharge check valve; oil pressure before and after the filter.
"""

from __future__ import annotations

from enum import IntEnum
from typing import Any

from numba.extending import register_jitable as kernel

from plant_model.slide_actuator import show_position

LOW_MA = 3.8
HIGH_MA = 20.5
OPEN_MA = 3.5
SHORT_MA = 21.5
_PER_HOUR_MS = 1.0 / 3_600_000.0


class Channel(IntEnum):
    """Order of the current loops."""

    SUCTION_PRESSURE = 0
    DISCHARGE_PRESSURE = 1
    SUCTION_TEMPERATURE = 2
    DISCHARGE_TEMPERATURE = 3
    OIL_PRESSURE_BEFORE_FILTER = 4
    OIL_PRESSURE = 5
    OIL_TEMPERATURE = 6
    OIL_LEVEL = 7
    MOTOR_CURRENT = 8
    MOTOR_POWER = 9
    CAPACITY_POSITION = 10
    CAPACITY_POSITION_OPPOSITE = 11
    VOLUME_RATIO_POSITION = 12
    VOLUME_RATIO_POSITION_OPPOSITE = 13
    PROCESS_TEMPERATURE = 14


class Fault(IntEnum):
    """What can be wrong with an instrument; what `fault_size_frac` means for it."""

    NONE = 0
    OPEN_CIRCUIT = 1
    SHORT_CIRCUIT = 2
    STUCK = 3
    BIAS = 4  # added, of span
    DRIFT = 5  # added, of span per hour since `fault_since_ms`
    WRONG_SPAN = 6  # the transmitter's span over the one that the input card is scaled for; 0 counts as 1
    OVER_RANGE = 7  # saturated, and not failed: 20.5 mA


@kernel
def _approach(p: Any, s: Any, i: int, value: float, settled: bool) -> None:
    target = (value - p.derived.instruments.low[i]) * p.derived.instruments.per_span[i]
    if settled:
        s.lagged[i] = target
    else:
        s.lagged[i] += p.derived.instruments.alpha[i] * (target - s.lagged[i])


@kernel
def sense(p: Any, s: Any, settled: bool) -> None:
    """Let every sensor follow its true value over one step; `settled` puts it there at once (start of a run)."""
    show_position(p.plant.capacity_drive, s.capacity)
    show_position(p.plant.volume_ratio_drive, s.volume_ratio)
    _approach(p, s, 0, s.suction.pressure_pa, settled)
    _approach(p, s, 1, s.separator.pressure_pa, settled)
    _approach(p, s, 2, s.suction.temperature_k, settled)
    _approach(p, s, 3, s.oil.mixture_k, settled)
    _approach(p, s, 4, s.oil.before_filter_pa, settled)
    _approach(p, s, 5, s.oil.supply_pa, settled)
    _approach(p, s, 6, s.oil.supply_k, settled)
    _approach(p, s, 7, s.oil.level_frac, settled)
    _approach(p, s, 8, s.motor.current_a, settled)
    _approach(p, s, 9, s.motor.power_w, settled)
    _approach(p, s, 10, s.capacity.feedback_frac, settled)
    _approach(p, s, 11, s.capacity.opposite_frac, settled)
    _approach(p, s, 12, s.volume_ratio.feedback_frac, settled)
    _approach(p, s, 13, s.volume_ratio.opposite_frac, settled)
    _approach(p, s, 14, s.room_k, settled)


@kernel
def _faulty(s: Any, d: Any, i: int, kind: int, signal: float) -> float:
    """The signal of a live but wrong transmitter, as a fraction of the span that the input card believes in."""
    size_frac = d.fault_size_frac[i]
    if kind == Fault.BIAS:
        return float(signal + size_frac)
    if kind == Fault.DRIFT:
        return float(signal + size_frac * (_PER_HOUR_MS * (s.time_ms - d.fault_since_ms[i])))
    if kind == Fault.WRONG_SPAN and size_frac != 0.0:
        return float(signal / size_frac)
    if kind == Fault.OVER_RANGE:
        return 2.0
    return float(signal)


@kernel
def measure(p: Any, s: Any, d: Any, reading: Any) -> None:
    """The current loops and contacts at this moment, with `s.noise` as the standard normal draw of each channel."""
    counts = p.plant.instruments.counts_per_milliamp
    milliamp_per_count = p.derived.instruments.milliamp_per_count
    for i in range(15):
        kind = d.fault_kind[i]
        signal = s.lagged[i] + p.derived.instruments.noise_frac[i] * s.noise[i]
        if kind >= Fault.BIAS:
            signal = _faulty(s, d, i, kind, signal)
        milliamp = min(HIGH_MA, max(LOW_MA, 4.0 + 16.0 * signal))
        milliamp = milliamp_per_count * int(milliamp * counts + 0.5)
        if kind == Fault.OPEN_CIRCUIT:
            milliamp = OPEN_MA
        elif kind == Fault.SHORT_CIRCUIT:
            milliamp = SHORT_MA
        elif kind == Fault.STUCK:
            milliamp = s.held_milliamp[i]
        s.held_milliamp[i] = milliamp
        reading.milliamp[i] = milliamp
    reading.motor_running = s.motor.running
    reading.vessel_high_high_level = s.vessel.swollen_frac >= p.plant.suction_vessel.high_high_level_frac
