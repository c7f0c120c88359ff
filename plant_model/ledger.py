"""Books of mass and energy: what crossed the border against what is stored.

The plant's border goes round vessel, coils, machine, oil, condenser, receiver and rooms.  Work at the shaft crosses it,
and the other compressor's; motor losses do not.  Not kernels: they run once, after a run.
"""

from __future__ import annotations

from plant_model.derived import Parameters
from plant_model.state import Ledger, PlantState

# Below these a run has moved nothing, and rounding of what is stored would be all that is left to compare.
LEAST_MASS_KG = 1.0e-3
LEAST_ENERGY_J = 1.0e3


def stored_mass_kg(s: PlantState) -> tuple[float, float]:
    """Refrigerant on the low side (vessel and coils) and on the high side (separator, condenser, receiver), kg."""
    coils_kg = s.evaporator.held_kg + sum(s.evaporator.coil_kg)
    return s.vessel.zone_kg + s.vessel.bulk_kg + coils_kg, s.discharge.mass_kg + s.separator.gas_kg


def stored_energy_j(p: Parameters, s: PlantState) -> float:
    """Internal energy of everything inside the border, J (datum of the property tables; 0 K for heat capacities)."""
    o = p.plant.oil
    shares = p.plant.evaporator.room_capacity_share_frac
    rooms_k = sum(share * room_k for share, room_k in zip(shares, s.evaporator.room_k, strict=True))
    return (
        s.vessel.zone_energy_j
        + s.vessel.bulk_energy_j
        + s.evaporator.held_energy_j
        + sum(s.evaporator.coil_energy_j)
        + s.discharge.energy_j
        + s.separator.gas_energy_j
        + p.plant.evaporator.room_capacity_j_k * rooms_k
        + o.mixture_capacity_j_k * s.oil.mixture_k
        + o.metal_capacity_j_k * s.oil.metal_k
        + o.charge_kg * o.heat_capacity_j_kg_k * s.oil.sump_k
        + o.supply_line_j_k * s.oil.supply_k
    )


def _change(start: Ledger, end: Ledger, name: str) -> float:
    return float(getattr(end, name)) - float(getattr(start, name))


def mass_residual_frac(p: Parameters, start: PlantState, end: PlantState) -> float:
    """Mass that the books miss, over the mass that flowed; the worse of low and high side."""
    up_kg = [_change(start.ledger, end.ledger, name) for name in ("compressor_kg", "carry_over_kg", "other_kg")]
    down_kg = [_change(start.ledger, end.ledger, name) for name in ("feed_kg", "backflow_kg", "hot_gas_kg")]
    low_0, high_0 = stored_mass_kg(start)
    low_1, high_1 = stored_mass_kg(end)
    throughput_kg = max(abs(sum(up_kg)), abs(sum(down_kg)), LEAST_MASS_KG)
    low_kg = (low_1 - low_0) - (sum(down_kg) - sum(up_kg))
    high_kg = (high_1 - high_0) - (sum(up_kg) - sum(down_kg))
    return max(abs(low_kg), abs(high_kg)) / throughput_kg


def energy_residual_frac(p: Parameters, start: PlantState, end: PlantState) -> float:
    """Energy that the books miss, over the energy that went in and out."""
    into = ("load_j", "line_j", "shaft_j", "other_j", "oil_heater_j", "oil_pump_j")
    out_of = ("condenser_j", "oil_cooler_j", "ambient_j", "melt_j")
    gained_j = sum(_change(start.ledger, end.ledger, name) for name in into)
    lost_j = sum(_change(start.ledger, end.ledger, name) for name in out_of)
    throughput_j = sum(abs(_change(start.ledger, end.ledger, name)) for name in (*into, *out_of))
    stored_j = stored_energy_j(p, end) - stored_energy_j(p, start)
    return abs(stored_j - gained_j + lost_j) / max(throughput_j, LEAST_ENERGY_J)
