"""The pressure loop in small: linear process, the cabinet's PI and positioner themselves, a slide with its drive.

For confirming a predicted limit cycle without the whole plant: a quiet load, an exact dead time, every scan as in the
cabinet (`controller/pid.py`, `controller/positioner.py`).  No noise, no analogue resolution, no inhibits.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from controller.pid import PiState, pi_increment
from controller.positioner import DriveSettings, PositionerState, position_slide
from tools.tuning.linear_process import LinearProcess, PiSettings

LEAST_TURNS = 4  # in half a run, to call it a cycle


@dataclass(frozen=True, slots=True)
class Slide:
    """What the drive does apart from what its settings believe; 1 and 0 where they are right.

    speed_ratio is real over believed speed, overrun_ms what it really runs on, lost_pct the play between the drive and
    the slide that no setting makes up for.
    """

    speed_ratio: float = 1.0
    overrun_ms: float | None = None
    lost_pct: float = 0.0


@dataclass(frozen=True, slots=True)
class Seen:
    """The second half of a run: half of the pressure's peak to peak in kPa, period in s (0: no cycle), work of the drive.

    reversals_1_h and pulses_1_h are counts an
    hour; peak_kpa is the greatest deviation of the whole run, kick included.  A pressure that only drifts off and never
    turns has period 0.
    """

    pressure_amplitude_kpa: float
    period_s: float
    reversals_1_h: float
    pulses_1_h: float
    peak_kpa: float

    @property
    def cycles(self) -> bool:
        """Whether the slide still turned round at least four times."""
        return self.period_s > 0.0


def run_slide_loop(
    process: LinearProcess,
    controller: PiSettings,
    drive: DriveSettings,
    rest_zone_kpa: float = 0.0,
    slide: Slide | None = None,
    load_pct: float = 0.3,
    kick_pct: float = 10.0,
    duration_s: float = 3600.0,
    scan_ms: int = 100,
) -> Seen:
    """Run with a load that matches load_pct of travel off the middle, after a kick of kick_pct to set it going.

    For an integrating process a load that is no multiple of the slide's steps never comes to rest: it drifts between
    the edges of the rest zone, which counts as a cycle if the slide turns with it.
    """
    believed = slide or Slide()
    dt_s = 0.001 * scan_ms
    steps = round(duration_s / dt_s)
    overrun_ms = drive.overrun_ms if believed.overrun_ms is None else believed.overrun_ms
    up = 1e5 * believed.speed_ratio / drive.stroke_up_ms * dt_s  # % a scan
    down = 1e5 * believed.speed_ratio / drive.stroke_down_ms * dt_s
    run_on = overrun_ms / scan_ms
    a, b = _exact(process, dt_s)
    order = len(b)
    whole = math.floor(process.dead_time_s / dt_s + 1e-9)
    part = process.dead_time_s / dt_s - whole
    line = [0.0] * (whole + 2)
    z = [0.0] * order
    pi, positioner = PiState(), PositionerState()
    gain, integral_ms = controller.gain_pct_kpa, round(1000.0 * controller.integral_s)
    demand = motor = position = 0.0  # % from the middle
    last_way = way = 0
    half_gap = 0.5 * believed.lost_pct
    left_on = 0.0
    pressures, turns, late_pulses = np.zeros(steps), [], 0
    for k in range(steps):
        pressure = z[order - 1]
        pressures[k] = pressure
        change = pi_increment(pi, pressure, gain, integral_ms, scan_ms, rest_zone_kpa)
        demand = min(50.0, max(-50.0, demand + change))
        issued = position_slide(drive, positioner, position, demand, True, True, scan_ms)
        if issued != 0:
            if way != issued:
                late_pulses += 2 * k > steps
                if last_way not in (0, issued) and 2 * k > steps:
                    turns.append(k)
                last_way = issued
            motor += up if issued > 0 else -down
            left_on = run_on
        elif left_on > 0.0:
            share = min(left_on, 1.0)
            motor += share * (up if last_way > 0 else -down)
            left_on -= share
        way = issued
        motor = min(50.0, max(-50.0, motor))
        position = min(motor + half_gap, max(motor - half_gap, position))
        load = load_pct + (kick_pct if k * dt_s < 60.0 else 0.0)
        line[k % len(line)] = load - position
        older, newer = line[(k - whole - 1) % len(line)], line[(k - whole) % len(line)]
        drive_in = newer + part * (older - newer)
        z = [sum(a[i][j] * z[j] for j in range(order)) + b[i] * drive_in for i in range(order)]
    late = pressures[steps // 2 :]
    hours = 0.5 * steps * dt_s / 3600.0
    period_s = 2.0 * (turns[-1] - turns[0]) * dt_s / (len(turns) - 1) if len(turns) >= LEAST_TURNS else 0.0
    return Seen(
        0.5 * float(late.max() - late.min()),
        period_s,
        len(turns) / hours,
        late_pulses / hours,
        float(np.abs(pressures).max()),
    )


def _exact(process: LinearProcess, dt_s: float) -> tuple[list[list[float]], list[float]]:
    """z' = a·z + b·u over one scan with u held; the last state is the pressure in kPa."""
    from scipy.linalg import expm

    lags = [lag_s for lag_s in process.lags_s if lag_s > 0.0]
    order = len(lags) + (1 if process.integrating else 0)
    if order == 0:
        raise ValueError("dead time alone cannot be run; give the process a lag")
    system = np.zeros((order + 1, order + 1))
    rates = [*(1.0 / lag_s for lag_s in lags), *([1.0] if process.integrating else [])]
    for i, rate in enumerate(rates):
        system[i, i] = -rate if i < len(lags) else 0.0
        system[i, i - 1 if i else order] = rate * (process.gain if i == 0 else 1.0)
    whole = expm(system * dt_s)
    return whole[:order, :order].tolist(), whole[:order, order].tolist()
