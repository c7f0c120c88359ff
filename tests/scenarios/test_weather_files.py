"""Weather files as text: both formats, and what is refused with its line."""

from __future__ import annotations

from pathlib import Path

import pytest

from scenarios.errors import InputRefused
from scenarios.weather_files import RawWeather, read_weather_text

TMY3_HEAD = '999991,"INVENTED MOOR",XX,1.0,54.000,2.000,300\n'
TMY3_NAMES = "Date (MM/DD/YYYY),Time (HH:MM),Dry-bulb (C),Dew-point (C),RHum (%),Pressure (mbar)\n"
TMY3_ROWS = "07/14/1990,01:00,18.0,12.0,68,980\n07/14/1990,02:00,17.0,12.5,75,980\n"

EPW_HEAD = (
    "LOCATION,Invented Moor,-,XXX,made up,999991,54.0,2.0,1.0,300.0\nDESIGN CONDITIONS,0\n"
    "TYPICAL/EXTREME PERIODS,0\nGROUND TEMPERATURES,0\nHOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0\nCOMMENTS 1,invented\n"
    "COMMENTS 2,\nDATA PERIODS,1,1,Data,Sunday,1/1,12/31\n"
)


def epw_row(hour: int, dry: str = "18.0", dew: str = "12.0", humidity: str = "68", pressure: str = "98000") -> str:
    rest = "," + ",".join(["0"] * 25)
    return f"1990,7,14,{hour},60,?9?9?9,{dry},{dew},{humidity},{pressure}{rest}\n"


def read(text: str) -> RawWeather:
    return read_weather_text(text, Path("site.csv"))


def test_tmy3_by_the_names_of_its_columns() -> None:
    weather = read("# a note above it\n" + TMY3_HEAD + TMY3_NAMES + TMY3_ROWS)
    assert (weather.station, weather.utc_offset_h, weather.altitude_m) == ("INVENTED MOOR, XX", 1.0, 300.0)
    first = weather.hours[0]
    assert (first.line, first.month, first.day, first.hour) == (4, 7, 14, 1)
    assert (first.dry_bulb_c, first.dew_point_c, first.humidity_pct) == (18.0, 12.0, 68.0)
    assert first.pressure_pa == pytest.approx(98_000.0)


def test_epw_by_its_columns() -> None:
    weather = read(EPW_HEAD + epw_row(1) + epw_row(24, dry="99.9", dew="-3.5", humidity="999", pressure="999999"))
    assert (weather.station, weather.utc_offset_h, weather.altitude_m) == ("Invented Moor, XXX", 1.0, 300.0)
    one, other = weather.hours
    assert (one.line, one.hour, one.dry_bulb_c, one.pressure_pa) == (9, 1, 18.0, 98_000.0)
    assert (other.hour, other.dry_bulb_c, other.dew_point_c, other.humidity_pct, other.pressure_pa) == (
        24, None, -3.5, None, None,
    )  # fmt: skip


def test_codes_for_missing_become_none() -> None:
    row = "07/14/1990,03:00,-9900,-9900.0,-9900,-9900\n"
    hour = read(TMY3_HEAD + TMY3_NAMES + row).hours[0]
    assert (hour.dry_bulb_c, hour.dew_point_c, hour.humidity_pct, hour.pressure_pa) == (None,) * 4


def test_a_summer_time_in_the_header_is_told() -> None:
    weather = read(EPW_HEAD.replace("No,0,0,0", "No,4/1,10/31,0") + epw_row(1))
    assert weather.notes == ["a summer time is named in the header; the hours are standard time all the same"]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "holds no weather"),
        ("a\nb\nc\n", "site.csv:2: neither EPW nor TMY3: no column"),
        (TMY3_HEAD + TMY3_NAMES.replace("Dew-point (C)", "Dew (C)") + TMY3_ROWS, 'site.csv:2: neither EPW nor TMY3'),
        ("999991,x,XX\n" + TMY3_NAMES + TMY3_ROWS, "site.csv:1: neither EPW nor TMY3: 3 values"),
        (TMY3_HEAD.replace("1.0,54", "31,54") + TMY3_NAMES + TMY3_ROWS, "zone 31 h is out of range; allowed: -12 to 14"),
        (TMY3_HEAD + TMY3_NAMES + TMY3_ROWS.replace("18.0", "180.0"),
         "site.csv:3: dry bulb 180 °C is out of range; allowed: -70 to 70 °C"),
        (TMY3_HEAD + TMY3_NAMES + TMY3_ROWS.replace("17.0", "warm"), 'site.csv:4: dry bulb: "warm" is no number'),
        (TMY3_HEAD + TMY3_NAMES + TMY3_ROWS.replace("75", "175"),
         "site.csv:4: relative humidity 175 % is out of range; allowed: 0 to 110 %"),
        (TMY3_HEAD + TMY3_NAMES + TMY3_ROWS.replace("980\n", "98\n"),
         "pressure 98 mbar is out of range; allowed: 310 to 1200 mbar"),
        (TMY3_HEAD + TMY3_NAMES + TMY3_ROWS.replace("02:00", "02:30"), "is no hour"),
        (TMY3_HEAD + TMY3_NAMES + TMY3_ROWS.replace("02:00", "25:00"), 'hour: "25"; allowed: 1 to 24'),
        (TMY3_HEAD + TMY3_NAMES + "07/14/1990,01:00,18.0\n", "3 values where at least 6 are expected"),
        (EPW_HEAD.replace("COMMENTS 1", "REMARKS") + epw_row(1),
         'site.csv:6: EPW: "REMARKS,invented" where the header line COMMENTS 1'),
        (EPW_HEAD.replace("DATA PERIODS,1,1", "DATA PERIODS,1,4") + epw_row(1), "one period, one record an hour"),
        (EPW_HEAD, "a header and no hours"),
        (EPW_HEAD + epw_row(1, dew="101"), "site.csv:9: dew point 101 °C is out of range"),
        (EPW_HEAD + "1990,7,14,1,60\n", "site.csv:9: 5 values where at least 10 are expected"),
        (EPW_HEAD.replace(",1.0,300.0", "") + epw_row(1), "LOCATION has 8 values; ten are expected"),
    ],
)  # fmt: skip
def test_what_is_refused_with_line_value_and_limit(text: str, words: str) -> None:
    with pytest.raises(InputRefused) as caught:
        read(text)
    assert words in str(caught.value)
