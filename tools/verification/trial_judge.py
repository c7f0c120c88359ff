"""Plays trials of a hunt and judges them."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from pathlib import Path

from scenarios.preparation import SCAN_MS, Prepared, prepare
from scenarios.trace import Trace
from tools.verification.findings import Finding, Verdict, judge
from tools.verification.ground import Ground
from tools.verification.lacks import lack_of
from tools.verification.monitor import Monitor, NotApplicable
from tools.verification.pack import Pack
from tools.verification.trial import Trial

NAME = "hunt.toml"  # fits no requirement that is meant for some scenarios only

Player = Callable[[Prepared], tuple[Trace, str]]


def player_of(work: Path) -> Player:
    """Runs a prepared trial as `twoslide run` does."""
    from scenarios.runner import play_prepared

    def play(prepared: Prepared) -> tuple[Trace, str]:
        with tempfile.TemporaryDirectory(dir=work) as folder:
            trace, failure, *_ = play_prepared(prepared, Path(folder))
        return trace, failure

    return play


class Judge:
    """Plays trials and judges them; each trial once."""

    def __init__(self, ground: Ground, pack: Pack, work: Path, player: Player) -> None:
        self.ground, self.pack, self.work, self.player = ground, pack, work, player
        self.runs = 0
        self._known: dict[Trial, list[Finding]] = {}
        self._lacks: dict[Trial, dict[str, float]] = {}

    def __call__(self, trial: Trial) -> list[Finding]:
        """The findings of a trial."""
        found = self._known.get(trial)
        if found is None:
            found = self._known[trial] = self._played(trial)
            self.runs += 1
        return found

    def lacks(self, trial: Trial) -> dict[str, float]:
        """What a trial that has been played lacks of exercising each requirement that it did not exercise."""
        return self._lacks.get(trial, {})

    def _played(self, trial: Trial) -> list[Finding]:
        path = self.work / NAME
        self.ground.write(trial, path)
        prepared = prepare([path], log_ms=SCAN_MS)[0]
        trace, _ = self.player(prepared)
        try:
            monitor = Monitor(trace, self.ground.limits(prepared))
        except NotApplicable as reason:
            return [Finding(one.id, Verdict.NOT_APPLICABLE, reason=str(reason)) for one in self.pack.requirements]
        found = [judge(monitor, one, NAME) for one in self.pack.requirements]
        lacking = [one.id for one in found if one.verdict is Verdict.NOT_EXERCISED]
        lacks = {name: lack_of(monitor, self.pack[name]) for name in lacking}
        self._lacks[trial] = {name: lack for name, lack in lacks.items() if lack is not None}
        return found
