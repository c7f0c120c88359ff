"""What the terminal shows after a run: scores side by side, or a line for each of several scenarios."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from rich.table import Table
from rich.text import Text

from scenarios.score_differences import RULE, lines_between
from scenarios.score_records import Scores
from tools.names import short_name, wrapped

if TYPE_CHECKING:
    from rich.console import Console

    from scenarios.preparation import Prepared
    from scenarios.runner import RunResult
    from scenarios.trace import Trace

ARROW = {"lower": "↓", "higher": "↑", "none": ""}
BRIEF = (  # the figures of a one-line summary
    ("suction_deviation_rms_k", "RMS K"),
    ("time_within_1_k_pct", "in ±1 K %"),
    ("capacity_reversals_per_h", "reversals/h"),
    ("specific_energy_kwh_per_kwh", "kWh/kWh"),
    ("trips_count", "trips"),
    ("violations_count", "broken"),
)


def score_table(names: Sequence[str], scores: Sequence[Scores]) -> Table:
    """All scores that apply, grouped; with several runs the better figure carries a mark, and changes are shown.

    What counts as better is what `twoslide compare` says: scenarios/score_differences.py.
    """
    several = len(names) > 1
    caption = "↓ lower is better · ↑ higher is better"
    if several:
        caption += f" · ✓ better than every other · = {RULE} · % against {short_name(names[0])}"
    table = Table(caption=caption, caption_justify="left")
    table.add_column("score", overflow="fold")
    table.add_column("unit")
    for name in names:
        table.add_column(Text(wrapped(short_name(name))), justify="right", overflow="fold")
    group = ""
    for line in lines_between(scores):
        head = line.head
        if head.group != group:
            group = head.group
            table.add_section()
            table.add_row(Text(group, style="bold"))
        cells = []
        for k, score in enumerate(line.scores):
            mark = line.mark(k)
            change = f"  {line.change_text(k)}" if line.change_text(k) else ""
            cells.append(Text(f"{mark} {score.text}{change}".strip(), style="bold" if line.best == k else ""))
        unit = "" if head.unit == "1" else head.unit
        table.add_row(Text(f"{head.label} {ARROW[head.direction]}".rstrip()), Text(unit), *cells)
    return table


def scenario_table(rows: Sequence[tuple[str, str, Scores, str | None]]) -> Table:
    """One line a run: scenario, controller, scores in brief, and what went wrong."""
    table = Table()
    table.add_column("scenario", overflow="fold")
    table.add_column("controller", overflow="fold")
    for _, label in BRIEF:
        table.add_column(label, justify="right")
    table.add_column("ended", overflow="fold")
    for scenario, controller, scores, failure in rows:
        known = {score.name: score.text for score in scores.values}
        figures = [Text(known.get(name, "–")) for name, _ in BRIEF]
        table.add_row(Text(scenario), Text(wrapped(short_name(controller))), *figures, Text(failure or "as planned"))
    return table


def speed(result: RunResult) -> str:
    """How fast a run went, in words."""
    return f"{result.simulated_s_per_s:,.0f} simulated s per s"


def print_failure(console: Console, one: Prepared, result: RunResult) -> None:
    """Why a run ended early, to stand before its scores: they are of a part of the run."""
    if result.failure:
        words = f"{short_name(one.controller_name)} ended early: {result.failure}"
        console.print(words, style="bold", markup=False, soft_wrap=True)


def print_notes(console: Console, one: Prepared, result: RunResult) -> None:
    """What happened in a run, in words: engine, notes, trips, broken requirements."""

    def say(text: str, style: str = "") -> None:
        console.print(text, style=style or None, markup=False, soft_wrap=True)

    fast = f", {speed(result)}" if result.simulated_s_per_s else ""
    say(f"{short_name(one.controller_name)}: {result.engine}{fast} ({result.engine_note})")
    for note in one.scenario.notes:
        say(f"  note: {note}")
    trips = trip_lines(result.trace)
    for line in trips[:10] or ["no trip"]:
        say(f"  {line}")
    if len(trips) > 10:
        say(f"  and {len(trips) - 10} more trips")
    for violation in result.scores.violations[:5]:
        say(f"  broken requirement at {clock(violation.time_ms)}: {violation.requirement}: {violation.text}", "bold")
    if len(result.scores.violations) > 5:
        say(f"  and {len(result.scores.violations) - 5} more broken requirements, in scores.json")
    if result.scores.skipped:
        say(f"  not checked, the controller tells no limits: {', '.join(result.scores.skipped)}")


def trip_lines(trace: Trace) -> list[str]:
    """Every trip with its time, in words."""
    lines = []
    for event in trace.events:
        cause = event.text.rsplit(" → ", 1)[-1]
        if event.source == "trip_first_out" and cause != "NONE":
            lines.append(f"trip at {clock(event.time_ms)}: {cause.replace('_', ' ').lower()}")
    return lines


def clock(time_ms: int) -> str:
    """Time since the start as h:mm:ss.

    >>> clock(3_725_400)
    '1:02:05.4'
    """
    seconds, rest = divmod(time_ms, 1000)
    tail = f".{rest:03d}".rstrip("0") if rest else ""
    return f"{seconds // 3600}:{seconds // 60 % 60:02d}:{seconds % 60:02d}{tail}"
