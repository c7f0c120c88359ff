"""The page in a real browser: every control driven, nothing asked from outside, and no accessibility violation."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from scenarios.preparation import prepare
from tests.tools.live_bench.rig import new_folder, serving
from tools.live_bench.forms import FORMS
from tools.live_bench.server import LiveServer
from tools.live_bench.trends import TRENDS

CHROMIUM = shutil.which("chromium")
sync_api = pytest.importorskip("playwright.sync_api")
axe = pytest.importorskip("axe_playwright_python.sync_playwright")
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium here")

PATIENCE_MS = 120_000  # a shared machine may be slow; nothing here waits that long for an answer that is there


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with sync_api.sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"])
        yield started
        started.close()


class Seen:
    """A page, and everything that it asked for or complained of."""

    def __init__(self, browser: Any, address: str, width: int = 1280, scheme: str = "light") -> None:
        self.context = browser.new_context(viewport={"width": width, "height": 900}, color_scheme=scheme)
        self.page = self.context.new_page()
        self.page.set_default_timeout(PATIENCE_MS)
        self.asked: list[str] = []
        self.complaints: list[str] = []
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.on("websocket", lambda socket: self.asked.append(socket.url))
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("console", lambda m: self.complaints.append(m.text) if m.type in ("error", "warning") else None)
        self.page.goto(address)
        self.page.wait_for_selector("body[data-link=open]")
        self.page.wait_for_selector("body[data-rows][data-control]")

    def until(self, key: str, fits: Callable[[int], bool]) -> int:
        """Wait for a number that the page tells of itself; strings are not evaluated here, the page forbids it."""
        for _ in range(PATIENCE_MS // 50):
            value = self.page.get_attribute("body", f"data-{key}")
            if value is not None and fits(int(value)):
                return int(value)
            self.page.wait_for_timeout(50)
        raise AssertionError(f"{key} is {value}")

    def said(self, pattern: str) -> None:
        """Wait for an answer of the bench."""
        words = self.page.locator("#said")
        sync_api.expect(words).to_have_text(re.compile(pattern), timeout=PATIENCE_MS)

    def take(self) -> None:
        """Take control; whoever held it has closed his page or given it up."""
        self.page.wait_for_selector("body[data-control=mine], body[data-control=free]")
        if self.page.get_attribute("body", "data-control") != "mine":
            self.page.click("#take")
        self.page.wait_for_selector("body[data-control=mine]")


@pytest.fixture(scope="module")
def seen(browser: Any, server: LiveServer) -> Iterator[Seen]:
    made = Seen(browser, server.address)
    made.take()
    yield made
    made.context.close()


def value_of(form: Any, field: Any) -> str:
    """What to fill in: the default, but faults here do not last for ever, so that the next test finds a sound machine."""
    if form.id == "instrument" and field.key == "size":
        return ""
    return "5 s" if field.key == "lasting" else field.default


def test_every_form_lets_its_event_happen(seen: Seen, server: LiveServer) -> None:
    page = seen.page
    for form in FORMS:
        place = f"#do-{form.id}"
        if not page.locator(place).is_visible():
            page.click(f"details:has({place}) summary")
        for field in form.fields:
            if not field.choices:
                page.fill(f"{place} [name={field.key}]", value_of(form, field))
        page.click(f"{place} button")
        seen.said(r"^at \d+\.\d s: " + " ".join(form.event.values()).replace("_", "."))
        last = (server.folder / "journal.jsonl").read_text(encoding="utf-8").splitlines()[-1]
        assert all(f'"{value}"' in last for value in form.event.values())
        page.click("#scan")
        seen.said("^scan at ")
    assert seen.complaints == []


def test_the_pace(seen: Seen) -> None:
    page = seen.page
    before = int(page.get_attribute("body", "data-time"))
    page.select_option("#speed", "100")
    page.click("#run")
    page.wait_for_selector("body[data-state=running]")
    seen.until("time", lambda ms: ms > before + 30_000)
    page.click("#pause")
    page.wait_for_selector("body[data-state=paused]")
    at = int(page.get_attribute("body", "data-time"))
    page.click("#scan")
    seen.until("time", lambda ms: ms == at + 100)
    assert page.evaluate("bench.missed") == 0
    for ms in ("1800000", "7200000", "0", "300000"):
        page.select_option("#window", ms)
    seen.until("rows", lambda rows: rows > 10)
    assert "is sealed at" in page.get_attribute("#strip", "aria-label")
    assert "The port opens at" in page.get_attribute("#loop", "aria-label")
    assert page.locator("#now dd").all_inner_texts()[0].endswith(" kPa")
    sync_api.expect(page.locator("#score tbody tr").first).to_be_visible(timeout=PATIENCE_MS)
    assert seen.complaints == []


def test_every_trend_shows_its_last_row(seen: Seen) -> None:
    """Each curve's last value lies within its picture, and the picture is not so tall that nothing can be seen in it."""
    page = seen.page
    page.click("#scan")
    seen.said("^scan at ")
    seen.until("rows", lambda rows: rows > 10)
    page.wait_for_timeout(1000)
    for trend in TRENDS:
        last, rows, axis = page.evaluate(
            """([name, columns]) => {
              const find = (key) => Bokeh.documents[0].get_model_by_name(key), axis = find(`values-${name}`);
              const shown = columns.map((one) => [...find("rows").data[one]]);
              return [shown.map((one) => one.at(-1)), shown.flat(), [axis.start, axis.end]];
            }""",
            [trend.name, [curve.column for curve in trend.curves]],
        )
        assert axis[0] <= min(last) <= max(last) <= axis[1], trend.name
        if trend.span is None:
            assert axis[1] - axis[0] <= 1.2 * (max(rows) - min(rows)) + max(1.0, 0.02 * max(map(abs, rows))), trend.name


def test_stop_button_moments_and_settings(seen: Seen, server: LiveServer) -> None:
    page = seen.page
    page.fill("#mark", "before the stop")
    page.click("#do-mark button")
    seen.said("kept: before the stop")
    page.click("#stop")
    seen.said("operator stop button")
    page.select_option("#speed", "100")
    page.click("#run")
    sync_api.expect(page.locator("#events")).to_contain_text("stop button", timeout=PATIENCE_MS)
    sync_api.expect(page.locator("#words")).to_contain_text("at rest", timeout=PATIENCE_MS)
    page.click("#pause")
    page.select_option("#moments", label=page.locator("#moments option").last.inner_text())
    page.click("#back")
    seen.said("^back at ")
    sync_api.expect(page.locator("#events")).not_to_contain_text("stop button", timeout=PATIENCE_MS)
    page.fill("#setting", "pi.integral_time")
    sync_api.expect(page.locator("#setting-told")).to_contain_text("allowed: 1 s to 1 h")
    page.fill("#value", "2 d")
    page.click("#apply")
    seen.said("not done: integral_time: .*out of range")
    page.fill("#value", "41 s")
    page.click("#add")
    page.fill("#setting", "pi.proportional_band")
    page.fill("#value", "44 kPa")
    page.click("#apply")
    seen.said("pi.integral_time becomes 41 s, pi.proportional_band becomes 44 kPa")
    page.fill("#setting", "pi.integral_time")
    sync_api.expect(page.locator("#setting-told")).to_contain_text("now 41 s")
    assert page.locator("#pending li").count() == 0
    page.click("#keep")
    seen.said("twoslide run")
    page.click("#export")
    seen.said(r"log\.csv: \d+ rows")
    for link in ("#get-session", "#get-log", "#get-events"):
        with page.expect_download() as download:
            page.click(link)
        assert download.value.path().stat().st_size > 50
    prepare([server.folder / "session.toml"])


def test_control_is_asked_for_handed_over_and_given_up(browser: Any, seen: Seen, server: LiveServer) -> None:
    first = seen.page
    other = Seen(browser, server.address)
    second = other.page
    second.wait_for_selector("body[data-control=other]")
    assert second.locator("#run").is_disabled()
    assert second.locator("#do-load-step button").is_disabled()
    assert second.locator("#take").is_disabled()
    second.click("#ask")
    sync_api.expect(first.locator("#asking")).to_contain_text("asks for control", timeout=PATIENCE_MS)
    me = second.evaluate("String(bench.me)")
    first.select_option("#others", me)
    first.click("#hand")
    second.wait_for_selector("body[data-control=mine]")
    first.wait_for_selector("body[data-control=other]")
    second.click("#release")
    first.wait_for_selector("body[data-control=free]")
    first.click("#take")
    first.wait_for_selector("body[data-control=mine]")
    assert first.inner_text("#who").startswith("You are viewer")
    other.context.close()


DRIVEN = {
    "run", "pause", "scan", "speed", "stop", "window", "take", "ask", "release", "others", "hand", "setting", "value",
    "apply", "add", "mark", "moments", "back", "keep", "export", "get-session", "get-log", "get-events",
}  # fmt: skip


def test_there_is_no_control_that_these_tests_do_not_drive(seen: Seen) -> None:
    found = seen.page.locator("button, select, input, a").evaluate_all(
        "all => all.map(one => one.id || (one.form ? one.form.id : one.className))"
    )
    assert set(found) == DRIVEN | {f"do-{form.id}" for form in FORMS} | {"do-mark", "skip"}


def test_all_of_it_with_the_keyboard(seen: Seen) -> None:
    page = seen.page
    page.keyboard.press("Tab")
    reached = set()
    for _ in range(140):
        reached.add(page.evaluate("document.activeElement.id || document.activeElement.tagName"))
        page.keyboard.press("Tab")
    assert {"run", "pause", "scan", "speed", "stop", "setting", "apply", "back", "keep", "window", "SUMMARY"} <= reached
    at = int(page.get_attribute("body", "data-time"))
    page.focus("#scan")
    page.keyboard.press("Enter")
    seen.until("time", lambda ms: ms == at + 100)
    page.focus("#do-load-step [name=change]")
    page.keyboard.press("Control+A")
    page.keyboard.type("+33 kW")
    page.keyboard.press("Enter")
    seen.said(r"load step \+33 kW")


def test_no_accessibility_violation(seen: Seen) -> None:
    page = seen.page
    page.evaluate("() => document.querySelectorAll('details').forEach(one => { one.open = true; })")
    for width, scheme in ((1280, "light"), (1280, "dark"), (400, "light"), (400, "dark")):
        page.set_viewport_size({"width": width, "height": 900})
        page.emulate_media(color_scheme=scheme)
        page.wait_for_timeout(300)
        found = axe.Axe().run(page)
        told = [f"{v['id']}: {[node['html'][:120] for node in v['nodes']]}" for v in found.response["violations"]]
        assert (width, scheme, told) == (width, scheme, [])
        # nothing hangs out at the side
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), width
    page.set_viewport_size({"width": 1280, "height": 900})


def test_no_request_leaves_the_machine(seen: Seen, server: LiveServer) -> None:
    seen.page.wait_for_timeout(500)
    here = (f"http://127.0.0.1:{server.port}/", f"ws://127.0.0.1:{server.port}/", "data:", "blob:")
    assert len(seen.asked) >= 8
    assert [url for url in seen.asked if not url.startswith(here)] == []
    # and what would ask outside is not allowed to: the page's own rule, in the browser
    outside = "fetch('http://192.0.2.1/').then(() => 'out', error => 'held')"
    assert seen.page.evaluate(outside) == "held"
    assert any("Content Security Policy" in text for text in seen.complaints)


def test_a_server_that_ends_is_told_and_found_again(browser: Any, tmp_path: Path) -> None:
    folder = new_folder(tmp_path)
    with serving(folder) as first:
        seen = Seen(browser, first.address)
        page = seen.page
        page.select_option("#speed", "100")
        page.click("#run")
        seen.until("time", lambda ms: ms > 20_000)
        page.click("#do-load-step button")
        seen.said("load step")
        page.click("#pause")
        page.wait_for_selector("body[data-state=paused]")
        reached_ms = int(page.get_attribute("body", "data-time"))
        port = first.port
    page.wait_for_selector("body[data-link=broken]")
    assert "the session so far is on its disk" in page.inner_text("#link")
    assert page.locator("#run").is_disabled()
    with serving(folder, port):
        page.wait_for_selector("body[data-link=open]")
        seen.until("time", lambda ms: ms == reached_ms)
        page.wait_for_selector("body[data-control=mine]")
        sync_api.expect(page.locator("#events")).to_contain_text("load", timeout=PATIENCE_MS)
        page.click("#run")
        seen.until("time", lambda ms: ms > reached_ms)
        seen.context.close()
