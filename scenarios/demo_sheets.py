"""The settings sheets of the demo plant, made from its geometry and from the values chosen for it.

    python -m scenarios.demo_sheets        writes scenarios/library/sheets/

All controllers get the same slide curves, slide zones, trips, inhibits and sequence; what differs is the capacity law
and its set point.  At the same set point the two use much the same energy: what a loop can save is in the set point.
The duty is a saturated suction no warmer than 1 K above −10 °C.  After the pull-down the step control is above that for
1.8 % of the demo shift, the scheduled law from a set point 1.6 kPa (0.14 K) higher never.  So its sheet has that, and so
has the model-based law's.  Its other values are its defaults, found on the demo shift with seeds 7, 1001 and 1002.
Results are an engineering aid.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

from controller.registry import SHIPPED
from plant_model.derived import derive
from plant_model.parameters import PlantParameters
from plant_model.rotor_geometry import SlideCurves, full_load_volume_ratio, trapped_fraction_frac
from scenarios.settings_sheet import write_sheet

SHEETS = Path(__file__).resolve().parent / "library" / "sheets"
POINTS = 11
SCHEDULED_SET_POINT_KPA_ABS = 292.2
# At a third of the stroke 1 % of travel is 2 kPa of suction here.  A turn of 4.5 % (the default) then crosses the whole
# rest zone of 8 kPa and the scheduled law turns back every 5 to 15 minutes; 3.5 % ends inside it.  The price: more pulses.
NEUTRAL_ZONE_PCT = 2.0
REVERSAL_ZONE_PCT = 3.5


def _rounded(value: float, digits: int = 4) -> float:
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
    return tuple(map(_rounded, trapped)), tuple(map(_rounded, ratio)), tuple(_rounded(g, 3) for g in gain)


def demo_settings(name: str) -> Any:
    """The demo plant's settings of a shipped controller."""
    curves = derive(PlantParameters(), "R717").curves
    trapped, ratio, gain = slide_tables(curves)
    settings: Any = SHIPPED[name].settings_type()
    common = settings.common
    volume_ratio = replace(common.volume_ratio, trapped_fraction_frac=trapped, full_load_volume_ratio=ratio)
    drive = replace(common.capacity.drive, neutral_zone_pct=NEUTRAL_ZONE_PCT, reversal_zone_pct=REVERSAL_ZONE_PCT)
    capacity = replace(common.capacity, drive=drive)
    if name != "three_position":
        capacity = replace(capacity, suction_set_point_kpa_abs=SCHEDULED_SET_POINT_KPA_ABS)
    if name == "scheduled_pi":
        settings = replace(settings, pi=replace(settings.pi, gain_multiplier=gain))
    return replace(settings, common=replace(common, volume_ratio=volume_ratio, capacity=capacity))


def write_demo_sheets(folder: Path = SHEETS) -> list[Path]:
    """Write one sheet a shipped controller; returns their paths."""
    made = []
    for name in SHIPPED:
        path = folder / f"demo_{name}.toml"
        purpose = "Demo plant.  An engineering aid, not a safety system: hard-wired cut-outs come first."
        write_sheet(path, name, demo_settings(name), title=f"Harrow Ness fish hall, {name}", purpose=purpose)
        made.append(path)
    return made


if __name__ == "__main__":
    for written in write_demo_sheets():
        print(f"wrote {written}")
