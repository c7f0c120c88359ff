"""Shared by the tests of scenarios/: a short scenario on the demo plant, and the C example built once."""

from __future__ import annotations

import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
FOREIGN = Path(__file__).parent / "foreign"

SHORT = f"""\
title = "Short"
purpose = "a short run for the tests"
expects = "starts and takes the load"
plant = "{ROOT}/scenarios/library/plants/harrow_ness.toml"
controller = "scheduled_pi"
duration = "10 min"
seed = 5
[start]
suction_pressure = "-7 °C sat"
discharge_pressure = "30 °C sat"
load = "330 kW"
[[event]]
kind = "load_step"
at = "6 min"
change = "+80 kW"
[[event]]
kind = "batch_arrivals"
from = "2 min"
until = "9 min"
every = "1 min"
heat = "20 kW"
lasting = "90 s"
"""


@pytest.fixture
def short(tmp_path: Path) -> Path:
    """A ten-minute scenario file."""
    path = tmp_path / "short.toml"
    path.write_text(SHORT, encoding="utf-8")
    return path


@pytest.fixture(scope="session")
def build_c() -> Callable[[Path, Path], Path]:
    """A function that compiles a C controller against the generated header."""

    def build(source: Path, target: Path) -> Path:
        header = ROOT / "controller" / "foreign"
        flags = ["-Wall", "-Wextra", "-Werror", "-O2", "-ffp-contract=off", "-shared", "-fPIC", f"-I{header}"]
        subprocess.run(["gcc", *flags, "-o", str(target), str(source)], check=True)
        return target

    return build


@pytest.fixture(scope="session")
def plain_steps_library(tmp_path_factory: pytest.TempPathFactory, build_c: Callable[[Path, Path], Path]) -> Path:
    """The C example as a shared library."""
    return build_c(FOREIGN / "plain_steps.c", tmp_path_factory.mktemp("c") / "plain_steps.so")


@pytest.fixture
def scenario(tmp_path: Path) -> Callable[..., Path]:
    """A function that writes a scenario on the demo plant: events as TOML, `start` as the lines of its table."""

    def write(
        events: str = "", *, minutes: int = 3, start: str = 'load = "330 kW"', controller: str = "scheduled_pi",
        seed: int = 5, plant: str | Path = ROOT / "scenarios" / "library" / "plants" / "harrow_ness.toml",
        name: str = "made",
    ) -> Path:  # fmt: skip
        path = tmp_path / f"{name}.toml"
        path.write_text(
            f'title = "Made"\npurpose = "for a test"\nexpects = "what the test says"\nplant = "{plant}"\n'
            f'controller = "{controller}"\nduration = "{minutes} min"\nseed = {seed}\n[start]\n{start}\n{events}',
            encoding="utf-8",
        )
        return path

    return write
