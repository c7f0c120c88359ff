"""The acceptance record as CSV and as JUnit XML, and the table of what exercised what.

CSV: RFC 4180, UTF-8.  JUnit: the form that build servers read (testsuites, testsuite, testcase, failure, skipped).
"""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from pathlib import Path
from xml.etree import ElementTree as ET

from tools.verification.acceptance import CAUTION, Line
from tools.verification.campaign import RunFindings
from tools.verification.findings import Verdict
from tools.verification.hunted import Hunted
from tools.verification.pack import PACKS

HEADS = (
    "id", "severity", "requirement", "verdict", "least_margin", "unit", "at_s", "scenario", "seed", "controller",
    "settings", "deciding_clause", "times_exercised", "scenarios_that_exercised", "scenarios_that_failed", "reason",
    "source", "pack", "test", "hunt_verdict", "hunt_least_margin", "hunt_unit", "hunt_trials", "hunt_trial", "date", "name",
    "signature",
)  # fmt: skip


def test_of(line: Line) -> str:
    """The test that keeps a shipped requirement; "" for somebody else's pack."""
    if Path(line.requirement.file).parent != PACKS or not line.requirement.shown_by:
        return ""
    return f"tests/tools/verification/test_shipped_packs.py::test_shown_and_held[{line.requirement.shown_by}]"


def acceptance_csv(found: Sequence[Line]) -> str:
    """One row for each requirement, with room for date, name and signature."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(HEADS)
    for line in found:
        one, run, need = line.finding, line.run, line.requirement
        writer.writerow(
            [
                need.id, need.severity, line.sentence, line.verdict,
                "" if one is None or one.margin is None else repr(one.margin), "" if one is None else one.unit,
                "" if one is None or one.time_ms is None else one.time_ms / 1000.0,
                run.scenario if run else "", run.seed if run else "", run.controller if run else "",
                run.settings if run else "", one.clause if one else "", line.times,
                " ".join(name for name, _ in line.exercised), " ".join(line.failed), line.reason, need.source,
                Path(need.file).name, test_of(line), *_hunt_cells(line), "", "", "",
            ]
        )  # fmt: skip
    return out.getvalue()


def _hunt_cells(line: Line) -> tuple[str, ...]:
    hunt = line.hunt
    if hunt is None:
        return ("", "", "", "", "")
    return (hunt.verdict, "" if hunt.margin is None else repr(hunt.margin), hunt.unit, str(hunt.trials), hunt.told)


def traceability_csv(found: Sequence[Line], runs: Sequence[RunFindings]) -> str:
    """Requirement by scenario: verdict, times exercised and margin; a row only where the requirement came to count."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(("id", "scenario", "seed", "verdict", "times_exercised", "margin", "unit", "at_s", "test"))
    for line in found:
        for run in runs:
            one = next((one for one in run.findings if one.id == line.requirement.id), None)
            if one is not None and one.exercised:  # the contract suite has inputs of its own
                margin = "" if one.margin is None else repr(one.margin)
                at_s = "" if one.time_ms is None else one.time_ms / 1000.0
                writer.writerow(
                    (one.id, run.scenario, run.seed, one.verdict, one.exercised, margin, one.unit, at_s, test_of(line))
                )
    return out.getvalue()


def junit_xml(found: Sequence[Line], runs: Sequence[RunFindings], title: str, hunted: Hunted | None = None) -> str:
    """A suite for each pack file, a case for each requirement: failed, skipped (not exercised, not applicable) or passed;
    and one for the runs that ended early, each an error."""
    root = ET.Element("testsuites", name=title)
    suites: dict[str, ET.Element] = {}
    totals = dict.fromkeys(("tests", "failures", "skipped"), 0)
    for line in found:
        name = Path(line.requirement.file).stem
        suite = suites.get(name)
        if suite is None:
            suite = suites[name] = ET.SubElement(
                root, "testsuite", name=name, tests="0", failures="0", skipped="0", errors="0"
            )
            properties = ET.SubElement(suite, "properties")
            ET.SubElement(properties, "property", name="caution", value=CAUTION)
            if hunted is not None:
                ET.SubElement(properties, "property", name="hunt", value=hunted.words)
        case = ET.SubElement(
            suite, "testcase", classname=f"twoslide.{name}", name=f"{line.requirement.id} {line.sentence}", time="0"
        )
        kinds = ["tests"]
        if line.verdict is Verdict.FAILED and line.finding and line.run:
            kinds.append("failures")
            at_s = (line.finding.failed_ms or 0) / 1000.0
            where = f"{line.run.scenario}, seed {line.run.seed}, at {at_s:g} s"
            text = f"{where}: margin {line.margin_text}; {line.finding.clause}"
            ET.SubElement(
                case, "failure", message=text, type=str(line.requirement.severity)
            ).text = f"broken in: {', '.join(line.failed)}"
        elif line.verdict is not Verdict.HELD:
            kinds.append("skipped")
            ET.SubElement(case, "skipped", message=f"{line.verdict}{': ' + line.reason if line.reason else ''}")
        else:
            said = ET.SubElement(case, "system-out")
            where = line.run.scenario if line.run else ""
            said.text = f"least margin {line.margin_text} in {where}, {line.times} times exercised" if where else "kept"
        if line.hunt is not None:
            told = case.find("system-out")
            told = ET.SubElement(case, "system-out") if told is None else told
            told.text = "; ".join([*([told.text] if told.text else []), f"in the hunt: {line.hunt.words}"])
        for kind in kinds:
            totals[kind] += 1
            suite.set(kind, str(int(suite.get(kind, "0")) + 1))
    early = [run for run in runs if run.failure]
    if early:  # a controller that hung or crashed breaks no requirement on the rows up to then, and must not pass
        suite = ET.SubElement(
            root, "testsuite", name="runs", tests=str(len(early)), failures="0", skipped="0", errors=str(len(early))
        )
        totals["tests"] += len(early)
        for run in early:
            name = f"{run.scenario}, seed {run.seed}, runs to its end"
            case = ET.SubElement(suite, "testcase", classname="twoslide.runs", name=name, time="0")
            ET.SubElement(case, "error", message=run.failure, type="ended early")
    totals["errors"] = len(early)
    for kind, number in totals.items():
        root.set(kind, str(number))
    root.set("time", f"{sum(run.wall_s for run in runs):.3f}")
    ET.indent(root)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ET.tostring(root, encoding="unicode") + "\n"
