"""The engine: one text, several ways of running it, and always the same trace."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from controller.registry import SHIPPED
from scenarios.engine import BlockEnd
from scenarios.entries import CompiledEntry, interpreted_entry
from scenarios.preparation import Prepared, prepare
from scenarios.row import INDEX
from scenarios.runner import execute
from scenarios.session import Buffers, Session, memory_buffers
from scenarios.trace import read_trace


def prepared_for(scenario: Path, controller: str, **options: Any) -> Prepared:
    return prepare([scenario], controller=controller, **options)[0]


def buffers_for(prepared: Prepared) -> Buffers:
    return memory_buffers(prepared.scenario.duration_ms, prepared.scan_ms, prepared.log_ms)


def compiled(prepared: Prepared, clock_offset_ms: int = 0) -> Session:
    entry = CompiledEntry(SHIPPED[prepared.named.name], prepared.settings)
    return Session(prepared, entry, buffers_for(prepared), clock_offset_ms=clock_offset_ms)


def interpreted(prepared: Prepared) -> Session:
    controller = SHIPPED[prepared.named.name]
    state = controller.state_type()
    return Session(prepared, None, buffers_for(prepared), controller.scan, prepared.settings, state)


def rows(session: Session) -> np.ndarray[Any, np.dtype[np.float64]]:
    return session.buffers.rows[: session.run.row_count]


def edges(session: Session) -> np.ndarray[Any, np.dtype[np.float64]]:
    return session.buffers.edges[: session.run.edge_count]


def shortened(scenario: Path, minutes: int) -> Path:
    """The same file cut to a few minutes, without the events that would come later."""
    text = scenario.read_text(encoding="utf-8").replace('duration = "10 min"', f'duration = "{minutes} min"')
    text = text.replace('at = "6 min"', f'at = "{minutes * 60 - 50} s"').replace(
        'until = "9 min"', f'until = "{minutes} min"'
    )
    scenario.write_text(text, encoding="utf-8")
    return scenario


@pytest.mark.parametrize("controller", SHIPPED)
def test_interpreted_equals_compiled_to_the_last_bit(short: Path, controller: str) -> None:
    prepared = prepared_for(shortened(short, 3), controller, log_ms=100)
    a, b = compiled(prepared), interpreted(prepared)
    assert a.play() is BlockEnd.REACHED
    assert b.play() is BlockEnd.REACHED
    assert np.array_equal(rows(a), rows(b))
    assert np.array_equal(edges(a), edges(b))
    assert a.noted == b.noted
    assert a.plant_state() == b.plant_state()
    assert rows(a)[-1, INDEX["capacity_travel_frac"]] > 0.1  # it ran, and took the load


@pytest.mark.parametrize("controller", SHIPPED)
def test_a_controller_interpreted_behind_the_compiled_plant_gives_the_same(short: Path, controller: str) -> None:
    prepared = prepared_for(short, controller)
    a = compiled(prepared)
    b = Session(prepared, interpreted_entry(SHIPPED[controller], prepared.settings), buffers_for(prepared))
    assert a.play() is b.play() is BlockEnd.REACHED
    assert np.array_equal(rows(a), rows(b))
    assert np.array_equal(edges(a), edges(b))


def test_two_processes_give_the_same_values(short: Path, tmp_path: Path) -> None:
    code = (
        "import sys; from pathlib import Path; from scenarios.runner import execute, prepare;"
        "execute(prepare([Path(sys.argv[1])])[0], Path(sys.argv[2]))"
    )
    # the other process must run this checkout, not whatever copy happens to be installed
    environment = os.environ | {"PYTHONPATH": str(Path(__file__).resolve().parents[2])}
    command = [sys.executable, "-c", code, str(short), str(tmp_path / "other")]
    subprocess.run(command, check=True, env=environment)
    here = execute(prepare([short])[0], tmp_path / "here").trace
    other, again = read_trace(tmp_path / "other"), read_trace(tmp_path / "here")
    for name, values in here.values.items():
        assert np.array_equal(values, other[name]), name
        assert np.array_equal(values, again[name]), name
    assert here.events == other.events == again.events
    assert other.metadata["kernels"] == here.metadata["kernels"]


def test_another_seed_gives_another_trace(short: Path) -> None:
    a, b = compiled(prepared_for(short, "scheduled_pi", seed=1)), compiled(prepared_for(short, "scheduled_pi", seed=2))
    a.play(), b.play()
    assert not np.array_equal(rows(a), rows(b))


def test_log_interval_changes_no_value(short: Path) -> None:
    fine = compiled(prepared_for(short, "scheduled_pi", log_ms=100))
    coarse = compiled(prepared_for(short, "scheduled_pi", log_ms=1000))
    fine.play(), coarse.play()
    on_times = [k for name, k in INDEX.items() if name.endswith("_on_ms")]
    same = [k for k in range(len(INDEX)) if k not in on_times]
    assert np.array_equal(rows(fine)[::10][:, same], rows(coarse)[:, same])
    assert np.array_equal(edges(fine), edges(coarse))
    # on-times add up, whatever the rows they are booked to
    whole = rows(fine)[1:, on_times].reshape(-1, 10, len(on_times)).sum(axis=1)
    assert np.array_equal(whole, rows(coarse)[1:, on_times])


@pytest.mark.parametrize("controller", SHIPPED)
def test_the_controllers_clock_may_wrap(short: Path, controller: str) -> None:
    prepared = prepared_for(short, controller)
    plain, wrapping = compiled(prepared), compiled(prepared, clock_offset_ms=2**32 - 90_050)
    plain.play(), wrapping.play()
    assert np.array_equal(rows(plain), rows(wrapping))


def test_rows_start_before_any_step_and_end_at_the_duration(short: Path) -> None:
    session = compiled(prepared_for(short, "scheduled_pi"))
    initial = session.plant_state()
    session.play()
    assert rows(session)[0, INDEX["time_ms"]] == 0
    assert rows(session)[-1, INDEX["time_ms"]] == 600_000
    assert len(rows(session)) == 601
    assert rows(session)[0, INDEX["suction_pressure_pa"]] == initial.suction.pressure_pa


def test_on_time_is_the_drives_edges(short: Path) -> None:
    """The on-time of row t is what the edges say between the last row and t."""
    session = compiled(prepared_for(short, "three_position"))
    session.play()
    changes = edges(session)
    column = INDEX["capacity_load"]
    times = changes[changes[:, 1] == column]
    on = np.zeros(601_000 // 100)
    for time_ms, _, _, new in times:
        on[int(time_ms) // 100 :] = new
    expected = [100.0 * on[(t - 1) * 10 : t * 10].sum() for t in range(1, 601)]
    assert rows(session)[1:, INDEX["capacity_load_on_ms"]].tolist() == expected
    assert sum(expected) > 1000.0


def test_a_watch_acts_from_the_next_scan(short: Path) -> None:
    text = short.read_text(encoding="utf-8") + (
        '[[event]]\nkind = "wait_for"\ncolumn = "suction_pressure_pa"\nbelow = "300 kPa"\n'
        '[event.then]\nkind = "load_step"\nto = "0 kW"\n'
    )
    short.write_text(text, encoding="utf-8")
    session = compiled(prepared_for(short, "scheduled_pi", log_ms=100))
    session.play()
    data = rows(session)
    first = int(np.argmax(data[:, INDEX["suction_pressure_pa"]] <= 300e3))
    load = data[:, INDEX["load_heat_w"]]
    assert first > 0
    assert load[first] > 0.0
    assert load[first + 2] == 0.0  # the row after the step that the process could still change
    (event,) = [e for e in session.noted if e.source == "wait_for"]
    assert event.time_ms == data[first + 1, INDEX["time_ms"]]


def test_an_event_acts_at_the_first_boundary_not_before_its_time(short: Path) -> None:
    text = short.read_text(encoding="utf-8") + '[[event]]\nkind = "condenser_fans"\nat = "30.01 s"\nrunning = "0 %"\n'
    short.write_text(text, encoding="utf-8")
    session = compiled(prepared_for(short, "scheduled_pi", log_ms=100))
    session.play()
    power = rows(session)[:, INDEX["auxiliary_power_w"]]
    steps = np.flatnonzero(np.abs(np.diff(power)) > 5000.0)
    # fans are on from row 0; the step from 30.1 s on is the first without them, and the row at 30.2 s shows it
    assert 302 - 1 in steps.tolist()


def test_a_full_edge_buffer_counts_and_does_not_stop(short: Path) -> None:
    prepared = prepared_for(short, "three_position")
    buffers = buffers_for(prepared)
    small = Buffers(buffers.run, buffers.rows, buffers.edges[:5])
    session = Session(prepared, CompiledEntry(SHIPPED["three_position"], prepared.settings), small)
    assert session.play() is BlockEnd.REACHED
    assert session.run.edge_count == 5
    assert session.run.edges_lost > 10
