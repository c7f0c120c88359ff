"""Settings that every shipped controller has, one record per layer, and what must hold between the layers."""

from __future__ import annotations

from dataclasses import dataclass, field

from controller import auxiliaries, calibration, capacity_control, load_inhibit, sequence, volume_ratio_control
from controller import protection_settings as protection
from controller.auxiliaries import AuxiliarySettings
from controller.calibration import CalibrationSettings
from controller.capacity_control import CapacitySettings
from controller.load_inhibit import InhibitSettings
from controller.protection_settings import OilDifference, ProtectionSettings
from controller.saturation import RefrigerantSettings, rising
from controller.sequence import SequenceSettings
from controller.set_point import ControlVariable, lowest_suction_kpa_abs
from controller.setting_fields import Switch, current
from controller.signal_watch import SignalSettings
from controller.slide_watch import SlideWatchSettings
from controller.volume_ratio_control import VolumeRatioSettings


@dataclass(frozen=True, slots=True)
class MotorSettings:
    """Name plate."""

    full_load_current_a: float = current(372.0, 5.0, 2000.0, "name plate of the demo plant's motor (invented)")


@dataclass(frozen=True, slots=True)
class CommonSettings:
    """Everything but the capacity law's own settings.  Defaults suit the ammonia demo plant at −10/35 °C."""

    motor: MotorSettings = field(default_factory=MotorSettings)
    refrigerant: RefrigerantSettings = field(default_factory=RefrigerantSettings)
    signals: SignalSettings = field(default_factory=SignalSettings)
    slide_watch: SlideWatchSettings = field(default_factory=SlideWatchSettings)
    calibration: CalibrationSettings = field(default_factory=CalibrationSettings)
    protection: ProtectionSettings = field(default_factory=ProtectionSettings)
    inhibit: InhibitSettings = field(default_factory=InhibitSettings)
    sequence: SequenceSettings = field(default_factory=SequenceSettings)
    capacity: CapacitySettings = field(default_factory=CapacitySettings)
    volume_ratio: VolumeRatioSettings = field(default_factory=VolumeRatioSettings)
    auxiliaries: AuxiliarySettings = field(default_factory=AuxiliarySettings)


def cross_check(settings: CommonSettings) -> list[str]:
    """Contradictions inside a layer and between layers, in plain words; empty when there is none."""
    trip = settings.protection
    hold = settings.inhibit
    run = settings.sequence
    aim = settings.capacity
    found = (
        protection.cross_check(trip)
        + load_inhibit.cross_check(hold)
        + sequence.cross_check(run)
        + capacity_control.cross_check(aim)
        + volume_ratio_control.cross_check(settings.volume_ratio)
        + auxiliaries.cross_check(settings.auxiliaries)
        + calibration.cross_check(settings.calibration, aim.drive, "capacity drive")
        + calibration.cross_check(settings.calibration, settings.volume_ratio.drive, "volume-ratio drive")
    )
    if hold.discharge_pressure_unload_kpa_abs >= trip.high_discharge_pressure_trip_kpa_abs:
        found.append("the high discharge pressure trip must lie above the forced unload that is to prevent it")
    if hold.suction_unload_kpa_abs <= trip.low_suction_pressure_trip_kpa_abs:
        found.append("the low suction pressure trip must lie below the forced unload that is to prevent it")
    if hold.discharge_temperature_unload_c >= trip.high_discharge_temperature_trip_c:
        found.append("the high discharge temperature trip must lie above the forced unload that is to prevent it")
    if hold.current_unload_pct >= trip.motor_overload_trip_pct:
        found.append("the motor overload trip must lie above the forced unload that is to prevent it")
    if not rising(settings.refrigerant.saturation_c):
        found.append("refrigerant: the saturation table must rise from each point to the next")
    lowest = lowest_suction_kpa_abs(
        aim.target,
        settings.refrigerant,
        aim.suction_set_point_kpa_abs,
        aim.second_set_point_kpa_abs,
    )
    if lowest <= hold.suction_hold_kpa_abs:
        found.append("both suction set points must lie above the low suction hold")
    if lowest <= run.idle_stop_kpa_abs:
        found.append("both suction set points must lie above the idle-stop pressure")
    if run.idle_stop_kpa_abs <= trip.low_suction_pressure_trip_kpa_abs:
        found.append("the idle-stop pressure must lie above the low suction pressure trip")
    if aim.minimum_load_pct > run.start_limit_pct:
        found.append("minimum_load must not lie above start_limit")
    first_ms = aim.drive.stroke_down_ms * 0.01 * (100.0 - run.volume_ratio_unloads_below_pct)
    unload_ms = max(aim.drive.stroke_down_ms, first_ms + settings.volume_ratio.drive.stroke_down_ms)
    if run.unload_timeout_ms < unload_ms:
        found.append("unload_timeout must be longer than a full unloading stroke of both slides, one after the other")
    if settings.calibration.high_stop == Switch.ON:
        for drive in (aim.drive, settings.volume_ratio.drive):
            if run.unload_timeout_ms < drive.stroke_up_ms + drive.stroke_down_ms:
                found.append("unload_timeout must be longer than both strokes where the high stop is looked for")
    if settings.slide_watch.stuck_ms <= max(aim.drive.end_stop_guard_ms, settings.volume_ratio.drive.end_stop_guard_ms):
        found.append("slide_watch: stuck must be longer than end_stop_guard of either drive")
    if settings.calibration.low_window_pct > run.start_limit_pct:
        found.append(
            "calibration: low_window must not be wider than start_limit, or a loaded slide could count as none"
        )
    if run.valves_closed_ms > run.unload_timeout_ms:
        found.append("valves_closed must not be longer than unload_timeout")
    if trip.oil_difference == OilDifference.SUPPLY_LESS_DISCHARGE and trip.low_oil_differential_trip_kpa >= 500.0:
        found.append("a full-time pump gives no such low_oil_differential_trip over discharge pressure")
    if aim.target.control_variable == ControlVariable.FIXED_DEMAND:
        if aim.target.fixed_demand_pct < aim.minimum_load_pct:
            found.append("fixed_demand must not lie below minimum_load")
    if hold.signal_unload_delay_ms > trip.signal_lost_delay_ms:
        found.append("a lost suction signal must force unloading before it trips")
    return found
