"""How the machine feels what is wrong with it.

Disturbances are written from outside, at any time; the state keeps the ones that the machine's parts need between two
steps, so that a state can be closed by itself and a copy of it is a snapshot.
"""

from __future__ import annotations

from typing import Any

from numba.extending import register_jitable as kernel


@kernel
def _feel_drive(faults: Any, d: Any) -> None:
    faults.speed_frac = d.speed_frac
    faults.stuck = d.stuck
    faults.drift_frac_s = d.drift_frac_s
    faults.linkage_slip_frac = d.linkage_slip_frac
    faults.feedback_zero_frac = d.feedback_zero_frac
    faults.feedback_span_frac = d.feedback_span_frac


@kernel
def feel_machine_faults(s: Any, d: Any) -> bool:
    """Take the machine's faults of `d` into the state; True when one has jumped that the right-hand side depends on."""
    o = s.oil
    m = s.motor
    cooler_share_frac = max(0.0, 1.0 - d.oil_cooler_fouling_frac)
    jumped = (
        cooler_share_frac != o.cooler_share_frac
        or d.coolant_since_ms != o.coolant_since_ms
        or d.oil_filter_fouling_frac != o.filter_fouling_frac
        or d.supply_on != m.supply_on
    )
    o.cooler_share_frac = cooler_share_frac
    o.coolant_since_ms = d.coolant_since_ms
    o.filter_fouling_frac = d.oil_filter_fouling_frac
    o.pump_strength_frac = d.oil_pump_strength_frac
    o.loss_kg_s = d.oil_loss_kg_s
    m.supply_on = d.supply_on
    m.contactor_stuck = d.contactor_stuck
    m.contactor_open = d.contactor_open
    m.coupling_wear_frac = d.coupling_wear_frac
    _feel_drive(s.capacity.faults, d.capacity_faults)
    _feel_drive(s.volume_ratio.faults, d.volume_ratio_faults)
    return bool(jumped)
