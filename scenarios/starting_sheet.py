"""A settings sheet to begin with, for any plant: what follows from the plant file is worked out, the rest is the default.

From the plant: dew table and exponent of its refrigerant, full-load current of its motor, strokes of its drives, both
slide curves of its rotors.  A default pressure is ammonia's; it becomes the pressure at the same saturation temperature,
and a pressure zone is stretched as the saturation line is steeper or flatter.  It is a beginning and no tuning, and an
engineering aid: trips and set points must be checked against the plant's own limits by somebody who answers for it.
"""

from __future__ import annotations

from dataclasses import fields, is_dataclass, replace
from typing import Any

from controller.registry import SHIPPED
from controller.saturation import AMMONIA_C, FIRST_ROOT, STEPS_PER_ROOT, saturation_temperature_c
from plant_model.derived import Parameters
from plant_model.properties import isentropic_exponent, saturation_pressure_pa, saturation_temperature_k
from plant_model.rotor_geometry import SlideCurves, full_load_volume_ratio, trapped_fraction_frac
from plant_model.slide_drive_parameters import DriveKind

POINTS = 11
ZERO_C_K = 273.15
SUCTION_C, DISCHARGE_C = -10.0, 35.0  # where the defaults' zones were chosen
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


def saturation_table_c(p: Parameters) -> tuple[float, ...]:
    """The controller's table of dew points for the plant's refrigerant, °C; beyond its tables it goes on straight."""
    r = p.refrigerant
    pressures_pa = [1000.0 * (FIRST_ROOT + k / STEPS_PER_ROOT) ** 4 for k in range(len(AMMONIA_C))]
    inside = [k for k, pa in enumerate(pressures_pa) if r.pressure_low_pa <= pa <= r.pressure_high_pa]
    first, last = inside[0], inside[-1]
    known = {k: saturation_temperature_k(r, pressures_pa[k]) - ZERO_C_K for k in inside}
    low_step, high_step = known[first + 1] - known[first], known[last] - known[last - 1]
    table = [
        known[first] - (first - k) * low_step if k < first else known[min(k, last)] + max(0, k - last) * high_step
        for k in range(len(pressures_pa))
    ]
    return tuple(round(t_c, 2) for t_c in table)


def _steepness_kpa_k(p: Parameters, t_c: float) -> float:
    higher, lower = (saturation_pressure_pa(p.refrigerant, ZERO_C_K + t_c + d_k) for d_k in (0.5, -0.5))
    return (higher - lower) / 1000.0


def _ammonia_steepness_kpa_k(t_c: float) -> float:
    def pressure(t: float) -> float:
        low, high = 16.0, 2401.0
        for _ in range(60):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if saturation_temperature_c(AMMONIA_C, middle) < t else (low, middle)
        return 0.5 * (low + high)

    return pressure(t_c + 0.5) - pressure(t_c - 0.5)


def _translated(p: Parameters, record: Any, held: list[str], above: str = "") -> Any:
    changed: dict[str, Any] = {}
    for f in fields(record):
        value = getattr(record, f.name)
        key = f"{above}{f.name}"
        if is_dataclass(value):
            changed[f.name] = _translated(p, value, held, f"{key}.")
        if f.metadata.get("unit") != "kPa" or any(word in f.name for word in KEPT):
            continue
        if f.metadata.get("of") == "absolute":
            new = saturation_pressure_pa(p.refrigerant, saturation_temperature_c(AMMONIA_C, value) + ZERO_C_K) / 1000.0
        else:
            t_c = DISCHARGE_C if "discharge" in f.name else SUCTION_C
            new = value * _steepness_kpa_k(p, t_c) / _ammonia_steepness_kpa_k(t_c)
        kept = min(max(rounded(new), f.metadata["low"]), f.metadata["high"])
        if kept != rounded(new):
            held.append(f"{key}: {new:.4g} kPa would be out of range, {kept:g} kPa taken")
        changed[f.name] = kept
    return replace(record, **changed)


def starting_settings(p: Parameters, controller: str) -> tuple[Any, tuple[str, ...]]:
    """Settings of a shipped controller for this plant, and what could not be taken over, in words."""
    held: list[str] = []
    settings: Any = SHIPPED[controller].settings_type()
    machine = p.plant.machine
    if saturation_table_c(p) != AMMONIA_C:
        settings = _translated(p, settings, held)
    trapped, ratio, gain = slide_tables(p.curves)
    rating_pa = (
        saturation_pressure_pa(p.refrigerant, machine.rating_evaporating_k),
        saturation_pressure_pa(p.refrigerant, machine.rating_condensing_k),
    )
    common = settings.common
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
    common = replace(
        common,
        motor=replace(common.motor, full_load_current_a=rounded(p.derived.motor.rated_current_a, 3)),
        refrigerant=replace(common.refrigerant, saturation_c=saturation_table_c(p)),
        **slides,
    )
    return replace(settings, common=common), tuple(held)
