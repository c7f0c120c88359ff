"""Inputs to try a controller with: they reach what they are for, and are the same for the same seed."""

from __future__ import annotations

import numpy as np
import pytest

from controller.process_image import Health
from controller.registry import SHIPPED
from scenarios.check_bench import Played, subject_maker
from scenarios.check_sequences import closed_loop, failed, late, overlaid, pressed, walk
from scenarios.controllers import Loaded


def loop_of(controller: str, seed: int = 1) -> Played:
    kernels = SHIPPED[controller]
    return closed_loop(subject_maker(Loaded(kernels=kernels), kernels.settings_type(), interpreted=False)(), seed)


@pytest.mark.parametrize("controller", SHIPPED)
def test_the_closed_loop_shows_what_the_checks_are_about(controller: str) -> None:
    """Two starts with the wait between them, loading, failed signals and a stop while running: nothing is vacuous."""
    loop = loop_of(controller)
    run, given = loop.outputs["motor_run"], loop.inputs
    assert loop.ended == ""
    assert np.count_nonzero(np.diff(run.astype(int)) == 1) == 2
    assert loop.outputs["capacity_load"][:4500].any()
    for signal in ("suction_pressure", "capacity_position"):
        assert (run & (given[f"{signal}_health"] != 0)).any()
    assert (given["stop_button_pressed"] & np.append(False, run[:-1])).any()
    assert len(set(loop.outputs["mode"].tolist())) >= 8


def test_the_walk_reaches_what_a_machine_in_service_never_shows() -> None:
    inputs = walk(1, 5_000).inputs
    for name in inputs.dtype.names or ():
        if name != "supply_interrupted_ms" and name != "remote_demand_pct":
            assert len(np.unique(inputs[name])) > 1, name
    assert np.array_equal(inputs, walk(1, 5_000).inputs)
    assert not np.array_equal(inputs, walk(2, 5_000).inputs)


def test_late_scans_are_late_lost_and_repeated() -> None:
    steps = np.diff(late(1, walk(1, 5_000), keep_time=False).time_ms)
    assert set(steps.tolist()) == {0, 100, 300, 1_000, 5_000, 30_000}


def test_late_inputs_belong_to_their_time() -> None:
    base = walk(1, 2_000)
    kept = late(1, base, keep_time=True)
    assert kept.time_ms[-1] <= base.time_ms[-1]
    for k in range(0, len(kept.time_ms), 97):
        assert kept.inputs[k] == base.inputs[kept.time_ms[k] // 100]


def test_the_closed_loop_is_the_same_for_the_same_seed() -> None:
    one, again, other = loop_of("scheduled_pi"), loop_of("scheduled_pi"), loop_of("scheduled_pi", seed=2)
    assert np.array_equal(one.inputs, again.inputs)
    assert np.array_equal(one.outputs, again.outputs)
    assert not np.array_equal(one.inputs, other.inputs)


def test_an_overlay_changes_hands_and_healths_and_leaves_the_plant() -> None:
    base = walk(1, 3_000)
    laid = overlaid(1, base)
    for name in base.inputs.dtype.names or ():
        same = np.array_equal(laid.inputs[name], base.inputs[name])
        plant = name.endswith(("_kpa_abs", "_c", "_a", "_position_pct")) or name in ("motor_running", "selection")
        assert same or not plant, name
    assert not np.array_equal(laid.inputs["capacity_manual"], base.inputs["capacity_manual"])


@pytest.mark.parametrize("cause", ["stop_button_pressed", "safety_chain_closed"])
def test_a_pressed_stop_is_the_only_thing_against_a_start(cause: str) -> None:
    base = walk(1, 500)
    sequence = pressed(base, 300, cause, 100)
    assert len(sequence.inputs) == len(sequence.time_ms) == 400
    assert np.array_equal(sequence.inputs[:300], base.inputs[:300])
    held = sequence.inputs[300:]
    assert np.all(held[cause] == (cause == "stop_button_pressed"))
    assert np.all(held["selection"] == 1)
    assert not held["capacity_position_pct"][30:].any()
    assert not held["motor_running"][10:].any()
    assert 0 < held["reset_pressed"].sum() < 100
    assert np.all(np.diff(sequence.time_ms) == 100)


@pytest.mark.parametrize("health", [Health.UNDER, Health.OVER, Health.FROZEN])
def test_a_failed_signal_is_one_signal_and_invites_to_load(health: Health) -> None:
    base = walk(1, 500)
    held = failed(base, 300, "suction_pressure", health, 50).inputs[300:]
    bad = [n for n in held.dtype.names or () if n.endswith("_health") and held[n].any()]
    assert bad == ["suction_pressure_health"]
    value, before = held["suction_pressure_kpa_abs"][0], base.inputs["suction_pressure_kpa_abs"][300]
    expected = {Health.UNDER: -30.0, Health.OVER: 1090.0, Health.FROZEN: before + 60.0}[health]
    assert value == pytest.approx(expected)
