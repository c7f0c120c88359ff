"""The shipped packs on the shipped controllers: every requirement is brought about by the scenario that it names, and held.

What the requirements say is common practice, as each says itself; that a controller keeps them proves nothing about a
machine.  These tests hold the packs, the scenarios and the controllers to each other.
"""

from __future__ import annotations

from functools import cache

import pytest

from controller.registry import SHIPPED
from tools.verification.campaign import LIBRARY, Campaign, plan
from tools.verification.findings import Verdict
from tools.verification.pack import Pack, load_pack

SCENARIOS = sorted({one.shown_by for one in load_pack().requirements})


@cache
def _pack() -> Pack:
    return load_pack()


def _campaign(name: str, controller: str | None = None) -> Campaign:
    found = [path for path in (LIBRARY / f"{name}.toml", LIBRARY / "verification" / f"{name}.toml") if path.is_file()]
    assert len(found) == 1, name
    return plan(_pack(), found, controller)


def test_there_are_at_least_forty_and_each_names_its_scenario_and_source() -> None:
    requirements = _pack().requirements
    assert len(requirements) >= 40
    assert all(one.shown_by and one.source for one in requirements)


@pytest.mark.parametrize("name", SCENARIOS)
def test_shown_and_held(name: str) -> None:
    pack = _pack()
    (run,) = _campaign(name).run(None)
    assert run.failure == ""
    by_id = {one.id: one for one in run.findings}
    broken = [one for one in run.findings if one.verdict is Verdict.FAILED]
    assert not broken
    missing = [
        one.id for one in pack.requirements if one.shown_by == name and by_id[one.id].verdict is not Verdict.HELD
    ]
    assert not missing, "the scenario no longer brings these about"


@pytest.mark.parametrize("controller", sorted(set(SHIPPED) - {"scheduled_pi"}))
@pytest.mark.parametrize("name", ["normal_stop_and_restart", "manual_transfers", "low_suction_trip", "refused_starts"])
def test_the_other_controllers_hold_them_too(name: str, controller: str) -> None:
    (run,) = _campaign(name, controller).run(None)
    assert [one for one in run.findings if one.verdict is Verdict.FAILED] == []
    assert run.settings.endswith(f"{controller}.toml"), "each runs with the sheet made for it"


@pytest.mark.slow
@pytest.mark.parametrize("controller", sorted(SHIPPED))
def test_the_whole_library_breaks_nothing_and_exercises_everything(controller: str) -> None:
    campaign = plan(_pack(), None, controller)
    exercised: set[str] = set()
    for run in campaign.run(None):
        assert [one for one in run.findings if one.verdict is Verdict.FAILED] == [], run.scenario
        exercised |= {one.id for one in run.findings if one.exercised}
    assert exercised == {one.id for one in _pack().requirements}
