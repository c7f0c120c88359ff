"""Plain-word contradictions get a line and a column."""

from pathlib import Path

import pytest

from scenarios.cross_checks import every_field, key_path_of, place_cross_checks, rule_of
from scenarios.errors import Problem
from scenarios.toml_source import parse_toml
from tests.scenarios.example_files import PlantRecord, Settings

TEXT = """\
[settings]
trip = "100 °C"
[settings.capacity]
suction_set_point = "290 kPa"
neutral_zone = "5 kPa"
"""


@pytest.mark.parametrize(
    ("message", "place"),
    [
        ("capacity.neutral_zone_kpa: too wide", (5, 16)),
        ("capacity.neutral_zone: too wide", (5, 16)),
        ("capacity: the neutral zone is too wide", (5, 16)),
        ("the suction set-point lies below the trip", (4, 21)),
        ("trip: too high", (2, 8)),
        ("capacity: something about nothing in the file", (3, 11)),
        ("capacity: load_ramp is not in the file", (3, 11)),
        ("nothing of the kind", (1, 2)),
    ],
)
def test_place_of_a_message(message: str, place: tuple[int, int]) -> None:
    problems: list[Problem] = []
    place_cross_checks(parse_toml(TEXT, Path("s.toml")), ("settings",), Settings, [message], problems)
    assert [(p.message, (p.line, p.column)) for p in problems] == [(message, place)]


def test_key_path_of_a_field() -> None:
    assert key_path_of(Settings, "capacity.load_ramp_ms") == ("capacity", "load_ramp")
    assert key_path_of(Settings, "capacity.load_ramp") == ("capacity", "load_ramp")
    assert key_path_of(Settings, "capacity.nothing") is None
    assert key_path_of(Settings, "trip.below") is None


def test_every_field_leads_to_its_rule() -> None:
    found = list(every_field(PlantRecord))
    assert ("vessel", "volume") in [path for path, _ in found]
    assert all(rule_of(PlantRecord, path) is rule for path, rule in found)
