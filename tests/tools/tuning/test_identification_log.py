"""The same test in every dress that loggers give it, and what is refused."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from scenarios.errors import InputRefused
from scenarios.plant_file import saturation_from_library
from scenarios.quantities import Site
from tests.tools.tuning.logged_tests import synthetic, write_log
from tools.tuning.identification_log import read_logged_test

SITE = Site(101325.0, lambda t_k: saturation_from_library("R717", t_k), "R717")
T, U, Y = synthetic(noise_kpa=0.2)
PLAIN = "time [s];position [%];suction [kPa abs]"


def _write(path: Path, header: str, rows: list[str]) -> Path:
    path.write_text("\n".join([header, *rows]), encoding="utf-8")
    return path


def _rows(form: str, y: np.ndarray = Y, scale_u: float = 1.0) -> list[str]:
    return [form.format(t=t, u=u * scale_u, y=p) for t, u, p in zip(T, U, y, strict=True)]


@pytest.mark.parametrize(
    ("header", "form"),
    [
        (PLAIN, "{t:.3f};{u:.4f};{y:.4f}"),
        ("Time (s)\tCapacity slide position (%)\tSuction pressure (kPa)", "{t:.3f}\t{u:.4f}\t{y:.4f}"),
        ("time_s,capacity_travel_measured_pct,suction_pressure_kpa_abs", "{t:.3f},{u:.4f},{y:.4f}"),
        ("time|position, %|suction pressure, kPa abs", "{t:.3f}|{u:.4f}|{y:.4f}"),
        ("time_s position_pct suction_kpa_abs", "{t:.3f}   {u:.4f}  {y:.4f}"),
    ],
)
def test_delimiters_and_headers(tmp_path: Path, header: str, form: str) -> None:
    log = read_logged_test(_write(tmp_path / "a.csv", header, _rows(form)), SITE)
    assert np.allclose(log.time_s, T, atol=1e-3)
    assert np.allclose(log.position_pct, U, atol=1e-3)
    assert np.allclose(log.pressure_kpa, Y, atol=1e-3)
    assert log.step_s == pytest.approx(1.0)


def test_decimal_comma_units_line_and_comments(tmp_path: Path) -> None:
    rows = ["s;%;kPa abs", "# logger 3", *(r.replace(".", ",") for r in _rows("{t:.3f};{u:.4f};{y:.4f}"))]
    log = read_logged_test(_write(tmp_path / "a.csv", "Time;Capacity position;Suction pressure", rows), SITE)
    assert np.allclose(log.pressure_kpa, Y, atol=1e-3)


def test_comma_for_both_is_refused(tmp_path: Path) -> None:
    rows = [r.replace(".", ",").replace(";", ",") for r in _rows("{t:.3f};{u:.4f};{y:.4f}")]
    with pytest.raises(InputRefused, match="separate by semicolon"):
        read_logged_test(_write(tmp_path / "a.csv", "time [s],position [%],suction [kPa abs]", rows), SITE)


@pytest.mark.parametrize(
    ("unit", "of_kpa"),
    [
        ("bar(g)", lambda p: (p - 101.325) / 100.0),
        ("bar a", lambda p: p / 100.0),
        ("psig", lambda p: (p - 101.325) / 6.894757293168361),  # psi by definition of pound and inch
        ("kPa(g)", lambda p: p - 101.325),
    ],
)
def test_pressure_units(tmp_path: Path, unit: str, of_kpa: object) -> None:
    rows = _rows("{t:.1f};{u:.4f};{y:.7f}", np.asarray(of_kpa(Y)))  # type: ignore[operator]
    log = read_logged_test(_write(tmp_path / "a.csv", f"time [s];position [%];suction [{unit}]", rows), SITE)
    assert np.allclose(log.pressure_kpa, Y, atol=1e-3)


def test_saturation_temperatures_of_a_refrigerant(tmp_path: Path) -> None:
    """Against CoolProp's own curve in the other direction."""
    from CoolProp.CoolProp import PropsSI

    t_c = np.array([PropsSI("T", "P", 1e3 * p, "Q", 1.0, "Ammonia") - 273.15 for p in Y])
    rows = _rows("{t:.1f};{u:.4f};{y:.7f}", t_c)
    log = read_logged_test(_write(tmp_path / "a.csv", "time [s];position [%];suction [°C sat]", rows), SITE)
    assert np.allclose(log.pressure_kpa, Y, rtol=1e-5)
    with pytest.raises(InputRefused, match="no refrigerant"):
        read_logged_test(tmp_path / "a.csv", Site(101325.0))


def test_gauge_needs_the_barometer(tmp_path: Path) -> None:
    path = _write(
        tmp_path / "a.csv", "time [s];position [%];suction [bar(g)]", _rows("{t:.1f};{u:.4f};{y:.4f}", Y / 100 - 1)
    )
    with pytest.raises(InputRefused, match="barometric"):
        read_logged_test(path, Site())


@pytest.mark.parametrize(
    "stamp",
    [
        lambda t: f"{int(t) // 3600 % 24:02d}:{int(t) // 60 % 60:02d}:{int(t) % 60:02d}",
        lambda t: f"07.03.2031 {int(t) // 3600 % 24:02d}:{int(t) // 60 % 60:02d}:{int(t) % 60:02d}",
        lambda t: f"2031-03-07T{int(t) // 3600 % 24:02d}:{int(t) // 60 % 60:02d}:{int(t) % 60:02d}Z",
    ],
)
def test_clocks_and_dates(tmp_path: Path, stamp: object) -> None:
    start = 3600.0 * 23 + 3550.0  # a clock without a date goes past midnight
    dated = "2031" in stamp(0.0)  # type: ignore[operator]
    times = [stamp(t + (0.0 if dated else start)) for t in T]  # type: ignore[operator]
    rows = [f"{s};{u:.4f};{p:.4f}" for s, u, p in zip(times, U, Y, strict=True)]
    log = read_logged_test(_write(tmp_path / "a.csv", PLAIN.replace(" [s]", ""), rows), SITE)
    assert np.allclose(log.time_s, T)


def test_drives_and_demand(tmp_path: Path) -> None:
    rows = [
        f"{t:.1f};{u:.3f};{p:.3f};{'on' if 5 < t < 9 else 'off'};0;{u:.1f}" for t, u, p in zip(T, U, Y, strict=True)
    ]
    header = PLAIN + ";Load drive;Unload drive;Capacity demand [%]"
    log = read_logged_test(_write(tmp_path / "a.csv", header, rows), SITE)
    assert log.load_on is not None
    assert log.unload_on is not None
    assert log.demand_pct is not None
    assert list(np.flatnonzero(log.load_on)) == [6, 7, 8]
    assert not log.unload_on.any()


def test_a_share_of_one_is_known_by_its_unit_and_else_refused(tmp_path: Path) -> None:
    rows = _rows("{t:.1f};{u:.6f};{y:.3f}", scale_u=0.01)
    log = read_logged_test(_write(tmp_path / "a.csv", PLAIN.replace("[%]", "[1]"), rows), SITE)
    assert np.allclose(log.position_pct, U, atol=1e-3)
    with pytest.raises(InputRefused, match="wrong unit"):
        read_logged_test(_write(tmp_path / "b.csv", PLAIN, rows), SITE)


def test_bar_labelled_kpa_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputRefused, match=r"wrong unit\? suction pressure of 2.9"):
        read_logged_test(write_log(tmp_path / "a.csv", T, U, Y / 100.0), SITE)


def test_a_gap_is_refused_with_its_line(tmp_path: Path) -> None:
    keep = (T < 100.0) | (T > 130.0)
    with pytest.raises(InputRefused, match="1 gaps, the longest 32 s") as caught:
        read_logged_test(write_log(tmp_path / "a.csv", T[keep], U[keep], Y[keep]), SITE)
    assert caught.value.problems[0].line == 102  # header and 100 rows before it


def test_bad_rows_are_left_out_counted_and_limited(tmp_path: Path) -> None:
    rows = _rows("{t:.1f};{u:.3f};{y:.3f}")
    rows[50] = "50.0;;290"
    rows[60] = rows[59]
    log = read_logged_test(_write(tmp_path / "a.csv", PLAIN, rows), SITE)
    assert len(log.time_s) == len(T) - 2
    assert any("line 52" in note for note in log.notes)
    rows[100:300] = ["100;fault;fault"] * 200
    with pytest.raises(InputRefused, match="rows are unusable"):
        read_logged_test(_write(tmp_path / "b.csv", PLAIN, rows), SITE)


@pytest.mark.parametrize(
    ("header", "words"),
    [
        ("time [s];position [%];suction", "has no unit"),
        ("time [s];demand [%];suction [kPa]", "no column for the capacity position"),
        ("time [s];position [%];position [%]", "cannot tell which column is the position|suction"),
        ("time [kg];position [%];suction [kPa]", "no unit of time"),
        ("time [s];position [%];suction [furlong]", "is a length, but a pressure"),
        ("1;2;3", "no header"),
    ],
)
def test_headers_that_do_not_tell_are_refused(tmp_path: Path, header: str, words: str) -> None:
    with pytest.raises(InputRefused, match=words):
        read_logged_test(_write(tmp_path / "a.csv", header, _rows("{t:.1f};{u:.3f};{y:.3f}")), SITE)


def test_columns_can_be_named(tmp_path: Path) -> None:
    path = _write(tmp_path / "a.csv", "A1 [s];slot B [%];slot C [kPa abs]", _rows("{t:.1f};{u:.3f};{y:.3f}"))
    log = read_logged_test(path, SITE, {"time": "A1", "position": "slot B", "pressure": "slot C"})
    assert np.allclose(log.pressure_kpa, Y, atol=1e-2)
    with pytest.raises(InputRefused, match='no column "slot D"'):
        read_logged_test(path, SITE, {"time": "A1", "position": "slot D", "pressure": "slot C"})


@pytest.mark.parametrize("text", ["", "time [s];position [%];suction [kPa]", "\x00\x01\x02;;\n\n\n;;;", "a\nb\nc"])
def test_what_is_no_log_is_refused(tmp_path: Path, text: str) -> None:
    path = tmp_path / "a.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputRefused):
        read_logged_test(path, SITE)
