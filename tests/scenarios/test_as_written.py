"""Numbers in the unit that a person would write."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.registry import SHIPPED
from plant_model.parameters import PlantParameters
from scenarios.as_written import as_written, beside, range_as_written, writers_unit
from scenarios.cross_checks import every_field
from scenarios.quantities import parse_quantity

CASES = [
    ((263.15, "K", "absolute", ""), "-10 °C"),
    ((5.0, "K", "difference", ""), "5 K"),
    ((1_060_000.0, "Pa", "difference", ""), "1060 kPa"),
    ((60_000.0, "W/K", "", ""), "60 kW/K"),
    ((500_000.0, "J/K", "", ""), "500 kJ/K"),
    ((4e6, "J/K", "", ""), "4 MJ/K"),
    ((0.4, "1", "", "level_set_frac"), "40 %"),
    ((1.6, "1", "", "centre_distance_ratio"), "1.6"),
    ((49.2, "1/s", "", "nominal_speed_1_s"), "2952 1/min"),
    ((0.26, "m³/s", "", ""), "936 m³/h"),
    ((0.036, "m", "", ""), "36 mm"),
    ((2.0, "m**2", "", ""), "2 m²"),
    ((14_400_000, "ms", "", ""), "4 h"),
    ((90_000, "ms", "", ""), "90 s"),
    ((129_600_000, "ms", "", ""), "36 h"),
    ((1_500, "ms", "", ""), "1.5 s"),
    ((250, "ms", "", ""), "250 ms"),
    ((0, "ms", "", ""), "0 s"),
    ((-60_000, "ms", "", ""), "-1 min"),
    ((0.00001, "m**2", "", ""), "0.00001 m²"),
]


@pytest.mark.parametrize(("given_value", "words"), CASES)
def test_the_unit_of_a_file(given_value: tuple[float, str, str, str], words: str) -> None:
    assert as_written(*given_value) == words


@given(
    st.floats(-1e9, 1e9, allow_subnormal=False).filter(lambda v: v == 0.0 or abs(v) > 1e-6),
    st.sampled_from(["Pa", "W", "W/K", "J/K", "J/kg/K", "m³/s", "rad", "m", "kg/s", "N*m", "1/s", "ms", "kPa", "A"]),
)
def test_what_is_shown_is_read_back(value: float, unit: str) -> None:
    """To six significant digits, which is what is shown."""
    name = "speed" if unit == "1/s" else ""
    of = "difference" if unit in ("Pa", "kPa") else ""
    assert parse_quantity(as_written(value, unit, of, name), unit, of) == pytest.approx(value, rel=6e-6, abs=1e-9)


@pytest.mark.parametrize("cls", [PlantParameters, *(c.settings_type for c in SHIPPED.values())])
def test_every_limit_that_is_shown_may_be_written(cls: type) -> None:
    """A limit rounded outward would be refused when it is copied into a file."""
    for path, rule in every_field(cls):
        if not rule.is_number or rule.low is None or rule.high is None:
            continue
        shown = range_as_written(rule.low, rule.high, rule.unit, rule.of, rule.name)
        for text, limit in zip(shown.split(" to "), (rule.low, rule.high), strict=True):
            read = parse_quantity(text, rule.unit, rule.of)
            assert read == pytest.approx(limit, rel=6e-6, abs=1e-9), (path, shown)
            slack = 1e-9 * max(1.0, abs(limit))
            assert rule.low - slack <= read <= rule.high + slack, (path, shown)


def test_the_writers_unit() -> None:
    assert writers_unit("150 %", "1") == "%"
    assert writers_unit("4 h", "ms") == "h"
    assert writers_unit("4 hours", "ms") == "h"
    assert writers_unit(1.5, "1") == ""
    assert writers_unit("30 bar(g)", "kPa") is None
    assert writers_unit("-10 °C sat", "kPa") is None
    assert writers_unit("5 kW", "kPa") is None
    assert writers_unit("nonsense", "kPa") is None
    assert beside(3_600_000, "ms", "h") == "1 h"
    assert beside(1_000, "ms", "h") == "1 s"  # 0.000277778 h helps nobody
    assert beside(0, "ms", "h") == "0 h"
