"""The matrix says what the sheet says, on every shipped controller, though it never looks at the sheet for it."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest

from controller.process_image import StartRefused, Trip
from controller.protection_settings import TripClass
from controller.registry import SHIPPED
from scenarios.chosen_controller import choose
from scenarios.isolated import Heart
from scenarios.settings_sheet import write_sheet
from tools.verification.cause_effect import Matrix, Row, differences, in_child, read_matrix
from tools.verification.cause_list import all_causes
from tools.verification.causes import GROUPS
from tools.verification.matrix_page import CAUTION, as_csv, as_html, differences_csv, write_matrix
from tools.verification.observed import COLUMNS

FOREIGN = Path(__file__).resolve().parents[2] / "scenarios" / "foreign"
NAMES = ("three_position", "scheduled_pi")  # the third has the same frame; see the slow test


@pytest.fixture(scope="module")
def made() -> dict[str, Matrix]:
    """The matrix of each shipped controller with its default settings, made in this process."""
    return {name: read_matrix(in_child(choose(name, None), Heart()), name, "") for name in NAMES}


def cells(matrix: Matrix, key: str) -> dict[str, str]:
    (row,) = [row for row in matrix.rows if row.key == key]
    return {name: text.replace("\N{NO-BREAK SPACE}", " ") for name, text in row.cells.items()}


def number(text: str) -> float:
    return float(text.split()[0])


@pytest.mark.parametrize("name", NAMES)
def test_every_trip_limit_is_that_of_the_settings(made: dict[str, Matrix], name: str) -> None:
    """Within one count of the input card, 1/16,000 of the span, on the side that is reached."""
    trip = SHIPPED[name].settings_type().common.protection
    for key, limit, span in (
        ("high discharge pressure", trip.high_discharge_pressure_trip_kpa_abs, 2500.0),
        ("low suction pressure", trip.low_suction_pressure_trip_kpa_abs, 1000.0),
        ("high discharge temperature", trip.high_discharge_temperature_trip_c, 170.0),
        ("high oil temperature", trip.high_oil_temperature_trip_c, 140.0),
        ("motor overload", 3.72 * trip.motor_overload_trip_pct, 1000.0),
    ):
        found = cells(made[name], f"trip.{key}")["limit"]
        assert abs(number(found) - limit) <= span / 16_000 + 0.05, (key, found)  # and the printed digit
    for key, limit in (
        ("low discharge superheat", f"superheat {trip.low_discharge_superheat_trip_k:.1f} K"),
        ("high filter differential", f"{trip.high_filter_differential_trip_kpa:.1f} kPa over the filter"),
    ):
        assert limit in cells(made[name], f"trip.{key}")["limit"]


@pytest.mark.parametrize("name", NAMES)
def test_every_immediate_trip_has_its_delay_to_the_scan(made: dict[str, Matrix], name: str) -> None:
    trip = SHIPPED[name].settings_type().common.protection
    for cause in (
        "high_discharge_pressure", "low_suction_pressure", "high_discharge_temperature", "low_discharge_superheat",
        "low_oil_differential", "vessel_high_level", "motor_overload",
    ):  # fmt: skip
        assert getattr(trip.classes, cause) == TripClass.IMMEDIATE_STOP
        found = cells(made[name], f"trip.{cause.replace('_', ' ')}")
        assert found["motor"] == f"off, {getattr(trip, f'{cause}_delay_ms') / 1000:.1f} s"
        assert found["class"] == "stops at once"
        assert found["trip"].startswith(cause.replace("_", " "))
        assert found["latch"] == "latched"


@pytest.mark.parametrize("name", NAMES)
def test_a_controlled_stop_unloads_first(made: dict[str, Matrix], name: str) -> None:
    limit_pct = SHIPPED[name].settings_type().common.sequence.start_limit_pct
    for cause in ("high filter differential", "high oil temperature", "capacity halves"):
        found = cells(made[name], f"trip.{cause}")
        assert found["class"] == "unloads, then stops"
        assert number(found["at_stop"]) <= limit_pct


@pytest.mark.parametrize("name", NAMES)
def test_inhibits_hold_and_unload_at_their_limits(made: dict[str, Matrix], name: str) -> None:
    hold = SHIPPED[name].settings_type().common.inhibit
    for key, limit, does in (
        ("current hold", 3.72 * hold.current_hold_pct, "load inhibit"),
        ("current unload", 3.72 * hold.current_unload_pct, "forced unload"),
        ("discharge pressure hold", hold.discharge_pressure_hold_kpa_abs, "load inhibit"),
        ("discharge pressure unload", hold.discharge_pressure_unload_kpa_abs, "forced unload"),
        ("suction hold", hold.suction_hold_kpa_abs, "load inhibit"),
        ("suction unload", hold.suction_unload_kpa_abs, "forced unload"),
    ):
        found = cells(made[name], f"inhibit.{key}")
        assert abs(number(found["limit"]) - limit) <= 0.25
        assert found["class"] == does
        assert "loads from" not in found.get("capacity", "").replace("unloads from", "")


@pytest.mark.parametrize("name", NAMES)
def test_permissives_refuse_with_their_reason_and_let_go(made: dict[str, Matrix], name: str) -> None:
    for key, reason in {
        "safety chain": StartRefused.SAFETY_CHAIN_OPEN, "valves": StartRefused.VALVES_CLOSED,
        "oil cold": StartRefused.OIL_COLD, "oil level": StartRefused.OIL_LEVEL_LOW,
        "vessel level": StartRefused.VESSEL_LEVEL_HIGH, "suction low": StartRefused.SUCTION_BELOW_RESTART,
        "suction pressure.open circuit": StartRefused.SIGNAL_LOST,
    }.items():  # fmt: skip
        found = cells(made[name], f"permissive.{key}")
        assert found["refused"] == reason.name.replace("_", " ").lower()
        assert "motor" not in found
        assert found["latch"].startswith("starts after")
    assert cells(made[name], "permissive.nothing")["motor"] == "on, 30.1 s"  # a scan to see it, 30 s of oil


@pytest.mark.parametrize("name", NAMES)
def test_it_waits_between_starts(made: dict[str, Matrix], name: str) -> None:
    found = cells(made[name], "stop.again")["motor"].removeprefix("starts at ").removesuffix(" min")
    starts = [float(text) for text in found.split(", ")]
    waits = [b - a for a, b in pairwise(starts)]
    assert len(waits) >= 2
    assert all(wait >= SHIPPED[name].settings_type().common.sequence.start_to_start_ms / 60_000 for wait in waits)


def test_every_trip_of_the_process_image_is_seen(made: dict[str, Matrix]) -> None:
    """But for what is the same latch by another way, none is missing: a new Trip must get a cause."""
    seen = {text.split(",")[0] for row in made["scheduled_pi"].rows for text in [row.cells.get("trip", "")] if text}
    missing = {trip.name.replace("_", " ").lower() for trip in Trip if trip} - seen
    assert missing == {"unload timeout"}  # an alarm by its class; it shows in the alarm column
    assert any("unload timeout" in row.cells.get("alarm", "") for row in made["scheduled_pi"].rows)


def test_laws_differ_in_slides_and_times_but_not_in_protection(made: dict[str, Matrix]) -> None:
    found = differences(made["three_position"], made["scheduled_pi"])
    assert {d.column for d in found} <= {"alarm", "capacity", "volume_ratio", "motor", "at_stop", "trip", "class"}
    assert not [d for d in found if d.column in ("limit", "milliamp")]


def test_another_sheet_is_shown_cell_by_cell(tmp_path: Path, made: dict[str, Matrix]) -> None:
    settings = SHIPPED["scheduled_pi"].settings_type()
    protection = replace(settings.common.protection, high_discharge_pressure_trip_kpa_abs=1690.0)
    settings = replace(settings, common=replace(settings.common, protection=protection))
    write_sheet(tmp_path / "b.toml", "scheduled_pi", settings)
    one = made["scheduled_pi"]
    other = read_matrix(in_child(choose(None, tmp_path / "b.toml"), Heart()), "scheduled_pi", "b.toml")
    found = differences(one, other)
    assert {d.key for d in found} == {"trip.high discharge pressure"}
    cell = {d.column: (d.one, d.other) for d in found}
    assert cell["limit"] == ("1700.0 kPa", "1690.0 kPa")
    page = as_html(one, other, found)
    assert "1690.0 kPa" in page
    assert f"{len(found)} cells differ" in page
    assert CAUTION[:40] in page
    lines_of = list(csv.reader(io.StringIO(differences_csv(one, other, found))))
    assert len(lines_of) == len(found) + 1


def test_a_plain_controller_without_protection_has_empty_cells(tmp_path: Path) -> None:
    job = choose(f"{FOREIGN / 'plain_steps.py'}:PlainSteps", None)
    found = read_matrix(in_child(job, Heart()), "plain", "")
    assert cells(found, "trip.low suction pressure") == {"limit": "no effect within the signal's range"}
    assert abs(number(cells(found, "trip.high discharge pressure")["limit"]) - 1700.0) < 0.2
    assert cells(found, "trip.stop button")["motor"] == "off, 0.0 s"
    assert "motor" not in cells(found, "trip.safety chain")  # it knows no chain
    assert as_html(found)


def test_a_controller_that_does_not_run_has_no_matrix() -> None:
    found = in_child(choose(f"{FOREIGN / 'plain_steps.py'}:Empty", None), Heart())
    assert "did not start a healthy machine" in found["failed"]
    raised = in_child(choose(f"{FOREIGN / 'plain_steps.py'}:AtOnce", None), Heart())
    assert "raised ValueError: at once" in raised["failed"]


def test_files_have_every_row(tmp_path: Path, made: dict[str, Matrix]) -> None:
    matrix = made["scheduled_pi"]
    written = write_matrix(tmp_path / "out", matrix)
    assert sorted(p.name for p in written) == ["matrix.csv", "matrix.html"]
    with open(tmp_path / "out" / "matrix.csv", encoding="utf-8", newline="") as file:
        lines = list(csv.reader(file))
    assert len(lines) == len(matrix.rows) + 1 == len(all_causes(None)) + 2  # its head, and the row of restarts
    assert {line[1] for line in lines[1:]} == set(GROUPS)
    page = (tmp_path / "out" / "matrix.html").read_text(encoding="utf-8")
    assert all(row.text.split(":")[0] in page for row in matrix.rows)
    assert "http" not in page


def test_a_row_that_one_lacks_differs_in_all_its_cells() -> None:
    row = Row("a", GROUPS[0], "text", "in service", {"motor": "off"})
    one = Matrix("x", "", "", (), (row,))
    found = differences(one, replace(one, rows=()))
    assert len(found) == len(COLUMNS)
    assert "no such row" in as_html(replace(one, rows=()), one, differences(replace(one, rows=()), one))
    assert as_csv(one).count("\n") == 2


def test_hostile_names_do_not_become_markup() -> None:
    row = Row("a", GROUPS[0], "<script>alert(1)</script>", "in service", {"motor": "<b>"})
    page = as_html(Matrix("<i>x", "", "", ("<u>",), (row,)))
    assert "<script>" not in page
    assert "<i>x" not in page
