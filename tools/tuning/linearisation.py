"""A steady point of the plant and the plant's straight-line behaviour round it.

The plant's own right-hand side (`plant_model.plant.rates`) is differentiated by central differences in every state that
it integrates; shaft speed is one of them here (its time constant is some 30 ms) and the suction transmitter's lag is
added.  Nothing of the physics is written a second time.

The vessel boils at a falling pressure sooner than it warms up at a rising one, so at rest the plant has a corner and no
single slope: it is linearised once for each direction, with that direction's time constant on both sides.
"""

from __future__ import annotations

import copy
import dataclasses
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from plant_model.derived import Parameters
from plant_model.discharge_side import fan_share_frac, minimum_head_frac
from plant_model.initial import running_state
from plant_model.instruments import sense
from plant_model.motor import electrical, motor_torque_n_m
from plant_model.plant import explain, rates
from plant_model.state import Actuators, Disturbances, PlantState, Rates

Float = NDArray[np.float64]
Complex = NDArray[np.complex128]

INPUTS = ("capacity_travel_pct", "volume_ratio_travel_pct", "load_kw")
OUTPUTS = ("suction_pressure_measured_kpa", "volume_ratio_error_pct", "shaft_power_kw", "suction_pressure_kpa",
           "discharge_pressure_kpa")  # fmt: skip
STATE_STEP_FRAC = 1.0e-5  # of the state: 1e-12 of closure error becomes 1e-7 of the slope
TRAVEL_STEP_FRAC = 0.01  # a positioner's move, so the slope is that of the moves it makes
LOAD_STEP_W = 500.0
NO_FLOW_KG_S = 1.0e-3
_LEAST_SLOPE = 1.0e-9
RUNNING = Actuators(motor_run=True, oil_pump=True)


class Direction(StrEnum):
    """Which way suction pressure goes."""

    FALLING = "falling"  # loading: the bulk boils after it
    RISING = "rising"  # unloading: only the surface warms at once


class PointError(ValueError):
    """No such operating point; the message says why."""


_STATES: tuple[tuple[str, str], ...] = (  # path in PlantState, name of its rate in Rates
    ("vessel.zone_kg", "zone_kg_s"),
    ("vessel.zone_energy_j", "zone_energy_w"),
    ("vessel.bulk_kg", "bulk_kg_s"),
    ("vessel.bulk_energy_j", "bulk_energy_w"),
    ("evaporator.held_kg", "held_kg_s"),
    ("evaporator.held_energy_j", "held_energy_w"),
    ("separator.gas_kg", "separator_kg_s"),
    ("separator.gas_energy_j", "separator_energy_w"),
    ("discharge.mass_kg", "discharge_kg_s"),
    ("discharge.energy_j", "discharge_energy_w"),
    ("oil.mixture_k", "mixture_k_s"),
    ("oil.metal_k", "metal_k_s"),
    ("oil.sump_k", "sump_k_s"),
    ("oil.supply_k", "supply_k_s"),
)


def towards(p: Parameters, direction: Direction) -> Parameters:
    """The plant whose bulk answers either way as the real one does in this direction."""
    per_s = p.derived.per_flash_s if direction is Direction.FALLING else p.derived.per_absorb_s
    return replace(p, derived=replace(p.derived, per_flash_s=per_s, per_absorb_s=per_s))


@dataclass(slots=True)
class _Probe:
    """The right-hand side as a function of a vector: integrated states, then rooms, then speed."""

    p: Parameters
    s: PlantState
    d: Disturbances

    def vector(self) -> Float:
        values = [_get(self.s, path) for path, _ in self._states()]
        values += [self.s.evaporator.room_k[i] for i in range(self.p.derived.groups)]
        return np.array([*values, self.s.motor.speed_rad_s])

    def _states(self) -> tuple[tuple[str, str], ...]:
        # in full equilibrium there is no bulk, and nothing to differentiate
        if self.p.derived.bulk_share_frac > 0.0:
            return _STATES
        return tuple(pair for pair in _STATES if not pair[0].startswith("vessel.bulk"))

    def write(self, x: Float) -> None:
        states = self._states()
        for (path, _), value in zip(states, x, strict=False):
            _set(self.s, path, float(value))
        for i in range(self.p.derived.groups):
            self.s.evaporator.room_k[i] = float(x[len(states) + i])
        self.s.motor.speed_rad_s = float(x[-1])
        self.s.vessel.zone.pressure_rate_guess_pa = 0.0
        self.s.discharge.volume.pressure_rate_guess_pa = 0.0

    def rates(self) -> Float:
        f = Rates()
        status = rates(self.p, self.s, self.d, RUNNING, f)
        if status != 0:
            raise PointError(explain(status, self.s, self.p))
        m = self.p.plant.motor
        load_n_m = m.bearing_torque_n_m + self.s.compression.shaft_torque_n_m
        torque_n_m = motor_torque_n_m(self.p, self.s.motor.speed_rad_s) - load_n_m
        values = [getattr(f, name) for _, name in self._states()]
        values += f.group_room_k_s[: self.p.derived.groups]
        return np.array([*values, torque_n_m / m.inertia_kg_m2])

    def outputs(self) -> Float:
        """Of a state just evaluated, in the order of OUTPUTS."""
        c = self.s.compression
        error_pct = 100.0 * float(np.log(c.volume_ratio / c.volume_ratio_ideal))
        suction_kpa = self.s.suction.pressure_pa / 1000.0
        return np.array(
            [
                suction_kpa,
                error_pct,
                c.shaft_power_w / 1000.0,
                suction_kpa,
                self.s.discharge.volume.pressure_pa / 1000.0,
            ]
        )


def _get(s: Any, path: str) -> float:
    for name in path.split("."):
        s = getattr(s, name)
    return float(s)


def _set(s: Any, path: str, value: float) -> None:
    *outer, last = path.split(".")
    for name in outer:
        s = getattr(s, name)
    setattr(s, last, value)


@dataclass(frozen=True)
class SteadyPoint:
    """A plant at rest in service: nothing changes as long as nobody touches it."""

    parameters: Parameters
    state: PlantState
    disturbances: Disturbances

    @property
    def load_w(self) -> float:
        """The heat load that the machine takes here, W."""
        return self.disturbances.load_heat_w

    @property
    def pressure_ratio(self) -> float:
        """Discharge over suction pressure."""
        return self.state.discharge.volume.pressure_pa / self.state.suction.pressure_pa

    def copy(self) -> tuple[PlantState, Disturbances]:
        """State and disturbances that may be changed."""
        return copy.deepcopy(self.state), copy.deepcopy(self.disturbances)


def steady_point(
    p: Parameters,
    capacity_travel_frac: float,
    suction_pa: float,
    discharge_pa: float,
    volume_ratio_travel_frac: float | None = None,
    evaporator_open_frac: float = 1.0,
) -> SteadyPoint:
    """The plant settled at a capacity travel and two pressures (Pa absolute): load and weather follow from the balance.

    The volume-ratio slide is at its best if its travel is None.  Raises PointError with the reason where there is none.
    """
    d = Disturbances(load_heat_w=0.0, evaporator_open_frac=evaporator_open_frac)
    try:
        for _ in range(2):  # once to learn what the machine takes, once with it
            s = running_state(p, d, suction_pa, discharge_pa, capacity_travel_frac, volume_ratio_travel_frac)
            probe = _Probe(p, s, d)
            probe.rates()
            f = s.rates
            rates(p, s, d, RUNNING, f)
            if f.compressor_kg_s < NO_FLOW_KG_S:
                raise PointError("the machine moves no gas here: leakage and open through-path swallow all of it")
            d.load_heat_w = f.refrigeration_w - f.zone_energy_w  # what the rooms give, and what is missing to balance
            if d.load_heat_w <= 0.0:
                raise PointError(f"the machine takes no load here ({d.load_heat_w / 1000.0:.0f} kW)")
            c = p.plant.discharge_side
            s.discharge.fan_stages_on = c.fan_stages
            share = fan_share_frac(p, s, d) * minimum_head_frac(p, s)
            if share <= 0.0:
                raise PointError("the minimum-head valve has shut the condenser off at this discharge pressure")
            reject_w = f.condenser_w + f.discharge_energy_w
            d.wet_bulb_k = s.discharge.volume.saturation.t_k - reject_w / (c.conductance_w_k * share)
        s = running_state(p, d, suction_pa, discharge_pa, capacity_travel_frac, volume_ratio_travel_frac)
    except PointError:
        raise
    except ValueError as error:
        raise PointError(str(error)) from error
    e = p.plant.evaporator
    left_k = [e.load_source_k[i] - s.evaporator.room_k[i] for i in range(p.derived.groups)]
    if min(left_k) <= e.load_fade_k:
        raise PointError("the rooms would be so warm that their load fades")
    return SteadyPoint(p, *_polished(p, s, d))


def _polished(p: Parameters, s: PlantState, d: Disturbances) -> tuple[PlantState, Disturbances]:
    """Take out what a start state still drifts: Newton's method on the rates.

    The plant's charge is a conserved quantity, so the slopes' matrix is singular; least squares keeps the charge.
    """
    probe = _Probe(towards(p, Direction.FALLING), copy.deepcopy(s), d)
    for _ in range(3):
        x, f = probe.vector(), probe.rates()
        scale = np.maximum(np.abs(x), 1.0)
        slopes = _state_slopes(probe, x) * scale
        rows = np.maximum(np.abs(slopes).max(axis=1), _LEAST_SLOPE)
        step, *_ = np.linalg.lstsq(slopes / rows[:, None], -f / rows, rcond=1.0e-13)
        probe.write(x + scale * step)
        if float(np.abs(step).max()) < 1.0e-10:
            break
    settled = probe.s
    f = probe.rates()
    electrical(p, settled)
    heat = settled.motor.current_a / p.derived.motor.rated_current_a
    settled.motor.thermal_frac = heat * heat
    rates(p, settled, d, RUNNING, settled.rates)
    sense(p, settled, True)
    return settled, d


def _state_slopes(probe: _Probe, x: Float) -> Float:
    n = len(x)
    slopes = np.zeros((n, n))
    for j in range(n):
        step = STATE_STEP_FRAC * max(abs(float(x[j])), 1.0e-3)
        changed = x.copy()
        changed[j] = x[j] + step
        probe.write(changed)
        up = probe.rates()
        changed[j] = x[j] - step
        probe.write(changed)
        slopes[:, j] = (up - probe.rates()) / (2.0 * step)
    probe.write(x)
    probe.rates()
    return slopes


@dataclass(frozen=True)
class LinearPlant:
    """ẋ = A x + B u, y = C x + D u round a steady point; inputs INPUTS, outputs OUTPUTS, the first one with its lag."""

    a: Float
    b: Float
    c: Float
    d: Float

    @cached_property
    def system(self) -> Any:
        """The same as python-control's StateSpace."""
        from control import StateSpace  # a second to import: only who tunes waits

        return StateSpace(self.a, self.b, self.c, self.d, inputs=list(INPUTS), outputs=list(OUTPUTS))

    def response(self, w_rad_s: Float) -> Complex:
        """Transfer matrix at frequencies in rad/s, shape (outputs, inputs, frequencies)."""
        return np.asarray(self.system(1j * np.asarray(w_rad_s), squeeze=False), dtype=np.complex128)

    def gains(self) -> Float:
        """Static gains, shape (outputs, inputs): what stands when all but the conserved charge has settled."""
        # the charge makes A singular, a frequency of half a day does not
        return np.asarray(self.response(np.array([1.0e-5]))[:, :, 0].real, dtype=np.float64)


def linear_plant(point: SteadyPoint, direction: Direction) -> LinearPlant:
    """Differentiate the plant at a steady point for one direction of suction pressure."""
    p = towards(point.parameters, direction)
    state, disturbances = point.copy()
    probe = _Probe(p, state, disturbances)
    x = probe.vector()
    n = len(x)
    a, b = np.zeros((n + 1, n + 1)), np.zeros((n + 1, len(INPUTS)))
    c, d = np.zeros((len(OUTPUTS), n + 1)), np.zeros((len(OUTPUTS), len(INPUTS)))
    a[:n, :n] = _state_slopes(probe, x)
    for j in range(n):
        step = STATE_STEP_FRAC * max(abs(float(x[j])), 1.0e-3)
        values = []
        for sign in (1.0, -1.0):
            changed = x.copy()
            changed[j] += sign * step
            probe.write(changed)
            probe.rates()
            values.append(probe.outputs())
        c[:, j] = (values[0] - values[1]) / (2.0 * step)
    probe.write(x)
    for k in range(len(INPUTS)):
        low, at, high, width = _input_values(point, k)
        f, y = [], []
        for value in (high, low):
            _write_input(probe, k, value)
            probe.write(x)
            f.append(probe.rates())
            y.append(probe.outputs())
        b[:n, k] = (f[0] - f[1]) / width
        d[:, k] = (y[0] - y[1]) / width
        _write_input(probe, k, at)
    # the transmitter: its lag is a state of its own behind the true pressure
    lag_s = max(0.001 * p.plant.instruments.suction_pressure.lag_ms, 0.001)
    a[n, n], a[n, :n], b[n, :] = -1.0 / lag_s, c[0, :n] / lag_s, d[0, :] / lag_s
    c[0, :], d[0, :] = 0.0, 0.0
    c[0, n] = 1.0
    return LinearPlant(a, b, c, d)


def _input_values(point: SteadyPoint, k: int) -> tuple[float, float, float, float]:
    """Low, present and high value of input k in the plant's unit, and the distance in the unit of INPUTS."""
    if k == 2:
        load_w = point.load_w
        return load_w - LOAD_STEP_W, load_w, load_w + LOAD_STEP_W, 2.0 * LOAD_STEP_W / 1000.0
    travel_frac = (point.state.capacity if k == 0 else point.state.volume_ratio).travel_frac
    low, high = max(0.0, travel_frac - TRAVEL_STEP_FRAC), min(1.0, travel_frac + TRAVEL_STEP_FRAC)
    return low, travel_frac, high, 100.0 * (high - low)


def _write_input(probe: _Probe, k: int, value: float) -> None:
    if k == 2:
        probe.d.load_heat_w = value
    elif k == 0:
        probe.s.capacity.travel_frac = value
    else:
        probe.s.volume_ratio.travel_frac = value


def replace_fill(p: Parameters, level_frac: float) -> Parameters:
    """The plant with another level set point of the suction vessel; nothing else depends on it."""
    vessel = dataclasses.replace(p.plant.suction_vessel, level_set_frac=level_frac)
    return replace(p, plant=replace(p.plant, suction_vessel=vessel))
