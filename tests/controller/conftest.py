"""A small machine to close the loop in controller tests, and a watcher that knows the invariants of the control logic.

The machine is invented and coarse on purpose: it stands in for plant_model, which controller tests may not need.
"""

from __future__ import annotations

import dataclasses
import random
from types import SimpleNamespace
from typing import Any

import pytest

from controller.contract import TIME_MASK, Controller
from controller.process_image import Health, Inhibit, Inputs, Mode, Outputs, Selection, Trip
from controller.protection_settings import OilDifference, TripClass
from controller.registry import SHIPPED
from controller.slide_curve import curve_at
from controller.volume_ratio_control import VolumeRatioSettings

CURVES = VolumeRatioSettings()
WATCHED = (
    "suction_pressure",
    "discharge_pressure",
    "discharge_temperature",
    "motor_current",
    "oil_pressure",
    "oil_temperature",
)


class ToyMachine:
    """Two slides, a motor and a one-lump vessel; kPa, %, kW, s."""

    def __init__(self, seed: int = 1, noise_kpa: float = 0.0) -> None:
        self.rng = random.Random(seed)
        self.noise_kpa = noise_kpa
        self.capacity_pct = 0.0
        self.volume_ratio_pct = 0.0
        self.suction_kpa_abs = 330.0
        self.load_kw = 380.0
        self.running = False
        self.since_command_ms = 0
        self.pump_on = False
        self.conductance_kw_kpa = 5.1
        self.current_follows_suction = False
        self.inputs = Inputs(selection=Selection.LOCAL)

    def move(self, outputs: Outputs, dt_ms: int) -> None:
        dt_s = dt_ms / 1000.0
        self.pump_on = outputs.oil_pump
        if outputs.capacity_load:
            self.capacity_pct += 2.0 * dt_s
        if outputs.capacity_unload:
            self.capacity_pct -= 4.0 * dt_s
        if outputs.volume_ratio_increase:
            self.volume_ratio_pct += 2.0 * dt_s
        if outputs.volume_ratio_decrease:
            self.volume_ratio_pct -= 4.0 * dt_s
        self.capacity_pct = min(max(self.capacity_pct, 0.0), 100.0)
        self.volume_ratio_pct = min(max(self.volume_ratio_pct, 0.0), 100.0)
        self.since_command_ms = self.since_command_ms + dt_ms if outputs.motor_run else 0
        self.running = outputs.motor_run and self.since_command_ms >= 300
        steps = max(1, dt_ms // 100)
        for _ in range(steps):
            trapped = curve_at(CURVES.trapped_fraction_frac, self.capacity_pct)
            taken_kw = 560.0 * trapped * self.suction_kpa_abs / 290.6 if self.running else 0.0
            heat_kw = max(0.0, self.load_kw + self.conductance_kw_kpa * (290.6 - self.suction_kpa_abs))
            self.suction_kpa_abs += (heat_kw - taken_kw) / 70.0 * dt_s / steps
            self.suction_kpa_abs = min(max(self.suction_kpa_abs, 100.0), 600.0)

    def measure(self) -> Inputs:
        x = self.inputs
        trapped = curve_at(CURVES.trapped_fraction_frac, self.capacity_pct)
        x.suction_pressure_kpa_abs = self.suction_kpa_abs + self.rng.gauss(0.0, 1.0) * self.noise_kpa
        # discharge follows what is pumped, so that no signal stands still without a fault
        x.discharge_pressure_kpa_abs = 1320.0 + 50.0 * trapped + 0.01 * self.suction_kpa_abs if self.running else 1200.0
        x.discharge_temperature_c = 75.0 if self.running else 40.0
        full_a = 380.0 * (self.suction_kpa_abs / 290.6 if self.current_follows_suction else 1.0)
        x.motor_current_a = 380.0 * 0.35 + 0.6 * full_a * trapped if self.running else 0.0
        pump_kpa = 220.0 if self.pump_on else 0.0
        x.oil_pressure_before_filter_kpa_abs = x.discharge_pressure_kpa_abs + pump_kpa
        x.oil_pressure_kpa_abs = x.oil_pressure_before_filter_kpa_abs - 0.14 * pump_kpa
        x.motor_power_kw = 0.55 * x.motor_current_a
        if self.running and self.since_command_ms < 1_500:
            x.motor_current_a = 900.0
        x.capacity_position_pct = self.capacity_pct
        x.volume_ratio_position_pct = self.volume_ratio_pct
        x.capacity_position_opposite_pct = self.capacity_pct
        x.volume_ratio_position_opposite_pct = self.volume_ratio_pct
        x.motor_running = self.running
        return dataclasses.replace(x)


def quick(settings: Any) -> Any:
    """The same settings with short waits, so that a test visits every mode in a few hundred scans."""
    common = settings.common
    sequence = dataclasses.replace(
        common.sequence,
        pre_lubrication_ms=1_000,
        start_confirm_ms=300,
        run_up_ms=1_000,
        spin_down_ms=5_000,
        start_to_start_ms=40_000,
        stop_to_start_ms=5_000,
        starts_per_hour=6,
        idle_delay_ms=5_000,
        restart_kpa_abs=300.0,
    )
    protection = dataclasses.replace(
        common.protection,
        low_suction_bypass_ms=2_000,
        low_suction_pressure_delay_ms=1_000,
        motor_overload_delay_ms=2_000,
    )
    capacity = dataclasses.replace(common.capacity, load_ramp_ms=10_000)
    common = dataclasses.replace(common, sequence=sequence, capacity=capacity, protection=protection)
    return dataclasses.replace(settings, common=common)


def calibrated(signal_pct: float, stops: Any) -> float:
    """Position by the end-stop readings that the controller holds before this scan."""
    return 100.0 * (signal_pct - stops.low_pct) / (stops.high_pct - stops.low_pct)


class Held:
    """How long a condition has been seen true, counted from the first scan that saw it."""

    def __init__(self) -> None:
        self.ms = -1

    def see(self, condition: bool, dt_ms: int) -> int:
        if not condition:
            self.ms = -1
        else:
            self.ms = 0 if self.ms < 0 else self.ms + dt_ms
        return self.ms


class Watcher:
    """Checks every scan against the invariants; it keeps its own time and shares no code with the controller."""

    def __init__(self, settings: Any) -> None:
        self.common = settings.common
        self.last = Outputs()
        self.time_ms = 0
        self.last_start_ms = self.last_stop_ms = -(10**12)
        self.pump_on_since_ms = -1
        self.starts = 0
        self.low_on_ms = {"capacity": 0, "volume_ratio": 0}
        self.high_on_ms = {"capacity": 0, "volume_ratio": 0}
        self.held = {trip: Held() for trip in Trip}
        self.last_reset = False
        self.modes: set[Mode] = set()
        self.capacity_pct = self.volume_ratio_pct = 0.0  # by the stops as calibrated; the bench sets them

    def lasts(self, trip: Trip, kind: TripClass, condition: bool, delay_ms: int, dt_ms: int) -> bool:
        """Whether a condition has lasted its delay and its class stops the motor at once."""
        return self.held[trip].see(condition, dt_ms) >= delay_ms and kind == TripClass.IMMEDIATE_STOP

    def check_trips(self, x: Inputs, y: Outputs, dt_ms: int) -> None:
        p = self.common.protection
        k = p.classes
        ran = self.last.motor_run and x.supply_interrupted_ms == 0  # the motor stops with its supply
        since_start_ms = self.time_ms - self.last_start_ms
        good = {name: getattr(x, f"{name}_health") == Health.GOOD for name in WATCHED}
        high = good["discharge_pressure"] and x.discharge_pressure_kpa_abs >= p.high_discharge_pressure_trip_kpa_abs
        hot = good["discharge_temperature"] and x.discharge_temperature_c >= p.high_discharge_temperature_trip_c
        warm = good["oil_temperature"] and x.oil_temperature_c >= p.high_oil_temperature_trip_c
        low = good["suction_pressure"] and ran and since_start_ms >= p.low_suction_bypass_ms
        low = low and x.suction_pressure_kpa_abs <= p.low_suction_pressure_trip_kpa_abs
        over = good["motor_current"] and self.last.mode in (Mode.RUN_UP, Mode.AUTOMATIC)
        over = over and x.motor_current_a >= 0.01 * p.motor_overload_trip_pct * self.common.motor.full_load_current_a
        below = x.discharge_pressure_kpa_abs
        below_good = good["discharge_pressure"]
        if p.oil_difference == OilDifference.SUPPLY_LESS_SUCTION:
            below, below_good = x.suction_pressure_kpa_abs, good["suction_pressure"]
        dry = good["oil_pressure"] and below_good and ran and since_start_ms >= p.low_oil_bypass_ms
        dry = dry and x.oil_pressure_kpa_abs - below <= p.low_oil_differential_trip_kpa
        wet = ran and x.vessel_high_high_level
        dropped = ran and self.last.mode != Mode.STARTING and not x.motor_running
        due = [
            x.stop_button_pressed,
            ran and not x.safety_chain_closed,
            self.lasts(
                Trip.HIGH_DISCHARGE_PRESSURE, k.high_discharge_pressure, high, p.high_discharge_pressure_delay_ms, dt_ms
            ),
            self.lasts(
                Trip.HIGH_DISCHARGE_TEMPERATURE,
                k.high_discharge_temperature,
                hot,
                p.high_discharge_temperature_delay_ms,
                dt_ms,
            ),
            self.lasts(Trip.LOW_SUCTION_PRESSURE, k.low_suction_pressure, low, p.low_suction_pressure_delay_ms, dt_ms),
            self.lasts(Trip.MOTOR_OVERLOAD, k.motor_overload, over, p.motor_overload_delay_ms, dt_ms),
            self.lasts(Trip.LOW_OIL_DIFFERENTIAL, k.low_oil_differential, dry, p.low_oil_differential_delay_ms, dt_ms),
            self.lasts(Trip.HIGH_OIL_TEMPERATURE, k.high_oil_temperature, warm, p.high_oil_temperature_delay_ms, dt_ms),
            self.lasts(Trip.VESSEL_HIGH_LEVEL, k.vessel_high_level, wet, p.vessel_high_level_delay_ms, dt_ms),
            self.lasts(Trip.FAILED_START, TripClass.IMMEDIATE_STOP, dropped, p.running_feedback_lost_ms, dt_ms),
        ]
        turning = not ran and x.motor_running and not y.motor_run
        if self.held[Trip.FAILED_STOP].see(turning, dt_ms) >= p.failed_stop_ms:
            assert y.trip_word & 1 << Trip.FAILED_STOP, "a motor that turns unasked was not noted"
            assert y.oil_pump
        if any(due):
            assert not y.motor_run, "a trip condition lasted its delay and the motor runs"
            assert y.trip_word != 0
            assert y.trip_first_out != Trip.NONE
        if y.trip_word != 0:
            assert y.mode == Mode.TRIPPED
            assert not y.motor_run
        if self.last.trip_word != 0:
            cleared = y.trip_word == 0
            assert cleared or y.trip_word & self.last.trip_word == self.last.trip_word
            assert cleared or y.trip_first_out == self.last.trip_first_out
            again = self.common.protection.automatic_reset
            by_itself = again.most > 0 and any(
                (again.low_suction_pressure, again.high_oil_temperature, again.signal_lost)
            )
            if cleared and not by_itself:
                assert x.reset_pressed
                assert not self.last_reset, "a latch fell without a fresh reset"

    def check_start(self, x: Inputs, y: Outputs) -> None:
        q = self.common.sequence
        if y.motor_run and not self.last.motor_run:
            assert self.last.trip_word == 0
            assert self.capacity_pct <= q.start_limit_pct + 1e-9
            assert self.volume_ratio_pct <= q.start_limit_pct + 1e-9
            assert self.pump_on_since_ms >= 0
            assert self.time_ms - self.pump_on_since_ms >= q.pre_lubrication_ms
            assert self.time_ms - self.last_start_ms >= q.start_to_start_ms
            assert self.time_ms - self.last_stop_ms >= q.stop_to_start_ms
            self.last_start_ms = self.time_ms
            self.starts += 1

    def check_capacity(self, x: Inputs, y: Outputs) -> None:
        if y.inhibit != Inhibit.NONE:
            assert not y.capacity_load
            assert y.mode == Mode.AUTOMATIC
            assert y.capacity_demand_pct <= self.last.capacity_demand_pct
        unloading = (2, 4, 6, 8, 10)
        if int(y.inhibit) in unloading and x.capacity_position_health == Health.GOOD:
            least = self.common.capacity.minimum_load_pct
            fell = y.capacity_demand_pct < self.last.capacity_demand_pct
            assert fell or y.capacity_demand_pct <= least or x.supply_interrupted_ms > 0 or self.dt_ms == 0
            assert y.capacity_unload or self.capacity_pct <= least + 1e-9
        needed = (
            x.suction_pressure_health,
            x.discharge_pressure_health,
            x.discharge_temperature_health,
            x.motor_current_health,
            x.capacity_position_health,
            x.volume_ratio_position_health,
        )
        if any(h != Health.GOOD for h in needed):
            assert not y.capacity_load, "a failed instrument raised capacity"
            if y.mode == Mode.AUTOMATIC and self.last.mode == Mode.AUTOMATIC:
                assert y.capacity_demand_pct <= self.last.capacity_demand_pct
        if y.mode == Mode.AUTOMATIC:
            assert y.capacity_demand_pct >= self.common.capacity.minimum_load_pct

    def check_guard(self, slide: str, position: float, up: bool, down: bool, settings: Any) -> None:
        """Time is added for the drive issued last scan, at the position that scan saw."""
        was_up = getattr(self.last, "capacity_load" if slide == "capacity" else "volume_ratio_increase")
        was_down = getattr(self.last, "capacity_unload" if slide == "capacity" else "volume_ratio_decrease")
        if was_down and position <= settings.low_end_pct:
            self.low_on_ms[slide] += self.dt_ms
        if was_up and position >= settings.high_end_pct:
            self.high_on_ms[slide] += self.dt_ms
        if up or position > settings.low_end_pct + 1.0:
            self.low_on_ms[slide] = 0
        if down or position < settings.high_end_pct - 1.0:
            self.high_on_ms[slide] = 0
        late_ms = 5_000  # a scan that comes late leaves the drive on meanwhile; the watcher cannot blame the logic
        assert self.low_on_ms[slide] <= settings.end_stop_guard_ms + late_ms
        assert self.high_on_ms[slide] <= settings.end_stop_guard_ms + late_ms
        if self.low_on_ms[slide] > settings.end_stop_guard_ms:
            assert not down
        if self.high_on_ms[slide] > settings.end_stop_guard_ms:
            assert not up

    def see(self, x: Inputs, y: Outputs, dt_ms: int) -> None:
        self.dt_ms = dt_ms
        self.time_ms += dt_ms + x.supply_interrupted_ms
        self.modes.add(Mode(y.mode))
        assert not (y.capacity_load and y.capacity_unload)
        assert not (y.volume_ratio_increase and y.volume_ratio_decrease)
        assert 0.0 <= y.capacity_demand_pct <= 100.0
        assert 0.0 <= y.volume_ratio_demand_pct <= 100.0
        if not y.oil_pump:
            self.pump_on_since_ms = -1
        elif self.pump_on_since_ms < 0 or x.supply_interrupted_ms > 0:
            self.pump_on_since_ms = self.time_ms
        self.check_trips(x, y, dt_ms)
        self.check_start(x, y)
        self.check_capacity(x, y)
        assert y.oil_pump or not y.motor_run
        if x.capacity_position_health == Health.GOOD:
            drive = self.common.capacity.drive
            self.check_guard("capacity", self.capacity_pct, y.capacity_load, y.capacity_unload, drive)
        if x.volume_ratio_position_health == Health.GOOD:
            drive = self.common.volume_ratio.drive
            position = self.volume_ratio_pct
            self.check_guard("volume_ratio", position, y.volume_ratio_increase, y.volume_ratio_decrease, drive)
        if self.last.motor_run and not y.motor_run:
            self.last_stop_ms = self.time_ms - x.supply_interrupted_ms
        self.last_reset = x.reset_pressed
        self.last = dataclasses.replace(y)


class Bench:
    """A controller on the toy machine, watched."""

    def __init__(self, controller: Controller, settings: Any = None, noise_kpa: float = 0.0, seed: int = 1) -> None:
        self.controller = controller
        self.settings = quick(controller.settings_type()) if settings is None else settings
        self.state: Any = controller.state_type()
        self.outputs = Outputs()
        self.machine = ToyMachine(seed, noise_kpa)
        self.watcher = Watcher(self.settings)
        self.now_ms = TIME_MASK - 20_000
        self.overrides: dict[str, Any] = {}
        self.log: list[tuple[Inputs, Outputs, int]] = []

    def scan(self, dt_ms: int = 100, **once: Any) -> Outputs:
        """Let dt_ms pass under the outputs of the last scan, then scan; `once` overrides inputs of this scan only."""
        first = not self.log
        self.machine.move(self.outputs, dt_ms)
        x = self.machine.measure()
        for key, value in (self.overrides | once).items():
            setattr(x, key, value)
        if "discharge_pressure_kpa_abs" in self.overrides | once:  # the pump stands on the discharge side
            if "oil_pressure_before_filter_kpa_abs" not in self.overrides | once:
                x.oil_pressure_before_filter_kpa_abs = x.discharge_pressure_kpa_abs + 220.0
            if "oil_pressure_kpa_abs" not in self.overrides | once:
                x.oil_pressure_kpa_abs = x.discharge_pressure_kpa_abs + 190.0
        self.now_ms = (self.now_ms + dt_ms) & TIME_MASK
        signals = self.state.common.signals
        self.watcher.capacity_pct = calibrated(x.capacity_position_pct, signals.capacity_stops)
        self.watcher.volume_ratio_pct = calibrated(x.volume_ratio_position_pct, signals.volume_ratio_stops)
        status = self.controller.scan(self.settings, self.state, x, self.outputs, self.now_ms)
        assert status == 0
        self.watcher.see(x, self.outputs, 0 if first or x.supply_interrupted_ms > 0 else dt_ms)
        self.log.append((x, dataclasses.replace(self.outputs), self.now_ms))
        return self.outputs

    def run(self, duration_s: float, dt_ms: int = 100, **once: Any) -> Outputs:
        for _ in range(round(duration_s * 1000 / dt_ms)):
            self.scan(dt_ms, **once)
        return self.outputs

    def until(self, mode: Mode, limit_s: float = 300.0) -> Outputs:
        for _ in range(round(limit_s * 10)):
            if self.scan().mode == mode:
                return self.outputs
        raise AssertionError(f"{mode.name} not reached in {limit_s} s, stands at {Mode(self.outputs.mode).name}")


@pytest.fixture(params=sorted(SHIPPED))
def bench(request: pytest.FixtureRequest) -> Bench:
    """Each shipped controller in turn, with short waits."""
    return Bench(SHIPPED[request.param])


@pytest.fixture
def toys() -> SimpleNamespace:
    """The helper classes, for tests that build their own."""
    return SimpleNamespace(Bench=Bench, ToyMachine=ToyMachine, Watcher=Watcher, quick=quick)
