"""The trace and its folder: written and read without a loss, whole under its name or not there at all."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from controller.process_image import Mode, Trip
from scenarios.row import COLUMNS, EDGE_COLUMNS, FORMS, INDEX, UNITS, is_state
from scenarios.steps import number_of
from scenarios.trace import (
    Event,
    Trace,
    edge_events,
    partial_folder,
    publish,
    read_trace,
    to_frame,
    trace_of,
    write_trace,
)

Rows = np.ndarray[Any, np.dtype[np.float64]]
NO_EDGES = np.zeros((0, 4))


def rows(count: int = 7, seed: int = 1) -> Rows:
    """Rows with a value of its own in every place, of the kind that each column holds."""
    chance = np.random.default_rng(seed)
    out = np.empty((count, len(COLUMNS)))
    for k, name in enumerate(COLUMNS):
        form = FORMS[name]
        if form is float:
            out[:, k] = chance.standard_normal(count) * 10.0 ** chance.integers(-8, 9)
        elif form is bool:
            out[:, k] = chance.integers(0, 2, count)
        elif is_state(name):
            out[:, k] = chance.choice([int(m) for m in form], count)  # type: ignore[attr-defined]
        else:
            out[:, k] = chance.integers(0, 2**17, count)
    out[:, INDEX["time_ms"]] = 1000.0 * np.arange(count)
    return out


def same(a: Trace, b: Trace) -> None:
    for name in COLUMNS:
        assert np.array_equal(a[name], b[name], equal_nan=True), name
    assert a.events == b.events


def there_and_back(trace: Trace, folder: Path) -> Trace:
    folder.mkdir(exist_ok=True)
    write_trace(trace, folder)
    return read_trace(folder)


UGLY = [
    Event(0, "run", "note", 'a comma, a "quote" and a line\nbreak; a tab\t and a carriage\r\nreturn'),
    Event(1, "operator", "θ-source", "Δp 5 kPa — Kälte, 冷凍, 🧊"),
    Event(2, "disturbance", "load_step", " blanks at both ends "),
    Event(3, "run", "note", ""),
    Event(4, "run", "note", "12.5"),
    Event(5, "run", "note", "null"),
    Event(6, "run", "note", "'=1+1'"),
    Event(10**12, "run", "note", "late"),
]


def test_a_folder_comes_back_exactly(tmp_path: Path) -> None:
    trace = trace_of(rows(), NO_EDGES, UGLY, {"scenario": "Kälte, „x“", "seed": "7"})
    again = there_and_back(trace, tmp_path / "run")
    same(trace, again)
    assert again.metadata["scenario"] == "Kälte, „x“"
    assert again.metadata["seed"] == "7"
    assert json.loads(again.metadata["units"]) == {**UNITS, "time_s": "s"}
    assert again.metadata["format_version"] == "1"


def test_a_run_without_events_comes_back(tmp_path: Path) -> None:
    same(trace_of(rows(), NO_EDGES, [], {}), there_and_back(trace_of(rows(), NO_EDGES, [], {}), tmp_path / "run"))


TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=30)


@given(texts=st.lists(st.tuples(TEXT, TEXT), max_size=5), seed=st.integers(0, 99))
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_text_comes_back(tmp_path: Path, texts: list[tuple[str, str]], seed: int) -> None:
    events = [Event(k, "run", source, text) for k, (source, text) in enumerate(texts)]
    trace = trace_of(rows(3, seed), NO_EDGES, events, {})
    same(trace, there_and_back(trace, tmp_path / "run"))


def test_the_table_has_each_columns_own_type(tmp_path: Path) -> None:
    there_and_back(trace_of(rows(), NO_EDGES, [], {}), tmp_path / "run")
    frame = pl.read_parquet(tmp_path / "run" / "trace.parquet")
    assert frame.columns == ["time_ms", "time_s", *COLUMNS[1:]]
    assert frame.schema["time_ms"] == pl.Int64
    assert frame["time_s"].to_list() == [0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0]
    for name in COLUMNS:
        kind = frame.schema[name]
        if is_state(name):
            assert isinstance(kind, pl.Enum), name
        else:
            assert kind == {float: pl.Float64, bool: pl.Boolean, int: pl.Int64}[FORMS[name]], name
    assert set(frame["mode"].to_list()) <= {m.name for m in Mode}


@pytest.mark.parametrize("number", [-1.0, 9.0, 42.0, 2.0**40])
def test_a_state_that_means_nothing_is_written_as_missing(tmp_path: Path, number: float) -> None:
    """A foreign controller may put any number into its mode; the run is kept, and the place is empty."""
    data = rows()
    data[3, INDEX["mode"]] = number
    trace = trace_of(data, NO_EDGES, [], {})
    again = there_and_back(trace, tmp_path / "run")
    assert np.isnan(again["mode"][3])
    assert np.array_equal(np.delete(again["mode"], 3), np.delete(trace["mode"], 3))
    assert to_frame(trace)["mode"].null_count() == 1


def test_edges_become_words_and_words_numbers_again() -> None:
    edges = np.array(
        [
            [100.0, INDEX["mode"], 1.0, 2.0],
            [200.0, INDEX["capacity_load"], 0.0, 1.0],
            [200.0, INDEX["trip_word"], 0.0, float((1 << Trip.STOP_BUTTON) + (1 << 40))],
            [300.0, INDEX["mode"], 2.0, 42.0],
            [400.0, INDEX["capacity_load"], 1.0, 0.0],
        ]
    )
    events = edge_events(edges)
    assert [tuple(e) for e in events] == [
        (100, "sequence", "mode", "WAITING → PRE_LUBRICATION"),
        (200, "drive", "capacity_load", "on"),
        (200, "trip", "trip_word", "none → STOP_BUTTON + bits 0x10000000000"),
        (300, "sequence", "mode", "PRE_LUBRICATION → unknown 42"),
        (400, "drive", "capacity_load", "off"),
    ]
    for edge, event in zip(edges, events, strict=True):
        assert number_of(event.source, event.text) == int(edge[3])


def test_every_edge_column_has_words() -> None:
    edges = np.array([[1.0, INDEX[name], 0.0, 1.0] for name in EDGE_COLUMNS])
    assert all(e.kind and e.text and e.source in EDGE_COLUMNS for e in edge_events(edges))


def test_events_stand_in_order_of_time_cause_before_effect() -> None:
    edges = np.array([[500.0, INDEX["mode"], 0.0, 1.0]])
    trace = trace_of(rows(), edges, [Event(900, "run", "n", "b"), Event(500, "operator", "reset", "reset")], {})
    assert [(e.time_ms, e.source) for e in trace.events] == [(500, "reset"), (500, "mode"), (900, "n")]


def test_publish_replaces_a_folder_whole(tmp_path: Path) -> None:
    final = tmp_path / "run"
    final.mkdir()
    (final / "trace.parquet").write_text("old")
    (final / "left_over.txt").write_text("old")
    partial = partial_folder(final)
    assert partial.parent == final.parent
    (partial / "trace.parquet").write_text("new")
    publish(partial, final)
    assert [path.name for path in final.iterdir()] == ["trace.parquet"]
    assert (final / "trace.parquet").read_text() == "new"
    assert [path.name for path in tmp_path.iterdir()] == ["run"]


def test_leavings_of_a_crash_are_cleared_away(tmp_path: Path) -> None:
    final = tmp_path / "run"
    (tmp_path / f".run.partial-{os.getpid()}").mkdir()
    (tmp_path / f".run.partial-{os.getpid()}" / "half.txt").write_text("x")
    (tmp_path / f".run.old-{os.getpid()}").mkdir()
    final.mkdir()
    partial = partial_folder(final)
    assert list(partial.iterdir()) == []
    publish(partial, final)
    assert [path.name for path in tmp_path.iterdir()] == ["run"]


def test_a_folder_that_is_no_run_is_an_error(tmp_path: Path) -> None:
    with pytest.raises(OSError, match=r"trace\.parquet|No such file"):
        read_trace(tmp_path)
