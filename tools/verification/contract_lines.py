"""The contract suite (scenarios/controller_checks.py) as lines of an acceptance record.

What every controller owes whoever wrote it: the same answers twice, a reset that resets, a clock that may wrap, scans that
may be late.  The suite plays inputs of its own, so that these lines have no scenario, no margin and no picture.
"""

from __future__ import annotations

from pathlib import Path

from scenarios.chosen_controller import choose
from scenarios.controller_checks import PROMISES, CheckResult, check_chosen
from tools.verification.acceptance import Line
from tools.verification.campaign import Campaign
from tools.verification.findings import Verdict
from tools.verification.pack import Requirement, Severity
from tools.verification.terms import check_truth

FILE = "contract"
SOURCE = "the controllers' contract (controller/contract.py)"
_PEOPLE, _DAMAGE = ("stops", "limits"), ("drives", "failed_instrument")
_SEVERITY = {
    "stops": Severity.PEOPLE,
    "limits": Severity.PEOPLE,
    "drives": Severity.DAMAGE,
    "failed_instrument": Severity.DAMAGE,
}


def contract_lines(campaign: Campaign, seed: int) -> list[Line]:
    """A line for each promise, kept only where each controller of the campaign keeps it with each of its sheets.

    Each is checked in a process of its own.  InputRefused for what is no controller.
    """
    asked = sorted({(one.named.full, one.scenario.sheet_path) for one in campaign.prepared}, key=str)
    results = [(_name(full, sheet), check_chosen(choose(full, sheet), seed)) for full, sheet in asked]
    return [_line(name, [(who, found[k]) for who, found in results]) for k, name in enumerate(PROMISES)]


def _name(full: str, sheet: Path | None) -> str:
    return f"{Path(full).name} with {sheet.name}" if sheet else Path(full).name


def _line(name: str, results: list[tuple[str, CheckResult]]) -> Line:
    bad = [(who, one) for who, one in results if not one.passed]
    verdict = Verdict.HELD
    if any(one.judged for _, one in bad):
        verdict = Verdict.FAILED
    elif bad:
        verdict = Verdict.NOT_EXERCISED
    severity = Severity.PEOPLE if name in _PEOPLE else Severity.DAMAGE if name in _DAMAGE else Severity.SERVICE
    text = PROMISES[name][0].upper() + PROMISES[name][1:] + "."
    requirement = Requirement(
        "CT-" + name.replace("_", "-"), text, severity, check_truth("true", {}), "true",
        source=SOURCE, file=FILE,
    )  # fmt: skip
    return Line(
        requirement, verdict, text, None, None,
        tuple((who, 1) for who, one in results if one.passed or one.judged),
        tuple(who for who, one in bad if one.judged),
        "; ".join(f"{who}: {one.text}" for who, one in bad),
    )  # fmt: skip
