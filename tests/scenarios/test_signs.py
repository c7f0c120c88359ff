"""What an engineer expects of the whole machine: signs, order of events and orders of magnitude, each a run.

Sources: plant.md's reasoning and common practice, no source; no figure here is a machine's.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from controller.process_image import Mode, Trip
from controller.registry import SHIPPED
from scenarios.runner import RunResult, execute, prepare
from scenarios.trace import Trace

ROOT = Path(__file__).resolve().parents[2]
HEAD = f"""\
title = "Sign"
purpose = "a sign"
expects = "see the test"
plant = "{ROOT}/scenarios/library/plants/harrow_ness.toml"
controller = "CONTROLLER"
settings = "{ROOT}/scenarios/library/sheets/demo_CONTROLLER.toml"
seed = 3
"""

Run = Callable[..., Trace]


@pytest.fixture(params=SHIPPED)
def run(request: pytest.FixtureRequest, tmp_path: Path) -> Run:
    """Run events under each shipped controller, from a machine in service at 420 kW unless said."""

    def go(duration: str, events: str, load: str = "420 kW", plant: str = "", sheet: str = "") -> Trace:
        text = HEAD.replace("CONTROLLER", request.param)
        if sheet:
            body = f'controller = "{request.param}"\n{sheet}'
            (tmp_path / "sheet.toml").write_text(body, encoding="utf-8")
            text = text.replace(f"{ROOT}/scenarios/library/sheets/demo_{request.param}.toml", "sheet.toml")
        if plant:
            (tmp_path / "plant.toml").write_text(plant, encoding="utf-8")
            text = text.replace(f"{ROOT}/scenarios/library/plants/harrow_ness.toml", "plant.toml")
        start = f'[start]\nmachine = "running"\nload = "{load}"\nsuction_pressure = "-10 °C sat"\n'
        path = tmp_path / "sign.toml"
        path.write_text(f'{text}duration = "{duration}"\n{start}{events}', encoding="utf-8")
        result: RunResult = execute(prepare([path])[0], None)
        assert result.failure is None
        assert result.scores.violations == ()
        return result.trace

    return go


def event(kind: str, **keys: Any) -> str:
    lines = "".join(
        f"{key} = {value if isinstance(value, int) else chr(34) + str(value) + chr(34)}\n"
        for key, value in keys.items()
    )
    return f'[[event]]\nkind = "{kind}"\n{lines}'


def first_out(trace: Trace) -> tuple[Trip, float]:
    """The first trip of a run and its time in s; NONE and inf if there was none."""
    causes = trace["trip_first_out"]
    at = np.flatnonzero(causes > 0)
    return (Trip(int(causes[at[0]])), float(trace.time_s[at[0]])) if len(at) else (Trip.NONE, np.inf)


def test_lost_oil_flow_trips_first_on_oil_differential(run: Run) -> None:
    trace = run("10 min", event("plant_fault", at="60 s", fault="oil_pump_weak", size="100 %"))
    cause, at_s = first_out(trace)
    assert cause is Trip.LOW_OIL_DIFFERENTIAL
    assert 60.0 < at_s < 90.0, "within seconds"
    before = trace["discharge_temperature_k"][(trace.time_s > 50) & (trace.time_s < at_s)]
    assert np.ptp(before) < 15.0, "the temperature had hardly begun to rise"


def test_a_fouled_oil_cooler_trips_on_discharge_temperature_slowly(run: Run) -> None:
    trace = run(
        "60 min",
        event("plant_fault", at="60 s", fault="oil_cooler_fouling", size="98 %", over="5 min")
        + event("wet_bulb_drift", **{"from": "60 s", "until": "20 min", "by": "4 K"}),
        load="480 kW",
    )
    cause, at_s = first_out(trace)
    assert cause in (Trip.HIGH_DISCHARGE_TEMPERATURE, Trip.HIGH_OIL_TEMPERATURE)
    assert at_s > 6 * 60.0, "minutes, not seconds"
    assert trace["oil_differential_pa"][trace.time_s < at_s].min() > 100e3, "the oil flow was never lost"


def test_a_fouled_strainer_costs_capacity_before_it_trips_on_suction(run: Run) -> None:
    trace = run(
        "60 min", event("plant_fault", at="5 min", fault="strainer_fouling", size="98 %", over="40 min"), load="480 kW"
    )
    cause, at_s = first_out(trace)
    drop = trace["vessel_pressure_pa"] - trace["suction_pressure_pa"]
    running = trace["mode"] == Mode.AUTOMATIC
    clean = running & (trace.time_s < 290)
    late = running & (trace.time_s > 300) & (trace.time_s < min(at_s, 45 * 60.0)) & (trace.time_s > 35 * 60.0)
    assert np.percentile(drop[late], 90) > 3.0 * drop[clean].max(), "the drop is across the strainer"
    assert trace["room_temperature_k"][late].max() > trace["room_temperature_k"][clean].max() + 1.0, "cooling is lost"
    assert cause in (Trip.NONE, Trip.LOW_SUCTION_PRESSURE)
    assert at_s > 15 * 60.0


def test_winter_head_starves_lubrication_by_pressure_difference(run: Run) -> None:
    plant = (ROOT / "scenarios/library/plants/harrow_ness.toml").read_text(encoding="utf-8")
    plant += '\n[oil]\npump_rise = "0 kPa"\n'
    sheet = (
        '[settings.common.protection]\noil_difference = "supply_less_suction"\n'
        'low_oil_differential_alarm = "260 kPa"\nlow_oil_differential_trip = "200 kPa"\n'
    )
    cold = event("wet_bulb_drift", **{"from": "60 s", "until": "30 min", "by": "-32 K"})
    trace = run("50 min", cold, load="300 kW", plant=plant, sheet=sheet)
    cause, at_s = first_out(trace)
    difference = trace["oil_differential_pa"] + trace["separator_pressure_pa"] - trace["suction_pressure_pa"]
    assert difference[10] > 400e3, "in summer the head drives the oil"
    assert cause is Trip.LOW_OIL_DIFFERENTIAL
    assert at_s > 10 * 60.0, "the weather is not that quick"


def test_after_a_trip_with_loaded_slides_the_machine_unloads_before_it_starts(run: Run) -> None:
    events = event("operator", at="60 s", action="stop_button") + event("operator", at="90 s", action="reset")
    trace = run("30 min", events)
    assert first_out(trace)[0] is Trip.STOP_BUTTON
    tripped = np.flatnonzero(trace["mode"] == Mode.TRIPPED)
    assert trace["capacity_travel_frac"][tripped[-1]] > 0.2, "the slide stayed where the trip left it"
    started = np.flatnonzero((trace["motor_run"] > 0) & (trace.time_s > 120))
    assert len(started), "it starts again"
    assert trace["capacity_travel_frac"][started[0]] < 0.06
    assert trace["volume_ratio_travel_frac"][started[0]] < 0.06


def test_both_slides_at_minimum_are_avoided_while_running(run: Run) -> None:
    trace = run("40 min", event("load_ramp", at="60 s", to="90 kW", over="10 min"), load="420 kW")
    loaded = (trace["mode"] == Mode.AUTOMATIC) & (trace.time_s > 60)
    both = loaded & (trace["capacity_travel_frac"] < 0.05) & (trace["volume_ratio_travel_frac"] < 0.05)
    assert not both.any()
    assert trace["through_path_kg_s"][loaded].max() < 0.05 * trace["mass_flow_kg_s"].max()


def test_percent_power_is_never_below_percent_capacity(run: Run) -> None:
    trace = run("40 min", event("load_ramp", at="60 s", to="150 kW", over="30 min"), load="520 kW")
    steady = (trace["mode"] == Mode.AUTOMATIC) & (trace["motor_running"] > 0)
    flow, power = trace["mass_flow_kg_s"][steady], trace["shaft_power_w"][steady]
    # against the fullest moment of the run, at nearly the same pressures
    top = int(np.argmax(flow))
    near = np.abs(trace["discharge_pressure_pa"][steady] / trace["discharge_pressure_pa"][steady][top] - 1.0) < 0.05
    assert np.all(power[near] / power[top] >= flow[near] / flow[top] - 0.02)


@pytest.mark.parametrize("controller", SHIPPED)
def test_an_ordinary_start_raises_no_alarm(controller: str) -> None:
    """The inrush of the motor is five times its full-load current, and belongs to every start."""
    sheet = ROOT / f"scenarios/library/sheets/demo_{controller}.toml"
    path = ROOT / "scenarios/library/normal_stop_and_restart.toml"
    trace = execute(prepare([path], controller=controller, settings=sheet)[0], None).trace
    assert np.count_nonzero(np.diff(trace["motor_run"]) > 0) == 2
    assert [event for event in trace.events if event.kind == "alarm"] == []
