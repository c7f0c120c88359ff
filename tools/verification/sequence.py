"""The sequence recorder: the expected order of events as a list of steps, turned into a requirement for each step.

    [[sequence]]
    id = "STOP"
    text = "A normal stop"
    severity = "damage"
    begins = "rise(mode == UNLOADING)"
    [[sequence.step]]
    what = "capacity slide at minimum"          # for people
    see = "capacity_travel_measured <= 5 %"     # a step has come when this first holds
    within = "30 s"                             # after the step before it, or the one named by `after`
    not_before = "5 s"                          # never earlier; 0 s if not given: the order counts always
    tolerance = "1 s"                           # on both times
    after = "begin"                             # or the `what` of an earlier step

A step's time is counted from the first scan in which `begins` held; its margin is what is left of its time.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from scenarios.record_tables import unknown_keys
from scenarios.toml_source import KeyPath
from tools.verification.pack import Requirement
from tools.verification.terms import check_truth

if TYPE_CHECKING:
    from tools.verification.pack import PackReader

_KEYS = ("id", "text", "severity", "begins", "scenarios", "source", "shown_by", "step")
_STEP_KEYS = ("what", "see", "within", "not_before", "tolerance", "after")
BEGIN = "begin"


@dataclass(frozen=True, slots=True)
class Step:
    """One step as written.  Times are texts: quantities, or settings in braces."""

    what: str
    see: str
    within: str
    not_before: str
    tolerance: str
    after: str

    @property
    def latest(self) -> str:
        """The time in which it must have come after the step before it."""
        return f"{self.within} + {self.tolerance}"

    @property
    def earliest(self) -> str:
        """The time before which it must not come after the step before it."""
        return f"max(0 s, {self.not_before} - {self.tolerance})"


def read_sequence(reader: PackReader, key: KeyPath) -> list[Requirement]:
    """The requirements of one [[sequence]]; problems go to the reader's list."""
    unknown_keys(reader.source, key, _KEYS, reader.problems)
    before = len(reader.problems)
    head = reader.head(key)
    begins, begins_text = reader.formula((*key, "begins"), required=True)
    steps = _steps(reader, key)
    if len(reader.problems) > before or begins is None:
        return []
    out = []
    for k, step in enumerate(steps):
        text, sentence = step_formula(steps, k), _sentence(head["text"], step, k)
        formula = reader.attempt((*key, "step", k, "see"), text, lambda text=text: check_truth(text, reader.known))
        if formula is not None:
            own = {**head, "id": f"{head['id']}-{k + 1}", "text": sentence}
            own["line"] = reader.source.place((*key, "step", k))[0]
            out.append(Requirement(formula=formula, formula_text=text, when=begins, when_text=begins_text, **own))
    return out


def _steps(reader: PackReader, key: KeyPath) -> list[Step]:
    given = reader.source.get((*key, "step"))
    if not isinstance(given, list) or not given:
        reader.refuse((*key, "step"), "a sequence needs its [[sequence.step]], at least one", False)
        return []
    steps: list[Step] = []
    for k in range(len(given)):
        at: KeyPath = (*key, "step", k)
        unknown_keys(reader.source, at, _STEP_KEYS, reader.problems)
        what = reader.text((*at, "what"), required=True)
        reader.formula((*at, "see"), required=True)
        times = {}
        for name, default in (("within", ""), ("not_before", "0 s"), ("tolerance", "0 s")):
            text = reader.text((*at, name), required=not default) or default or "0 s"
            times[name] = f"({text})"
            # a time that cannot be read is told where it stands
            reader.attempt((*at, name), text, lambda text=text: check_truth(f"{text} >= 0 s", {}))
        names = [BEGIN, *(step.what for step in steps)]
        after = reader.text((*at, "after")) or names[-1]
        if after not in names:
            reader.refuse((*at, "after"), f'"{after}" is no earlier step: {", ".join(names)} are')
        if what in names:
            reader.refuse((*at, "what"), f'a second step "{what}"')
        steps.append(Step(what, f"({given[k].get('see', 'true')})", after=after, **times))
    return steps


def step_formula(steps: list[Step], k: int) -> str:
    """The formula that says that step k comes in its time after the step that it follows.

    Both are waited for from the begin, until the last moment at which step k may come.
    """
    chain = _chain(steps, k)
    last = " + ".join(f"({steps[i].latest})" for i in chain)
    came = f"wait({steps[k].see}, {last})"
    since = came if len(chain) == 1 else f"{came} - wait({steps[chain[1]].see}, {last})"
    late = f"{since} <= {steps[k].latest}"
    if len(chain) == 1 and steps[k].not_before == "(0 s)":
        return late  # it cannot come before the begin
    return f"{late} and {since} >= {steps[k].earliest}"


def _chain(steps: list[Step], k: int) -> list[int]:
    """Step k and those it follows, back to the begin."""
    names = [step.what for step in steps]
    out = [k]
    while steps[out[-1]].after != BEGIN:
        out.append(names.index(steps[out[-1]].after))
    return out


def _sentence(text: str, step: Step, k: int) -> str:
    late = step.within.strip("()")
    early = step.not_before.strip("()")
    slack = step.tolerance.strip("()")
    times = f"within {late}" + (f" and not before {early}" if early != "0 s" else "")
    times += f" (± {slack})" if slack != "0 s" else ""
    follows = "the begin" if step.after == BEGIN else f'"{step.after}"'
    return f"{text.rstrip('.')}, step {k + 1}: {step.what} {times} after {follows}."
