"""Quantities as people write them.  Rows of NIST SP 811 are quoted from memory."""

import math
import subprocess
import sys

import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from scenarios.errors import InputRefused
from scenarios.quantities import Site, example_of, format_quantity, parse_quantity, standard_atmosphere_pa

SITE = Site(101325.0, lambda t_k: float(PropsSI("P", "T", t_k, "Q", 1, "Ammonia")), "Ammonia")
PSI_KPA = 6.894757293168361  # NIST SP 811, appendix B.8: 1 psi = 6.894 757 kPa; further digits from its definition


@pytest.mark.parametrize(
    ("text", "unit", "of", "value"),
    [
        ("290 kPa", "kPa", "absolute", 290.0),
        ("22 psig", "kPa", "absolute", 22 * PSI_KPA + 101.325),
        ("22 psia", "kPa", "absolute", 22 * PSI_KPA),
        ("1.9 bar(g)", "kPa", "absolute", 291.325),
        ("1.9 barg", "kPa", "absolute", 291.325),
        ("1.9 bar g", "kPa", "absolute", 291.325),
        ("2.9 bar(a)", "Pa", "absolute", 290000.0),
        ("2.9 bara", "Pa", "absolute", 290000.0),
        ("2.9 bar abs", "Pa", "absolute", 290000.0),
        ("190 kPa(g)", "kPa", "absolute", 291.325),
        ("190 kPa gauge", "kPa", "absolute", 291.325),
        ("-20 kPag", "kPa", "absolute", 81.325),
        ("30 inHg", "kPa", "absolute", 101.59167),  # 1 inHg = 3.386 389 kPa (NIST SP 811, B.8)
        ("0.15 bar", "kPa", "difference", 15.0),
        ("5 psi", "kPa", "difference", 5 * PSI_KPA),
        ("+120 kW", "W", "", 120000.0),
        ("120kW", "kW", "", 120.0),
        ("45 s", "ms", "", 45000.0),
        ("1.5 h", "ms", "", 5400000.0),
        ("2 min", "s", "", 120.0),
        ("12 %", "%", "", 12.0),
        ("12 %", "1", "", 0.12),
        ("0.8", "1", "", 0.8),
        ("0.8", "", "", 0.8),
        ("50 K", "K", "difference", 50.0),
        ("-10 °C", "K", "absolute", 263.15),
        ("14 °F", "°C", "absolute", -10.0),
        ("263.15 K", "°C", "absolute", -10.0),
        ("−10 deg C", "°C", "absolute", -10.0),
        ("3 m3", "m³", "", 3.0),
        ("5.2 L", "m³", "", 0.0052),
        ("62.5 kW/K", "W/K", "", 62500.0),
        ("1e3 J/K", "kJ/K", "", 1.0),
        ("100 TR", "kW", "", 351.6852842),  # ASHRAE/NIST: 1 ton of refrigeration = 3.516 853 kW (SP 811, B.8)
        ("36 kg/h", "kg/s", "", 0.01),
    ],
)
def test_what_people_write(text: str, unit: str, of: str, value: float) -> None:
    assert parse_quantity(text, unit, of, SITE) == pytest.approx(value, rel=1e-6, abs=1e-9)


def test_saturation_temperature_as_a_pressure() -> None:
    # published_checks.md: ammonia at -10 °C has 290.6 kPa abs (NIST reference equation through CoolProp)
    assert parse_quantity("-10 °C sat", "kPa", "absolute", SITE) == pytest.approx(290.6, rel=2e-3)
    assert parse_quantity("14 °F (sat)", "Pa", "absolute", SITE) == pytest.approx(290600.0, rel=2e-3)


@pytest.mark.parametrize(
    ("text", "unit", "of", "words"),
    [
        ("290", "kPa", "absolute", "has no unit; a pressure is expected"),
        ("290 kW", "kPa", "absolute", "is a power, but a pressure is expected"),
        ("22 psi", "kPa", "absolute", 'does not say gauge or absolute; write "22 psig" or "22 psia"'),
        ("1.9 bar", "kPa", "absolute", "does not say gauge or absolute"),
        ("22 psig", "kPa", "difference", 'gauge pressure, but a pressure difference is expected; write "22 psi"'),
        ("-10 °C sat", "kPa", "difference", "a pressure difference is expected"),
        ("-10 °C sat", "°C", "absolute", "says sat"),
        ("300 °C sat", "kPa", "absolute", "outside the saturation range of Ammonia"),
        ("5 °C", "K", "difference", 'a temperature difference is expected; write "5 K"'),
        ("9 °F", "K", "difference", 'write "5 K"'),
        ("-300 °C", "°C", "absolute", "below absolute zero"),
        ("1,9 bar(g)", "kPa", "absolute", 'write "1.9 bar(g)" with a decimal point'),
        ("1,350.5 kPa", "kPa", "absolute", "comma"),
        ("inf kPa", "kPa", "absolute", "not a finite number"),
        ("nan", "1", "", "not a finite number"),
        ("1e999 s", "ms", "", "not a finite"),
        ("1e308 h", "ms", "", "too large"),
        ("12", "%", "", "a share of one, or per cent"),
        ("45 floozles", "ms", "", "has a unit that is not known here"),
        ("fast", "ms", "", "is not a quantity; a time is expected"),
        ("", "ms", "", "is not a quantity"),
        ("10 % of what", "%", "", "not known here"),
        ("-30 psig", "kPa", "absolute", "is below vacuum"),
        ("-1 kPa", "kPa", "absolute", "is below vacuum"),
        ("45 kg", "kPa", "absolute", "is a mass, but a pressure is expected"),
        ("45 m", "ms", "", "is a length, but a time is expected"),
    ],
)
def test_what_is_refused_and_why(text: str, unit: str, of: str, words: str) -> None:
    with pytest.raises(InputRefused) as caught:
        parse_quantity(text, unit, of, SITE)
    message = str(caught.value)
    assert words in message
    assert caught.value.problems[0].value == text
    assert "write" in message  # a way out


def test_gauge_needs_the_barometric_pressure() -> None:
    with pytest.raises(InputRefused, match=r"barometric_pressure or altitude in \[site\]"):
        parse_quantity("22 psig", "kPa", "absolute", Site())


def test_sat_needs_a_refrigerant() -> None:
    with pytest.raises(InputRefused, match="no refrigerant is known"):
        parse_quantity("-10 °C sat", "kPa", "absolute", Site(101325.0))


@pytest.mark.parametrize("altitude_m", [-400.0, 0.0, 250.0, 1000.0, 2500.0, 5000.0, 11000.0])
def test_standard_atmosphere_is_hydrostatic(altitude_m: float) -> None:
    # the law it stands for, integrated by scipy: dp/dz = -g p / (R T(z)), T = 288.15 K - 6.5 K/km (ISO 2533)
    integral = quad(lambda z: 9.80665 / (287.05287 * (288.15 - 0.0065 * z)), 0.0, altitude_m, epsrel=1e-12)[0]
    assert standard_atmosphere_pa(altitude_m) == pytest.approx(101325.0 * math.exp(-integral), rel=1e-9)


@pytest.mark.parametrize(("altitude_m", "pressure_pa"), [(1000.0, 89875.0), (5000.0, 54020.0)])
def test_standard_atmosphere_table(altitude_m: float, pressure_pa: float) -> None:
    # rows of the ISO 2533 table, quoted from memory
    assert standard_atmosphere_pa(altitude_m) == pytest.approx(pressure_pa, rel=1e-4)


@pytest.mark.parametrize("altitude_m", [-1001.0, 11001.0, math.nan])
def test_standard_atmosphere_ends(altitude_m: float) -> None:
    with pytest.raises(ValueError, match="outside"):
        standard_atmosphere_pa(altitude_m)


UNITS = [("kPa", "absolute"), ("Pa", "difference"), ("°C", "absolute"), ("K", "difference"), ("%", ""), ("s", "")]
UNITS += [("kW", ""), ("W/K", ""), ("1", ""), ("m³", ""), ("kg/s", ""), ("A", ""), ("%/kPa", "")]


@given(st.floats(allow_nan=False, allow_infinity=False), st.sampled_from(UNITS))
def test_written_quantities_read_back_exactly(value: float, unit_of: tuple[str, str]) -> None:
    unit, of = unit_of
    if of == "absolute":
        value = max(value, -273.0 if unit == "°C" else 0.0)
    assert parse_quantity(format_quantity(value, unit), unit, of) == value


@given(st.integers(-(2**53), 2**53))
def test_written_milliseconds_read_back_exactly(value: int) -> None:
    assert parse_quantity(format_quantity(value, "ms"), "ms") == value


@given(st.floats(20.0, 5000.0), st.floats(20e3, 110e3))
def test_gauge_and_absolute_differ_by_the_air(gauge_kpa: float, air_pa: float) -> None:
    read = parse_quantity(f"{gauge_kpa!r} kPa(g)", "Pa", "absolute", Site(air_pa))
    assert read == pytest.approx(gauge_kpa * 1000.0 + air_pa, rel=1e-12)


@given(st.text(max_size=30), st.sampled_from(UNITS))
def test_any_text_is_a_number_or_refused(text: str, unit_of: tuple[str, str]) -> None:
    try:
        value = parse_quantity(text, *unit_of, SITE)
    except InputRefused:
        return
    assert math.isfinite(value)


@pytest.mark.parametrize(("unit", "of"), UNITS)
def test_every_example_in_a_message_is_itself_accepted(unit: str, of: str) -> None:
    for part in example_of(unit, of).replace(" or ", ", ").split(", "):
        assert math.isfinite(parse_quantity(part.strip('"'), unit, of, SITE))


def test_common_units_need_no_unit_library() -> None:
    code = (
        "import sys; from scenarios.quantities import parse_quantity, Site;"
        "parse_quantity('1.9 bar(g)', 'kPa', 'absolute', Site(1e5)); parse_quantity('62.5 kW/K', 'W/K');"
        "sys.exit('pint' in sys.modules or 'CoolProp' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
