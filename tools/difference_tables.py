"""What `twoslide compare` prints: runs or sheets against each other, as tables and as JSON data."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.table import Table
from rich.text import Text

from scenarios.finished_runs import Match
from scenarios.group_verdicts import BETTER, EQUAL, NOT_COMPARABLE, VERDICTS, WORSE
from scenarios.quantities import format_quantity
from scenarios.score_differences import RULE, Difference, Line, counts, lines_of, verdicts_of
from scenarios.score_records import number_text
from scenarios.sheet_differences import SettingDifference
from tools.names import short_name, wrapped

MARK = {BETTER: "✓", WORSE: "✗", EQUAL: "=", NOT_COMPARABLE: "?"}
STYLE = {BETTER: "bold", WORSE: "bold"}
ARROW = {"lower": "↓", "higher": "↑", "none": ""}
FORMAT_VERSION = 1


def _unit(unit: str) -> str:
    return "" if unit == "1" else unit


def _cell(text: str, difference: Difference) -> Text:
    if difference.change is None:
        return Text(text)
    within = (
        f" (within {number_text(difference.tolerance)})" if difference.meaning == EQUAL and difference.change else ""
    )
    mark = MARK.get(difference.meaning, "·")
    return Text(
        f"{text}  {difference.text}  {mark} {difference.meaning}{within}", style=STYLE.get(difference.meaning, "")
    )


def match_table(match: Match, lines: Sequence[Line]) -> Table:
    """All scores of one scenario's runs: value, difference from the first run with its sign, and its meaning."""
    caption = (
        f"differences are against {match.names[0]} · ↓ lower is better, ↑ higher is better, no arrow: a plain fact · "
        f"= {RULE}"
    )
    table = Table(title=Text(match.title), title_justify="left", caption=Text(caption), caption_justify="left")
    table.add_column("score", overflow="fold")
    table.add_column("unit")
    for name in match.names:
        table.add_column(Text(wrapped(name)), overflow="fold")
    group = ""
    for line in lines:
        head = line.head
        if head.group != group:
            group = head.group
            table.add_section()
            table.add_row(Text(group, style="bold"))
        cells = [
            _cell(s.text, d) if k else Text(s.text)
            for k, (s, d) in enumerate(zip(line.scores, line.differences, strict=True))
        ]
        table.add_row(Text(f"{head.label} {ARROW[head.direction]}".rstrip()), Text(_unit(head.unit)), *cells)
    return table


def print_match(console: Console, match: Match) -> None:
    """One scenario: warnings, table, and a verdict for each group of scores."""

    def say(text: str, style: str = "") -> None:
        console.print(text, style=style or None, markup=False, soft_wrap=True)

    if match.unlike:
        say(f"NOT LIKE FOR LIKE: {'; '.join(match.unlike)}", "bold")
    console.print(match_table(match, lines_of(match)))
    for name, run in zip(match.names, match.runs, strict=True):
        facts = run.facts
        sheet = (
            f"{facts.get('settings', '?')} {facts.get('settings_checksum', '').removeprefix('sha256:')[:8]}".rstrip()
        )
        controller = short_name(facts.get("controller", "?"))
        say(f"{name}: {controller}, settings {sheet}, seed {facts.get('seed', '?')} ({run.folder})")
        if run.failure:
            say(f"  ended early: {run.failure}", "bold")
    for name, verdicts in verdicts_of(match):
        say(f"{name} against {match.names[0]}:")
        for verdict in verdicts:
            say(f"  {verdict}")


def summary_table(matches: Sequence[Match]) -> Table:
    """How many scenarios each group of scores is better, equal, worse and not comparable on, for each run but the first."""
    table = Table(title=f"{len(matches)} scenarios, against {matches[0].names[0]}", title_justify="left")
    for name in ("run", "group"):
        table.add_column(name)
    for name in VERDICTS:
        table.add_column(f"{MARK[name]} {name}", justify="right")
    table.add_column("better or equal", justify="right")
    for name, groups in counts(matches).items():
        for group, row in groups.items():
            share = 100.0 * (row[BETTER] + row[EQUAL]) / sum(row.values())  # what is not comparable is not held
            figures = [str(row[word]) for word in VERDICTS]
            table.add_row(Text(name), group, *figures, f"{share:.0f} %")
        table.add_section()
    return table


def brief_table(matches: Sequence[Match]) -> Table:
    """One line a scenario and run: the verdict of each group."""
    table = Table(
        caption=Text("! not like for like · ? not comparable · (…) figures of the group that say the opposite"),
        caption_justify="left",
    )
    for name in ("scenario", "run"):
        table.add_column(name, overflow="fold")
    for verdict in verdicts_of(matches[0])[0][1]:
        table.add_column(verdict.group)
    for match in matches:
        for name, verdicts in verdicts_of(match):
            words = [
                f"{MARK[v.verdict]} {v.verdict}" + (f" ({len(v.contrary)})" if v.contrary else "") for v in verdicts
            ]
            table.add_row(Text(("! " if match.unlike else "") + match.title), Text(name), *words)
    return table


def print_runs(console: Console, matches: Sequence[Match], lonely: Sequence[str]) -> None:
    """Everything about runs: each scenario, then what they say together."""
    for match in matches:
        print_match(console, match)
    if len(matches) > 1:
        console.print(brief_table(matches))
        console.print(summary_table(matches))
    for words in lonely:
        console.print(words, markup=False, soft_wrap=True)


def sheet_table(paths: Sequence[Path], controller: str, found: Sequence[SettingDifference]) -> Table:
    """The settings in which two sheets differ."""
    table = Table(title=Text(f"{controller}: {len(found)} settings differ"), title_justify="left")
    names = [path.name for path in paths]
    if names[0] == names[1]:
        names = [str(path) for path in paths]
    table.add_column("setting", no_wrap=True)
    for name in (*names, "change", "what it is for"):
        table.add_column(Text(name), overflow="fold")
    for one in found:
        change = ""
        if one.change is not None:
            sign = "+" if one.change > 0.0 else "−"
            change = f"{sign}{format_quantity(float(f'{abs(one.change):.6g}'), one.unit)}"
        table.add_row(Text(one.key), Text(one.before), Text(one.after), Text(change), Text(one.why))
    return table


def sheets_data(paths: Sequence[Path], controller: str, found: Sequence[SettingDifference]) -> dict[str, Any]:
    """The same as plain data."""
    settings = [
        {"setting": d.key, "unit": d.unit, "before": d.before, "after": d.after, "change": d.change, "why": d.why}
        for d in found
    ]
    return {
        "format_version": FORMAT_VERSION,
        "sheets": [str(path) for path in paths],
        "controller": controller,
        "differences": settings,
    }


def runs_data(matches: Sequence[Match], lonely: Sequence[str]) -> dict[str, Any]:
    """Everything about runs as plain data."""
    return {
        "format_version": FORMAT_VERSION,
        "scenarios": [_match_data(match) for match in matches],
        "summary": counts(matches),
        "unmatched": list(lonely),
    }


def _match_data(match: Match) -> dict[str, Any]:
    scores = {
        line.head.name: {
            "label": line.head.label,
            "group": line.head.group,
            "unit": line.head.unit,
            "direction": line.head.direction,
            "values": [score.value for score in line.scores],
            "changes": [None, *(d.change for d in line.differences[1:])],
            "tolerances": [None, *(d.tolerance for d in line.differences[1:])],
            "meanings": [None, *(d.meaning for d in line.differences[1:])],
        }
        for line in lines_of(match)
    }
    verdicts = {
        name: {v.group: {"verdict": v.verdict, "reason": v.reason, "contrary": list(v.contrary)} for v in found}
        for name, found in verdicts_of(match)
    }
    return {
        "title": match.title,
        "runs": [
            {"name": n, "folder": str(r.folder), "failure": r.failure or None, "facts": r.facts}
            for n, r in zip(match.names, match.runs, strict=True)
        ],
        "like_for_like": not match.unlike,
        "unlike": list(match.unlike),
        "scores": scores,
        "verdicts": verdicts,
    }
