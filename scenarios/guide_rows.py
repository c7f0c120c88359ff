"""One line of a generated guide, and the guide as Markdown."""

from __future__ import annotations

from typing import NamedTuple

REQUIRED, OPTIONAL = "must be given", "may be left out"
IN_PLACE = (REQUIRED, OPTIONAL)  # what a row says where there is no default


class GuideRow(NamedTuple):
    """One line of the guide, all words; default and range as a file writes them."""

    name: str
    unit: str
    range: str
    default: str
    why: str


def as_markdown(rows: list[GuideRow]) -> str:
    """The table as Markdown."""
    lines = ["| name | unit | range | default | why |", "|---|---|---|---|---|"]
    lines += ["| " + " | ".join(cell.replace("|", "\\|") for cell in row) + " |" for row in rows]
    return "\n".join(lines)
