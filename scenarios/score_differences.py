"""Two runs' scores against each other: each difference with its sign, what it means, and from where on it counts.

What counts as a difference is said in one place, scenarios/group_verdicts.py, for the figures that it knows.  A score
that is the same thing in another unit (kPa beside K, a margin beside its share) goes by that; any other one differs from
the least share on by which a figure of its group does.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from scenarios.finished_runs import Match
from scenarios.group_verdicts import (
    BETTER,
    EQUAL,
    FIGURES,
    NOT_COMPARABLE,
    VERDICTS,
    WORSE,
    GroupVerdict,
    group_verdicts,
)
from scenarios.score_records import HIGHER, NONE, Comparison, Score, Scores, compare, number_text

DIFFERENT, UNKNOWN = "different", "only one has it"
RULE = "equal: no more than ten seeds of one scenario scatter, or than the meters of a plant tell"  # for users
TOLERANCES = {
    name: figure for figures in FIGURES.values() for figure in figures for name in figure.scores
}  # of a figure that is the sum of several scores, each score has the figure's tolerance
SHARES = {group: min(f.frac for f in figures if f.frac > 0.0) for group, figures in FIGURES.items()}
_TEMPERATURE_K = 0.1  # a share of a temperature in °C says nothing; common practice, no source
TWINS = {
    "suction_deviation_rms_kpa": "suction_deviation_rms_k",
    "suction_deviation_peak_kpa": "suction_deviation_peak_k",
}
LIKE = {"suction_deviation_rms_automatic_k": "suction_deviation_rms_k"}  # scatters as that one does


@dataclass(frozen=True, slots=True)
class Difference:
    """One score of a run against the first run's.

    meaning: better, worse, equal (within `tolerance`, in the score's unit), different (a plain fact), unknown, or not
    comparable (breaches counted where a controller tells no limits).
    """

    change: float | None
    tolerance: float
    meaning: str
    upward: bool = True  # the change is to the better side, however small

    @property
    def text(self) -> str:
        """The change with its sign, "" where there is none to tell."""
        if self.change is None:
            return ""
        return "±0" if self.change == 0.0 else f"{'+' if self.change > 0.0 else ''}{number_text(self.change)}"

    @property
    def units(self) -> float:
        """The change as multiples of what counts as a difference, positive = better; 0 for a plain fact."""
        if self.change is None or self.meaning not in (BETTER, WORSE, EQUAL):
            return 0.0
        size = abs(self.change) / self.tolerance if self.tolerance > 0.0 else float(self.change != 0.0)
        return size if self.meaning == BETTER or (self.meaning == EQUAL and self.upward) else -size


@dataclass(frozen=True, slots=True)
class Line:
    """A score of all runs of a match; `differences[0]` belongs to the first run and says nothing."""

    scores: tuple[Score, ...]
    differences: tuple[Difference, ...]
    twins: tuple[Score | None, ...]  # the same of each run in the unit that a tolerance is known for

    @property
    def head(self) -> Score:
        """The score whose label, unit and direction stand for the line."""
        return self.scores[0]

    @property
    def best(self) -> int | None:
        """The run that is better than every other by more than the tolerance; None if none is, or there is one only."""
        if any(one.meaning == NOT_COMPARABLE for one in self.differences):
            return None
        for k in range(len(self.scores)):
            others = [j for j in range(len(self.scores)) if j != k]
            if others and all(self._sign(k, j) > 0 for j in others):
                return k
        return None

    def change_text(self, k: int) -> str:
        """Change of run k against the first, in %; "" where that says nothing."""
        return Comparison(self.scores).change_text(k)

    def mark(self, k: int) -> str:
        """ "✓" for the best run, "=" for one that equals the first within the tolerance, else ""."""
        if self.best == k:
            return "✓"
        known = self.head.direction != NONE and self.differences[k].change is not None
        return "=" if k and known and self.differences[k].meaning == EQUAL else ""

    def _sign(self, k: int, j: int) -> int:
        """+1 if run k is better than run j; the earlier one is what the other is compared with."""
        first, this = min(k, j), max(k, j)
        found = difference(self.scores[first], self.scores[this], (self.twins[first], self.twins[this]))
        sign = {BETTER: 1, WORSE: -1}.get(found.meaning, 0)
        return sign if this == k else -sign


def _twin(name: str) -> str:
    """The score that says the same in the unit that a tolerance is known for; "" if there is none."""
    return TWINS.get(name) or (f"{name.partition('_margin_')[0]}_margin_pct" if "_margin_" in name else "")


def _tolerance(first: Score, value: float, this: float) -> float:
    figure = TOLERANCES.get(LIKE.get(first.name, first.name))
    if figure:
        return max(figure.least, figure.frac * abs(value))
    if first.unit == "°C":
        return _TEMPERATURE_K
    return SHARES[first.group] * max(abs(value), abs(this))


def difference(first: Score, this: Score, twins: tuple[Score | None, Score | None] = (None, None)) -> Difference:
    """What `this` is against `first`.

    twins: the scores of both runs that say the same in the unit that a tolerance is known for; their meaning is taken,
    so that one thing is not better in K and equal in kPa.
    """
    if first.value is None or this.value is None:
        return Difference(None, 0.0, EQUAL if first.value is this.value else UNKNOWN)
    change = this.value - first.value
    one, other = twins
    if one is not None and other is not None and one.value is not None and other.value is not None:
        twin = difference(one, other)
        scale = abs(change / twin.change) if twin.change else 0.0
        return Difference(change, twin.tolerance * scale, twin.meaning, twin.upward)
    tolerance = _tolerance(first, first.value, this.value)
    upward = (change > 0.0) == (first.direction == HIGHER)
    if abs(change) <= tolerance:
        return Difference(change, tolerance, EQUAL, upward)
    if first.direction == NONE:
        return Difference(change, tolerance, DIFFERENT)
    return Difference(change, tolerance, BETTER if upward else WORSE, upward)


def lines_between(runs: Sequence[Scores]) -> list[Line]:
    """Every score that applies to at least one of the runs, in the order of the groups; differences from the first."""
    by_name = [{score.name: score for score in run.values} for run in runs]
    out = []
    for line in compare(runs):
        if all(score.value is None for score in line.scores):
            continue
        twin = _twin(line.head.name)
        found = tuple(one.get(twin) if twin != line.head.name else None for one in by_name)
        differences = tuple(difference(line.head, s, (found[0], found[k])) for k, s in enumerate(line.scores))
        if line.head.name == "violations_count":
            differences = tuple(
                Difference(d.change, 0.0, NOT_COMPARABLE) if k and (runs[0].skipped or runs[k].skipped) else d
                for k, d in enumerate(differences)
            )
        out.append(Line(line.scores, differences, found))
    return out


def lines_of(match: Match) -> list[Line]:
    """The same of a match's runs."""
    return lines_between([run.scores for run in match.runs])


def verdicts_of(match: Match) -> list[tuple[str, tuple[GroupVerdict, ...]]]:
    """For each run but the first, its name and what each group of scores says of it against the first."""
    first = match.runs[0].scores
    return [(n, group_verdicts(first, run.scores)) for n, run in zip(match.names[1:], match.runs[1:], strict=True)]


def counts(matches: Sequence[Match]) -> dict[str, dict[str, dict[str, int]]]:
    """Run name → group → how many scenarios are better than, equal to, worse than the first run, or not comparable."""
    out: dict[str, dict[str, dict[str, int]]] = {}
    for match in matches:
        for name, verdicts in verdicts_of(match):
            for verdict in verdicts:
                row = out.setdefault(name, {}).setdefault(verdict.group, dict.fromkeys(VERDICTS, 0))
                row[verdict.verdict] += 1
    return out
