"""The faults of machine and plant that a scenario may name, and what each does to the plant's disturbances.

A size is the share that is lost or gone wrong, so that 0 is healthy for every fault; `apply` turns it into the
disturbance's own value.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class FaultSpec:
    """Where a fault is written.

    path: attribute names from the disturbances record; form: "lost" (value = size), "left" (value = 1 − size),
    "per_minute" (value = size per minute, in 1/s) or "switch" (there or not).
    """

    path: tuple[str, ...]
    form: str
    text: str
    low: float = 0.0
    high: float = 1.0

    @property
    def sized(self) -> bool:
        """True for a fault that has a size."""
        return self.form != "switch"

    def apply(self, disturbances: Any, size_frac: float) -> None:
        """Write the fault; 0 heals it."""
        record = disturbances
        for name in self.path[:-1]:
            record = getattr(record, name)
        value: float | bool = size_frac
        if self.form == "left":
            value = 1.0 - size_frac
        elif self.form == "per_minute":
            value = size_frac / 60.0
        elif self.form == "switch":
            value = size_frac != 0.0
        setattr(record, self.path[-1], value)


def _slide(pair: str, words: str) -> dict[str, FaultSpec]:
    where = f"{pair}_faults"
    return {
        f"{pair}_slide_stuck": FaultSpec((where, "stuck"), "switch", f"the {words} slide does not move"),
        f"{pair}_slide_slow": FaultSpec((where, "speed_frac"), "left", f"the {words} slide is slow", high=0.99),
        f"{pair}_slide_drift": FaultSpec(
            (where, "drift_frac_s"), "per_minute", f"the {words} slide drifts unpowered, share of travel a minute", -1.0
        ),
        f"{pair}_linkage_slip": FaultSpec(
            (where, "linkage_slip_frac"),
            "lost",
            f"the halves of the {words} pair disagree by this share of travel",
            -1.0,
        ),
        f"{pair}_feedback_zero": FaultSpec(
            (where, "feedback_zero_frac"), "lost", f"zero of the {words} position feedback, of travel", -0.5, 0.5
        ),
        f"{pair}_feedback_span": FaultSpec(
            (where, "feedback_span_frac"), "lost", f"span of the {words} position feedback, too wide by", -0.9, 0.5
        ),
    }


FAULTS: dict[str, FaultSpec] = {
    "strainer_fouling": FaultSpec(("strainer_fouling_frac",), "lost", "suction strainer, free area lost", high=0.98),
    "suction_stop_check_stuck": FaultSpec(("stop_check_stuck_open_frac",), "lost", "suction stop-check does not close"),
    "discharge_check_stuck": FaultSpec(("discharge_check_stuck_open_frac",), "lost", "discharge check does not close"),
    "condenser_fouling": FaultSpec(("condenser_fouling_frac",), "lost", "condenser, conductance lost", high=0.98),
    "oil_filter_fouling": FaultSpec(("oil_filter_fouling_frac",), "lost", "oil filter, free area lost", high=0.99),
    "oil_pump_weak": FaultSpec(("oil_pump_strength_frac",), "left", "oil pump, pressure rise lost"),
    "oil_cooler_fouling": FaultSpec(("oil_cooler_fouling_frac",), "lost", "oil cooler, conductance lost"),
    "contactor_stuck": FaultSpec(("contactor_stuck",), "switch", "the motor contactor does not open"),
    "contactor_open": FaultSpec(("contactor_open",), "switch", "the motor contactor does not close, and drops out"),
    "coupling_worn": FaultSpec(("coupling_wear_frac",), "lost", "coupling, torque that it transmits lost"),
    **_slide("capacity", "capacity"),
    **_slide("volume_ratio", "volume-ratio"),
}
