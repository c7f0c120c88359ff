"""The proof as a run that may be ended at any moment: unseen cases in blocks, each kept once it is done.

Each set of settings is played on the same cases, in blocks of one scenario's plants or so, by a few processes.  A block
that is there from before is not played again.  Interval and bounds are those of `proof`.
"""

from __future__ import annotations

import signal
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from functools import lru_cache
from multiprocessing import get_context
from typing import Any

import numpy as np

from scenarios.errors import InternalError
from scenarios.record_tables import values_of
from scenarios.settings_sheet import checksum_of
from tools.tuning.cases import Bench, Case, CaseFigures, CaseSet
from tools.tuning.proof import Bound, Interval, Pair, bound_of, check_unseen, paired_interval, summarise
from tools.tuning.stage_files import StageFiles
from tools.tuning.trials import contribution
from tools.tuning.tuning_result import Between, FailureBound, ProofOutcome, ProofRow

BLOCK = 19
ATTEMPTS = 3
NAMED_FAILURES = 12
MEANS = (
    "suction_deviation_rms_kpa", "suction_deviation_peak_kpa", "capacity_reversals_per_h",
    "volume_ratio_reversals_per_h", "capacity_operations_per_h", "volume_ratio_operations_per_h",
    "capacity_strokes_per_h", "volume_ratio_strokes_per_h", "starts_per_h", "energy_per_cooling", "trips_count",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Entrant:
    """Settings that run in the proof, and the unseen cases under their controller."""

    name: str
    cases: CaseSet
    settings: Any

    @property
    def controller(self) -> str:
        """Whose settings they are."""
        return self.cases.controller


@lru_cache(maxsize=4)
def _bench(packed: bytes) -> Bench:
    import pickle

    return Bench(pickle.loads(packed))


def play_block(packed: bytes, settings: Any, first: int, last: int) -> list[CaseFigures]:
    """Cases first to last − 1 under settings; in a process of its own the bench is kept between blocks."""
    bench = _bench(packed)
    return [bench.play(case, settings) for case in bench.cases[first:last]]


def _quiet() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the parent's business


def play_all(
    entrants: Sequence[Entrant], stages: StageFiles, jobs: int, progress: Callable[[float], None] | None = None
) -> dict[str, tuple[CaseFigures, ...]]:
    """Figures of every entrant on every case, in the cases' order."""
    import pickle

    found: dict[tuple[str, int], tuple[CaseFigures, ...]] = {}
    missing: list[tuple[Entrant, bytes, int, int, dict[str, Any]]] = []
    total = 0
    for entrant in entrants:
        packed = pickle.dumps(entrant.cases)
        for first in range(0, len(entrant.cases.cases()), BLOCK):
            last = min(first + BLOCK, len(entrant.cases.cases()))
            made_of = _made_of(entrant, first, last)
            kept = stages.find(_name(entrant, first), made_of, tuple[CaseFigures, ...])
            total += last - first
            if kept is not None:
                found[entrant.name, first] = kept
            else:
                missing.append((entrant, packed, first, last, made_of))
    done = total - sum(last - first for _, _, first, last, _ in missing)
    for k, figures in _played(missing, jobs):
        entrant, _, first, last, made_of = missing[k]
        stages.keep(_name(entrant, first), made_of, figures)
        found[entrant.name, first] = tuple(figures)
        done += last - first
        if progress:
            progress(done / total)
    return {
        entrant.name: tuple(f for (name, _), rows in sorted(found.items()) if name == entrant.name for f in rows)
        for entrant in entrants
    }


def _name(entrant: Entrant, first: int) -> str:
    # the settings' own hash: a name such as "chosen" stands for other settings after another search
    stamp = checksum_of(entrant.controller, values_of(entrant.settings))[7:19]
    return f"proof/{entrant.controller}_{stamp}_{first:04d}"


def _made_of(entrant: Entrant, first: int, last: int) -> dict[str, Any]:
    c = entrant.cases
    return {
        "controller": entrant.controller,
        "settings": checksum_of(entrant.controller, values_of(entrant.settings)),
        "base": checksum_of(entrant.controller, values_of(c.base)),  # decides the start states
        "plant": c.prepared[0].plant.sha256,
        "scenarios": [p.scenario.sha256 for p in c.prepared],
        "seed": [c.seed, c.draws, c.first_draw, c.label],
        "cases": [first, last],
    }


def _played(
    missing: Sequence[tuple[Entrant, bytes, int, int, dict[str, Any]]], jobs: int
) -> Iterator[tuple[int, list[CaseFigures]]]:
    if jobs <= 1 or len(missing) <= 1:
        for k, (entrant, packed, first, last, _) in enumerate(missing):
            yield k, play_block(packed, entrant.settings, first, last)
        return
    left = set(range(len(missing)))
    for _ in range(ATTEMPTS):
        pool = ProcessPoolExecutor(jobs, mp_context=get_context("spawn"), initializer=_quiet)
        try:
            futures = {
                pool.submit(play_block, missing[k][1], missing[k][0].settings, *missing[k][2:4]): k for k in left
            }
            for future in as_completed(futures):
                k = futures[future]
                figures = future.result()
                left.discard(k)
                yield k, figures
            return
        except BrokenProcessPool:  # a worker was killed: the others' blocks are kept, what is left is begun again
            continue
        finally:
            pool.shutdown(wait=False, cancel_futures=True)
    raise InternalError(f"the proof's processes ended {ATTEMPTS} times before their work was done")


def proof_outcome(
    search: CaseSet, entrants: Sequence[Entrant], figures: dict[str, tuple[CaseFigures, ...]]
) -> ProofOutcome:
    """The first entrant against each of the others.  InputRefused for cases that the search has seen."""
    chosen, *rivals = entrants
    new_scenarios = check_unseen(search, chosen.cases)
    cases = chosen.cases.cases()
    rows = []
    mine = figures[chosen.name]
    for rival in rivals:
        if rival.cases.cases() != cases:
            raise InternalError("the cases of the chosen settings and of a rival do not pair")
        rows.append(_row(rival, cases, mine, figures[rival.name], chosen.cases.seed, new_scenarios))
    return ProofOutcome(
        cases=len(cases),
        new_scenarios=new_scenarios,
        scenarios=len(chosen.cases.prepared),
        bounds=bounds_of(mine),
        rows=tuple(rows),
        failures=tuple(_failures(chosen, cases, mine)),
    )


def bounds_of(figures: Sequence[CaseFigures]) -> tuple[FailureBound, ...]:
    """The three bounds of a set of settings; a case that ended in a fault fails all of them."""
    kinds: tuple[tuple[str, Callable[[CaseFigures], float]], ...] = (
        ("trip", lambda f: f.trips_count),
        ("start beyond the motor's limit", lambda f: f.starts_beyond_limit),
        ("broken requirement", lambda f: f.violations_count),
    )
    return tuple(_bound(name, bound_of([of(f) > 0 or bool(f.fault) for f in figures])) for name, of in kinds)


def _bound(name: str, b: Bound) -> FailureBound:
    return FailureBound(name, b.failures, b.cases, b.confidence, b.at_most)


def _row(
    rival: Entrant, cases: Sequence[Case], mine: Sequence[CaseFigures], theirs: Sequence[CaseFigures], seed: int,
    new_scenarios: bool,
) -> ProofRow:  # fmt: skip
    pairs = [Pair(case, a, b) for case, a, b in zip(cases, mine, theirs, strict=True)]
    proof = summarise(pairs, seed, new_scenarios)
    scored = [(a, b) for a, b in zip(mine, theirs, strict=True) if not a.fault and not b.fault]

    def ratio(of: Callable[[CaseFigures], float]) -> Between:
        samples = [np.array([of(pair[side]) for pair in scored]) for side in (0, 1)]
        return _between(paired_interval(_mean_ratio, samples, seed)) if scored else _between(Interval(*[np.nan] * 3))

    return ProofRow(
        rival=rival.name,
        rival_controller=rival.controller,
        rms_ratio=_between(proof.rms_ratio),
        reversals_ratio=_between(proof.reversals_ratio),
        operations_ratio=ratio(lambda f: f.capacity_operations_per_h),
        wear_ratio=ratio(lambda f: contribution(f)[1]),
        energy_difference_pct=_between(proof.energy_difference_pct),
        means=_means([a for a, _ in scored]),
        rival_means=_means([b for _, b in scored]),
        rival_bounds=bounds_of(theirs),
    )


def _mean_ratio(one: Any, other: Any, axis: int = -1) -> Any:
    return np.mean(one, axis=axis) / np.mean(other, axis=axis)


def _between(i: Interval) -> Between:
    return Between(float(i.value), float(i.low), float(i.high))


def _means(figures: Sequence[CaseFigures]) -> dict[str, float]:
    if not figures:
        return {}
    found = {name: float(np.mean([getattr(f, name) for f in figures])) for name in MEANS}
    # an RMS over all cases is the root of the mean square, and a peak is the greatest
    found["suction_deviation_rms_kpa"] = float(np.sqrt(np.mean([f.suction_deviation_rms_kpa**2 for f in figures])))
    found["suction_deviation_peak_kpa"] = float(max(f.suction_deviation_peak_kpa for f in figures))
    found["wear_per_h"] = float(np.mean([contribution(f)[1] for f in figures]))
    return found


def _failures(chosen: Entrant, cases: Sequence[Case], figures: Sequence[CaseFigures]) -> Iterator[str]:
    told = 0
    for case, f in zip(cases, figures, strict=True):
        if f.failures > 0 and told < NAMED_FAILURES:
            told += 1
            title = chosen.cases.prepared[case.scenario].scenario.title
            words = f.fault or f"{f.trips_count:g} trips, {f.violations_count:g} broken requirements"
            yield f"{title}, plant draw {case.draw}, seed {case.seed}: {words}"
