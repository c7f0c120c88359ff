"""Which cause explains the residuals best, how sure that is, and when the log cannot tell.

Everything is linear round one playback of the log on the plant as its file has it: the plant's neighbourhood (parameters
that may be a few per cent off) and each supposed fault are columns, and a fault's time course is a step, a ramp or a late
rise from some block on.  For each hypothesis the least penalised sum of squares over sizes, onsets and shapes,

    χ² = min_a (r − a v)ᵀ K⁻¹ (r − a v) + (a/σ)²,      K = noise, wandering, offsets and neighbourhood,

goes into a Student-t likelihood of `EFFECTIVE` independent residuals, which is what keeps a model error from being taken
for certainty; with the weight that the first-out and the log's words give each group it becomes a probability.
`EFFECTIVE` and the penalty were set on development nights (seeds 1000–1999), never on those of the tests.
An engineering aid: a diagnosis is where to look first.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from scipy.linalg import cho_factor, cho_solve, cholesky, solve_triangular
from scipy.optimize import least_squares

from controller.process_image import Trip
from plant_model.derived import Parameters
from plant_model.properties import saturation_temperature_k
from scenarios.limits import limits_of
from tools.replay.hypotheses import (
    GROUPS,
    HYPOTHESES,
    LATE,
    QUICK,
    RAMP,
    RISE_S,
    SILENT,
    SLOW,
    SLOWER,
    STEP,
    Hypothesis,
    a_priori,
    near_trip,
    own_size,
    profile_value,
)  # fmt: skip
from tools.replay.playback import Played, Player, Targets, targets_of
from tools.replay.record import Floats, Record
from tools.replay.residuals import Stack, motion_of, series_of, stack_of

EFFECTIVE = 24.0
DEGREES = 40.0
PENALTY = 1.5  # for choosing an onset, a shape and a size
SPREAD = 1.5  # prior standard deviation of a size, in reference sizes
REFINED = 2  # hypotheses that are played once more, whatever the first-out says
REFINED_ALONE = 6  # where no first-out speaks
NONLINEAR_TURNS = 6
SURE = 0.5  # least probability of the first group for a name to be given
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
class Ranked:
    """A group of look-alikes with its probability, best member first."""

    group: str
    probability: float
    text: str
    check: str
    why: str
    fits: list[Fit] = field(default_factory=list)


@dataclass(slots=True)
class Diagnosis:
    """Groups by probability; `verdict` is the first one, or "" when the log cannot tell."""

    ranked: list[Ranked]
    verdict: str
    null_chi2: float
    count: int
    words: list[str]  # what the log itself said, in words


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
    from tools.replay.record import NAMES

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
    if hypothesis.driven:
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
    starts = [start]
    if hypothesis.law == "square":  # what comes last in a fouling's course hides how long it grew
        earlier = max(0.5, onset + rise - 24.0)
        starts.append(np.array([start[0], earlier, min(minutes - 0.1, max(1.0, onset + rise - earlier))]))
    best = found
    for begin in starts:
        solved = least_squares(
            left, begin[used], bounds=(ends[0][used], ends[1][used]), x_scale=np.array([0.5, 3.0, 4.0])[used],
            diff_step=np.array([0.03, 0.02, 0.05])[used], max_nfev=NONLINEAR_TURNS,
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
    onsets_s = np.concatenate([[-1.0], stack.times_s[:-1]])
    everywhere: list[tuple[float, float]] = []
    for shape in hypothesis.shapes:
        courses = effect_of(hypothesis, _courses(stack.times_s, onsets_s, shape))
        v = column[:, None] * courses[blocks, :]
        white = solve_triangular(evidence.lower, v, lower=True)
        square = np.einsum("ij,ij->j", white, white)
        inner = white.T @ residual_w
        amount = inner / (square + 1.0 / SPREAD**2)
        if hypothesis.driven:  # a stuck slide misses all of its motion, a slow one a part: never more
            amount = np.minimum(amount, 1.0)
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


def _log_likelihood(chi2: float, null: float) -> float:
    return -0.5 * EFFECTIVE * math.log((DEGREES + chi2) / (DEGREES + null))


def words_of(record: Record) -> tuple[dict[str, float], list[str]]:
    """What the log says in so many words: log weights by group, and each in a sentence."""
    said: list[str] = []
    weights: dict[str, float] = {}
    at = record.trip_row if record.trip_row >= 0 else record.rows - 1
    before = slice(max(0, at - 900), at + 1)
    if record.switches.get("stop_button_pressed", np.zeros(1, dtype=bool))[before].any():
        weights["operator"] = 6.0
        said.append("the stop button was pressed")
    for pair in ("capacity", "volume_ratio"):
        hand = record.switches.get(f"{pair}_manual")
        if hand is not None and hand[before].any():
            weights["operator"] = max(weights.get("operator", 0.0), 5.0)
            said.append(f"the {pair.replace('_', '-')} slide was held by hand")
    chain = record.switches.get("safety_chain_closed")
    if chain is not None and (~chain[before]).any():
        weights["hard-wired chain"] = 6.0
        said.append("the hard-wired chain was open")
    if record.switches.get("vessel_high_high_level", np.zeros(1, dtype=bool))[before].any():
        weights["liquid"] = 5.0
        said.append("the vessel's high-high level contact was made")
    names = {
        "suction_pressure": "suction transmitter", "discharge_pressure": "discharge transmitter",
        "discharge_temperature": "discharge thermometer", "oil_temperature": "oil thermometer",
        "oil_pressure": "filter differential", "oil_pressure_before_filter": "filter differential",
        "motor_current": "current transducer", "capacity_position": "capacity linkage",
        "process_temperature": "process thermometer",
    }  # fmt: skip
    for name, group in names.items():
        words = name.replace("_", " ")
        for marks, what in ((record.open_, "open"), (record.shorted, "shorted")):
            if name in marks and marks[name][before].any():
                weights[group] = max(weights.get(group, 0.0), 7.0 if record.trip is Trip.SIGNAL_LOST else 4.0)
                said.append(f"the loop of the {words} was {what}")
        if name in record.frozen and record.frozen[name][max(0, at - 60) : at + 1].all() and at >= 60:
            if record.trip is not Trip.NONE or name != "capacity_position":
                weights[group] = max(weights.get(group, 0.0), 3.5)
                said.append(f"the {words} did not move by one count")
    return weights, said


LIMITS = {  # trip: setting, instrument, sign of danger, factor and offset to SI
    Trip.HIGH_DISCHARGE_PRESSURE: ("high_discharge_pressure_trip_kpa_abs", "discharge_pressure", 1.0, 1000.0, 0.0),
    Trip.LOW_SUCTION_PRESSURE: ("low_suction_pressure_trip_kpa_abs", "suction_pressure", -1.0, 1000.0, 0.0),
    Trip.HIGH_DISCHARGE_TEMPERATURE: ("high_discharge_temperature_trip_c", "discharge_temperature", 1.0, 1.0, 273.15),
    Trip.HIGH_OIL_TEMPERATURE: ("high_oil_temperature_trip_c", "oil_temperature", 1.0, 1.0, 273.15),
}
LEAST_BEFORE_TRIP_PA = {Trip.HIGH_DISCHARGE_PRESSURE: 20.0e3, Trip.LOW_SUCTION_PRESSURE: 8.0e3}  # own choice, no source
ORDINARY_S = 600  # before the trip: later is the event itself
LEAST_SWING = {
    "discharge_pressure": 60.0e3,
    "suction_pressure": 8.0e3,
    "discharge_temperature": 4.0,
    "oil_temperature": 3.0,
}


def limit_margin(record: Record, trip: Trip, settings: Any) -> tuple[float, str]:
    """How near the limit of a trip stands to what the signal does in ordinary service: log weight for "settings", and a
    sentence if there is one to say.

    Ordinary service is the stretch until ten minutes before the event; its swing is from the 1st to the 99th percentile,
    and at least what any plant does (own choice, no source).
    """
    common = getattr(settings, "common", None)
    if common is None or trip not in LIMITS:
        return 0.0, ""
    known = limits_of(settings)
    own = known.trip(trip) if known is not None else None
    unload = {
        Trip.HIGH_DISCHARGE_PRESSURE: known.discharge_unload_pa if known else None,
        Trip.LOW_SUCTION_PRESSURE: known.suction_unload_pa if known else None,
    }.get(trip)
    if own is not None and unload is not None:
        between = own.direction * (own.limit - unload)
        if between < LEAST_BEFORE_TRIP_PA[trip]:
            return (
                3.0,
                f"forced unloading begins only {between / 1000.0:.0f} kPa before the trip, which leaves no time to unload",
            )
    name, instrument, sign, factor, offset = LIMITS[trip]
    limit = getattr(common.protection, name) * factor + offset
    values = record.measured[instrument][: max(120, record.rows - ORDINARY_S)]
    values = values[np.isfinite(values)]
    if len(values) < 60:
        return 0.0, ""
    low, high = np.percentile(values, [1.0, 99.0])
    edge = high if sign > 0.0 else low
    swing = max(float(high - low), LEAST_SWING[instrument])
    room = sign * (limit - edge) / swing
    if room > 2.5:
        return -2.0, ""
    words = f"the trip's limit stands {max(0.0, room):.1f} of its ordinary swing from what {instrument.replace('_', ' ')} does anyway"
    return float(min(3.0, 4.5 - 2.0 * max(0.0, room))), words


def diagnose(evidence: Evidence, whole: Record | None = None, settings: Any = None) -> Diagnosis:
    """Rank the hypotheses on a prepared record; `whole`: the log with the trip in it, for what it says in words;
    `settings`: those of a shipped controller, for how far its limits stand from ordinary service."""
    residual_w = solve_triangular(evidence.lower, evidence.stack.values, lower=True)
    null = float(residual_w @ residual_w)
    record = whole or evidence.record
    trip = near_trip(record)
    words, said = words_of(record)
    weight, text = limit_margin(evidence.record, record.trip, settings)
    if text:
        words["settings"] = weight
        said.append(text)
    scores: dict[str, float] = {}
    groups: dict[str, list[tuple[float, Fit]]] = {}
    fits = [found for h in HYPOTHESES if (found := fit(evidence, h, residual_w)) is not None]
    fits.sort(key=lambda one: one.chi2 / a_priori(trip, one.hypothesis.group) ** (1.0 / EFFECTIVE))
    for place, found in enumerate(fits):
        if (
            place < (REFINED if trip is not Trip.NONE else REFINED_ALONE)
            or a_priori(trip, found.hypothesis.group) >= 5.0
        ):
            found = refine(evidence, found)
        groups.setdefault(found.hypothesis.group, []).append((_log_likelihood(found.chi2, null) - PENALTY, found))
    names = list(dict.fromkeys([*groups, *SILENT, *words]))
    for name in names:
        members = sorted(groups.get(name, []), key=lambda item: -item[0])
        best = members[0][0] if members else -math.inf
        if name in SILENT or name in words:
            best = max(best, 0.0)
        scores[name] = best + math.log(a_priori(trip, name)) + words.get(name, 0.0)
    top = max(scores.values())
    weights = {name: math.exp(score - top) for name, score in scores.items()}
    total = sum(weights.values())
    ranked = []
    for name in sorted(weights, key=lambda key: -weights[key]):
        fits = [item[1] for item in sorted(groups.get(name, []), key=lambda item: -item[0])]
        text, check = SILENT.get(name, ("", ""))
        if fits:
            text, check = fits[0].hypothesis.text, fits[0].hypothesis.check
        ranked.append(Ranked(name, weights[name] / total, text or name, check, GROUPS.get(name, ""), fits))
    first = ranked[0]
    verdict = first.group if first.probability >= SURE and first.group != "none of these" else ""
    return Diagnosis(ranked, verdict, null, len(residual_w), said)


def likely_fits(evidence: Evidence, diagnosis: Diagnosis, least: float = 0.02) -> list[Fit]:
    """The best fit of every group that is at all likely and explains something."""
    chosen = [ranked.fits[0] for ranked in diagnosis.ranked if ranked.fits and ranked.probability >= least]
    return [one for one in chosen if one.chi2 < diagnosis.null_chi2 - 6.0 and one.amount != 0.0][:4]


def posterior(evidence: Evidence, fits: Sequence[Fit] = ()) -> tuple[dict[str, float], dict[str, float], Floats]:
    """Neighbourhood parameters from the residuals: factor and standard deviation of each, and the covariance of their
    deviations in standard deviations a priori.

    Supposed faults take their share of the residuals first (each as a column with a wide size); what nothing explains
    widens the noise, so that an unknown fault does not end up in the parameters.
    """
    names = list(evidence.columns)
    columns = [evidence.columns[name] for name in names]
    wide = [evidence.stack.column(signature(evidence, one.hypothesis, amounts_of(evidence, one))) for one in fits]
    design = np.column_stack([*columns, *(2.0 * column for column in wide)])
    noise = cho_factor(evidence.stack.covariance + 1.0e-12 * np.diag(np.diag(evidence.stack.covariance)), lower=True)
    values = evidence.stack.values
    square = design.T @ cho_solve(noise, design)
    inner = design.T @ cho_solve(noise, values)
    unit = np.eye(design.shape[1])
    found = np.linalg.solve(square + unit, inner)
    left = values - design @ found
    inflation = max(1.0, float(left @ cho_solve(noise, left)) / max(1, len(values)))
    covariance = np.linalg.inv(square / inflation + unit)
    mean = covariance @ inner / inflation
    sds = {**NEIGHBOURHOOD, "condenser": CONDENSER, "capacity stroke": STROKE, "volume_ratio stroke": STROKE}
    n = len(names)
    factors = {name: 1.0 + sds[name] * float(mean[k]) for k, name in enumerate(names)}
    spread = {name: sds[name] * math.sqrt(float(covariance[k, k])) for k, name in enumerate(names)}
    return factors, spread, covariance[:n, :n]
