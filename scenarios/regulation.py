"""How well a pressure was held: settling after disturbances, and the minimum-variance index."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

Floats = NDArray[np.float64]

HARRIS_ORDER = 20
HARRIS_SAMPLE_S = 5.0  # a fifth of a usual slide stroke; common practice, no source
HARRIS_DELAY_SAMPLES = 3  # 15 s from a drive to the pressure: pulse, slide and vessel; common practice, no source


@dataclass(frozen=True, slots=True)
class Settling:
    """One disturbance: `settling_s` from it to the last time outside the band, before the next one or the end.

    `settled` is False if the deviation was still outside the band then; the time given is the whole wait.
    """

    time_ms: int
    text: str
    settling_s: float
    settled: bool


def settling_times(
    time_ms: Floats, deviation_k: Floats, disturbances: list[tuple[int, str]], band_k: float
) -> tuple[Settling, ...]:
    """Settling after each disturbance (time_ms, text); those at the same time count as one."""
    if not len(time_ms):
        return ()
    merged: dict[int, list[str]] = {}
    for at_ms, text in disturbances:
        if time_ms[0] <= at_ms <= time_ms[-1]:
            merged.setdefault(at_ms, []).append(text)
    starts = sorted(merged)
    out = []
    for start, end in zip(starts, [*starts[1:], None], strict=False):  # no starts, no round
        first = int(np.searchsorted(time_ms, start, side="left"))
        last = len(time_ms) if end is None else int(np.searchsorted(time_ms, end, side="left"))
        inside = np.abs(deviation_k[first:last]) <= band_k
        if not len(inside):
            continue
        beyond = np.flatnonzero(~inside)
        settled = bool(inside[-1])
        if not len(beyond):
            settling = 0.0
        elif settled:
            settling = (time_ms[first + beyond[-1] + 1] - start) / 1000.0
        else:
            settling = ((time_ms[-1] if end is None else end) - start) / 1000.0
        out.append(Settling(start, "; ".join(merged[start]), float(settling), settled))
    return tuple(out)


def harris_index(deviation: Floats, delay_samples: int, order: int = HARRIS_ORDER) -> float | None:
    """Minimum variance over actual variance: 1 = no controller could do better with this dead time, 0 = much worse.

    The deviation is described by an autoregressive model of `order`, fitted by least squares; its impulse response up
    to the delay is what no feedback can remove (Harris, Can. J. Chem. Eng. 67, 1989).  The mean is removed first.  None
    if there are fewer than ten samples a coefficient, or nothing varies.
    """
    y = deviation - np.mean(deviation)
    if len(y) < 10 * order or float(np.var(y)) < 1e-18:
        return None
    past: Any = sliding_window_view(y[:-1], order)[:, ::-1]
    present = y[order:]
    normal = past.T @ past
    # a trace of regularisation: a smooth pressure makes the past nearly collinear
    normal[np.diag_indices(order)] *= 1.0 + 1e-9
    coefficients = np.linalg.solve(normal, past.T @ present)
    residual_variance = float(np.mean((present - past @ coefficients) ** 2))
    response = np.zeros(delay_samples)
    response[0] = 1.0
    for k in range(1, delay_samples):
        lags = min(k, order)
        response[k] = float(np.dot(coefficients[:lags], response[k - 1 :: -1][:lags]))
    index = residual_variance * float(np.dot(response, response)) / float(np.var(y))
    return min(1.0, index)
