"""From a log as it was read to the stretch that is replayed on the plant."""

from __future__ import annotations

import numpy as np

from controller.process_image import Trip
from scenarios.logged_data.records import LoggedData, Quality, Series
from tools.replay.gridding import on_grid
from tools.replay.record import GRID_MS, Floats, Marks, Record

TO_SI = {
    "suction_pressure": ("suction_pressure_kpa_abs", 1000.0, 0.0),
    "discharge_pressure": ("discharge_pressure_kpa_abs", 1000.0, 0.0),
    "suction_temperature": ("suction_temperature_c", 1.0, 273.15),
    "discharge_temperature": ("discharge_temperature_c", 1.0, 273.15),
    "oil_pressure_before_filter": ("oil_pressure_before_filter_kpa_abs", 1000.0, 0.0),
    "oil_pressure": ("oil_pressure_kpa_abs", 1000.0, 0.0),
    "oil_temperature": ("oil_temperature_c", 1.0, 273.15),
    "oil_level": ("oil_level_pct", 0.01, 0.0),
    "motor_current": ("motor_current_a", 1.0, 0.0),
    "motor_power": ("motor_power_kw", 1000.0, 0.0),
    "capacity_position": ("capacity_position_pct", 0.01, 0.0),
    "capacity_position_opposite": ("capacity_position_opposite_pct", 0.01, 0.0),
    "volume_ratio_position": ("volume_ratio_position_pct", 0.01, 0.0),
    "volume_ratio_position_opposite": ("volume_ratio_position_opposite_pct", 0.01, 0.0),
    "process_temperature": ("process_temperature_c", 1.0, 273.15),
}  # instrument: signal, factor and offset to SI
NEEDED = ("suction_pressure", "discharge_pressure", "capacity_position", "volume_ratio_position")
CONTACTS = (
    "motor_run", "oil_pump", "injection_cooling", "motor_running", "vessel_high_high_level", "safety_chain_closed",
    "stop_button_pressed", "capacity_manual", "volume_ratio_manual",
)  # fmt: skip
STATES = ("mode", "inhibit", "trip_first_out", "trip_word")
DRIVES = ("capacity_load", "capacity_unload", "volume_ratio_increase", "volume_ratio_decrease")
QUICK_ENOUGH_MS = 250.0  # a sampled drive contact says how long it was on only when sampled faster than its pulses
BEFORE_S = 4200
AFTER_S = 30


def missing_signals(data: LoggedData) -> list[str]:
    """Signals without which the plant cannot be led along this log, by their names in the process image."""
    return [TO_SI[name][0] for name in NEEDED if TO_SI[name][0] not in data.series]


def record_of(data: LoggedData, event_ms: int, trip: Trip, injection: tuple[float, float] | None = None) -> Record:
    """The record round an event at `event_ms` (of the log's clock), which is a trip unless `trip` is NONE.

    injection: switching points of the injection-cooling valve in K, on and off, for a log that does not have its command.
    ValueError where a signal of `NEEDED` is missing.
    """
    lacking = missing_signals(data)
    if lacking:
        raise ValueError(f"not in the log: {', '.join(lacking)}")
    start_ms = max(data.start_ms, event_ms - BEFORE_S * GRID_MS)
    start_ms = event_ms - (event_ms - start_ms) // GRID_MS * GRID_MS  # a row stands at the event itself
    rows = int((event_ms - start_ms) // GRID_MS) + 1 + AFTER_S
    measured: dict[str, Floats] = {}
    frozen: dict[str, Marks] = {}
    opened: dict[str, Marks] = {}
    shorted: dict[str, Marks] = {}
    usual: list[float] = []
    sparse = 0
    for name, (signal, factor, offset) in TO_SI.items():
        series = data.series.get(signal)
        if series is None:
            continue
        times, values = _believable(series)
        usual.append(series.interval_ms)
        sparse += series.change_of_value
        measured[name], frozen[name] = on_grid(
            times, values * factor + offset, start_ms, rows, series.change_of_value, max(1000.0, series.interval_ms)
        )
        opened[name], shorted[name] = _failed(series, start_ms, rows)
        measured[name][opened[name] | shorted[name]] = np.nan
    switches = {name: _contact(data.series[name], start_ms, rows) for name in CONTACTS if name in data.series}
    words = {name: _state(data.series[name], start_ms, rows) for name in STATES if name in data.series}
    if "injection_cooling" not in switches and injection is not None and "discharge_temperature" in measured:
        switches["injection_cooling"] = _injection(measured["discharge_temperature"], *injection)
    trip_row = rows - 1 - AFTER_S if trip is not Trip.NONE else -1
    sample_ms = int(np.median([step for step in usual if step > 0.0] or [1000.0]))
    return Record(
        start_ms, measured, frozen, opened, shorted, switches, words, _on_times(data, start_ms, rows),
        max(1000, sample_ms), sparse * 2 > len(measured), trip, trip_row,
    )  # fmt: skip


def _believable(series: Series) -> tuple[np.ndarray, Floats]:
    """Samples with nothing against them but a repaired clock or standing still, which is judged here."""
    against = series.quality & ~np.uint8(Quality.CLOCK | Quality.STUCK)
    keep = (against == 0) & np.isfinite(series.values)
    return series.time_ms[keep], series.values[keep]


def _failed(series: Series, start_ms: int, rows: int) -> tuple[Marks, Marks]:
    """Rows in which the card called the loop failed: below range (open), above (shorted)."""
    opened, shorted = np.zeros(rows, dtype=bool), np.zeros(rows, dtype=bool)
    bad = (series.quality & np.uint8(Quality.OUT_OF_RANGE)) != 0
    if bad.any():
        good = series.values[~bad & np.isfinite(series.values)]
        middle = float(np.median(good)) if len(good) else 0.0
        at = np.clip((series.time_ms[bad] - start_ms) // GRID_MS, -1, rows)
        for row, value in zip(at.tolist(), series.values[bad].tolist(), strict=True):
            if 0 <= row < rows:
                (opened if value < middle else shorted)[row] = True
    return opened, shorted


def _held(series: Series, start_ms: int, rows: int) -> Floats:
    held, _ = series.held(start_ms + GRID_MS * np.arange(rows, dtype=np.int64))
    return np.nan_to_num(held)


def _contact(series: Series, start_ms: int, rows: int) -> Marks:
    return np.asarray(_held(series, start_ms, rows) > 0.5)


def _state(series: Series, start_ms: int, rows: int) -> np.ndarray:
    return _held(series, start_ms, rows).astype(np.int64)


def _injection(discharge_k: Floats, on_k: float, off_k: float) -> Marks:
    out = np.zeros(len(discharge_k), dtype=bool)
    now = False
    for k, value in enumerate(discharge_k.tolist()):
        now = value >= on_k or (now and value > off_k)  # a gap keeps it off: a comparison with nan is false
        out[k] = now
    return out


def _on_times(data: LoggedData, start_ms: int, rows: int) -> dict[str, Floats]:
    """Drive on-times a row: logged as such, or from contacts that are logged at each change or faster than a pulse."""
    out: dict[str, Floats] = {}
    for name in DRIVES:
        counted = data.series.get(f"{name}_on_ms")
        if counted is not None:
            row = (counted.time_ms - start_ms) // GRID_MS
            inside = (row >= 0) & (row < rows) & np.isfinite(counted.values)
            out[name] = np.asarray(
                np.bincount(row[inside].astype(int), weights=counted.values[inside], minlength=rows),
                dtype=np.float64,
            )
            continue
        contact = data.series.get(name)
        if contact is None or not (contact.change_of_value or 0.0 < contact.interval_ms <= QUICK_ENOUGH_MS):
            return {}
        fine_ms = start_ms + 50 * np.arange(20 * rows, dtype=np.int64)
        held, _ = contact.held(fine_ms)
        out[name] = 50.0 * (np.nan_to_num(held) > 0.5).reshape(rows, 20).sum(axis=1)
    return out
