"""What the log says less what the model says, by channel and stretch of time, and how far either may be off by itself.

A channel is an instrument at the place where it is mounted, or what the log's pressures ask of the plant: the effective
wet bulb (condenser), the motion of a slide against its drive's on-times, the apparent load.  Means over blocks: a minute
early in the stretch, half a minute later, five seconds in the last minute.

Three errors are allowed for in each channel: noise (from the log itself), a slow wandering of the model (correlation time
eight minutes) and a constant offset, because no model fits a plant to the last kelvin.  Their sizes below are the
project's own choice, no source.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from plant_model.derived import Parameters
from tools.replay.playback import Played
from tools.replay.record import NAMES, Floats, Record, filled

SETTLE_S = 240  # the model's oil and metal find their temperatures
SLOW_S = 480.0


@dataclass(frozen=True, slots=True)
class Channel:
    """One residual: unit for people, and standard deviations of wandering and offset in it."""

    name: str
    unit: str
    slow: float
    offset: float
    text: str


CHANNELS = (
    Channel("process_temperature", "K", 0.15, 0.6, "room or process thermometer"),
    Channel("motor_power", "W", 700.0, 2000.0, "motor power transducer"),
    Channel("motor_current", "A", 1.2, 4.0, "motor current transducer"),
    Channel("discharge_temperature", "K", 0.3, 1.5, "discharge thermometer"),
    Channel("oil_pressure_before_filter", "Pa", 1500.0, 8000.0, "oil transmitter before the filter"),
    Channel("filter_drop", "Pa", 800.0, 6000.0, "oil transmitters before less after the filter"),
    Channel("oil_temperature", "K", 0.3, 2.0, "oil thermometer"),
    Channel("oil_level", "1", 0.004, 0.05, "oil level"),
    Channel("suction_temperature", "K", 0.25, 2.0, "suction thermometer"),
    Channel("wet_bulb", "K", 0.7, 6.0, "wet bulb that the condenser would need"),
    Channel("capacity_gap", "1", 0.002, 0.01, "capacity pair, second half less first"),
    Channel("volume_ratio_gap", "1", 0.002, 0.01, "volume-ratio pair, second half less first"),
    Channel("capacity_motion", "1", 0.006, 0.002, "capacity slide's motion less its drive's"),
    Channel("volume_ratio_motion", "1", 0.006, 0.002, "volume-ratio slide's motion less its drive's"),
    Channel("load", "W", 70.0e3, 300.0e3, "apparent load"),
)
DEAD_BAND_FRAC = 0.0015  # of span, of a change-of-value logger: common practice 0.1 to 0.5 %, no source
BANDED = {
    "filter_drop": ("oil_pressure", "oil_pressure_before_filter"),
    "oil_pressure_before_filter": ("oil_pressure_before_filter", "discharge_pressure"),
    "capacity_gap": ("capacity_position", "capacity_position_opposite"),
    "volume_ratio_gap": ("volume_ratio_position", "volume_ratio_position_opposite"),
}
BY_NAME = {channel.name: channel for channel in CHANNELS}


def blocks_of(rows: int) -> list[tuple[int, int]]:
    """First and last-plus-one row of every block."""
    edges = [rows]
    while edges[-1] > SETTLE_S:
        behind = rows - edges[-1]
        length = 5 if behind < 60 else 30 if behind < 900 else 60
        edges.append(max(SETTLE_S, edges[-1] - length))
    edges.reverse()
    return [(a, b) for a, b in itertools.pairwise(edges) if b > a]


def motion_of(record: Record, pair: str, parameters: Parameters) -> tuple[Floats, Floats] | None:
    """(motion a second by the position, by the drive's on-times at its speed), of travel; None without on-times.

    The drive's speed is that at its rating: what pressures make of it is within the neighbourhood's ± 15 %.
    """
    up, down = ("load", "unload") if pair == "capacity" else ("increase", "decrease")
    if f"{pair}_{up}" not in record.on_ms:
        return None
    drive = getattr(parameters.plant, f"{pair}_drive")
    stroke_up_ms, stroke_down_ms = drive.load_stroke_ms, drive.unload_stroke_ms
    if drive.kind == 1:
        stroke_up_ms = stroke_down_ms = drive.motor_stroke_ms
    position = filled(record.measured[f"{pair}_position"])
    moved = np.diff(position, prepend=position[0])
    up_ms, down_ms = record.on_ms[f"{pair}_{up}"], record.on_ms[f"{pair}_{down}"]
    driven = np.where(position < 0.985, up_ms / stroke_up_ms, 0.0) - np.where(
        position > 0.015, down_ms / stroke_down_ms, 0.0
    )
    return moved, driven


def series_of(
    record: Record, played: Played, parameters: Parameters, pinned: dict[str, Floats] | None = None
) -> dict[str, Floats]:
    """Every channel's residual a row, NaN where the log has nothing."""
    del pinned
    out: dict[str, Floats] = {}
    for name in NAMES:
        if name in BY_NAME and name in record.measured:
            out[name] = record.measured[name] - played[name]
    if "oil_pressure" in record.measured and "oil_pressure_before_filter" in record.measured:
        out["filter_drop"] = (record.measured["oil_pressure_before_filter"] - record.measured["oil_pressure"]) - (
            played["oil_pressure_before_filter"] - played["oil_pressure"]
        )
    elif "oil_pressure" in record.measured:
        out["oil_pressure_before_filter"] = record.measured["oil_pressure"] - played["oil_pressure"]
    out["wet_bulb"] = played["effective_wet_bulb_k"] - parameters.plant.discharge_side.wet_bulb_k
    out["load"] = played["evaporator_w"] - float(
        np.nanmedian(played["evaporator_w"][: max(1, len(played["evaporator_w"]) // 2)])
    )
    for pair in ("capacity", "volume_ratio"):
        first, second = record.measured.get(f"{pair}_position"), record.measured.get(f"{pair}_position_opposite")
        if first is not None and second is not None:
            out[f"{pair}_gap"] = second - first
        motion = motion_of(record, pair, parameters)
        if motion is not None:
            out[f"{pair}_motion"] = motion[0] - motion[1]
    return out


def block_values(series: dict[str, Floats], blocks: list[tuple[int, int]]) -> dict[str, Floats]:
    """Means over blocks (sums for motions), NaN where less than a third of a block is known."""
    out = {}
    starts = np.array([a for a, _ in blocks])
    last = blocks[-1][1]
    lengths = np.array([b - a for a, b in blocks], dtype=float)
    for name, values in series.items():
        part = values[:last]
        good = np.isfinite(part)
        count = np.add.reduceat(good.astype(float), starts)
        total = np.add.reduceat(np.where(good, part, 0.0), starts)
        known = (3.0 * count >= lengths) & (count > 0.0)
        means = np.where(known, total / np.maximum(1.0, count), np.nan)
        out[name] = means * lengths if name.endswith("_motion") else means
    return out


@dataclass(slots=True)
class Stack:
    """All blocks of all channels as one vector, and the covariance of what is no fault."""

    index: list[tuple[str, int]]  # channel and block of each entry
    values: Floats
    covariance: Floats
    blocks: list[tuple[int, int]]
    times_s: Floats  # middle of each block
    places: dict[str, tuple[NDArray[np.int64], NDArray[np.int64]]] = field(init=False)  # entries and blocks, by channel

    def __post_init__(self) -> None:
        rows: dict[str, list[tuple[int, int]]] = {}
        for row, (name, block) in enumerate(self.index):
            rows.setdefault(name, []).append((row, block))
        self.places = {}
        for name, pairs in rows.items():
            both = np.array(pairs, dtype=np.int64)
            self.places[name] = both[:, 0], both[:, 1]

    def column(self, series: dict[str, Floats]) -> Floats:
        """Channels of a signature as a vector like `values`; channels that it has not are 0."""
        out = np.zeros(len(self.index))
        for name, means in block_values(series, self.blocks).items():
            if name in self.places:
                rows, blocks = self.places[name]
                out[rows] = np.nan_to_num(means[blocks])
        return out


def _noise(values: Floats) -> float:
    """Standard deviation of a sample's noise from differences of neighbours, robustly."""
    steps = np.diff(values[np.isfinite(values)])
    if len(steps) < 10:
        return 0.0
    return float(1.4826 * np.median(np.abs(steps - np.median(steps))) / np.sqrt(2.0))


def stack_of(record: Record, series: dict[str, Floats], spans: dict[str, float]) -> Stack:
    """Blocks of residuals with their covariance; spans: of the instruments, for what a logger's dead band hides."""
    blocks = blocks_of(record.rows)
    means = block_values(series, blocks)
    middle = np.array([0.5 * (a + b) for a, b in blocks])
    index: list[tuple[str, int]] = []
    parts: list[Floats] = []
    values: list[float] = []
    for channel in CHANNELS:
        found = means.get(channel.name)
        if found is None:
            continue
        keep = np.flatnonzero(np.isfinite(found))
        if len(keep) < 3:
            continue
        lengths = np.array([blocks[k][1] - blocks[k][0] for k in keep], dtype=float)
        # on change of value each reading is off by up to a dead band, and so is what steers the playback
        named = BANDED.get(channel.name, (channel.name,))
        band = DEAD_BAND_FRAC * sum(spans.get(name, 0.0) for name in named) if record.change_of_value else 0.0
        white = _noise(series[channel.name]) ** 2 / np.maximum(1.0, lengths * 1000.0 / max(1000, record.sample_ms))
        if channel.name.endswith("_motion"):
            # dead time and end effects go with what was driven; half a stroke second of each block is not told
            white = np.full(len(keep), channel.slow**2) + _noise(series[channel.name]) ** 2 * 2.0
        slow = channel.slow**2 + band**2 / 3.0
        white = white + band**2 / 3.0
        t = middle[keep]
        covariance = np.diag(white + 0.05 * slow) + channel.offset**2
        if not channel.name.endswith("_motion"):
            covariance += slow * np.exp(-np.abs(t[:, None] - t[None, :]) / SLOW_S)
        parts.append(covariance)
        values += found[keep].tolist()
        index += [(channel.name, int(k)) for k in keep]
    size = len(values)
    whole = np.zeros((size, size))
    at = 0
    for part in parts:
        n = len(part)
        whole[at : at + n, at : at + n] = part
        at += n
    return Stack(index, np.array(values), whole, blocks, middle)
