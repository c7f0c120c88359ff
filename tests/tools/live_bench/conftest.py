"""A session on the demo plant with the machine running, and a server with its engine for the tests that need one."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.tools.live_bench.rig import new_folder, serving
from tools.live_bench.bench import Bench
from tools.live_bench.server import LiveServer


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    """A bench that stands at its start."""
    return Bench(new_folder(tmp_path))


@pytest.fixture
def bench_with(tmp_path: Path) -> Callable[..., Bench]:
    """A bench from a scenario with events of its own."""
    return lambda events, duration="24 h": Bench(new_folder(tmp_path, events, duration))


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[LiveServer]:
    """A running server for the tests of one file."""
    with serving(new_folder(tmp_path_factory.mktemp("live"))) as made:
        yield made
