"""The contract suite: what every controller must keep, whoever wrote it, each promise a check with a sentence.

    for result in check_controller(load(name_controller("my_logic.so", folder))):
        print(result)

The controller is called through the one scan signature, on a closed loop with the demo plant, on walks over the whole
process image and on spoilt replays of both.  It is an engineering aid: passing it makes no controller a safety system.
A check that could not see its case says `judged = False`; it has not passed, and it has not failed.

`check_controller` runs the controller in this process; `check_chosen` does it in a child, where it may hang or crash.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, dataclass, field
from enum import IntEnum
from typing import Any

import numpy as np

from controller.process_image import Health, Inhibit, Mode, Outputs, StartRefused, StopReason, Trip
from controller.registry import SHIPPED
from scenarios.check_bench import Played, Sequence, Subject, play, subject_maker
from scenarios.check_sequences import closed_loop, failed, late, overlaid, pressed, walk, warm_engine
from scenarios.chosen_controller import take_up
from scenarios.controllers import Loaded, Named, library_settings_of, load
from scenarios.errors import InputRefused, Problem
from scenarios.isolated import LOADING, Heart, run_isolated
from scenarios.limits import Limits, limits_of

WALK_SCANS = 5_000
CURRENT_PULSE_MS = 5_000  # the longest pulse that a drive may still finish; common practice, no source
REPLAY_SCANS = 4_500  # the closed loop's first start, its loading and its failing instruments
_WRAPS_MS = (2**32 - 150_050, 2**31 - 150_050)  # the 32-bit clock's wrap, and its sign bit, while the machine runs
_STOP_HOLD_SCANS, _FAIL_HOLD_SCANS = 1_500, 400
_ABOUT_SEQUENCES = 31  # of a controller that loads; fewer otherwise
_FAILURES = (
    ("suction_pressure", Health.OVER),
    ("suction_pressure", Health.UNDER),
    ("suction_pressure", Health.FROZEN),
    ("capacity_position", Health.UNDER),
    ("capacity_position", Health.FROZEN),
)

PROMISES = {
    "answers": "every scan comes back with status 0 and raises nothing",
    "determinism": "two fresh instances give the same outputs for the same inputs",
    "reset": "after use, a reset brings back the first answers",
    "ranges": "demands are finite and within 0 to 100 %, every state and every bit has a meaning",
    "drives": "the two drives of a slide are never on together",
    "settings_untouched": "a scan does not write its settings",
    "inputs_untouched": "a scan does not write its inputs",
    "memory": "nothing is written behind the end of outputs, state or settings",
    "time_wrap": "the answers do not depend on where the 32-bit clock stands or wraps",
    "stops": "stop button or open safety chain: the motor command is off in that scan, and stays off",
    "failed_instrument": "while suction pressure or capacity position is bad, the load drive is not switched on",
    "limits": "no start while tripped, inside the start-to-start wait, before pre-lubrication or with a loaded slide",
    "late_scans": "late, lost and repeated scans break none of the other promises",
}


@dataclass(frozen=True, slots=True)
class CheckResult:
    """What one check found.  `first_at`: the scan of the first breach, from 0, in the sequence that `text` names."""

    name: str
    passed: bool
    text: str
    first_at: int | None = None
    judged: bool = True

    def __str__(self) -> str:
        word = "passed" if self.passed else "FAILED" if self.judged else "not judged"
        return f"{self.name}: {word}: {self.text}"


@dataclass(frozen=True, slots=True)
class _Breach:
    text: str
    scan: int


def _earliest(found: list[_Breach | None]) -> _Breach | None:
    return min((breach for breach in found if breach), key=lambda breach: breach.scan, default=None)


Promise = Callable[[Played, Limits | None], _Breach | None]


def _first(wrong: Any, played: Played, text: Callable[[int], str]) -> _Breach | None:
    if not wrong.any():
        return None
    k = int(np.argmax(wrong))
    return _Breach(f"{text(k)}, in scan {k} of {played.sequence.name}", k)


def _answers(played: Played, _limits: Limits | None) -> _Breach | None:
    k = len(played.outputs)
    return _Breach(f"{played.ended}, in scan {k} of {played.sequence.name}", k) if played.ended else None


_STATES: dict[str, type[IntEnum]] = {
    "mode": Mode,
    "inhibit": Inhibit,
    "trip_first_out": Trip,
    "start_refused": StartRefused,
    "stop_reason": StopReason,
}
_BITS = sum(1 << int(cause) for cause in Trip if cause)
_FLAGS = tuple(f.name for f in Outputs.__dataclass_fields__.values() if isinstance(f.default, bool))
_NUMBERS = {f.name: f.metadata for f in Outputs.__dataclass_fields__.values() if isinstance(f.default, float)}


def _ranges(played: Played, _limits: Limits | None) -> _Breach | None:
    out, found = played.outputs, []
    for name, m in _NUMBERS.items():
        wrong = ~((out[name] >= m["low"]) & (out[name] <= m["high"]))  # a comparison with nan is false
        span = f"{m['low']:g} to {m['high']:g} {m['unit']}"
        found.append(_first(wrong, played, lambda k, n=name, s=span: f"{n} is {out[n][k]:g}, {s} allowed"))  # type: ignore[misc]
    for name, kind in _STATES.items():
        wrong = ~np.isin(out[name], [int(member) for member in kind])
        found.append(_first(wrong, played, lambda k, n=name: f"{n} is {out[n][k]}, which means nothing"))  # type: ignore[misc]
    for name in ("trip_word", "alarm_word"):
        wrong = (out[name] & ~_BITS) != 0
        found.append(_first(wrong, played, lambda k, n=name: f"{n} is {out[n][k]:#x}, with unknown bits"))  # type: ignore[misc]
    for name in _FLAGS:
        # as bytes: a library may leave anything but 0 and 1 in a bool
        raw = np.array(out[name]).view(np.uint8)
        found.append(_first(raw > 1, played, lambda k, n=name, r=raw: f"{n} holds byte {r[k]}"))  # type: ignore[misc]
    return _earliest(found)


def _drives(played: Played, _limits: Limits | None) -> _Breach | None:
    out = played.outputs
    capacity = out["capacity_load"] & out["capacity_unload"]
    volume_ratio = out["volume_ratio_increase"] & out["volume_ratio_decrease"]

    def text(k: int) -> str:
        return f"both drives of the {'capacity' if capacity[k] else 'volume-ratio'} slide on"

    return _first(capacity | volume_ratio, played, text)


def _stop_wanted(played: Played) -> Any:
    return played.inputs["stop_button_pressed"] | ~played.inputs["safety_chain_closed"]


def _stops(played: Played, _limits: Limits | None) -> _Breach | None:
    pressed_ = played.inputs["stop_button_pressed"]

    def text(k: int) -> str:
        return f"motor commanded with the {'stop button pressed' if pressed_[k] else 'safety chain open'}"

    return _first(_stop_wanted(played) & played.outputs["motor_run"], played, text)


def _failed_instrument(played: Played, _limits: Limits | None) -> _Breach | None:
    load = played.outputs["capacity_load"]
    before = np.concatenate(([False], load[:-1])) if len(load) else load
    found = []
    for signal in ("suction_pressure", "capacity_position"):
        bad = played.inputs[f"{signal}_health"] != Health.GOOD
        begins = np.flatnonzero(np.diff(bad, prepend=False) & bad)
        spell = np.maximum(np.searchsorted(begins, np.arange(len(bad)), side="right") - 1, 0)
        since_ms = played.time_ms - played.time_ms[begins[spell]] if len(begins) else np.zeros(len(bad))
        switched_on = bad & load & ~before
        too_long = bad & load & (since_ms > CURRENT_PULSE_MS)

        def text(k: int, signal: str = signal, since_ms: Any = since_ms, on: Any = switched_on) -> str:
            what = "switched on" if on[k] else "still on"
            return f"load drive {what} {since_ms[k] / 1000.0:.1f} s after {signal} has failed"

        found.append(_first(switched_on | too_long, played, text))
    return _earliest(found)


def _limits_kept(played: Played, limits: Limits | None) -> _Breach | None:
    if limits is None:
        return None
    out, given, time_ms = played.outputs, played.inputs, played.time_ms
    run = out["motor_run"]
    tripped = (out["trip_first_out"] != 0) | (out["trip_word"] != 0)
    found = [_first(run & tripped, played, lambda k: "motor commanded while a trip is latched")]
    starts = np.flatnonzero(np.diff(run, prepend=False) & run).tolist()
    wrong, why = np.zeros(len(run), dtype=bool), {}
    for number, start in enumerate(starts):
        pump_off = np.flatnonzero(~out["oil_pump"][:start])
        pump_on = int(pump_off[-1]) + 1 if len(pump_off) else 0
        oil_ms = int(time_ms[start] - time_ms[pump_on]) if pump_on < start else 0
        travel_pct = {
            "capacity": (given["capacity_position_pct"][start], limits.capacity_start_frac),
            "volume ratio": (given["volume_ratio_position_pct"][start], limits.volume_ratio_start_frac),
        }
        since_ms = int(time_ms[start] - time_ms[starts[number - 1]]) if number else None
        if since_ms is not None and since_ms < (limits.start_to_start_ms or 0):
            why[start] = f"started {since_ms / 1000.0:g} s after the last start"
        elif oil_ms < (limits.pre_lubrication_ms or 0):
            why[start] = f"started with {oil_ms / 1000.0:g} s of oil"
        for name, (position_pct, limit_frac) in travel_pct.items():
            if limit_frac is not None and position_pct > 100.0 * limit_frac + 1e-9:
                why[start] = f"started with the {name} slide at {position_pct:.1f} %"
        wrong[start] = start in why
    found.append(_first(wrong, played, lambda k: why[k]))
    return _earliest(found)


# The promises that any sequence of scans must keep.
_ALWAYS: dict[str, Promise] = {
    "answers": _answers,
    "ranges": _ranges,
    "drives": _drives,
    "stops": _stops,
    "failed_instrument": _failed_instrument,
    "limits": _limits_kept,
}


def _same(a: Played, b: Played, name: str) -> _Breach | None:
    """The first difference between two answers to the same inputs; field by field, as padding is nobody's business."""
    n = min(len(a.outputs), len(b.outputs))
    found = []
    for column in a.outputs.dtype.names or ():
        one, other = a.outputs[column][:n], b.outputs[column][:n]
        differ = (one != other) & ((one == one) | (other == other))  # nan twice is the same answer

        def text(k: int, column: str = column, one: Any = one, other: Any = other) -> str:
            return f"{column} is {one[k]} and, {name}, {other[k]}"

        found.append(_first(differ, a, text))
    if len(a.outputs) != len(b.outputs):
        ended = a.ended or b.ended
        found.append(_Breach(f"one play ended early ({ended}), in scan {n} of {a.sequence.name}, {name}", n))
    return _earliest(found)


@dataclass(slots=True)
class _Suite:
    """One controller under check: how to make an instance of it, everything that was played, and what that showed."""

    make: Callable[[], Subject]
    seed: int
    heart: Heart = field(default_factory=Heart)
    played: int = 0
    plain: list[Played] = field(default_factory=list)
    late: list[Played] = field(default_factory=list)
    found: dict[str, list[_Breach | None]] = field(default_factory=lambda: {name: [] for name in PROMISES})

    def play(self, sequence: Sequence, subject: Subject | None = None, offset_ms: int = 0) -> Played:
        """Play on a fresh instance, or on the given one as it stands."""
        subject = subject or self.fresh()
        played = play(subject, sequence, offset_ms)
        self.look_at(subject, played)
        return played

    def fresh(self) -> Subject:
        """A fresh instance, under the eye of the heart."""
        subject = self.make()
        subject.heart = self.heart
        return subject

    def look_at(self, subject: Subject, played: Played) -> None:
        """Note what an instance wrote where it must not, and that one more sequence has been played."""
        self.played += 1
        self.heart.come(min(1.0, self.played / _ABOUT_SEQUENCES))
        name, k = played.sequence.name, played.inputs_written
        if k is not None:
            self.found["inputs_untouched"].append(_Breach(f"inputs written in scan {k} of {name}", k))
        if subject.settings is not None and subject.settings.changed():
            self.found["settings_untouched"].append(_Breach(f"settings differ after {name}", 0))
        beyond = "inputs or outputs" if played.outputs_overrun else subject.overrun
        if beyond:
            self.found["memory"].append(_Breach(f"written outside {beyond} in {name}", 0))


def _moments(wanted: Any, count: int) -> list[int]:
    """Some of the first scans where `wanted` holds, spread evenly."""
    where = np.flatnonzero(wanted[:REPLAY_SCANS])
    return sorted(set(where[np.linspace(0, len(where) - 1, count).astype(int)].tolist())) if len(where) else []


def _play_all(suite: _Suite) -> Played:
    """Closed loop, walks, replays and late scans; returns the closed loop."""
    used, seed, found = suite.fresh(), suite.seed, suite.found
    loop = closed_loop(used, seed)
    suite.look_at(used, loop)
    base, start = loop.sequence, loop.sequence.cut(REPLAY_SCANS)
    walked = walk(seed, WALK_SCANS)
    walking, starting = suite.play(walked), suite.play(start)
    suite.plain += [loop, walking, starting, suite.play(overlaid(seed, start))]
    found["determinism"] += [
        _same(walking, suite.play(walked), "a second time"),
        _same(loop, suite.play(base), "a second time"),
    ]
    for offset_ms in _WRAPS_MS:
        moved = suite.play(start, offset_ms=offset_ms)
        found["time_wrap"].append(_same(starting, moved, f"with the clock beginning at {offset_ms}"))
    try:
        for first in (walking, starting):
            used.restart()
            found["reset"].append(_same(first, suite.play(first.sequence, used), "after a reset"))
    except Exception as error:  # anyone's reset() may raise anything
        found["reset"].append(_Breach(f"reset raised {type(error).__name__}: {error}", 0))

    running, loading = loop.outputs["motor_run"], loop.outputs["capacity_load"]
    for number, at in enumerate(_moments(running & ~_stop_wanted(loop), 4)):
        cause = ("stop_button_pressed", "safety_chain_closed")[number % 2]
        suite.plain.append(suite.play(pressed(base, at, cause, _STOP_HOLD_SCANS)))
    in_pulse = np.append(False, loading[:-1])[: len(loading)]
    at_risk = (*_moments(in_pulse, 1), *_moments(running & ~loading, 2)[-1:])
    for signal, health in _FAILURES if loading.any() else ():
        suite.plain += [suite.play(failed(base, at, signal, health, _FAIL_HOLD_SCANS)) for at in at_risk]
    suite.late.append(suite.play(late(seed, base, keep_time=True)))
    suite.late.append(suite.play(late(seed, walk(seed, WALK_SCANS, "another walk"), keep_time=False)))
    return loop


def check_controller(
    controller: Named | Loaded,
    settings: Any = None,
    *,
    limits: Limits | None = None,
    interpreted: bool = False,
    seed: int = 1,
    heart: Heart | None = None,
) -> list[CheckResult]:
    """Check every promise of the contract; one result a promise, in the order of PROMISES.

    settings: its record; None takes the defaults of a controller that has any.  limits: what it promises about starts,
    for one that has no shipped settings to tell them.  interpreted: run a kernel-subset controller as plain Python.
    heart: told of every scan.  Raises InputRefused for a controller that does not load.
    """
    loaded = load(controller) if isinstance(controller, Named) else controller
    if settings is None and loaded.kernels is not None:
        settings = loaded.kernels.settings_type()
    if settings is None and loaded.library is not None and library_settings_of(loaded.library):
        settings = SHIPPED[library_settings_of(loaded.library)].settings_type()
    known = limits or (None if settings is None else limits_of(settings))
    suite = _Suite(subject_maker(loaded, settings, interpreted), seed, heart or Heart())
    suite.heart.phase("scanning")
    loop = _play_all(suite)
    for name, check in _ALWAYS.items():
        breaches = [check(played, known) for played in suite.plain]
        suite.found[name] += breaches
        if not any(breaches):  # what breaks without late scans does not break because of them
            for played in suite.late:
                breach = check(played, known)
                suite.found["late_scans"].append(breach and _Breach(f"{name}: {breach.text}", breach.scan))
    return [_result(name, suite.found[name], loop, known) for name in PROMISES]


def check_chosen(
    job: dict[str, Any], seed: int = 1, progress: Callable[[float], None] | None = None
) -> list[CheckResult]:
    """The same in a child process: one that hangs, crashes or leaves has broken `answers`, and the rest is not judged.

    job: of `scenarios.chosen_controller.choose`.  Raises InputRefused for what is no controller or no sheet of its own.
    """
    found = run_isolated("scenarios.controller_checks:in_child", {**job, "seed": seed}, progress)
    if found.place == LOADING:
        raise InputRefused(Problem(f"{job['controller']}: {found.fault}, {LOADING}", value=job["controller"]))
    if not found.fault:
        return [CheckResult(**result) for result in found.answer["results"]]
    lost = [
        CheckResult(name, False, f"{text}; not known: the controller did not live so long", judged=False)
        for name, text in PROMISES.items()
    ]
    lost[0] = CheckResult("answers", False, f"{PROMISES['answers']}; but {found.fault}, {found.place}")
    return lost


def in_child(job: dict[str, Any], heart: Heart) -> dict[str, Any]:
    """The part of `check_chosen` that runs in the child."""
    warm_engine()
    taken = take_up(job, heart)
    results = check_controller(taken.loaded, taken.settings, seed=job["seed"], heart=heart)
    return {"results": [asdict(result) for result in results]}


def _result(name: str, found: list[_Breach | None], loop: Played, limits: Limits | None) -> CheckResult:
    breaches = [breach for breach in found if breach]
    if breaches:
        more = f" (and in {len(breaches) - 1} more sequences)" if len(breaches) > 1 else ""
        return CheckResult(name, False, f"{PROMISES[name]}; but {breaches[0].text}{more}", breaches[0].scan)
    missing = _unseen(name, loop, limits)
    if missing:
        return CheckResult(name, False, f"{PROMISES[name]}; {missing}", judged=False)
    return CheckResult(name, True, PROMISES[name])


def _unseen(name: str, loop: Played, limits: Limits | None) -> str:
    """Why a check without a breach proves nothing; "" where it does."""
    if name == "limits" and limits is None:
        return "the controller tells no limits"
    if name in ("stops", "limits") and not loop.outputs["motor_run"].any():
        return "it never commanded the motor"
    if name == "failed_instrument" and not loop.outputs["capacity_load"].any():
        return "it never loaded"
    return ""
