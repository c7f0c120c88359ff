"""What the command line says instead of a file, and the units of columns."""

from pathlib import Path

import pytest

from scenarios.known import Overrides, column_unit


def test_only_what_was_set_is_recorded() -> None:
    assert Overrides().as_text() == {}
    assert Overrides("plain", Path("a.toml"), 0).as_text() == {"controller": "plain", "settings": "a.toml", "seed": "0"}


@pytest.mark.parametrize(
    ("name", "unit"),
    [
        # columns of architecture.md, "A run's folder"
        ("suction_pressure_measured_pa", ("Pa", "absolute")),
        ("oil_differential_pa", ("Pa", "difference")),
        ("discharge_temperature_k", ("K", "absolute")),
        ("capacity_travel_frac", ("1", "")),
        ("mass_flow_kg_s", ("kg/s", "")),
        ("motor_current_a", ("A", "")),
        ("volume_ratio", ("1", "")),
        ("time_ms", ("ms", "")),
    ],
)
def test_unit_of_a_column(name: str, unit: tuple[str, str]) -> None:
    assert column_unit(name) == unit
