"""The stretch of a log that is replayed: every signal on one grid of whole seconds, in SI, with what may be believed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from controller.process_image import Trip
from plant_model.instruments import Channel

Floats = NDArray[np.float64]
Marks = NDArray[np.bool_]
NAMES = tuple(channel.name.lower() for channel in Channel)
GRID_MS = 1000


@dataclass(slots=True)
class Record:
    """One stretch with the machine in service, row i at `start_ms` + i · 1 s.

    measured: by instrument (`Channel` names), SI, as the cabinet read it, NaN where the log has nothing to be believed;
    frozen, open_, shorted: rows in which an instrument did not move by one count or its loop had failed; on_ms: drive
    on-time within the row, by drive, only where the log has it; switches: contacts and commands by their names in the
    process image; words: states (mode, inhibit …) as numbers; sample_ms: how often the logger wrote an analog signal.
    """

    start_ms: int
    measured: dict[str, Floats]
    frozen: dict[str, Marks]
    open_: dict[str, Marks]
    shorted: dict[str, Marks]
    switches: dict[str, Marks] = field(default_factory=dict)
    words: dict[str, NDArray[np.int64]] = field(default_factory=dict)
    on_ms: dict[str, Floats] = field(default_factory=dict)
    sample_ms: int = 1000
    change_of_value: bool = False
    trip: Trip = Trip.NONE
    trip_row: int = -1  # first row with the trip latched, -1 for none
    notes: list[str] = field(default_factory=list)

    @property
    def rows(self) -> int:
        """How many seconds."""
        return len(next(iter(self.measured.values())))

    @property
    def last_running_row(self) -> int:
        """The last row before trip or stop."""
        return self.trip_row - 1 if self.trip_row > 0 else self.rows - 1

    def has(self, name: str) -> bool:
        """True if an instrument is in the log for at least half of the time."""
        values = self.measured.get(name)
        return values is not None and float(np.mean(np.isfinite(values))) > 0.5

    def part(self, first: int, last: int) -> Record:
        """Rows first..last−1 as a record of their own."""
        cut = slice(first, last)

        def cut_all(items: Mapping[str, NDArray]) -> dict[str, NDArray]:  # type: ignore[type-arg]
            return {name: values[cut] for name, values in items.items()}

        trip_row = self.trip_row - first if first <= self.trip_row < last else -1
        return Record(
            self.start_ms + first * GRID_MS, cut_all(self.measured), cut_all(self.frozen), cut_all(self.open_),
            cut_all(self.shorted), cut_all(self.switches), cut_all(self.words), cut_all(self.on_ms), self.sample_ms,
            self.change_of_value,
            self.trip if trip_row >= 0 else Trip.NONE, trip_row, list(self.notes),
        )  # fmt: skip


LONGEST_S = 3600
RUN_UP_S = 120
PINNED = ("suction_pressure", "discharge_pressure", "capacity_position", "volume_ratio_position")
HELD_S = 5  # a steering signal may be missing so long before the event
BRIDGED_S = 300  # and so long before that


def stretch_of(record: Record, longest_s: int = LONGEST_S) -> tuple[int, int]:
    """First and last-plus-one row of what is replayed: the service up to the trip, or to the first stop after ten
    minutes of it, at most the hour before; it ends where a steering signal is lost.  (0, 0) if there is none."""
    running = record.switches.get("motor_running")
    if running is None:
        current = record.measured.get("motor_current")
        running = np.ones(record.rows, dtype=bool) if current is None else filled(current) > 5.0
    if "motor_run" in record.switches:  # the command goes before the contact: without it no motor runs in the model
        running = running & record.switches["motor_run"]
    end = record.trip_row if record.trip_row >= 0 else record.rows
    if record.trip_row < 0:
        at = 0
        while at < record.rows:  # the first stop after long enough a service
            stops = np.flatnonzero(~running[at:])
            if not len(stops):
                break
            if stops[0] >= 600:
                end = at + int(stops[0])
                break
            starts = np.flatnonzero(running[at + int(stops[0]) :])
            at = at + int(stops[0]) + int(starts[0]) if len(starts) else record.rows
    stops = np.flatnonzero(~running[:end])
    while len(stops) and stops[-1] >= end - 5:  # the row of the stop itself
        end = int(stops[-1])
        stops = stops[:-1]
    if end < record.rows and not record.change_of_value:
        end -= record.sample_ms // GRID_MS  # rows between the last sample before and the first one after belong to both
    first = int(stops[-1]) + 1 + RUN_UP_S if len(stops) else 0
    first = max(first, end - longest_s)
    for name in PINNED:
        values = record.measured.get(name)
        if values is None:
            return 0, 0
        known = np.flatnonzero(np.isfinite(values[:end]))
        if not len(known):
            return 0, 0
        if end - 1 - known[-1] > HELD_S:  # lost before the event: what follows is not to be steered by
            end = int(known[-1]) + 1
        for k in np.flatnonzero(np.diff(known) > BRIDGED_S):  # too long a gap to bridge by a straight line
            if known[k + 1] < end:
                first = max(first, int(known[k + 1]))
    if end - first < 420:
        return 0, 0
    return first, end


def filled(values: Floats) -> Floats:
    """The same with gaps bridged by straight lines, ends held; all NaN stays so."""
    good = np.isfinite(values)
    if not good.any():
        return values
    at = np.arange(len(values))
    return np.asarray(np.interp(at, at[good], values[good]))


def local_lines(values: Floats, good: Marks, half_width: float) -> tuple[Floats, Floats]:
    """Smoothed values and slopes per row: at each row the weighted straight line through what is near (LOESS of first
    order with a Gaussian weight of standard deviation `half_width` rows; Cleveland, JASA 74, 1979).

    Rows without a good value are bridged by what stands beside them.
    """
    reach = int(np.ceil(3.0 * half_width))
    offset = np.arange(-reach, reach + 1, dtype=float)
    weight = np.exp(-0.5 * (offset / half_width) ** 2)
    w = good.astype(float)
    y = np.where(good, values, 0.0)

    def spread(data: Floats, power: int) -> Floats:
        kernel = weight * offset**power
        # correlation: sum over offsets of weight(o) o^power data(i + o)
        return np.asarray(np.convolve(data, kernel[::-1], mode="full")[reach : reach + len(data)])

    s0, s1, s2 = spread(w, 0), spread(w, 1), spread(w, 2)
    t0, t1 = spread(y, 0), spread(y, 1)
    det = s0 * s2 - s1 * s1
    safe = det > 1.0e-9 * np.maximum(s0 * s2, 1.0e-300)
    det = np.where(safe, det, 1.0)
    level = np.where(safe, (s2 * t0 - s1 * t1) / det, np.where(s0 > 0.0, t0 / np.maximum(s0, 1.0e-300), np.nan))
    slope = np.where(safe, (s0 * t1 - s1 * t0) / det, 0.0)
    return filled(level), np.asarray(slope)
