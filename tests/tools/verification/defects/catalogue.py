"""Deliberate defects in copies of the shipped controllers: one change of text each, such as a tired person might make.

`shows`: a scenario of the library in which the shipped packs see it; "" where they do not (the tests say what does).
The texts must stand in the file exactly once, so that a defect cannot silently become none when the code moves.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Defect:
    """One change of one file of `controller/`."""

    name: str
    file: str
    old: str
    new: str
    shows: str = ""
    controller: str = "scheduled_pi"


SEQUENCE, PROTECTION, CAUSES = "sequence.py", "protection.py", "trip_causes.py"
INHIBIT, SIGNALS, CAPACITY = "load_inhibit.py", "signals.py", "capacity_control.py"
FRAME, POSITIONER, WATCH = "frame.py", "positioner.py", "slide_watch.py"

DEFECTS: tuple[Defect, ...] = (
    # starting
    Defect(
        "starts without oil at the bearings", SEQUENCE,
        "s.mode_elapsed_ms >= c.pre_lubrication_ms and unloaded:", "unloaded:", "stop_in_run_up",
    ),
    Defect(
        "pre-lubrication in half the time", SEQUENCE,
        "s.mode_elapsed_ms >= c.pre_lubrication_ms and unloaded:",
        "2 * s.mode_elapsed_ms >= c.pre_lubrication_ms and unloaded:", "stop_in_run_up",
    ),
    Defect(
        "starts with loaded slides", SEQUENCE,
        "s.mode_elapsed_ms >= c.pre_lubrication_ms and unloaded:", "s.mode_elapsed_ms >= c.pre_lubrication_ms:",
        "restart_after_trip_loaded",
    ),
    Defect(
        "starts with the volume-ratio slide anywhere", SEQUENCE,
        "        and signals.volume_ratio_position_pct <= c.start_limit_pct\n", "", "restart_after_trip_loaded",
    ),
    Defect(
        "restart inside the start-to-start wait", SEQUENCE,
        "state.clock_ms - state.last_start_ms < c.start_to_start_ms:", "state.clock_ms - state.last_start_ms < 0:",
        "normal_stop_and_restart",
    ),
    Defect(
        "start-to-start wait in seconds instead of milliseconds", SEQUENCE,
        "state.clock_ms - state.last_start_ms < c.start_to_start_ms:",
        "state.clock_ms - state.last_start_ms < c.start_to_start_ms // 1000:", "normal_stop_and_restart",
    ),
    Defect(
        "restart inside the stop-to-start wait", SEQUENCE,
        "state.clock_ms - state.last_stop_ms < c.stop_to_start_ms:", "state.clock_ms - state.last_stop_ms < 0:",
        "starts_per_hour",
    ),
    Defect(
        "one start an hour too many", SEQUENCE, "if recent >= c.starts_per_hour:", "if recent > c.starts_per_hour:",
        "starts_per_hour",
    ),
    Defect("closed valves do not refuse the start", SEQUENCE, "if not inputs.valves_open:\n        return", "if False:\n        return", "refused_starts"),
    Defect(
        "an open safety chain does not refuse the start", SEQUENCE, "if not inputs.safety_chain_closed:", "if False:",
        "refused_starts",
    ),
    Defect("cold oil does not refuse the start", SEQUENCE, "signals.oil_temperature_c < c.oil_minimum_c:", "signals.oil_temperature_c < -40.0:", "refused_starts"),
    Defect(
        "a low oil level does not refuse the start", SEQUENCE, "inputs.oil_level_pct < c.oil_level_minimum_pct:",
        "inputs.oil_level_pct < 0.01 * c.oil_level_minimum_pct:", "refused_start_oil_level",
    ),
    Defect(
        "a full vessel does not refuse the start", SEQUENCE, "if inputs.vessel_high_high_level:", "if False:",
        "refused_start_vessel_level",
    ),
    Defect(
        "a lost signal does not refuse the start", SEQUENCE, "if not (signals.all_good and signals.oil_good and oil_level_good):",
        "if False:", "refused_starts",
    ),
    Defect("the start is refused without a word", SEQUENCE, "        s.start_refused = start_permission(c, s, signals, inputs, False)\n        if not wanted:", "        refused = start_permission(c, s, signals, inputs, False)\n        if not wanted:", "refused_starts"),
    Defect("run-up is skipped", SEQUENCE, "if s.mode_elapsed_ms >= c.run_up_ms:", "if s.mode_elapsed_ms >= 0:", "stop_in_run_up"),
    Defect("no load ramp after a start", CAPACITY, "if mode_elapsed_ms < settings.load_ramp_ms:", "if mode_elapsed_ms < 0:", "start_from_rest_equalised"),
    Defect(
        "a failed start is never noticed", PROTECTION, "    if mode == Mode.STARTING:\n        if mode_elapsed_ms",
        "    if mode == Mode.OFF:\n        if mode_elapsed_ms",
    ),
    # stopping
    Defect(
        "stops without unloading", SEQUENCE, "protection, inputs, valves_closed):\n        go_to(s, Mode.UNLOADING)",
        "protection, inputs, valves_closed):\n        stop_motor(s, s.clock_ms)\n        go_to(s, Mode.SPIN_DOWN)",
        "stop_under_high_load",
    ),
    Defect(
        "the motor stops before the slides are at minimum", SEQUENCE,
        "if unloaded or s.mode_elapsed_ms >= c.unload_timeout_ms:", "if unloaded or s.mode_elapsed_ms >= 5_000:",
        "stop_under_high_load",
    ),
    Defect(
        "the unload time-out never ends an unload", SEQUENCE, "if unloaded or s.mode_elapsed_ms >= c.unload_timeout_ms:",
        "if unloaded:", "capacity_slide_stuck",
    ),
    Defect(
        "volume ratio unloads together with capacity", FRAME, "> settings.sequence.volume_ratio_unloads_below_pct:",
        "> 100.0 + settings.sequence.volume_ratio_unloads_below_pct:", "stop_under_high_load",
    ),
    Defect(
        "a closed valve in service does not stop the machine", SEQUENCE, "if valves_closed or not wants_to_run(inputs):",
        "if not wants_to_run(inputs):", "valve_closes",
    ),
    Defect("no idle stop", SEQUENCE, "        if idle_due:", "        if idle_due and c.idle_delay_ms < 0:", "loss_of_all_load"),
    Defect(
        "idle stop without its delay", SEQUENCE, "ton(s.idle, idle, c.idle_delay_ms, dt_ms)", "ton(s.idle, idle, 0, dt_ms)",
        "loss_of_all_load",
    ),
    Defect(
        "the oil pump stops with the motor", SEQUENCE, "return state.clock_ms - state.last_stop_ms < settings.oil_after_stop_ms",
        "return False", "emergency_stop",
    ),
    Defect(
        "the back-spin guard is left out", SEQUENCE,
        "if s.clock_ms - s.last_stop_ms < c.spin_down_ms or inputs.motor_running:", "if inputs.motor_running:",
        "normal_stop_and_restart",
    ),
    Defect(
        "a power dip in service goes unnoticed", SEQUENCE,
        "elif interrupted_ms > 0 and (motor_commanded(s.mode) or", "elif interrupted_ms < 0 and (motor_commanded(s.mode) or",
        "power_dip_and_restart",
    ),
    Defect(
        "a power dip forgets the waits", SEQUENCE, "            s.stopping_for = StopReason.SUPPLY_LOST\n            stop_motor(s, s.clock_ms - interrupted_ms)\n",
        "            s.stopping_for = StopReason.SUPPLY_LOST\n            stop_motor(s, s.clock_ms - interrupted_ms)\n"
        "            s.last_start_ms = NEVER_MS\n            s.last_stop_ms = NEVER_MS\n", "power_dip_and_restart",
    ),
    Defect("the stop tells a wrong reason", SEQUENCE, "state.stopping_for = StopReason.SELECTED_OFF", "state.stopping_for = StopReason.REMOTE_STOP", "normal_stop_and_restart"),
    # trips and latches
    Defect("the latch is forgotten once the cause has gone", PROTECTION, "if gone and (pressed or waited):", "if gone:", "emergency_stop"),
    Defect(
        "a reset is taken while the cause stands", PROTECTION,
        "gone = due & ~UNLOAD_TIMEOUT == 0 and s.trip_word & standing_causes(settings, s, signals, inputs) == 0",
        "gone = due & ~UNLOAD_TIMEOUT == 0", "suction_transmitter_fails",
    ),
    Defect(
        "a later cause overwrites the first one", PROTECTION, "if s.trip_word == 0 and s.stopping_word == 0:",
        "if now | later != 0:", "safety_chain_opens",
    ),
    Defect("a controlled stop is only an alarm", PROTECTION, "                later |= bit", "                later |= 0", "oil_filter_clogs"),
    Defect(
        "an immediate stop unloads first", PROTECTION,
        "if kind == TripClass.IMMEDIATE_STOP or (kind == TripClass.CONTROLLED_STOP and not commanded):",
        "if kind >= TripClass.CONTROLLED_STOP and (bit == 2 or not commanded):",
        "discharge_pressure_trip",
    ),
    Defect(
        "high discharge pressure is not a trip", CAUSES,
        "if signals.discharge_pressure_kpa_abs >= c.high_discharge_pressure_trip_kpa_abs:",
        "if signals.discharge_pressure_kpa_abs >= 1.0e9:", "discharge_pressure_trip",
    ),
    Defect(
        "the pressure limit is taken as gauge", CAUSES,
        "if signals.discharge_pressure_kpa_abs >= c.high_discharge_pressure_trip_kpa_abs:",
        "if signals.discharge_pressure_kpa_abs - 101.3 >= c.high_discharge_pressure_trip_kpa_abs:",
        "discharge_pressure_trip",
    ),
    Defect(
        "low suction is watched only while it is bypassed", CAUSES, "since_start_ms >= c.low_suction_bypass_ms\n",
        "since_start_ms < c.low_suction_bypass_ms\n", "low_suction_trip",
    ),
    Defect(
        "the delay of low suction in tenths of a second", CAUSES,
        "c.low_suction_pressure_delay_ms, dt_ms):", "100 * c.low_suction_pressure_delay_ms, dt_ms):", "low_suction_trip",
    ),
    Defect(
        "discharge temperature is read from the oil's channel", CAUSES,
        "if signals.discharge_temperature_c >= c.high_discharge_temperature_trip_c:",
        "if signals.oil_temperature_c >= c.high_discharge_temperature_trip_c:", "oil_cooler_fouls_to_discharge_trip",
    ),
    Defect(
        "superheat is worked out with suction pressure", CAUSES,
        "saturation_temperature_c(refrigerant, signals.discharge_pressure_kpa_abs)",
        "saturation_temperature_c(refrigerant, signals.suction_pressure_kpa_abs)", "low_superheat",
    ),
    Defect(
        "the oil differential is taken before the filter", CAUSES,
        "q.oil_differential_kpa = signals.oil_pressure_kpa_abs - below_kpa_abs",
        "q.oil_differential_kpa = signals.oil_pressure_before_filter_kpa_abs - below_kpa_abs", "oil_filter_clogs",
    ),
    Defect(
        "the filter differential has the wrong sign", CAUSES,
        "q.filter_differential_kpa = signals.oil_pressure_before_filter_kpa_abs - signals.oil_pressure_kpa_abs",
        "q.filter_differential_kpa = signals.oil_pressure_kpa_abs - signals.oil_pressure_before_filter_kpa_abs",
        "oil_filter_clogs",
    ),
    Defect(
        "oil temperature is not a trip", CAUSES, "if signals.oil_temperature_c >= c.high_oil_temperature_trip_c:",
        "if signals.oil_temperature_c >= 10.0 * c.high_oil_temperature_trip_c:", "oil_cooler_fouls",
    ),
    Defect(
        "the vessel's contact is ignored", CAUSES, "        if inputs.vessel_high_high_level:", "        if False:",
        "liquid_surge_to_high_high_level",
    ),
    Defect(
        "motor overload compares a fraction with a percentage", CAUSES, "q.current_pct >= c.motor_overload_trip_pct:",
        "0.01 * q.current_pct >= c.motor_overload_trip_pct:", "motor_overload",
    ),
    Defect(
        "the stop button is not heard while unloading", CAUSES, "    if inputs.stop_button_pressed:",
        "    if inputs.stop_button_pressed and mode != Mode.UNLOADING:", "stop_button_while_unloading",
    ),
    Defect(
        "the safety chain counts only before a start", CAUSES, "mode != Mode.OFF and mode != Mode.WAITING:",
        "mode == Mode.PRE_LUBRICATION:", "safety_chain_opens",
    ),
    Defect("a stuck contactor goes unnoticed", CAUSES, "    elif inputs.motor_running:", "    elif False:", "contactor_does_not_open"),
    Defect(
        "nothing is relieved when the contactor sticks", FRAME,
        "if inputs.motor_running and state.protection.trip_word & FAILED_STOP != 0:", "if False:", "contactor_does_not_open",
    ),
    Defect(
        "a lost discharge pressure does not stop the machine", CAUSES,
        "blind = lost and not (signals.suction_pressure_good and signals.discharge_pressure_good)",
        "blind = lost and not signals.suction_pressure_good", "discharge_signal_lost",
    ),
    Defect(
        "an on-delay that adds up and never starts afresh", "timers.py",
        "    if not condition:\n        t.elapsed_ms = 0\n        t.was_on = False\n        return False",
        "    if not condition:\n        t.was_on = False\n        return False",
    ),
    Defect("a running feedback that drops out is ignored", CAUSES, "if mode != Mode.STARTING and not inputs.motor_running:", "if mode == Mode.OFF and not inputs.motor_running:"),
    # instruments
    Defect(
        "a stale suction pressure is accepted", SIGNALS,
        "s.suction_pressure_good = believable(x.suction_pressure_kpa_abs, x.suction_pressure_health)",
        "s.suction_pressure_good = True", "suction_transmitter_fails",
    ),
    Defect(
        "a stale discharge pressure is accepted", SIGNALS,
        "s.discharge_pressure_good = believable(x.discharge_pressure_kpa_abs, x.discharge_pressure_health)",
        "s.discharge_pressure_good = True", "discharge_signal_lost",
    ),
    Defect(
        "a stale capacity position is accepted", SIGNALS,
        "s.capacity_position_good = believable(x.capacity_position_pct, x.capacity_position_health)",
        "s.capacity_position_good = True", "position_signal_lost",
    ),
    Defect(
        "no health is ever looked at", "scaling.py", "return health == Health.GOOD and abs(value) < 1.0e9",
        "return abs(value) < 1.0e9", "current_signal_lost",
    ),
    Defect("a frozen signal is never found", "signal_watch.py", "            state.frozen = True", "            state.frozen = False", "suction_transmitter_freezes"),
    Defect("a stuck slide is never found", WATCH, "s.lost = s.driven_ms >= c.stuck_ms", "s.lost = False", "capacity_slide_stuck"),
    Defect(
        "the halves are compared with themselves", WATCH, "and abs(position_pct - opposite_pct) > c.disagree_pct",
        "and abs(position_pct - position_pct) > c.disagree_pct", "linkage_slips",
    ),
    # limits before trips
    Defect("an inhibit lets the demand rise", CAPACITY, "wanted_pct = min(wanted_pct, s.demand_pct)", "wanted_pct = max(wanted_pct, s.demand_pct)", "pull_down_current_limit"),
    Defect(
        "an inhibit lets the load drive on", CAPACITY, "if s.request > 0 and may_load and position_pct < s.ceiling_pct:",
        "if s.request > 0 and position_pct < s.ceiling_pct:", "suction_transmitter_fails", "three_position",
    ),
    Defect("a forced unload only holds", INHIBIT, "    s.forced = True\n", "    s.forced = False\n", "low_suction_unload"),
    Defect(
        "a lost suction pressure does not unload", INHIBIT, "elif lost or unload_word & ~NAMED != 0:",
        "elif unload_word & ~NAMED != 0:", "suction_transmitter_fails",
    ),
    Defect(
        "current limits compare a fraction with a percentage", INHIBIT,
        "current_pct = 100.0 * signals.motor_current_a / full_load_current_a",
        "current_pct = signals.motor_current_a / full_load_current_a", "pull_down_current_limit",
    ),
    Defect(
        "the discharge pressure limits look at the oil", INHIBIT,
        "        signals.discharge_pressure_kpa_abs,\n        c.discharge_pressure_hold_kpa_abs,",
        "        0.5 * signals.oil_pressure_kpa_abs,\n        c.discharge_pressure_hold_kpa_abs,", "condenser_fans_fail",
    ),
    Defect(
        "the suction limits are swapped", INHIBIT, "        -c.suction_hold_kpa_abs,\n        -c.suction_unload_kpa_abs,",
        "        -0.5 * c.suction_hold_kpa_abs,\n        -0.5 * c.suction_unload_kpa_abs,", "low_suction_unload",
    ),
    # slides and laws
    Defect(
        "the capacity drive is inverted", FRAME,
        "    outputs.capacity_load = capacity > 0\n    outputs.capacity_unload = capacity < 0\n",
        "    outputs.capacity_load = capacity < 0\n    outputs.capacity_unload = capacity > 0\n",
        "stop_in_run_up",
    ),
    Defect(
        "the two slides' drives are swapped", FRAME,
        "    outputs.capacity_load = capacity > 0\n    outputs.capacity_unload = capacity < 0\n"
        "    outputs.volume_ratio_increase = volume_ratio > 0\n    outputs.volume_ratio_decrease = volume_ratio < 0\n",
        "    outputs.capacity_load = volume_ratio > 0\n    outputs.capacity_unload = volume_ratio < 0\n"
        "    outputs.volume_ratio_increase = capacity > 0\n    outputs.volume_ratio_decrease = capacity < 0\n",
        "manual_transfers",
    ),
    Defect(
        "the load drive stays on when it turns round", FRAME, "    outputs.capacity_load = capacity > 0\n",
        "    outputs.capacity_load = capacity > 0 or (outputs.capacity_load and capacity < 0)\n", "manual_transfers",
    ),
    Defect(
        "the demand may fall below minimum load", CAPACITY, "        s.free_pct = clamp(s.free_pct, c.minimum_load_pct, s.ceiling_pct)",
        "        s.free_pct = clamp(s.free_pct, 0.0, s.ceiling_pct)", "loss_of_all_load",
    ),
    Defect(
        "a bump from manual to automatic", CAPACITY,
        "        s.free_pct = wanted_pct  # so that a law that takes over goes on from here",
        "        s.free_pct = 100.0", "manual_transfers",
    ),
    Defect(
        "a drive pushes against its low stop for ever", POSITIONER,
        "if direction < 0 and s.at_low and s.low_on_ms + dt_ms > settings.end_stop_guard_ms:",
        "if direction < 0 and s.at_low and s.low_on_ms + dt_ms > 1000 * settings.end_stop_guard_ms:", "stop_in_run_up",
    ),
    Defect(
        "a drive pushes against its high stop for ever", POSITIONER,
        "if direction > 0 and s.at_high and s.high_on_ms + dt_ms > settings.end_stop_guard_ms:",
        "if direction > 0 and s.at_high and s.high_on_ms + dt_ms > 1000 * settings.end_stop_guard_ms:", "full_load_at_the_stop", "three_position",
    ),
    Defect(
        "the volume ratio steps when automatic takes over", "volume_ratio_control.py",
        "s.demand_pct += clamp(change_pct, -c.fastest_pct, c.fastest_pct)", "s.demand_pct = target_pct", "manual_transfers",
    ),
    Defect(
        "the law has the wrong sign", "scheduled_pi.py", "pi_increment(state.pi, capacity.error_kpa,",
        "pi_increment(state.pi, -capacity.error_kpa,", "manual_transfers",
    ),
    Defect(
        "a pulse of the step law never ends", "three_position.py", "    s.pulse_left_ms -= dt_ms\n", "", "manual_transfers",
        "three_position",
    ),
    Defect(
        "the clock's wrap is not taken off", FRAME, "dt_ms = (now_ms - state.last_ms) & TIME_MASK",
        "dt_ms = max(0, now_ms - state.last_ms)",
    ),
)  # fmt: skip
