"""`twoslide describe` on a terminal: nothing is cut."""

from __future__ import annotations

import io

import pytest
from click.testing import CliRunner
from rich.console import Console

from scenarios.field_guide import guide, notes, topics
from tools.describe import describe, show


def shown(topic: str, width: int) -> str:
    text = io.StringIO()
    show(Console(file=text, width=width, force_terminal=True, color_system=None), topic, guide(topic), notes(topic))
    return text.getvalue()


@pytest.mark.parametrize("topic", topics())
@pytest.mark.parametrize("width", [80, 100, 160, 300])
def test_every_key_is_whole_and_nothing_is_cut(topic: str, width: int) -> None:
    text = shown(topic, width)
    for row in guide(topic):
        assert row.name in text, (row.name, width)
    # an ellipsis of the text itself ("0 … 1") is none of the table's
    assert text.count("…") == sum("".join((r.name, r.range, r.default, r.why)).count("…") for r in guide(topic))
    assert max(map(len, text.splitlines())) <= width


def test_a_terminal_narrower_than_a_key_folds_it() -> None:
    joined = "".join(line.strip() for line in shown("scheduled_pi", 30).splitlines())
    assert all(row.name in joined for row in guide("scheduled_pi"))


def test_brackets_are_text_and_no_markup() -> None:
    assert '[[event]] kind = "load_step"' in shown("events", 80)


@pytest.mark.parametrize("topic", topics())
def test_markdown_has_a_line_a_row_and_the_notes(topic: str) -> None:
    result = CliRunner().invoke(describe, [topic, "--markdown"], standalone_mode=False)
    assert result.exception is None
    lines = result.output.splitlines()
    assert sum(line.startswith("| ") for line in lines) == len(guide(topic)) + 1
    assert all(note in lines for note in notes(topic))
