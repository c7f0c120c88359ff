"""Settings that every shipped controller has, one record per layer, and what must hold between the layers."""

from __future__ import annotations

from dataclasses import dataclass, field

from controller import auxiliaries, capacity_control, load_inhibit, protection, sequence, volume_ratio_control
from controller.auxiliaries import AuxiliarySettings
from controller.capacity_control import CapacitySettings
from controller.load_inhibit import InhibitSettings
from controller.protection import ProtectionSettings
from controller.sequence import SequenceSettings
from controller.setting_fields import current
from controller.volume_ratio_control import VolumeRatioSettings


@dataclass(frozen=True, slots=True)
class MotorSettings:
    """Name plate."""

    full_load_current_a: float = current(372.0, 5.0, 2000.0, "name plate of the demo plant's motor (invented)")


@dataclass(frozen=True, slots=True)
class CommonSettings:
    """Everything but the capacity law's own settings.  Defaults suit the ammonia demo plant at −10/35 °C."""

    motor: MotorSettings = field(default_factory=MotorSettings)
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
    )
    if hold.discharge_pressure_unload_kpa_abs >= trip.high_discharge_pressure_trip_kpa_abs:
        found.append("the high discharge pressure trip must lie above the forced unload that is to prevent it")
    if hold.suction_unload_kpa_abs <= trip.low_suction_pressure_trip_kpa_abs:
        found.append("the low suction pressure trip must lie below the forced unload that is to prevent it")
    if hold.discharge_temperature_unload_c >= trip.high_discharge_temperature_trip_c:
        found.append("the high discharge temperature trip must lie above the forced unload that is to prevent it")
    if hold.current_unload_pct >= trip.motor_overload_trip_pct:
        found.append("the motor overload trip must lie above the forced unload that is to prevent it")
    lowest = min(aim.suction_set_point_kpa_abs, aim.second_set_point_kpa_abs)
    if lowest <= hold.suction_hold_kpa_abs:
        found.append("both suction set points must lie above the low suction hold")
    if lowest <= run.idle_stop_kpa_abs:
        found.append("both suction set points must lie above the idle-stop pressure")
    if run.idle_stop_kpa_abs <= trip.low_suction_pressure_trip_kpa_abs:
        found.append("the idle-stop pressure must lie above the low suction pressure trip")
    if aim.minimum_load_pct > run.start_limit_pct:
        found.append("minimum_load must not lie above start_limit")
    unload_ms = max(aim.drive.stroke_down_ms, settings.volume_ratio.drive.stroke_down_ms)
    if run.unload_timeout_ms < unload_ms:
        found.append("unload_timeout must be longer than a full unloading stroke of either slide")
    if hold.signal_unload_delay_ms > trip.signal_lost_delay_ms:
        found.append("a lost suction signal must force unloading before it trips")
    return found
