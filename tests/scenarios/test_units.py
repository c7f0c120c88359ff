"""The table of units against pint (an independent library with its own definitions).

Rows of NIST SP 811 are quoted from memory.
"""

import pint
import pytest

from scenarios.errors import InputRefused
from scenarios.units import _UNITS, find_unit, pint_spelling, tidy

REGISTRY = pint.UnitRegistry()


@pytest.mark.parametrize("name", [name for name in _UNITS if name not in ("", "°C", "°F", "rpm", "TR")])
def test_every_row_agrees_with_pint(name: str) -> None:
    theirs = REGISTRY.Quantity(1.0, REGISTRY.parse_units(pint_spelling(name)))
    one_si = {
        unit.dimension: other for other, unit in reversed(_UNITS.items()) if unit.factor == 1.0 and not unit.offset
    }
    si = theirs.to(REGISTRY.parse_units(pint_spelling(one_si[find_unit(name).dimension] or "dimensionless")))
    assert find_unit(name).factor == pytest.approx(si.magnitude, rel=1e-12)


@pytest.mark.parametrize("name", ["°C", "°F"])
@pytest.mark.parametrize("number", [-40.0, 0.0, 35.0])
def test_temperature_scales_agree_with_pint(name: str, number: float) -> None:
    theirs = REGISTRY.Quantity(number, "degC" if name == "°C" else "degF").to("K").magnitude
    unit = find_unit(name)
    assert (number + unit.offset) * unit.factor == pytest.approx(theirs, rel=1e-12)


@pytest.mark.parametrize(
    ("name", "kind", "factor"),
    [
        ("inHg", "pressure", 3386.389),  # NIST SP 811, B.8: inch of mercury, conventional, 3.386 389 E+03 Pa
        ("Btu/h", "power", 0.2930711),  # NIST SP 811, B.8: Btu(IT) per hour
        ("kgf/cm²", "pressure", 98066.5),  # NIST SP 811, B.8
        ("kW/(m**2*K)", "", 1000.0),  # prefix only
        ("gallon", "volume", 3.785412e-3),  # NIST SP 811, B.8: US gallon
    ],
)
def test_a_unit_outside_the_table_comes_from_pint(name: str, kind: str, factor: float) -> None:
    found = find_unit(name)
    assert found.factor == pytest.approx(factor, rel=1e-5)
    assert not kind or found.dimension == kind


def test_two_units_that_the_trade_counts_otherwise() -> None:
    assert find_unit("rpm").factor == find_unit("1/min").factor  # turns; pint counts radians
    # NIST SP 811, B.8: ton of refrigeration (12 000 Btu(IT)/h) 3.516 853 E+03 W; pint rounds the Btu
    assert find_unit("TR").factor == pytest.approx(3516.853, rel=1e-7)


def test_power_units_from_pint_convert() -> None:
    # 1 mechanical horsepower = 550 ft·lbf/s = 745.699872 W, by definition of foot, pound and standard gravity
    assert find_unit("horsepower").factor == pytest.approx(550 * 0.3048 * 0.45359237 * 9.80665, rel=1e-9)
    assert find_unit("horsepower").dimension == "power"


@pytest.mark.parametrize(
    ("written", "usual"), [("deg C", "°C"), ("ºC", "°C"), ("℃", "°C"), ("m3", "m³"), ("kg/m**3", "kg/m³"), ("sec", "s")]
)
def test_other_spellings(written: str, usual: str) -> None:
    assert tidy(written) == usual
    assert find_unit(written) == find_unit(usual)


@pytest.mark.parametrize("name", ["floozles", "m**9**9", "K^99999999", "m" * 200, "__import__('os')", "kW/", "(", "%%"])
def test_what_is_no_unit_is_refused(name: str) -> None:
    with pytest.raises(InputRefused, match="is no unit known here"):
        find_unit(name)
