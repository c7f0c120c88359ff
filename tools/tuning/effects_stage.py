"""The sensitivity of the scores as a stage of a tuning run: on plants and chance of its own, kept like every other stage."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

from tools.tuning.executors import Executor
from tools.tuning.score_effects import ScoreEffects, score_effects
from tools.tuning.stage_files import StageFiles
from tools.tuning.study import Plan
from tools.tuning.trials import Context, Outcome
from tools.tuning.tuning_result import SettingRow

DRAWS_AT_MOST = 4  # plants; with eight scenarios 32 cases, and two trials a knob
LABEL = "effects"  # of the streams of chance: the search's own cases would flatter what it chose


def effects_stage(
    plan: Plan,
    vector: Sequence[float],
    stages: StageFiles,
    make: Callable[[Context], Executor],
    progress: Callable[[float], None] | None = None,
) -> ScoreEffects:
    """Effects of the searched settings round a chosen vector, from the stage's file or computed and kept."""
    cases = plan.context.case_set
    own = replace(cases, label=LABEL, draws=min(cases.draws, DRAWS_AT_MOST), first_draw=0)
    # round the chosen settings themselves: what held a candidate to the limits would undo the step of a setting
    chosen = plan.context.space.settings(vector)
    space = replace(plan.context.space, base=chosen, repair=None)
    vector = tuple(float(v) for v in space.vector(chosen))
    context = replace(plan.context, case_set=own, space=space)
    made_of: dict[str, Any] = {"study": plan.facts(), "vector": list(vector), "draws": own.draws, "label": LABEL}

    def known(number: int) -> Outcome | None:
        found: Outcome | None = stages.find(f"effects/{number:03d}", made_of, Outcome)
        return found

    def keep(outcome: Outcome) -> None:
        stages.keep(f"effects/{outcome.number:03d}", made_of, outcome)

    return score_effects(context, vector, make, progress, known, keep)


def with_effects(rows: Sequence[SettingRow], effects: ScoreEffects) -> tuple[SettingRow, ...]:
    """The rows of a sheet with what is known of each setting's effects."""
    return tuple(replace(row, effects=effects.by_path.get(row.path, ())) for row in rows)
