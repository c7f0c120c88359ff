"""Limit cycles of the chosen settings: predicted on the map, and seen in two simulations; the prediction's error.

The small loop has the map's linear process with the cabinet's own PI and positioner in a quiet load; the whole plant runs
an hour at a constant load, with noise and all layers, and its second half is looked at.  Amplitudes are half of peak to
peak; what noise leaves of the instruments is not in the true pressure that is read here.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

from controller.scheduled_pi import ScheduledPiSettings
from scenarios.settings_sheet import write_whole
from scenarios.steps import steps
from tools.tuning.cases import Bench, case_set
from tools.tuning.gain_schedule import scheduled_gain_pct_kpa
from tools.tuning.linear_process import PiSettings
from tools.tuning.linearisation import Direction
from tools.tuning.operating_map import MapPoint
from tools.tuning.slide_loop import run_slide_loop
from tools.tuning.slide_zones import Prediction, predict
from tools.tuning.tuning_inputs import TuningInputs
from tools.tuning.tuning_result import CycleRow
from tools.tuning.tuning_scenarios import copy_plant, scenario_text

SHARES = (0.5, 0.3, 0.7)  # of full capacity, in the order in which they are looked at
LEAST_TURNS = 4  # in half an hour, to call it a cycle
NAN = math.nan


def cycle_row(
    number: int, points: Sequence[MapPoint], settings: Any, inputs: TuningInputs, bench: Bench
) -> tuple[CycleRow, ...]:
    """Small loop and whole plant at one place of `steady_bench`.

    A law without a linear PI has no prediction: only the whole plant is shown.
    """
    trace, fault = bench.watch(bench.cases[number], settings)
    if fault:
        where = f"{100 * SHARES[number]:.0f} % load"
        return (CycleRow(where, 0.0, 0.0, False, fault, "whole plant", NAN, NAN, NAN),)
    time_ms = trace["time_ms"]
    half = time_ms >= 0.5 * float(time_ms[-1])
    suction_kpa = trace["suction_pressure_pa"][half] / 1000.0
    travel_frac = float(np.mean(trace["capacity_travel_frac"][half]))
    ratio = float(np.mean(trace["discharge_pressure_pa"][half] / trace["suction_pressure_pa"][half]))
    turns = _turns(steps(trace, "capacity_load").rises_ms(), steps(trace, "capacity_unload").rises_ms(), time_ms)
    seen_kpa = 0.5 * float(np.ptp(suction_kpa))
    period_s = 2.0 * 0.0005 * float(time_ms[-1]) / turns if turns >= LEAST_TURNS else 0.0
    point = _nearest(points, travel_frac, ratio, float(np.mean(suction_kpa)))
    if isinstance(settings, ScheduledPiSettings):
        return tuple(_predicted(point, settings, seen_kpa, period_s))
    words = "this law has no prediction: only the whole plant is shown"
    return (CycleRow(point.where(), NAN, NAN, False, words, "whole plant", seen_kpa, period_s, NAN),)


def _predicted(point: MapPoint, settings: ScheduledPiSettings, seen_kpa: float, period_s: float) -> list[CycleRow]:
    drive, rest_kpa = settings.common.capacity.drive, settings.pi.rest_zone_kpa
    gain = scheduled_gain_pct_kpa(settings.pi, 100.0 * point.capacity_travel_frac)
    pi = PiSettings(gain, 0.001 * settings.pi.integral_time_ms)
    found = predict(point.process, pi, drive, rest_kpa)
    small = run_slide_loop(point.process, pi, drive, rest_kpa)
    return [
        _row(point, found, "small loop", small.pressure_amplitude_kpa, small.period_s),
        _row(point, found, "whole plant", seen_kpa, period_s),
    ]


def _row(point: MapPoint, found: Prediction, on: str, seen_kpa: float, period_s: float) -> CycleRow:
    amplitude = found.cycle.pressure_amplitude_kpa if found.cycle else 0.0
    predicted_s = found.cycle.period_s if found.cycle else 0.0
    error = amplitude / seen_kpa - 1.0 if amplitude > 0.0 and period_s > 0.0 and seen_kpa > 0.0 else NAN
    where = point.where()
    return CycleRow(where, amplitude, predicted_s, found.dies_out, found.why, on, seen_kpa, period_s, error)


def steady_bench(inputs: TuningInputs, settings: Any, work: Path) -> Bench:
    """An hour of constant load at a few shares of full capacity."""
    paths = []
    copy_plant(work / "steady_scenarios", inputs.plant.path)
    for k, share in enumerate(SHARES[: inputs.effort.cycles]):
        text = scenario_text(
            f"Constant load of {100 * share:.0f} %", inputs.plant.path, inputs.controller, share, "running", (),
            inputs.capacity_w, inputs.suction_kpa, inputs.seed + k, "For the limit cycle of the tuned settings.",
        )  # fmt: skip
        path = work / "steady_scenarios" / f"steady_{k + 1}.toml"
        write_whole(path, text)
        paths.append(path)
    return Bench(case_set(paths, inputs.controller, settings, inputs.seed, 1, label="cycles"))


def _turns(loads_ms: Any, unloads_ms: Any, time_ms: Any) -> int:
    """How often the drive turns round in the second half."""
    half_ms = 0.5 * float(time_ms[-1])
    moves = sorted([(int(t), 1) for t in loads_ms if t >= half_ms] + [(int(t), -1) for t in unloads_ms if t >= half_ms])
    return sum(a[1] != b[1] for a, b in pairwise(moves))


def _nearest(points: Sequence[MapPoint], travel_frac: float, ratio: float, suction_kpa: float) -> MapPoint:
    """The map's point next to where the plant stands; of both directions the rising one, which cycles sooner."""

    def off(p: MapPoint) -> float:
        return (
            abs(p.capacity_travel_frac - travel_frac)
            + 0.1 * abs(p.pressure_ratio - ratio)
            + abs(p.suction_pa / 1000.0 / suction_kpa - 1.0)
            + (0.0 if p.direction is Direction.RISING else 1e-6)
        )

    return min(points, key=off)
