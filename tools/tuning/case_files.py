"""The scenarios of a tuning run: those that were named, or generated hours; and unseen ones for the proof.

The proof's hours are always drawn, whatever the search was given: load, number, kind, size and time of events.
Generated files stand in the run's folder, where anybody can run them again.
"""

from __future__ import annotations

import math
from pathlib import Path

from scenarios.errors import InputRefused, Problem
from tools.tuning.cases import CaseSet, case_set
from tools.tuning.tuning_inputs import TuningInputs
from tools.tuning.tuning_scenarios import write_proof_scenarios, write_search_scenarios

PROOF_SEED = 7919  # apart from the search's, whatever seed a user names


def search_scenarios(inputs: TuningInputs, work: Path) -> tuple[Path, ...]:
    """The files to search on; generated ones are written to `work`."""
    if inputs.scenarios:
        return inputs.scenarios
    folder = work / "search_scenarios"
    return tuple(
        write_search_scenarios(
            folder, inputs.plant.path, inputs.controller, inputs.capacity_w, inputs.suction_kpa, inputs.seed
        )
    )


def unseen_scenarios(inputs: TuningInputs, work: Path) -> tuple[Path, ...]:
    """Drawn hours for the proof, as many as give the wanted number of cases with the proof's plant draws."""
    count = math.ceil(inputs.unseen / inputs.effort.proof_draws)
    seed = inputs.seed + PROOF_SEED
    return tuple(
        write_proof_scenarios(
            work / "unseen_scenarios", inputs.plant.path, inputs.controller, inputs.capacity_w, inputs.suction_kpa,
            seed, count,
        )
    )  # fmt: skip


def search_cases(inputs: TuningInputs, paths: tuple[Path, ...], controller: str, base: object) -> CaseSet:
    """The cases of a search.  InputRefused for scenarios of another plant."""
    cases = case_set(paths, controller, base, inputs.seed, inputs.effort.draws)
    other = cases.prepared[0]
    if other.plant.sha256 != inputs.plant.sha256:
        text = f"is of the plant {other.plant.path.name} ({other.plant.title}), not of {inputs.plant.path.name}"
        way_out = "name scenarios of the plant that is tuned, or none"
        raise InputRefused(Problem(text, file=str(other.scenario.path), way_out=way_out))
    return cases


def unseen_cases(inputs: TuningInputs, paths: tuple[Path, ...], controller: str, base: object) -> CaseSet:
    """The cases of the proof: other scenarios, plants and chance than the search's."""
    return case_set(
        paths, controller, base, inputs.seed + PROOF_SEED, inputs.effort.proof_draws, first_draw=1, label="proof"
    )
