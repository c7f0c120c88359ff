"""The layers every shipped controller runs before and after its capacity law, in scan order.

begin:  time base → signal health → trips → load inhibit → sequence → capacity limits
(the law writes its wish into `state.capacity`)
finish: demand → drives of both slides → outputs
"""

from __future__ import annotations

from dataclasses import dataclass, field

from numba.extending import register_jitable as kernel

from controller.auxiliaries import run_auxiliaries
from controller.calibration import IDLE, calibrate
from controller.capacity_control import CapacityState, drive_capacity, limit_demand, prepare_capacity
from controller.contract import TIME_MASK
from controller.load_inhibit import InhibitState, inhibit_load
from controller.process_image import Inhibit, Inputs, Mode, Outputs, Trip
from controller.protection import ProtectionState, protect
from controller.sequence import SequenceState, oil_pump_wanted, step_sequence
from controller.set_point import ControlVariable
from controller.settings import CommonSettings
from controller.signals import SignalState, judge_signals, read_signals
from controller.slide_watch import watch_slide
from controller.trip_causes import FAILED_STOP, motor_commanded
from controller.volume_ratio_control import VolumeRatioState, control_volume_ratio


@dataclass(slots=True)
class CommonState:
    """State of the shared layers; the default is a fresh controller of a machine at rest."""

    started: bool = False
    last_ms: int = 0
    signals: SignalState = field(default_factory=SignalState)
    protection: ProtectionState = field(default_factory=ProtectionState)
    inhibit: InhibitState = field(default_factory=InhibitState)
    sequence: SequenceState = field(default_factory=SequenceState)
    capacity: CapacityState = field(default_factory=CapacityState)
    volume_ratio: VolumeRatioState = field(default_factory=VolumeRatioState)


@kernel
def direction_of(up: bool, down: bool) -> int:
    """+1, −1 or 0 of a slide's two drives."""
    if up:
        return 1
    if down:
        return -1
    return 0


@kernel
def watch_slides(settings: CommonSettings, state: CommonState, inputs: Inputs, outputs: Outputs, dt_ms: int) -> None:
    """Calibration at rest, and whether either slide is lost; `outputs` are those that acted since the last scan."""
    c = settings
    s = state.signals
    mode = state.sequence.mode
    x = inputs
    capacity = direction_of(outputs.capacity_load, outputs.capacity_unload)
    volume_ratio = direction_of(outputs.volume_ratio_increase, outputs.volume_ratio_decrease)
    permitted = mode == Mode.PRE_LUBRICATION and not inputs.motor_running
    if permitted or s.capacity_stops.phase != IDLE or s.volume_ratio_stops.phase != IDLE:
        clock_ms = state.sequence.clock_ms
        calibrate(
            c.calibration,
            c.capacity.drive,
            s.capacity_stops,
            x.capacity_position_pct,
            s.capacity_position_good,
            permitted,
            capacity,
            clock_ms,
            dt_ms,
        )
        calibrate(
            c.calibration,
            c.volume_ratio.drive,
            s.volume_ratio_stops,
            x.volume_ratio_position_pct,
            s.volume_ratio_position_good,
            permitted,
            volume_ratio,
            clock_ms,
            dt_ms,
        )
    watched = mode == Mode.PRE_LUBRICATION or motor_commanded(mode)
    watch_slide(
        c.slide_watch,
        state.protection.capacity,
        s.capacity_position_pct,
        s.capacity_position_good,
        x.capacity_position_opposite_pct,
        x.capacity_position_opposite_health,
        capacity,
        settings.sequence.start_limit_pct,
        watched,
        dt_ms,
    )
    watch_slide(
        c.slide_watch,
        state.protection.volume_ratio,
        s.volume_ratio_position_pct,
        s.volume_ratio_position_good,
        x.volume_ratio_position_opposite_pct,
        x.volume_ratio_position_opposite_health,
        volume_ratio,
        settings.sequence.start_limit_pct,
        watched,
        dt_ms,
    )


@kernel
def begin(settings: CommonSettings, state: CommonState, inputs: Inputs, outputs: Outputs, now_ms: int) -> int:
    """Everything before the capacity law.  Returns the time since the last scan in ms.

    After a supply interruption the counter's difference means nothing; the interruption itself says how long it was,
    and moves the waits on, while no delay of a trip or a pulse can have been watched meanwhile.
    """
    dt_ms = 0
    if state.started:
        dt_ms = (now_ms - state.last_ms) & TIME_MASK
    state.started = True
    state.last_ms = now_ms
    interrupted_ms = max(0, inputs.supply_interrupted_ms)
    if interrupted_ms > 0:
        dt_ms = 0
    state.sequence.clock_ms += dt_ms + interrupted_ms
    state.sequence.mode_elapsed_ms += dt_ms

    read_signals(settings.capacity.drive, settings.volume_ratio.drive, state.signals, inputs, outputs, dt_ms)
    judge_signals(
        settings.signals,
        state.signals,
        inputs,
        inputs.motor_running and motor_commanded(state.sequence.mode),
        settings.capacity.target.control_variable == ControlVariable.PROCESS_TEMPERATURE,
        settings.motor.full_load_current_a,
        dt_ms,
    )
    watch_slides(settings, state, inputs, outputs, dt_ms)
    mode = state.sequence.mode
    if interrupted_ms > 0 and motor_commanded(mode):
        mode = Mode.SPIN_DOWN  # the supply took the motor with it: nothing that only a running machine has can be wrong
    protect(
        settings.protection,
        settings.refrigerant,
        state.protection,
        state.signals,
        inputs,
        mode,
        state.sequence.mode_elapsed_ms,
        state.sequence.clock_ms - state.sequence.last_start_ms,
        settings.sequence.start_confirm_ms,
        settings.motor.full_load_current_a,
        dt_ms,
    )
    inhibit_load(
        settings.inhibit,
        state.inhibit,
        state.signals,
        state.sequence.mode,
        settings.motor.full_load_current_a,
        state.protection.hold_word,
        state.protection.unload_word,
        dt_ms,
    )
    idle_pct = settings.capacity.minimum_load_pct + settings.sequence.idle_band_pct
    at_minimum_load = (
        not inputs.capacity_manual
        and state.capacity.demand_pct <= idle_pct
        and state.signals.capacity_position_pct <= idle_pct
    )
    step_sequence(
        settings.sequence,
        state.sequence,
        state.protection,
        state.signals,
        inputs,
        at_minimum_load,
        interrupted_ms,
        dt_ms,
    )
    prepare_capacity(
        settings.capacity,
        settings.refrigerant,
        state.capacity,
        state.signals,
        state.inhibit,
        inputs,
        state.sequence.mode,
        state.sequence.mode_elapsed_ms,
        dt_ms,
    )
    return dt_ms


@kernel
def law_in_charge(state: CommonState, inputs: Inputs) -> bool:
    """Whether the capacity law leads: AUTOMATIC, not by hand, and no remote or fixed demand."""
    return state.sequence.mode == Mode.AUTOMATIC and not inputs.capacity_manual and state.capacity.target.law_leads


@kernel
def finish(settings: CommonSettings, state: CommonState, inputs: Inputs, outputs: Outputs, dt_ms: int) -> None:
    """Everything after the capacity law."""
    mode = state.sequence.mode
    if mode == Mode.AUTOMATIC:
        limit_demand(settings.capacity, state.capacity, state.signals, state.inhibit, inputs, dt_ms)
    else:
        state.inhibit.inhibit = Inhibit.NONE  # the sequence has left AUTOMATIC in this scan: it holds the slides now
        state.inhibit.forced = False
    to_minimum = mode == Mode.PRE_LUBRICATION or mode == Mode.STARTING or mode == Mode.RUN_UP or mode == Mode.UNLOADING
    if inputs.motor_running and state.protection.trip_word & FAILED_STOP != 0:
        to_minimum = True  # the contactor did not open: less load is all that can be done from here
    capacity = drive_capacity(settings.capacity, state.capacity, state.signals, state.inhibit, mode, to_minimum, dt_ms)
    if motor_commanded(mode) or inputs.motor_running:
        # a low volume ratio at high capacity compresses too little in the flutes and costs current: capacity goes first,
        # and where it sticks the volume ratio stays
        running_down = mode != Mode.STARTING and mode != Mode.RUN_UP
        if running_down and state.signals.capacity_position_pct > settings.sequence.volume_ratio_unloads_below_pct:
            to_minimum = False
    volume_ratio = control_volume_ratio(
        settings.volume_ratio, state.volume_ratio, state.signals, inputs, mode, to_minimum, dt_ms
    )
    motor_on = motor_commanded(mode)
    outputs.motor_run = motor_on
    outputs.oil_pump = oil_pump_wanted(settings.sequence, state.sequence, inputs.motor_running)
    run_auxiliaries(settings.auxiliaries, state.signals, inputs, outputs, motor_on)
    outputs.capacity_load = capacity > 0
    outputs.capacity_unload = capacity < 0
    outputs.volume_ratio_increase = volume_ratio > 0
    outputs.volume_ratio_decrease = volume_ratio < 0
    outputs.mode = state.sequence.mode
    outputs.inhibit = state.inhibit.inhibit
    outputs.trip_first_out = Trip.NONE
    if state.protection.trip_word != 0:  # the cause of a controlled stop shows once the motor is off
        outputs.trip_first_out = state.protection.first_out
    outputs.start_refused = state.sequence.start_refused
    outputs.stop_reason = state.sequence.stop_reason
    outputs.trip_word = state.protection.trip_word
    outputs.alarm_word = state.protection.alarm_word
    outputs.capacity_demand_pct = state.capacity.demand_pct
    outputs.volume_ratio_demand_pct = state.volume_ratio.demand_pct
    outputs.suction_set_point_kpa_abs = state.capacity.target.set_point_kpa_abs


def attach_running(state: CommonState, inputs: Inputs, outputs: Outputs) -> None:
    """Make a fresh state that of a machine which has been in AUTOMATIC for hours: for a run that starts in service.

    `inputs` are those of the first scan, `outputs` the record that scan will be given; both slides start with their
    demand at the measured position and the load ramp is over.
    """
    state.sequence.mode = Mode.AUTOMATIC
    state.sequence.mode_elapsed_ms = 24 * 3_600_000
    state.capacity.active = True
    state.capacity.demand_pct = min(max(inputs.capacity_position_pct, 0.0), 100.0)
    state.capacity.free_pct = state.capacity.demand_pct
    state.capacity.suction_filtered_kpa_abs = inputs.suction_pressure_kpa_abs
    state.volume_ratio.active = True
    state.volume_ratio.demand_pct = min(max(inputs.volume_ratio_position_pct, 0.0), 100.0)
    outputs.motor_run = True
    outputs.oil_pump = True
    outputs.mode = Mode.AUTOMATIC
    outputs.capacity_demand_pct = state.capacity.demand_pct
    outputs.volume_ratio_demand_pct = state.volume_ratio.demand_pct
