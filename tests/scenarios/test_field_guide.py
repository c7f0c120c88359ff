"""The generated table of settings, plant parameters and process image."""

from __future__ import annotations

import pytest

from controller.process_image import Inputs, Outputs
from scenarios.errors import InputRefused
from scenarios.field_guide import as_markdown, guide, topics


@pytest.mark.parametrize("topic", topics())
def test_every_topic_has_a_full_table(topic: str) -> None:
    rows = guide(topic)
    assert len(rows) == len({row.name for row in rows}) > 40
    assert all(row.default for row in rows)
    assert len(as_markdown(rows).splitlines()) == len(rows) + 2


@pytest.mark.parametrize("topic", [t for t in topics() if t != "image"])
def test_every_number_has_a_range_and_a_reason(topic: str) -> None:
    for row in guide(topic):
        assert row.why, row.name
        assert row.range or row.default in ("yes", "no"), row.name


def test_the_image_is_whole_and_in_order() -> None:
    names = [*Inputs.__dataclass_fields__, *Outputs.__dataclass_fields__]
    assert [row.name for row in guide("image")] == names


def test_an_unknown_topic_is_refused_with_what_is_known() -> None:
    with pytest.raises(InputRefused, match="scheduled_pi"):
        guide("moon")
