"""What the figures at the cursor need: compression loop, rotor strip and operating map, for `cursor_figures.js`."""

from __future__ import annotations

from typing import Any

import numpy as np

from controller.process_image import Trip
from plant_model.properties import in_envelope, saturation_pressure_pa, saturation_temperature_k
from plant_model.rotor_geometry import FLUTES, GATE_TEETH
from scenarios.score_view import saturation_temperatures_k
from tools.figures.compression_loop import loop_law
from tools.figures.rotor_strip import strip_of
from tools.report.panels import RunSheet
from tools.report.runs import ReportRun

LAW_POINTS = 1500  # kappa and bend change with the pressures, by little: between these rows they are joined
RATIOS = (1.5, 2, 3, 4, 5, 6, 8, 10, 15)
EDGE_K = 2.0


def _law(run: ReportRun, rows: Any) -> tuple[list[float], list[float]]:
    names = (
        "suction_pressure_pa", "separator_pressure_pa", "suction_superheat_k", "trapped_fraction_frac", "volume_ratio"
    )  # fmt: skip
    kappas, bends = [], []
    for k in rows.tolist():
        law = loop_law(run.parameters.refrigerant, {name: run.trace[name][k] for name in names})
        kappas.append(law.kappa)
        bends.append(law.bend)
    return kappas, bends


def _law_rows(run: ReportRun) -> Any:
    """Rows at which the law is worked out: evenly, and wherever a pressure has moved by a fiftieth."""
    count = len(run.trace["time_ms"])
    even = np.unique(np.linspace(0, count - 1, min(count, LAW_POINTS // 2)).round().astype(np.int64))
    logs = np.log(np.maximum(1.0, run.trace["suction_pressure_pa"])) + np.log(
        np.maximum(1.0, run.trace["separator_pressure_pa"])
    )
    moved = np.cumsum(np.abs(np.diff(logs, prepend=logs[0])))
    size = max(0.02, float(moved[-1]) / (LAW_POINTS // 2))
    return np.union1d(even, np.flatnonzero(np.diff(np.floor(moved / size), prepend=0.0)))


def _run(made: RunSheet, k: int) -> dict[str, Any]:
    run, axis, add = made.runs[k], made.axes[k], made.sheet.columns.column
    trace, fluid = run.trace, run.parameters.refrigerant
    rows = _law_rows(run)
    thin = made.sheet.axis(trace["time_ms"][rows])
    kappas, bends = _law(run, rows)
    columns = {
        "suction_kpa": add(axis, trace["suction_pressure_pa"] / 1e3),
        "separator_kpa": add(axis, trace["separator_pressure_pa"] / 1e3),
        "discharge_kpa": add(axis, trace["discharge_pressure_pa"] / 1e3),
        "trapped_frac": add(axis, trace["trapped_fraction_frac"]),
        "volume_ratio": add(axis, trace["volume_ratio"]),
        "capacity_pct": add(axis, 100.0 * trace["capacity_travel_frac"]),
        "volume_ratio_pct": add(axis, 100.0 * trace["volume_ratio_travel_frac"]),
        "lost_kw": add(axis, (trace["mismatch_power_w"] + trace["unavoidable_power_w"]) / 1e3),
        "running": add(axis, trace["motor_running"]),
        "evaporating_c": add(axis, saturation_temperatures_k(fluid, trace["suction_pressure_pa"]) - 273.15),
        "condensing_c": add(axis, saturation_temperatures_k(fluid, trace["discharge_pressure_pa"]) - 273.15),
        "kappa": add(thin, kappas),
        "bend": add(thin, bends),
    }
    return {"name": run.name, "columns": columns}


def _reach(values: list[Any]) -> tuple[float, float]:
    low, high = min(float(np.min(v)) for v in values), max(float(np.max(v)) for v in values)
    air = max(EDGE_K, 0.06 * (high - low))
    return round(low - air, 2), round(high + air, 2)


def _map(runs: list[ReportRun]) -> dict[str, Any]:
    fluid = runs[0].parameters.refrigerant
    seen: dict[str, list[Any]] = {"suction_pressure_pa": [], "discharge_pressure_pa": []}
    for run in runs:
        on = run.trace["motor_running"] != 0.0
        for name, found in seen.items():
            values = run.trace[name][on] if on.any() else run.trace[name]
            found.append(saturation_temperatures_k(fluid, values) - 273.15)
    evaporating, condensing = _reach(seen["suction_pressure_pa"]), _reach(seen["discharge_pressure_pa"])
    return {
        "evaporating_c": evaporating, "condensing_c": condensing, "limits": _map_limits(runs[0]),
        "ratios": [{"ratio": r, "points": _equal_ratio(fluid, r, evaporating)} for r in RATIOS],
    }  # fmt: skip


def _equal_ratio(fluid: Any, ratio: float, evaporating_c: tuple[float, float]) -> list[list[float]]:
    """Where discharge pressure is `ratio` times suction's, in saturated °C."""
    out = []
    for at_c in np.linspace(*evaporating_c, 60).tolist():
        low_pa = saturation_pressure_pa(fluid, at_c + 273.15)
        if in_envelope(fluid, low_pa) and in_envelope(fluid, ratio * low_pa):
            out.append([round(at_c, 2), round(saturation_temperature_k(fluid, ratio * low_pa) - 273.15, 2)])
    return out


def _map_limits(run: ReportRun) -> list[dict[str, Any]]:
    fluid, limits, out = run.parameters.refrigerant, run.limits, []
    if limits is None:
        return []
    low, high = limits.trip(Trip.LOW_SUCTION_PRESSURE), limits.trip(Trip.HIGH_DISCHARGE_PRESSURE)
    for key, pressure_pa, label in (
        ("evaporating_c", low.limit if low else None, "trip"), ("evaporating_c", limits.suction_unload_pa, "unload"),
        ("condensing_c", high.limit if high else None, "trip"), ("condensing_c", limits.discharge_unload_pa, "unload"),
    ):  # fmt: skip
        if pressure_pa is not None and in_envelope(fluid, pressure_pa):
            out.append({key: round(saturation_temperature_k(fluid, pressure_pa) - 273.15, 2), "label": label})
    return out


def moment_data(made: RunSheet) -> dict[str, Any] | None:
    """Columns and constants of the figures at the cursor; None for runs whose plant is not known."""
    if any(run.parameters is None or not np.all(run.trace["suction_pressure_pa"] > 0.0) for run in made.runs):
        return None
    plant = made.runs[0].parameters
    geometry, curves = plant.plant.rotor, plant.curves
    return {
        "runs": [_run(made, k) for k in range(len(made.runs))],
        "map": _map(made.runs),
        "strip": strip_of(geometry, curves).as_data(),
        "edges": {
            "turn": GATE_TEETH / FLUTES,
            "offset_mm": 1000.0 * geometry.offset_m,
            "capacity_mm": [round(1000.0 * z, 3) for z in curves.capacity_edge_m],
            "volume_ratio_mm": [round(1000.0 * z, 3) for z in curves.volume_ratio_edge_m],
        },
    }
