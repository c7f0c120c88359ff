"""Oil heater and injection cooling: hysteresis, and off without a believable temperature."""

from __future__ import annotations

from controller.auxiliaries import AuxiliarySettings, run_auxiliaries
from controller.process_image import Health, Inputs, Outputs
from controller.signals import SignalState

SETTINGS = AuxiliarySettings()


def heater(temperatures_c: list[float], motor_on: bool = False, health: Health = Health.GOOD) -> list[bool]:
    y = Outputs()
    states = []
    for t in temperatures_c:
        run_auxiliaries(
            SETTINGS, SignalState(), Inputs(oil_temperature_c=t, oil_temperature_health=health), y, motor_on
        )
        states.append(y.oil_heater)
    return states


def injection(temperatures_c: list[float], motor_on: bool = True, good: bool = True) -> list[bool]:
    y = Outputs()
    states = []
    for t in temperatures_c:
        signals = SignalState(discharge_temperature_c=t, discharge_temperature_good=good)
        run_auxiliaries(SETTINGS, signals, Inputs(), y, motor_on)
        states.append(y.injection_cooling)
    return states


def test_oil_heater_keeps_its_band_at_rest_and_is_off_in_service() -> None:
    assert heater([36.0, 34.9, 37.0, 39.9, 40.1, 37.0]) == [False, True, True, True, False, False]
    assert heater([20.0], motor_on=True) == [False]
    assert heater([20.0], health=Health.UNDER) == [False]


def test_injection_cooling_keeps_its_band_in_service_and_is_off_at_rest() -> None:
    assert injection([89.0, 90.0, 88.0, 86.1, 86.0, 88.0]) == [False, True, True, True, False, False]
    assert injection([100.0], motor_on=False) == [False]
    assert injection([100.0], good=False) == [False]
