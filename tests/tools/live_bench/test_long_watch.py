"""Ten minutes at 1 × with four viewers: no row missed, a small share of one core, flat memory.  Figures are printed."""

from __future__ import annotations

import asyncio
import json
import os
import subprocess
import sys
import time
from itertools import pairwise
from pathlib import Path
from typing import Any

import psutil
import pytest
from tornado.httpclient import HTTPRequest
from tornado.websocket import websocket_connect

from scenarios.row import COLUMNS
from tests.tools.live_bench.rig import scenario_file

VIEWERS = 4
ROW_BYTES = 8 * len(COLUMNS)  # the log itself grows by so much a second


async def watch(address: str, seconds: float, leads: bool) -> tuple[list[int], list[int]]:
    """A viewer: numbers of the frames and times of the rows that it was told."""
    socket = address.replace("http", "ws", 1) + "live"
    line = await websocket_connect(HTTPRequest(socket, headers={"Origin": address.rstrip("/")}))
    numbers: list[int] = []
    times: list[int] = []
    end_s = time.monotonic() + seconds
    while time.monotonic() < end_s:
        message: Any = json.loads(str(await line.read_message()))
        if message["kind"] == "history" and leads:
            await line.write_message('{"do":"run"}')
        if message["kind"] == "frame":
            numbers.append(message["n"])
            times += [row[0] for row in message.get("rows", [])]
    line.close()
    return numbers, times


async def watch_all(address: str, seconds: float) -> list[tuple[list[int], list[int]]]:
    leader = asyncio.create_task(watch(address, seconds, True))
    await asyncio.sleep(1.0)
    others = [asyncio.create_task(watch(address, seconds - 1.0, False)) for _ in range(VIEWERS - 1)]
    return [await task for task in (leader, *others)]


@pytest.mark.slow
def test_ten_minutes_with_four_viewers(tmp_path: Path) -> None:
    minutes = float(os.environ.get("TWOSLIDE_LIVE_MINUTES", "10"))
    command = [sys.executable, "-m", "tools.cli", "live", str(scenario_file(tmp_path)), "--port", "0"]
    process = subprocess.Popen([*command, "--out", str(tmp_path / "session")], stdout=subprocess.PIPE, text=True)
    try:
        assert process.stdout is not None
        address = process.stdout.readline().split()[1]
        family = [psutil.Process(process.pid), *psutil.Process(process.pid).children(recursive=True)]
        # one warm minute first, so that what is made once is not taken for growth
        asyncio.run(watch_all(address, 60.0))
        begin_s, cpu_s = time.monotonic(), sum(sum(p.cpu_times()[:2]) for p in family)
        rss = sum(p.memory_info().rss for p in family)
        seen = asyncio.run(watch_all(address, 60.0 * minutes))
        took_s = time.monotonic() - begin_s
        share = (sum(sum(p.cpu_times()[:2]) for p in family) - cpu_s) / took_s
        grown = sum(p.memory_info().rss for p in family) - rss
    finally:
        process.terminate()
        process.wait(300)
    for numbers, times in seen:
        assert {b - a for a, b in pairwise(numbers)} == {1}
        assert {b - a for a, b in pairwise(times)} == {100}
    rows = min(len(times) for _, times in seen)
    print(
        f"\n{minutes:g} min, {VIEWERS} viewers: {rows} rows told to each, {rows / took_s:.2f} a second, none missed; "
        f"server and engine {100.0 * share:.1f} % of one core; memory {rss / 1e6:.0f} MB, grown by {grown / 1e6:+.1f} MB, "
        f"of which the log {ROW_BYTES * took_s / 1e6:.1f} MB"
    )
    assert share <= 0.30
    assert grown < 10e6 + ROW_BYTES * took_s
    assert rows >= 0.97 * 10.0 * (took_s - 2.0)
