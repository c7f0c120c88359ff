"""The site script: currents by hand arithmetic, what the controller does on them, and lines that contradict the sheet."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import replace
from typing import Any

import pytest

from controller.registry import SHIPPED
from scenarios.chosen_controller import choose
from scenarios.errors import InputRefused
from scenarios.isolated import Heart
from tools.verification.box_bench import BoxBench
from tools.verification.cause_effect import make_bench
from tools.verification.script_page import AFTER, BEFORE, SAFETY, as_csv, as_html
from tools.verification.site_script import COLD, PARTS, SIGNALS, Script, in_child, read_script, script_of
from tools.verification.trip_values import trip_values

PLAIN = "tests/scenarios/foreign/plain_steps.py:PlainSteps"


@pytest.fixture(scope="module")
def script() -> Script:
    return read_script(in_child(choose("scheduled_pi", None), Heart()))


def bench_of(controller: str = "scheduled_pi", ranges: Any = None) -> tuple[BoxBench, Any]:
    job = choose(controller, None)
    job["ranges"] = ranges
    bench, taken = make_bench(job, Heart())
    return bench, taken.settings


def line(script: Script, number: str) -> Any:
    (found,) = [line for line in script.lines if line.number == number]
    return found


# 4 + 16 (limit − low) / (high − low), rounded to 0.01 mA to the side of the trip; ranges of Inputs, defaults of the sheet
@pytest.mark.parametrize(
    ("number", "milliamp", "trip", "delay_s"),
    [
        ("B1", 14.88, "high discharge pressure", 1.0),  # 1700 of 0 to 2500 kPa
        ("B2", 7.04, "low suction pressure", 10.0),  # 190 of 0 to 1000 kPa
        ("B3", 15.77, "high discharge temperature", 5.0),  # 105 of −20 to 150 °C: 15.7647
        ("B7", 14.29, "high oil temperature", 30.0),  # 70 of −20 to 120 °C: 14.2857
        ("B8", 10.85, "motor overload", 10.0),  # 115 % of 372 A, 427.8 of 0 to 1000 A: 10.8448
    ],
)
def test_a_trip_has_its_current_and_comes_after_its_delay(
    script: Script, number: str, milliamp: float, trip: str, delay_s: float
) -> None:
    to_the_trip = line(script, f"{number}.4")
    assert to_the_trip.sets[0].milliamp == pytest.approx(milliamp, abs=1e-9)
    begins = [s.after_s for s in to_the_trip.sees if s.text in ("motor contactor opens", "mode unloading")]
    assert begins[0] == delay_s
    assert any(s.text == f"trip «{trip}»" for s in to_the_trip.sees)
    assert not any("trip «" in s.text for s in line(script, f"{number}.3").sees)
    assert any(s.text == f"alarm «{trip}»" for s in line(script, f"{number}.2").sees)


def test_nothing_contradicts_the_settings_of_a_sound_controller(script: Script) -> None:
    assert [x.number for x in script.lines if x.contradicts] == []
    assert {x.part for x in script.lines} == set(PARTS)
    assert len({x.number for x in script.lines}) == len(script.lines)


def test_part_a_starts_strokes_both_slides_and_unloads(script: Script) -> None:
    seen = [(s.text, s.after_s) for x in script.lines if x.part == COLD for s in x.sees]
    texts = [text for text, _ in seen]
    order = [
        "oil pump on",
        "motor contactor closes",
        "mode run up",
        "mode automatic",
        "mode unloading",
        "motor contactor opens",
    ]
    assert [texts.index(text) for text in order] == sorted(texts.index(text) for text in order)
    assert dict(seen)["motor contactor closes"] == pytest.approx(
        30.1
    )  # pre-lubrication 30 s, and the scan that sees LOCAL
    assert sum(text.startswith(("rests at 90", "rests at 89")) for text in texts) == 2
    assert texts[-2] == "start refused «restart wait»"


def test_a_controller_that_does_not_do_as_its_sheet_says_is_told() -> None:
    """The sheet says 3 s where the cabinet has 1 s, and 1650 kPa where it has 1700."""
    bench, settings = bench_of()
    protection = replace(
        settings.common.protection, high_discharge_pressure_delay_ms=3_000, low_suction_pressure_trip_kpa_abs=180.0
    )
    other = replace(settings, common=replace(settings.common, protection=protection))
    wrong = [x.number for x in script_of(bench, other, Heart()).lines if x.contradicts]
    assert "B1.4" in wrong  # too early
    assert "B2.3" in wrong  # trips although short of it
    assert not [n for n in wrong if n[:2] not in ("B1", "B2")]


def test_a_limit_that_no_transmitter_can_show_is_a_finding() -> None:
    """A transducer of 400 A cannot show 115 % of 372 A: 427.8 A would be 21.1 mA, which is a failed loop."""
    bench, settings = bench_of()
    high = list(bench.box.ranges.high)
    high[8] = 400.0
    narrow = replace(bench.box.ranges, high=tuple(high))
    (value,) = [v for v in trip_values(settings, replace(bench.box, ranges=narrow)) if v.trip.name == "MOTOR_OVERLOAD"]
    assert "21.12 mA" in value.unreachable(replace(bench.box, ranges=narrow))
    assert value.unreachable(bench.box) == ""


def test_another_range_gives_another_current() -> None:
    bench, settings = bench_of()
    high = list(bench.box.ranges.high)
    high[1] = 2000.0
    box = replace(bench.box, ranges=replace(bench.box.ranges, high=tuple(high)))
    value = trip_values(settings, box)[0]
    assert value.milliamp(box, value.limit) == pytest.approx(17.6)  # 4 + 16 · 1700/2000


@pytest.mark.parametrize("controller", list(SHIPPED))
def test_every_limit_of_every_shipped_sheet_can_be_shown(controller: str) -> None:
    bench, settings = bench_of(controller)
    values = trip_values(settings, bench.box)
    assert len(values) == 8
    for v in values:
        assert v.unreachable(bench.box) == ""
        # the pre-alarm lies before the trip on the same side
        assert (v.limit - v.alarm) * v.signal.side > 0


def test_a_controller_without_limits_is_refused() -> None:
    with pytest.raises(InputRefused, match="tells no limits"):
        in_child(choose(PLAIN, None), Heart())


def test_the_page_has_every_line_a_place_to_sign_and_the_cautions(script: Script) -> None:
    page = as_html(script, "<b>hall</b>", [("settings", "x<y")], "ranges")
    for x in script.lines:
        assert f'<td class="n">{x.number}</td>' in page
    for text in (*SAFETY, *BEFORE, *AFTER):
        assert text.replace("'", "&#39;") in page
    assert "&lt;b&gt;hall" in page
    assert "initials" in page
    assert "<svg" in page
    assert "http" not in page
    assert len(re.findall(r'<span class="box">', page)) == len(script.lines) + len(BEFORE) + len(AFTER)


def test_the_table_for_a_spreadsheet_has_a_row_a_line(script: Script) -> None:
    rows = list(csv.reader(io.StringIO(as_csv(script))))
    assert len(rows) == len(script.lines) + 1
    assert {len(row) for row in rows} == {10}
    by_number = {row[0]: row for row in rows[1:]}
    assert "14.88 mA" in by_number["B1.4"][3]
    assert "trip «high discharge pressure» after 1.0 s" in by_number["B1.4"][4]
    assert by_number["B1.4"][1] == SIGNALS
