"""PI control in velocity form: the block gives the *change* of its output, and whoever owns the output limits it.

Because nothing is summed inside, clamping the output is the anti-windup, and changing hands between automatic and
manual needs no bump: the increments simply go on from wherever the output stands.
"""

from __future__ import annotations

from dataclasses import dataclass

from numba.extending import register_jitable as kernel


@dataclass(slots=True)
class PiState:
    """Memory of the block: the last error, once there is one."""

    last_error: float = 0.0
    started: bool = False


@kernel
def pi_increment(
    state: PiState, error: float, gain: float, integral_time_ms: int, dt_ms: int, rest_zone: float
) -> float:
    """Change of output, Kp·(e − e_last) + Kp·e·dt/Ti; the first call has no proportional part.

    Within ± rest_zone of zero error the block rests, beyond it only the excess counts: a drive with a neutral zone under
    a pure integral hunts for ever.  A zone of 0 is the plain block.

    error in the unit of the controlled value, gain in output per that unit.  An integral time of 0 ms means no
    integral action.  After a unit load step at the plant input, the sum of e·dt is Ti/Kp (Åström & Hägglund).

    >>> s = PiState(); pi_increment(s, 2.0, 0.5, 1000, 100, 0.0), pi_increment(s, 3.0, 0.5, 1000, 100, 0.0)
    (0.1, 0.65)
    """
    excess = 0.0
    if error > rest_zone:
        excess = error - rest_zone
    elif error < -rest_zone:
        excess = error + rest_zone
    change = 0.0
    if state.started:
        change = excess - state.last_error
    if integral_time_ms > 0:
        change += excess * dt_ms / integral_time_ms
    state.last_error = excess
    state.started = True
    return gain * change
