"""Oil heater and injection cooling: two on/off loops beside the sequence."""

from __future__ import annotations

from dataclasses import dataclass

from numba.extending import register_jitable as kernel

from controller.process_image import Inputs, Outputs
from controller.scaling import believable
from controller.setting_fields import temperature
from controller.signals import SignalState

PRACTICE = "common practice, no source"


@dataclass(frozen=True, slots=True)
class AuxiliarySettings:
    """Switching points of the oil heater (machine at rest) and of the injection-cooling valve (motor on)."""

    oil_heater_on_c: float = temperature(35.0, 0.0, 80.0, f"keeps refrigerant out of the oil; {PRACTICE}")
    oil_heater_off_c: float = temperature(40.0, 0.0, 90.0, f"{PRACTICE}")
    injection_on_c: float = temperature(90.0, 40.0, 120.0, f"2 K before the discharge temperature hold; {PRACTICE}")
    injection_off_c: float = temperature(86.0, 40.0, 120.0, f"{PRACTICE}")


@kernel
def run_auxiliaries(
    settings: AuxiliarySettings, signals: SignalState, inputs: Inputs, outputs: Outputs, motor_on: bool
) -> None:
    """Set `oil_heater` and `injection_cooling`; both are off without a believable temperature."""
    if motor_on or not believable(inputs.oil_temperature_c, inputs.oil_temperature_health):
        outputs.oil_heater = False
    elif inputs.oil_temperature_c <= settings.oil_heater_on_c:
        outputs.oil_heater = True
    elif inputs.oil_temperature_c >= settings.oil_heater_off_c:
        outputs.oil_heater = False
    if not motor_on or not signals.discharge_temperature_good:
        outputs.injection_cooling = False
    elif signals.discharge_temperature_c >= settings.injection_on_c:
        outputs.injection_cooling = True
    elif signals.discharge_temperature_c <= settings.injection_off_c:
        outputs.injection_cooling = False


def cross_check(settings: AuxiliarySettings) -> list[str]:
    """Contradictions between fields, in plain words."""
    found = []
    if settings.oil_heater_on_c >= settings.oil_heater_off_c:
        found.append("auxiliaries: the oil heater must switch on below the temperature at which it switches off")
    if settings.injection_off_c >= settings.injection_on_c:
        found.append("auxiliaries: injection cooling must switch off below the temperature at which it switches on")
    return found
