"""`python -m tools.benchmarks.report_page`: size, first paint, and the time of a cursor's move and of a zoom, in Chromium.

A report of every trend over a noisy run of 36,000 rows is set against one of 3,600 in the same browser, so that the ratio
says what the rows cost and not what the machine does.  A move or zoom counts from the call until its frame has been made;
beside it stands the processor time of all of the browser, which other work on the machine does not lengthen much.
Needs Playwright and Chromium (`pip install -e '.[test]'`).
"""

from __future__ import annotations

import shutil
import statistics
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click
import numpy as np

from controller.process_image import Mode
from controller.registry import SHIPPED
from plant_model.derived import derive
from plant_model.parameters import PlantParameters
from scenarios.limits import limits_of
from scenarios.row import COLUMNS, EDGE_COLUMNS
from scenarios.scoring import score
from scenarios.trace import Event, Trace
from tools.report import ReportRun, write_report

LEVELS = {  # of the columns that pictures show, in SI; anything else about 1
    "suction_pressure_pa": 290e3, "suction_pressure_measured_pa": 290e3, "suction_set_point_pa": 290e3,
    "discharge_pressure_pa": 1350e3, "separator_pressure_pa": 1360e3, "discharge_temperature_k": 345.0,
    "oil_temperature_k": 318.0, "room_temperature_k": 268.0, "wet_bulb_temperature_k": 290.0, "motor_power_w": 120e3,
    "auxiliary_power_w": 15e3, "motor_current_a": 210.0, "load_heat_w": 400e3, "evaporator_heat_w": 400e3,
    "oil_differential_pa": 190e3, "volume_ratio": 2.9, "volume_ratio_ideal": 3.0, "volume_ratio_attainable": 3.0,
    "capacity_travel_frac": 0.6, "volume_ratio_travel_frac": 0.5, "suction_superheat_k": 4.0, "motor_speed_1_s": 49.0,
    "trapped_fraction_frac": 0.7, "vessel_level_frac": 0.4,
}  # fmt: skip
TIMED = """async ([kind, times]) => {
  const s = twoslideTrends.sheets[0], found = { script: [], frame: [] }, full = s.full.to - s.full.from;
  for (let k = 0; k < times; k++) {
    const at = s.full.from + full * ((k * 0.381966) % 1), span = full * [0.5, 0.1, 1, 0.02][k % 4];
    const begun = performance.now();
    if (kind === "cursor") s.moveTo(at); else s.zoom(at - span / 2, at + span / 2);
    found.script.push(performance.now() - begun);
    await new Promise((done) => requestAnimationFrame(() => {
      const after = new MessageChannel();
      after.port1.onmessage = done;
      after.port2.postMessage(0);
    }));
    found.frame.push(performance.now() - begun);
  }
  return found;
}"""


@dataclass(frozen=True, slots=True)
class PageTimes:
    """Of one page, in MB and ms, medians: first contentful paint, all pictures in view drawn, and the moves."""

    rows: int
    curves: int
    size_mb: float
    first_paint_ms: float
    drawn_ms: float
    cursor_ms: float
    cursor_script_ms: float
    cursor_cpu_ms: float
    zoom_ms: float
    zoom_script_ms: float
    zoom_cpu_ms: float


def noisy_run(rows: int, seed: int = 1) -> ReportRun:
    """A run in which every column wanders and flickers, so that nothing deflates well."""
    chance = np.random.default_rng(seed)
    values: dict[str, Any] = {}
    for name in COLUMNS:
        level = LEVELS.get(name, 1.0)
        wander = np.cumsum(chance.standard_normal(rows)) / np.sqrt(rows)
        values[name] = level * (1.0 + 0.05 * wander + 0.005 * chance.standard_normal(rows))
    for name in EDGE_COLUMNS:
        values[name] = np.zeros(rows)
    values |= {"time_ms": np.arange(rows) * 1000.0, "mode": np.full(rows, float(Mode.AUTOMATIC))}
    values |= {name: np.ones(rows) for name in ("motor_run", "motor_running", "oil_pump")}
    events = [Event(int(t), "disturbance", "load_step", f"load step {t}") for t in range(0, rows * 1000, rows * 25)]
    for name in ("capacity_load", "capacity_unload", "volume_ratio_increase", "volume_ratio_decrease"):
        for start in range(10_000, rows * 1000 - 2000, 60_000):
            events += [Event(start, "drive", name, "on"), Event(start + 700, "drive", name, "off")]
    events.sort(key=lambda event: event.time_ms)
    parameters = derive(PlantParameters(), "R717")
    limits = limits_of(SHIPPED["scheduled_pi"].settings_type())
    trace = Trace(values, events)
    scores = score(trace, limits, parameters.refrigerant)
    return ReportRun("noisy", trace, scores, limits, {}, None, parameters.refrigerant, parameters)


def _browser_cpu_s() -> float:
    """Processor time of this process' children, theirs included."""
    import psutil

    spent = 0.0
    for child in psutil.Process().children(recursive=True):
        try:
            used = child.cpu_times()
        except psutil.NoSuchProcess:
            continue
        spent += used.user + used.system
    return spent


def measure_page(browser: Any, path: Path, rows: int, times: int, loads: int) -> PageTimes:
    """Open a report several times and move its cursor and view."""
    paints, drawn = [], []
    for _ in range(loads):
        page = browser.new_context(viewport={"width": 1280, "height": 900}).new_page()
        page.goto(path.as_uri())
        page.wait_for_selector("html[data-ready]")
        page.wait_for_timeout(300)  # the page forbids to evaluate strings, as waiting for a function does
        paints.append(page.evaluate("performance.getEntriesByName('first-contentful-paint')[0].startTime"))
        drawn.append(page.evaluate("performance.getEntriesByName('trends-drawn')[0].startTime"))
    page.locator("[data-trend=suction]").scroll_into_view_if_needed()
    page.wait_for_timeout(300)
    found, cpu_ms = {}, {}
    for kind in ("cursor", "zoom"):
        before = _browser_cpu_s()
        found[kind] = page.evaluate(TIMED, [kind, times])
        cpu_ms[kind] = 1000.0 * (_browser_cpu_s() - before) / times
    curves = page.evaluate("twoslideTrends.sheets[0].spec.trends.reduce((n, t) => n + t.curves.length, 0)")
    middle = statistics.median
    return PageTimes(
        rows, curves, path.stat().st_size / 1e6, middle(paints), middle(drawn), middle(found["cursor"]["frame"]),
        middle(found["cursor"]["script"]), cpu_ms["cursor"], middle(found["zoom"]["frame"]),
        middle(found["zoom"]["script"]), cpu_ms["zoom"],
    )  # fmt: skip


def measure_pages(rows: tuple[int, ...] = (3_600, 36_000), times: int = 80, loads: int = 5) -> list[PageTimes]:
    """One page for each number of rows, in one browser.  RuntimeError without Chromium or Playwright."""
    chromium = shutil.which("chromium")
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        raise RuntimeError("Playwright is not installed: pip install -e '.[test]'") from None
    if chromium is None:
        raise RuntimeError("no chromium on the path")
    with tempfile.TemporaryDirectory(prefix="twoslide-benchmark-") as folder, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-gpu"])
        out = []
        for n in rows:
            path = Path(folder) / f"{n}.html"
            write_report(path, [noisy_run(n)], f"{n} rows")
            out.append(measure_page(browser, path, n, times, loads))
        browser.close()
    return out


@click.command()
@click.option("--times", type=click.IntRange(min=4), default=80, help="Moves and zooms of each page.")
def main(times: int) -> None:
    """Measure the run report in Chromium."""
    try:
        pages = measure_pages(times=times)
    except RuntimeError as error:
        raise click.ClickException(str(error)) from None
    for one in pages:
        click.echo(
            f"{one.rows} rows, {one.curves} curves: {one.size_mb:.2f} MB; first paint {one.first_paint_ms:.0f} ms, "
            f"pictures in view drawn {one.drawn_ms:.0f} ms; to the frame: cursor {one.cursor_ms:.1f} ms (script "
            f"{one.cursor_script_ms:.1f}, processor {one.cursor_cpu_ms:.0f}), zoom {one.zoom_ms:.1f} ms (script "
            f"{one.zoom_script_ms:.1f}, processor {one.zoom_cpu_ms:.0f})"
        )
    first, last = pages[0], pages[-1]
    click.echo(
        f"{last.rows / first.rows:.0f} times the rows: processor time of a cursor's move "
        f"{last.cursor_cpu_ms / first.cursor_cpu_ms:.2f}, of a zoom {last.zoom_cpu_ms / first.zoom_cpu_ms:.2f}, "
        f"drawing {last.drawn_ms / first.drawn_ms:.2f} times"
    )


if __name__ == "__main__":
    main()
