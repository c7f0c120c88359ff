"""Figures of a season: a day's, a year's, and what one machine saves against another; days kept on disk."""

from __future__ import annotations

import json
import os
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np

from plant_model.properties import saturation_temperature_k
from scenarios.errors import StorageFailed
from scenarios.preparation import Prepared
from scenarios.season_days import MonthDay
from scenarios.steps import steps
from scenarios.trace import Trace

KWH_J = 3.6e6
_NO_FLOW_KG_S = 1e-9
EXPONENT = 1.3  # effective isentropic exponent of ammonia, fair within 1.5 % (CoolProp); only for the estimate below
# Ratios that the gas would see from a port that moves with the capacity slide: 1.2 to 5.0, 5 % apart.
GAS_RATIOS = tuple(round(1.2 * 1.05**k, 4) for k in range(30))


@dataclass(frozen=True, slots=True)
class DayResult:
    """24 hours of one variant.  Energies in kWh, hours in h; means over the 24 hours.

    full_load_ratio: where the port was held, None for the working slide; moving_port_kwh: estimate of the motor's energy
    if the gas saw each of GAS_RATIOS whatever the capacity, as with a port that its capacity slide carries along.
    """

    day: int
    full_load_ratio: float | None
    motor_kwh: float
    auxiliary_kwh: float
    cooling_kwh: float
    mismatch_kwh: float
    through_path_h: float
    running_h: float
    condensing_c: float
    condensing_low_c: float
    condensing_high_c: float
    capacity_pct: float
    held_pct: float
    starts: int
    trips: int
    moving_port_kwh: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Variant:
    """A year of one machine: its days in the order of the months."""

    full_load_ratio: float | None
    days: tuple[DayResult, ...]
    weights: tuple[int, ...]

    def _sum(self, name: str) -> float:
        return sum(w * float(getattr(d, name)) for w, d in zip(self.weights, self.days, strict=True))

    @property
    def motor_kwh(self) -> float:
        """Electrical energy of the compressor motor in the year."""
        return self._sum("motor_kwh")

    @property
    def total_kwh(self) -> float:
        """Motor and auxiliaries in the year."""
        return self.motor_kwh + self._sum("auxiliary_kwh")

    @property
    def cooling_kwh(self) -> float:
        """Cooling delivered in the year."""
        return self._sum("cooling_kwh")

    @property
    def through_path_h(self) -> float:
        """Hours of the year in which the port is open before the flute is sealed."""
        return self._sum("through_path_h")

    @property
    def trips(self) -> float:
        """Trips in the year, if each month's day came as often as the month has days."""
        return self._sum("trips")

    @property
    def motor_cop(self) -> float:
        """Cooling by motor energy, over the year."""
        return self.cooling_kwh / self.motor_kwh

    @property
    def total_cop(self) -> float:
        """Cooling by all energy, over the year."""
        return self.cooling_kwh / self.total_kwh


@dataclass(frozen=True, slots=True)
class Season:
    """The answer: the slide working, the port held at each ratio tried, and the best of those for the year."""

    months: tuple[MonthDay, ...]
    slides: Variant
    held: tuple[Variant, ...]
    reused: int
    notes: tuple[str, ...]

    @property
    def best_held(self) -> Variant:
        """The held port with the least motor energy per cooling over the year."""
        return max(self.held, key=lambda v: v.motor_cop)

    def moving_port(self) -> tuple[float, float]:
        """Best ratio at the gas for the year of a port that moves with the capacity slide, and the saving against it, %.

        An estimate from the working slide's run, not a run of its own: see `moving_port_estimate_kwh`.
        """
        weights = self.slides.weights
        table = np.array([day.moving_port_kwh for day in self.slides.days])
        year_kwh = np.array(weights, dtype=np.float64) @ table
        best = int(np.argmin(year_kwh))
        return GAS_RATIOS[best], 100.0 * (1.0 - self.slides.motor_kwh / float(year_kwh[best]))

    def saving_pct(self, held: Variant, total: bool = False) -> float:
        """What the working slide saves against a held port, % of the held port's energy, at equal cooling."""
        mine, other = (self.slides.total_cop, held.total_cop) if total else (self.slides.motor_cop, held.motor_cop)
        return 100.0 * (1.0 - other / mine)

    def month_saving_pct(self, held: Variant, k: int) -> float:
        """The same for one month's day, motor energy."""
        mine, other = self.slides.days[k], held.days[k]
        return 100.0 * (1.0 - (mine.motor_kwh / mine.cooling_kwh) / (other.motor_kwh / other.cooling_kwh))


def next_ratio(tried: Sequence[tuple[float, float]], reach: tuple[float, float]) -> float | None:
    """Where to hold the port next, from (ratio, COP) tried so far, rising: the top of the parabola in ln(ratio).

    At an end of what was tried a quarter further on.  None once the place is within 1 % of one that was tried.

    >>> round(next_ratio([(2.0, 3.8), (3.0, 4.0), (4.5, 3.9)], (1.3, 6.2)) or 0.0, 3)
    3.21
    >>> next_ratio([(2.0, 3.9), (3.0, 4.0), (4.5, 3.9)], (1.3, 6.2)) is None  # its top is one of them
    True
    """
    best = max(range(len(tried)), key=lambda k: tried[k][1])
    if best in (0, len(tried) - 1):
        ratio = tried[best][0] * (1.25 if best else 0.8)
    else:
        (x0, y0), (x1, y1), (x2, y2) = ((np.log(r), cop) for r, cop in tried[best - 1 : best + 2])
        top, bottom = (
            (x1 - x0) ** 2 * (y1 - y2) - (x1 - x2) ** 2 * (y1 - y0),
            (x1 - x0) * (y1 - y2) - (x1 - x2) * (y1 - y0),
        )
        ratio = tried[best][0] if bottom == 0.0 else float(np.exp(x1 - 0.5 * top / bottom))
    ratio = min(max(ratio, reach[0]), reach[1])
    return None if any(abs(ratio / r - 1.0) < 0.01 for r, _ in tried) else ratio


def measure_day(trace: Trace, day: int, full_load_ratio: float | None, prepared: Prepared, lead_ms: int) -> DayResult:
    """The figures of what comes after the first `lead_ms` of a run."""
    counted = trace["time_ms"] >= lead_ms
    running = counted & (trace["motor_running"] != 0.0)
    running[-1] = False  # the last row ends the day: no time comes after it

    def gained(name: str) -> float:
        values = trace[name][counted]
        return float(values[-1] - values[0]) / KWH_J

    def mean(name: str, rows: Any = counted) -> float:
        return float(trace[name][rows].mean()) if rows.any() else 0.0

    condensing_c = _condensing_c(prepared, trace["discharge_pressure_pa"][counted])
    hours = prepared.log_ms / 3.6e6
    return DayResult(
        day, full_load_ratio, gained("motor_energy_j"), gained("auxiliary_energy_j"), gained("cooling_energy_j"),
        gained("mismatch_energy_j"), float(np.sum(trace["through_path_kg_s"][running] > _NO_FLOW_KG_S)) * hours,
        float(np.sum(running)) * hours, float(condensing_c.mean()), float(condensing_c.min()),
        float(condensing_c.max()), 100.0 * mean("capacity_travel_frac", running),
        100.0 * mean("volume_ratio_travel_frac", running),
        int(np.sum(steps(trace, "motor_run").rises_ms() >= lead_ms)),
        int(np.sum(steps(trace, "trip_first_out").rises_ms() >= lead_ms)),
        moving_port_estimate_kwh(trace, running),
    )  # fmt: skip


def compression_work(ratio: Any, pressure_ratio: Any) -> Any:
    """Work of compression through a port of volume ratio `ratio`, in units of suction pressure × volume.

    Ideal gas, adiabatic up to the port, then at constant volume to the discharge pressure (Stoecker, Industrial
    Refrigeration Handbook, ch. 5, from memory): (Vi^(κ−1) − 1)/(κ−1) + (p2/p1)/Vi − 1.

    >>> best = 4.0 ** (1.0 / EXPONENT)
    >>> bool(compression_work(best, 4.0) < min(compression_work(0.9 * best, 4.0), compression_work(1.1 * best, 4.0)))
    True
    """
    return (ratio ** (EXPONENT - 1.0) - 1.0) / (EXPONENT - 1.0) + pressure_ratio / ratio - 1.0


def moving_port_estimate_kwh(trace: Trace, running: Any) -> tuple[float, ...]:
    """Motor energy in kWh over the rows `running`, had the gas seen each of GAS_RATIOS instead of its own ratio.

    All of the shaft power is taken to go with the work of compression, friction included, so that the estimate is
    rather too much than too little.
    """
    pressure_ratio = trace["discharge_pressure_pa"][running] / trace["suction_pressure_pa"][running]
    own = compression_work(np.maximum(trace["volume_ratio"][running], 1.0), pressure_ratio)
    energy_kwh = trace["motor_power_w"][running] * np.diff(trace["time_ms"], append=0.0)[running] / 1000.0 / KWH_J
    safe = own > 1e-6
    return tuple(
        float(np.sum(energy_kwh[safe] * compression_work(ratio, pressure_ratio[safe]) / own[safe]))
        for ratio in GAS_RATIOS
    )


def _condensing_c(prepared: Prepared, pressure_pa: Any) -> Any:
    """Saturation temperature at discharge pressure, °C, through a fine table: rows are many and states few."""
    low, high = float(pressure_pa.min()), float(pressure_pa.max())
    points = np.linspace(low, max(high, low * 1.0001), 200)
    table_k = [saturation_temperature_k(prepared.refrigerant, float(p)) for p in points]
    return np.interp(pressure_pa, points, table_k) - 273.15


def read_day(path: Path, key: str) -> DayResult | None:
    """A day that stands on disk under this key; None if there is none."""
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
        if data["key"] != key:
            return None
        return DayResult(**{**data["day"], "moving_port_kwh": tuple(data["day"]["moving_port_kwh"])})
    except (OSError, ValueError, KeyError, TypeError):
        return None  # absent or not ours: it is run


def keep_day(path: Path, key: str, result: DayResult) -> None:
    """Put a finished day on disk, whole or not at all.  Raises StorageFailed."""
    beside = path.with_name(f".{path.name}.partial-{os.getpid()}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        beside.write_text(json.dumps({"key": key, "day": asdict(result)}, indent=1), encoding="utf-8")
        beside.replace(path)
    except OSError as error:
        raise StorageFailed(f"{path} could not be written: {error.strerror or error}") from error
    finally:
        beside.unlink(missing_ok=True)
