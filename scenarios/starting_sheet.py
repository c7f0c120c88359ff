"""A settings sheet to begin with, for any plant: what follows from the plant file is worked out, the rest is the default.

From the plant: dew table and exponent of its refrigerant, full-load current of its motor, strokes of its drives, both
slide curves of its rotors.  A default pressure is ammonia's at −10/35 °C; it becomes the plant's refrigerant's at the
saturation temperature that lies as far from the plant's own rating point, and a pressure zone is stretched as the
saturation line is steeper or flatter.  It is a beginning and no tuning, and an engineering aid: trips and set points must
be checked against the plant's own limits by somebody who answers for it.
"""

from __future__ import annotations

import math
from dataclasses import fields, is_dataclass, replace
from typing import Any

from controller.protection_settings import OilDifference, ProtectionSettings
from controller.registry import SHIPPED
from controller.saturation import (
    AMMONIA_C,
    FIRST_ROOT,
    LAST,
    STEPS_PER_ROOT,
    RefrigerantSettings,
    saturation_temperature_c,
)
from plant_model.derived import Parameters
from plant_model.properties import isentropic_exponent, saturation_pressure_pa, saturation_temperature_k
from plant_model.rotor_geometry import SlideCurves, full_load_volume_ratio, trapped_fraction_frac
from plant_model.slide_drive_parameters import DriveKind

POINTS = 11
AMMONIA = RefrigerantSettings()
ZERO_C_K = 273.15
SUCTION_C, DISCHARGE_C = -10.0, 35.0  # where the defaults were chosen
# Oil that discharge pressure drives is watched over suction, which is what the bearings feel: some 530 kPa at 850 kPa head
# of the invented plant without a pump.  With both slides at minimum that machine builds 80 kPa and no more; loading begins
# 25 s after the start, and 40 s after the start there are 180 kPa, after a minute 350 kPa.
PUMPLESS_OIL_TRIP_KPA, PUMPLESS_OIL_ALARM_KPA = 150.0, 220.0
PUMPLESS_OIL_BYPASS_MS = 60_000
KEPT = ("oil", "filter", "implausible")  # differences that no refrigerant changes


def rounded(value: float, digits: int = 4) -> float:
    """To so many figures: nobody sets more."""
    return float(f"{value:.{digits}g}")


def slide_tables(curves: SlideCurves) -> tuple[tuple[float, ...], tuple[float, ...], tuple[float, ...]]:
    """Trapped fraction, full-load volume ratio and gain multiplier at eleven equal steps of travel.

    The multiplier is the curve's mean slope over its local one, so that the loop gain does not depend on the position.
    """
    travel = [k / (POINTS - 1) for k in range(POINTS)]
    trapped = tuple(trapped_fraction_frac(curves, x) for x in travel)
    ratio = tuple(full_load_volume_ratio(curves, x) for x in travel)
    width = 0.02
    mean = trapped[-1] - trapped[0]
    gain = []
    for x in travel:
        low, high = max(0.0, x - width), min(1.0, x + width)
        slope = (trapped_fraction_frac(curves, high) - trapped_fraction_frac(curves, low)) / (high - low)
        gain.append(min(max(mean / slope, 0.1), 10.0))
    return tuple(map(rounded, trapped)), tuple(map(rounded, ratio)), tuple(rounded(g, 3) for g in gain)


def saturation_table_c(p: Parameters, scale: float = 1.0) -> tuple[float, ...]:
    """The controller's table of dew points for the plant's refrigerant, °C; beyond its tables it goes on straight.

    scale: the table's pressures over ammonia's, `pressure_scale` of the sheet.
    """
    r = p.refrigerant
    pressures_pa = [1000.0 * scale * (FIRST_ROOT + k / STEPS_PER_ROOT) ** 4 for k in range(len(AMMONIA_C))]
    inside = [k for k, pa in enumerate(pressures_pa) if r.pressure_low_pa <= pa <= r.pressure_high_pa]
    first, last = inside[0], inside[-1]
    known = {k: saturation_temperature_k(r, pressures_pa[k]) - ZERO_C_K for k in inside}
    low_step, high_step = known[first + 1] - known[first], known[last] - known[last - 1]
    table = [
        known[first] - (first - k) * low_step if k < first else known[min(k, last)] + max(0, k - last) * high_step
        for k in range(len(pressures_pa))
    ]
    return tuple(round(t_c, 2) for t_c in table)


def pressure_scale(highest_kpa: float) -> float:
    """The least whole scale of the dew table that reaches a pressure: 1 up to 2401 kPa."""
    return float(max(1, math.ceil(highest_kpa / (FIRST_ROOT + LAST / STEPS_PER_ROOT) ** 4)))


def _steepness_kpa_k(p: Parameters, t_c: float) -> float:
    higher, lower = (saturation_pressure_pa(p.refrigerant, ZERO_C_K + t_c + d_k) for d_k in (0.5, -0.5))
    return (higher - lower) / 1000.0


def _ammonia_steepness_kpa_k(t_c: float) -> float:
    def pressure(t: float) -> float:
        low, high = 16.0, 2401.0
        for _ in range(60):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if saturation_temperature_c(AMMONIA, middle) < t else (low, middle)
        return 0.5 * (low + high)

    return pressure(t_c + 0.5) - pressure(t_c - 0.5)


def _translated(p: Parameters, record: Any, held: list[str], above: str = "") -> Any:
    """Pressures and saturation temperatures of a record moved to the plant's refrigerant and rating point."""
    machine = p.plant.machine
    ratings_c = {True: machine.rating_condensing_k - ZERO_C_K, False: machine.rating_evaporating_k - ZERO_C_K}
    changed: dict[str, Any] = {}
    for f in fields(record):
        value = getattr(record, f.name)
        key = f"{above}{f.name}"
        if is_dataclass(value):
            changed[f.name] = _translated(p, value, held, f"{key}.")
        here_c = ratings_c["discharge" in f.name]
        chosen_c = DISCHARGE_C if "discharge" in f.name else SUCTION_C
        unit, of = f.metadata.get("unit"), f.metadata.get("of")
        if unit == "°C" and "saturated" in f.name:
            new = value + here_c - chosen_c
        elif unit != "kPa" or any(word in f.name for word in KEPT):
            continue
        elif of == "absolute":
            moved_c = saturation_temperature_c(AMMONIA, value) + here_c - chosen_c
            new = saturation_pressure_pa(p.refrigerant, moved_c + ZERO_C_K) / 1000.0
        else:
            new = value * _steepness_kpa_k(p, here_c) / _ammonia_steepness_kpa_k(chosen_c)
        kept = min(max(rounded(new), f.metadata["low"]), f.metadata["high"])
        if kept != rounded(new):
            held.append(f"{key}: {new:.4g} {unit} would be out of range, {kept:g} {unit} taken")
        changed[f.name] = kept
    return replace(record, **changed)


def pumpless(protection: ProtectionSettings) -> ProtectionSettings:
    """Protection of a machine whose oil is driven by discharge pressure alone."""
    return replace(
        protection,
        oil_difference=OilDifference.SUPPLY_LESS_SUCTION,
        low_oil_differential_trip_kpa=PUMPLESS_OIL_TRIP_KPA,
        low_oil_differential_alarm_kpa=PUMPLESS_OIL_ALARM_KPA,
        low_oil_bypass_ms=PUMPLESS_OIL_BYPASS_MS,
    )


def starting_settings(p: Parameters, controller: str) -> tuple[Any, tuple[str, ...]]:
    """Settings of a shipped controller for this plant, and what could not be taken over, in words."""
    held: list[str] = []
    settings: Any = SHIPPED[controller].settings_type()
    machine = p.plant.machine
    off_k = max(
        abs(machine.rating_evaporating_k - ZERO_C_K - SUCTION_C),
        abs(machine.rating_condensing_k - ZERO_C_K - DISCHARGE_C),
    )
    if saturation_table_c(p) != AMMONIA_C or off_k > 0.01:
        settings = _translated(p, settings, held)
    trapped, ratio, gain = slide_tables(p.curves)
    rating_pa = (
        saturation_pressure_pa(p.refrigerant, machine.rating_evaporating_k),
        saturation_pressure_pa(p.refrigerant, machine.rating_condensing_k),
    )
    common = settings.common
    scale = pressure_scale(common.protection.high_discharge_pressure_trip_kpa_abs)
    slides = {}
    for layer, drive in (("capacity", p.plant.capacity_drive), ("volume_ratio", p.plant.volume_ratio_drive)):
        up_ms, down_ms = drive.load_stroke_ms, drive.unload_stroke_ms
        if drive.kind is DriveKind.MOTORISED:
            up_ms = down_ms = drive.motor_stroke_ms
        law = getattr(common, layer)
        slides[layer] = replace(
            law,
            drive=replace(law.drive, stroke_up_ms=up_ms, stroke_down_ms=down_ms, overrun_ms=drive.overrun_ms),
        )
    slides["volume_ratio"] = replace(
        slides["volume_ratio"],
        trapped_fraction_frac=trapped,
        full_load_volume_ratio=ratio,
        isentropic_exponent=rounded(isentropic_exponent(p.refrigerant, *rating_pa, machine.rating_superheat_k), 3),
    )
    if hasattr(settings, "pi"):
        settings = replace(settings, pi=replace(settings.pi, gain_multiplier=gain))
    if p.plant.oil.pump_rise_pa <= 0.0:
        common = replace(common, protection=pumpless(common.protection))
    common = replace(
        common,
        motor=replace(common.motor, full_load_current_a=rounded(p.derived.motor.rated_current_a, 3)),
        refrigerant=replace(common.refrigerant, saturation_c=saturation_table_c(p, scale), pressure_scale=scale),
        **slides,
    )
    return replace(settings, common=common), tuple(held)
