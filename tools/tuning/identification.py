"""From a logged step or relay test to the process that tuning uses, with honest intervals, or a refusal in words.

What is found is the plant from the slide's own position to the logged pressure: vessel, piping and transmitter.  Drive,
positioner, scan and the cabinet's filter are not in it; `Identified.in_loop` adds them.  The log should be one with the
slide in manual: a controller that answers the pressure makes slide and load disturbances look alike.

A site's figure outranks the model's at that point; it is still one test on one day.  An engineering aid, no safety system.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import partial
from pathlib import Path
from typing import NoReturn

import numpy as np
from numpy.typing import NDArray

from scenarios.errors import InputRefused, Problem
from scenarios.plant_file import saturation_from_library
from scenarios.quantities import Site
from tools.tuning.identification_drive import DriveFound, Move, calm, drive_of, moves_of
from tools.tuning.identification_fit import Fit, Interval, fit
from tools.tuning.identification_log import LoggedTest, read_logged_test
from tools.tuning.identification_record import record_of_moves, whole_record
from tools.tuning.linear_process import LinearProcess, from_slope

Float = NDArray[np.float64]

LEAST_TRAVEL_PCT = 2.0  # of excitation; a positioner's own dither is 1 to 2 %; common practice, no source
LEAST_SAMPLES = 60
LEAST_AFTER_S = 15.0  # after the first move: some dead times of 3 s; common practice, no source
COARSEST_S = 5.0  # a dead time of seconds is not seen from rarer samples
END_SHARE = 0.15  # of the log at an end stop; common practice, no source
FLAT_SHARE = 0.03  # of the log in one unbroken run at the extreme value: clipped; common practice, no source
WIDEST_FRAC = 0.5  # half interval of the slope, of the slope: the noise hides more than that
STRONG = 6.0  # difference of BIC that counts as strong (Kass & Raftery 1995, recalled)
SLOW_LAG = 8.0  # dead times: with such a lag the rules tune as for an integrator (SIMC, Skogestad 2003)
LIKELY_KPA_S_PCT = (5e-4, 3.0)  # slopes of plants between a swimming pool of refrigerant and a pipe; no source


class Form(StrEnum):
    """What the log says of the process' form."""

    INTEGRATING = "integrating"
    SELF_REGULATING = "self-regulating"
    CANNOT_TELL = "cannot tell"


@dataclass(frozen=True, slots=True)
class Quality:
    """How far the answer can be trusted."""

    samples: int
    step_s: float
    length_s: float
    travel_range_pct: float
    moves: int
    residual_kpa: float
    explained_frac: float  # of what drift and start leave unexplained
    residual_correlation: float  # of neighbours: 0 for pure noise
    slow_share: float  # of the residual's variance that is no white noise
    slow_s: float  # and the time in which that forgets
    bic_gain: float  # of the self-regulating form over the integrating one; > 6 is strong


@dataclass(frozen=True)
class Identified:
    """The process at one point.  Intervals are 95 % ones, of figures with the sign that `process` has (positive).

    slope: kPa per s and %; gain: kPa per %; lag and dead time in s; gain and lag are None for an integrating form.
    travel_pct and suction_kpa_abs say where on the map it was found.
    """

    process: LinearProcess
    form: Form
    slope: Interval
    dead_time_s: Interval
    gain: Interval | None
    lag_s: Interval | None
    drive: DriveFound
    quality: Quality
    travel_pct: float
    suction_kpa_abs: float
    notes: tuple[str, ...]
    time_s: Float
    measured_kpa: Float
    fitted_kpa: Float

    def in_loop(self, drive_delay_s: float, filter_s: float) -> LinearProcess:
        """With the delay of drive, positioner and scan and the cabinet's measurement filter, as the map's processes."""
        lags = (*self.process.lags_s, *((filter_s,) if filter_s > 0.0 else ()))
        return replace(self.process, dead_time_s=self.process.dead_time_s + drive_delay_s, lags_s=lags)

    def lines(self) -> list[str]:
        """The answer in words, for a terminal or a report."""
        q = self.quality

        def told(name: str, i: Interval | None, unit: str) -> list[str]:
            if i is None:
                return []
            return [f"{name}: {i.value:.3g} {unit} (95 %: {i.low:.3g} to {i.high:.3g})"]

        out = [
            f"form: {self.form}; at {self.travel_pct:.0f} % travel and {self.suction_kpa_abs:.0f} kPa",
            *told("slope", self.slope, "kPa/s per %"),
            *told("gain", self.gain, "kPa per %"),
            *told("lag", self.lag_s, "s"),
            *told("dead time", self.dead_time_s, "s"),
            *told("speed up", self.drive.speed_up_pct_s, "%/s"),
            *told("speed down", self.drive.speed_down_pct_s, "%/s"),
            *told("drive's dead time", self.drive.dead_time_s, "s"),
            *told("travel lost on a turn", self.drive.backlash_pct, "%"),
            f"residual: {q.residual_kpa:.2g} kPa, {100.0 * q.slow_share:.0f} % of it slow ({q.slow_s:.0f} s); the slide "
            f"explains {100.0 * q.explained_frac:.0f} %",
        ]
        return out + [f"note: {note}" for note in self.notes]


def identify(
    path: Path,
    site: Site,
    refrigerant: str = "",
    *,
    columns: Mapping[str, str] | None = None,
    window_s: tuple[float, float] | None = None,
    horizon_s: float | None = None,
) -> Identified:
    """Identify the process from a CSV log (see identification_log for its form).

    site: for gauge pressures and "sat"; refrigerant: where the site does not bring its saturation curve; columns: role →
    header where the headers do not tell; window_s: only this part of the log; horizon_s: only so long after every move
    (see identification_record; for a loop, 2/(0.2·ω180) as the operating map has it).  InputRefused where the log cannot
    answer.
    """
    if refrigerant and site.saturation_pressure_pa is None:
        curve = partial(saturation_from_library, refrigerant)
        site = replace(site, refrigerant=refrigerant, saturation_pressure_pa=curve)
    log = read_logged_test(path, site, columns)
    if window_s is not None:
        log = log.cut(*window_s)
    moves = _check(log)
    travel_pct = calm(log.position_pct)
    try:
        if horizon_s is None:
            record = whole_record(log.time_s, travel_pct, log.pressure_kpa)
        else:
            times = [(float(log.time_s[m.first]), float(log.time_s[m.last])) for m in moves]
            record = record_of_moves(log.time_s, travel_pct, log.pressure_kpa, times, horizon_s)
        straight, bent = fit(record, True), fit(record, False)
    except ValueError as error:
        _refuse(log, str(error), way_out="log longer, or faster")
    gain = straight.bic - bent.bic
    better = bent if gain > 0.0 else straight
    _check_fit(log, better)
    form, notes = _form(straight, bent, gain)
    drive = drive_of(log)
    notes = [*log.notes, *notes, *_remarks(log, better, moves, horizon_s is None), *drive.notes]
    chosen = bent if form is Form.SELF_REGULATING else straight
    slope, dead = _positive(chosen.slope), chosen.dead_time_s
    if form is Form.CANNOT_TELL:
        slope = max(slope, _positive(bent.slope), key=lambda i: i.value)
        dead = max(dead, bent.dead_time_s, key=lambda i: i.value)
    if form is Form.SELF_REGULATING:
        assert bent.gain is not None
        assert bent.lag_s is not None
        process = from_slope(bent.gain.value, False, dead.value, (bent.lag_s.value,))
    else:
        process = from_slope(-slope.value, True, dead.value)
    return Identified(
        process, form, slope, dead,
        _positive(bent.gain) if form is Form.SELF_REGULATING and bent.gain else None,
        bent.lag_s if form is Form.SELF_REGULATING else None,
        drive, _quality(log, chosen, moves, gain), float(np.median(log.position_pct)), float(log.pressure_kpa.mean()),
        tuple(notes), chosen.time_s, chosen.measured_kpa, chosen.fitted_kpa,
    )  # fmt: skip


def _quality(log: LoggedTest, found: Fit, moves: list[Move], gain: float) -> Quality:
    return Quality(
        len(log.time_s), log.step_s, float(log.time_s[-1]), float(np.ptp(calm(log.position_pct))), len(moves),
        found.residual_kpa, found.explained_frac, found.correlation, found.slow_share, found.slow_s, gain,
    )  # fmt: skip


def _positive(i: Interval) -> Interval:
    """The interval of the figure with its sign turned: more capacity, less pressure."""
    return Interval(-i.value, -i.high, -i.low)


def _form(straight: Fit, bent: Fit, gain: float) -> tuple[Form, list[str]]:
    if gain > STRONG:
        return Form.SELF_REGULATING, []
    assert bent.lag_s is not None
    slow = SLOW_LAG * max(straight.dead_time_s.high, bent.dead_time_s.high, straight.bin_s)
    if gain < 0.0 and bent.lag_s.low > slow:
        text = (
            f"integrating: a lag, if there is one, is longer than {bent.lag_s.low:.0f} s, over {SLOW_LAG:g} dead times"
        )
        return Form.INTEGRATING, [text]
    text = (
        f"the log cannot tell an integrating process from one with a lag of {bent.lag_s.low:.0f} s or more "
        f"(BIC differs by {gain:.1f}, {STRONG:g} is strong): taken as integrating with the steeper slope and the longer "
        "dead time of the two, which tunes more slowly; a longer rest after each step would tell"
    )
    return Form.CANNOT_TELL, [text]


def _refuse(log: LoggedTest, message: str, line: int = 0, limit: str = "", way_out: str = "") -> NoReturn:
    raise InputRefused(Problem(message, limit=limit, way_out=way_out).at(str(log.path), line))


def _check(log: LoggedTest) -> list[Move]:
    """Whether the log can answer at all; the slide's moves."""
    length_s = float(log.time_s[-1])
    if len(log.time_s) < LEAST_SAMPLES or length_s < 2.0 * LEAST_AFTER_S:
        text = f"too short: {len(log.time_s)} rows over {length_s:.3g} s"
        _refuse(log, text, 0, f"at least {LEAST_SAMPLES} rows and {2.0 * LEAST_AFTER_S:g} s", "wrong unit of time?")
    if log.step_s > COARSEST_S:
        text = f"a row every {log.step_s:.3g} s is too rare to see a dead time"
        _refuse(log, text, 0, f"at most {COARSEST_S:g} s", "log faster; wrong unit of time?")
    moves = moves_of(log.position_pct)
    travel = float(np.ptp(calm(log.position_pct)))
    if not moves or travel < LEAST_TRAVEL_PCT:
        text = f"no excitation: the capacity slide moved by {travel:.2g} % at most"
        _refuse(log, text, 0, f"at least {LEAST_TRAVEL_PCT:g} %", "step it by 5 % in manual, wait, and step it back")
    after_s = length_s - float(log.time_s[moves[0].first])
    if after_s < LEAST_AFTER_S:
        line = int(log.line[moves[0].first])
        text = f"too short: only {after_s:.3g} s are logged after the first move of the slide"
        _refuse(log, text, line, f"at least {LEAST_AFTER_S:g} s", "let the log run on after the step")
    for end, at_end in (("full load", log.position_pct > 99.5), ("minimum", log.position_pct < 0.5)):
        share = float(at_end.mean())
        if share > END_SHARE:
            text = f"saturated: the slide stands at its {end} stop for {100.0 * share:.0f} % of the log"
            limit = f"at most {100.0 * END_SHARE:g} %"
            _refuse(log, text, int(log.line[int(np.argmax(at_end))]), limit, "test between 20 and 80 % of travel")
    _check_range(log)
    return moves


def _check_range(log: LoggedTest) -> None:
    p = log.pressure_kpa
    if float(np.ptp(p)) < 1e-6:
        _refuse(
            log, f"the suction pressure never changes ({p[0]:.4g} kPa)", 0, "", "wrong column, or a failed transmitter?"
        )
    lively = float(np.mean(np.diff(p) != 0.0)) > 0.5  # a reading of coarse steps stands still by itself
    for word, extreme in (("highest", float(p.max())), ("lowest", float(p.min()))):
        at = p == extreme
        edges = np.flatnonzero(np.diff(np.concatenate([[0], at.astype(np.int8), [0]])))
        runs = edges[1::2] - edges[::2]
        longest = int(runs.max())
        if lively and longest >= max(10, FLAT_SHARE * len(p)):
            line = int(log.line[int(edges[::2][int(runs.argmax())])])
            text = f"saturated: the pressure stands at its {word} value, {extreme:.5g} kPa, for {longest} rows on end"
            _refuse(
                log, text, line, "", "the transmitter's range ended, or it was held; use a stretch within its range"
            )


def _check_fit(log: LoggedTest, found: Fit) -> None:
    slope = found.slope
    if slope.low > 0.0:
        text = f"reversed sign: the pressure rises when the slide loads ({slope.value:.3g} kPa/s per %)"
        _refuse(
            log, text, 0, "", "position and pressure exchanged, position counted from full load, or not this slide?"
        )
    known = slope.high < 0.0 and slope.half_width <= WIDEST_FRAC * abs(slope.value)
    if found.gain is not None:  # a lag that is short against the log: its slope is vague and its gain is not
        known = known or found.gain.half_width <= WIDEST_FRAC * abs(found.gain.value)
    if not known:
        text = (
            f"the noise hides the answer: a slope of {-slope.value:.2g} kPa/s per % with an interval from "
            f"{-slope.high:.2g} to {-slope.low:.2g}, residual {found.residual_kpa:.2g} kPa"
        )
        limit = f"of slope or gain one must be known within ± {100.0 * WIDEST_FRAC:g} %"
        _refuse(log, text, 0, limit, "a larger or longer step, at a quieter time of the plant")
    longest_s = min(60.0, 0.25 * float(log.time_s[-1]))
    if found.dead_time_s.value > 0.98 * longest_s:
        text = f"no dead time found below {longest_s:.3g} s"
        _refuse(log, text, 0, "", "wrong unit of time, columns of two clocks, or something else moved the pressure")


def _remarks(log: LoggedTest, found: Fit, moves: list[Move], whole: bool) -> list[str]:
    notes = []
    slope = -found.slope.value
    low, high = LIKELY_KPA_S_PCT
    if not low <= slope <= high:
        notes.append(f"a slope of {slope:.2g} kPa/s per % is unusual ({low:g} to {high:g}): are the units right?")
    if log.step_s > 0.5 * found.dead_time_s.high:
        notes.append(
            f"a row every {log.step_s:.3g} s is rare for a dead time of at most {found.dead_time_s.high:.2g} s"
        )
    if found.lag_s is not None and found.lag_s.high > 4.0 * found.lag_s.low:
        text = f"the lag is only known to lie between {found.lag_s.low:.2g} and {found.lag_s.high:.2g} s"
        notes.append(f"{text}: log faster, or longer after the step")
    if whole and found.explained_frac < 0.8:  # a short horizon leaves most to its own start and load
        notes.append(
            f"the slide explains only {100.0 * found.explained_frac:.0f} % of what the load's drift does not: something "
            "else moved the pressure as well"
        )
    if {move.direction for move in moves} == {1, -1}:
        notes.append(
            "the log has moves both ways; a vessel boils faster than it warms, so this is a mean of the two: "
            "give each way's part as window_s to tell them apart"
        )
    if float(log.time_s[moves[0].first]) < 5.0 * log.step_s:
        notes.append("the slide moves from the first rows on: nothing shows how the pressure stood before")
    return notes
