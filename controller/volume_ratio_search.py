"""Slow search of the volume-ratio slide on the motor's power: an offset to the worked-out position, where kW is fitted.

A ± 10 % error in volume ratio costs only about 0.5 % of power (computed in a trial), so the search is slow, compares
averages, asks for a gain worth having, moves only while the plant is steady, and gives up at the edge of its band.
Off by default.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from numba.extending import register_jitable as kernel

from controller.setting_fields import Switch, choice, duration, percent

PRACTICE = "common practice, no source"


@dataclass(frozen=True, slots=True)
class SearchSettings:
    """The power search."""

    enabled: Switch = field(
        default=Switch.OFF, metadata=choice(Switch, "what it may gain is near what it can see; for a fitted kW signal")
    )
    step_pct: float = percent(3.0, 0.5, 10.0, f"of travel, clear of the neutral zone; {PRACTICE}")
    settle_ms: int = duration(60_000, 5_000, 1_800_000, f"after a step, before averaging; {PRACTICE}")
    average_ms: int = duration(120_000, 5_000, 1_800_000, f"of power; {PRACTICE}")
    worth_pct: float = percent(0.15, 0.01, 5.0, f"of power: less is no gain; {PRACTICE}")
    band_pct: float = percent(12.0, 1.0, 30.0, f"either side of the worked-out position; {PRACTICE}")
    steady_capacity_pct: float = percent(1.5, 0.1, 20.0, f"capacity position may move by this; {PRACTICE}")
    steady_pressure_pct: float = percent(2.0, 0.1, 20.0, f"pressure ratio may move by this; {PRACTICE}")


@dataclass(slots=True)
class SearchState:
    """Offset in use, and the comparison in hand."""

    offset_pct: float = 0.0
    best_pct: float = 0.0  # the offset that `best_kw` was measured at
    best_kw: float = 0.0  # 0: none yet
    direction: float = 1.0
    failures: int = 0  # steps in a row that were not worth it: after one each way the search rests
    sum_kw_ms: float = 0.0
    phase_ms: int = 0
    capacity_pct: float = 0.0
    pressure_ratio: float = 0.0
    given_up: bool = False


@kernel
def start_afresh(state: SearchState, capacity_pct: float, pressure_ratio: float) -> None:
    """Another operating point: forget what was compared, and go back to the last offset that was good."""
    s = state
    s.offset_pct = s.best_pct
    s.best_kw = 0.0
    s.failures = 0
    s.sum_kw_ms = 0.0
    s.phase_ms = 0
    s.capacity_pct = capacity_pct
    s.pressure_ratio = pressure_ratio


@kernel
def stop_search(state: SearchState) -> None:
    """Nothing to search: no offset, and a new beginning next time."""
    s = state
    s.offset_pct = 0.0
    s.best_pct = 0.0
    s.best_kw = 0.0
    s.failures = 0
    s.sum_kw_ms = 0.0
    s.phase_ms = 0
    s.given_up = False


@kernel
def judge_average(settings: SearchSettings, state: SearchState, average_kw: float) -> None:
    """Keep the offset if its average is worth it, else go back and try the other way; then step on."""
    c = settings
    s = state
    if s.best_kw == 0.0 or average_kw < s.best_kw * (1.0 - 0.01 * c.worth_pct):
        if s.best_kw != 0.0:
            s.failures = 0
        s.best_kw = average_kw
        s.best_pct = s.offset_pct
    else:
        s.failures += 1
        s.direction = -s.direction
        s.offset_pct = s.best_pct
    if s.failures < 2:
        next_pct = s.best_pct + s.direction * c.step_pct
        if abs(next_pct) > c.band_pct:
            s.given_up = True  # so far off, the worked-out position or the signal is wrong: trust neither offset
            s.offset_pct = 0.0
            s.best_pct = 0.0
        else:
            s.offset_pct = next_pct


@kernel
def search_power(
    settings: SearchSettings,
    state: SearchState,
    power_kw: float,
    believed: bool,
    capacity_pct: float,
    pressure_ratio: float,
    dt_ms: int,
) -> float:
    """Offset in % of travel to add to the worked-out position.  Call it in AUTOMATIC only; `stop_search` elsewhere."""
    c = settings
    s = state
    if c.enabled == Switch.OFF or s.given_up:
        return s.offset_pct
    moved = abs(capacity_pct - s.capacity_pct) > c.steady_capacity_pct
    moved = moved or abs(pressure_ratio - s.pressure_ratio) > 0.01 * c.steady_pressure_pct * s.pressure_ratio
    if moved or not believed or power_kw <= 0.0:
        start_afresh(s, capacity_pct, pressure_ratio)
        return s.offset_pct
    s.phase_ms += dt_ms
    if s.phase_ms > c.settle_ms:
        s.sum_kw_ms += power_kw * dt_ms
    if s.phase_ms >= c.settle_ms + c.average_ms:
        if s.failures < 2:
            # the first scan beyond settle_ms may begin late, so the sum covers what it covers
            covered_ms = s.phase_ms - c.settle_ms
            judge_average(c, s, s.sum_kw_ms / covered_ms)
        s.sum_kw_ms = 0.0
        s.phase_ms = 0
    return s.offset_pct


def cross_check(settings: SearchSettings) -> list[str]:
    """Contradictions between fields, in plain words."""
    if settings.step_pct > settings.band_pct:
        return ["search: step must not be wider than band"]
    return []
