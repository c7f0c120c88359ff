"""Does the LSODA engine compute the same plant?  A speed compared with wrong answers would mean nothing."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from controller.process_image import Inputs, Outputs
from controller.registry import SHIPPED
from scenarios.entries import PythonEntry
from scenarios.preparation import Prepared
from scenarios.row import INDEX
from scenarios.session import Session
from tools.benchmarks.demo import new_session, play_whole, prepared_shift
from tools.benchmarks.lsoda_engine import LsodaSession

_NAMES = tuple(f.name for f in fields(Outputs))


@dataclass(frozen=True, slots=True)
class Agreement:
    """Suction pressure of two engines over one stretch: largest and RMS difference and the swing, Pa."""

    largest_pa: float
    rms_pa: float
    swing_pa: float

    @property
    def largest_frac(self) -> float:
        """Largest difference as a fraction of the swing."""
        return self.largest_pa / self.swing_pa


def suction_pa(session: Session) -> NDArray[np.float64]:
    """Suction pressure of the rows that a session has logged."""
    return session.buffers.rows[: session.run.row_count, INDEX["suction_pressure_pa"]]


def compare(a: Session, b: Session) -> Agreement:
    """Two sessions that have played the same scenario."""
    first, second = suction_pa(a), suction_pa(b)
    if first.shape != second.shape or np.ptp(first) <= 0.0:
        raise ValueError(f"nothing to compare: {first.shape} and {second.shape} rows, swing {np.ptp(first):g} Pa")
    difference = first - second
    return Agreement(
        float(np.abs(difference).max()), float(np.sqrt(np.mean(difference * difference))), float(np.ptp(first))
    )


def recorded(prepared: Prepared) -> tuple[Session, list[tuple[Any, ...]]]:
    """The engine's run under the shipped controller, interpreted, with every scan's outputs kept."""
    controller = SHIPPED[prepared.named.name]
    state, kept = controller.state_type(), []

    def scan(inputs: Inputs, outputs: Outputs, now_ms: int) -> int:
        status = controller.scan(prepared.settings, state, inputs, outputs, now_ms)
        kept.append(tuple(getattr(outputs, name) for name in _NAMES))
        return int(status)

    session = new_session(prepared, PythonEntry(scan))
    play_whole(session)
    return session, kept


def open_loop(duration_ms: int, way: str, controller: str = "scheduled_pi") -> Agreement:
    """Both engines driven by one recorded sequence of outputs: what differs is the integration alone."""
    prepared = prepared_shift(controller, duration_ms)
    reference, kept = recorded(prepared)
    played = iter(kept)

    def replay(_inputs: Inputs, outputs: Outputs, _now_ms: int) -> int:
        for name, value in zip(_NAMES, next(played), strict=True):
            setattr(outputs, name, value)
        return 0

    other = LsodaSession(prepared, PythonEntry(replay), way)
    play_whole(other)
    return compare(reference, other)
