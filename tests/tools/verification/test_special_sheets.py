"""The sheets of the verification scenarios are what their generator makes now."""

from __future__ import annotations

from pathlib import Path

import pytest

from controller.registry import SHIPPED, cross_check
from tools.verification.special_sheets import SHEETS, SPECIAL, write_special_sheets


def test_the_sheets_are_fresh(tmp_path: Path) -> None:
    """Stale means: the demo settings changed, and `python -m tools.verification.special_sheets` was not run."""
    made = write_special_sheets(tmp_path)
    assert {path.name for path in made} == {path.name for path in SHEETS.iterdir()}
    for path in made:
        assert path.read_bytes() == (SHEETS / path.name).read_bytes(), path.name


@pytest.mark.parametrize("name", SHIPPED)
@pytest.mark.parametrize("kind", SPECIAL)
def test_they_do_not_contradict_themselves(kind: str, name: str) -> None:
    assert cross_check(SPECIAL[kind][1](name)) == []
