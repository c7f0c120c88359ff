"""A session: buffers, warm-up, and a run that begins with the machine in service."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.process_image import Mode
from controller.registry import SHIPPED
from scenarios.engine import BlockEnd, Run
from scenarios.entries import CompiledEntry, PythonEntry, interpreted_entry
from scenarios.errors import InternalError
from scenarios.preparation import Prepared, prepare
from scenarios.records import from_record
from scenarios.row import COLUMNS, INDEX
from scenarios.runner import execute, open_session
from scenarios.session import Session, buffer_shapes, file_buffers, memory_buffers
from scenarios.steps import steps
from scenarios.trace import trace_of

Write = Callable[..., Path]
RUNNING = 'machine = "running"\nsuction_pressure = "-10 °C sat"\nload = "350 kW"'


def session_of(prepared: Prepared, log_ms: int | None = None) -> Session:
    buffers = memory_buffers(prepared.scenario.duration_ms, prepared.scan_ms, log_ms or prepared.log_ms)
    return open_session(prepared, buffers)[0]


def rows(session: Session) -> Any:
    return session.buffers.rows[: session.run.row_count]


def test_buffers_hold_a_run_to_its_last_row(scenario: Write) -> None:
    assert buffer_shapes(180_000, 100, 1000)[0] == (182, len(COLUMNS))
    session = session_of(prepare([scenario()])[0])
    assert session.play() is BlockEnd.REACHED
    assert len(rows(session)) == 181
    assert session.time_ms == 180_100  # one step beyond, for the row at the very end
    assert session.run.scans == 1801


def test_warm_up_moves_nothing(scenario: Write) -> None:
    prepared = prepare([scenario()])[0]
    session, other = session_of(prepared), session_of(prepared)
    session.warm_up()
    assert (session.time_ms, session.run.scans, session.run.row_count) == (0, 0, 0)
    session.play(), other.play()
    assert np.array_equal(rows(session), rows(other))


def test_progress_rises_to_one(scenario: Write) -> None:
    seen: list[float] = []
    session_of(prepare([scenario(minutes=50)])[0]).play(seen.append)
    assert seen == sorted(seen)
    assert (seen[0], seen[-1]) == (0.0, 1.0)
    assert len(seen) >= 3


def test_a_buffer_too_small_is_an_internal_error(scenario: Write) -> None:
    prepared = prepare([scenario()], log_ms=100)[0]
    with pytest.raises(InternalError, match="outgrew its buffer"):
        session_of(prepared, log_ms=1000).play()


def test_shared_buffers_are_those_of_memory(scenario: Write, tmp_path: Path) -> None:
    prepared = prepare([scenario()])[0]
    shared = file_buffers(tmp_path, 180_000, 100, 1000, create=True)
    session = open_session(prepared, shared)[0]
    session.play()
    seen = file_buffers(tmp_path, 180_000, 100, 1000, create=False)
    assert from_record(Run, seen.run[0]) == session.run
    assert np.array_equal(seen.rows[:181], rows(session))
    plain = session_of(prepared)
    plain.play()
    assert np.array_equal(rows(plain), rows(session))


TIES = """
[[event]]
kind = "batch_arrivals"
from = "5 s"
until = "170 s"
every = "20 s"
heat = "60 kW"
lasting = "30 s"
[[event]]
kind = "load_step"
at = "30 s"
change = "-500 kW"
[[event]]
kind = "evaporator_group"
at = "20 s"
group = 1
load = "40 kW"
lasting = "40 s"
"""


def all_of(session: Session) -> tuple[Any, Any, list[Any]]:
    run = session.run
    return rows(session), session.buffers.edges[: run.edge_count], session.noted


@settings(max_examples=10)
@given(st.lists(st.integers(1, 1800), max_size=30))
def test_where_a_run_is_cut_changes_nothing(cuts: list[int]) -> None:
    with TemporaryDirectory() as folder:
        prepared = prepare([written(Path(folder), TIES)])[0]
        whole, pieces = session_of(prepared), session_of(prepared)
        whole.play()
        pieces.begin()
        for cut in [*sorted(cuts), 1800]:
            assert pieces.play_to(100 * cut + (cut == 1800)) is BlockEnd.REACHED
    for one, other in zip(all_of(whole), all_of(pieces), strict=True):
        assert np.array_equal(one, other)


@settings(max_examples=10)
@given(st.lists(st.sampled_from([100, 20_000, 30_000, 40_000, 60_000, 60_100, 120_000]), max_size=4))
def test_an_event_added_on_the_way_acts_as_one_that_was_there_from_the_start(times_ms: list[int]) -> None:
    """Also where the end of an older event falls on the same millisecond, and loads add up in floating point."""
    later = "".join(
        f'[[event]]\nkind = "load_step"\nat = "{t} ms"\nchange = "{-k - 1}70.3 kW"\n'
        f'[[event]]\nkind = "evaporator_group"\nat = "{t} ms"\ngroup = 1\nload = "{k}1 kW"\nlasting = "20 s"\n'
        for k, t in enumerate(sorted(times_ms))
    )
    with TemporaryDirectory() as folder:
        known = prepare([written(Path(folder), TIES + later, "known")])[0]
        prepared = prepare([written(Path(folder), TIES)])[0]
    there, added = session_of(known), session_of(prepared)
    there.play()
    added.begin()
    count = len(prepared.scenario.events)
    for number, event in enumerate(known.scenario.events[count:], count):
        added.play_to(event.starts_ms - 100)  # type: ignore[union-attr]
        added.world.start_later(number, event)
    added.play_to(180_001)
    for one, other in zip(all_of(there), all_of(added), strict=True):
        assert np.array_equal(one, other)


def written(folder: Path, events: str, name: str = "made") -> Path:
    path = folder / f"{name}.toml"
    plant = Path(__file__).resolve().parents[2] / "scenarios" / "library" / "plants" / "harrow_ness.toml"
    path.write_text(
        f'title = "T"\npurpose = "t"\nexpects = "t"\nplant = "{plant}"\ncontroller = "scheduled_pi"\n'
        f'duration = "3 min"\nseed = 5\n[start]\nmachine = "running"\nload = "330 kW"\n{events}',
        encoding="utf-8",
    )
    return path


def test_outputs_are_a_copy(scenario: Write) -> None:
    session = session_of(prepare([scenario()])[0])
    session.play()
    copy = session.outputs()
    copy.motor_run = not copy.motor_run
    assert session.outputs().motor_run != copy.motor_run


def interpreted(prepared: Prepared) -> Session:
    controller = SHIPPED[prepared.named.name]
    buffers = memory_buffers(prepared.scenario.duration_ms, prepared.scan_ms, prepared.log_ms)
    return Session(prepared, None, buffers, controller.scan, prepared.settings, controller.state_type())


@pytest.mark.parametrize("controller", SHIPPED)
def test_a_running_start_is_in_automatic_and_bumpless(scenario: Write, controller: str) -> None:
    prepared = prepare([scenario(start=RUNNING, controller=controller, minutes=10)])[0]
    result = execute(prepared, None)
    trace = result.trace
    assert result.failure is None
    assert result.scores.violations == ()
    assert set(trace["mode"].tolist()) == {float(Mode.AUTOMATIC)}
    assert trace["motor_run"].min() == trace["motor_running"].min() == trace["oil_pump"].min() == 1.0
    assert trace["capacity_demand_frac"][0] == pytest.approx(trace["capacity_travel_measured_frac"][0], abs=0.01)
    # the load is carried and the pressure stands at the set point: nothing has a reason to move far
    assert np.abs(trace["suction_pressure_pa"] - 290.6e3).max() < 6e3
    assert np.abs(trace["capacity_travel_frac"] - trace["capacity_travel_frac"][0]).max() < 0.08
    # being in service is no event, and no start is counted
    assert [e for e in trace.events if e.time_ms == 0 and e.source in ("mode", "motor_run", "oil_pump")] == []
    assert result.scores.value("starts_per_h") == 0.0
    assert len(steps(trace, "motor_run").rises_ms()) == 0


@pytest.mark.parametrize("controller", SHIPPED)
def test_a_running_start_is_the_same_interpreted(scenario: Write, controller: str) -> None:
    prepared = prepare([scenario(start=RUNNING, controller=controller, minutes=2)])[0]
    a, b = session_of(prepared), interpreted(prepared)
    a.play(), b.play()
    assert np.array_equal(rows(a), rows(b))
    edges = [s.buffers.edges[: s.run.edge_count] for s in (a, b)]
    assert np.array_equal(*edges)


def test_a_machine_in_service_may_be_stopped_and_its_wait_is_over(scenario: Write) -> None:
    """It has been running for hours, so no start-to-start wait stands in the way of the next start."""
    events = "".join(
        f'[[event]]\nkind = "operator"\nat = "{at}"\naction = "{action}"\n'
        for at, action in (("1 min", "select_off"), ("3 min", "select_local"))
    )
    prepared = prepare([scenario(events, start=RUNNING, minutes=12)])[0]
    session = session_of(prepared)
    session.play()
    edges = session.buffers.edges[: session.run.edge_count]
    trace = trace_of(rows(session), edges, session.noted, {})
    assert len(steps(trace, "motor_run").falls_ms()) == 1
    (start_ms,) = steps(trace, "motor_run").rises_ms()
    assert start_ms < 8 * 60_000
    assert trace["mode"][-1] == Mode.AUTOMATIC


def test_who_cannot_be_told_that_the_machine_runs(scenario: Write) -> None:
    prepared = prepare([scenario(start=RUNNING)])[0]
    buffers = memory_buffers(180_000, 100, 1000)
    for entry in (PythonEntry(lambda i, o, t: None), interpreted_entry(SHIPPED["scheduled_pi"], prepared.settings)):
        with pytest.raises(InternalError, match="cannot begin with the machine running"):
            Session(prepared, entry, buffers)


def test_an_instrument_stuck_from_the_start_holds_its_true_first_value(scenario: Write) -> None:
    event = '[[event]]\nkind = "instrument_fault"\nat = "0 s"\ninstrument = "suction_pressure"\nfault = "stuck"\n'
    prepared = prepare([scenario(event, start=RUNNING)])[0]
    session = session_of(prepared)
    session.play()
    measured = rows(session)[:, INDEX["suction_pressure_measured_pa"]]
    assert np.ptp(measured) == 0.0
    assert measured[0] == pytest.approx(290.6e3, rel=1e-2)


def test_a_compiled_entry_keeps_its_own_state(scenario: Write) -> None:
    """Two sessions of one controller do not share a state."""
    prepared = prepare([scenario()])[0]
    entries = [CompiledEntry(SHIPPED["scheduled_pi"], prepared.settings) for _ in range(2)]
    first = Session(prepared, entries[0], memory_buffers(180_000, 100, 1000))
    first.play()
    assert entries[0].state is not None
    assert entries[1].state is not None
    assert entries[0].state.tobytes() != entries[1].state.tobytes()
    second = Session(prepared, entries[1], memory_buffers(180_000, 100, 1000))
    second.play()
    assert np.array_equal(rows(first), rows(second))
