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
