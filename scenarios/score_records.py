"""Scores as data: the figures of a run, their file, and how two runs compare."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING, Any

from scenarios.regulation import Settling
from scenarios.requirements import Violation

if TYPE_CHECKING:
    from pathlib import Path

FORMAT_VERSION = 1

PRESSURE, CYCLING, ENERGY, SAFETY = "pressure stability", "short-cycling", "energy", "safety"
GROUPS = (PRESSURE, CYCLING, ENERGY, SAFETY)
LOWER, HIGHER, NONE = "lower", "higher", "none"


def number_text(value: float) -> str:
    """Four figures without an exponent.

    >>> number_text(1234.56), number_text(0.0123456), number_text(0.0), number_text(12.0)
    ('1235', '0.01235', '0', '12')
    """
    if abs(value) >= 1000.0:
        text = f"{value:.0f}"
    else:
        text = f"{value:.4g}" if value == 0.0 or abs(value) >= 1e-4 else f"{value:.6f}"
    return _true_minus(text)


def fixed_text(value: float, decimals: int) -> str:
    """A number with so many decimals and a true minus sign; what rounds to zero has none.

    >>> fixed_text(-2.345, 1), fixed_text(-0.04, 1), fixed_text(12.0, 2)
    ('−2.3', '0.0', '12.00')
    """
    return _true_minus(f"{value:.{decimals}f}")


def _true_minus(text: str) -> str:
    return text.replace("-", "−" if any(digit in text for digit in "123456789") else "")


@dataclass(frozen=True, slots=True)
class Score:
    """One figure.  `direction` says what is better: "lower", "higher", or "none" for a plain fact."""

    name: str
    label: str
    group: str
    unit: str
    direction: str
    formula: str
    value: float | None  # None: not applicable in this run

    @property
    def text(self) -> str:
        """The value to four figures, without its unit; a dash where it does not apply."""
        return "–" if self.value is None else number_text(self.value)


@dataclass(frozen=True, slots=True)
class Scores:
    """All figures of a run, and what stands behind them."""

    values: tuple[Score, ...]
    settling: tuple[Settling, ...]
    violations: tuple[Violation, ...]
    skipped: tuple[str, ...]  # requirements that this controller gives no limits for
    window_ms: tuple[int, int] | None  # None: the machine never reached AUTOMATIC

    def __getitem__(self, name: str) -> Score:
        return next(score for score in self.values if score.name == name)

    def value(self, name: str) -> float | None:
        """The value of one score; None if it does not apply or is not there."""
        return next((score.value for score in self.values if score.name == name), None)

    def as_dict(self) -> dict[str, Any]:
        """As plain data, scores by name."""
        values = {s.name: {k: v for k, v in asdict(s).items() if k != "name"} for s in self.values}
        return {
            "format_version": FORMAT_VERSION,
            "window_ms": list(self.window_ms) if self.window_ms else None,
            "scores": values,
            "settling": [asdict(item) for item in self.settling],
            "violations": [asdict(item) for item in self.violations],
            "skipped": list(self.skipped),
        }

    def to_json(self) -> str:
        """The content of scores.json."""
        return json.dumps(self.as_dict(), indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def from_json(text: str) -> Scores:
    """Scores from the content of scores.json.  ValueError for another format."""
    data = json.loads(text)
    if not isinstance(data, dict) or data.get("format_version") != FORMAT_VERSION:
        raise ValueError(f"scores of format {FORMAT_VERSION} wanted")
    window = data["window_ms"]
    return Scores(
        tuple(Score(name=name, **rest) for name, rest in data["scores"].items()),
        tuple(Settling(**item) for item in data["settling"]),
        tuple(Violation(**item) for item in data["violations"]),
        tuple(data["skipped"]),
        (int(window[0]), int(window[1])) if window else None,
    )


def read_scores(folder: Path) -> Scores:
    """The scores of a run's folder.  OSError if it has none."""
    return from_json((folder / "scores.json").read_text(encoding="utf-8"))


def energy_at_equal_cooling_kwh(scores: Scores, reference: Scores) -> float | None:
    """Energy of a run scaled to the cooling that `reference` delivered: a fair comparison of two runs."""
    specific, cooling = scores.value("specific_energy_kwh_per_kwh"), reference.value("cooling_energy_kwh")
    return None if specific is None or cooling is None else specific * cooling


@dataclass(frozen=True, slots=True)
class Comparison:
    """One score of runs side by side; which of them is better, scenarios/score_differences.py says."""

    scores: tuple[Score, ...]

    @property
    def head(self) -> Score:
        """The score whose label, unit and direction stand for the line."""
        return self.scores[0]

    def change_text(self, k: int) -> str:
        """Change of run k against the first, in %; "" where that says nothing."""
        first, this = self.scores[0].value, self.scores[k].value
        if k == 0 or first is None or this is None or first == 0.0 or self.head.unit == "°C":
            return ""
        change = f"{100.0 * (this - first) / abs(first):+.1f} %"
        return "" if change in ("+0.0 %", "-0.0 %") else _true_minus(change)


def compare(runs: Sequence[Scores]) -> list[Comparison]:
    """Every score of the runs side by side, in order; with several runs also the energy at equal cooling."""
    out = []
    for head in runs[0].values:
        line = tuple(next((s for s in run.values if s.name == head.name), replace(head, value=None)) for run in runs)
        out.append(Comparison(line))
        if head.name == "specific_energy_kwh_per_kwh" and len(runs) > 1:
            equal = tuple(
                Score(
                    "energy_at_equal_cooling_kwh",
                    "energy at equal cooling",
                    ENERGY,
                    "kWh",
                    LOWER,
                    "energy per cooling × cooling delivered by the first run",
                    energy_at_equal_cooling_kwh(run, runs[0]),
                )
                for run in runs
            )
            out.append(Comparison(equal))
    return out
