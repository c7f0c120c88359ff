"""Cases: the same as a run by hand, the same for everybody, and what counts as a failure."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from scenarios.demo_sheets import demo_settings
from scenarios.errors import InputRefused
from scenarios.preparation import prepare
from scenarios.runner import execute
from tests.tools.tuning.small_study import LIBRARY, SCENARIO, small_cases, write_scenarios
from tools.tuning.cases import LOG_MS, Bench, CaseFigures, case_set


def test_a_case_on_the_files_own_plant_is_the_run_that_a_user_makes(tmp_path: Path) -> None:
    cases = small_cases(tmp_path)
    case = cases.cases()[0]
    assert (case.scenario, case.draw) == (0, 0)
    figures = Bench(cases).play(case, cases.base)
    run = execute(prepare([tmp_path / "s0.toml"], seed=case.seed, log_ms=LOG_MS)[0], None)
    for name in ("suction_deviation_rms_kpa", "capacity_reversals_per_h", "capacity_operations_per_h",
                 "total_energy_kwh", "cooling_energy_kwh", "volume_ratio_strokes_per_h"):  # fmt: skip
        assert getattr(figures, name) == run.scores.value(name), name
    assert figures.suction_deviation_rms_kpa > 0.0
    assert figures.cooling_energy_kwh > 10.0


def test_a_case_is_the_same_in_every_order_and_bench(tmp_path: Path) -> None:
    cases = small_cases(tmp_path)
    one, two = Bench(cases), Bench(cases)
    forward = [one.play(c, cases.base) for c in one.cases]
    backward = [two.play(c, cases.base) for c in reversed(two.cases)][::-1]
    assert forward == backward == [one.play(c, cases.base) for c in one.cases]
    assert len({f.suction_deviation_rms_kpa for f in forward}) == len(forward) == 4


def test_the_order_shows_every_scenario_first_and_seeds_differ(tmp_path: Path) -> None:
    cases = small_cases(tmp_path, draws=3).cases()
    assert [(c.scenario, c.draw) for c in cases] == [(0, 0), (1, 0), (0, 1), (1, 1), (0, 2), (1, 2)]
    assert len({c.seed for c in cases}) == 6
    proof = small_cases(tmp_path, draws=3, label="proof", first_draw=1).cases()
    assert not {c.seed for c in cases} & {c.seed for c in proof}


def test_both_controllers_meet_the_same_cases(tmp_path: Path) -> None:
    pi, step = small_cases(tmp_path), small_cases(tmp_path, "three_position")
    assert pi.cases() == step.cases()
    figures = Bench(step).play(step.cases()[0], step.base)
    assert not figures.fault
    assert figures.capacity_operations_per_h > 0.0


def test_a_draw_changes_the_plant_and_the_candidate_does_not(tmp_path: Path) -> None:
    cases = small_cases(tmp_path)
    bench = Bench(cases)
    nominal, drawn = bench.ready(bench.cases[0]), bench.ready(bench.cases[2])
    assert nominal.plant.parameters != drawn.plant.parameters
    assert bench.ready(bench.cases[3]).parameters is drawn.parameters, "derived once a draw"
    before = bench.play(bench.cases[2], cases.base)
    bench.play(bench.cases[2], replace(cases.base, pi=replace(cases.base.pi, proportional_band_kpa=300.0)))
    assert bench.play(bench.cases[2], cases.base) == before, "nobody leaves a trace in the shared start state"


def test_the_duty_is_a_share_of_time_above_a_pressure(tmp_path: Path) -> None:
    strict = small_cases(tmp_path, duty_kpa_abs=100.0)
    assert Bench(strict).play(strict.cases()[0], strict.base).too_warm_pct == pytest.approx(100.0)
    loose = small_cases(tmp_path, duty_kpa_abs=600.0)
    assert Bench(loose).play(loose.cases()[0], loose.base).too_warm_pct == 0.0
    middle = small_cases(tmp_path, duty_kpa_abs=293.0)
    assert 0.0 < Bench(middle).play(middle.cases()[0], middle.base).too_warm_pct < 100.0


def test_a_trip_is_a_failure(tmp_path: Path) -> None:
    text = SCENARIO.format(title="t", library=LIBRARY.as_posix(), minutes=10, seed=1, load=300, change=0)
    path = tmp_path / "trip.toml"
    path.write_text(text + '[[event]]\nkind = "safety_chain"\nat = "5 min"\nlasting = "1 min"\n', encoding="utf-8")
    cases = case_set([path], "scheduled_pi", demo_settings("scheduled_pi"), 1, 1)
    figures = Bench(cases).play(cases.cases()[0], cases.base)
    assert figures.trips_count == 1.0
    assert figures.failures >= 1.0


def test_what_counts_as_a_failure() -> None:
    assert CaseFigures().failures == 0.0
    assert CaseFigures(fault="the loop was never in charge").failures == 1.0
    assert CaseFigures(trips_count=1.0, starts_beyond_limit=2).failures == 3.0


def test_a_machine_that_never_leads_is_a_fault(tmp_path: Path) -> None:
    text = SCENARIO.format(title="t", library=LIBRARY.as_posix(), minutes=3, seed=1, load=300, change=0)
    path = tmp_path / "still.toml"
    path.write_text(text.replace('"running"', '"stopped"').replace('"3 min"', '"20 s"').replace('"2 min"', '"10 s"'))
    cases = case_set([path], "scheduled_pi", demo_settings("scheduled_pi"), 1, 1)
    assert "never in charge" in Bench(cases).play(cases.cases()[0], cases.base).fault


def test_bad_sets_are_refused(tmp_path: Path) -> None:
    paths, base = write_scenarios(tmp_path), demo_settings("scheduled_pi")
    with pytest.raises(InputRefused, match="at least 1"):
        case_set(paths, "scheduled_pi", base, 1, 0)
    with pytest.raises(InputRefused, match="three_position"):
        case_set(paths, "three_position", base, 1, 1)
    plant = tmp_path / "other.toml.plant"
    plant.write_text((LIBRARY / "plants" / "harrow_ness.toml").read_text(encoding="utf-8") + "\n# another\n")
    text = paths[1].read_text(encoding="utf-8").replace(f"{LIBRARY.as_posix()}/plants/harrow_ness.toml", plant.name)
    paths[1].write_text(text, encoding="utf-8")
    with pytest.raises(InputRefused, match="of one"):
        case_set(paths, "scheduled_pi", base, 1, 1)
