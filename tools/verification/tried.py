"""What attempts to make a scenario smaller have found, kept in a file, so that what was interrupted goes on."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from scenarios.settings_sheet import write_whole
from tools.verification.findings import Finding, Verdict
from tools.verification.scenario_copy import Part


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a run of a part says: the findings of what it breaks by id, and the ids of what it holds."""

    broken: dict[str, Finding] = field(default_factory=dict)
    held: frozenset[str] = frozenset()

    @staticmethod
    def of(findings: Iterable[Finding]) -> Outcome:
        """The outcome of a run with these findings."""
        every = list(findings)
        return Outcome(
            {one.id: one for one in every if one.verdict is Verdict.FAILED},
            frozenset(one.id for one in every if one.verdict is Verdict.HELD),
        )


Key = tuple[str, Part]  # whose run, and of what


class Tried:
    """Outcomes by whose run it was and of what part; kept in `path` as long as `stamp` stays what it is.

    Without a path or a stamp nothing is kept.
    """

    def __init__(self, path: Path | None, stamp: str) -> None:
        self.path, self.stamp = path if stamp else None, stamp
        self._found: dict[Key, Outcome] = self._read()

    def get(self, key: Key) -> Outcome | None:
        """What a run said; None where it was not run."""
        return self._found.get(key)

    def put(self, key: Key, outcome: Outcome) -> None:
        """Note what a run said."""
        self._found[key] = outcome
        if self.path is not None:
            runs = [_as_data(key, one) for key, one in self._found.items()]
            write_whole(self.path, json.dumps({"stamp": self.stamp, "runs": runs}, ensure_ascii=False))

    def _read(self) -> dict[Key, Outcome]:
        if self.path is None:
            return {}
        try:
            data = json.loads(self.path.read_text(encoding="utf-8"))
            return dict(map(_from_data, data["runs"])) if data["stamp"] == self.stamp else {}
        except (OSError, ValueError, KeyError, TypeError, AttributeError):
            return {}  # none, or none of this version: all is tried again


def _as_data(key: Key, outcome: Outcome) -> dict[str, Any]:
    who, part = key
    return {
        "who": who, **asdict(part), "held": sorted(outcome.held),
        "broken": [one.as_dict() for one in outcome.broken.values()],
    }  # fmt: skip


def _from_data(data: dict[str, Any]) -> tuple[Key, Outcome]:
    who, held, broken = data.pop("who"), data.pop("held"), data.pop("broken")
    findings = [Finding(**{**one, "verdict": Verdict(one["verdict"])}) for one in broken]
    part = Part(**{**data, "events": tuple(data["events"])})
    return (who, part), Outcome({one.id: one for one in findings}, frozenset(held))
