"""Rows of a tuning result that come from the linear side: map, bump and relay tests, logs, rules, coupling, cycles.

Names end in their units; see `tuning_result`, which holds them all.  Results are an engineering aid on a simulated plant.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Bump:
    """A simulated bump test at a point of the map.

    Process found by the bump; `*_apart_*`: the bump on the whole plant against the same bump on the map's linearised plant,
    as shares of the latter; nan where one of the two is integrating.  flagged: the figures more than 10 % apart.
    flagged_form: those of the map's reduced first-order process: what a form misses, which no margin is taken from.
    With `why_not` no bump was possible and the rest is 0 or nan.
    """

    bump_pct: float
    slope_kpa_s_pct: float
    dead_time_s: float
    lag_s: float  # 0 where it found an integrator
    integrating: bool
    gain_apart_frac: float
    lag_apart_frac: float
    slope_apart_frac: float
    response_apart_frac: float
    dead_time_apart_s: float
    trace_error_frac: float
    flagged: tuple[str, ...]
    flagged_form: tuple[str, ...] = ()
    why_not: str = ""


@dataclass(frozen=True, slots=True)
class MapRow:
    """A point and direction of the operating map: process of the capacity loop, bump test, margins of the chosen settings.

    `gain_kpa_pct` is None for an integrating process.  `controller_gain_pct_kpa` and the margins are of the chosen
    controller's linear loop there, margins from the unreduced response; nan where the controller has no such loop (a step
    control).  ms_spread: the worst corner of the parameter spread.
    """

    where: str
    capacity_travel_frac: float
    pressure_ratio: float
    level_frac: float
    evaporating_k: float
    direction: str  # "falling" (loading) or "rising"
    suction_pa: float
    discharge_pa: float
    load_w: float
    integrating: bool
    gain_kpa_pct: float | None
    slope_kpa_s_pct: float  # gain over the longest lag, or the integrator's
    dead_time_s: float
    lags_s: tuple[float, ...]
    fit_error_frac: float
    stroke_s: float
    measured: bool  # the process comes from the log that was given
    controller_gain_pct_kpa: float
    integral_s: float
    ms: float
    ms_spread: float
    gain_margin: float
    phase_margin_deg: float
    bump: Bump | None = None


@dataclass(frozen=True, slots=True)
class SkippedRow:
    """A point of the grid at which the plant cannot stand, and why."""

    capacity_travel_frac: float
    pressure_ratio: float
    level_frac: float
    evaporating_k: float
    reason: str


@dataclass(frozen=True, slots=True)
class RelayRow:
    """A simulated relay experiment against the map: ultimate gain and period of both, and of the plain reading.

    The experiment goes both ways; the map's figures are the geometric mean of its two directions there.
    """

    where: str
    ultimate_gain_pct_kpa: float
    ultimate_period_s: float
    map_ultimate_gain_pct_kpa: float
    map_ultimate_period_s: float
    describing_function_gain_pct_kpa: float
    describing_function_period_s: float
    why_not: str = ""


@dataclass(frozen=True, slots=True)
class MeasuredRow:
    """What a logged test on the plant gave, in words and figures; intervals are 95 % ones (None: not found)."""

    file: str
    sha256: str
    where: str  # the point of the map that it stands for
    form: str
    slope_kpa_s_pct: tuple[float, float, float]  # value, low, high
    dead_time_s: tuple[float, float, float]
    lag_s: tuple[float, float, float] | None
    model_slope_kpa_s_pct: float
    model_dead_time_s: float  # without drive and cabinet, as the log has it
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RuleRow:
    """A published rule on the whole map: its settings as a schedule, its worst margins, and why it was not searched from.

    As the rule says, without regard to the limits on Ms; `holds` tells whether it keeps them anyway.  `trial` is its number
    in the search (None: it was not a start).
    """

    name: str
    proportional_band_kpa: float
    integral_s: float
    gain_multiplier: tuple[float, ...]  # at 0, 10 … 100 % position
    ms: float
    ms_spread: float
    gain_margin: float
    phase_margin_deg: float
    holds: bool
    trial: int | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class ScheduleRow:
    """The gain schedule at a travel: what the chosen settings give, and the bounds that hold Ms there.

    Bounds are at the chosen integral time and drive zones, over all points of the map at the nearest travels; nan where no
    gain holds Ms.
    """

    position_pct: float
    gain_pct_kpa: float
    least_pct_kpa: float
    most_pct_kpa: float


@dataclass(frozen=True, slots=True)
class CouplingRow:
    """The two slides at a point: relative gain at rest and where the capacity loop works, Ms alone and with the other."""

    where: str
    capacity_travel_frac: float
    volume_ratio_travel_frac: float
    pressure_ratio: float
    direction: str
    relative_gain: float
    relative_gain_at_crossover: float  # magnitude
    through_path_kg_s: float
    ms_alone: float
    ms_coupled: float
    ms_shared_oil: float


@dataclass(frozen=True, slots=True)
class CycleRow:
    """A limit cycle: predicted, and as a simulation showed it.  Amplitudes are half of peak to peak; 0 for none.

    simulated_on: "small loop" (linear process with the cabinet's own blocks) or "whole plant".  error_frac is predicted
    over seen amplitude, less 1; nan where there is nothing to compare.
    """

    where: str
    predicted_amplitude_kpa: float
    predicted_period_s: float
    dies_out: bool
    why: str
    simulated_on: str
    seen_amplitude_kpa: float
    seen_period_s: float
    error_frac: float
