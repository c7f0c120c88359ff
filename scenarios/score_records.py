"""Scores as data: the figures of a run, their file, and how two runs compare."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from scenarios.regulation import Settling
from scenarios.requirements import Violation

if TYPE_CHECKING:
    from pathlib import Path

FORMAT_VERSION = 1

PRESSURE, CYCLING, ENERGY, SAFETY = "pressure stability", "short-cycling", "energy", "safety"
GROUPS = (PRESSURE, CYCLING, ENERGY, SAFETY)
LOWER, HIGHER, NONE = "lower", "higher", "none"


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


def better(one: Score, other: Score) -> int:
    """+1 if `one` is better, −1 if `other` is, 0 if equal to four figures, a plain fact, or not known of both."""
    if one.direction == NONE or one.value is None or other.value is None:
        return 0
    if abs(one.value - other.value) <= 1e-4 * max(abs(one.value), abs(other.value)):
        return 0
    return 1 if (one.value < other.value) == (one.direction == LOWER) else -1


def energy_at_equal_cooling_kwh(scores: Scores, reference: Scores) -> float | None:
    """Energy of a run scaled to the cooling that `reference` delivered: a fair comparison of two runs."""
    specific, cooling = scores.value("specific_energy_kwh_per_kwh"), reference.value("cooling_energy_kwh")
    return None if specific is None or cooling is None else specific * cooling
