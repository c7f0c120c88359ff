"""The sequence: from rest through pre-lubrication and an unloaded start to automatic, and back to rest.

OFF → WAITING → PRE_LUBRICATION → STARTING → RUN_UP → AUTOMATIC → UNLOADING → SPIN_DOWN → OFF or WAITING
a latched trip leads from everywhere to TRIPPED; a supply interruption from PRE_LUBRICATION…UNLOADING to SPIN_DOWN
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Annotated

from numba.extending import register_jitable as kernel

from controller.calibration import GOING_UP, RETURNING
from controller.process_image import Inputs, Mode, Selection, StartRefused, StopReason
from controller.protection import ProtectionState
from controller.scaling import believable
from controller.setting_fields import duration, number, percent, pressure, temperature
from controller.signals import SignalState
from controller.timers import Ton, ton
from controller.trip_causes import motor_commanded

PRACTICE = "common practice, no source"
NEVER_MS = -(10**15)
HOUR_MS = 3_600_000
STARTS_KEPT = 6


@dataclass(frozen=True, slots=True)
class SequenceSettings:
    """Times and permissives of starting and stopping."""

    pre_lubrication_ms: int = duration(30_000, 1_000, 600_000, f"oil at the bearings first; {PRACTICE}")
    start_limit_pct: float = percent(5.0, 1.0, 20.0, f"both slides below this before the motor starts; {PRACTICE}")
    start_confirm_ms: int = duration(4_000, 0, 30_000, f"running feedback steady this long; {PRACTICE}")
    run_up_ms: int = duration(20_000, 0, 300_000, f"unloaded at speed; {PRACTICE}")
    volume_ratio_unloads_below_pct: float = percent(
        30.0, 5.0, 100.0, f"capacity position in a controlled unload: earlier it would only cost current; {PRACTICE}"
    )
    unload_timeout_ms: int = duration(75_000, 10_000, 300_000, f"60–90 s; {PRACTICE}")
    spin_down_ms: int = duration(60_000, 5_000, 600_000, f"coasting and back-spin; {PRACTICE}")
    oil_after_stop_ms: int = duration(60_000, 0, 600_000, f"oil while the rotor coasts after a trip; {PRACTICE}")
    start_to_start_ms: int = duration(1_200_000, 0, 7_200_000, f"20 min between motor starts; {PRACTICE}")
    stop_to_start_ms: int = duration(120_000, 0, 3_600_000, f"pressures settle; {PRACTICE}")
    starts_per_hour: int = number(3, 1, STARTS_KEPT, "NEMA MG 10 gives 3.7 for a 250 hp four-pole motor; whole starts")
    oil_minimum_c: float = temperature(25.0, -10.0, 60.0, f"thin enough for the slides and bearings; {PRACTICE}")
    oil_level_minimum_pct: float = percent(25.0, 0.0, 90.0, f"{PRACTICE}")
    restart_kpa_abs: float = pressure(310.0, 30.0, 3500.0, f"20 kPa above the set point; {PRACTICE}")
    valves_closed_ms: int = duration(2_000, 0, 60_000, f"a valve that closes in service stops the machine; {PRACTICE}")
    idle_stop_kpa_abs: float = pressure(262.0, 30.0, 3500.0, f"2.6 K below the set point; {PRACTICE}")
    idle_delay_ms: int = duration(180_000, 1_000, 3_600_000, f"rides through a short loss of load; {PRACTICE}")
    idle_band_pct: float = percent(3.0, 0.5, 20.0, f"position above minimum load that still counts as idle; {PRACTICE}")


@dataclass(slots=True)
class SequenceState:
    """Where the sequence stands.  Times are on the controller's own clock, which no wrap and no dip sets back."""

    mode: Mode = Mode.OFF
    mode_elapsed_ms: int = 0
    clock_ms: int = 0
    last_start_ms: int = NEVER_MS
    last_stop_ms: int = NEVER_MS
    starts_ms: Annotated[list[int], STARTS_KEPT] = field(default_factory=lambda: [NEVER_MS] * STARTS_KEPT)
    start_count: int = 0
    confirm: Ton = field(default_factory=Ton)
    idle: Ton = field(default_factory=Ton)
    valves_closed: Ton = field(default_factory=Ton)
    start_refused: StartRefused = StartRefused.NONE
    stop_reason: StopReason = StopReason.NONE
    stopping_for: StopReason = StopReason.NONE


@kernel
def start_permission(
    settings: SequenceSettings, state: SequenceState, signals: SignalState, inputs: Inputs, granted: bool
) -> StartRefused:
    """NONE when the machine may start, else the first reason against it in the order of the enum.

    Once granted, a suction pressure that wavers round the restart pressure does not take the start back; one that has
    fallen below the idle-stop pressure does.
    """
    c = settings
    suction_needed_kpa_abs = c.restart_kpa_abs
    if granted:
        suction_needed_kpa_abs = c.idle_stop_kpa_abs
    if not inputs.safety_chain_closed:
        return StartRefused.SAFETY_CHAIN_OPEN
    if not inputs.valves_open:
        return StartRefused.VALVES_CLOSED
    if state.clock_ms - state.last_start_ms < c.start_to_start_ms:
        return StartRefused.RESTART_WAIT
    if state.clock_ms - state.last_stop_ms < c.stop_to_start_ms:
        return StartRefused.RESTART_WAIT
    recent = 0
    for i in range(STARTS_KEPT):
        if state.clock_ms - state.starts_ms[i] < HOUR_MS:
            recent += 1
    if recent >= c.starts_per_hour:
        return StartRefused.STARTS_PER_HOUR
    oil_level_good = believable(inputs.oil_level_pct, inputs.oil_level_health)
    if signals.oil_temperature_good and signals.oil_temperature_c < c.oil_minimum_c:
        return StartRefused.OIL_COLD
    if oil_level_good and inputs.oil_level_pct < c.oil_level_minimum_pct:
        return StartRefused.OIL_LEVEL_LOW
    if inputs.vessel_high_high_level:
        return StartRefused.VESSEL_LEVEL_HIGH
    if signals.suction_pressure_good and signals.suction_pressure_kpa_abs < suction_needed_kpa_abs:
        return StartRefused.SUCTION_BELOW_RESTART
    if not (signals.all_good and signals.oil_good and oil_level_good):
        return StartRefused.SIGNAL_LOST
    if inputs.motor_running or state.clock_ms - state.last_stop_ms < c.spin_down_ms:
        return StartRefused.STILL_TURNING
    return StartRefused.NONE


@kernel
def go_to(state: SequenceState, mode: Mode) -> None:
    """Enter a mode; the time in it starts again."""
    state.mode = mode
    state.mode_elapsed_ms = 0


@kernel
def stop_motor(state: SequenceState, stopped_at_ms: int) -> None:
    """Note that the motor has been switched off at this time of the controller's clock."""
    state.last_stop_ms = stopped_at_ms
    state.stop_reason = state.stopping_for


@kernel
def note_start(state: SequenceState) -> None:
    """Count a motor start."""
    state.last_start_ms = state.clock_ms
    state.starts_ms[state.start_count % STARTS_KEPT] = state.clock_ms
    state.start_count += 1


@kernel
def wants_to_run(inputs: Inputs) -> bool:
    """Whether the door switch, and the remote command where it counts, ask for the machine."""
    return inputs.selection == Selection.LOCAL or (inputs.selection == Selection.REMOTE and inputs.remote_run)


@kernel
def must_stop(state: SequenceState, protection: ProtectionState, inputs: Inputs, valves_closed: bool) -> bool:
    """Whether the motor, commanded on, must go through a controlled stop; notes why.

    A valve that closes in service counts as a stop from outside (REMOTE_STOP), and the refused start then names it.
    """
    if protection.stopping_word != 0:
        state.stopping_for = StopReason.TRIP
        return True
    if inputs.selection == Selection.OFF:
        state.stopping_for = StopReason.SELECTED_OFF
        return True
    if valves_closed or not wants_to_run(inputs):
        state.stopping_for = StopReason.REMOTE_STOP
        return True
    return False


@kernel
def step_sequence(
    settings: SequenceSettings,
    state: SequenceState,
    protection: ProtectionState,
    signals: SignalState,
    inputs: Inputs,
    at_minimum_load: bool,
    interrupted_ms: int,
    dt_ms: int,
) -> None:
    """One step; `mode_elapsed_ms` and `clock_ms` have been advanced already.

    at_minimum_load: capacity demand and position both stand at minimum load; interrupted_ms: the supply has been away
    this long since the last scan (0: it has not), and the clock has been advanced by it.
    """
    c = settings
    s = state
    wanted = wants_to_run(inputs)
    up = signals.capacity_stops.phase == GOING_UP or signals.volume_ratio_stops.phase == GOING_UP
    searching = up or signals.capacity_stops.phase == RETURNING or signals.volume_ratio_stops.phase == RETURNING
    unloaded = (
        not searching
        and signals.capacity_position_pct <= c.start_limit_pct
        and signals.volume_ratio_position_pct <= c.start_limit_pct
    )
    s.start_refused = StartRefused.NONE
    idle = s.mode == Mode.AUTOMATIC and at_minimum_load and signals.suction_pressure_good
    idle = idle and signals.suction_pressure_kpa_abs < c.idle_stop_kpa_abs
    idle_due = ton(s.idle, idle, c.idle_delay_ms, dt_ms)
    in_service = s.mode == Mode.STARTING or s.mode == Mode.RUN_UP or s.mode == Mode.AUTOMATIC
    valves_closed = ton(s.valves_closed, in_service and not inputs.valves_open, c.valves_closed_ms, dt_ms)
    confirmed = ton(s.confirm, s.mode == Mode.STARTING and inputs.motor_running, c.start_confirm_ms, dt_ms)

    if protection.trip_word != 0:
        if s.mode != Mode.TRIPPED:
            if motor_commanded(s.mode):
                s.stopping_for = StopReason.TRIP
                stop_motor(s, s.clock_ms - interrupted_ms)
            go_to(s, Mode.TRIPPED)
        if wanted:
            s.start_refused = StartRefused.TRIP_LATCHED
    elif interrupted_ms > 0 and (motor_commanded(s.mode) or s.mode == Mode.PRE_LUBRICATION):
        if s.mode != Mode.PRE_LUBRICATION:
            s.stopping_for = StopReason.SUPPLY_LOST
            stop_motor(s, s.clock_ms - interrupted_ms)
        go_to(s, Mode.SPIN_DOWN)
    elif s.mode == Mode.TRIPPED:
        go_to(s, Mode.SPIN_DOWN)
    elif s.mode == Mode.OFF:
        if wanted:
            go_to(s, Mode.WAITING)
            s.start_refused = start_permission(c, s, signals, inputs, False)
    elif s.mode == Mode.WAITING:
        s.start_refused = start_permission(c, s, signals, inputs, False)
        if not wanted:
            s.start_refused = StartRefused.NONE
            go_to(s, Mode.OFF)
        elif s.start_refused == StartRefused.NONE:
            protection.unload_timeout = False
            go_to(s, Mode.PRE_LUBRICATION)
    elif s.mode == Mode.PRE_LUBRICATION:
        s.start_refused = start_permission(c, s, signals, inputs, True)
        if not wanted:
            s.start_refused = StartRefused.NONE
            go_to(s, Mode.OFF)
        elif s.start_refused != StartRefused.NONE:
            go_to(s, Mode.WAITING)
        elif s.mode_elapsed_ms >= c.pre_lubrication_ms and unloaded:
            note_start(s)
            go_to(s, Mode.STARTING)
        elif s.mode_elapsed_ms >= c.pre_lubrication_ms + c.unload_timeout_ms:
            protection.unload_timeout = True  # it goes on trying, and says that it cannot
    elif in_service and must_stop(s, protection, inputs, valves_closed):
        go_to(s, Mode.UNLOADING)
    elif s.mode == Mode.STARTING:
        if confirmed:
            go_to(s, Mode.RUN_UP)
    elif s.mode == Mode.RUN_UP:
        if s.mode_elapsed_ms >= c.run_up_ms:
            go_to(s, Mode.AUTOMATIC)
    elif s.mode == Mode.AUTOMATIC:
        if idle_due:
            s.stopping_for = StopReason.IDLE
            go_to(s, Mode.UNLOADING)
    elif s.mode == Mode.UNLOADING:
        if protection.stopping_word != 0:
            s.stopping_for = StopReason.TRIP
        if not inputs.valves_open:
            s.start_refused = StartRefused.VALVES_CLOSED
        if s.mode_elapsed_ms >= c.unload_timeout_ms and not unloaded:
            protection.unload_timeout = True
        if unloaded or s.mode_elapsed_ms >= c.unload_timeout_ms:
            stop_motor(s, s.clock_ms)
            go_to(s, Mode.SPIN_DOWN)
    else:
        if s.clock_ms - s.last_stop_ms < c.spin_down_ms or inputs.motor_running:
            if wanted:
                s.start_refused = StartRefused.STILL_TURNING
        elif wanted:
            go_to(s, Mode.WAITING)
            s.start_refused = start_permission(c, s, signals, inputs, False)
        else:
            go_to(s, Mode.OFF)


@kernel
def oil_pump_wanted(settings: SequenceSettings, state: SequenceState, turning: bool) -> bool:
    """Pump on from pre-lubrication until the rotor has come to rest, a set time after a trip, and whenever it turns."""
    if turning or motor_commanded(state.mode) or state.mode == Mode.PRE_LUBRICATION:
        return True
    if state.mode == Mode.SPIN_DOWN or state.mode == Mode.TRIPPED:
        return state.clock_ms - state.last_stop_ms < settings.oil_after_stop_ms
    return False


def cross_check(settings: SequenceSettings) -> list[str]:
    """Contradictions between fields, in plain words."""
    c = settings
    found = []
    if c.restart_kpa_abs <= c.idle_stop_kpa_abs:
        found.append("sequence: the restart pressure must lie above the idle-stop pressure")
    if c.stop_to_start_ms < c.spin_down_ms:
        found.append("sequence: stop_to_start must be at least spin_down, or the machine starts while it turns")
    return found
