"""A sheet to begin with: what follows from the plant is the plant's."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from CoolProp.CoolProp import PropsSI

from controller.protection_settings import OilDifference
from controller.registry import SHIPPED, cross_check
from controller.saturation import AMMONIA_C
from plant_model.derived import Parameters, derive
from plant_model.parameters import PlantParameters
from scenarios.demo_sheets import demo_settings
from scenarios.plant_file import load_plant
from scenarios.preparation import wiring_of
from scenarios.sheet_against_plant import foreign_refrigerant, misfits, starved_vessel, unreadable_pressures
from scenarios.starting_sheet import pressure_scale, saturation_table_c, starting_settings


@pytest.fixture(scope="module")
def ammonia() -> Parameters:
    return derive(PlantParameters(), "R717")


@pytest.fixture(scope="module")
def r134a() -> Parameters:
    return derive(PlantParameters(), "R134a")


def test_for_ammonia_it_is_the_defaults_but_for_what_the_plant_says(ammonia: Parameters) -> None:
    assert saturation_table_c(ammonia) == AMMONIA_C
    settings, held = starting_settings(ammonia, "scheduled_pi")
    assert held == ()
    defaults = SHIPPED["scheduled_pi"].settings_type()
    assert settings.common.protection == defaults.common.protection
    assert settings.common.volume_ratio.trapped_fraction_frac != defaults.common.volume_ratio.trapped_fraction_frac


@pytest.mark.parametrize("controller", SHIPPED)
def test_another_refrigerant_gets_its_own_pressures(r134a: Parameters, controller: str) -> None:
    settings, held = starting_settings(r134a, controller)
    assert held == ()
    assert cross_check(settings) == []
    common = settings.common
    # −10 °C and 43.1 °C, saturation temperatures of ammonia's defaults (290.6 and 1700 kPa); source: CoolProp
    assert common.capacity.suction_set_point_kpa_abs == pytest.approx(
        PropsSI("P", "T", 263.15, "Q", 1, "R134a") / 1e3, rel=2e-3
    )
    trip_k = PropsSI("T", "P", 1700e3, "Q", 1, "R717")
    assert common.protection.high_discharge_pressure_trip_kpa_abs == pytest.approx(
        PropsSI("P", "T", trip_k, "Q", 1, "R134a") / 1e3, rel=2e-3
    )
    v1, v2 = (1.0 / PropsSI("D", "S", PropsSI("S", "P", 200603.0, "T", 266.15, "R134a"), "P", p, "R134a")
              for p in (200603.0, 886982.0))  # fmt: skip
    assert common.volume_ratio.isentropic_exponent == pytest.approx(1.0396, abs=0.03)
    assert v1 / v2 == pytest.approx((886982.0 / 200603.0) ** (1.0 / common.volume_ratio.isentropic_exponent), rel=0.02)
    assert common.protection.low_oil_differential_trip_kpa == 80.0  # no refrigerant's business


def test_a_plant_rated_elsewhere_gets_its_pressures_round_its_own_rating_point() -> None:
    machine = replace(PlantParameters().machine, rating_evaporating_k=243.15, rating_condensing_k=303.15)
    settings, held = starting_settings(derive(replace(PlantParameters(), machine=machine), "R717"), "scheduled_pi")
    assert held == ()
    assert cross_check(settings) == []
    common = settings.common
    # −30 °C, 119.4 kPa; and 30 °C for 35 °C, so 5 K below ammonia at 1700 kPa; source: CoolProp
    assert common.capacity.suction_set_point_kpa_abs == pytest.approx(
        PropsSI("P", "T", 243.15, "Q", 1, "R717") / 1e3, rel=2e-3
    )
    trip_k = PropsSI("T", "P", 1700e3, "Q", 1, "R717") - 5.0
    assert common.protection.high_discharge_pressure_trip_kpa_abs == pytest.approx(
        PropsSI("P", "T", trip_k, "Q", 1, "R717") / 1e3, rel=2e-3
    )
    assert common.capacity.target.saturated_set_point_c == -30.0


def test_the_dew_table_reaches_the_trip(ammonia: Parameters) -> None:
    assert [pressure_scale(kpa) for kpa in (500.0, 2401.0, 2402.0, 4802.0, 6700.0)] == [1.0, 1.0, 2.0, 2.0, 3.0]
    assert starting_settings(ammonia, "scheduled_pi")[0].common.refrigerant.pressure_scale == 1.0


def test_a_sheet_of_another_refrigerant_is_refused(ammonia: Parameters, r134a: Parameters) -> None:
    assert foreign_refrigerant(ammonia, demo_settings("scheduled_pi"), "sheet") is None
    problem = foreign_refrigerant(r134a, demo_settings("scheduled_pi"), "sheet")
    assert problem is not None
    assert "twoslide sheet" in str(problem)
    assert foreign_refrigerant(r134a, starting_settings(r134a, "scheduled_pi")[0], "sheet") is None
    assert foreign_refrigerant(r134a, object(), "somebody else's settings") is None


def test_what_does_not_follow_from_the_plant_is_told(ammonia: Parameters, r134a: Parameters) -> None:
    assert list(misfits(ammonia, demo_settings("scheduled_pi"), "scheduled_pi")) == []
    found = " | ".join(misfits(r134a, SHIPPED["scheduled_pi"].settings_type(), "scheduled_pi"))
    assert "isentropic_exponent" in found


ABSOLUTES = [
    ("common.protection.high_discharge_pressure_trip_kpa_abs", 5100.0),  # in range: R744 wants up to 7000 kPa
    ("common.inhibit.discharge_pressure_hold_kpa_abs", 3000.0),
    ("common.protection.low_suction_pressure_alarm_kpa_abs", 2200.0),
    ("common.sequence.restart_kpa_abs", 3100.0),
    ("common.capacity.suction_set_point_kpa_abs", 2906.0),
]


def put(record: Any, name: str, value: Any) -> Any:
    """The record with one field, perhaps of a record in it, changed."""
    head, _, rest = name.partition(".")
    return replace(record, **{head: put(getattr(record, head), rest, value) if rest else value})


@pytest.mark.parametrize(("name", "value_kpa"), ABSOLUTES)
def test_a_pressure_that_the_transmitter_never_shows_is_refused(name: str, value_kpa: float) -> None:
    """Ranges that hold for every refrigerant do not catch ten times ammonia's pressure; the plant's transmitter does."""
    wiring = wiring_of(PlantParameters().instruments)
    settings = demo_settings("scheduled_pi")
    assert list(unreadable_pressures(settings, wiring)) == []
    ((key, problem),) = unreadable_pressures(put(settings, name, value_kpa), wiring)
    assert ".".join(map(str, key)) == name.removesuffix("_kpa_abs")
    assert f"{value_kpa:g} kPa" in str(problem)
    assert "it reads 0 to" in str(problem)


@pytest.mark.parametrize(
    ("controller", "name", "value_kpa"),
    [
        ("scheduled_pi", "pi.rest_zone_kpa", 40.0),
        ("three_position", "step.neutral_zone_kpa", 80.0),
        ("scheduled_pi", "common.protection.discharge_pressure_dead_band_kpa", 500.0),
        ("scheduled_pi", "common.protection.suction_pressure_dead_band_kpa", 200.0),
    ],
)
def test_ten_times_a_zone_is_told(ammonia: Parameters, controller: str, name: str, value_kpa: float) -> None:
    settings = put(demo_settings(controller), name, value_kpa)
    (text,) = misfits(ammonia, settings, controller)
    assert name.split(".")[-1].removesuffix("_kpa") in text


def test_a_feed_valve_too_small_for_the_load_is_told(ammonia: Parameters) -> None:
    from plant_model.initial import running_state, stopped_state
    from plant_model.state import Disturbances

    state = running_state(ammonia, Disturbances(), 290.64e3)
    assert list(starved_vessel(ammonia, state, 380e3)) == []
    (text,) = starved_vessel(ammonia, state, 5e6)
    assert "run dry" in text
    rest = stopped_state(ammonia, Disturbances(), 570e3, 570e3, 0.0)  # equalised: no difference yet, and no fault
    assert list(starved_vessel(ammonia, rest, 330e3)) == []
    (text,) = starved_vessel(ammonia, rest, 5e6)
    assert "wide open at the machine's rating point" in text


def test_without_an_oil_pump_the_oil_is_watched_over_suction() -> None:
    path = Path(__file__).resolve().parents[2] / "scenarios" / "library" / "plants" / "tarn_moss.toml"
    plant = load_plant(path, PlantParameters)
    settings, _ = starting_settings(derive(plant.parameters, plant.refrigerant), "scheduled_pi")
    protection = settings.common.protection
    assert protection.oil_difference is OilDifference.SUPPLY_LESS_SUCTION
    assert cross_check(settings) == []
