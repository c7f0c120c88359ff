"""Synthetic logs for the identification's tests, simulated by scipy.signal on a fine grid: nothing of ours is in them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from scipy.signal import TransferFunction, lfilter, lsim

Moves = tuple[tuple[float, float], ...]  # (time s, travel % that the slide then goes to)
BUMPS: Moves = ((60.0, 55.0), (180.0, 50.0), (300.0, 45.0), (420.0, 50.0))


def travel(time_s: np.ndarray, moves: Moves, start_pct: float = 50.0, speed_pct_s: float = 2.0) -> np.ndarray:
    """A slide at constant speed."""
    out, here = np.full(len(time_s), start_pct), start_pct
    for at_s, to_pct in moves:
        way = np.sign(to_pct - here)
        out += way * np.clip((time_s - at_s) * speed_pct_s, 0.0, abs(to_pct - here))
        here = to_pct
    return out


def pressure(
    time_s: np.ndarray,
    travel_pct: np.ndarray,
    gain: float,
    lag_s: float | None,
    dead_s: float,
    load: np.ndarray | float = 0.0,
) -> np.ndarray:
    """scipy's lsim; gain in kPa per % (negative), or per s and % with lag None; load: kPa/s that the load alone does."""
    late = np.interp(time_s - dead_s, time_s, travel_pct - travel_pct[0], left=0.0)
    slope = gain if lag_s is None else gain / lag_s
    system = TransferFunction([1.0], [1.0, 0.0 if lag_s is None else 1.0 / lag_s])
    return np.asarray(lsim(system, slope * late + load, time_s)[1])


def synthetic(
    gain: float = -3.0, lag_s: float | None = 40.0, dead_s: float = 3.0, length_s: float = 600.0, step_s: float = 1.0,
    noise_kpa: float = 0.3, kind: str = "white", moves: Moves = BUMPS, seed: int = 0, position_noise_pct: float = 0.05,
    load_kpa_s: float = 0.004,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:  # fmt: skip
    """Time, travel and pressure.  kind: white, ar (0.9 from second to second), or walk (a load that wanders, and white)."""
    rng = np.random.default_rng(seed)
    fine = 20
    t = np.arange(int(length_s / step_s) * fine) * (step_s / fine)
    load = np.full(len(t), load_kpa_s)
    if kind == "walk":
        forget = np.exp(-step_s / fine / 10.0)
        load += 0.02 * lfilter([np.sqrt(1.0 - forget**2)], [1.0, -forget], rng.standard_normal(len(t)))
    u = travel(t, moves)
    y = 290.0 + pressure(t, u, gain, lag_s, dead_s, load)
    t, u, y = t[::fine], u[::fine], y[::fine]
    if kind == "ar":
        slow = lfilter([np.sqrt(1.0 - 0.81)], [1.0, -0.9], rng.standard_normal(len(t) + 200))[200:]
        y = y + noise_kpa * slow
    else:
        y = y + noise_kpa * rng.standard_normal(len(t))
    return t, u + position_noise_pct * rng.standard_normal(len(t)), y


def write_log(
    path: Path, t: np.ndarray, u: np.ndarray, y: np.ndarray,
    header: str = "Time [s];Capacity position [%];Suction pressure [kPa abs]", delimiter: str = ";",
) -> Path:  # fmt: skip
    """A log as most loggers write it."""
    rows = [f"{a:.2f}{delimiter}{b:.3f}{delimiter}{c:.4f}" for a, b, c in zip(t, u, y, strict=True)]
    path.write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")
    return path
