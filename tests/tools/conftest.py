"""An invented run for the tests of what people see: no plant, no controller, just a trace with a bit of everything."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from controller.process_image import Inhibit, Mode, Trip
from controller.registry import SHIPPED
from plant_model.properties import load_refrigerant
from scenarios.limits import limits_of
from scenarios.row import COLUMNS, EDGE_COLUMNS, INDEX
from scenarios.scoring import score
from scenarios.trace import Event, Trace, edge_events, write_trace
from tools.report import ReportRun


def _trace(rows: int, swing_pa: float, trip: bool) -> Trace:
    time_ms = np.arange(rows) * 1000.0
    v = {name: np.zeros(rows) for name in COLUMNS} | {"time_ms": time_ms}
    wave = np.sin(2.0 * np.pi * time_ms / 600_000.0)
    for name, value in {
        "suction_pressure_pa": 290_640.0 + swing_pa * wave, "suction_pressure_measured_pa": 290_640.0 + swing_pa * wave,
        "suction_set_point_pa": 290_640.0, "discharge_pressure_pa": 1_350_000.0, "mode": Mode.AUTOMATIC,
        "discharge_temperature_k": 345.0, "discharge_temperature_measured_k": 345.0, "oil_temperature_k": 318.0,
        "room_temperature_k": 255.0, "motor_run": 1.0, "motor_running": 1.0, "oil_pump": 1.0,
        "motor_power_w": 120e3, "auxiliary_power_w": 15e3, "motor_energy_j": 120.0 * time_ms, "motor_current_a": 210.0,
        "cooling_energy_j": 400.0 * time_ms, "load_heat_w": 400e3, "evaporator_heat_w": 400e3 + 10e3 * wave,
        "capacity_travel_frac": 0.5 + 0.2 * wave, "capacity_demand_frac": 0.5 + 0.2 * wave,
        "volume_ratio_travel_frac": 0.6 - 0.1 * wave, "volume_ratio_demand_frac": 0.6 - 0.1 * wave,
        "volume_ratio": 2.9 + 0.1 * wave, "volume_ratio_ideal": 3.0, "volume_ratio_attainable": 2.95,
    }.items():  # fmt: skip
        v[name] = v[name] + value
    for start in range(30, rows - 10, 60):
        v["capacity_load" if start % 120 == 30 else "capacity_unload"][start : start + 2] = 1.0
    v["capacity_demand_frac"][100:130] = 0.4
    v["inhibit"][100:130] = Inhibit.SUCTION_HOLD
    v["capacity_load"][100:130] = 0.0
    v["alarm_word"][110:120] = 1 << Trip.LOW_SUCTION_PRESSURE
    if trip:
        v["trip_first_out"][rows // 2 :] = Trip.HIGH_DISCHARGE_PRESSURE
        for name in ("motor_run", "motor_running", "capacity_load"):
            v[name][rows // 2 :] = 0.0
        v["mode"][rows // 2 :] = Mode.TRIPPED
    edges = sorted(
        (time_ms[k + 1], INDEX[name], v[name][k], v[name][k + 1])
        for name in EDGE_COLUMNS
        for k in np.flatnonzero(np.diff(v[name]))
    )
    noted = [Event(90_000, "disturbance", "load_step", "load <+120 kW> & more")]
    return Trace(v, sorted([*noted, *edge_events(np.array(edges))], key=lambda e: e.time_ms))


@pytest.fixture(scope="session")
def invented_run() -> Callable[..., ReportRun]:
    """Makes a ReportRun: name, rows of 1 s, swing of the suction pressure, tripped half-way or not."""
    refrigerant = load_refrigerant("R717")
    limits = limits_of(SHIPPED["scheduled_pi"].settings_type())

    def make(name: str = "calm", rows: int = 1801, swing_pa: float = 4e3, trip: bool = False, **more: Any) -> ReportRun:
        trace = _trace(rows, swing_pa, trip)
        scores = score(trace, limits, refrigerant)
        facts = {"plant": "Invented hall", "seed": "7", "empty": "", "engine": "compiled"}
        return ReportRun(name, trace, scores, limits, facts, None, refrigerant, **more)

    return make


@pytest.fixture
def run_folder(invented_run: Callable[..., ReportRun]) -> Callable[..., Path]:
    """Writes an invented run as `twoslide run` leaves one: folder, then what the run is; facts are keywords."""

    def write(folder: Path, swing_pa: float = 4e3, trip: bool = False, rows: int = 1801, **facts: str) -> Path:
        run = invented_run(folder.name, rows=rows, swing_pa=swing_pa, trip=trip)
        known = {
            "scenario": "Calm day", "scenario_file": "calm.toml", "plant": "Invented hall", "controller": "scheduled_pi",
            "settings": "sheet.toml", "settings_checksum": "sha256:0123456789", "seed": "7", "duration_ms": "1800000",
            "log_ms": "1000", "sources": "abc",
            "sha256": '{"scenario": "1", "plant": "2", "settings": "3", "load_log:a.csv": "4"}',
        }  # fmt: skip
        folder.mkdir(parents=True)
        trace = Trace(run.trace.values, run.trace.events, {**known, **facts})
        write_trace(trace, folder)
        (folder / "scores.json").write_text(run.scores.to_json(), encoding="utf-8")
        return folder

    return write
