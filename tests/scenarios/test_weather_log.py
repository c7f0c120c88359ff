"""Weather as wet bulb by hour: against pvlib's reader of the same public files, gaps, and the hours of a run."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pvlib
import pytest
from CoolProp.HumidAirProp import HAPropsSI
from hypothesis import given, settings
from hypothesis import strategies as st

from scenarios.errors import InputRefused
from scenarios.weather_log import HOUR_MS, YEAR_HOURS, WeatherLog, day_of_year, day_text, hour_text, weather_log

PUBLIC = Path(pvlib.__file__).parent / "data"  # NREL TMY3, public domain, as pvlib ships them
SITES = ("703165TY.csv", "723170TYA.CSV")
EXCERPT = Path(__file__).resolve().parents[2] / "scenarios/library/weather/upland_town_may_tmy3.csv"

HEAD = '999991,"INVENTED MOOR",XX,1.0,54.000,2.000,300\n'
NAMES = "Date (MM/DD/YYYY),Time (HH:MM),Dry-bulb (C),Dew-point (C),RHum (%),Pressure (mbar)\n"


def made(folder: Path, *rows: str) -> WeatherLog:
    path = folder / "site.csv"
    path.write_text(HEAD + NAMES + "".join(f"{row}\n" for row in rows), encoding="utf-8")
    return weather_log(path)


def row(
    hour: int, dry: float | str = 18.0, dew: float | str = 12.0, humidity: str = "-9900", day: str = "07/14"
) -> str:
    return f"{day}/1990,{hour:02d}:00,{dry},{dew},{humidity},-9900"


@pytest.mark.parametrize("name", SITES)
def test_every_hour_against_pvlib(name: str) -> None:
    """Outside check: pvlib.iotools reads the same file; its time stamps are the hours as given (24:00 is the next day)."""
    frame, station = pvlib.iotools.read_tmy3(PUBLIC / name, map_variables=True, coerce_year=1990)
    log = weather_log(PUBLIC / name)
    assert log.whole_year
    assert log.notes == ()
    assert log.utc_offset_h == station["TZ"]
    assert log.altitude_m == station["altitude"]
    assert len(frame) == YEAR_HOURS
    stamps = frame.index.tz_localize(None)
    for k, (stamp, dry_c) in enumerate(zip(stamps, frame["temp_air"], strict=True)):
        hour = k + 1
        at = stamp.to_pydatetime()
        assert ((at.timetuple().tm_yday - 1) * 24 + at.hour - hour) % YEAR_HOURS == 0
        assert log.dry_bulb_k[hour] == pytest.approx(dry_c + 273.15, abs=1e-9)
    for k in range(0, YEAR_HOURS, 97):  # wet bulb by CoolProp's moist air from pvlib's columns
        dry_k, dew_k = frame["temp_air"].iloc[k] + 273.15, frame["temp_dew"].iloc[k] + 273.15
        wet_k = HAPropsSI("Twb", "T", dry_k, "D", min(dew_k, dry_k), "P", 100.0 * frame["pressure"].iloc[k])
        # a wet and an iced wick both balance just above 0 °C (see test_psychrometrics), where ours is the wet one
        assert log.wet_bulb_k[k + 1] == pytest.approx(wet_k, abs=0.05 if not 272.3 < wet_k < 273.6 else 0.8)


def test_the_excerpt_of_the_library_is_the_public_file() -> None:
    public, excerpt = weather_log(PUBLIC / SITES[1]), weather_log(EXCERPT)
    assert len(excerpt.wet_bulb_k) == 49
    assert all(public.wet_bulb_k[hour] == value for hour, value in excerpt.wet_bulb_k.items())
    assert excerpt.first_missing(24.0 * day_of_year("05-11"), 48.0) is None
    assert not excerpt.whole_year


def test_an_epw_reads_as_pvlib_reads_it(tmp_path: Path) -> None:
    head = (
        "LOCATION,Invented Moor,-,XXX,made up,999991,54.0,2.0,1.0,300.0\nDESIGN CONDITIONS,0\n"
        "TYPICAL/EXTREME PERIODS,0\nGROUND TEMPERATURES,0\nHOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0\nCOMMENTS 1,invented\n"
        "COMMENTS 2,\nDATA PERIODS,1,1,Data,Sunday,1/1,12/31\n"
    )
    rest = ",".join(["0"] * 25)
    rows = "".join(
        f"1990,7,{14 + k // 24},{k % 24 + 1},60,?9?9?9,{15 + k % 24 / 3:.1f},{9 + k % 7 / 2:.1f},60,{97000 + k},{rest}\n"
        for k in range(48)
    )
    path = tmp_path / "moor.epw"
    path.write_text(head + rows, encoding="utf-8")
    frame, place = pvlib.iotools.read_epw(path)
    log = weather_log(path)
    assert (log.utc_offset_h, log.altitude_m) == (place["TZ"], place["altitude"])
    hours = sorted(log.wet_bulb_k)
    assert hours == list(range(24 * day_of_year("07-14") + 1, 24 * day_of_year("07-14") + 49))
    for k, hour in enumerate(hours):
        values = frame.iloc[k]
        assert log.dry_bulb_k[hour] == pytest.approx(values["temp_air"] + 273.15)
        wet_k = HAPropsSI(
            "Twb",
            "T",
            values["temp_air"] + 273.15,
            "D",
            values["temp_dew"] + 273.15,
            "P",
            values["atmospheric_pressure"],
        )
        assert log.wet_bulb_k[hour] == pytest.approx(wet_k, abs=0.05)


def test_days_and_hours_have_their_names() -> None:
    assert [day_text(day) for day in (0, 30, 31, 58, 59, 364)] == ["01-01", "01-31", "02-01", "02-28", "03-01", "12-31"]
    assert all(day_of_year(day_text(day)) == day for day in range(365))
    assert hour_text(YEAR_HOURS) == "12-31 24:00"
    for bad in ("02-29", "13-01", "1-32", "x", "07-14-1990", "", "٠٧-14"):
        with pytest.raises(ValueError, match="no day of a typical year"):
            day_of_year(bad)


def test_knots_join_the_hours_by_straight_lines_and_the_year_goes_round() -> None:
    log = weather_log(PUBLIC / SITES[0])
    knots = log.knots(24.0 * 364 + 22.5, 3.0)
    assert [t for t, _ in knots] == [0, HOUR_MS // 2, 3 * HOUR_MS // 2, 5 * HOUR_MS // 2, 7 * HOUR_MS // 2]
    w = log.wet_bulb_k
    assert [k for _, k in knots] == pytest.approx([0.5 * (w[8758] + w[8759]), w[8759], w[8760], w[1], w[2]])


@given(st.floats(0.0, 8759.9), st.floats(0.0, 60.0))
@settings(max_examples=40, deadline=None)
def test_knots_always_cover_the_run(start_h: float, hours: float) -> None:
    knots = _sand_point().knots(start_h, hours)
    assert knots[0][0] == 0
    assert all(a < b for (a, _), (b, _) in pairwise(knots[1:]))
    assert knots[-1][0] >= hours * HOUR_MS - 1
    assert len(knots) <= hours + 3


_read: dict[str, Any] = {}


def _sand_point() -> WeatherLog:
    if "log" not in _read:
        _read["log"] = weather_log(PUBLIC / SITES[0])
    log: WeatherLog = _read["log"]
    return log


def test_a_day_that_is_not_there_is_refused() -> None:
    with pytest.raises(
        InputRefused, match=r"05-12 24:00.*|weather at 05-13 01:00 is needed.*49 hours from 05-10 24:00"
    ):
        weather_log(EXCERPT).knots(24.0 * day_of_year("05-12") + 12.0, 24.0)


def test_a_few_missing_hours_are_bridged_and_said(tmp_path: Path) -> None:
    log = made(tmp_path, row(1), row(2, "-9900"), row(3, 18.0, "-9900"), row(4, 21.0, 15.0))
    start = 24 * day_of_year("07-14")
    w = log.wet_bulb_k
    assert [w[start + k] for k in (2, 3)] == pytest.approx(
        [w[start + 1] + share * (w[start + 4] - w[start + 1]) for share in (1 / 3, 2 / 3)]
    )
    assert log.notes == (
        "2 hours without a pressure: standard atmosphere at 300 m taken",
        "2 missing hours bridged by straight lines, the first after line 3",
    )


def test_more_missing_hours_are_refused_with_their_line(tmp_path: Path) -> None:
    gap = [row(k, "-9900") for k in range(2, 6)]
    with pytest.raises(InputRefused, match=r"site.csv:4: dry bulb or humidity missing at 07-14 02:00 and 3 more"):
        made(tmp_path, row(1), *gap, row(6))


def test_missing_hours_at_the_end_have_nothing_to_be_bridged_to(tmp_path: Path) -> None:
    with pytest.raises(InputRefused, match=r"site.csv:5: .*readings on both sides"):
        made(tmp_path, row(1), row(2), row(3, "-9900"))


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ([row(1), row(1)], "site.csv:4: 07-14 01:00 stands here and in line 3"),
        ([row(1, 18.0, 22.0), row(2)], "site.csv:3: dew point 22 °C is above the dry bulb of 18 °C"),
        ([row(1, "-9900"), row(2, "-9900")], "no hour has both"),
        (["07/14/1990,01:00,70,69.95,-9900,310"], "site.csv:3: a vapour pressure of"),
        ([row(1, day="04/31"), row(2)], "day 31 of month 4; it has 30"),
    ],
)
def test_hours_that_cannot_be(tmp_path: Path, rows: list[str], words: str) -> None:
    with pytest.raises(InputRefused) as caught:
        made(tmp_path, *rows)
    assert words in str(caught.value)


def test_humidity_stands_in_for_a_missing_dew_point(tmp_path: Path) -> None:
    log = made(tmp_path, row(1, 25.0, "-9900", "50"), row(2, 25.0, "-9900", "100"))
    first, second = (log.wet_bulb_k[24 * day_of_year("07-14") + k] for k in (1, 2))
    standard_pa = 101325.0 * (1.0 - 0.0065 * 300.0 / 288.15) ** 5.25588  # ISO 2533, from memory
    assert first == pytest.approx(HAPropsSI("Twb", "T", 298.15, "R", 0.5, "P", standard_pa), abs=0.05)
    assert second == 298.15


def test_a_leap_day_is_left_out_and_latin_letters_are_read(tmp_path: Path) -> None:
    path = tmp_path / "site.csv"
    text = HEAD.replace("MOOR", "MÖÖR") + NAMES + row(1, day="02/29") + "\n" + row(1, day="03/01") + "\n"
    path.write_bytes(text.encode("latin-1"))
    log = weather_log(path)
    assert list(log.wet_bulb_k) == [24 * day_of_year("03-01") + 1]
    assert log.station == "INVENTED MÖÖR, XX"
    assert log.notes[:2] == ("not UTF-8, read as Latin-1", "1 hours of 29 February left out")


@given(
    place=st.integers(0, 2100),
    cut=st.integers(0, 6),
    put=st.binary(max_size=6),
    line=st.integers(0, 52),
    drop=st.booleans(),
)
@settings(max_examples=300, deadline=None)
def test_damaged_files_are_read_or_refused(place: int, cut: int, put: bytes, line: int, drop: bool) -> None:
    """Whatever a byte is: weather between dew point and dry bulb, or a refusal; never another error."""
    raw = EXCERPT.read_bytes()
    if drop:
        lines = raw.splitlines(keepends=True)
        raw = b"".join(lines[:line] + lines[line + 1 :])
    with TemporaryDirectory() as folder:
        path = Path(folder) / "w.csv"
        path.write_bytes(raw[:place] + put + raw[place + cut :])
        refusal = str(path)
        try:
            log: WeatherLog | None = weather_log(path)
        except InputRefused as error:
            log, refusal = None, str(error)
    assert str(path) in refusal
    assert log is None or log.wet_bulb_k
    assert log is None or all(log.wet_bulb_k[hour] <= log.dry_bulb_k[hour] for hour in log.wet_bulb_k)
