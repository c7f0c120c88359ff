"""Defects of signal health, of the limits before trips, of drives and laws."""

from __future__ import annotations

from tests.tools.verification.defects.defect import CAPACITY, FRAME, INHIBIT, POSITIONER, SIGNALS, WATCH, Defect

INSTRUMENTS_AND_DRIVES: tuple[Defect, ...] = (
    # instruments
    Defect(
        "a stale suction pressure is accepted",
        SIGNALS,
        "s.suction_pressure_good = believable(x.suction_pressure_kpa_abs, x.suction_pressure_health)",
        "s.suction_pressure_good = True",
        "suction_transmitter_fails",
    ),
    Defect(
        "a stale discharge pressure is accepted",
        SIGNALS,
        "s.discharge_pressure_good = believable(x.discharge_pressure_kpa_abs, x.discharge_pressure_health)",
        "s.discharge_pressure_good = True",
        "discharge_signal_lost",
    ),
    Defect(
        "a stale capacity position is accepted",
        SIGNALS,
        "s.capacity_position_good = believable(x.capacity_position_pct, x.capacity_position_health)",
        "s.capacity_position_good = True",
        "position_signal_lost",
    ),
    Defect(
        "no health is ever looked at",
        "scaling.py",
        "return health == Health.GOOD and abs(value) < 1.0e9",
        "return abs(value) < 1.0e9",
        "current_signal_lost",
    ),
    Defect(
        "a frozen signal is never found",
        "signal_watch.py",
        "            state.frozen = True",
        "            state.frozen = False",
        "suction_transmitter_freezes",
    ),
    Defect(
        "a stuck slide is never found",
        WATCH,
        "s.lost = s.driven_ms >= c.stuck_ms",
        "s.lost = False",
        "capacity_slide_stuck",
    ),
    Defect(
        "the halves are compared with themselves",
        WATCH,
        "and abs(position_pct - opposite_pct) > c.disagree_pct",
        "and abs(position_pct - position_pct) > c.disagree_pct",
        "linkage_slips",
    ),
    # limits before trips
    Defect(
        "an inhibit lets the demand rise",
        CAPACITY,
        "wanted_pct = min(wanted_pct, s.demand_pct)",
        "wanted_pct = max(wanted_pct, s.demand_pct)",
        "pull_down_current_limit",
    ),
    Defect(
        "an inhibit lets the load drive on",
        CAPACITY,
        "if s.request > 0 and may_load and position_pct < s.ceiling_pct:",
        "if s.request > 0 and position_pct < s.ceiling_pct:",
        "pull_down_current_limit",
        "three_position",
    ),
    Defect(
        "a forced unload only holds",
        INHIBIT,
        "    s.forced = True\n",
        "    s.forced = False\n",
        "discharge_pressure_trip",
    ),
    Defect(
        "a lost suction pressure does not unload",
        INHIBIT,
        "elif lost or unload_word & ~NAMED != 0:",
        "elif unload_word & ~NAMED != 0:",
        "suction_transmitter_fails",
    ),
    Defect(
        "current limits compare a fraction with a percentage",
        INHIBIT,
        "current_pct = 100.0 * signals.motor_current_a / full_load_current_a",
        "current_pct = signals.motor_current_a / full_load_current_a",
        "pull_down_current_limit",
    ),
    Defect(
        "the discharge pressure limits look at the oil",
        INHIBIT,
        "        signals.discharge_pressure_kpa_abs,\n        c.discharge_pressure_hold_kpa_abs,",
        "        0.5 * signals.oil_pressure_kpa_abs,\n        c.discharge_pressure_hold_kpa_abs,",
        "condenser_fans_fail",
    ),
    Defect(
        "the suction limits are swapped",
        INHIBIT,
        "        -c.suction_hold_kpa_abs,\n        -c.suction_unload_kpa_abs,",
        "        -0.5 * c.suction_hold_kpa_abs,\n        -0.5 * c.suction_unload_kpa_abs,",
        "low_suction_unload",
    ),
    # slides and laws
    Defect(
        "the capacity drive is inverted",
        FRAME,
        "    outputs.capacity_load = capacity > 0\n    outputs.capacity_unload = capacity < 0\n",
        "    outputs.capacity_load = capacity < 0\n    outputs.capacity_unload = capacity > 0\n",
        "stop_in_run_up",
    ),
    Defect(
        "the two slides' drives are swapped",
        FRAME,
        "    outputs.capacity_load = capacity > 0\n    outputs.capacity_unload = capacity < 0\n"
        "    outputs.volume_ratio_increase = volume_ratio > 0\n    outputs.volume_ratio_decrease = volume_ratio < 0\n",
        "    outputs.capacity_load = volume_ratio > 0\n    outputs.capacity_unload = volume_ratio < 0\n"
        "    outputs.volume_ratio_increase = capacity > 0\n    outputs.volume_ratio_decrease = capacity < 0\n",
        "manual_transfers",
    ),
    Defect(
        "the load drive stays on when it turns round",
        FRAME,
        "    outputs.capacity_load = capacity > 0\n",
        "    outputs.capacity_load = capacity > 0 or (outputs.capacity_load and capacity < 0)\n",
        "stop_while_loading",
    ),
    Defect(
        "the demand may fall below minimum load",
        CAPACITY,
        "        s.free_pct = clamp(s.free_pct, c.minimum_load_pct, s.ceiling_pct)",
        "        s.free_pct = clamp(s.free_pct, 0.0, s.ceiling_pct)",
        "loss_of_all_load",
    ),
    Defect(
        "a bump from manual to automatic",
        CAPACITY,
        "        s.free_pct = wanted_pct  # so that a law that takes over goes on from here",
        "        s.free_pct = 100.0",
        "manual_transfers",
    ),
    Defect(
        "a drive pushes against its low stop for ever",
        POSITIONER,
        "if direction < 0 and s.at_low and s.low_on_ms + dt_ms > settings.end_stop_guard_ms:",
        "if direction < 0 and s.at_low and s.low_on_ms + dt_ms > 1000 * settings.end_stop_guard_ms:",
        "stop_in_run_up",
    ),
    Defect(
        "a drive pushes against its high stop for ever",
        POSITIONER,
        "if direction > 0 and s.at_high and s.high_on_ms + dt_ms > settings.end_stop_guard_ms:",
        "if direction > 0 and s.at_high and s.high_on_ms + dt_ms > 1000 * settings.end_stop_guard_ms:",
        "full_load_short_of_span",
        "three_position",
    ),
    Defect(
        "the volume ratio steps when automatic takes over",
        "volume_ratio_control.py",
        "s.demand_pct += clamp(change_pct, -c.fastest_pct, c.fastest_pct)",
        "s.demand_pct = target_pct",
        "manual_transfers",
    ),
    Defect(
        "the law has the wrong sign",
        "scheduled_pi.py",
        "pi_increment(state.pi, capacity.error_kpa,",
        "pi_increment(state.pi, -capacity.error_kpa,",
        "load_step_up",
    ),
    Defect(
        "a pulse of the step law never ends",
        "three_position.py",
        "    s.pulse_left_ms -= dt_ms\n",
        "",
        "steady_part_load_under_steps",
        "three_position",
    ),
    Defect(
        "the clock's wrap is not taken off",
        FRAME,
        "dt_ms = (now_ms - state.last_ms) & TIME_MASK",
        "dt_ms = max(0, now_ms - state.last_ms)",
    ),
)
