"""The saturation table against CoolProp, and back."""

from __future__ import annotations

import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given
from hypothesis import strategies as st

from controller.saturation import (
    AMMONIA_C,
    FIRST_ROOT,
    STEPS_PER_ROOT,
    RefrigerantSettings,
    rising,
    saturation_pressure_kpa_abs,
    saturation_temperature_c,
)

AMMONIA = RefrigerantSettings()


@pytest.mark.parametrize("pressure_kpa_abs", [16.0, 20.0, 71.7, 190.0, 290.6, 516.0, 1003.0, 1350.0, 1700.0, 2400.0])
def test_ammonia_within_a_twentieth_of_a_kelvin(pressure_kpa_abs: float) -> None:
    dew_c = PropsSI("T", "P", 1e3 * pressure_kpa_abs, "Q", 1, "Ammonia") - 273.15  # source: CoolProp
    assert saturation_temperature_c(AMMONIA, pressure_kpa_abs) == pytest.approx(dew_c, abs=0.05)


@given(st.floats(16.1, 2400.0))
def test_there_and_back(pressure_kpa_abs: float) -> None:
    there_c = saturation_temperature_c(AMMONIA, pressure_kpa_abs)
    assert saturation_pressure_kpa_abs(AMMONIA, there_c) == pytest.approx(pressure_kpa_abs, rel=1e-9)


def test_held_at_the_ends_and_for_what_is_no_pressure() -> None:
    for low in (-5.0, 0.0, 3.0, float("nan")):
        assert saturation_temperature_c(AMMONIA, low) == AMMONIA_C[0]
    assert saturation_temperature_c(AMMONIA, 5000.0) == AMMONIA_C[20]
    assert saturation_pressure_kpa_abs(AMMONIA, -200.0) == 16.0
    assert saturation_pressure_kpa_abs(AMMONIA, float("nan")) == 16.0
    assert saturation_pressure_kpa_abs(AMMONIA, 200.0) == 2401.0


def test_a_flat_step_in_a_bad_table_divides_by_nothing() -> None:
    flat = (*AMMONIA_C[:5], AMMONIA_C[4], *AMMONIA_C[6:])
    assert not rising(flat)
    assert rising(AMMONIA_C)
    for temperature_c in (AMMONIA_C[4] - 0.1, AMMONIA_C[4], AMMONIA_C[4] + 0.1):
        assert 16.0 <= saturation_pressure_kpa_abs(RefrigerantSettings(flat), temperature_c) <= 2401.0


def test_a_scaled_table_reaches_r744_up_to_10_c() -> None:
    pressures_kpa = [2.0 * (FIRST_ROOT + k / STEPS_PER_ROOT) ** 4 for k in range(21)]
    inside = [k for k, kpa in enumerate(pressures_kpa) if kpa > 520.0]  # the triple point lies at 518 kPa
    known = [PropsSI("T", "P", 1e3 * pressures_kpa[k], "Q", 1, "CO2") - 273.15 for k in inside]  # source: CoolProp
    below: list[float] = [known[0] - 5.0 * (inside[0] - k) for k in range(inside[0])]
    carbon_dioxide = RefrigerantSettings((*below, *known), 2.0)  # type: ignore[arg-type]
    for kpa in (900.0, 1005.0, 1334.0, 2649.0, 3046.0, 4502.0, 4800.0):
        dew_c = PropsSI("T", "P", 1e3 * kpa, "Q", 1, "CO2") - 273.15
        assert saturation_temperature_c(carbon_dioxide, kpa) == pytest.approx(dew_c, abs=0.05)
        assert saturation_pressure_kpa_abs(carbon_dioxide, dew_c) == pytest.approx(kpa, rel=2e-3)
    assert saturation_pressure_kpa_abs(carbon_dioxide, 50.0) == 4802.0
    assert saturation_pressure_kpa_abs(carbon_dioxide, -200.0) == 32.0
