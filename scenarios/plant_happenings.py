"""Processes of what may go wrong with machine and plant: faults, groups, defrost, surges, the header, supply, scans.

Like those of scenarios/world.py they write disturbances and switches only.
"""

from __future__ import annotations

from collections.abc import Generator
from typing import TYPE_CHECKING, Any

import simpy

from scenarios import event_kinds as kinds
from scenarios.fault_table import FAULTS

if TYPE_CHECKING:
    from scenarios.world import World

Process = Generator[simpy.events.Event, Any, None]

GROWTH_STEP_MS = 5_000  # a slowly growing fault moves in steps of this: far below any lag it can be seen through
HOT_GAS, BLEED_DOWN, NO_DEFROST = 1, 2, 0


def plant_fault(world: World, event: kinds.PlantFault) -> Process:
    """A fault comes, grows, and may be mended."""
    spec = FAULTS[event.fault]
    size_frac = 1.0 if event.size_frac is None else event.size_frac
    amount = "" if event.size_frac is None else f", {100.0 * size_frac:g} %"
    world.note("disturbance", event.fault, spec.text + amount)
    if event.over_ms:
        for begun_ms in range(GROWTH_STEP_MS, event.over_ms, GROWTH_STEP_MS):
            spec.apply(world.disturbances, size_frac * begun_ms / event.over_ms)
            yield world.env.timeout(GROWTH_STEP_MS)
        yield world.env.timeout(event.over_ms % GROWTH_STEP_MS or GROWTH_STEP_MS)
    spec.apply(world.disturbances, size_frac)
    if event.lasting_ms is not None:
        yield world.env.timeout(event.lasting_ms)
        spec.apply(world.disturbances, 0.0)
        world.note("disturbance", event.fault, "mended")


def evaporator_group(world: World, event: kinds.EvaporatorGroup) -> Process:
    """A group opens, closes, or gets a load of its own."""
    d, group = world.disturbances, event.group - 1
    before = (d.group_open_frac[group], d.group_load_w[group])
    if event.open_frac is not None:
        d.group_open_frac[group] = event.open_frac
        world.note("disturbance", "evaporator_group", f"group {event.group} is {100.0 * event.open_frac:g} % open")
    if event.load_w is not None:
        d.group_load_w[group] = event.load_w
        world.note(
            "disturbance", "evaporator_group", f"group {event.group} has {event.load_w / 1000.0:+g} kW of its own"
        )
    if event.lasting_ms is not None:
        yield world.env.timeout(event.lasting_ms)
        d.group_open_frac[group], d.group_load_w[group] = before
        world.note("disturbance", "evaporator_group", f"group {event.group} is as before")


def defrost(world: World, event: kinds.Defrost) -> Process:
    """Hot gas, then the bleed-down."""
    d, group = world.disturbances, event.group - 1
    d.defrost[group] = HOT_GAS
    world.note("disturbance", "defrost", f"group {event.group}: hot gas on")
    yield world.env.timeout(event.hot_gas_ms)
    d.defrost[group] = BLEED_DOWN
    world.note("disturbance", "defrost", f"group {event.group}: bled down to suction")
    yield world.env.timeout(event.bleed_down_ms)
    d.defrost[group] = NO_DEFROST
    world.note("disturbance", "defrost", f"group {event.group}: cooling again")


def liquid_surge(world: World, event: kinds.LiquidSurge) -> Process:
    """Liquid comes back from the evaporators."""
    world.note("disturbance", "liquid_surge", f"{event.flow_kg_s:g} kg/s of liquid come back to the vessel")
    world.disturbances.surge_kg_s += event.flow_kg_s
    yield world.env.timeout(event.lasting_ms)
    world.disturbances.surge_kg_s -= event.flow_kg_s
    world.note("disturbance", "liquid_surge", "the surge is over")


def oil_loss(world: World, event: kinds.OilLoss) -> Process:
    """Oil leaves the machine, or comes back."""
    world.note("disturbance", "oil_loss", f"{event.flow_kg_s:+g} kg/s of oil leave the separator")
    world.disturbances.oil_loss_kg_s += event.flow_kg_s
    if event.lasting_ms is not None:
        yield world.env.timeout(event.lasting_ms)
        world.disturbances.oil_loss_kg_s -= event.flow_kg_s
        world.note("disturbance", "oil_loss", "the oil stays again")


def other_compressor(world: World, event: kinds.OtherCompressor) -> Process:
    """Another compressor on the header changes what it takes."""
    world.note("disturbance", "other_compressor", f"another compressor takes {event.flow_m3_s:g} m³/s")
    world.disturbances.other_compressor_m3_s = event.flow_m3_s
    yield from ()


def _bend_coolant(world: World, rate_change_k_s: float) -> None:
    d, now_ms = world.disturbances, int(world.env.now)
    d.coolant_rise_k += d.coolant_rise_rate_k_s * (now_ms - d.coolant_since_ms) / 1000.0
    d.coolant_rise_rate_k_s += rate_change_k_s
    d.coolant_since_ms = now_ms


def coolant_drift(world: World, event: kinds.CoolantDrift) -> Process:
    """The coolant warms or cools along a line."""
    over_ms = event.until_ms - event.from_ms
    rate_k_s = event.by_k / (over_ms / 1000.0)
    world.note("disturbance", "coolant_drift", f"the oil cooler's coolant begins to drift by {event.by_k:+.1f} K")
    _bend_coolant(world, rate_k_s)
    yield world.env.timeout(over_ms)
    _bend_coolant(world, -rate_k_s)


def power_dip(world: World, event: kinds.PowerDip) -> Process:
    """The supply goes and comes back; the cabinet goes with it."""
    world.note("disturbance", "power_dip", "the supply is lost")
    world.disturbances.supply_on = world.operator.supply_on = False
    yield world.env.timeout(event.lasting_ms)
    world.disturbances.supply_on = world.operator.supply_on = True
    world.note("disturbance", "power_dip", "the supply is back")


def late_scan(world: World, event: kinds.LateScan) -> Process:
    """No scan begins for a time; spells that overlap are one."""
    world.note("disturbance", "late_scan", "the next scan is late")
    world.late_scans += 1
    world.operator.scanned = False
    yield world.env.timeout(event.lasting_ms)
    world.late_scans -= 1
    if not world.late_scans:
        world.operator.scanned = True
        world.note("disturbance", "late_scan", "scans come in time again")


def valves_closed(world: World, event: kinds.ValvesClosed) -> Process:
    """A permissive goes."""
    world.note("disturbance", "valves_closed", "the valve contact says closed")
    world.operator.valves_open = False
    if event.lasting_ms is not None:
        yield world.env.timeout(event.lasting_ms)
        world.operator.valves_open = True
        world.note("disturbance", "valves_closed", "the valves are open again")


HAPPENINGS: dict[type, Any] = {
    kinds.PlantFault: plant_fault,
    kinds.EvaporatorGroup: evaporator_group,
    kinds.Defrost: defrost,
    kinds.LiquidSurge: liquid_surge,
    kinds.OilLoss: oil_loss,
    kinds.OtherCompressor: other_compressor,
    kinds.CoolantDrift: coolant_drift,
    kinds.PowerDip: power_dip,
    kinds.LateScan: late_scan,
    kinds.ValvesClosed: valves_closed,
}
