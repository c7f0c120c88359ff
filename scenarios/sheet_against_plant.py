"""Does a settings sheet belong to this plant, and can the plant feed its load?

A dew table of another refrigerant and a pressure that the plant's transmitter cannot show are refused, the rest is told.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from controller.saturation import FIRST_ROOT, STEPS_PER_ROOT
from plant_model.derived import Parameters
from plant_model.properties import saturation_pressure_pa, saturation_temperature_k
from plant_model.state import PlantState
from scenarios.cross_checks import every_field
from scenarios.errors import Problem
from scenarios.limits import ends_of
from scenarios.starting_sheet import starting_settings
from scenarios.toml_source import KeyPath
from scenarios.wiring import Wiring

DEW_POINT_K = 1.0  # more is another refrigerant; the table itself is good to 0.04 K
CURRENT_FRAC = 0.1  # of the name plate; common practice, no source
STROKE_FRAC = 0.3
CURVE_FRAC = 0.1
ZONE_FRAC = 0.5  # of the way from set point to suction hold; common practice, no source
DEW_TABLE: KeyPath = ("common", "refrigerant", "saturation")


def foreign_refrigerant(p: Parameters, settings: Any, name: str) -> Problem | None:
    """The refusal of a dew table that is not the plant's; `name`: where the settings come from."""
    common = getattr(settings, "common", None)
    if common is None:
        return None
    for k, table_c in enumerate(common.refrigerant.saturation_c):
        pressure_pa = 1000.0 * common.refrigerant.pressure_scale * (FIRST_ROOT + k / STEPS_PER_ROOT) ** 4
        if not p.refrigerant.pressure_low_pa <= pressure_pa <= p.refrigerant.pressure_high_pa:
            continue
        dew_c = saturation_temperature_k(p.refrigerant, pressure_pa) - 273.15
        if abs(dew_c - table_c) > DEW_POINT_K:
            return Problem(
                f"{name}: common.refrigerant.saturation says {table_c:.1f} °C at {pressure_pa / 1000.0:.0f} kPa, the plant "
                f"has {dew_c:.1f} °C there; superheat and every °C would be wrong in the cabinet",
                value=f"{table_c:.1f} °C",
                limit=f"{dew_c:.1f} °C ± {DEW_POINT_K:g} K",
                way_out="twoslide sheet PLANT --out SHEET writes a sheet to begin with for this plant",
            )
    return None


def unreadable_pressures(settings: Any, wiring: Wiring) -> Iterator[tuple[KeyPath, Problem]]:
    """Refusals of absolute pressures that the plant's transmitter never shows, each with its key in the sheet.

    The settings' own ranges hold for every refrigerant; a trip of 5100 kPa would be none on a transmitter to 3000 kPa.
    """
    for key_path, rule in every_field(type(settings)):
        if rule.unit != "kPa" or rule.of != "absolute":
            continue
        record = settings
        for part in key_path[:-1]:
            record = getattr(record, str(part))
        value_kpa = getattr(record, rule.name)
        signal = "discharge_pressure" if "discharge" in rule.name else "suction_pressure"
        low_kpa, high_kpa = ends_of(f"{signal}_kpa_abs", wiring)
        if not low_kpa <= value_kpa <= high_kpa:
            yield (
                key_path,
                Problem(
                    f"{rule.key} of {value_kpa:g} kPa: the plant's {signal.replace('_', ' ')} transmitter never shows it",
                    value=f"{value_kpa:g} kPa",
                    limit=f"it reads {low_kpa:g} to {high_kpa:g} kPa",
                    way_out=f"correct the setting, or the range in [instruments.{signal}] of the plant file",
                ),
            )


def misfits(p: Parameters, settings: Any, controller: str) -> Iterator[str]:
    """What else of the sheet does not follow from the plant, in words: a site may have its reasons."""
    mine, _ = starting_settings(p, controller)
    ours, theirs = settings.common, mine.common
    set_a, plant_a = ours.motor.full_load_current_a, theirs.motor.full_load_current_a
    if abs(set_a - plant_a) > CURRENT_FRAC * plant_a:
        yield f"full_load_current is {set_a:g} A in the sheet; the plant's motor takes {plant_a:g} A at rated power"
    for layer in ("capacity", "volume_ratio"):
        for end in ("stroke_up_ms", "stroke_down_ms"):
            one, other = (getattr(getattr(c, layer).drive, end) for c in (ours, theirs))
            if abs(one - other) > STROKE_FRAC * other:
                text = f"{layer} {end.removesuffix('_ms')} is {one / 1000:g} s in the sheet, {other / 1000:g} s on the plant"
                yield text
    for curve in ("trapped_fraction_frac", "full_load_volume_ratio"):
        one, other = (getattr(c.volume_ratio, curve) for c in (ours, theirs))
        if max(abs(a / b - 1.0) for a, b in zip(one, other, strict=True)) > CURVE_FRAC:
            yield f"volume_ratio.{curve.removesuffix('_frac')} is not the curve of the plant's rotors"
    one, other = ours.volume_ratio.isentropic_exponent, theirs.volume_ratio.isentropic_exponent
    if abs(one - other) > 0.05:
        yield f"volume_ratio.isentropic_exponent is {one:g} in the sheet, {other:g} for the plant's refrigerant"
    yield from _wide_bands(p, settings)


def _wide_bands(p: Parameters, settings: Any) -> Iterator[str]:
    """Zones and dead bands that the settings' own ranges allow, because they hold for every refrigerant."""
    common = settings.common
    set_point_kpa, trip = common.capacity.suction_set_point_kpa_abs, common.protection
    to_hold_kpa = set_point_kpa - common.inhibit.suction_hold_kpa_abs
    for law, zone, share in (("pi", "rest_zone", 1.0), ("step", "neutral_zone", 0.5)):
        wide_kpa = share * getattr(getattr(settings, law, None), f"{zone}_kpa", 0.0)
        if wide_kpa > ZONE_FRAC * to_hold_kpa:
            yield (
                f"{law}.{zone} lets suction rest {wide_kpa:g} kPa off its set point, more than half of the "
                f"{to_hold_kpa:g} kPa to suction_hold"
            )
    back_kpa = trip.low_suction_pressure_alarm_kpa_abs + trip.suction_pressure_dead_band_kpa
    if back_kpa > set_point_kpa:
        yield f"suction_pressure_dead_band: the alarm would return at {back_kpa:g} kPa, above the set point"
    back_kpa = trip.high_discharge_pressure_alarm_kpa_abs - trip.discharge_pressure_dead_band_kpa
    rated_kpa = saturation_pressure_pa(p.refrigerant, p.plant.machine.rating_condensing_k) / 1000.0
    if back_kpa < rated_kpa:
        yield (
            f"discharge_pressure_dead_band: the alarm would return at {back_kpa:g} kPa, below the {rated_kpa:.0f} kPa "
            "of the machine's rating point"
        )


def starved_vessel(p: Parameters, state: PlantState, load_w: float) -> Iterator[str]:
    """Says so when the feed valve, wide open at the start's pressures, passes less than the load boils off.

    A machine at rest makes its pressure difference first: it is judged at its rating point if that has more.
    """
    sat = state.vessel.zone.saturation
    needed_kg_s = load_w / (sat.h_v_j_kg - sat.h_l_j_kg)
    difference_pa = max(0.0, state.discharge.volume.pressure_pa - state.vessel.zone.pressure_pa)
    where = "at the start"
    if state.motor.speed_rad_s == 0.0:
        machine = p.plant.machine
        evaporating_pa, condensing_pa = (
            saturation_pressure_pa(p.refrigerant, k)
            for k in (machine.rating_evaporating_k, machine.rating_condensing_k)
        )
        if condensing_pa - evaporating_pa > difference_pa:
            difference_pa, where = condensing_pa - evaporating_pa, "at the machine's rating point"
    passed_kg_s = p.derived.feed_factor * difference_pa**0.5
    if passed_kg_s < needed_kg_s:
        yield (
            f"suction_vessel.feed_rated: the feed valve passes {passed_kg_s:.2g} kg/s wide open {where}, the load of "
            f"{load_w / 1000.0:.0f} kW boils off {needed_kg_s:.2g} kg/s: the vessel will run dry"
        )
