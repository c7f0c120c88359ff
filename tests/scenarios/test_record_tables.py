"""TOML table to record: defaults, every problem placed."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scenarios.errors import Problem
from scenarios.quantities import Site
from scenarios.record_tables import dotted, read_record, suggestion, values_of
from scenarios.toml_source import parse_toml
from tests.scenarios.example_files import Capacity, Cooler, Machine, Settings, Vessel, WithList


def read(text: str, cls: type) -> tuple[object, list[Problem]]:
    problems: list[Problem] = []
    return read_record(parse_toml(text, Path("x.toml")), (), cls, Site(101325.0), problems), problems


def test_missing_keys_take_the_defaults() -> None:
    record, problems = read('volume = "3000 L"', Vessel)
    assert not problems
    assert record == Vessel(3.0)
    assert read("", Settings)[0] == Settings()


def test_every_kind_of_value() -> None:
    text = 'teeth = 12\ncapacity_curve = [0.1, "45 %", 1]\ncooler = "air"\nhas_economiser = true\nua = "62.5 kW/K"'
    record, problems = read(text, Machine)
    assert not problems
    assert record == Machine(12, (0.1, 0.45, 1.0), Cooler.AIR, True, 62500.0)
    assert type(record.capacity_curve[2]) is float  # type: ignore[attr-defined]


def test_nested_records_arrays_of_tables_and_lists() -> None:
    record, problems = read(
        '[[bands]]\ntravel = "10 %"\n[[bands]]\ngain = "2 %/kPa"\n[capacity]\nfan = "water"', Settings
    )
    assert not problems
    assert isinstance(record, Settings)
    assert [b.travel_pct for b in record.bands] == [10.0, 50.0]
    assert record.capacity.fan is Cooler.WATER
    listed, problems = read('values = ["3 %", "4 %"]', WithList)
    assert isinstance(listed, WithList)
    assert listed.values_pct == [3.0, 4.0]


@pytest.mark.parametrize(
    ("text", "cls", "told"),
    [
        ('volum = "3 m3"\nvolume = "3 m3"', Vessel, 'x.toml:1:1: unknown key "volum"; did you mean "volume"?'),
        ("", Vessel, 'x.toml:1:1: key "volume" is missing; write for example volume = "3 m³" or "5.2 L"'),
        ("volume = 3", Vessel, "x.toml:1:10: volume: the bare number 3 has no unit; write for example"),
        ('volume = "3 kg"', Vessel, 'x.toml:1:10: volume: "3 kg" is a mass, but a volume is expected'),
        (
            'volume = "3 m3"\nlevel = "140 %"',
            Vessel,
            'x.toml:2:9: level: "140 %" is out of range; allowed: at least 5 %, at most 90 %; default chosen: half full',
        ),
        (
            'volume = "3 m3"\nlevel = 1.4',
            Vessel,
            "x.toml:2:9: level: 1.4 is out of range; allowed: at least 0.05, at most 0.9; default chosen: half full",
        ),
        (
            'volume = "3 m3"\nflash = "-2 s"',
            Vessel,
            'x.toml:2:9: flash: "-2 s" is out of range; allowed: at least 0 s, at most 600 s',
        ),
        (
            'volume = "3 m3"\nflash = "4 h"',
            Vessel,
            'x.toml:2:9: flash: "4 h" is out of range; allowed: at least 0 h, at most 10 min',
        ),
        (
            'strainer_drop = "40 kWh"\nvolume = "3 m3"',
            Vessel,
            '"40 kWh" is an energy, but a pressure difference is expected',
        ),
        ('volume = "3 m3"\nflash = "0.5 ms"', Vessel, "which is not a whole number"),
        (
            'volume = "3 m3"\nstrainer_drop = "2 psig"',
            Vessel,
            'x.toml:2:17: strainer_drop: "2 psig" is a gauge pressure',
        ),
        ('volume = ["3 m3"]', Vessel, "volume: is an array"),
        ("volume = true", Vessel, "volume: is true/false"),
        ("volume = 1979-05-27", Vessel, "volume: is a date or time"),
        ("teeth = 11.0", Machine, "x.toml:1:9: teeth: 11.0 is not a whole number"),
        ("teeth = 99999999999999999999", Machine, "too large"),
        ("ua = inf", Machine, "has no unit"),
        ("capacity_curve = [0.1, nan, 1]", Machine, "x.toml:1:24: capacity_curve: nan is not a finite number"),
        (
            "capacity_curve = [0.1, 1]",
            Machine,
            'x.toml:1:18: "capacity_curve" needs an array of 3 values, got 2 values',
        ),
        ('cooler = "watr"', Machine, "x.toml:1:10: cooler: 'watr' is not one of the choices; did you mean \"water\"?"),
        ('has_economiser = "yes"', Machine, "must be true or false, without quotes"),
        ("capacity = 3", Settings, "x.toml:1:12: capacity must be a table"),
        (
            "[capacity]\nsuction_setpoint = 3",
            Settings,
            'x.toml:2:1: unknown key "suction_setpoint"; did you mean "suction_set_point"?',
        ),
        ("[[bands]]\n[[bands]]\n[[bands]]", Settings, "needs an array of 2 values, got 3"),
    ],
)
def test_what_is_refused_and_where(text: str, cls: type, told: str) -> None:
    record, problems = read(text, cls)
    assert record is None
    assert any(told in str(problem) for problem in problems), [str(p) for p in problems]


def test_all_problems_are_reported_together() -> None:
    _, problems = read('vol = 1\nlevel = "140 %"\nflash = "5 m"', Vessel)
    assert [(p.line, p.column) for p in problems] == [(1, 1), (1, 1), (2, 9), (3, 9)]


def test_a_record_that_refuses_itself_is_placed_at_its_table() -> None:
    from dataclasses import dataclass

    @dataclass
    class Physical:
        ratio: float = 1.0

        def __post_init__(self) -> None:
            if self.ratio < 1.0:
                raise ValueError("a ratio is at least one")

    _, problems = read("ratio = 0.5", Physical)
    assert "a ratio is at least one" in str(problems[0])


@given(
    st.floats(50.0, 1500.0), st.floats(0.0, 100.0), st.integers(0, 3_600_000), st.tuples(*[st.floats(0.0, 100.0)] * 3)
)
def test_values_of_a_record_are_what_was_read(
    point: float, zone: float, ramp: int, table: tuple[float, float, float]
) -> None:
    made = Capacity(point, zone, ramp, table, Cooler.WATER)
    values = values_of(made)
    assert values["suction_set_point"] == point
    assert values["fan"] == "water"
    text = (
        f'suction_set_point = "{point!r} kPa"\nneutral_zone = "{zone!r} kPa"\nload_ramp = "{ramp} ms"\n'
        f'breakpoints = ["{table[0]!r} %", "{table[1]!r} %", "{table[2]!r} %"]\nfan = "water"'
    )
    assert read(text, Capacity) == (made, [])
    assert values_of(made, {"fan": "water"}) == {"fan": "water"}


def test_small_helpers() -> None:
    assert dotted(("event", 2, "at")) == "event[2].at"
    assert suggestion("sucton", ["suction", "oil"]) == 'did you mean "suction"?'
    assert suggestion("zzz", ["b", "a"]) == "known: a, b"
