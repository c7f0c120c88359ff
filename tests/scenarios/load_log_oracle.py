"""A second, simpler reader of a load record: what speaks against one that was accepted."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from typing import Any


def log_objections(log: Any) -> list[str]:
    """What a CSV says against the load record read of it: a second, simpler reader."""
    text = log.path.read_bytes().decode("utf-8-sig")
    rows = [
        row for row in text.splitlines() if row.strip() and row.lstrip(' "')[:1] != "#" and row.lstrip(' "')[:2] != "//"
    ]
    found = []
    if len(log.time_ms) != len(log.load_w) or len(log.load_w) < 2 or log.time_ms[0] != 0:
        found.append(f"{len(log.time_ms)} times from {log.time_ms[:1]}, {len(log.load_w)} loads")
    if any(b <= a for a, b in zip(log.time_ms, log.time_ms[1:], strict=False)):
        found.append("times that do not rise")
    if not all(math.isfinite(load) and 0.0 <= load <= 1e8 for load in log.load_w):
        found.append("a load that is no load")
    left_out = sum(int(m[1]) for note in log.notes if (m := re.match(r"(\d+) rows? left out", note)))
    headers = len(rows) - left_out - len(log.load_w)
    if headers not in (0, 1) or left_out > len(log.load_w):
        found.append(f"{len(rows)} rows: {len(log.load_w)} kept, {left_out} said to be left out")
    todo = list(log.load_w)
    for row in rows:  # every load that was kept stands in a row of the file, in order
        if todo and any(math.isclose(todo[0], each, rel_tol=1e-9, abs_tol=1e-6) for each in _loads_in(row)):
            todo.pop(0)
    if todo:
        found.append(f"a load of {todo[0]} W stands in no row of its own")
    return found


def _loads_in(row: str) -> Iterator[float]:
    for cell in re.split(r"[;\t]", row) if re.search(r"[;\t]", row) else row.split(","):
        bare = cell.strip(' "\u00a0').replace("−", "-").replace("–", "-")
        for text in {bare, bare.replace(",", "."), bare.replace(".", "").replace(",", ".")}:
            try:
                value = float(text)
            except ValueError:
                continue
            yield from (max(value * factor, 0.0) for factor in (1.0, 1e3, 1e6, 3516.8528420667))
