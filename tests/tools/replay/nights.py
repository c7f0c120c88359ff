"""Nights that several tests look at: each is played once a process."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

from plant_model.derived import Parameters
from tests.tools.replay.causes import CAUSES
from tests.tools.replay.truth import Cause, Night, play, record_of
from tools.replay.fitting import Evidence, evidence_of
from tools.replay.playback import parameters_of
from tools.replay.record import Record, stretch_of

BY_NAME: dict[str, Cause] = {cause.name: cause for cause in CAUSES}


@dataclass(slots=True)
class Prepared:
    """A night, its record without the truth, and the model's plant (the file's, not the night's)."""

    night: Night
    record: Record
    parameters: Parameters
    first: int
    end: int
    evidence: Evidence
    settings: Any

    @property
    def true_load_w(self) -> Any:
        """The load that the night really had, row by row of the stretch."""
        return self.night.load_w[self.first : self.end]


@cache
def night(name: str, seed: int) -> Prepared:
    """One night by cause and seed."""
    made = play(BY_NAME[name], seed)
    record = record_of(made)
    parameters = parameters_of(made.nominal.plant.parameters, made.nominal.plant.refrigerant)
    first, end = stretch_of(record)
    assert end > first, f"{name} {seed}: no stretch to replay"
    evidence = evidence_of(record.part(first, end), parameters)
    return Prepared(made, record, parameters, first, end, evidence, made.nominal.settings)
