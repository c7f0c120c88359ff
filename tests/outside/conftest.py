"""Outside checks: each compares this project with a value from outside and notes the worst deviation it met.

`pytest tests/outside` prints them as the table that stands in DEVELOPERS.md.  Provenance as in the published checks:
(a) read in the published text, (b) computed with a general-purpose library or by other code, (c) from memory.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import pytest

KEY = "outside check"
UNITS = {"%": 100.0}  # a relative deviation is shown in per cent, an absolute one in its own unit


class Check:
    """One row of the table: compares values, keeps the worst, and fails where it exceeds the tolerance."""

    def __init__(self, row: dict[str, Any]) -> None:
        self.row = row

    def _note(self, deviation: float, found: float, expected: float, at: str) -> None:
        row = self.row
        row["compared"] += 1
        if not abs(deviation) <= abs(row["worst"]):  # also keeps a nan
            row["worst"] = deviation
        assert abs(deviation) <= row["tolerance"], f"{row['check']} {at}: found {found!r}, expected {expected!r}"

    def relative(self, found: float, expected: float, at: str = "") -> None:
        """Compare, deviation relative to what is expected."""
        self._note(found / expected - 1.0, found, expected, at)

    def absolute(self, found: float, expected: float, at: str = "") -> None:
        """Compare, deviation in the value's own unit."""
        self._note(found - expected, found, expected, at)

    def holds(self, condition: bool, at: str = "") -> None:
        """A sign, an order or a word: it holds or it does not."""
        self._note(0.0 if condition else math.inf, float(condition), 1.0, at)


Outside = Callable[..., Check]


@pytest.fixture
def outside(request: pytest.FixtureRequest) -> Outside:
    """Begin a check: outside(what, source, provenance, tolerance, unit); unit "%" means relative, "" exact or ordinal."""

    def begin(check: str, source: str, provenance: str, tolerance: float, unit: str = "%") -> Check:
        row = {
            "check": check,
            "source": source,
            "provenance": provenance,
            "tolerance": tolerance,
            "unit": unit,
            "worst": 0.0,
            "compared": 0,
            "where": request.node.nodeid.split("::")[0],
        }
        request.node.user_properties.append((KEY, row))
        return Check(row)

    return begin


def _amount(row: dict[str, Any], value: float, sign: str) -> str:
    unit = "" if row["unit"] == "1" else row["unit"]
    return f"{value * UNITS.get(unit, 1.0):{sign}.3g} {unit}".strip()


def _merged(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Parametrised cases of one check are one row."""
    out: dict[tuple[str, str], dict[str, Any]] = {}
    for row in rows:
        first = out.setdefault((row["where"], row["check"]), {**row, "worst": 0.0, "compared": 0})
        first["compared"] += row["compared"]
        if not abs(row["worst"]) <= abs(first["worst"]):
            first["worst"] = row["worst"]
    return list(out.values())


def pytest_terminal_summary(terminalreporter: Any, config: pytest.Config) -> None:
    """The table, when the outside checks were asked for by name."""
    if not any("outside" in str(arg) for arg in config.args):
        return
    rows = []
    for outcome in ("passed", "failed", "xfailed"):
        for report in terminalreporter.stats.get(outcome, []):
            if report.when == "call":
                rows += [value for key, value in report.user_properties if key == KEY]
    terminalreporter.section("outside checks")
    terminalreporter.write_line("| check | source | provenance | tolerance | result: worst of n | where |")
    terminalreporter.write_line("|---|---|---|---|---|---|")
    for row in _merged(rows):
        tolerance = "holds" if row["tolerance"] == 0.0 else _amount(row, row["tolerance"], "")
        result = _amount(row, row["worst"], "+") if tolerance != "holds" else ("yes" if row["worst"] == 0 else "NO")
        terminalreporter.write_line(
            f"| {row['check']} | {row['source']} | {row['provenance']} | {tolerance} | {result} of {row['compared']} "
            f"| `{row['where']}` |"
        )
