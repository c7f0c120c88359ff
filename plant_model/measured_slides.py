"""Slide curves as somebody measured them, in place of those computed from the rotors."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from plant_model.rotor_geometry import RotorGeometry, SlideCurves, measured_slide_curves

POINTS = 11  # at 0, 10, … 100 % of travel

if TYPE_CHECKING:
    Measured = tuple[float, ...]
else:  # a record field needs its fixed length at run time
    Measured = tuple[(float,) * POINTS]

# the trial of the design: computed for ±40° of closing, 10–100 % and 1.2–7.0
_TRAPPED_FRAC = (0.10, 0.165, 0.249, 0.349, 0.46, 0.576, 0.689, 0.792, 0.879, 0.949, 1.0)
_VOLUME_RATIO = (1.2, 1.3, 1.43, 1.6, 1.83, 2.14, 2.56, 3.14, 3.96, 5.17, 7.0)


@dataclass(frozen=True, slots=True)
class MeasuredSlideParameters:
    """Trapped fraction and full-load volume ratio at 0, 10, … 100 % of the slides' travel; used only if `use` is true.

    Raises ValueError naming table, row (from 0) and value for a table that does not rise or is out of range.
    """

    use: bool = field(
        default=False, metadata={"unit": "1", "why": "a measured machine is the exception; else from the rotors"}
    )
    trapped_fraction: Measured = field(
        default=_TRAPPED_FRAC,
        metadata={"unit": "1", "low": 0.02, "high": 1.0, "why": "an example, computed in the design's trial"},
    )
    volume_ratio: Measured = field(
        default=_VOLUME_RATIO,
        metadata={"unit": "1", "low": 1.0, "high": 20.0, "why": "an example, computed in the design's trial"},
    )

    def __post_init__(self) -> None:
        if self.use:
            measured_curves(RotorGeometry(), self)


def measured_curves(geometry: RotorGeometry, measured: MeasuredSlideParameters) -> SlideCurves:
    """The curves through the measured points; displacement and edges follow from `geometry`."""
    travels = [i / (POINTS - 1) for i in range(POINTS)]
    return measured_slide_curves(
        geometry,
        list(zip(travels, measured.trapped_fraction, strict=True)),
        list(zip(travels, measured.volume_ratio, strict=True)),
    )
