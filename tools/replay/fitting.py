"""A log played with supposed faults: what each does to the residuals, and the size and time course that fits best.

Everything is linear round one playback of the log on the plant as its file has it: the plant's neighbourhood (parameters
that may be a few per cent off) and each supposed fault are columns.  For a fault that steers the playback, size, onset
and length of growth are found once more with the fault itself played.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg import cholesky, solve_triangular
from scipy.optimize import least_squares

from plant_model.derived import Parameters
from plant_model.properties import saturation_temperature_k
from tools.replay.hypotheses import (
    LATE,
    QUICK,
    RAMP,
    RISE_S,
    SLOW,
    SLOWER,
    STEP,
    Hypothesis,
    own_size,
    profile_value,
)
from tools.replay.playback import Played, Player, Targets, targets_of
from tools.replay.record import NAMES, Floats, Record, filled
from tools.replay.residuals import Stack, motion_of, series_of, stack_of

SPREAD = 1.5  # prior standard deviation of a size, in reference sizes
NONLINEAR_TURNS = 6
NEIGHBOURHOOD = {  # standard deviation of each parameter as a share: ± 2 % and ± 15 % taken evenly
    "displacement": 0.02 / math.sqrt(3.0),
    "leakage": 0.15 / math.sqrt(3.0),
    "friction": 0.15 / math.sqrt(3.0),
    "evaporator": 0.15 / math.sqrt(3.0),
    "oil cooler": 0.15 / math.sqrt(3.0),
    "vessel": 0.15 / math.sqrt(3.0),
}
CONDENSER = 0.15 / math.sqrt(3.0)
STROKE = 0.20 / math.sqrt(3.0)


@dataclass(slots=True)
class Fit:
    """A hypothesis' best time course: from `onset_s` of the record, `size` in its own unit; left: share of χ² left."""

    hypothesis: Hypothesis
    chi2: float
    shape: str = STEP
    onset_s: float = 0.0
    amount: float = 0.0  # in reference sizes
    onset_range_s: tuple[float, float] = (0.0, 0.0)
    amount_sd: float = 0.0
    rise_s: float | None = None  # of a refined fit: how long it grew

    @property
    def size(self) -> float:
        """In the hypothesis' own unit."""
        return own_size(self.hypothesis, self.amount)


@dataclass(slots=True)
class Evidence:
    """All that diagnosis and load estimate share: the nominal playback, residuals, and sensitivities."""

    record: Record
    parameters: Parameters
    player: Player
    targets: Targets
    played: Played
    series: dict[str, Floats]
    stack: Stack
    columns: dict[str, Floats]  # neighbourhood, each for one standard deviation
    shifted: dict[str, Played]
    lower: Floats  # Cholesky factor of noise and neighbourhood

    def boiling_k(self, pressure_pa: Floats) -> Floats:
        """Saturation temperature of each pressure, by a table over their range."""
        low, high = float(np.nanmin(pressure_pa)), float(np.nanmax(pressure_pa)) + 1.0
        at = np.linspace(low, high, 60)
        found = [saturation_temperature_k(self.parameters.refrigerant, float(p)) for p in at]
        return np.asarray(np.interp(pressure_pa, at, found))


def spans_of(parameters: Parameters) -> dict[str, float]:
    """Span of each instrument, SI."""
    per_span = parameters.derived.instruments.per_span
    return {name: 1.0 / per_span[k] for k, name in enumerate(NAMES)}


def evidence_of(record: Record, parameters: Parameters) -> Evidence:
    """Play the record and its neighbourhood; record: in service from first to last row."""
    targets = targets_of(record)
    player = Player(parameters, targets)
    played = player.play()
    series = series_of(record, played, parameters)
    stack = stack_of(record, series, spans_of(parameters))
    columns: dict[str, Floats] = {}
    shifted: dict[str, Played] = {}
    for name, sd in NEIGHBOURHOOD.items():
        shifted[name] = player.play({name: 1.0 + sd})
        moved = series_of(record, shifted[name], parameters)
        columns[name] = stack.column({key: series[key] - moved[key] for key in series})
    over_k = played["condenser_w"] / parameters.plant.discharge_side.conductance_w_k
    columns["condenser"] = stack.column({"wet_bulb": CONDENSER * over_k})
    for pair in ("capacity", "volume_ratio"):
        motion = motion_of(record, pair, parameters)
        if motion is not None:
            columns[f"{pair} stroke"] = stack.column({f"{pair}_motion": STROKE * motion[1]})
    whole = stack.covariance.copy()
    for column in columns.values():
        whole += np.outer(column, column)
    lower = cholesky(whole + 1.0e-12 * np.diag(np.diag(whole)), lower=True)
    return Evidence(record, parameters, player, targets, played, series, stack, columns, shifted, lower)


def played_with(evidence: Evidence, hypothesis: Hypothesis, amounts: Floats) -> Played | None:
    """The log played with a fault that is `amounts` reference sizes large in each row; None for a fault that steers
    nothing."""
    if hypothesis.law == "rate":
        lost_kg = hypothesis.size * amounts
        return evidence.player.play(profiles={"oil_loss_kg_s": np.diff(lost_kg, prepend=lost_kg[0])})
    if hypothesis.profile is not None:
        if hypothesis.law in ("square", "single"):  # even growth in area
            whole = float(np.max(amounts))
            profile = profile_value(hypothesis, np.array([whole]))[0] * amounts / max(whole, 1.0e-9)
        else:
            profile = profile_value(hypothesis, amounts)
        return evidence.player.play(profiles={hypothesis.profile[0]: profile})
    if hypothesis.shift is not None:
        name, error = hypothesis.shift
        return evidence.player.play(path=targets_of(evidence.record, corrections={name: amounts * error}).path)
    return None


def signature(evidence: Evidence, hypothesis: Hypothesis, amounts: Floats | None = None) -> dict[str, Floats]:
    """What the hypothesis does to each channel's residual, at its reference size all the time or as `amounts` say."""
    record, series = evidence.record, evidence.series
    course = np.ones(record.rows) if amounts is None else amounts
    out: dict[str, Floats] = {}
    played = None if hypothesis.law == "rate" and amounts is None else played_with(evidence, hypothesis, course)
    if played is not None:
        moved = series_of(record, played, evidence.parameters)
        out = {key: np.nan_to_num(series[key] - moved[key]) for key in series}
        if hypothesis.shift is not None:
            out.pop("load", None)
            out.pop(hypothesis.shift[0], None)
    if hypothesis.law != "rate" or amounts is None:
        for name, value in hypothesis.channels.items():
            if name in series:
                out[name] = out.get(name, 0.0) + value * course
    if hypothesis.law == "slip":
        first = record.measured[f"{hypothesis.driven}_position"]
        if f"{hypothesis.driven}_gap" in series:
            stood = 0.0 if amounts is None else filled(first)[int(np.argmax(course != 0.0))]
            out[f"{hypothesis.driven}_gap"] = -course * (first - stood)
    elif hypothesis.driven:
        motion = motion_of(record, hypothesis.driven, evidence.parameters)
        if motion is not None:
            out[f"{hypothesis.driven}_motion"] = -motion[1] * course
    return out


TYPICAL_LOST = 0.92  # lost area at which a fouling is felt


def effect_of(hypothesis: Hypothesis, share: Floats) -> Floats:
    """Effect of a share of the fault, of its whole effect: of a fouling that grows evenly in area most comes late."""
    power = {"square": 2.0, "single": 1.0}.get(hypothesis.law)
    if power is None:
        return share
    whole = (1.0 - TYPICAL_LOST) ** -power - 1.0
    return np.asarray(((1.0 - TYPICAL_LOST * share) ** -power - 1.0) / whole)


def course_of(found: Fit, rows: int) -> Floats:
    """Share of a fault in each row."""
    at = np.arange(rows, dtype=float)
    if found.rise_s is not None:
        return np.clip((at - found.onset_s) / max(1.0, found.rise_s), 0.0, 1.0)
    return _courses(at, np.array([found.onset_s]), found.shape)[:, 0]


def amounts_of(evidence: Evidence, found: Fit) -> Floats:
    """A fit's size in each row, in reference sizes."""
    return found.amount * course_of(found, evidence.record.rows)


def refine(evidence: Evidence, found: Fit) -> Fit:
    """Size, onset and length of growth once more with the fault itself played, by non-linear least squares (SciPy); for
    faults that steer the playback.  Keeps the first fit where that is better."""
    hypothesis = found.hypothesis
    if hypothesis.profile is None and hypothesis.shift is None:
        return found
    rows = evidence.record.rows
    values = evidence.stack.values
    minutes = rows / 60.0
    sudden = hypothesis.shapes == (STEP,)

    def trial(x: Floats) -> Fit:
        rise_s = 1.0 if sudden else 60.0 * float(x[2])
        return replace(found, amount=float(x[0]), onset_s=60.0 * float(x[1]), rise_s=rise_s)

    def left(x: Floats) -> Floats:
        moved = evidence.stack.column(signature(evidence, hypothesis, amounts_of(evidence, trial(x))))
        white = solve_triangular(evidence.lower, values - moved, lower=True)
        return np.append(white, float(x[0]) / SPREAD)

    most = 20.0 if hypothesis.law in ("square", "single") else 6.0
    low = -most if hypothesis.signed else 0.0
    # a fault with something in hand before it shows has no slope at 0
    size = found.amount if abs(found.amount) > 0.3 else math.copysign(0.3, found.amount)
    onset = min(minutes - 0.5, max(0.05, found.onset_s / 60.0))
    rise = {STEP: 0.3, QUICK: 5.0, SLOW: 15.0, SLOWER: 25.0}.get(found.shape, minutes - onset)
    start = np.array([min(most - 0.01, max(low + 0.01, size)), onset, min(minutes - 0.1, max(0.2, rise))])
    ends = (np.array([low, 0.0, 0.05]), np.array([most, minutes, minutes]))
    used = slice(0, 2) if sudden else slice(0, 3)
    onset_step = 0.02
    near: list[Floats] = []
    if hypothesis.law == "square":  # what comes last in a fouling's course hides how long and how far it grew
        ended = onset + rise
        near = [
            np.array([k * size, ended - grew - late, grew])
            for k in (1.0, 1.5, 2.2)
            for grew in (8.0, 14.0, 22.0)
            for late in (0.0, 0.7)
        ]
    elif found.shape == STEP:  # a sharp edge: its valley is narrow, and the linear size may lie outside of it
        onset_step = 0.0035
        near = [np.array([k * size, onset + late, start[2]]) for k in (1.0, 1.6, 2.6) for late in (-0.2, 0.1, 0.4)]
    if (
        hypothesis.key == "other_machine"
    ):  # too small a size drives the model off its limits, and the slope says nothing
        near += [np.array([k, minutes - before, 0.3]) for k in (1.0, 1.5) for before in np.arange(1.0, 20.0, 0.8)]
    inside = [np.clip(x, ends[0] + 0.01, ends[1] - 0.01) for x in near]
    starts = [min([start, *inside], key=lambda x: float(np.sum(left(x[used]) ** 2)))]
    best = found
    for begin in starts:
        solved = least_squares(
            left, begin[used], bounds=(ends[0][used], ends[1][used]), x_scale=np.array([0.5, 3.0, 4.0])[used],
            diff_step=np.array([0.03, onset_step, 0.05])[used], max_nfev=NONLINEAR_TURNS, ftol=3.0e-3, xtol=1.0e-3,
        )  # fmt: skip
        chi2 = float(2.0 * solved.cost)
        if chi2 < best.chi2:
            best = replace(trial(solved.x), chi2=chi2)
    return best


def _courses(times_s: Floats, onsets_s: Floats, shape: str) -> Floats:
    """Share of the fault at each block (rows) for each onset (columns), 1 in the end."""
    since = np.maximum(0.0, times_s[:, None] - onsets_s[None, :])
    whole = np.maximum(1.0, times_s[-1] - onsets_s)[None, :]
    share = np.minimum(1.0, since / whole)
    if shape in RISE_S:
        return np.asarray(np.minimum(1.0, since / RISE_S[shape]))
    if shape == RAMP:
        return np.asarray(share)
    if shape == LATE:
        return np.asarray(share**4)
    return np.asarray((since > 0.0).astype(float))


def _first_half(evidence: Evidence, pair: str) -> Floats:
    """Position of a pair's first half in the middle of each block."""
    at = np.clip(evidence.stack.times_s.astype(int), 0, evidence.record.rows - 1)
    return np.asarray(filled(evidence.record.measured[f"{pair}_position"])[at])


def fit(evidence: Evidence, hypothesis: Hypothesis, residual_w: Floats) -> Fit | None:
    """Best time course of a hypothesis; None if the log has none of its channels."""
    stack = evidence.stack
    series = signature(evidence, hypothesis)
    column = stack.column(series)
    if not np.any(column != 0.0):
        return None
    null = float(residual_w @ residual_w)
    best = Fit(hypothesis, null)
    blocks = np.array([k for _, k in stack.index])
    on_gap = np.array([name == f"{hypothesis.driven}_gap" for name, _ in stack.index])
    onsets_s = np.concatenate([[-1.0], stack.times_s[:-1]])
    everywhere: list[tuple[float, float]] = []
    for shape in hypothesis.shapes:
        courses = effect_of(hypothesis, _courses(stack.times_s, onsets_s, shape))
        v = column[:, None] * courses[blocks, :]
        if hypothesis.law == "slip":  # what is missed counts from where the slide stood at the onset
            stood = np.interp(onsets_s, stack.times_s, _first_half(evidence, hypothesis.driven))
            v += np.where(on_gap, 1.0, 0.0)[:, None] * stood * courses[blocks, :]
        white = solve_triangular(evidence.lower, v, lower=True)
        square = np.einsum("ij,ij->j", white, white)
        inner = white.T @ residual_w
        amount = inner / (square + 1.0 / SPREAD**2)
        if hypothesis.driven:  # a stuck slide misses all of its motion, a slow one a part: never more
            amount = np.clip(amount, -1.0, 1.0)
        if not hypothesis.signed:
            amount = np.maximum(amount, 0.0)
        chi2 = null - 2.0 * amount * inner + amount**2 * (square + 1.0 / SPREAD**2)
        everywhere += list(zip(chi2.tolist(), onsets_s.tolist(), strict=True))
        k = int(np.argmin(chi2))
        if chi2[k] < best.chi2:
            best = Fit(
                hypothesis, float(chi2[k]), shape, float(onsets_s[k]), float(amount[k]), (0.0, 0.0),
                float(1.0 / math.sqrt(square[k] + 1.0 / SPREAD**2)),
            )  # fmt: skip
    near = [onset for chi2, onset in everywhere if chi2 <= best.chi2 + max(4.0, 0.05 * best.chi2)]
    best.onset_range_s = (min(near), max(near)) if near else (best.onset_s, best.onset_s)
    return best
