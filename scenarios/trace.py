"""The trace of a run: columns on one time axis, the events beside them, and what they came from.

On disk a run is a folder: `trace.parquet`, `events.csv`, `scores.json`, `report.html`.  It is written beside its place
and renamed, so that a folder under its final name is always whole.
"""

from __future__ import annotations

import glob
import json
import os
import shutil
from dataclasses import dataclass, field
from enum import IntEnum
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import polars as pl
from numpy.typing import NDArray

from controller.process_image import Trip
from scenarios.row import COLUMNS, FORMS, UNITS

Floats = NDArray[np.float64]

FORMAT_VERSION = 1


class Event(NamedTuple):
    """One line of events.csv."""

    time_ms: int
    kind: str  # drive, sequence, inhibit, trip, alarm, start, motor, disturbance, operator, instrument, run
    source: str  # the column or the event kind it comes from
    text: str


@dataclass(slots=True)
class Trace:
    """A run's record.  `values[name]` is a float array of one value a row; a state is its enumeration's number."""

    values: dict[str, Floats]
    events: list[Event]
    metadata: dict[str, str] = field(default_factory=dict)

    def __getitem__(self, name: str) -> Floats:
        return self.values[name]

    @property
    def time_s(self) -> Floats:
        """Seconds since the start, derived from the key `time_ms`."""
        return self.values["time_ms"] / 1000.0


_EDGE_KINDS = {
    "mode": "sequence",
    "inhibit": "inhibit",
    "trip_first_out": "trip",
    "trip_word": "trip",
    "alarm_word": "alarm",
    "start_refused": "start",
    "stop_reason": "start",
    "motor_run": "motor",
    "motor_running": "motor",
    "oil_pump": "motor",
}


def _word(bits: int) -> str:
    names = [cause.name for cause in Trip if cause and bits >> int(cause) & 1]
    unknown = bits & ~sum(1 << int(cause) for cause in Trip if cause)
    return " + ".join(names + ([f"bits {unknown:#x}"] if unknown else [])) or "none"


def _state(form: Any, value: float) -> str:
    """A state's name; a foreign controller may say a number that is none."""
    if issubclass(form, IntEnum):
        known = {int(member): member.name for member in form}
        return str(known.get(int(value), f"unknown {int(value)}"))
    if form is bool:
        return "on" if value else "off"
    return _word(int(value))


def edge_events(edges: Floats) -> list[Event]:
    """Changes recorded by the engine, shape (n, 4): time_ms, column, old, new."""
    out = []
    for time_ms, column, old, new in edges.tolist():
        name = COLUMNS[int(column)]
        form = FORMS[name]
        text = _state(form, new) if form is bool else f"{_state(form, old)} → {_state(form, new)}"
        out.append(Event(int(time_ms), _EDGE_KINDS.get(name, "drive"), name, text))
    return out


def trace_of(rows: Floats, edges: Floats, noted: list[Event], metadata: dict[str, str]) -> Trace:
    """A trace from the engine's buffers: rows (n, columns), edges (m, 4), and what the event processes noted."""
    values = {name: np.ascontiguousarray(rows[:, k]) for k, name in enumerate(COLUMNS)}
    events = sorted([*noted, *edge_events(edges)], key=lambda event: event.time_ms)  # stable: cause before effect
    return Trace(values, events, metadata)


def to_frame(trace: Trace) -> pl.DataFrame:
    """The trace as a table with each column's own type; states as words."""
    columns: list[pl.Series] = []
    for name in COLUMNS:
        form, data = FORMS[name], trace.values[name]
        if form is float:
            columns.append(pl.Series(name, data))
        elif form is bool:
            columns.append(pl.Series(name, data != 0.0))
        elif issubclass(form, IntEnum):
            names = [member.name for member in form]
            numbers = data.astype(np.int64)
            top = max(int(member) for member in form)
            known = np.where((numbers >= 0) & (numbers <= top), numbers, len(names))
            words = np.array([*names, None], dtype=object)[known]
            columns.append(pl.Series(name, words.tolist(), dtype=pl.Enum(names)))
        else:
            columns.append(pl.Series(name, data.astype(np.int64)))
        if name == "time_ms":
            columns.append(pl.Series("time_s", trace.time_s))
    return pl.DataFrame(columns)


def write_trace(trace: Trace, folder: Path) -> None:
    """Write trace.parquet and events.csv into an existing folder."""
    metadata = {
        **trace.metadata,
        "format_version": str(FORMAT_VERSION),
        "units": json.dumps({**UNITS, "time_s": "s"}, ensure_ascii=False),
    }
    to_frame(trace).write_parquet(folder / "trace.parquet", compression="zstd", metadata=metadata)
    events = pl.DataFrame(trace.events, schema=["time_ms", "kind", "source", "text"], orient="row")
    events.write_csv(folder / "events.csv")


def read_trace(folder: Path) -> Trace:
    """Read a run's folder back.  Raises OSError or polars' own error for a folder that is none."""
    path = folder / "trace.parquet"
    frame = pl.read_parquet(path)
    values: dict[str, Floats] = {}
    for name in COLUMNS:
        series = frame.get_column(name)
        form = FORMS[name]
        if issubclass(form, IntEnum):
            series = series.cast(pl.String).replace_strict({m.name: int(m) for m in form}, return_dtype=pl.Float64)
        values[name] = series.cast(pl.Float64).to_numpy()
    words = dict.fromkeys(("kind", "source", "text"), pl.String)
    table = pl.read_csv(folder / "events.csv", schema_overrides={"time_ms": pl.Int64, **words})
    events = [Event(int(t), str(kind), str(source), str(text)) for t, kind, source, text in table.iter_rows()]
    metadata = {key: value for key, value in pl.read_parquet_metadata(path).items() if key != "ARROW:schema"}
    return Trace(values, events, metadata)


def _alive(owner: str) -> bool:
    """Whether a process of this number runs here; a number that cannot be asked for counts as alive."""
    try:
        os.kill(int(owner), 0)
    except ProcessLookupError:
        return False
    except (OSError, ValueError, OverflowError):
        return True
    return True


def partial_folder(final: Path) -> Path:
    """The folder beside `final` in which it is built; what a killed process left of such folders is cleared away."""
    partial = final.parent / f".{final.name}.partial-{os.getpid()}"
    for word in ("partial", "old"):
        for left in final.parent.glob(f".{glob.escape(final.name)}.{word}-*"):
            owner = left.name.rpartition("-")[2]
            if owner == str(os.getpid()) or not _alive(owner):
                shutil.rmtree(left, ignore_errors=True)
    partial.mkdir(parents=True)
    return partial


def publish(partial: Path, final: Path) -> None:
    """Give a finished folder its name.  A folder that stood there is moved aside first and removed last."""
    aside: Path | None = None
    if final.exists():
        aside = final.parent / f".{final.name}.old-{os.getpid()}"
        if aside.exists():
            shutil.rmtree(aside)
        final.rename(aside)
    try:
        partial.rename(final)
    except OSError:
        if aside:
            aside.rename(final)
        raise
    if aside:
        shutil.rmtree(aside)
