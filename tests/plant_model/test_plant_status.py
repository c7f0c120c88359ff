"""How a plant that leaves its model says so."""

from __future__ import annotations

from dataclasses import replace

import pytest

from plant_model.derived import Parameters, derive
from plant_model.initial import running_state, stopped_state
from plant_model.plant import PlantStatus, explain, step
from plant_model.state import Actuators, Disturbances, PlantState


def run_until_status(p: Parameters, s: PlantState, d: Disturbances, a: Actuators, steps: int) -> int:
    for _ in range(steps):
        status = step(p, s, d, a, 100)
        if status:
            return status
    return 0


def test_leaving_the_tables_is_said_with_the_state(p: Parameters) -> None:
    for drain_w, expected in (
        (-3.0e6, PlantStatus.SUCTION_BELOW_ENVELOPE),
        (3.0e6, PlantStatus.SUCTION_ABOVE_ENVELOPE),
    ):
        s = stopped_state(p, Disturbances(load_heat_w=0.0), 330.0e3, 1.2e6)
        status = 0
        for _ in range(20000):
            s.vessel.zone_energy_j += 0.1 * drain_w
            status = step(p, s, Disturbances(load_heat_w=0.0), Actuators(), 100)
            if status:
                break
        assert status in (expected, PlantStatus.VESSEL_NOT_TWO_PHASE)
        assert "suction" in explain(status, s, p)
        assert "kPa" in explain(status, s, p)


def test_a_full_high_side_is_said_too(p: Parameters) -> None:
    d = Disturbances(condenser_fans_frac=0.0, wet_bulb_k=320.0)
    a = Actuators(motor_run=True, oil_pump=True)
    strong = derive(replace(p.plant, motor=replace(p.plant.motor, rated_shaft_power_w=2.0e6)), "R717", 100)
    s = running_state(strong, d, 290.64e3, 1.35e6, 1.0)
    status = run_until_status(strong, s, d, a, 30000)
    assert status in (PlantStatus.DISCHARGE_ABOVE_ENVELOPE, PlantStatus.RECEIVER_NOT_TWO_PHASE)
    assert "discharge" in explain(status, s, strong) or "condenser" in explain(status, s, strong)


def test_a_nan_ends_in_a_status(p: Parameters) -> None:
    for spoil in ("load", "energy"):
        d = Disturbances()
        s = running_state(p, d, 290.64e3)
        if spoil == "load":
            d.load_heat_w = float("nan")
        else:
            s.vessel.zone_energy_j = float("nan")
        assert run_until_status(p, s, d, Actuators(motor_run=True, oil_pump=True), 3) != 0


@pytest.mark.parametrize("status", list(PlantStatus))
def test_every_status_has_words(p: Parameters, status: PlantStatus) -> None:
    s = running_state(p, Disturbances(), 290.64e3)
    text = explain(int(status), s, p)
    assert len(text) > 10
    assert status is PlantStatus.OK or any(character.isdigit() for character in text)
