"""The load that the log does not have: what the evaporators gave the vessel, and what the rooms stored on the way.

The playback gives the heat that holds the model at the logged suction pressure; the room's temperature that goes with it,
smoothed, gives what was stored:  load = Q + C_room · dT_room/dt.  The interval has two parts: what the plant's
neighbourhood leaves open after the log's own residuals were used (displacement first of all, which no log without a flow
meter separates from the load: it is a range, and common to the whole stretch), and noise.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tools.replay.diagnosis import Diagnosis, likely_fits, posterior
from tools.replay.fitting import NEIGHBOURHOOD, Evidence, Fit, amounts_of, played_with
from tools.replay.playback import Played
from tools.replay.record import Floats, Marks, local_lines

SMOOTH_S = 12.0
EDGE_S = 60  # the observer finds its feet
NORMAL_90 = 1.6448536269514722
TRIP_LAG_S = 2.0
LEAST_OPEN_FRAC = (
    0.2  # of what a fault does to the load is open at least: its course is not quite as fitted; own choice
)
MODEL_FRAC = 0.004  # of the load, for what smoothing and a single room do to its steps: from development nights


@dataclass(slots=True)
class Load:
    """Load a row, W, with the 90 % interval; `good` where it may be used; common_sd_frac: of the whole stretch."""

    load_w: Floats
    low_w: Floats
    high_w: Floats
    good: Marks
    common_sd_frac: float
    factors: dict[str, float]
    spread: dict[str, float]


def load_of(evidence: Evidence, played: Played) -> Floats:
    """Load a row, W, from one playback."""
    plant = evidence.parameters.plant.evaporator
    everywhere = np.ones(len(played["evaporator_w"]), dtype=bool)
    heat_w, heat_slope = local_lines(played["evaporator_w"], everywhere, SMOOTH_S)
    boiling_k = evidence.boiling_k(played["vessel_pa"])
    _, boiling_slope = local_lines(boiling_k, everywhere, SMOOTH_S)
    room_slope = boiling_slope + heat_slope / plant.conductance_w_k
    return np.asarray(np.maximum(0.0, heat_w + plant.room_capacity_j_k * room_slope))


def estimate_load(evidence: Evidence, diagnosis: Diagnosis | None = None) -> Load:
    """Load and interval.  Causes that steer the playback each give a load of their own; the estimate is their mean by
    probability, and how far they stand apart, and how far each one's size is open, widens the interval."""
    fits = likely_fits(evidence, diagnosis) if diagnosis is not None else []
    nominal = load_of(evidence, evidence.played)
    load_w, apart_w = _over_causes(evidence, nominal, diagnosis, fits)
    factors, spread, covariance = posterior(evidence, fits)
    names = list(evidence.columns)
    slopes = np.zeros((len(load_w), len(names)))
    for k, name in enumerate(names):
        if name in evidence.shifted:
            slopes[:, k] = load_of(evidence, evidence.shifted[name]) - nominal
    means = np.array(
        [(factors[name] - 1.0) / NEIGHBOURHOOD.get(name, 1.0) if name in NEIGHBOURHOOD else 0.0 for name in names]
    )
    corrected = load_w + slopes @ means
    common = np.sqrt(np.maximum(0.0, np.einsum("ij,jk,ik->i", slopes, covariance, slopes)))
    detail = evidence.record.measured["suction_pressure"]
    noise_w = _noise_w(evidence, evidence.played)
    sd = np.sqrt(common**2 + apart_w**2 + noise_w**2 + (MODEL_FRAC * np.maximum(corrected, 0.0)) ** 2)
    good = np.isfinite(detail)
    good[:EDGE_S] = False
    mean_w = max(1.0, float(np.mean(corrected)))
    return Load(
        corrected, corrected - NORMAL_90 * sd, corrected + NORMAL_90 * sd, good,
        float(np.mean(common)) / mean_w, factors, spread,
    )  # fmt: skip


def _over_causes(
    evidence: Evidence, nominal: Floats, diagnosis: Diagnosis | None, fits: Sequence[Fit]
) -> tuple[Floats, Floats]:
    """(mean load over the causes by probability, standard deviation of what they leave open), W a row."""
    weights, loads, square = [0.0], [nominal], np.zeros(len(nominal))
    for ranked in diagnosis.ranked if diagnosis is not None else ():
        found = ranked.fits[0] if ranked.fits and ranked.fits[0] in fits else None
        played = played_with(evidence, found.hypothesis, amounts_of(evidence, found)) if found is not None else None
        if found is None or played is None or played.problem:
            weights[0] += ranked.probability
            continue
        own = load_of(evidence, played)
        open_frac = max(LEAST_OPEN_FRAC, min(1.0, found.amount_sd / abs(found.amount)))
        square += ranked.probability * (open_frac * (own - nominal)) ** 2
        weights.append(ranked.probability)
        loads.append(own)
    if len(loads) == 1:
        return nominal, square
    mean = np.average(loads, axis=0, weights=weights)
    square += np.average([(one - mean) ** 2 for one in loads], axis=0, weights=weights)
    return np.asarray(mean), np.asarray(np.sqrt(square))


def _noise_w(evidence: Evidence, played: Played) -> Floats:
    """What quick wiggles of the reconstructed heat come to, W a row: their local standard deviation over five minutes,
    less the part that the smoothing takes."""
    raw = played["evaporator_w"]
    everywhere = np.ones(len(raw), dtype=bool)
    rough = local_lines(raw, everywhere, SMOOTH_S)[0]
    smooth = local_lines(raw, everywhere, 3.0 * SMOOTH_S)[0]
    square = local_lines((rough - smooth) ** 2, everywhere, 120.0)[0]
    return np.asarray(np.sqrt(np.maximum(0.0, square)) / math.sqrt(2.0))
