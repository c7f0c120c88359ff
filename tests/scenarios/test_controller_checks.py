"""The contract suite: sound controllers of each kind pass it, and each broken one is caught by the check meant for it."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

import pytest

from controller.registry import SHIPPED
from scenarios.controller_checks import PROMISES, CheckResult, check_controller
from scenarios.controllers import Loaded, load, name_controller
from scenarios.limits import Limits, limits_of
from scenarios.preparation import prepare

FOREIGN = Path(__file__).parent / "foreign"
LIBRARY = Path(__file__).resolve().parents[2] / "scenarios" / "library"
Build = Callable[[Path, Path], Path]


def named(text: str) -> Loaded:
    return load(name_controller(text, FOREIGN))


def failures(results: list[CheckResult]) -> set[str]:
    return {result.name for result in results if result.judged and not result.passed}


def not_judged(results: list[CheckResult]) -> set[str]:
    return {result.name for result in results if not result.judged}


@pytest.mark.parametrize("controller", SHIPPED)
@pytest.mark.parametrize("seed", [1, 2])
def test_shipped_controllers_pass_compiled(controller: str, seed: int) -> None:
    check_controller(named(controller))  # loads the compiled engine
    began = time.process_time()  # a busy machine must not fail it
    results = check_controller(named(controller), seed=seed)
    spent_s = time.process_time() - began
    assert [str(r) for r in results if not r.passed] == []
    assert [r.name for r in results] == list(PROMISES)
    assert spent_s < 2.0  # 0.25 s on the machine where it was written


def test_a_shipped_controller_passes_interpreted() -> None:
    """The largest; that each answers alike compiled and interpreted is tested in test_check_bench.py."""
    assert [str(r) for r in check_controller(named("model_based"), interpreted=True) if not r.passed] == []


@pytest.mark.parametrize("controller", SHIPPED)
def test_shipped_controllers_pass_with_the_demo_plants_sheet(controller: str) -> None:
    sheet = LIBRARY / "sheets" / f"demo_{controller}.toml"
    settings = prepare([LIBRARY / "demo_shift.toml"], controller=controller, settings=sheet)[0].settings
    assert [str(r) for r in check_controller(named(controller), settings) if not r.passed] == []


def test_a_compiled_controller_of_ones_own_passes() -> None:
    results = check_controller(named("broken.py:KERNEL"))
    assert failures(results) == set()
    assert not_judged(results) == {"limits"}


def test_a_plain_class_passes_and_keeps_the_limits_it_is_told() -> None:
    sound = named("broken.py:Sound")
    results = check_controller(sound)
    assert failures(results) == set()
    assert not_judged(results) == {"limits"}
    kept = Limits(pre_lubrication_ms=60_000, capacity_start_frac=0.05, volume_ratio_start_frac=0.05)
    assert failures(check_controller(sound, limits=kept)) == set()


def test_what_was_not_seen_is_not_passed() -> None:
    results = check_controller(named("plain_steps.py:Empty"))
    assert failures(results) == set()
    assert not_judged(results) == {"stops", "failed_instrument", "limits"}
    assert not any(r.passed for r in results if not r.judged)


@pytest.mark.parametrize(
    ("name", "caught_by"),
    [
        ("BothDrives", {"drives"}),
        ("Rolls", {"determinism", "reset", "time_wrap"}),  # chance also shows wherever two plays are compared
        ("Remembers", {"reset"}),
        ("RefusesToReset", {"reset"}),
        ("RestartsWhilePressed", {"stops"}),
        ("StopsOneScanLate", {"stops"}),
        ("OutOfRange", {"ranges"}),
        ("UnknownMode", {"ranges"}),
        ("UnknownBit", {"ranges"}),
        ("Wraps", {"time_wrap"}),
        ("LoadsBlind", {"failed_instrument"}),
        ("LoadsOn", {"failed_instrument"}),
        ("DividesByTime", {"late_scans"}),
        ("RampsOnLateScans", {"late_scans"}),
        ("Raises", {"answers"}),
    ],
)
def test_a_broken_controller_is_caught_by_the_check_meant_for_it(name: str, caught_by: set[str]) -> None:
    results = check_controller(named(f"broken.py:{name}"))
    assert failures(results) == caught_by, [str(r) for r in results if not r.passed]
    for result in results:
        if result.name in caught_by and "reset raised" not in result.text:
            assert result.first_at is not None
            assert " in scan " in result.text


@pytest.mark.parametrize(
    ("name", "limits", "words"),
    [
        ("Sound", Limits(pre_lubrication_ms=90_000), "s of oil"),
        ("Sound", Limits(start_to_start_ms=1_200_000), "s after the last start"),
        ("Sound", Limits(volume_ratio_start_frac=0.0), "volume ratio slide at"),
        ("RunsTripped", Limits(pre_lubrication_ms=60_000), "while a trip is latched"),
    ],
)
def test_limits_are_judged_where_they_are_told(name: str, limits: Limits, words: str) -> None:
    (result,) = [r for r in check_controller(named(f"broken.py:{name}"), limits=limits) if r.name == "limits"]
    assert result.judged
    assert not result.passed
    assert words in result.text


def test_the_c_example_and_its_twin_pass_and_fail_alike(plain_steps_library: Path) -> None:
    """The example is small on purpose: it knows no safety chain and no failed signal, and does not clamp its demand."""
    in_c = check_controller(named(str(plain_steps_library)))
    in_python = check_controller(named("plain_steps.py:PlainSteps"))
    assert failures(in_c) == {"ranges", "stops", "failed_instrument"}
    assert in_c == in_python


@pytest.mark.parametrize(
    ("old", "new", "caught_by"),
    [
        ("return sizeof(state_t);", "return 8;", "memory"),
        ("    return 0;\n}", "    ((double *)(out + 1))[0] = 1.0;\n    return 0;\n}", "memory"),
        ("(void)settings;", "((double *)settings)[3] += 1.0;", "settings_untouched"),
        ("(void)settings;", "(void)settings; ((twoslide_inputs *)in)->motor_current_a = 1.0;", "inputs_untouched"),
        (
            "    state_t *s = memory;",
            "    static state_t hidden; (void)memory;\n    state_t *s = &hidden;",
            "determinism",
        ),
        ("out->suction_set_point_kpa_abs = 290.0;", "*(uint8_t *)&out->oil_heater = 3;", "ranges"),
    ],
)
def test_a_library_that_writes_where_it_must_not(
    tmp_path: Path, build_c: Build, old: str, new: str, caught_by: str
) -> None:
    source = (FOREIGN / "plain_steps.c").read_text(encoding="utf-8")
    assert old in source
    text = source.replace(old, new).replace("    out->capacity_demand_pct = in->capacity_position_pct;\n", "")
    if caught_by == "settings_untouched":
        text += '\nconst char *twoslide_settings_name(void) { return "scheduled_pi"; }\n'
    (tmp_path / "bad.c").write_text(text, encoding="utf-8")
    results = check_controller(named(str(build_c(tmp_path / "bad.c", tmp_path / "bad.so"))))
    usual = {"stops", "failed_instrument"}
    assert caught_by in failures(results) - usual, [str(r) for r in results]


def test_the_limits_of_shipped_controllers_are_those_of_their_settings() -> None:
    """So that `limits` is really judged with the wait, and not with nothing."""
    for controller in SHIPPED.values():
        limits = limits_of(controller.settings_type())
        assert limits is not None
        assert limits.start_to_start_ms
        assert limits.pre_lubrication_ms
