"""Derived constants: each against the sentence that defines it."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from plant_model.compression import rated_leakage_frac
from plant_model.derived import Parameters, derive, lag_alpha
from plant_model.instruments import Channel
from plant_model.parameters import PlantParameters
from plant_model.properties import UnknownRefrigerantError, load_refrigerant
from plant_model.rotor_geometry import slide_curves
from scenarios.records import from_record, to_array


def test_lag_is_the_exact_solution_over_a_step() -> None:
    assert lag_alpha(100, 0) == 1.0
    assert lag_alpha(100, 20_000) == pytest.approx(1.0 - math.exp(-0.005), rel=1.0e-14)
    assert (1.0 - lag_alpha(50, 700)) ** 2 == pytest.approx(1.0 - lag_alpha(100, 700), rel=1.0e-14)


@pytest.mark.parametrize("h_ms", [25, 50, 100])
def test_step_length_only_changes_what_depends_on_it(h_ms: int) -> None:
    a, b = derive(PlantParameters(), "R717", 100), derive(PlantParameters(), "R717", h_ms)
    assert (b.derived.h_ms, b.derived.h_s) == (h_ms, h_ms / 1000.0)
    same = replace(
        b.derived,
        h_ms=100,
        h_s=0.1,
        pump_alpha=a.derived.pump_alpha,
        thermal_alpha=a.derived.thermal_alpha,
        thermal_rest_alpha=a.derived.thermal_rest_alpha,
        instruments=replace(b.derived.instruments, alpha=a.derived.instruments.alpha),
    )
    assert same == a.derived


def test_impossible_steps_and_refrigerants_are_refused() -> None:
    for h_ms in (0, -100, 2000):
        with pytest.raises(ValueError, match=r"1\.\.1000 ms"):
            derive(PlantParameters(), "R717", h_ms)
    with pytest.raises(UnknownRefrigerantError):
        derive(PlantParameters(), "R9999", 100)


def test_spans_in_channel_order(p: Parameters) -> None:
    instruments = p.plant.instruments
    c = p.derived.instruments
    assert c.low[Channel.DISCHARGE_TEMPERATURE] == instruments.discharge_temperature.low_k
    assert 1.0 / c.per_span[Channel.SUCTION_PRESSURE] == pytest.approx(instruments.suction_pressure.high_pa)
    assert 1.0 / c.per_span[Channel.MOTOR_POWER] == pytest.approx(instruments.motor_power.high_w)
    assert c.alpha[Channel.DISCHARGE_TEMPERATURE] == lag_alpha(100, 20_000)
    assert len(c.low) == len(c.alpha) == len(c.noise_frac) == len(Channel)


def test_parameters_are_a_record(p: Parameters) -> None:
    assert from_record(Parameters, to_array(p)[0]) == p


def test_line_drop_at_its_rating(p: Parameters) -> None:
    line = p.plant.suction_line
    drop_pa = p.derived.suction_drop_factor * line.rated_density_kg_m3 * line.rated_flow_m3_s**2
    assert drop_pa == pytest.approx(line.rated_drop_pa)


def test_curves_that_are_kept_are_those_of_the_plant_asked_for() -> None:
    """They are computed once for each machine, rotor and refrigerant; whatever was derived before must not show."""
    plant = PlantParameters()
    leaky = replace(plant, machine=replace(plant.machine, leakage_frac=1.5 * plant.machine.leakage_frac))
    wide = replace(plant, rotor=replace(plant.rotor, volume_ratio_high=plant.rotor.volume_ratio_high + 0.5))
    for one, refrigerant in ((plant, "R717"), (leaky, "R717"), (wide, "R717"), (plant, "R134a"), (plant, "R717")):
        fresh = slide_curves(one.rotor, rated_leakage_frac(one.machine, one.rotor, load_refrigerant(refrigerant)))
        assert derive(one, refrigerant).curves == fresh
    assert derive(leaky, "R717").curves != derive(plant, "R717").curves != derive(wide, "R717").curves
