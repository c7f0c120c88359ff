"""Another compressor on the same header: it takes vapour from the vessel and gives it to the condenser.

It has a swept volume flow, set from outside, and two efficiencies; its own check valve, oil and motor are its own affair.
"""

from __future__ import annotations

import math
from typing import Any

from numba.extending import register_jitable as kernel

EXPONENT = 1.29  # published checks section 1, effective exponent of ammonia; other gases by a few per cent


@kernel
def other_flow_kg_s(p: Any, s: Any, d: Any) -> float:
    """Vapour that the other compressor takes, kg/s."""
    w = p.plant.discharge_side
    return float(d.other_compressor_m3_s * w.other_volumetric_frac / s.vessel.zone.saturation.v_v_m3_kg)


@kernel
def other_work_j_kg(p: Any, s: Any) -> float:
    """Its work on the gas, J/kg: isentropic with the effective exponent, over its efficiency."""
    suction_pa = s.vessel.zone.pressure_pa
    ratio = max(1.0, s.discharge.volume.pressure_pa / suction_pa)
    a = (EXPONENT - 1.0) / EXPONENT
    head_j_kg = suction_pa * s.vessel.zone.saturation.v_v_m3_kg / a * (math.exp(a * math.log(ratio)) - 1.0)
    return float(head_j_kg / p.plant.discharge_side.other_isentropic_frac)
