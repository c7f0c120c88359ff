"""What every run must keep, whoever controls: the invariants that a trace can show, each defined once.

They are engineering aids.  Nothing here is a safety system: hard-wired cut-outs and relief devices come first.

A check never cries wolf for want of rows: states and drives are exact (events), positions and pressures are known at
the logged rows only, so a breach that fits between two rows may go unseen.  A finer log sees more.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from controller.process_image import Mode
from scenarios.limits import Limits
from scenarios.steps import both, steps

if TYPE_CHECKING:
    from scenarios.trace import Trace

POSITION_TOLERANCE_FRAC = 0.02  # of travel: position noise and feedback span error, common practice, no source
TRIP_TOLERANCE_FRAC = 0.01  # of the transmitter's span: true value against what the cabinet reads, common practice
STOP_TRAVEL_FRAC = 0.9995  # nearer than this to an end, the slide stands at its stop
GUARD_TOLERANCE_MS = 500  # position lag and two scans, before a cabinet can know of the stop; common practice


@dataclass(frozen=True, slots=True)
class Violation:
    """One breach: which requirement, when, and what was seen."""

    requirement: str
    time_ms: int
    text: str


Check = Callable[["Trace", Limits], list[Violation]]


@dataclass(frozen=True, slots=True)
class Requirement:
    """`needs` names the limits without which the check is skipped."""

    id: str
    text: str
    check: Check
    needs: tuple[str, ...] = field(default=())


def _drives_never_both(trace: Trace, limits: Limits) -> list[Violation]:
    out = []
    for one, other in (("capacity_load", "capacity_unload"), ("volume_ratio_increase", "volume_ratio_decrease")):
        for start, end in both(steps(trace, one), steps(trace, other)).spans_ms():
            out.append(Violation("drives_never_both", start, f"{one} and {other} on together for {end - start} ms"))
    return out


def _no_run_while_tripped(trace: Trace, limits: Limits) -> list[Violation]:
    run, out = steps(trace, "motor_run"), []
    for word in ("trip_first_out", "trip_word"):
        for start, end in both(run, steps(trace, word)).spans_ms():
            text = f"motor commanded for {end - start} ms with {word} set"
            out.append(Violation("no_run_while_tripped", start, text))
    return out


def _starts_ms(trace: Trace) -> list[int]:
    return [int(t) for t in steps(trace, "motor_run").rises_ms()]


def _start_unloaded(trace: Trace, limits: Limits) -> list[Violation]:
    out = []
    for column, limit, zero_frac in (
        # the cabinet counts from the low stop as calibrated, this column is the signal as wired
        ("capacity_travel_measured_frac", limits.capacity_start_frac, limits.low_reading_frac or 0.0),
        ("volume_ratio_travel_frac", limits.volume_ratio_start_frac, 0.0),
    ):
        if limit is None:
            continue
        for start in _starts_ms(trace):
            travel = float(np.interp(start, trace["time_ms"], trace[column]))
            if travel > limit + zero_frac + POSITION_TOLERANCE_FRAC:
                text = f"{column} {100 * travel:.1f} % at the start, limit {100 * limit:.1f} %"
                out.append(Violation("start_unloaded", start, text))
    return out


def _start_lubricated(trace: Trace, limits: Limits) -> list[Violation]:
    needed, pump, out = limits.pre_lubrication_ms or 0, steps(trace, "oil_pump"), []
    begin_ms = int(pump.times_ms[0])
    for start in _starts_ms(trace):
        since = next((on for on, off in pump.spans_ms() if on <= start < off), None)
        # a pump that already ran in the first row may have run for any time before it
        if since is None or (since > begin_ms and start - since < needed):
            seen = "oil pump off" if since is None else f"oil pump on for {start - since} ms"
            out.append(Violation("start_lubricated", start, f"{seen} at the start, {needed} ms wanted"))
    return out


def _start_to_start(trace: Trace, limits: Limits) -> list[Violation]:
    needed, starts, out = limits.start_to_start_ms or 0, _starts_ms(trace), []
    for before, start in pairwise(starts):
        if start - before < needed:
            text = f"started {(start - before) / 1000:g} s after the last start, {needed / 1000:g} s wanted"
            out.append(Violation("start_to_start", start, text))
    return out


def _no_rise_while_inhibited(trace: Trace, limits: Limits) -> list[Violation]:
    inhibit, out = steps(trace, "inhibit"), []
    for start, end in both(inhibit, steps(trace, "capacity_load")).spans_ms():
        out.append(Violation("no_rise_while_inhibited", start, f"capacity load drive on for {end - start} ms"))
    times, demand = trace["time_ms"], trace["capacity_demand_frac"]
    for start, end in inhibit.spans_ms():
        # the demand issued at `start` is already under the inhibit; the one issued at `end` no longer is
        first, last = np.searchsorted(times, (start, end)).tolist()
        rise = np.flatnonzero(np.diff(demand[first:last]) > 1e-9)
        if len(rise):
            k = first + int(rise[0]) + 1
            text = f"demand rose from {100 * demand[k - 1]:.2f} to {100 * demand[k]:.2f} %, {len(rise)} rises in all"
            out.append(Violation("no_rise_while_inhibited", int(times[k]), text))
    return out


def _end_stop_guard(trace: Trace, limits: Limits) -> list[Violation]:
    """Against the low stop, a drive whose position does not read the stop may push until the unload timeout.

    With a position that lies the cabinet cannot know that the slide has arrived, and to give up early would stop or
    start a loaded machine if it has not.
    """
    guard_ms, times, out = (limits.guard_ms or 0) + GUARD_TOLERANCE_MS, trace["time_ms"], []
    unseen_ms = max(guard_ms, (limits.unload_timeout_ms or 0) + GUARD_TOLERANCE_MS)
    for drive, slide, high in (
        ("capacity_load", "capacity", True),
        ("capacity_unload", "capacity", False),
        ("volume_ratio_increase", "volume_ratio", True),
        ("volume_ratio_decrease", "volume_ratio", False),
    ):
        travel, read = trace[f"{slide}_travel_frac"], trace[f"{slide}_travel_measured_frac"]
        at_stop = travel >= STOP_TRAVEL_FRAC if high else travel <= 1.0 - STOP_TRAVEL_FRAC
        for start, end in steps(trace, drive).spans_ms():
            if end - start <= guard_ms:
                continue
            first, last = np.searchsorted(times, (start, end + 1)).tolist()
            there = first + np.flatnonzero(at_stop[first:last])
            # the median, because noise crosses the mark now and then
            unseen = not high and len(there) > 0 and float(np.median(read[there])) > (limits.low_end_frac or 0.0)
            if len(there) and end - times[there[0]] > (unseen_ms if unseen else guard_ms):
                text = f"{drive} on for at least {(end - times[there[0]]) / 1000:.1f} s against its end stop"
                out.append(Violation("end_stop_guard", int(times[there[0]]), text))
    return out


def _minimum_demand(trace: Trace, limits: Limits) -> list[Violation]:
    low, demand = limits.minimum_demand_frac or 0.0, trace["capacity_demand_frac"]
    below = np.flatnonzero((trace["mode"] == Mode.AUTOMATIC) & (demand < low - 1e-9))
    if not len(below):
        return []
    text = f"demand {100 * demand[below[0]]:.2f} %, minimum {100 * low:.2f} %, {len(below)} rows"
    return [Violation("minimum_demand", int(trace["time_ms"][below[0]]), text)]


def _trip_in_time(trace: Trace, limits: Limits) -> list[Violation]:
    times, run, out = trace["time_ms"], steps(trace, "motor_run"), []
    row_ms = int(np.max(np.diff(times))) if len(times) > 1 else 0
    for limit in limits.trips:
        slack = TRIP_TOLERANCE_FRAC * limit.span
        beyond = (limit.direction * (trace[limit.column] - limit.limit) > slack) & (
            trace[limit.column] < limit.readable_to
        )
        for start, end in run.spans_ms() if beyond.any() else ():
            first, last = np.searchsorted(times, (start + limit.bypass_ms, end)).tolist()
            inside = beyond[first:last]
            # runs of rows beyond the limit: where the condition comes, and where it goes
            turns = np.flatnonzero(np.diff(inside, prepend=False, append=False)).reshape(-1, 2)
            for come, gone in turns.tolist():
                lasted_ms = float(times[first + gone - 1] - times[first + come])
                if lasted_ms > limit.delay_ms + 2 * row_ms:
                    text = f"{limit.cause.name} condition for {lasted_ms / 1000:.1f} s, motor still commanded"
                    out.append(Violation("trip_in_time", int(times[first + gone - 1]), text))
    return out


REQUIREMENTS: tuple[Requirement, ...] = (
    Requirement("drives_never_both", "the two drives of a slide are never on together", _drives_never_both),
    Requirement("no_run_while_tripped", "the motor is never commanded while a trip is latched", _no_run_while_tripped),
    Requirement(
        "trip_in_time",
        "a trip condition that lasts its delay stops the motor (seen at log resolution)",
        _trip_in_time,
        ("trips",),
    ),
    Requirement(
        "start_unloaded",
        "the motor never starts with a slide above its start limit",
        _start_unloaded,
        ("capacity_start_frac",),
    ),
    Requirement(
        "start_lubricated", "the motor never starts before pre-lubrication", _start_lubricated, ("pre_lubrication_ms",)
    ),
    Requirement(
        "start_to_start",
        "the motor never starts inside the start-to-start wait",
        _start_to_start,
        ("start_to_start_ms",),
    ),
    Requirement(
        "no_rise_while_inhibited",
        "while inhibited, the demand does not rise and the load drive stays off",
        _no_rise_while_inhibited,
    ),
    Requirement(
        "end_stop_guard",
        "no drive is on against an end stop for longer than its guard time",
        _end_stop_guard,
        ("guard_ms",),
    ),
    Requirement(
        "minimum_demand",
        "in automatic, the demand stays at or above minimum load",
        _minimum_demand,
        ("minimum_demand_frac",),
    ),
)


@dataclass(frozen=True, slots=True)
class Verdict:
    """All breaches of a run, in time order, and the requirements that could not be checked."""

    violations: tuple[Violation, ...]
    skipped: tuple[str, ...]


def check_all(trace: Trace, limits: Limits | None) -> Verdict:
    """Check every requirement that the known limits allow."""
    known = limits or Limits()
    found: list[Violation] = []
    skipped = []
    for requirement in REQUIREMENTS:
        if any(getattr(known, name) in (None, ()) for name in requirement.needs):
            skipped.append(requirement.id)
        else:
            found += requirement.check(trace, known)
    return Verdict(tuple(sorted(found, key=lambda v: v.time_ms)), tuple(skipped))
