"""Colours that mean the same thing in every picture, on light and on dark paper."""

from __future__ import annotations

from typing import NamedTuple


class Ink(NamedTuple):
    """One meaning in two colours."""

    light: str
    dark: str


# The light ones are the report's; each dark one has the same hue and a contrast of 4.5 or more to the dark card.
CAPACITY = Ink("#1f5fa8", "#6aa9f0")
VOLUME_RATIO = Ink("#c8690a", "#f0a04b")
LIMIT = Ink("#a3201d", "#f2938d")
PLAIN = Ink("#0b5c52", "#6fcfbe")
QUIET = Ink("#59636d", "#a3adb7")
BAND = Ink("#7d8894", "#8d98a3")
SET_POINT = Ink("#3c444d", "#c9d1d8")
# Of runs over each other: any two stay apart in every kind of colour blindness (tests/tools/report/test_comparison.py).
RUNS = (
    Ink("#9a7fc4", "#8275ab"), Ink("#0b5c52", "#83fef1"), Ink("#401070", "#cd19fe"), Ink("#704010", "#da4252"),
    Ink("#3fa673", "#dffea4"), Ink("#c9731d", "#f4c20b"),
)  # fmt: skip

NAMES: dict[str, Ink] = {
    "capacity": CAPACITY, "ratio": VOLUME_RATIO, "limit": LIMIT, "plain": PLAIN, "quiet": QUIET, "band": BAND,
    "set-point": SET_POINT, **{f"run-{k}": ink for k, ink in enumerate(RUNS)},
}  # fmt: skip


def palette_css() -> str:
    """Every colour as a variable of a style sheet, `--capacity` and so on, that follows the page's scheme."""
    return " ".join(f"--{name}:light-dark({ink.light}, {ink.dark});" for name, ink in NAMES.items())
