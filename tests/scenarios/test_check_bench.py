"""The bench: a controller gets the bytes it is meant to get, its memory is watched, and what it answered is kept."""

from __future__ import annotations

import ctypes
from pathlib import Path

import numpy as np
import pytest

from controller.registry import SHIPPED
from scenarios.check_bench import Memory, play, subject_maker
from scenarios.check_sequences import walk
from scenarios.controllers import Loaded, load, name_controller

FOREIGN = Path(__file__).parent / "foreign"


def named(text: str) -> Loaded:
    return load(name_controller(text, FOREIGN))


def test_a_memory_sees_a_byte_on_either_side() -> None:
    for place in (-1, 16):
        memory = Memory(np.zeros(16, dtype=np.uint8))
        assert memory.bytes.ctypes.data % 16 == 0
        assert not memory.overrun()
        around = np.ctypeslib.as_array((ctypes.c_uint8 * 18).from_address(memory.bytes.ctypes.data - 1))
        around[place + 1] ^= 1
        assert memory.overrun()
        assert not memory.changed()


def test_a_sequence_is_given_as_it_is(plain_steps_library: Path) -> None:
    make = subject_maker(named(str(plain_steps_library)), None, interpreted=False)
    sequence = walk(3, 50)
    played = play(make(), sequence)
    assert len(played.outputs) == 50
    # the twin's answer follows from each input record alone
    assert np.array_equal(played.outputs["capacity_demand_pct"], sequence.inputs["capacity_position_pct"])


@pytest.mark.parametrize("controller", SHIPPED)
def test_a_controller_answers_alike_compiled_and_interpreted(controller: str) -> None:
    """Over the whole process image, not only where a plant leads it."""
    loaded, settings = named(controller), SHIPPED[controller].settings_type()
    sequence = walk(4, 2_000)
    compiled = play(subject_maker(loaded, settings, interpreted=False)(), sequence)
    interpreted = play(subject_maker(loaded, settings, interpreted=True)(), sequence)
    assert len(compiled.outputs) == len(interpreted.outputs) == 2_000
    for name in compiled.outputs.dtype.names or ():
        assert np.array_equal(compiled.outputs[name], interpreted.outputs[name]), name


def test_instances_do_not_share_memory() -> None:
    loaded, settings = named("scheduled_pi"), SHIPPED["scheduled_pi"].settings_type()
    make = subject_maker(loaded, settings, interpreted=False)
    used, fresh = make(), make()
    first = play(used, walk(1, 500))
    assert used.state is not None
    assert fresh.state is not None
    assert used.state.changed()
    assert not fresh.state.changed()
    used.restart()
    assert not used.state.changed()
    assert np.array_equal(play(used, walk(1, 500)).outputs, first.outputs)


def test_a_play_ends_where_the_controller_does() -> None:
    sequence = walk(1, 700)
    played = play(subject_maker(named("plain_steps.py:Status"), None, interpreted=False)(), sequence)
    assert played.ended == "status 7"
    assert len(played.outputs) == 600  # it gives up at 60 s
    assert len(played.inputs) == len(played.time_ms) == 600
    raised = play(subject_maker(named("plain_steps.py:Raises"), None, interpreted=False)(), sequence)
    assert raised.ended == "ValueError: lost count"
