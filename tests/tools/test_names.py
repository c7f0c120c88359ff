"""Names over columns."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tools.names import short_name, wrapped


@pytest.mark.parametrize(
    ("name", "short"),
    [
        ("scheduled_pi", "scheduled_pi"), ("/a/b/mine.py:Mine", "mine.py:Mine"), ("b/c.so", "c.so"), ("1: a/b", "1: a/b"),
        ("/a.py/mine.py:Mine", "mine.py:Mine"), ("</script>", "</script>"),
    ],
)  # fmt: skip
def test_a_controllers_folder_is_left_out(name: str, short: str) -> None:
    assert short_name(name) == short


def test_a_short_name_stays_on_its_line() -> None:
    assert wrapped("three_position") == "three_position"


@given(st.text(st.sampled_from("ab_/:. -"), max_size=120), st.integers(1, 30))
def test_lines_are_short_and_nothing_is_lost(name: str, width: int) -> None:
    lines = wrapped(name, width).split("\n")
    assert all(len(line) <= width for line in lines)
    assert "".join(lines).replace(" ", "") == name.replace(" ", "")
