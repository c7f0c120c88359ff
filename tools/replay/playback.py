"""The plant led along a log: slides, motor and oil pump as logged, and two unknown heats that make it follow.

The heat that the evaporators take up and the heat that the condenser rejects are not in a log.  Here they are the two
inputs that hold the model at the logged suction and discharge pressure (a proportional-integral observer on each, as in
unknown-input estimation, for instance Isermann, Fault-Diagnosis Systems, 2006, recalled).  All else runs free: oil,
temperatures, power and current follow from the plant's equations, and each instrument is read where it is mounted, with
its lag.  Time runs in whole seconds, ten plant steps each.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit

from plant_model.derived import Parameters, derive
from plant_model.initial import running_state
from plant_model.plant import explain, step
from plant_model.properties import saturation_temperature_k
from plant_model.state import Actuators, Disturbances, PlantState
from scenarios import compiled as _compiled  # opens the kernel cache before the kernel below is declared
from scenarios.records import RecordArray, from_record, to_array
from tools.replay.record import NAMES, Floats, Record, filled, local_lines

__all__ = ["PROFILES", "Played", "Targets", "play", "targets_of"]
assert _compiled is not None

STEP_MS = 100
STEPS = 10
COMMANDS = ("motor_run", "oil_pump", "injection_cooling")
PROFILES = {  # what may change along a playback, and its healthy value
    "strainer_fouling": 0.0,
    "oil_filter_fouling": 0.0,
    "oil_pump_strength": 1.0,
    "oil_cooler_fouling": 0.0,
    "oil_loss_kg_s": 0.0,
    "coolant_rise_k": 0.0,
    "coupling_wear": 0.0,
    "other_m3_s": 0.0,
    "carry_over_kg_s": 0.0,
}
OUTPUTS = (*NAMES, "evaporator_w", "effective_wet_bulb_k", "flow_kg_s", "vessel_pa", "condenser_w", "liquid_frac",
           "oil_flow_kg_s")  # fmt: skip
KP_SUCTION_W_PA = 120.0  # fast capacitance of the demo vessel over half a second; the bulk only slows what is left
KP_DISCHARGE_W_PA = 150.0
INTEGRAL_S = 4.0


@njit(cache=True)
def _play(
    parameters: Any, plant: Any, disturbances: Any, actuators: Any, target: Any, commands: Any, profiles: Any,
    out: Any, heats_w: Any, begin: int, end: int,
) -> Any:  # fmt: skip
    """Rows of `out` (n, 22) from targets (n, 4: suction Pa, discharge Pa, capacity, volume ratio), commands (n, 3) and
    profiles (n, 9); heats_w: the two integrals, kept between calls.  Plays rows begin..end−1.  Returns (status, row)."""
    p, s, d, a = parameters[0], plant[0], disturbances[0], actuators[0]
    low, per_span = p.derived.instruments.low, p.derived.instruments.per_span
    steps = 10
    h_s = 0.1
    conductance_w_k = p.plant.evaporator.conductance_w_k
    for i in range(begin, end):
        before = i - 1 if i > 0 else 0
        a.motor_run = commands[i, 0] > 0.5
        a.oil_pump = commands[i, 1] > 0.5
        a.injection_cooling = commands[i, 2] > 0.5
        d.strainer_fouling_frac = profiles[i, 0]
        d.oil_filter_fouling_frac = profiles[i, 1]
        d.oil_pump_strength_frac = profiles[i, 2]
        d.oil_cooler_fouling_frac = profiles[i, 3]
        d.oil_loss_kg_s = profiles[i, 4]
        d.coolant_rise_k = profiles[i, 5]
        d.coupling_wear_frac = profiles[i, 6]
        d.other_compressor_m3_s = profiles[i, 7]
        for k in range(steps):
            share = (k + 1.0) / steps
            suction_pa = target[before, 0] + share * (target[i, 0] - target[before, 0])
            discharge_pa = target[before, 1] + share * (target[i, 1] - target[before, 1])
            s.capacity.travel_frac = target[before, 2] + share * (target[i, 2] - target[before, 2])
            s.volume_ratio.travel_frac = target[before, 3] + share * (target[i, 3] - target[before, 3])
            error_pa = suction_pa - s.suction.pressure_pa
            heats_w[0] += 120.0 * error_pa * h_s / 4.0
            heats_w[0] = min(5.0e6, max(-5.0e5, heats_w[0]))
            heat_w = heats_w[0] + 120.0 * error_pa
            room_k = s.vessel.zone.saturation.t_k + heat_w / conductance_w_k
            for g in range(4):
                s.evaporator.room_k[g] = min(900.0, max(60.0, room_k))
            error_pa = discharge_pa - s.discharge.volume.pressure_pa
            heats_w[1] -= 150.0 * error_pa * h_s / 4.0
            heats_w[1] = min(2.0e7, max(0.0, heats_w[1]))
            out_w = max(0.0, heats_w[1] - 150.0 * error_pa)
            d.wet_bulb_k = s.discharge.volume.saturation.t_k - out_w / p.plant.discharge_side.conductance_w_k
            status = step(p, s, d, a, 100)
            if status != 0:
                return status, i
        for j in range(15):
            out[i, j] = low[j] + s.lagged[j] / per_span[j]
        out[i, 15] = heats_w[0]
        out[i, 16] = s.discharge.volume.saturation.t_k - heats_w[1] / p.plant.discharge_side.conductance_w_k
        out[i, 17] = s.compression.mass_flow_kg_s
        out[i, 18] = s.vessel.zone.pressure_pa
        out[i, 19] = heats_w[1]
        out[i, 20] = s.suction.carry_over_frac
        out[i, 21] = s.oil.flow_kg_s
    return 0, end


@dataclass(slots=True)
class Targets:
    """What the playback follows, row by row: smoothed pressures and travels, commands, and where the oil began."""

    path: Floats  # (n, 4)
    commands: Floats  # (n, 3)
    oil_k: float
    discharge_k: float


Mark = tuple[int, RecordArray, Floats]  # row, plant and heats before it
MARK_ROWS = 120


@dataclass(slots=True)
class Played:
    """A playback: instruments as the model reads them and the heats behind them, by name."""

    columns: dict[str, Floats]
    problem: str = ""

    def __getitem__(self, name: str) -> Floats:
        return self.columns[name]


def targets_of(record: Record, smoothing_s: float = 4.0, corrections: dict[str, Floats] | None = None) -> Targets:
    """Targets from a record; `corrections` are taken off an instrument's readings first (a supposed fault of it)."""

    def smoothed(name: str) -> Floats:
        values = record.measured[name]
        good = np.isfinite(values)
        if corrections and name in corrections:
            values = values - corrections[name]
        return local_lines(np.where(good, values, 0.0), good, smoothing_s)[0]

    path = np.column_stack(
        [
            smoothed("suction_pressure"),
            smoothed("discharge_pressure"),
            _travel(record, "capacity_position", smoothing_s, corrections),
            _travel(record, "volume_ratio_position", smoothing_s, corrections),
        ]
    )
    n = len(path)
    commands = np.zeros((n, 3))
    for k, name in enumerate(COMMANDS):
        default = np.ones(n, dtype=bool) if k < 2 else np.zeros(n, dtype=bool)
        commands[:, k] = record.switches.get(name, default)
    first = slice(0, min(30, n))
    oil_k = _first(record, "oil_temperature", first, 321.15)
    return Targets(path, commands, oil_k, _first(record, "discharge_temperature", first, oil_k + 25.0))


def _first(record: Record, name: str, rows: slice, otherwise: float) -> float:
    values = record.measured.get(name)
    if values is None or not np.isfinite(values[rows]).any():
        return otherwise
    return float(np.nanmean(values[rows]))


def _travel(record: Record, name: str, smoothing_s: float, corrections: dict[str, Floats] | None) -> Floats:
    """Travel of a pair, 0 to 1: the mean of its halves, as the gas sees them, or the one that is logged.

    Smoothed as the pressures are: before a fouled strainer the noise of a position would shake the flange's pressure.
    """
    values = filled(record.measured[name])
    if corrections and name in corrections:
        values = values - corrections[name]
    second = f"{name}_opposite"
    if record.has(second):
        values = 0.5 * (values + filled(record.measured[second]))
    smooth, _ = local_lines(values, np.ones(len(values), dtype=bool), smoothing_s)
    return np.clip(smooth, 0.0, 1.0)


def start_of(parameters: Parameters, targets: Targets) -> tuple[PlantState, Disturbances]:
    """A running plant at the first row; oil and metal at the logged temperatures."""
    d = Disturbances(wet_bulb_k=parameters.plant.discharge_side.wet_bulb_k)
    suction_pa, discharge_pa, capacity, ratio = (float(v) for v in targets.path[0])
    state = running_state(parameters, d, suction_pa, discharge_pa, min(1.0, max(0.0, capacity)), ratio)
    state.oil.supply_k = targets.oil_k
    state.oil.mixture_k = state.oil.metal_k = targets.discharge_k
    state.oil.sump_k = targets.discharge_k
    return state, d


class Player:
    """Plays targets on one plant; parameters may be scaled before each playback."""

    def __init__(self, parameters: Parameters, targets: Targets) -> None:
        self.parameters = parameters
        self.targets = targets
        state, disturbances = start_of(parameters, targets)
        self._start = to_array(state)
        self._disturbances = to_array(disturbances)
        self._nominal = to_array(parameters)
        self._healthy = np.tile(np.array(list(PROFILES.values())), (len(targets.path), 1))
        self._marks: list[Mark] | None = None  # of the sound playback, which a fault leaves only at its onset
        self._sound = Played({})
        boiling_k = saturation_temperature_k(parameters.refrigerant, float(targets.path[0, 0]))
        latent_j_kg = state.vessel.zone.saturation.h_v_j_kg - state.discharge.volume.saturation.h_l_j_kg
        self.first_heat_w = state.compression.mass_flow_kg_s * latent_j_kg
        self.boiling_k = boiling_k
        self.first_out_w = self.first_heat_w + 0.9 * state.compression.shaft_power_w

    def scaled(self, scales: dict[str, float]) -> RecordArray:
        """A copy of the parameters with some scaled: the names are those of `SCALED`."""
        array = self._nominal.copy()
        for name, factor in scales.items():
            for path in SCALED[name]:
                place = array[0]
                for key in path[:-1]:
                    place = place[key]
                power = -1.0 if path[-1].startswith("per_") else 1.0
                place[path[-1]] = place[path[-1]] * factor**power
        return array

    def play(
        self,
        scales: dict[str, float] | None = None,
        profiles: dict[str, Floats] | None = None,
        path: Floats | None = None,
    ) -> Played:
        """One playback.  profiles: by name of `PROFILES`, a value a row; path: other targets than the record's."""
        steered = self.targets.path if path is None else path
        table = self._healthy.copy()
        for k, name in enumerate(PROFILES):
            if profiles and name in profiles:
                table[:, k] = profiles[name]
        if scales:
            scaled = self.scaled(scales)
            start, _ = start_of(from_record(Parameters, scaled[0]), self.targets)  # another vessel holds another mass
            return self._run(scaled, steered, table, start=to_array(start))
        if self._marks is None:
            self._marks = []
            self._sound = self._run(self._nominal, self.targets.path, self._healthy, self._marks)
        other = np.any(steered != self.targets.path, axis=1) | np.any(table != self._healthy, axis=1)
        if not other.any():
            return self._sound
        known = [mark for mark in self._marks if mark[0] <= int(np.argmax(other))]
        return self._run(self._nominal, steered, table, known=known[-1])

    def _run(
        self, parameters: RecordArray, path: Floats, table: Floats, marks: list[Mark] | None = None,
        known: Mark | None = None, start: RecordArray | None = None,
    ) -> Played:  # fmt: skip
        """Play from the start, or from a mark of the sound playback on; `marks` is filled with where it stood."""
        n = len(path)
        out = np.full((n, len(OUTPUTS)), np.nan)
        begin, plant = 0, (self._start if start is None else start).copy()
        heats_w = np.array([self.first_heat_w, self.first_out_w])
        if known is not None:
            begin, plant, heats_w = known[0], known[1].copy(), known[2].copy()
            for k, name in enumerate(OUTPUTS):
                out[:begin, k] = self._sound[name][:begin]
        disturbances, actuators = self._disturbances.copy(), to_array(Actuators(True, True))
        for first in range(begin, n, MARK_ROWS):
            if marks is not None:
                marks.append((first, plant.copy(), heats_w.copy()))
            status, row = _play(
                parameters, plant, disturbances, actuators, path, self.targets.commands, table, out, heats_w, first,
                min(n, first + MARK_ROWS),
            )  # fmt: skip
            if status:
                text = explain(int(status), from_record(PlantState, plant[0]), self.parameters)
                return Played({name: out[:, k] for k, name in enumerate(OUTPUTS)}, f"at {row} s: {text}")
        return Played({name: out[:, k] for k, name in enumerate(OUTPUTS)})


SCALED: dict[str, tuple[tuple[str, ...], ...]] = {
    "displacement": (("curves", "displacement_m3"), ("derived", "swept_m3_rad")),
    "leakage": (("plant", "machine", "leakage_frac"),),
    "friction": (("plant", "machine", "friction_torque_n_m"),),
    "evaporator": (("plant", "evaporator", "conductance_w_k"),),
    "oil cooler": (("plant", "oil", "cooler_conductance_w_k"),),
    "vessel": (("plant", "suction_vessel", "volume_m3"), ("derived", "per_vessel_volume_m3")),
}


def play(parameters: Parameters, targets: Targets) -> Played:
    """One playback of a plant as its file has it."""
    return Player(parameters, targets).play()


def parameters_of(plant: Any, refrigerant: str) -> Parameters:
    """The plant's constants at the playback's step."""
    return derive(plant, refrigerant, STEP_MS)
