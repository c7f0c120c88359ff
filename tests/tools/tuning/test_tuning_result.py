"""The result's records: there and back through JSON, whatever the figures."""

from __future__ import annotations

import json
import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tools.tuning import tuning_result
from tools.tuning.tuning_result import Between, MapRow, Trial, TuningResult, from_json, read_result, to_json

RECORDS = [
    kind for kind in vars(tuning_result).values() if isinstance(kind, type) and hasattr(kind, "__dataclass_fields__")
]


def same(a: Any, b: Any) -> bool:
    """Equal, and a nan equals a nan."""
    return json.loads(to_json(a)) == json.loads(to_json(b)) and type(a) is type(b)


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_every_record_comes_back_as_it_was(data: st.DataObject) -> None:
    kind = data.draw(st.sampled_from([k for k in RECORDS if k is not TuningResult]))
    record = data.draw(st.from_type(kind))
    text = to_json(record)
    json.loads(text, parse_constant=lambda word: pytest.fail(f"{word} is no JSON"))
    assert same(from_json(kind, text), record)


def test_what_is_no_number_keeps_its_meaning() -> None:
    back = from_json(Between, to_json(Between(math.inf, -math.inf, math.nan)))
    assert back.value == math.inf
    assert back.low == -math.inf
    assert math.isnan(back.high)


def test_a_tuple_of_records() -> None:
    rows = (Between(1.0, 0.5, 2.0), Between(2.0, 1.0, 3.0))
    assert from_json(tuple[Between, ...], to_json(rows)) == rows


def test_another_format_is_refused() -> None:
    with pytest.raises(ValueError, match="no tuning result of format 1: 99"):
        read_result('{"format_version": 99}')
    with pytest.raises(ValueError, match="no tuning result"):
        read_result("[]")
    with pytest.raises(ValueError, match="capacity_travel_frac"):
        from_json(MapRow, "{}")


def test_only_a_finished_trial_is_feasible() -> None:
    trial = Trial(0, "search", "pruned", False, (), {}, {}, None, None, 3)
    assert not trial.feasible
