"""The change from one settings sheet to another: settings, margins and scores, as records, tables and plain data."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, replace
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rich.table import Table
from rich.text import Text

from controller.scheduled_pi import ScheduledPiSettings
from plant_model.derived import derive
from plant_model.properties import EnvelopeError
from scenarios.errors import InputRefused, Problem
from scenarios.finished_runs import FinishedRun, Match, unlikeness
from scenarios.plant_file import Plant
from scenarios.preparation import known
from scenarios.quantities import Site
from scenarios.runner import execute
from scenarios.settings_sheet import Sheet
from scenarios.sheet_against_plant import foreign_refrigerant
from scenarios.sheet_differences import SettingDifference, settings_differences, two_sheets
from tools.difference_tables import runs_data
from tools.names import wrapped
from tools.tuning.gain_schedule import scheduled_gain_pct_kpa
from tools.tuning.known_directions import expected, protects
from tools.tuning.linearisation import PointError
from tools.tuning.sheet_effects import LoopChange, LoopFigures, loop_changes, why_no_loop

if TYPE_CHECKING:
    from scenarios.preparation import Prepared

FORMAT_VERSION = 1
MS_SPREAD_LIMIT = 2.0  # design, control.md: with the spread; above it the table says so
CAUTION_LINE = (
    "An engineering aid and no safety system: hard-wired cut-outs come first. Expected is not measured: check every "
    "change on the plant."
)


@dataclass(frozen=True, slots=True)
class SheetChange:
    """Two sheets of one controller, and what is known of the change.

    names: what the sheets are called; loop: margins at a few points, () without a plant; matches: both sheets' scores on
    each scenario, () without; words: what it comes to; notes: of reading.
    """

    names: tuple[str, str]
    sheets: tuple[Sheet[Any], Sheet[Any]]
    differences: tuple[SettingDifference, ...]
    plant_title: str = ""
    loop: tuple[LoopChange, ...] = ()
    matches: tuple[Match, ...] = ()
    words: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def controller(self) -> str:
        """Whose settings they are."""
        return self.sheets[0].controller

    @property
    def protecting(self) -> tuple[SettingDifference, ...]:
        """The changed settings that protect the machine."""
        return tuple(d for d in self.differences if protects(d.key))


@dataclass(frozen=True, slots=True)
class Row:
    """A changed setting as people read it; a table that changes in several places is one row."""

    key: str
    allowed: str
    before: str
    after: str
    why: str
    expected: str
    protects: bool


def rows_of(change: SheetChange) -> list[Row]:
    """The changed settings, tables gathered."""
    out = []
    for name, members in groupby(change.differences, key=lambda d: d.key.partition("[")[0]):
        found = list(members)
        first = found[0]
        words = list(dict.fromkeys(expected(d) for d in found))
        if len(found) == 1:
            key, before, after = first.key, first.before, first.after
        else:
            places = [int(k) for k in re.findall(r"\[(\d+)\]", " ".join(d.key for d in found))]
            whole = places == list(range(places[0], places[-1] + 1))
            shown = f"{places[0]}…{places[-1]}" if whole else ", ".join(map(str, places))
            key = f"{name}[{shown}]"
            before, after = (", ".join(getattr(d, side) for d in found) for side in ("before", "after"))
        text = words[0] if len(words) == 1 else "more at some places and less at others"
        out.append(Row(key, first.range_text, before, after, first.why, text, protects(first.key)))
    return out


def _gain_words(first: Any, second: Any) -> list[str]:
    """The loop gain of two scheduled PIs over the travel: band and table together."""
    if not isinstance(first, ScheduledPiSettings):
        return []
    gains = [[scheduled_gain_pct_kpa(s.pi, at) for at in (0.0, 25.0, 50.0, 75.0, 100.0)] for s in (first, second)]
    if gains[0] == gains[1]:
        return []
    text = "; ".join(f"{25 * k} % {a:.3g} to {b:.3g}" for k, (a, b) in enumerate(zip(*gains, strict=True)))
    return [f"Loop gain of the law, band and table together, in % per kPa by capacity position: {text}."]


def read_change(one: Path, other: Path, plant: Plant[Any] | None) -> SheetChange:
    """Read and compare two sheets; pressures as the plant's site and refrigerant have them, ammonia's without a plant.

    InputRefused for what cannot be read, two controllers, a wrong checksum, a value out of its range.
    """
    saturation = known().saturation_pressure_pa
    site = plant.site if plant else Site(None, lambda kelvin: saturation("R717", kelvin), "R717")
    _, first, second = two_sheets(one, other, site)
    names = (one.name, other.name) if one.name != other.name else (str(one), str(other))
    found = tuple(settings_differences(first.settings, second.settings))
    change = SheetChange(names, (first, second), found, notes=(*first.notes, *second.notes))
    words = []
    if not found:
        words.append("The two sheets hold the same values.")
    if change.protecting:
        keys = ", ".join(d.key for d in change.protecting)
        words.append(
            f"Among the changes is what protects the machine ({keys}): that is no matter of tuning, and people who answer "
            "for the plant decide it."
        )
    words += _gain_words(first.settings, second.settings)
    return replace(change, words=tuple(words))


def with_loop(change: SheetChange, plant: Plant[Any], progress: Callable[[float], None] | None = None) -> SheetChange:
    """The same with margins of the loop on a plant.  InputRefused where the plant does not stand or the sheet is foreign."""
    before, after = (sheet.settings for sheet in change.sheets)
    change = replace(change, plant_title=plant.title)
    if not change.differences:
        return change
    missing = why_no_loop(before)
    if missing:
        return replace(change, words=(*change.words, f"No margins: {missing}."))
    try:
        parameters = derive(plant.parameters, plant.refrigerant)
        for sheet, name in zip(change.sheets, change.names, strict=True):
            foreign = foreign_refrigerant(parameters, sheet.settings, name)
            if foreign is not None:
                raise InputRefused(replace(foreign, file=str(sheet.path)))
        loop = tuple(loop_changes(parameters, before, after, progress))
    except (PointError, EnvelopeError) as error:
        raise InputRefused(
            Problem(str(error), file=str(plant.path), way_out="change the plant or the set point")
        ) from error
    return replace(change, loop=loop, words=(*change.words, *_loop_words(loop)))


def _loop_words(loop: Sequence[LoopChange]) -> list[str]:
    worst = [max(getattr(c, side).ms for c in loop) for side in ("before", "after")]
    spread = [max(getattr(c, side).ms_spread for c in loop) for side in ("before", "after")]
    gain = [min(getattr(c, side).gain_margin for c in loop) for side in ("before", "after")]
    words = [
        f"At {len(loop)} points of the map the worst Ms goes from {ms_text(worst[0])} to {ms_text(worst[1])}, with a spread "
        f"of ± 20 % from {ms_text(spread[0])} to {ms_text(spread[1])}; the least gain margin from {gain[0]:.2f} to "
        f"{gain[1]:.2f}."
    ]
    if spread[1] > MS_SPREAD_LIMIT:
        what = "has an unstable corner" if math.isinf(spread[1]) else f"is over {MS_SPREAD_LIMIT:g}"
        words.append(f"With the spread the second sheet {what}: tuning would not accept it.")
    return words


def with_scores(
    change: SheetChange,
    prepared: Sequence[tuple[Prepared, Prepared]],
    out: Path | None,
    progress: Callable[[float], None] | None = None,
) -> SheetChange:
    """The same with both sheets' scores on every scenario, each pair with one seed.

    out: the runs are left in out/comparison/from and out/comparison/to; None: nowhere.
    """
    matches = []
    for k, pair in enumerate(prepared):
        runs = []
        for j, (one, word) in enumerate(zip(pair, ("from", "to"), strict=True)):
            number = f"{k + 1:02d}-{one.scenario.path.stem}"
            place = out / "comparison" / word / number if out is not None else None

            def share(fraction: float, done: int = 2 * k + j) -> None:
                if progress:
                    progress((done + fraction) / (2 * len(prepared)))

            result = execute(one, place, share)
            runs.append(FinishedRun(place or Path(), result.scores, result.facts, result.failure or ""))
        names = tuple(f"{word} {name}" for word, name in zip(("from:", "to:"), change.names, strict=True))
        matches.append(Match(pair[0].scenario.title, names, tuple(runs), unlikeness(runs)))
    return replace(change, matches=tuple(matches))


def ms_text(ms: float) -> str:
    """A sensitivity peak, or what infinity means.

    >>> ms_text(1.5), ms_text(math.inf)
    ('1.50', 'unstable')
    """
    return f"{ms:.2f}" if math.isfinite(ms) else "unstable"


def change_table(change: SheetChange) -> Table:
    """Every changed setting: range, from, to, what it is for, what the change is expected to do."""
    title = f"{change.controller}: {len(change.differences)} settings differ"
    table = Table(title=Text(title), title_justify="left", show_lines=True)
    table.add_column("setting, range", no_wrap=True)  # broken by `wrapped`, where a word ends
    for word, name in zip(("from", "to"), change.names, strict=True):
        table.add_column(Text(wrapped(f"{word} {name}", 18)), overflow="fold")
    table.add_column("what it is for", overflow="fold")
    table.add_column("expected", overflow="fold")
    for row in rows_of(change):
        mark = "! " if row.protects else ""
        setting = Text(wrapped(mark + row.key), style="bold" if mark else "")
        setting.append(f"\n{row.allowed}" if row.allowed else "", style="not bold")
        table.add_row(setting, *map(Text, (row.before, row.after, row.why, row.expected)))
    if change.protecting:
        table.caption, table.caption_justify = Text("! protects the machine: no matter of tuning"), "left"
    return table


def loop_table(change: SheetChange) -> Table:
    """Margins at each point, before and after."""
    caption = (
        "Ms: the most that any frequency of the error is amplified, less is safer; spread: ± 20 % gain, dead time, lag"
    )
    title = f"margins of the capacity loop on {change.plant_title}"
    table = Table(title=Text(title), title_justify="left", caption=Text(caption), caption_justify="left")
    for name in ("travel %", "pressure ratio", "pressure"):
        table.add_column(name, justify="right")
    for name in ("Ms", "Ms with spread", "gain margin"):
        table.add_column(f"{name}, from → to", justify="right")
    for c in change.loop:
        pairs = [
            (ms_text(c.before.ms), ms_text(c.after.ms)),
            (ms_text(c.before.ms_spread), ms_text(c.after.ms_spread)),
            (f"{c.before.gain_margin:.2f}", f"{c.after.gain_margin:.2f}"),
        ]
        place = (f"{100.0 * c.capacity_travel_frac:.0f}", f"{c.pressure_ratio:.2g}", c.direction)
        table.add_row(*place, *(f"{a} → {b}" for a, b in pairs))
    return table


def data_of(change: SheetChange) -> dict[str, Any]:
    """All of it as plain data; what is no finite number becomes null."""

    def figures(one: LoopFigures) -> dict[str, float | None]:
        return {key: value if math.isfinite(value) else None for key, value in asdict(one).items()}

    return {
        "format_version": FORMAT_VERSION,
        "sheets": [str(sheet.path) for sheet in change.sheets],
        "checksums": [sheet.stamp for sheet in change.sheets],
        "controller": change.controller,
        "differences": [
            {
                "setting": d.key, "unit": d.unit, "low": d.low, "high": d.high, "before": d.before, "after": d.after,
                "change": d.change, "why": d.why, "expected": expected(d), "protects": protects(d.key),
            }
            for d in change.differences
        ],
        "plant": change.plant_title or None,
        "loop": [
            {
                "capacity_travel_frac": c.capacity_travel_frac, "pressure_ratio": c.pressure_ratio,
                "direction": c.direction, "before": figures(c.before), "after": figures(c.after),
            }
            for c in change.loop
        ],
        "words": list(change.words),
        "scores": runs_data(change.matches, [])["scenarios"] if change.matches else [],
    }  # fmt: skip
