"""The report in a real browser: figures at the cursor as Python has them, keyboard, pulses, accessibility, no request."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from plant_model.derived import derive
from plant_model.parameters import PlantParameters
from tests.tools.page_checks import ALL, violations_everywhere
from tools.figures.compression_loop import loop_at
from tools.figures.rotor_strip import edges_at
from tools.report import ReportRun, write_report

CHROMIUM = shutil.which("chromium")
sync_api = pytest.importorskip("playwright.sync_api")
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium here")

SPIKE_ROW = 1234
PARAMETERS = derive(PlantParameters(), "R717")


def _with_plant(run: ReportRun) -> ReportRun:
    """The invented run with what the figures at the cursor look at, and a peak of one row in its power."""
    values, n = run.trace.values, len(run.trace["time_ms"])
    wave = np.sin(np.arange(n) / 50.0)
    values["separator_pressure_pa"] = 1_250_000.0 + 150e3 * wave
    values["discharge_pressure_pa"] = values["separator_pressure_pa"] - 2e3
    values["suction_superheat_k"] = 4.0 + wave
    values["trapped_fraction_frac"] = 0.6 + 0.2 * wave
    values["motor_speed_1_s"] = np.full(n, 49.0)
    values["volume_ratio"] = 2.9 + 0.8 * wave
    values["motor_power_w"] = values["motor_power_w"].copy()
    values["motor_power_w"][SPIKE_ROW] = 480e3
    rows = [{name: data[k] for name, data in values.items()} for k in range(n)]
    values["mismatch_power_w"] = np.array([loop_at(PARAMETERS, row).lost_w for row in rows])
    return ReportRun(
        run.name,
        run.trace,
        run.scores,
        run.limits,
        run.facts,
        None,
        run.refrigerant,
        PARAMETERS,
        None,
        "To look.",
        "All.",
    )


@pytest.fixture(scope="module")
def report(invented_run: Callable[..., ReportRun], tmp_path_factory: pytest.TempPathFactory) -> tuple[ReportRun, Path]:
    run = _with_plant(invented_run("wild", swing_pa=12e3, trip=True))
    path = tmp_path_factory.mktemp("report") / "report.html"
    write_report(path, [run], "A run")
    return run, path


@pytest.fixture(scope="module")
def page(report: tuple[ReportRun, Path]) -> Iterator[Any]:
    asked: list[str] = []
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"])
        made = browser.new_context(viewport={"width": 1280, "height": 900}).new_page()
        made.set_default_timeout(120_000)
        for kind in ("pageerror", "request"):
            made.on(kind, lambda what, kind=kind: asked.append(f"{kind} {getattr(what, 'url', what)}"))
        made.on("console", lambda message: asked.append(f"console {message.text}"))
        made.goto(report[1].as_uri())
        made.wait_for_selector("html[data-ready]")
        yield made
        browser.close()
    assert asked == [f"request {report[1].as_uri()}"]  # the file itself, and no complaint


def _sheet(page: Any, expression: str) -> Any:
    return page.evaluate(f"(() => {{ const s = twoslideTrends.sheets[0]; return {expression}; }})()")


@pytest.mark.parametrize("row", [0, 77, 900, 1801 - 1])
def test_loop_and_strip_at_the_cursor_are_python_s(page: Any, report: tuple[ReportRun, Path], row: int) -> None:
    values = {name: data[row] for name, data in report[0].trace.values.items()}
    wanted, found = loop_at(PARAMETERS, values), _sheet(page, f"s.helper.loopAt({row * 1000})")
    assert found["kind"] == wanted.kind
    assert found["lost_kw"] == pytest.approx(wanted.lost_w / 1e3, rel=1e-3, abs=0.01)
    assert found["opening_kpa"] == pytest.approx(wanted.opening_pa / 1e3, rel=1e-3)
    for key, points in (("loop", wanted.loop), ("shade", wanted.shade)):
        assert np.array(found[key]) == pytest.approx(np.array(points), rel=2e-3, abs=1e-3)
    edges = edges_at(
        PARAMETERS.plant.rotor, PARAMETERS.curves, values["capacity_travel_frac"], values["volume_ratio_travel_frac"]
    )
    strip = _sheet(page, f"s.helper.edgesAt({row * 1000})")
    for key, value in edges.as_data().items():
        assert strip[key] == pytest.approx(value, abs=0.06)
    assert strip["words"] == edges.in_words()


def test_a_pulse_of_one_row_is_drawn_however_far_one_looks(page: Any) -> None:
    """The highest point of what is drawn, and ink where it stands."""
    name = "s.figures.find((f) => f.trend.name === 'power')"
    page.locator("[data-trend=power]").scroll_into_view_if_needed()
    for _ in range(1200):  # the page forbids to evaluate strings, as waiting for a function does
        if not _sheet(page, f"({name}).stale"):
            break
        page.wait_for_timeout(50)
    column = f"s.columns[({name}).trend.curves[0].column]"
    highest = _sheet(page, f"Math.max(...twoslideTrends.points({column}, s.view, 200).filter((_, k) => k % 3 === 2))")
    assert highest == pytest.approx(480.0, abs=0.01)
    ink = f"""(() => {{ const s = twoslideTrends.sheets[0], f = {name}, c = f.canvas, r = c.width / f.box.clientWidth;
      const at = Math.round(s.x({SPIKE_ROW} * 1000) * r), high = Math.round(0.4 * c.height);
      const d = c.getContext("2d").getImageData(at - 2, 0, 5, high).data;
      let seen = 0;
      for (let k = 0; k < d.length; k += 4) if (d[k + 3] > 120 && d[k + 1] > d[k] + 40) seen++;
      return seen; }})()"""
    assert page.evaluate(ink) > 20


def test_a_flickering_curve_is_inked_from_lowest_to_highest_with_its_pulse_and_its_gap(page: Any) -> None:
    """Rows that go up and down within a dot of the screen are drawn as bars: their ink, a pulse of one row and a gap."""
    page.set_viewport_size({"width": 1280, "height": 900})
    page.locator("[data-trend=power]").scroll_into_view_if_needed()
    ink = """(() => {
      const s = twoslideTrends.sheets[0], f = s.figures.find((one) => one.trend.name === "power");
      const columns = f.trend.curves.map((curve) => s.columns[curve.column]), kept = columns.map((column) => column.y);
      const flicker = kept[0].map((_, k) => k === 1234 ? 480 : k > 300 && k < 400 ? NaN : k % 2 ? 100 : 200);
      const draw = (ys) => { columns.forEach((column, k) => { column.y = ys[k]; }); twoslidePlot(s, f); };
      draw(columns.map(() => flicker));
      const copy = Object.assign(document.createElement("canvas"), { width: f.canvas.width, height: f.canvas.height });
      const ctx = copy.getContext("2d"), ratio = copy.width / f.box.clientWidth, [least, most] = f.span;
      ctx.drawImage(f.canvas, 0, 0); // one look at each canvas: the browser complains of a second
      const whole = ctx.getImageData(0, 0, copy.width, copy.height), at = (k, x) => 4 * (k * copy.width + x);
      const inked = (k, x) => whole.data[at(k, x) + 3] > 120 && whole.data[at(k, x) + 1] < 200;
      const y = (v) => Math.round((6 + ((most - v) / (most - least)) * (f.box.clientHeight - 26)) * ratio);
      const share = (row, low, high) => { // of the height between two values, at one row
        const across = Math.round(s.x(1000 * row) * ratio);
        let seen = 0;
        for (let k = y(high) + 1; k < y(low) - 1; k++) {
          if ([-1, 0, 1].some((c) => inked(k, across + c))) seen++;
        }
        return seen / (y(low) - y(high) - 2);
      };
      const found = [share(700, 100, 200), share(1234, 200, 480), share(350, 105, 195), share(1300, 205, 475)];
      draw(kept);
      return found;
    })()"""
    assert _sheet(page, "s.view.to - s.view.from") == 1_800_000.0
    flickers, pulse, gap, above = page.evaluate(ink)
    assert min(flickers, pulse) > 0.95
    assert max(gap, above) < 0.35  # the grid's lines and, at most, a mark


def test_all_of_it_with_the_keyboard(page: Any) -> None:
    root = page.locator(".trendsheet")

    def number(key: str) -> float:
        return float(root.get_attribute(f"data-{key}"))

    page.focus(".overview")
    page.keyboard.press("0")
    assert (number("from"), number("to"), number("now")) == (0.0, 1_800_000.0, 900_000.0)  # begins at the trip
    assert "tripped: high discharge pressure" in page.get_attribute(".overview", "aria-valuetext")
    page.keyboard.press("Shift+ArrowRight")
    assert number("now") == 901_000.0
    page.keyboard.press("ArrowLeft")
    assert number("now") == 883_000.0
    for _ in range(3):
        page.keyboard.press("+")
    assert number("to") - number("from") == pytest.approx(225_000.0)
    page.keyboard.press("Home")
    assert (number("now"), number("from")) == (0.0, 0.0)  # the view follows
    page.keyboard.press("n")
    assert 0.0 < number("now") <= 90_000.0
    page.keyboard.press("0")
    page.click(".events button >> nth=0")
    assert "suction" not in page.inner_text(".timebar .states")
    assert page.get_attribute("[data-do=hold]", "aria-pressed") == "true"


def test_a_drag_looks_closer_and_a_click_holds_the_cursor(page: Any) -> None:
    box = page.locator("[data-trend=suction] .plotbox")
    box.scroll_into_view_if_needed()
    at = box.bounding_box()
    if page.get_attribute("[data-do=hold]", "aria-pressed") == "true":
        page.click("[data-do=hold]")
    page.click("[data-do=all]")
    at = box.bounding_box()
    page.mouse.move(at["x"] + 200, at["y"] + 60)
    page.mouse.down()
    page.mouse.move(at["x"] + 400, at["y"] + 60, steps=4)
    page.mouse.up()
    spans = [float(page.get_attribute(".trendsheet", f"data-{key}")) for key in ("from", "to")]
    wide = at["width"] - 72 - 10
    assert spans == pytest.approx([1.8e6 * 128 / wide, 1.8e6 * 328 / wide], abs=1.8e6 * 3 / wide)
    page.mouse.click(at["x"] + 300, at["y"] + 60)
    now = page.get_attribute(".trendsheet", "data-now")
    page.mouse.move(at["x"] + 500, at["y"] + 60)
    assert page.get_attribute(".trendsheet", "data-now") == now
    page.click("[data-do=hold]")
    page.click("[data-do=all]")


def test_no_accessibility_violation_at_any_width_or_scheme(page: Any) -> None:
    assert violations_everywhere(page, ALL) == []


def test_it_prints_light_and_whole(page: Any, tmp_path: Path) -> None:
    page.set_viewport_size({"width": 1280, "height": 900})
    page.emulate_media(color_scheme="dark")
    page.pdf(path=tmp_path / "r.pdf", format="A4", print_background=True)
    assert page.evaluate("document.documentElement.dataset.scheme") == ""  # as before
    assert (tmp_path / "r.pdf").stat().st_size > 30_000
