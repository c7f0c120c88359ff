"""Pictures of a tuning report: they show what the result holds, and tell it in words."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.tools.tuning.invented_result import NAN, invented
from tools.tuning.front_picture import front
from tools.tuning.tune_pictures import HEAT, all_pictures, heat_colour, margin_maps, proof, sensitivity, worst_cells

RESULT = invented()


def sources(plot: Any) -> list[dict[str, Any]]:
    return [dict(renderer.data_source.data) for renderer in plot.renderers]


def test_every_picture_has_words_and_a_second_sign() -> None:
    found = all_pictures(RESULT)
    assert list(found) == ["front", "ms", "ms-spread", "schedule", "coupling", "proof", "sensitivity"]
    for picture in found.values():
        assert picture.title
        assert picture.caption.endswith(".")
        assert len(picture.told) > 10


def test_the_front_shows_every_finished_trial_and_names_the_chosen() -> None:
    picture = front(RESULT)
    data = sources(picture.plot)[0]
    assert sorted(data["x"]) == sorted(t.objectives[0] for t in RESULT.search.trials if t.feasible)
    chosen = RESULT.search.chosen_trial
    assert any(
        list(d["x"]) == [chosen.objectives[0]] and list(d["y"]) == [chosen.objectives[1]]
        for d in sources(picture.plot)[1:]
    )
    assert picture.told.startswith("chosen: ")
    assert "SIMC" in picture.told
    assert "baseline" in picture.told


def test_a_search_that_is_its_own_baseline_is_drawn_once() -> None:
    alone = front(replace(RESULT, baseline=RESULT.search))
    assert "baseline" not in alone.told
    assert [key.label for key in alone.keys] == ["front of scheduled_pi"]


def test_cells_hold_the_worst_of_their_points() -> None:
    cells = worst_cells(RESULT.map_points, lambda row: row.ms)
    assert len(cells) == 28
    for row in RESULT.map_points:
        assert row.ms <= cells[round(100 * row.capacity_travel_frac), round(row.pressure_ratio, 1)]
    assert max(cells.values()) == max(row.ms for row in RESULT.map_points)


def test_settled_points_beside_the_grid_share_a_cell() -> None:
    first = RESULT.map_points[0]
    moved = replace(first, pressure_ratio=first.pressure_ratio + 0.004, ms=1.7)
    assert worst_cells([first, moved], lambda row: row.ms) == {(5, 2.8): 1.7}


def test_what_is_over_its_limit_has_a_frame_and_a_mark() -> None:
    rows = tuple(replace(row, ms=math.inf if k == 0 else row.ms) for k, row in enumerate(RESULT.map_points))
    nominal, _ = margin_maps(replace(RESULT, map_points=rows))
    cells, texts = sources(nominal.plot)
    assert [w for w in cells["line_width"] if w == 4] == [4]
    assert [t for t in texts["text"] if "!" in t] == ["unstable !"]
    assert "1 over the limit" in nominal.told
    assert "unstable" in nominal.told


@given(st.floats(1.0, 5.0), st.floats(1.2, 3.0))
def test_heat_grows_with_ms(ms: float, limit: float) -> None:
    assert HEAT.index(heat_colour(ms, limit)) <= HEAT.index(heat_colour(ms + 0.3, limit))
    assert heat_colour(math.inf, limit) == HEAT[-1]


def test_a_step_control_has_no_map_of_ms_and_no_schedule() -> None:
    rows = tuple(replace(row, ms=NAN, ms_spread=NAN) for row in RESULT.map_points)
    found = all_pictures(replace(RESULT, map_points=rows, schedule=(), coupling=()))
    assert set(found) == {"front", "proof", "sensitivity"}


def test_hollow_marks_are_what_is_not_told_from_noise() -> None:
    picture = sensitivity(RESULT)
    assert picture is not None
    fills = [c for d in sources(picture.plot) if "fill_color" in d for c in d["fill_color"]]
    assert "#fdfdfb" not in fills  # pressure and wear are all told in the invented result
    quiet = tuple(
        replace(row, effects=tuple(replace(e, told_from_noise=False) for e in row.effects)) for row in RESULT.settings
    )
    picture = sensitivity(replace(RESULT, settings=quiet))
    assert picture is not None
    fills = [c for d in sources(picture.plot) if "fill_color" in d for c in d["fill_color"]]
    assert set(fills) == {"#fdfdfb"}
    assert "no effect is told from noise" in picture.told
    assert sensitivity(replace(RESULT, settings=tuple(replace(r, effects=()) for r in RESULT.settings))) is None


def test_proof_without_an_interval_is_a_point() -> None:
    row = RESULT.proof.rows[0]
    bare = replace(
        row, rms_ratio=replace(row.rms_ratio, low=NAN, high=NAN), wear_ratio=replace(row.wear_ratio, value=NAN)
    )
    picture = proof(replace(RESULT, proof=replace(RESULT.proof, rows=(bare,))))
    assert picture is not None
    segment, marks = sources(picture.plot)
    assert segment["x0"][0] == segment["x1"][0] == pytest.approx(0.73)
    assert len(marks["x"]) == 3
    assert "not known" in picture.told
