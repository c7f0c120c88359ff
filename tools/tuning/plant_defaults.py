"""Settings to begin with where no sheet is given: a controller's defaults with what the plant file itself tells."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from controller.registry import SHIPPED
from plant_model.derived import Parameters
from scenarios.demo_sheets import slide_tables


def default_settings(controller: str, parameters: Parameters) -> Any:
    """Defaults, with slide curves from the plant's geometry and stroke times and run-on from its drives."""
    settings: Any = SHIPPED[controller].settings_type()
    plant, common = parameters.plant, settings.common
    trapped, ratio, gain = slide_tables(parameters.curves)

    def with_strokes(drive: Any, real: Any) -> Any:
        return replace(
            drive, stroke_up_ms=real.load_stroke_ms, stroke_down_ms=real.unload_stroke_ms, overrun_ms=real.overrun_ms
        )

    capacity = replace(common.capacity, drive=with_strokes(common.capacity.drive, plant.capacity_drive))
    volume_ratio = replace(
        common.volume_ratio,
        trapped_fraction_frac=trapped,
        full_load_volume_ratio=ratio,
        drive=with_strokes(common.volume_ratio.drive, plant.volume_ratio_drive),
    )
    settings = replace(settings, common=replace(common, capacity=capacity, volume_ratio=volume_ratio))
    if hasattr(settings, "pi"):
        settings = replace(settings, pi=replace(settings.pi, gain_multiplier=gain))
    return settings
