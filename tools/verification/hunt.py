"""The hunt: a search for the sequence of happenings that breaks a requirement, or comes nearest to it.

It works in rounds, each its own seed (hunt_round.py).  In a round hypothesis draws sequences and, where one breaks a
requirement, shrinks it to the smallest that still does; then an optimiser moves times and sizes of the sequence that came
nearest to a requirement that held.  A finished round is kept with the time that it took: an interrupted hunt goes on, and
the same seed gives the same rounds, whatever the number of processes.

    found = run(ground, seed=1, folder=folder, budget_s=300.0, jobs=2)

An engineering aid on a simulated plant: what was not found is not shown to be absent; `zero_failure` says how much the
drawn trials say.
"""

from __future__ import annotations

import hashlib
import json
import os
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any

from scenarios.errors import InputRefused, Problem
from scenarios.preparation import SCAN_MS, prepare
from scenarios.settings_sheet import write_whole
from scenarios.zero_failures import Bound, bound_of
from tools.verification.ground import Ground
from tools.verification.hunt_round import Nearest, Round, one_round
from tools.verification.pack import Pack, load_pack
from tools.verification.trial import CONDENSING_K, LOAD_PCT, SUCTION_K, Trial, from_dict
from tools.verification.trial_judge import NAME, Player
from tools.verification.workers import follow

FORMAT = 2


@dataclass(slots=True)
class Found:
    """What all rounds so far say together."""

    rounds: int = 0
    drawn: int = 0
    failed_drawn: int = 0
    runs: int = 0
    broken: dict[str, Trial] = field(default_factory=dict)
    nearest: dict[str, Nearest] = field(default_factory=dict)
    exercised: dict[str, int] = field(default_factory=dict)

    def add(self, one: Round) -> None:
        """Take a round in; the order of rounds does not matter."""
        self.rounds += 1
        self.drawn += one.drawn
        self.failed_drawn += one.failed_drawn
        self.runs += one.runs
        for name, trial in one.broken.items():
            if name not in self.broken or trial.size < self.broken[name].size:
                self.broken[name] = trial
        for name, near in one.nearest.items():
            if name not in self.nearest or near.share < self.nearest[name].share:
                self.nearest[name] = near
        for name, times in one.exercised.items():
            self.exercised[name] = self.exercised.get(name, 0) + times

    @property
    def zero_failure(self) -> Bound | None:
        """What the independent draws say of all such trials; None before the first."""
        fails = [True] * self.failed_drawn + [False] * (self.drawn - self.failed_drawn)
        return bound_of(fails) if fails else None

    @property
    def bound_words(self) -> str:
        """That bound in words."""
        bound = self.zero_failure
        if bound is None:
            return "no independent draw yet"
        share = f"{100 * bound.at_most:.2g} % of all such draws at {100 * bound.confidence:g} %"
        return f"{bound.cases} independent draws, {bound.failures} broke a requirement: at most {share}"


def stamp_of(ground: Ground, seed: int, pack: Pack) -> str:
    """What kept rounds must agree in: a hash over everything that they came from."""
    from scenarios.kernel_cache import source_hash

    files = [ground.plant, *([ground.sheet] if ground.sheet else [])]
    file = ground.controller.rpartition(":")[0] or ground.controller
    files += [Path(file)] if Path(file).is_file() else []
    here = sorted(Path(__file__).parent.glob("*.py"))
    parts = [hashlib.sha256(path.read_bytes()).hexdigest() for path in (*files, *here)]
    return hashlib.sha256(
        json.dumps([FORMAT, ground.controller, seed, pack.sha256, source_hash(), parts]).encode()
    ).hexdigest()


def _round_data(one: Round) -> dict[str, Any]:
    data = asdict(one)
    data["broken"] = {name: trial.as_dict() for name, trial in one.broken.items()}
    data["nearest"] = {n: [x.share, x.margin, x.unit, x.trial.as_dict()] for n, x in one.nearest.items()}
    return data


def _round_from(data: dict[str, Any]) -> Round:
    broken = {name: from_dict(trial) for name, trial in data.pop("broken").items()}
    nearest = {n: Nearest(s, m, u, from_dict(t)) for n, (s, m, u, t) in data.pop("nearest").items()}
    return Round(**data, broken=broken, nearest=nearest)


def kept_rounds(folder: Path, stamp: str) -> dict[int, tuple[Round, float]]:
    """The finished rounds in a folder that came from the same inputs, and the seconds that each took."""
    found = {}
    for path in sorted((folder / "rounds").glob("*.json")) if folder.is_dir() else []:
        try:
            data = json.loads(path.read_text(encoding="utf-8"))
            if data.pop("stamp") == stamp:
                spent_s = float(data.pop("spent_s"))
                one = _round_from(data)
                found[one.number] = one, spent_s
        except (OSError, ValueError, KeyError, TypeError):
            continue  # none of this version: it is done again
    return found


def _timed(
    ground: Ground, seed: int, number: int, pack: Pack | None = None, player: Player | None = None
) -> tuple[Round, float]:
    """One round, in a process of the pool too, and the seconds that it took."""
    began = time.monotonic()
    one = one_round(ground, seed, number, pack or load_pack(list(ground.packs) or None), player)
    return one, time.monotonic() - began


def run(
    ground: Ground, seed: int, folder: Path | None, budget_s: float, jobs: int = 1,
    progress: Callable[[Found, float], None] | None = None, player: Player | None = None, stop_at_first: bool = False,
) -> Found:  # fmt: skip
    """Hunt for a time.  Rounds that `folder` keeps from the same inputs count, with the time that they took, and are not
    done again: an interrupted hunt has what is left of its time.

    stop_at_first: end with the first round that broke something.  Raises InputRefused for a plant, sheet or controller
    that does not go together.
    """
    pack = load_pack(list(ground.packs) or None)
    _check(ground)
    stamp = stamp_of(ground, seed, pack)
    kept = {} if folder is None else kept_rounds(folder, stamp)
    out = Found()
    for number in sorted(kept):
        out.add(kept[number][0])
    until = time.monotonic() + budget_s - sum(spent_s for _, spent_s in kept.values()) / jobs
    for one, spent_s in _rounds(ground, seed, pack, set(kept), until, jobs, player):
        out.add(one)
        if folder is not None:
            text = json.dumps({"stamp": stamp, "spent_s": round(spent_s, 3), **_round_data(one)})
            write_whole(folder / "rounds" / f"{one.number:05d}.json", text)
        if progress:
            progress(out, min(1.0, 1.0 - (until - time.monotonic()) / budget_s))
        if stop_at_first and out.broken:
            break
    return out


def _rounds(
    ground: Ground, seed: int, pack: Pack, kept: set[int], until: float, jobs: int, player: Player | None
) -> Iterator[tuple[Round, float]]:
    """Rounds that are not kept yet, while there is time; a round that has begun is finished."""
    number = 0

    def following() -> int:
        nonlocal number
        while number in kept:
            number += 1
        number += 1
        return number - 1

    if jobs <= 1 or player is not None:
        while time.monotonic() < until:
            yield _timed(ground, seed, following(), pack, player)
        return
    from concurrent.futures import FIRST_COMPLETED, ProcessPoolExecutor, wait
    from multiprocessing import get_context

    if time.monotonic() >= until:
        return
    pool = ProcessPoolExecutor(jobs, get_context("spawn"), follow, (os.getpid(),))
    try:
        waiting = {pool.submit(_timed, ground, seed, following()) for _ in range(jobs)}
        while waiting:
            done, waiting = wait(waiting, return_when=FIRST_COMPLETED)
            for future in done:
                if time.monotonic() < until:
                    waiting.add(pool.submit(_timed, ground, seed, following()))
                yield future.result()
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def _check(ground: Ground) -> None:
    """Refuse what cannot be hunted on, before the first round."""
    with tempfile.TemporaryDirectory(prefix="twoslide-hunt-") as folder:
        path = Path(folder) / NAME
        for start in zip(LOAD_PCT, CONDENSING_K, SUCTION_K, strict=True):
            trial = Trial(*start, 0, ())
            ground.write(trial, path)
            try:
                prepared = prepare([path], log_ms=SCAN_MS)[0]
            except InputRefused as error:
                problems = [replace(p, file="" if p.file == str(path) else p.file) for p in error.problems]
                raise InputRefused(problems) from error
            if getattr(ground.limits(prepared), "common", None) is None and not ground.packs:
                raise InputRefused(
                    Problem(
                        f"{ground.controller} tells no limits, so most shipped requirements cannot be asked of it",
                        way_out="give it the sheet of a shipped controller, or a pack of your own",
                    )
                )
