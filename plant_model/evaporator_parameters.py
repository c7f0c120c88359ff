"""The evaporator groups as people describe them: shares of one whole, hot-gas defrost, liquid held in the coils."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from plant_model.parameter_field import PRACTICE, absolute, difference, row, time_ms, value

GROUPS = 4


def _temperatures(default: tuple[float, ...], low: float, high: float, why: str) -> Any:
    return field(default=default, metadata={"unit": "K", "of": "absolute", "low": low, "high": high, "why": why})


@dataclass(frozen=True, slots=True)
class EvaporatorParameters:
    """Up to four groups of pumped evaporators, each with the room or process that it cools.

    Whole figures and the groups' shares of them: a share of conductance of 0 is a slot without a group.  The demo plant
    has plate freezers, flake-ice makers and a chill hall, in this order.  With hot-gas defrost comes a fixed pressure in
    the coil, a conductance from the gas to the frost and the coil's own volume.
    """

    conductance_w_k: float = value(60.0e3, "W/K", 10.0, 1.0e7, f"500 kW at 8 K, air coolers: {PRACTICE}")
    room_capacity_j_k: float = value(
        0.5e6, "J/K", 1.0e3, 1.0e10, f"brisk process load, a tonne of metal: 8 s with the coils: {PRACTICE}"
    )
    load_fade_k: float = difference(10.0, "K", 0.1, 60.0, f"the load fades over the last 10 K below that: {PRACTICE}")
    base_load_w: float = value(380.0e3, "W", 0.0, 1.0e8, "invented: five eighths of full load")
    conductance_share_frac: tuple[float, float, float, float] = row(
        (0.50, 0.25, 0.25, 0.0), "1", 0.0, 1.0, "invented: half in plate freezers, a quarter each in ice and chill hall"
    )
    room_capacity_share_frac: tuple[float, float, float, float] = row(
        (0.48, 0.22, 0.30, 0.0), "1", 0.0, 1.0, "invented: freezer and ice maker 8 s and 7 s, the chill hall 10 s"
    )
    load_share_frac: tuple[float, float, float, float] = row(
        (0.50, 0.25, 0.25, 0.0), "1", 0.0, 1.0, "invented: as the conductances, equal rooms"
    )
    load_source_k: tuple[float, float, float, float] = _temperatures(
        (291.15, 291.15, 291.15, 291.15), 223.15, 343.15, f"goods and process come in at 18 °C: {PRACTICE}"
    )
    coil_volume_m3: tuple[float, float, float, float] = row(
        (0.40, 0.20, 0.25, 0.20), "m³", 1.0e-3, 50.0, f"inside of coils and headers, 12–15 L a kW/K: {PRACTICE}"
    )
    held_liquid_kg: float = value(
        160.0, "kg", 1.0, 1.0e5, f"liquid that stands in all coils, a fifth to a third of them: {PRACTICE}"
    )
    refill_ms: int = time_ms(600_000, 30_000, 86_400_000, f"the pumps fill emptied coils again: {PRACTICE}")
    defrost_pressure_pa: float = absolute(
        700.0e3, "Pa", 1.0e4, 1.0e7, f"coil held at 7 bar, 14 °C for ammonia, by the relief valve: {PRACTICE}"
    )
    defrost_conductance_frac: float = value(
        0.25, "1", 0.0, 2.0, f"of the group's conductance, from condensing gas to frost; 3.5 K a kW/K: {PRACTICE}"
    )
    defrost_melting_k: float = absolute(273.15, "K", 233.15, 333.15, "ice melts at 0 °C")
    defrost_room_share_frac: float = value(
        0.20, "1", 0.0, 1.0, f"of the defrost heat that stays in coil and room instead of the drain: {PRACTICE}"
    )
    defrost_liquid_frac: float = value(
        0.03, "1", 0.0, 0.9, f"of the coil's volume, condensate on its way to the relief valve: {PRACTICE}"
    )
    defrost_fill_ms: int = time_ms(60_000, 2_000, 600_000, f"soft opening of the hot-gas valve: {PRACTICE}")
    bleed_down_ms: int = time_ms(
        20_000, 2_000, 600_000, f"small bleed valve: the coil's pressure goes in a minute: {PRACTICE}"
    )
    dump_ms: int = time_ms(2_000, 1_000, 600_000, f"the main valve opened on a coil that was not bled: {PRACTICE}")


def evaporator_violations(e: EvaporatorParameters) -> list[str]:
    """What is wrong between the fields, in words."""
    found = []
    for name in ("conductance_share_frac", "room_capacity_share_frac", "load_share_frac"):
        total = sum(getattr(e, name))
        if abs(total - 1.0) > 1.0e-6:
            found.append(f"evaporator: {name} adds up to {100.0 * total:g} %; the groups' shares must make 100 %")
    for i in range(GROUPS):
        used = e.conductance_share_frac[i] > 0.0
        if used and e.room_capacity_share_frac[i] <= 0.0:
            found.append(f"evaporator: group {i + 1} has conductance and no room capacity")
        if not used and (e.room_capacity_share_frac[i] > 0.0 or e.load_share_frac[i] > 0.0):
            found.append(f"evaporator: group {i + 1} has capacity or load and no conductance; nothing would cool it")
    return found
