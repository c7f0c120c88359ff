"""How the process side feels what comes from outside: what the state must keep of it, and whether an input jumped."""

from __future__ import annotations

from typing import Any

from numba.extending import register_jitable as kernel


@kernel
def feel_process_inputs(s: Any, d: Any) -> None:
    """Keep the disturbances that `close` needs, so that a state can be closed by itself."""
    s.suction.strainer_fouling_frac = d.strainer_fouling_frac
    s.vessel.other_m3_s = d.other_compressor_m3_s


@kernel
def inputs_mark(d: Any) -> float:
    """One number that changes when any of the process side's switched inputs does.

    The weights have no common measure, so two changes at once do not cancel but by a chance in 1e15, and that would only
    cost the accuracy of one step.
    """
    mark = (
        1.0 * d.evaporator_open_frac
        + 1.7320508 * d.condenser_fans_frac
        + 2.2360679 * d.surge_kg_s
        + 2.6457513 * d.strainer_fouling_frac
        + 3.3166247 * d.stop_check_stuck_open_frac
        + 3.6055512 * d.discharge_check_stuck_open_frac
        + 4.1231056 * d.other_compressor_m3_s
        + 4.3588989 * d.condenser_fouling_frac
    )
    for i in range(4):
        weight = 5.3851648 + 0.7639320 * i
        mark += weight * (d.group_open_frac[i] + 1.2360679 * d.defrost[i] + 1.0e-5 * d.group_load_w[i])
    return float(mark)
