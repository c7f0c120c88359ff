"""What the hunt draws: plain data within its ranges, more of what tells most, the same from the same seed."""

from __future__ import annotations

import json
import random

from hypothesis import given
from hypothesis import strategies as st

from tools.verification.draws import KINDS, alone, both_ends, changed, draw
from tools.verification.trial import MOST_HAPPENINGS, TEMPLATES, from_dict


@given(st.integers(0, 2**32))
def test_a_drawn_trial_is_plain_data_and_stays_in_its_ranges(seed: int) -> None:
    trial = draw(random.Random(seed))
    assert from_dict(json.loads(json.dumps(trial.as_dict()))) == trial
    values, ranges = trial.numbers()
    assert all(low <= v <= high for v, (low, high) in zip(values, ranges, strict=True))
    assert trial.moved(values) == trial
    far = trial.moved([1e9] * len(values)).numbers()[0]
    assert far == [high for _, high in ranges]


@given(st.integers(0, 2**32))
def test_a_changed_trial_stays_in_its_ranges(seed: int) -> None:
    rng = random.Random(seed)
    trial = draw(rng)
    for _ in range(20):
        trial = changed(rng, trial)
        values, ranges = trial.numbers()
        assert all(low <= v <= high for v, (low, high) in zip(values, ranges, strict=True))
        assert 1 <= len(trial.happenings) <= MOST_HAPPENINGS


def test_half_of_the_draws_are_plain_and_few_kinds_come_together() -> None:
    rng = random.Random(5)
    trials = [draw(rng) for _ in range(2000)]
    plain = sum(not t.settings and not t.plant for t in trials) / len(trials)
    assert 0.5 < plain < 0.75, "the half that is plain, and those of the others that moved nothing"
    assert max(len({h.name for h in t.happenings}) for t in trials) <= min(KINDS[1], MOST_HAPPENINGS)
    few = sum(len(t.happenings) <= 2 for t in trials) / len(trials)
    assert 0.45 < few < 0.55
    assert {h.name for t in trials for h in t.happenings} == set(TEMPLATES)


def test_alone_begins_in_service_and_is_followed_from_the_second_turn_on() -> None:
    n = len(both_ends(4))
    first, second = ([alone(random.Random(k), 4, turn * n + k).happenings for k in range(n)] for turn in (0, 1))
    assert all(len(one) == 1 and one[0].at_s >= 300 for one in first)
    assert [one[0].name for one in first] == [one[0].name for one in second]
    assert {len(one) for one in second} == {1, 2}
    assert min(one[0].at_s for one in second) < 300 <= max(one[0].at_s for one in second)
    assert all(one[0].at_s <= one[-1].at_s for one in second)
