"""What happens from outside: one SimPy process for each event of a scenario.

A process writes disturbances and switches, and reads rows; it never touches the plant or the controller.  Time is integer
milliseconds.  Writing takes effect at the first sub-step boundary not before the event's time.
"""

from __future__ import annotations

from collections.abc import Callable, Generator
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

import numpy as np
import simpy

from controller.process_image import Selection
from plant_model.instruments import Channel, Fault
from plant_model.state import Disturbances
from scenarios import event_kinds as kinds
from scenarios.chance import generator
from scenarios.errors import InternalError
from scenarios.event_kinds import Action
from scenarios.load_log import LoadLog
from scenarios.plant_happenings import HAPPENINGS
from scenarios.row import INDEX
from scenarios.scenario import Scenario, Threshold
from scenarios.trace import Event, Floats
from scenarios.weather_log import HOUR_MS
from scenarios.wiring import Operator

Process = Generator[simpy.events.Event, Any, None]

PRESS_MS = 500  # how long a finger stays on a button: several scans


def no_settings(setting: str, value: Any) -> str:
    """A world without a controller has no setting to change."""
    raise InternalError(f"there is no controller whose {setting} could become {value}")


class _Moment(simpy.events.Event):
    """The time of a scenario's event: of all that happens in one millisecond it comes first.

    So an event acts in the same order whether it was there from the start or was added while the run went on.
    """

    def __init__(self, env: simpy.Environment, at_ms: int) -> None:
        super().__init__(env)
        self._ok, self._value = True, None
        env.schedule(self, simpy.events.URGENT, max(0, at_ms - int(env.now)))


@dataclass(slots=True)
class _Watch:
    threshold: Threshold
    event: simpy.events.Event


@dataclass(slots=True)
class World:
    """The outside of a run: SimPy's clock, what it may write, and the row that it may read."""

    env: simpy.Environment
    operator: Operator
    disturbances: Disturbances
    values: Floats
    noted: list[Event]
    scenario: Scenario
    seed: int
    change_setting: Callable[[str, Any], str] = no_settings
    watching: list[_Watch] = field(default_factory=list)
    late_scans: int = 0  # how many events hold the controller's scans back
    _closed: int = 0  # how many events hold the evaporators closed
    _chains: int = 0  # how many events hold the safety chain open
    _faults: dict[int, list[tuple[int, int, float]]] = field(default_factory=dict)  # of a channel, the latest last

    def note(self, kind: str, source: str, text: str) -> None:
        """A line for events.csv, at this moment."""
        self.noted.append(Event(int(self.env.now), kind, source, text))

    def read(self, column: str) -> float:
        """A column's value in the last row."""
        return float(self.values[INDEX[column]])

    def wait_until(self, threshold: Threshold) -> simpy.events.Event:
        """An event that fires after the first scan at which a column reaches a threshold."""
        event = self.env.event()
        self.watching.append(_Watch(threshold, event))
        return event

    def watch_table(self) -> Floats:
        """The watches as the engine takes them, shape (n, 3): column, threshold, direction."""
        rows = [
            (float(INDEX[w.threshold.column]), w.threshold.value, 1.0 if w.threshold.rising else -1.0)
            for w in self.watching
        ]
        return np.array(rows, dtype=np.float64).reshape(-1, 3)

    def fire(self, number: int, time_ms: int) -> None:
        """A watch held: its event succeeds at `time_ms`, and nobody watches it any more."""
        watch = self.watching.pop(number)

        def succeed() -> Process:
            yield self.env.timeout(max(0, time_ms - int(self.env.now)))
            watch.event.succeed()

        self.env.process(succeed())

    def stop_watching(self, event: simpy.events.Event) -> None:
        """Drop a watch that has not fired."""
        self.watching = [watch for watch in self.watching if watch.event is not event]

    def start_all(self) -> None:
        """Start the process of every event of the scenario."""
        for number, event in enumerate(self.scenario.events):
            self.start_later(number, event)

    def start_later(self, number: int, event: Any) -> None:
        """Let an event happen at its time, which must not be over; `number` is its place among the run's events."""
        self.env.process(self._process(number, event))

    def _process(self, number: int, event: Any) -> Process:
        yield _Moment(self.env, event.starts_ms)
        if isinstance(event, kinds.WaitFor):
            yield from self._wait_for(self.scenario.thresholds[number], event)
        elif isinstance(event, kinds.BatchArrivals):
            yield from self._batches(number, event)
        elif isinstance(event, kinds.DoorTraffic):
            yield from self._doors(number, event)
        else:
            yield from self._act(event)

    def _act(self, event: Any) -> Process:
        yield from _ACTS[type(event)](self, event)

    def _wait_for(self, threshold: Threshold, event: kinds.WaitFor) -> Process:
        fired = self.wait_until(threshold)
        if event.within_ms is not None:
            yield fired | self.env.timeout(event.within_ms)
            if not fired.triggered:
                self.stop_watching(fired)
                self.note("disturbance", "wait_for", f"{threshold.column} did not reach {threshold.value:g} in time")
                return
        else:
            yield fired
        self.note("disturbance", "wait_for", f"{threshold.column} reached {threshold.value:g}")
        if event.after_ms:
            yield self.env.timeout(event.after_ms)
        yield from self._act(event.then)

    # The load is a straight line from `load_since_ms` on; every change starts a new line at the present value.

    def load_now_w(self) -> float:
        """The load heat at this moment."""
        d = self.disturbances
        return d.load_heat_w + d.load_heat_rate_w_s * (int(self.env.now) - d.load_since_ms) / 1000.0

    def set_load(self, heat_w: float, rate_w_s: float) -> None:
        """Begin a new line: from `heat_w` now, changing by `rate_w_s`."""
        d = self.disturbances
        d.load_heat_w, d.load_heat_rate_w_s, d.load_since_ms = max(0.0, heat_w), rate_w_s, int(self.env.now)

    def _batches(self, number: int, event: kinds.BatchArrivals) -> Process:
        chance = generator(self.seed, f"batch arrivals {number}")
        while True:
            yield self.env.timeout(max(1, round(chance.exponential(event.every_ms))))
            if self.env.now >= event.until_ms:
                return
            self.env.process(self._batch(event))

    def _batch(self, event: kinds.BatchArrivals) -> Process:
        self.note("disturbance", "batch_arrivals", f"a batch arrives: {event.heat_w / 1000.0:+g} kW")
        self.set_load(self.load_now_w() + event.heat_w, self.disturbances.load_heat_rate_w_s)
        yield self.env.timeout(event.lasting_ms)
        self.set_load(self.load_now_w() - event.heat_w, self.disturbances.load_heat_rate_w_s)

    def _doors(self, number: int, event: kinds.DoorTraffic) -> Process:
        chance = generator(self.seed, f"door traffic {number}")
        most_1_s = max(event.rate_1_s, event.rate_until_1_s or 0.0)
        while most_1_s > 0.0:
            # thinning: candidates at the greatest rate, each kept with the share that the rate has of it then
            yield self.env.timeout(max(1, round(1000.0 * chance.exponential(1.0 / most_1_s))))
            if self.env.now >= event.until_ms:
                return
            kept, lasts = chance.random() * most_1_s < event.rate_at_1_s(self.env.now), chance.exponential(1.0)
            if kept:
                self.env.process(self._door(event, max(1, round(lasts * event.lasting_ms))))

    def _door(self, event: kinds.DoorTraffic, lasting_ms: int) -> Process:
        self.note("disturbance", "door_traffic", f"a door opens for {lasting_ms / 1000.0:.0f} s")
        self.set_load(self.load_now_w() + event.heat_w, self.disturbances.load_heat_rate_w_s)
        yield self.env.timeout(lasting_ms)
        self.set_load(self.load_now_w() - event.heat_w, self.disturbances.load_heat_rate_w_s)

    def _load_step(self, event: kinds.LoadStep) -> Process:
        target_w = event.to_w if event.to_w is not None else self.load_now_w() + (event.change_w or 0.0)
        self.note("disturbance", "load_step", f"load {self.load_now_w() / 1000.0:.0f} → {target_w / 1000.0:.0f} kW")
        self.set_load(target_w, self.disturbances.load_heat_rate_w_s)
        yield from ()

    def _load_ramp(self, event: kinds.LoadRamp) -> Process:
        now_w = self.load_now_w()
        self.note("disturbance", "load_ramp", f"load {now_w / 1000.0:.0f} → {event.to_w / 1000.0:.0f} kW")
        rate_w_s = (event.to_w - now_w) / (event.over_ms / 1000.0)
        self.set_load(now_w, self.disturbances.load_heat_rate_w_s + rate_w_s)
        yield self.env.timeout(event.over_ms)
        self.set_load(self.load_now_w(), self.disturbances.load_heat_rate_w_s - rate_w_s)

    def _load_log(self, event: kinds.LoadLogPlayed) -> Process:
        log: LoadLog = self.scenario.load_logs[event.file]
        start_ms, first_ms = int(self.env.now), log.time_ms[0]
        self.note("disturbance", "load_log", f"the load follows {event.file}, {len(log.time_ms)} rows")
        last_w = self.load_now_w()
        for time_ms, load_w in zip(log.time_ms, log.load_w, strict=True):
            wait_ms = start_ms + time_ms - first_ms - int(self.env.now)
            if wait_ms > 0:
                yield self.env.timeout(wait_ms)
            # by difference, so that batches and steps of the same scenario add to the record
            self.set_load(self.load_now_w() + event.scale * load_w - last_w, self.disturbances.load_heat_rate_w_s)
            last_w = event.scale * load_w

    def _load_loss(self, event: kinds.LoadLoss) -> Process:
        self._closed += 1
        self.disturbances.evaporator_open_frac = 0.0
        self.note("disturbance", "load_loss", "all evaporator groups close")
        if event.lasting_ms is not None:
            yield self.env.timeout(event.lasting_ms)
            self._closed -= 1
            if not self._closed:
                self.disturbances.evaporator_open_frac = 1.0
                self.note("disturbance", "load_loss", "the evaporator groups open again")

    def _wet_bulb_step(self, event: kinds.WetBulbStep) -> Process:
        self.note("disturbance", "wet_bulb_step", f"wet bulb {event.to_k - 273.15:.1f} °C")
        d = self.disturbances
        d.wet_bulb_k, d.wet_bulb_since_ms = event.to_k, int(self.env.now)
        yield from ()

    def _bend_wet_bulb(self, rate_change_k_s: float) -> None:
        d, now_ms = self.disturbances, int(self.env.now)
        d.wet_bulb_k += d.wet_bulb_rate_k_s * (now_ms - d.wet_bulb_since_ms) / 1000.0
        d.wet_bulb_rate_k_s += rate_change_k_s
        d.wet_bulb_since_ms = now_ms

    def _wet_bulb_drift(self, event: kinds.WetBulbDrift) -> Process:
        over_ms = event.until_ms - event.from_ms
        rate_k_s = event.by_k / (over_ms / 1000.0)
        self.note("disturbance", "wet_bulb_drift", f"wet bulb begins to drift by {event.by_k:+.1f} K")
        self._bend_wet_bulb(rate_k_s)
        yield self.env.timeout(over_ms)
        self._bend_wet_bulb(-rate_k_s)

    def _weather_log(self, event: kinds.WeatherLogPlayed) -> Process:
        log = self.scenario.weather_logs[event.file]
        start_ms, d = int(self.env.now), self.disturbances
        knots = log.knots(event.start_h, max(0, self.scenario.duration_ms - start_ms) / HOUR_MS)
        self.note("disturbance", "weather_log", f"the weather is that of {log.station}, {event.day} {event.clock}")
        self._bend_wet_bulb(0.0)
        d.wet_bulb_k = knots[0][1]
        slope_k_s = 0.0  # only the record's own share of the rate is replaced, so that drifts add to it
        for (from_ms, from_k), (to_ms, to_k) in pairwise(knots):
            next_k_s = (to_k - from_k) / ((to_ms - from_ms) / 1000.0)
            self._bend_wet_bulb(next_k_s - slope_k_s)
            slope_k_s = next_k_s
            yield self.env.timeout(max(0, start_ms + to_ms - int(self.env.now)))
        self._bend_wet_bulb(-slope_k_s)

    def _settings_change(self, event: kinds.SettingsChange) -> Process:
        self.note("operator", "settings_change", self.change_setting(event.setting, event.value))
        yield from ()

    def _condenser_fans(self, event: kinds.CondenserFans) -> Process:
        self.note("disturbance", "condenser_fans", f"{100.0 * event.running_frac:.0f} % of the condenser fans run")
        self.disturbances.condenser_fans_frac = event.running_frac
        yield from ()

    def _safety_chain(self, event: kinds.SafetyChain) -> Process:
        self._chains += 1
        self.operator.safety_chain_closed = False
        self.note("disturbance", "safety_chain", "the hard-wired safety chain opens")
        if event.lasting_ms is not None:
            yield self.env.timeout(event.lasting_ms)
            self._chains -= 1
            if not self._chains:
                self.operator.safety_chain_closed = True
                self.note("disturbance", "safety_chain", "the safety chain is closed again")

    def _instrument_fault(self, event: kinds.InstrumentFault) -> Process:
        channel, kind = int(Channel[event.instrument.upper()]), int(Fault[event.fault.upper()])
        active = self._faults.setdefault(channel, [])
        fault = (len(self.noted), kind, event.size_frac or 0.0)  # numbered, so that two of a kind are two
        active.append(fault)
        self.note("instrument", event.instrument, f"{event.fault.replace('_', ' ')}{_size(event)}")
        self._show_fault(channel)
        if event.lasting_ms is not None:
            yield self.env.timeout(event.lasting_ms)
            active.remove(fault)
            self._show_fault(channel)
            self.note("instrument", event.instrument, "another fault is left" if active else "works again")

    def _show_fault(self, channel: int) -> None:
        """The latest of a channel's faults is what it shows."""
        d, active = self.disturbances, self._faults[channel]
        _, d.fault_kind[channel], d.fault_size_frac[channel] = active[-1] if active else (0, int(Fault.NONE), 0.0)
        d.fault_since_ms[channel] = int(self.env.now)

    def _operate(self, event: kinds.Operator) -> Process:
        o, action = self.operator, event.action
        demand = "" if event.demand_pct is None else f" {event.demand_pct:g} %"
        self.note("operator", action.value, action.value.replace("_", " ") + demand)
        if action in _BUTTONS:
            setattr(o, _BUTTONS[action], True)
            yield self.env.timeout(PRESS_MS)
            setattr(o, _BUTTONS[action], False)
        elif action in _SWITCHES:
            name, value = _SWITCHES[action]
            setattr(o, name, value)
        if event.demand_pct is not None:
            setattr(o, _DEMANDS[action], event.demand_pct)


def _size(event: kinds.InstrumentFault) -> str:
    return "" if event.size_frac is None else f" {100.0 * event.size_frac:+g} % of span"


_BUTTONS = {Action.STOP_BUTTON: "stop_button_pressed", Action.RESET: "reset_pressed"}
_SWITCHES: dict[Action, tuple[str, Any]] = {
    Action.SELECT_OFF: ("selection", Selection.OFF),
    Action.SELECT_LOCAL: ("selection", Selection.LOCAL),
    Action.SELECT_REMOTE: ("selection", Selection.REMOTE),
    Action.REMOTE_RUN_ON: ("remote_run", True),
    Action.REMOTE_RUN_OFF: ("remote_run", False),
    Action.SECOND_SET_POINT_ON: ("second_set_point", True),
    Action.SECOND_SET_POINT_OFF: ("second_set_point", False),
    Action.CAPACITY_MANUAL_ON: ("capacity_manual", True),
    Action.CAPACITY_MANUAL_OFF: ("capacity_manual", False),
    Action.VOLUME_RATIO_MANUAL_ON: ("volume_ratio_manual", True),
    Action.VOLUME_RATIO_MANUAL_OFF: ("volume_ratio_manual", False),
}
_DEMANDS = {
    Action.REMOTE_DEMAND: "remote_demand_pct",
    Action.ANNOUNCE_LOAD: "announced_load_pct",
    Action.CAPACITY_MANUAL_ON: "capacity_manual_demand_pct",
    Action.VOLUME_RATIO_MANUAL_ON: "volume_ratio_manual_demand_pct",
}
_ACTS: dict[type, Callable[[World, Any], Process]] = {
    kinds.LoadStep: World._load_step,
    kinds.LoadRamp: World._load_ramp,
    kinds.LoadLoss: World._load_loss,
    kinds.LoadLogPlayed: World._load_log,
    kinds.WeatherLogPlayed: World._weather_log,
    kinds.WetBulbDrift: World._wet_bulb_drift,
    kinds.WetBulbStep: World._wet_bulb_step,
    kinds.Operator: World._operate,
    kinds.InstrumentFault: World._instrument_fault,
    kinds.CondenserFans: World._condenser_fans,
    kinds.SafetyChain: World._safety_chain,
    kinds.SettingsChange: World._settings_change,
    **HAPPENINGS,
}
