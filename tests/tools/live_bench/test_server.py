"""The local server: who gets in, what is answered, and that nothing a page sends harms the session."""

from __future__ import annotations

import asyncio
import json
import time
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tornado.httpclient import AsyncHTTPClient, HTTPClientError, HTTPRequest

from scenarios.errors import InputRefused
from scenarios.preparation import prepare
from tests.tools.live_bench.rig import new_folder, page_of, play, serving
from tools.live_bench.hub import MOST_VIEWERS
from tools.live_bench.server import LiveServer


async def get(server: LiveServer, path: str, **headers: str) -> Any:
    request = HTTPRequest(f"http://127.0.0.1:{server.port}{path}", headers=headers)
    return await AsyncHTTPClient().fetch(request, raise_error=False)


def test_a_session_from_opening_to_export(server: LiveServer) -> None:
    async def work() -> None:
        page = await page_of(server)
        history = await page.hear("history")
        assert history["rows"] == []
        assert (await page.do("speed", factor=200))["ok"]
        assert (await page.do("run"))["ok"]
        rows = 0
        number = None
        while rows < 60:
            frame = await page.hear("frame")
            assert number in (None, frame["n"] - 1)
            number = frame["n"]
            rows += len(frame.get("rows", []))
        answer = await page.do("act", event={"kind": "load_step", "change": "+50 kW"})
        assert answer["ok"]
        assert answer["text"].endswith("load step +50 kW")
        assert (await page.do("pause"))["ok"]
        assert (await page.do("scan"))["text"].startswith("scan at ")
        assert (await page.do("mark", name="here"))["ok"]
        assert (await page.do("settings", changes=[{"setting": "pi.integral_time", "value": "25 s"}]))["ok"]
        assert (await page.hear("score"))["scores"]
        assert (await page.do("back", moment=1))["ok"]
        assert "twoslide run" in (await page.do("keep"))["text"]
        assert (await page.do("export"))["ok"]
        for name in ("session.toml", "log.csv", "events.csv"):
            found = await get(server, f"/file/{name}")
            assert found.code == 200
            assert found.body == (server.folder / name).read_bytes()
        page.connection.close()

    play(work)
    prepare([server.folder / "session.toml"])


def test_only_the_holder_of_control_acts(server: LiveServer) -> None:
    async def work() -> None:
        first, second = await page_of(server), await page_of(server)
        answer = await second.do("act", event={"kind": "load_loss", "lasting": "5 s"})
        assert (answer["ok"], answer["text"]) == (False, f"not done, because viewer {first.me} holds control")
        assert not (await second.do("take"))["ok"]
        assert (await second.do("ask"))["ok"]
        assert (await first.hear("control"))["viewers"]
        assert (await first.do("hand_over", to=second.me))["ok"]
        assert (await second.do("pause"))["ok"]
        assert not (await first.do("pause"))["ok"]
        assert not (await second.do("hand_over", to=999))["ok"]
        second.connection.close()
        while (await first.hear("control"))["holder"] != 0:
            pass
        assert "take it first" in (await first.do("pause"))["text"]
        assert (await first.do("take"))["ok"]
        assert (await first.do("pause"))["ok"]
        first.connection.close()

    play(work)


@pytest.mark.parametrize(
    "origin", ["http://evil.example", "http://127.0.0.1:1", "null", "https://localhost.evil.example"]
)
def test_a_page_of_another_origin_is_refused(server: LiveServer, origin: str) -> None:
    with pytest.raises(HTTPClientError, match="403"):
        play(lambda: page_of(server, origin))


@pytest.mark.parametrize("host", ["evil.example", "evil.example:80", "127.0.0.1.evil.example", "0.0.0.0"])
def test_a_name_that_is_not_loopback_is_refused(server: LiveServer, host: str) -> None:
    """A foreign site could let its name point to this machine; its page still names itself."""

    async def work() -> None:
        for path in ("/", "/bench.js", "/file/session.toml"):
            assert (await get(server, path, Host=host)).code == 403
        with pytest.raises(HTTPClientError, match="403"):
            await page_of(server, f"http://{host}", host=host)

    play(work)


@pytest.mark.parametrize(
    "path",
    [
        "/file/base.toml", "/file/journal.jsonl", "/file/../base.toml", "/file/..%2fbase.toml", "/file//etc/passwd",
        "/file/%2e%2e/%2e%2e/etc/passwd", "/../../etc/passwd", "/static/x.js", "/page.html", "/server.py", "/file/",
    ],
)  # fmt: skip
def test_no_other_file_is_given(server: LiveServer, path: str) -> None:
    async def work() -> None:
        found = await get(server, path)
        assert found.code == 404
        assert b"root:" not in (found.body or b"")

    play(work)


def test_the_page_says_that_it_may_load_nothing_from_outside(server: LiveServer) -> None:
    async def work() -> None:
        page = await get(server, "/")
        assert "default-src 'self'" in page.headers["Content-Security-Policy"]
        assert page.headers["X-Content-Type-Options"] == "nosniff"
        assert "Server" not in page.headers
        text = page.body.decode()
        assert "engineering aid" in text
        for name in ("bench.css", "bench.js", "doing.js", "figures.js", "trends.js", "plots.js"):
            assert (await get(server, f"/{name}")).code == 200
            assert f'"{name}"' in text

    play(work)


def test_writing_methods_and_bodies_are_refused(server: LiveServer) -> None:
    async def work() -> None:
        for method in ("POST", "PUT"):
            request = HTTPRequest(f"http://127.0.0.1:{server.port}/", method=method, body=b"x")
            assert (await AsyncHTTPClient().fetch(request, raise_error=False)).code == 405

    play(work)


TEXTS = st.text(max_size=200) | st.binary(max_size=200) | st.dictionaries(
    st.sampled_from(["do", "event", "ticket", "changes", "name", "moment", "factor", "to"]),
    st.sampled_from(["act", "back", "mark", "speed", "settings", "", "../../x", "/etc/passwd"])
    | st.integers() | st.floats() | st.none()
    | st.dictionaries(
        st.sampled_from(["kind", "fault", "file", "at", "size", "setting", "value"]),
        st.sampled_from(["load_log", "plant_fault", "wait_for", "/etc/passwd", "1e400 kW", "-5 s"]) | st.floats(),
        max_size=4,
    ),
    max_size=5,
).map(json.dumps)  # fmt: skip


@settings(max_examples=8, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(st.lists(TEXTS, min_size=1, max_size=12))
def test_nonsense_is_answered_and_the_session_unharmed(server: LiveServer, texts: list[str | bytes]) -> None:
    async def work() -> None:
        page = await page_of(server)
        before = await page.hear("history")
        files = sorted(path.name for path in server.folder.iterdir())
        for text in texts:
            assert (await page.raw(text))["kind"] == "reply"
            await asyncio.sleep(0.03)  # below what is allowed in a second
        other = await page_of(server)
        after = await other.hear("history")
        same = ("time_ms", "settings")
        assert [before[key] for key in same] == [after[key] for key in same]
        assert sorted(path.name for path in server.folder.iterdir()) == files
        page.connection.close()
        other.connection.close()

    play(work)


def test_too_much_is_answered_or_cut_off_and_others_are_served(server: LiveServer) -> None:
    async def work() -> None:
        page, other = await page_of(server), await page_of(server)
        assert "allowed: 8192" in (await page.raw("x" * 100_000))["text"]
        await page.connection.write_message("x" * 2_000_000)
        with pytest.raises(EOFError):
            await page.hear("never")
        for _ in range(60):
            await other.connection.write_message('{"do":"take"}')
        answers = [await other.hear("reply") for _ in range(60)]
        assert any("messages a second" in answer["text"] for answer in answers)
        await asyncio.sleep(1.1)
        assert (await other.do("export"))["kind"] == "reply"
        other.connection.close()

    play(work)


def test_there_is_an_end_to_viewers(server: LiveServer) -> None:
    async def work() -> None:
        await asyncio.sleep(0.3)
        pages = [await page_of(server) for _ in range(MOST_VIEWERS - len(server.hub.viewers))]
        with pytest.raises(HTTPClientError, match="503"):
            await page_of(server)
        for page in pages:
            page.connection.close()
        await asyncio.sleep(0.3)
        (await page_of(server)).connection.close()

    play(work)


def test_a_viewer_who_does_not_read_slows_nobody(server: LiveServer) -> None:
    async def work() -> None:
        await asyncio.sleep(0.3)
        first = await page_of(server)
        await first.hear("history")
        await first.do("take")
        mute = await page_of(server)  # never reads again
        await first.do("speed", factor=1)
        await first.do("run")
        begin_s, times = time.monotonic(), []
        while time.monotonic() - begin_s < 3.0:
            times += [row[0] for row in (await first.hear("frame")).get("rows", [])]
        await first.do("pause")
        assert [b - a for a, b in pairwise(times)] == [100] * (len(times) - 1)
        assert 24 <= len(times) <= 34
        mute.connection.close()
        first.connection.close()

    play(work)


def test_another_address_asks_for_a_token(tmp_path: Path) -> None:
    with serving(new_folder(tmp_path), host="0.0.0.0") as open_server:
        assert len(open_server.token) >= 32
        assert open_server.address.endswith(f"/?token={open_server.token}")

        async def work() -> None:
            for query in ("", "?token=", "?token=wrong", f"?token={open_server.token[:-1]}"):
                assert (await get(open_server, f"/{query}")).code == 403
                assert (await get(open_server, f"/file/session.toml{query}")).code == 403
                with pytest.raises(HTTPClientError, match="403"):
                    await page_of(open_server, query=query)
            assert (await get(open_server, f"/?token={open_server.token}")).code == 200
            page = await page_of(open_server, query=f"?token={open_server.token}")
            with pytest.raises(HTTPClientError, match="403"):
                await page_of(open_server, "http://evil.example", query=f"?token={open_server.token}")
            page.connection.close()

        play(work)


def test_a_killed_engine_is_told_and_its_session_goes_on(tmp_path: Path) -> None:
    folder = new_folder(tmp_path)
    with serving(folder) as first:

        async def work() -> int:
            page = await page_of(first)
            await page.do("speed", factor=1000)
            await page.do("run")
            await asyncio.sleep(1.0)
            await page.do("act", event={"kind": "load_step", "change": "+50 kW"})
            frame = await page.hear("frame")
            # a kill loses up to a piece of 300 s at this pace: the step must lie well before what may be lost
            past_ms = frame["time_ms"] + 900_000
            while frame["time_ms"] < past_ms:
                frame = await page.hear("frame")
            first.engine.kill()
            assert (await page.hear("engine"))["alive"] is False
            late = await page_of(first)
            assert (await late.hear("engine"))["alive"] is False
            return int(frame["time_ms"])

        reached_ms = play(work)
    with serving(folder, first.port) as second:

        async def again() -> None:
            history = await (await page_of(second)).hear("history")
            assert history["time_ms"] >= reached_ms - 300_000  # what is played in one piece at this pace
            assert history["state"] == "paused"
            assert "load 380 → 430 kW" in [event[2] for event in history["events"]]

        play(again)
        with pytest.raises(InputRefused, match="cannot listen on"), serving(folder, second.port):
            pass
