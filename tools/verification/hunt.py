"""The hunt: a search for the sequence of happenings that breaks a requirement, or comes nearest to it.

It works in rounds, each its own seed.  In a round hypothesis draws sequences and, where one breaks a requirement, shrinks
it to the smallest that still does; then an optimiser moves times and sizes of the sequence that came nearest to a
requirement that held.  A finished round is kept: an interrupted hunt goes on, and the same seed gives the same rounds,
whatever the number of processes.

    hunt = Hunt(ground, seed=1)
    for found in hunt.run(folder, budget_s=300.0, jobs=2): ...

The controller's 32-bit clock wraps in the middle of every trial.  An engineering aid on a simulated plant: what was not
found is not shown to be absent; `zero_failure` says how much the drawn trials say.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import math
import random
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any

from controller.contract import TIME_MASK
from scenarios.chance import generator
from scenarios.errors import InputRefused, Problem
from scenarios.preparation import SCAN_MS, Prepared, prepare
from scenarios.settings_sheet import write_whole
from scenarios.trace import Trace
from scenarios.zero_failures import Bound, bound_of
from tools.verification.findings import Finding, Verdict, evaluate
from tools.verification.pack import Pack, load_pack
from tools.verification.trial import (
    CONDENSING_C,
    LAST_S,
    LOAD_KW,
    MOST_HAPPENINGS,
    NAMES,
    TEMPLATES,
    Happening,
    Trial,
    from_dict,
    scenario_text,
)

TRIALS_A_ROUND = 12
SHRINKS_AT_MOST = 150  # runs that making one failure smaller may take
MOVES_A_ROUND = 16
WRAPS_AT_MS = 700_000  # into the trial: the machine is in service then
NAME = "hunt.toml"  # fits no requirement that is meant for some scenarios only
FORMAT = 1
_NO_MARGIN = 1e-6

Player = Callable[[Prepared], tuple[Trace, str]]


@dataclass(frozen=True, slots=True)
class Ground:
    """What is hunted on: plant, controller and sheet; packs to judge by."""

    plant: Path
    controller: str
    sheet: Path | None
    packs: tuple[Path, ...] = ()

    def text(self, trial: Trial, folder: Path, title: str = "A trial of the hunt") -> str:
        """A trial as a scenario file."""
        return scenario_text(trial, self.plant, self.controller, self.sheet, folder, title)


@dataclass(slots=True)
class Nearest:
    """How near a requirement came to breaking, and in which trial."""

    share: float
    margin: float
    unit: str
    trial: Trial


@dataclass(slots=True)
class Round:
    """What one round found.  drawn: independent trials; failed_drawn: those of them that broke something; runs: all."""

    number: int
    drawn: int = 0
    failed_drawn: int = 0
    runs: int = 0
    broken: dict[str, Trial] = field(default_factory=dict)  # requirement: the smallest trial that breaks it
    nearest: dict[str, Nearest] = field(default_factory=dict)
    exercised: dict[str, int] = field(default_factory=dict)  # requirement: trials in which it counted


class _Broken(AssertionError):
    """A trial broke a requirement."""


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

    def __call__(self, trial: Trial) -> list[Finding]:
        """The findings of a trial."""
        found = self._known.get(trial)
        if found is None:
            path = self.work / NAME
            path.write_text(self.ground.text(trial, self.work), encoding="utf-8")
            prepared = prepare([path], log_ms=SCAN_MS)[0]
            prepared = replace(prepared, clock_offset_ms=TIME_MASK + 1 - WRAPS_AT_MS)
            trace, _ = self.player(prepared)
            found = evaluate(self.pack, trace, prepared.settings, NAME)
            self._known[trial] = found
            self.runs += 1
        return found


def _failed(found: list[Finding]) -> list[str]:
    return [one.id for one in found if one.verdict is Verdict.FAILED]


def _strategy() -> Any:
    from hypothesis import strategies as st

    def happening(name: str) -> Any:
        sizes = [st.integers(low, high) for _, low, high in TEMPLATES[name].sizes]
        return st.builds(lambda at_s, row: Happening(name, at_s, row), st.integers(0, LAST_S), st.tuples(*sizes))

    some = st.sampled_from(NAMES).flatmap(happening)
    return st.builds(
        lambda load_kw, condensing_c, seed, row: Trial(load_kw, condensing_c, seed, tuple(row)),
        st.integers(*LOAD_KW),
        st.integers(*CONDENSING_C),
        st.integers(0, 99),
        st.lists(some, min_size=1, max_size=MOST_HAPPENINGS),
    )


def draw(rng: random.Random) -> Trial:
    """One independent trial: what the zero-failure bound counts."""
    happenings = []
    for _ in range(rng.randint(1, MOST_HAPPENINGS)):
        name = rng.choice(NAMES)
        sizes = tuple(rng.randint(low, high) for _, low, high in TEMPLATES[name].sizes)
        happenings.append(Happening(name, rng.randint(0, LAST_S), sizes))
    return Trial(rng.randint(*LOAD_KW), rng.randint(*CONDENSING_C), rng.randint(0, 99), tuple(happenings))


def one_round(ground: Ground, seed: int, number: int, pack: Pack, player: Player | None = None) -> Round:
    """One round, by itself: independent draws, sequences by hypothesis, then sizes by an optimiser."""
    out = Round(number)
    with tempfile.TemporaryDirectory(prefix="twoslide-hunt-") as folder:
        judge = Judge(ground, pack, Path(folder), player or player_of(Path(folder)))
        rng = random.Random(int(generator(seed, f"hunt {number}").integers(2**62)))
        for _ in range(TRIALS_A_ROUND // 2):
            trial = draw(rng)
            out.drawn += 1
            out.failed_drawn += bool(_note(out, trial, judge(trial)))
        _sequences(out, judge, rng.getrandbits(60))
        _sizes(out, judge, number)
        for name in sorted(out.broken):
            _shrink(out, name, judge)
        out.runs = judge.runs
    return out


def _note(out: Round, trial: Trial, found: list[Finding]) -> list[str]:
    """Keep what a trial says; the requirements that it broke."""
    failed = _failed(found)
    for name in failed:
        if name not in out.broken or trial.size < out.broken[name].size:
            out.broken[name] = trial
    for one in found:
        if one.exercised:
            out.exercised[one.id] = out.exercised.get(one.id, 0) + 1
        if (
            one.verdict is Verdict.HELD
            and one.share is not None
            and one.margin is not None
            and math.isfinite(one.share)
        ):
            known = out.nearest.get(one.id)
            if known is None or one.share < known.share:
                out.nearest[one.id] = Nearest(one.share, one.margin, one.unit, trial)
    return failed


def _sequences(out: Round, judge: Judge, chance: int) -> None:
    """Hypothesis draws and shrinks; one exception type a requirement, so that it shrinks one failure and not another."""
    from hypothesis import HealthCheck, Phase, given, seed, settings
    from hypothesis.errors import HypothesisException

    started = judge.runs

    @seed(chance)
    @settings(
        max_examples=TRIALS_A_ROUND // 2, database=None, deadline=None, derandomize=False, report_multiple_bugs=False,
        phases=(Phase.generate, Phase.shrink), suppress_health_check=list(HealthCheck), print_blob=False,
    )  # fmt: skip
    @given(_strategy())
    def probe(trial: Trial) -> None:
        if judge.runs - started > SHRINKS_AT_MOST + TRIALS_A_ROUND:
            return
        failed = _note(out, trial, judge(trial))
        if failed:
            raise type(f"Broken_{failed[0]}", (_Broken,), {})(failed[0])

    # what broke is noted; a shrink that was cut short says that it is flaky
    with contextlib.suppress(_Broken, HypothesisException, ExceptionGroup):
        probe()


def _shrink(out: Round, name: str, judge: Judge) -> None:
    """Leave happenings out of the smallest trial that breaks a requirement, as long as it still does."""
    smaller = True
    while smaller:
        smaller = False
        small = out.broken[name]
        for k in range(len(small.happenings) if len(small.happenings) > 1 else 0):
            rest = small.happenings[:k] + small.happenings[k + 1 :]
            shorter = replace(small, happenings=rest)
            if name in _note(out, shorter, judge(shorter)):
                smaller = True
                break


def _sizes(out: Round, judge: Judge, number: int) -> None:
    """Move times and sizes of a trial that came near, to bring it nearer: another requirement each round."""
    from scipy.optimize import minimize

    # a margin of nothing at all is an equality that holds ("not above the last one"): there is nothing to gain on it
    able = [name for name, near in out.nearest.items() if name not in out.broken and near.share > _NO_MARGIN]
    ranked = sorted(able, key=lambda name: out.nearest[name].share)
    if not ranked:
        return
    name = ranked[number % min(len(ranked), 8)]
    base = out.nearest[name].trial
    values, ranges = base.numbers()
    spans = [max(1, high - low) for low, high in ranges]

    def share(row: Any) -> float:
        trial = base.moved([low + span * v for (low, _), span, v in zip(ranges, spans, row, strict=True)])
        found = judge(trial)
        _note(out, trial, found)
        one = next(f for f in found if f.id == name)
        return one.share if one.share is not None and one.exercised and math.isfinite(one.share) else 10.0

    start = [(v - low) / span for v, (low, _), span in zip(values, ranges, spans, strict=True)]
    simplex = [start] + [
        [x + (0.08 if x < 0.5 else -0.08) * (k == j) for j, x in enumerate(start)] for k in range(len(start))
    ]
    minimize(
        share, start, method="Nelder-Mead",
        options={"maxfev": MOVES_A_ROUND, "initial_simplex": simplex, "xatol": 1e-3, "fatol": 1e-4},
    )  # fmt: skip


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


def kept_rounds(folder: Path, stamp: str) -> dict[int, Round]:
    """The finished rounds in a folder that came from the same inputs."""
    found = {}
    for path in sorted((folder / "rounds").glob("*.json")) if folder.is_dir() else []:
        try:
            data = json.loads(path.read_text(encoding="utf-8"))
            if data.pop("stamp") == stamp:
                one = _round_from(data)
                found[one.number] = one
        except (OSError, ValueError, KeyError, TypeError):
            continue  # none of this version: it is done again
    return found


def _work(ground: Ground, seed: int, number: int) -> Round:
    """One round in a process of the pool."""
    return one_round(ground, seed, number, load_pack(list(ground.packs) or None))


def run(
    ground: Ground, seed: int, folder: Path | None, budget_s: float, jobs: int = 1,
    progress: Callable[[Found, float], None] | None = None, player: Player | None = None, stop_at_first: bool = False,
) -> Found:  # fmt: skip
    """Hunt for a time.  Rounds that `folder` keeps from the same inputs count, and are not done again.

    stop_at_first: end with the first round that broke something.  Raises InputRefused for a plant, sheet or controller
    that does not go together.
    """
    pack = load_pack(list(ground.packs) or None)
    _check(ground)
    stamp = stamp_of(ground, seed, pack)
    kept = {} if folder is None else kept_rounds(folder, stamp)
    out, began = Found(), time.monotonic()
    for number in sorted(kept):
        out.add(kept[number])
    for one in _rounds(ground, seed, pack, kept, began + budget_s, jobs, player):
        out.add(one)
        if folder is not None:
            write_whole(folder / "rounds" / f"{one.number:05d}.json", json.dumps({"stamp": stamp, **_round_data(one)}))
        if progress:
            progress(out, min(1.0, (time.monotonic() - began) / budget_s))
        if stop_at_first and out.broken:
            break
    return out


def _rounds(
    ground: Ground, seed: int, pack: Pack, kept: dict[int, Round], until: float, jobs: int, player: Player | None
) -> Iterator[Round]:
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
            yield one_round(ground, seed, following(), pack, player)
        return
    from concurrent.futures import FIRST_COMPLETED, ProcessPoolExecutor, wait
    from multiprocessing import get_context

    pool = ProcessPoolExecutor(jobs, get_context("spawn"), _quiet)
    try:
        waiting = {pool.submit(_work, ground, seed, following()) for _ in range(jobs)}
        while waiting:
            done, waiting = wait(waiting, return_when=FIRST_COMPLETED)
            for future in done:
                if time.monotonic() < until:
                    waiting.add(pool.submit(_work, ground, seed, following()))
                yield future.result()
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def _quiet() -> None:
    """A worker leaves Ctrl-C to its parent, which asks for no more work."""
    import signal

    signal.signal(signal.SIGINT, signal.SIG_IGN)


def _check(ground: Ground) -> None:
    """Refuse what cannot be hunted on, before the first round."""
    with tempfile.TemporaryDirectory(prefix="twoslide-hunt-") as folder:
        path = Path(folder) / NAME
        for load_kw, condensing_c in zip(LOAD_KW, CONDENSING_C, strict=True):
            trial = Trial(load_kw, condensing_c, 0, ())
            path.write_text(ground.text(trial, Path(folder)), encoding="utf-8")
            try:
                prepared = prepare([path], log_ms=SCAN_MS)[0]
            except InputRefused as error:
                problems = [replace(p, file="" if p.file == str(path) else p.file) for p in error.problems]
                raise InputRefused(problems) from error
            if getattr(prepared.settings, "common", None) is None and not ground.packs:
                raise InputRefused(
                    Problem(
                        f"{ground.controller} tells no limits, so most shipped requirements cannot be asked of it",
                        way_out="give it the sheet of a shipped controller, or a pack of your own",
                    )
                )
