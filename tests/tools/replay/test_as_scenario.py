"""What a diagnosed fault becomes in the scenario of the event: as far as it had come, and on at its pace."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from scipy.linalg import solve_triangular

from tests.tools.replay.nights import SHEET, night
from tests.tools.replay.truth import LIBRARY
from tools.replay.as_scenario import AFTER_S, reached, story_of
from tools.replay.diagnosis import Diagnosis, Ranked
from tools.replay.fitting import Fit, evidence_of, fit
from tools.replay.hypotheses import HYPOTHESES, profile_value
from tools.replay.load import estimate_load

BY_KEY = {hypothesis.key: hypothesis for hypothesis in HYPOTHESES}
PLANT = LIBRARY / "plants" / "harrow_ness.toml"


def lines_of(found: Fit) -> str:
    """The fault's event in the story of a calm night with this fault supposed."""
    one = night("stop button", 4001)
    ranked = Ranked(found.hypothesis.group, 1.0, "", "", "", [found])
    diagnosis = Diagnosis([ranked], found.hypothesis.group, found.chi2 + 100.0, 1, [])
    calm = replace(one.record, trip=type(one.record.trip).NONE)
    load = estimate_load(one.evidence)
    story = story_of(one.evidence, calm, diagnosis, load, PLANT, SHEET, "scheduled_pi", one.end, one.first)
    assert not story.problem
    return story.text[story.text.rindex("[[event]]") :]


def number(text: str, key: str) -> float:
    found = re.search(rf'{key} = "(-?[\d.]+)', text)
    assert found is not None, text
    return float(found.group(1))


def test_growth_that_was_not_over_is_taken_as_far_as_it_had_come() -> None:
    rows = night("stop button", 4001).evidence.record.rows
    found = Fit(BY_KEY["oil_filter"], 10.0, "ramp to the end", rows - 600.0, 0.4, rise_s=1200.0)
    assert reached(night("stop button", 4001).evidence, found) == pytest.approx(0.2, rel=0.01)
    text = lines_of(found)
    share = float(profile_value(found.hypothesis, np.array([0.2]))[0])
    assert number(text, "over") == pytest.approx(600.0 + AFTER_S, abs=2.0)
    assert number(text, "size") == pytest.approx(100.0 * share * (600.0 + AFTER_S) / 600.0, rel=0.02)


def test_growth_that_was_over_stays_as_it_is() -> None:
    rows = night("stop button", 4001).evidence.record.rows
    text = lines_of(Fit(BY_KEY["oil_filter"], 10.0, "ramp to the end", rows - 600.0, 0.4, rise_s=300.0))
    assert number(text, "over") == pytest.approx(300.0)
    share = float(profile_value(BY_KEY["oil_filter"], np.array([0.4]))[0])
    assert number(text, "size") == pytest.approx(100.0 * share, rel=0.01)


def test_a_drift_that_goes_on_has_no_end_and_a_quick_one_comes_at_once() -> None:
    rows = night("stop button", 4001).evidence.record.rows
    transmitter = BY_KEY["discharge_transmitter"]
    slow = lines_of(Fit(transmitter, 10.0, "ramp to the end", rows - 600.0, 1.0, rise_s=600.0))
    assert 'fault = "drift"' in slow
    assert "lasting" not in slow
    quick = lines_of(Fit(BY_KEY["capacity_feedback"], 10.0, "step", rows - 600.0, -1.5, rise_s=8.0))
    assert 'fault = "bias"' in quick  # −12 % of travel in 8 s is faster than a scenario's drift may be
    assert number(quick, "size") == pytest.approx(-12.0, rel=0.05)


def test_a_slipping_linkage_is_found_by_what_moves() -> None:
    one = night("stop button", 4001)
    record = one.evidence.record
    first = record.measured["capacity_position"]
    onset = record.rows // 2
    second = record.measured["capacity_position_opposite"].copy()
    second[onset:] -= 0.5 * (first[onset:] - first[onset])
    slipped = replace(record, measured={**record.measured, "capacity_position_opposite": second})
    evidence = evidence_of(slipped, one.parameters)
    white = solve_triangular(evidence.lower, evidence.stack.values, lower=True)
    found = fit(evidence, BY_KEY["capacity_linkage"], white)
    assert found is not None
    assert found.amount == pytest.approx(0.5, abs=0.1)
    assert found.chi2 < 0.5 * float(white @ white)
    text = lines_of(replace(found, onset_s=float(onset)))
    assert 'fault = "capacity_linkage_slip"' in text
