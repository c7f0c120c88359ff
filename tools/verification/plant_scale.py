"""What a plant's loads and flows are measured by in a trial: the machine's full load at its rating point.

So one space of trials suits a small plant and a large one, and any refrigerant.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

from plant_model.derived import derive
from plant_model.initial import running_state
from plant_model.properties import saturation_pressure_pa
from plant_model.state import Disturbances
from scenarios.chosen_controller import plant_of
from scenarios.errors import InputRefused, Problem
from scenarios.preparation import STEP_MS

BELOW_TABLES_K = 3.0  # what is left of the property tables above the warmest start
ZERO_C_K = 273.15


@dataclass(frozen=True, slots=True)
class Scale:
    """Full load, full flow and swept flow at the rating point; the temperatures that trials are measured from."""

    full_load_w: float
    full_flow_kg_s: float
    swept_m3_s: float
    rating_evaporating_c: float
    rating_condensing_c: float
    warmest_condensing_c: float

    def load_kw(self, share_pct: float) -> float:
        """A share of the full load, to 0.1 kW."""
        return round(1e-5 * share_pct * self.full_load_w, 1)

    def condensing_c(self, over_k: float) -> float:
        """So many kelvin over the rating's condensing temperature, within the property tables."""
        return round(min(self.rating_condensing_c + over_k, self.warmest_condensing_c), 2)

    def suction_c(self, over_k: float) -> float:
        """So many kelvin over the rating's evaporating temperature."""
        return round(self.rating_evaporating_c + over_k, 2)

    def size(self, name: str, value: int) -> str:
        """A size of a happening as its event writes it: a share of the machine's in its unit, or the number itself."""
        if name == "load_pct":
            return f"{self.load_kw(value):.1f}"
        if name == "swept_pct":
            return f"{36.0 * value * self.swept_m3_s:.1f}"  # m³/h
        if name == "flow_pct":
            return f"{10.0 * value * self.full_flow_kg_s:.1f}"  # g/s
        return str(value)


@cache
def scale_of(path: Path) -> Scale:
    """The scale of a plant file.  InputRefused where its machine does not run at its own rating point."""
    plant = plant_of(path)
    machine = plant.parameters.machine
    try:
        p = derive(plant.parameters, plant.refrigerant, STEP_MS)
        suction_pa, discharge_pa = (
            saturation_pressure_pa(p.refrigerant, t_k) for t_k in (machine.rating_evaporating_k, machine.rating_condensing_k)
        )  # fmt: skip
        s = running_state(p, Disturbances(load_heat_w=0.0), suction_pa, discharge_pa, 1.0)
    except ValueError as error:
        text = f"the machine does not run at its rating point: {error}"
        raise InputRefused(Problem(text, file=str(path), way_out="change the plant file")) from error
    latent_j_kg = s.vessel.zone.saturation.h_v_j_kg - s.discharge.volume.saturation.h_l_j_kg
    return Scale(
        s.compression.mass_flow_kg_s * latent_j_kg,
        s.compression.mass_flow_kg_s,
        s.compression.swept_m3_s,
        round(machine.rating_evaporating_k - ZERO_C_K, 2),
        round(machine.rating_condensing_k - ZERO_C_K, 2),
        round(p.refrigerant.temperature_high_k - ZERO_C_K - BELOW_TABLES_K, 2),
    )
