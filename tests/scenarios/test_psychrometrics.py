"""Moist air against CoolProp's real-gas moist air (computed with a general-purpose library) and handbook values."""

import pytest
from CoolProp.CoolProp import PropsSI
from CoolProp.HumidAirProp import HAPropsSI
from hypothesis import given
from hypothesis import strategies as st

from scenarios.psychrometrics import (
    humidity_ratio,
    saturation_pressure_pa,
    wet_bulb_k,
    wet_bulb_of_dew_point_k,
    wet_bulb_of_humidity_k,
)


@pytest.mark.parametrize("c", [0.02, 1, 10, 20, 30, 40, 60, 100])
def test_saturation_over_water_against_coolprop(c: float) -> None:
    assert saturation_pressure_pa(c + 273.15) == pytest.approx(PropsSI("P", "T", c + 273.15, "Q", 1, "Water"), rel=5e-4)


# over ice: ASHRAE Fundamentals, thermodynamic properties of water at saturation (from memory)
@pytest.mark.parametrize(("c", "pa"), [(-40, 12.85), (-20, 103.24), (-10, 259.9), (-0.001, 611.1)])
def test_saturation_over_ice_against_the_handbook(c: float, pa: float) -> None:
    assert saturation_pressure_pa(c + 273.15) == pytest.approx(pa, rel=1e-3)


@pytest.mark.parametrize("pressure_pa", [80e3, 101325.0])
@pytest.mark.parametrize("humidity", [0.1, 0.3, 0.5, 0.8, 0.95])
@pytest.mark.parametrize("c", [2, 10, 20, 30, 40, 45])
def test_wet_bulb_from_humidity_against_coolprop(c: float, humidity: float, pressure_pa: float) -> None:
    if (c, humidity, pressure_pa) == (10, 0.1, 80e3):
        pytest.skip("two answers: see the test of that band")
    t_k = c + 273.15
    ours = wet_bulb_of_humidity_k(t_k, humidity, pressure_pa)
    assert ours == pytest.approx(HAPropsSI("Twb", "T", t_k, "R", humidity, "P", pressure_pa), abs=0.05)


def test_at_freezing_a_wet_wick_and_an_iced_one_both_balance_and_the_wet_one_is_taken() -> None:
    """Within about a quarter kelvin above 0 °C: the heat of fusion lies between the two; CoolProp takes the iced."""
    ours, iced = wet_bulb_of_humidity_k(283.15, 0.1, 80e3), HAPropsSI("Twb", "T", 283.15, "R", 0.1, "P", 80e3)
    assert 0.0 < ours - 273.15 < 0.3
    assert 0.0 < ours - iced < 0.8


@pytest.mark.parametrize("humidity", [0.3, 0.6, 0.9])
@pytest.mark.parametrize("c", [-20, -10, -5, -1])
def test_wet_bulb_below_freezing_against_coolprop(c: float, humidity: float) -> None:
    t_k = c + 273.15
    ours = wet_bulb_of_humidity_k(t_k, humidity, 101325.0)
    assert ours == pytest.approx(HAPropsSI("Twb", "T", t_k, "R", humidity, "P", 101325.0), abs=0.05)


@pytest.mark.parametrize(("c", "dew_c"), [(35, 24), (26, 10), (12, 11.5), (5, 1), (30, -5)])
def test_wet_bulb_from_a_dew_point_against_coolprop(c: float, dew_c: float) -> None:
    ours = wet_bulb_of_dew_point_k(c + 273.15, dew_c + 273.15, 101325.0)
    assert ours == pytest.approx(HAPropsSI("Twb", "T", c + 273.15, "D", dew_c + 273.15, "P", 101325.0), abs=0.05)


def test_the_handbook_example() -> None:
    """ASHRAE Fundamentals ch. 1, example 1 (from memory): 40 °C, wet bulb 20 °C, sea level: 0.0065 kg/kg, 14 %."""
    found = wet_bulb_of_humidity_k(313.15, 0.14, 101325.0)
    assert found - 273.15 == pytest.approx(20.0, abs=0.1)
    assert humidity_ratio(0.14 * saturation_pressure_pa(313.15), 101325.0) == pytest.approx(0.0065, abs=1e-4)


@given(st.floats(233.15, 323.15), st.floats(0.01, 1.2), st.floats(60e3, 106e3))
def test_the_wet_bulb_lies_between_dew_point_and_dry_bulb(t_k: float, humidity: float, pressure_pa: float) -> None:
    wet_k = wet_bulb_of_humidity_k(t_k, humidity, pressure_pa)
    assert wet_k <= t_k
    # the handbook's curves over ice and over water meet 1e-4 apart, so a wet bulb just below freezing may seem too low
    slack = 1.1e-4 if wet_k < 273.15 <= t_k else 1e-6
    assert saturation_pressure_pa(wet_k) >= min(humidity, 1.0) * saturation_pressure_pa(t_k) * (1.0 - slack)
    assert (wet_k == t_k) == (humidity >= 1.0)


@given(st.floats(250.0, 315.0), st.floats(0.05, 0.9))
def test_more_humidity_is_a_higher_wet_bulb(t_k: float, humidity: float) -> None:
    pressure_pa, full_pa = 101325.0, saturation_pressure_pa(t_k)
    lower = wet_bulb_k(t_k, humidity * full_pa, pressure_pa)
    assert wet_bulb_k(t_k, (humidity + 0.05) * full_pa, pressure_pa) > lower


def test_no_air_where_there_can_be_none() -> None:
    with pytest.raises(ValueError, match="does not fit"):
        humidity_ratio(5000.0, 4000.0)
    with pytest.raises(ValueError, match="saturation curve"):
        saturation_pressure_pa(100.0)
