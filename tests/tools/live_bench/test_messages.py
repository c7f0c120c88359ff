"""What a page may say: fuzzed, nothing but the known messages gets through."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tools.live_bench.messages import LARGEST_BYTES, SPEEDS, AnyMessage, MessageRefused, Speed, read_message

GOOD: list[dict[str, Any]] = [
    {"do": "run"}, {"do": "pause", "ticket": 3}, {"do": "scan"}, {"do": "speed", "factor": 50},
    {"do": "mark", "name": "before"}, {"do": "back", "moment": 0}, {"do": "keep"}, {"do": "export"}, {"do": "take"},
    {"do": "ask"}, {"do": "hand_over", "to": 2}, {"do": "act", "event": {"kind": "load_step", "change": "+1 kW"}},
    {"do": "settings", "changes": [{"setting": "pi.integral_time", "value": "40 s"}]},
    {"do": "settings", "changes": [{"setting": "pi.gain_multiplier", "value": [1.0, 2, "3"]}]},
]  # fmt: skip


@pytest.mark.parametrize("data", GOOD, ids=lambda data: data["do"])
def test_what_is_known_is_read(data: dict[str, Any]) -> None:
    assert read_message(json.dumps(data)).do == data["do"]


def test_every_kind_is_tried() -> None:
    assert {data["do"] for data in GOOD} == {
        model.model_fields["do"].annotation.__args__[0] for model in AnyMessage.__args__
    }
    assert Speed.model_fields["factor"].annotation.__args__ == SPEEDS  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("raw", "words"),
    [
        (b"{}", "binary"),
        ("", "not JSON"),
        ("[" * 5000, "not JSON"),
        ("[]", "one JSON object"),
        ("3", "one JSON object"),
        ("{}", "do"),
        ('{"do":"fly"}', "do"),
        ('{"do":"speed","factor":7}', "factor"),
        ('{"do":"speed","factor":1e9}', "factor"),
        ('{"do":"speed","factor":"1"}', "factor"),
        ('{"do":"back","moment":-1}', "moment"),
        ('{"do":"back","moment":1.5}', "moment"),
        ('{"do":"run","extra":1}', "extra"),
        ('{"do":"run","ticket":-1}', "ticket"),
        ('{"do":"mark","name":""}', "name"),
        ('{"do":"mark","name":"' + "x" * 61 + '"}', "name"),
        ('{"do":"act","event":{}}', "event"),
        ('{"do":"act","event":{"kind":{"deep":1}}}', "event"),
        ('{"do":"act","event":{"Kind":"x"}}', "event"),
        ('{"do":"act","event":{"change":NaN}}', "event"),
        ('{"do":"act","event":{"change":1e999}}', "event"),
        ('{"do":"settings","changes":[]}', "changes"),
        ('{"do":"run","pad":"' + "x" * LARGEST_BYTES + '"}', "allowed: 8192"),
        ('{"do":"mark","name":"' + "\U0001f9ca" * 3000 + '"}', "allowed: 8192"),
    ],
)
def test_what_is_not_is_refused_in_words(raw: str | bytes, words: str) -> None:
    with pytest.raises(MessageRefused, match=words):
        read_message(raw)


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=30),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=12), inner, max_size=4),
    max_leaves=12,
)


def read_or_refused(raw: str | bytes) -> Any:
    words = "read"
    found = None
    try:
        found = read_message(raw)
    except MessageRefused as error:
        words = str(error)
    assert 0 < len(words) < 400
    return found


@given(st.text() | st.binary() | JSON.map(json.dumps))
def test_anything_at_all_is_read_or_refused(raw: str | bytes) -> None:
    read_or_refused(raw)


@given(
    st.sampled_from(GOOD),
    st.sampled_from(["do", "ticket", "factor", "name", "moment", "event", "changes", "to", "x"]),
    JSON,
)
def test_a_damaged_message_is_read_or_refused(data: dict[str, Any], key: str, value: Any) -> None:
    found = read_or_refused(json.dumps({**data, key: value}))
    if found is not None and key == "event":
        assert all(isinstance(v, bool | int | float | str) for v in found.event.values())
