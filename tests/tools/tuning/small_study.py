"""A study of a few seconds: two invented scenarios of ten minutes on the demo plant, two plant draws.

As a script: small_study.py FOLDER TRIALS JOBS runs it and prints the number of each trial once it is kept.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import scenarios
from scenarios.demo_sheets import demo_settings
from tools.tuning.budget import Budget
from tools.tuning.cases import CaseSet, case_set
from tools.tuning.executors import Executor, InProcess, LocalProcesses
from tools.tuning.space import space_of
from tools.tuning.study import Plan, Start, StudyResult, run_study
from tools.tuning.trials import Constraints, Context, Outcome

LIBRARY = Path(scenarios.__file__).parent / "library"
SCENARIO = """title = "{title}"
purpose = "invented, for tests"
expects = "nothing in particular"
plant = "{library}/plants/harrow_ness.toml"
controller = "scheduled_pi"
settings = "{library}/sheets/demo_scheduled_pi.toml"
duration = "{minutes} min"
seed = {seed}
[start]
machine = "running"
load = "{load} kW"
[[event]]
kind = "load_step"
at = "2 min"
change = "{change} kW"
"""


def write_scenarios(folder: Path, minutes: int = 10, prefix: str = "s") -> list[Path]:
    """Two scenario files."""
    folder.mkdir(parents=True, exist_ok=True)
    out = []
    for k, (load, change) in enumerate(((280, 90), (340, -110))):
        path = folder / f"{prefix}{k}.toml"
        text = SCENARIO.format(
            title=f"{prefix}{k}", library=LIBRARY.as_posix(), minutes=minutes, seed=k + 1, load=load, change=change
        )
        path.write_text(text, encoding="utf-8")
        out.append(path)
    return out


def small_cases(folder: Path, controller: str = "scheduled_pi", draws: int = 2, **more: Any) -> CaseSet:
    """Their cases."""
    return case_set(write_scenarios(folder), controller, demo_settings(controller), 5, draws, **more)


def small_plan(folder: Path, controller: str = "scheduled_pi", population: int = 8, **limits: Any) -> Plan:
    """The study, with a start beside the base sheet where the controller is the scheduled PI."""
    cases = small_cases(folder, controller)
    base = cases.base
    starts = ()
    if controller == "scheduled_pi":
        starts = (Start("twice the band", replace(base, pi=replace(base.pi, proportional_band_kpa=110.0))),)
    return Plan(Context(cases, space_of(controller, base), Constraints(**limits)), starts, population)


def run_small(folder: Path, trials: int, jobs: int = 0, plan: Plan | None = None, watch: Any = None) -> StudyResult:
    """Run or resume it; jobs 0 is in this process."""

    def make(context: Context) -> Executor:
        return LocalProcesses(context, jobs) if jobs else InProcess(context)

    return run_study(plan or small_plan(folder.parent / "scenarios"), folder, Budget(trials=trials), make, watch)


class _Printer:
    def __init__(self) -> None:
        self.known: set[int] = set()

    def begin(self, budget: Budget, done: int, spent_s: float) -> None:
        print("begun", flush=True)

    def update(self, outcomes: Sequence[Outcome], spent_s: float) -> None:
        for outcome in outcomes:
            if outcome.number not in self.known:
                print(outcome.number, flush=True)
        self.known |= {o.number for o in outcomes}


if __name__ == "__main__":
    run_small(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]), watch=_Printer())
