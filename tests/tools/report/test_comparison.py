"""The comparison's page: every picture there, in words too, and colours that stay apart for everybody."""

from __future__ import annotations

from collections.abc import Callable
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from scenarios.finished_runs import match_runs
from scenarios.score_differences import lines_of
from tools.charts import RUN_COLOURS, RUN_DASHES
from tools.figures.palette import RUNS
from tools.report.comparison import difference_panel, time_sheet, write_comparison

Write = Callable[..., Path]
# Machado, Oliveira & Fernandes 2009, severity 1.0, on linear RGB; from memory
BLIND = {
    "none": np.eye(3),
    "protan": np.array([[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]),
    "deutan": np.array([[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]),
    "tritan": np.array([[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]),
}  # fmt: skip
TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])  # sRGB, D65


def _lab(colour: str, kind: str) -> NDArray[np.float64]:
    rgb = np.array([int(colour[i : i + 2], 16) / 255.0 for i in (1, 3, 5)])
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    x, y, z = np.cbrt(np.maximum(TO_XYZ @ np.clip(BLIND[kind] @ linear, 0.0, 1.0) / (0.9505, 1.0, 1.089), 1e-6))
    return np.array([116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)])


@pytest.mark.parametrize("kind", sorted(BLIND))
def test_colours_of_runs_stay_apart(kind: str) -> None:
    """Difference of 25 in CIELAB; a just noticeable one is near 2."""
    assert len(RUN_COLOURS) == len(RUN_DASHES) == 6
    for a, b in combinations(RUNS, 2):
        for one, other in ((a.light, b.light), (a.dark, b.dark)):
            apart = float(np.linalg.norm(_lab(one, kind) - _lab(other, kind)))
            assert apart > 25.0, (one, other, apart)


def test_every_quantity_has_a_picture_on_one_time_axis(run_folder: Write, tmp_path: Path) -> None:
    places = [run_folder(tmp_path / "wild", swing_pa=12e3), run_folder(tmp_path / "calm")]
    (match,), _ = match_runs(places)
    sheet = time_sheet(match, 0)
    assert [trend.title for trend in sheet.trends] == [
        "Suction deviation", "Capacity slide", "Volume-ratio slide", "Motor current", "Electrical power"
    ]  # fmt: skip
    for trend in sheet.trends:
        assert [curve.label for curve in trend.curves] == ["wild", "calm"]
        assert len({(curve.colour, curve.dash) for curve in trend.curves}) == 2
        assert "wild: mean" in trend.words
    assert "-12" in sheet.trends[0].words


def test_a_difference_is_drawn_to_its_side(run_folder: Write, tmp_path: Path) -> None:
    places = [
        run_folder(tmp_path / "wild", swing_pa=12e3),
        run_folder(tmp_path / "calm"),
        run_folder(tmp_path / "wilder", 13e3),
    ]
    (match,), _ = match_runs(places)
    panel = difference_panel(match, lines_of(match), 0)
    drawn = [
        r.data_source.data
        for r in panel.plot.renderers
        if "x" in r.data_source.data and r.glyph.__class__.__name__ == "Scatter"
    ]
    sides = [dict(zip(data["score"], data["x"], strict=True)) for data in drawn]
    label = "suction deviation, RMS [kPa]"
    assert sides[0][label] > 1.0  # better: right, beyond the tolerance
    assert sides[1][label] < -1.0  # worse: left
    assert "calm: better in suction deviation, RMS [kPa]" in panel.told


def test_the_page_is_whole(run_folder: Write, tmp_path: Path) -> None:
    for folder, swing_pa in (("old", 12e3), ("new", 4e3)):
        for name in ("one", "two"):
            run_folder(tmp_path / folder / name, swing_pa, scenario_file=f"{name}.toml", scenario=f"<{name}>")
    matches, lonely = match_runs([tmp_path / "old", tmp_path / "new"])
    write_comparison(tmp_path / "r.html", matches, lonely)
    html = (tmp_path / "r.html").read_text(encoding="utf-8")
    for words in (
        "no safety system",
        "All scenarios together",
        "&lt;one&gt;",
        'aria-label="Differences:',
        "−5.657 better",
    ):
        assert words in html, words
    assert html.count("<figure") == 2 * 6
    assert "<one>" not in html
