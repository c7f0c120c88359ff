"""From runs to one HTML file: scores, pictures, facts, and what the figures are not good for."""

from __future__ import annotations

import json
from dataclasses import replace
from itertools import groupby
from pathlib import Path
from typing import Any

from scenarios.score_differences import RULE, Line, lines_between
from tools.charts import CAUTION, write_page
from tools.names import short_name
from tools.report.runs import ReportRun, run_colour

DIRECTION = {"lower": "lower is better", "higher": "higher is better", "none": "a plain fact"}
EVENTS_AT_MOST = 600
WEIGHTY = ("trip", "run", "disturbance", "operator", "instrument", "alarm", "start", "motor", "sequence", "inhibit")
ARROW = {"lower": "↓", "higher": "↑", "none": ""}


def _score_groups(lines: list[Line]) -> list[dict[str, Any]]:
    groups = []
    for group, members in groupby(lines, key=lambda line: line.head.group):
        rows = []
        for line in members:
            cells = [
                {"text": score.text, "mark": line.mark(k), "best": line.best == k, "change": line.change_text(k)}
                for k, score in enumerate(line.scores)
            ]
            head = line.head
            rows.append(
                {"score": head, "direction": DIRECTION[head.direction], "arrow": ARROW[head.direction], "cells": cells}
            )
        groups.append({"name": group, "rows": rows})
    return groups


def _clock(time_ms: int) -> str:
    seconds, rest = divmod(time_ms, 1000)
    text = f"{seconds // 3600:02d}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"
    return f"{text}.{rest:03d}" if rest else text


def facts_in_words(facts: dict[str, str]) -> list[tuple[str, list[str]]]:
    """Facts to show, each with its lines: what is a JSON object or list in the file becomes one line an entry.

    >>> facts_in_words({"seed": "7", "notes": "[]", "sha256": '{"plant": "0123456789abcdef"}'})
    [('seed', ['7']), ('sha256', ['plant: 0123456789abcdef'])]
    """
    out = []
    for key, value in facts.items():
        try:
            found = json.loads(value) if value[:1] in ("{", "[") else value
        except ValueError:
            found = value
        if isinstance(found, dict):
            lines = [f"{name}: {item}" for name, item in found.items()]
        elif isinstance(found, list):
            lines = [str(item) for item in found]
        else:
            lines = [value] if value else []
        if lines:
            out.append((key.replace("_", " "), lines))
    return out


def _events(run: ReportRun) -> dict[str, Any]:
    """What happened but for the slides' drives; of very many, those that weigh most, in order."""
    found = [e for e in run.trace.events if e.kind != "drive"]
    rank = {kind: k for k, kind in enumerate(WEIGHTY)}
    kept = sorted(sorted(found, key=lambda e: rank.get(e.kind, len(rank)))[:EVENTS_AT_MOST], key=lambda e: e.time_ms)
    lines = [
        (e.time_ms, _clock(e.time_ms), e.kind, f"{e.source.replace('_', ' ')}: {e.text}" if e.text else e.source)
        for e in kept
    ]
    return {"lines": lines, "left_out": len(found) - len(kept)}


def _run_data(run: ReportRun, k: int) -> dict[str, Any]:
    trips = [e for e in run.trace.events if e.source == "trip_first_out" and not e.text.endswith("→ NONE")]
    return {
        "name": run.name,
        "colour": run_colour(k),
        "failure": run.failure,
        "purpose": run.purpose,
        "expects": run.expects,
        "facts": facts_in_words(run.facts),
        "trips": [(_clock(e.time_ms), e.text.rsplit("→ ", 1)[-1].replace("_", " ").lower()) for e in trips],
        "violations": [(_clock(v.time_ms), v.requirement, v.text) for v in run.scores.violations],
        "skipped": run.scores.skipped,
        "settling": [
            (_clock(s.time_ms), s.text, f"{s.settling_s:.0f} s", "yes" if s.settled else "no")
            for s in run.scores.settling
        ],
        "events": _events(run),
        "window": [_clock(t) for t in run.scores.window_ms] if run.scores.window_ms else None,
    }


def write_report(path: Path, runs: list[ReportRun], title: str) -> None:
    """Write one self-contained HTML file; it opens by double-click and asks no address outside.

    The first run is what the others are compared with.  Raises OSError if it cannot be written; a file that stood there
    is replaced whole or not at all.
    """
    from tools.report.pictures import run_sheet

    runs = [replace(run, name=short_name(run.name)) for run in runs]
    lines = lines_between([run.scores for run in runs])
    known = {line.head.name for line in lines}
    sheet = run_sheet(runs)
    write_page(
        path,
        Path(__file__).with_name("page.html"),
        {},
        title=title,
        caution=CAUTION,
        runs=[_run_data(run, k) for k, run in enumerate(runs)],
        groups=_score_groups(lines),
        absent=[score.label for score in runs[0].scores.values if score.name not in known],
        sheet=sheet,
        rule=RULE,
    )
