"""A season: signs, kept days, and what one day for a month costs in accuracy."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pvlib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from plant_model.rotor_geometry import full_load_volume_ratio
from scenarios import season
from scenarios.errors import ControllerFailed, InputRefused
from scenarios.season import BUILT_IN_RATIOS, SeasonRun, season_inputs
from scenarios.season_records import DayResult, Season, Variant, next_ratio
from scenarios.weather_log import MONTH_DAYS, MONTH_STARTS

ROOT = Path(__file__).resolve().parents[2]
LIBRARY = ROOT / "scenarios" / "library"
PUBLIC = Path(pvlib.__file__).parent / "data"
PLANT, SHEET = LIBRARY / "plants" / "harrow_ness.toml", LIBRARY / "sheets" / "demo_scheduled_pi.toml"
HEAD = (
    '999991,"INVENTED MOOR",XX,1.0,54.000,2.000,0\n'
    "Date (MM/DD/YYYY),Time (HH:MM),Dry-bulb (C),Dew-point (C),RHum (%),Pressure (mbar)\n"
)


def quiet(_fraction: float) -> None:
    pass


@pytest.fixture(scope="module")
def constant(tmp_path_factory: pytest.TempPathFactory) -> SeasonRun:
    """A year without weather and without a working day: 22 °C saturated air, 420 kW."""
    folder = tmp_path_factory.mktemp("constant")
    rows = (f"{m + 1:02d}/{d + 1:02d}/1990,{h:02d}:00,22,22,100,1013.25\n"
            for m, days in enumerate(MONTH_DAYS) for d in range(days) for h in range(1, 25))  # fmt: skip
    (folder / "site.csv").write_text(HEAD + "".join(rows), encoding="utf-8")
    (folder / "load.csv").write_text("time [h];load [kW]\n0;420\n12;420\n24;420\n", encoding="utf-8")
    inputs = season_inputs(PLANT, folder / "site.csv", folder / "load.csv", "scheduled_pi", SHEET, 1)
    return SeasonRun(inputs, folder / "out")


@pytest.fixture(scope="module")
def working(constant: SeasonRun) -> DayResult:
    return constant.day(constant.months[0], None, quiet)


def saving_pct(working: DayResult, held: DayResult) -> float:
    return 100.0 * (1.0 - (working.motor_kwh / working.cooling_kwh) / (held.motor_kwh / held.cooling_kwh))


def test_under_constant_conditions_a_port_held_at_its_optimum_loses_nothing(
    constant: SeasonRun, working: DayResult
) -> None:
    ratio = full_load_volume_ratio(constant.curves, working.held_pct / 100.0)
    held = constant.day(constant.months[0], ratio, quiet)
    assert held.cooling_kwh == pytest.approx(24.0 * 420.0, rel=0.01)
    assert abs(saving_pct(working, held)) < 0.2
    # and the place is the optimum: either side of it costs
    assert saving_pct(working, constant.day(constant.months[0], 0.7 * ratio, quiet)) > 0.3
    assert saving_pct(working, constant.day(constant.months[0], min(1.4 * ratio, 6.2), quiet)) > 0.3


def test_the_day_is_24_hours_of_the_load_and_the_weather(working: DayResult) -> None:
    assert working.running_h == pytest.approx(24.0, abs=0.003)
    assert working.cooling_kwh == pytest.approx(24.0 * 420.0, rel=0.01)
    assert 22.0 < working.condensing_low_c <= working.condensing_c <= working.condensing_high_c < 40.0
    assert working.condensing_high_c - working.condensing_low_c < 1.0
    assert working.mismatch_kwh < 0.005 * working.motor_kwh
    assert (working.starts, working.trips, working.through_path_h) == (0, 0, 0.0)
    # a moving port at this very ratio would use what the slide used: the estimate agrees with itself within 1 %
    assert min(working.moving_port_kwh) == pytest.approx(working.motor_kwh, rel=0.01)


def test_days_are_kept_and_not_run_again(
    constant: SeasonRun, working: DayResult, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    def no_run(*_: object) -> None:
        raise AssertionError("a day that was there was run again")

    monkeypatch.setattr(season, "play_prepared", no_run)
    again = SeasonRun(constant.inputs, constant.folder)
    assert again.day(again.months[0], None, quiet) == working
    assert again.reused == 1
    for other in (
        replace(constant.inputs, seed=2),
        replace(constant.inputs, scale=1.1),
        replace(constant.inputs, settings=None),
    ):
        with pytest.raises(AssertionError, match="run again"):
            SeasonRun(other, constant.folder).day(again.months[0], None, quiet)
    with pytest.raises(AssertionError, match="run again"):
        again.day(again.months[1], None, quiet)  # another day
    with pytest.raises(AssertionError, match="run again"):
        again.day(again.months[0], 3.0, quiet)  # another port
    for kept in (constant.folder / "days").iterdir():  # moved elsewhere it is still the same day; damaged it is none
        (tmp_path / "days").mkdir(exist_ok=True)
        (tmp_path / "days" / kept.name).write_text(kept.read_text(encoding="utf-8"), encoding="utf-8")
    moved = SeasonRun(constant.inputs, tmp_path)
    assert moved.day(moved.months[0], None, quiet) == working
    for kept in (tmp_path / "days").iterdir():
        kept.write_text(kept.read_text(encoding="utf-8")[:40], encoding="utf-8")
    with pytest.raises(AssertionError, match="run again"):
        moved.day(moved.months[0], None, quiet)


def test_an_interrupt_loses_the_day_in_hand_only(constant: SeasonRun, monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    before = sorted((constant.folder / "days").iterdir())
    monkeypatch.setattr(season, "play_prepared", interrupted)
    again = SeasonRun(constant.inputs, constant.folder)
    with pytest.raises(KeyboardInterrupt):
        again.variant(None, lambda *_: None)
    assert again.reused == 1
    assert sorted((constant.folder / "days").iterdir()) == before


def test_a_run_that_ends_early_is_told_and_not_kept(constant: SeasonRun, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(season, "play_prepared", lambda *_: (None, "the plant left its model", "", "", 0.0))
    with pytest.raises(ControllerFailed, match=r"port held at 2.9: the plant left its model"):
        SeasonRun(constant.inputs, constant.folder).day(constant.months[3], 2.9, quiet)


def test_ratios_out_of_reach_are_refused_and_none_given_are_the_built_in(constant: SeasonRun) -> None:
    assert constant.check_ratios(()) == BUILT_IN_RATIOS
    assert constant.check_ratios((4.0, 2.0, 4.0)) == (2.0, 4.0)
    with pytest.raises(InputRefused, match=r"--ratio 7 is out of reach; the slide reaches 1.3 to 6.2"):
        constant.check_ratios((2.0, 7.0))


def test_problems_of_both_records_come_together(tmp_path: Path) -> None:
    with pytest.raises(InputRefused) as caught:
        season_inputs(PLANT, tmp_path / "no.csv", tmp_path / "none.csv", "scheduled_pi", None, 1)
    assert len(caught.value.problems) == 2


def day_result(ratio: float | None, motor: float, cooling: float) -> DayResult:
    return DayResult(0, ratio, motor, 10.0, cooling, 0.0, 0.5, 24.0, 20.0, 15.0, 25.0, 50.0, 60.0, 0, 0, (motor,) * 30)


def test_a_year_is_weighted_by_days_and_compared_at_equal_cooling() -> None:
    weights = tuple(MONTH_DAYS)
    slides = Variant(None, tuple(day_result(None, 100.0 + k, 400.0) for k in range(12)), weights)
    held = Variant(3.0, tuple(day_result(3.0, 110.0 + k, 440.0) for k in range(12)), weights)
    worse = Variant(2.0, tuple(day_result(2.0, 220.0, 440.0) for k in range(12)), weights)
    found = Season((), slides, (worse, held), 0, ())
    assert slides.motor_kwh == sum((100.0 + k) * d for k, d in enumerate(MONTH_DAYS))
    assert slides.total_kwh == pytest.approx(slides.motor_kwh + 3650.0)
    assert slides.through_path_h == pytest.approx(182.5)
    assert found.best_held is held
    assert found.saving_pct(held) == pytest.approx(100.0 * (1.0 - slides.motor_kwh * 1.1 / held.motor_kwh))
    assert found.saving_pct(held) < 0.0  # 10 % more cooling for less than 10 % more energy is the better machine
    assert found.saving_pct(worse) > 40.0
    assert found.month_saving_pct(worse, 0) == pytest.approx(50.0)


@given(st.lists(st.tuples(st.floats(1.3, 6.2), st.floats(1.0, 9.0)), min_size=1, max_size=8, unique_by=lambda p: p[0]))
def test_the_next_place_is_new_and_within_reach(tried: list[tuple[float, float]]) -> None:
    place = next_ratio(sorted(tried), (1.3, 6.2))
    if place is not None:
        assert 1.3 <= place <= 6.2
        assert all(abs(place / ratio - 1.0) >= 0.01 for ratio, _ in tried)


@pytest.fixture(scope="module")
def may(tmp_path_factory: pytest.TempPathFactory) -> SeasonRun:
    inputs = season_inputs(
        PLANT, PUBLIC / "723170TYA.CSV", LIBRARY / "loads" / "fish_hall_whole_day.csv", "scheduled_pi", SHEET, 1
    )
    return SeasonRun(inputs, tmp_path_factory.mktemp("may"))


@pytest.mark.slow
@pytest.mark.parametrize("ratio", [None, 5.0])
def test_one_day_of_a_month_against_all_its_days(may: SeasonRun, ratio: float | None) -> None:
    """What the method loses: the energy of May from one day and from 31, slides working and port held."""
    month = may.months[4]
    alone = may.day(month, ratio, quiet)
    start = MONTH_STARTS[month.month - 1]
    every = [may.day(replace(month, day=start + k), ratio, quiet) for k in range(month.days)]
    whole_kwh = sum(day.motor_kwh for day in every) / len(every)
    assert alone.motor_kwh == pytest.approx(whole_kwh, rel=0.03), f"{100 * (alone.motor_kwh / whole_kwh - 1):+.2f} %"
