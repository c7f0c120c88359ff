"""The chosen settings sheet for people: CSV for a spreadsheet, HTML to print, sign and carry to the cabinet.

The machine's file is the TOML sheet; both papers carry its checksum, and where they differ the TOML sheet is right.
"""

from __future__ import annotations

from collections.abc import Iterable
from itertools import groupby
from pathlib import Path
from typing import Any

from scenarios.settings_sheet import write_whole
from tools.charts import breakable
from tools.csv_text import csv_text
from tools.tuning.known_directions import protects
from tools.tuning.result_words import (
    CAUTIONS,
    EFFECT_METHOD,
    WEAR,
    changed,
    effect_text,
    name_of,
    quantity,
    range_text,
)
from tools.tuning.tuning_result import OBJECTIVES, SettingRow, TuningResult

CSV_NAME, HTML_NAME = "settings.csv", "settings.html"
HEADS = ("setting", "unit", "low", "high", "value", "previous", "changed", "as the sheet writes it", "why",
         "where the value comes from", "protects the machine")  # fmt: skip


def effects_of(row: SettingRow) -> list[str]:
    """What 10 % more of a setting does to each objective, in words; "" where it was not tried."""
    by_score = {effect.score: effect_text(effect) for effect in row.effects}
    return [by_score.get(score, "") for score in OBJECTIVES]


def effect_lines(row: SettingRow) -> list[str]:
    """The same in short: a line for each effect told from noise, one for the rest; [] where it was not tried.

    >>> from tools.tuning.tuning_result import Between, Effect
    >>> effects = Effect("wear_per_h", Between(-2.0, -3.0, -1.0), True), Effect("starts_per_h", Between(0, 0, 0), False)
    >>> effect_lines(SettingRow("a", "a", "", 0.0, 1.0, 0.5, 0.5, "", "", True, effects))
    ['slide wear −2.0 % (−3.0 to −1.0)', 'not told from noise: starts']
    """
    told = [f"{name_of(e.score)} {effect_text(e)}" for e in row.effects if e.told_from_noise]
    rest = [name_of(e.score) for e in row.effects if not e.told_from_noise]
    if row.effects and not told:
        return ["nothing told from noise"]
    return [*told, *([f"not told from noise: {', '.join(rest)}"] if rest else [])]


def _cell(value: float | str | tuple[float, ...]) -> object:
    """A number stays one; a table is written with semicolons, which no decimal comma can be taken for."""
    return "; ".join(f"{v:.12g}" for v in value) if isinstance(value, tuple) else value


def origin_lines(result: TuningResult) -> list[tuple[str, str]]:
    """Plant, scenarios, seed, version and checksums, as name and text."""
    p = result.provenance
    lines = [
        ("plant", f"{result.plant_title} ({result.refrigerant})"),
        ("controller", result.controller),
        ("checksum of the values", p.chosen_checksum),
        ("previous sheet", f"{p.sheet_given}, {p.sheet_given_checksum}".rstrip(", ")),
        ("made by", p.command),
        ("finished (UTC)", p.finished_utc),
        ("seed", str(p.seed)),
        ("versions", ", ".join(f"{name} {version}" for name, version in p.versions.items())),
        ("sources", p.sources),
        ("search", f"{len(result.search.trials)} trials over {result.search.scenarios} scenarios and "
                   f"{result.search.draws} plants ({result.search.budget})"),
        ("unseen cases", str(result.proof.cases)),
    ]  # fmt: skip
    counted: dict[str, int] = {}
    for file in p.files:
        counted[file.role] = counted.get(file.role, 0) + 1
    for file in p.files:
        if counted[file.role] <= 12:
            lines.append((file.role, f"{file.title}: {file.path}, sha256 {file.sha256[:16]}"))
    lines += [(f"{role} files", f"{n}, listed in the result's JSON") for role, n in counted.items() if n > 12]
    return lines


def as_csv(result: TuningResult) -> str:
    """Every setting, one line each, then what it came from and the cautions.  Numbers are in `unit`, tables with “; ”."""
    heads = [*HEADS, *(f"10 % more: {name_of(score)}" for score in OBJECTIVES)]
    rows = [
        (
            row.key, row.unit, row.low, row.high, _cell(row.value), _cell(row.previous), "yes" if changed(row) else "no",
            quantity(row.value, row.unit), row.why, row.because, "yes" if protects(row.key) else "no", *effects_of(row),
        )
        for row in result.settings
    ]  # fmt: skip
    notes = ["", *(f"{name}: {text}" for name, text in origin_lines(result)), EFFECT_METHOD, WEAR, *CAUTIONS]
    return csv_text(heads, rows, notes)


def _view(row: SettingRow) -> dict[str, Any]:
    return {
        "key": row.key,
        "name": row.key.rpartition(".")[2],
        "range": range_text(row),
        "value": quantity(row.value, row.unit),
        "previous": quantity(row.previous, row.unit),
        "changed": changed(row),
        "tuned": row.tuned,
        "why": row.why,
        "because": row.because,
        "effects": effect_lines(row),
        "protects": protects(row.key),
    }


def _grouped(rows: Iterable[SettingRow]) -> list[tuple[str, list[dict[str, Any]]]]:
    """Rows under the table that they stand in on the sheet."""
    return [
        (table, [_view(row) for row in members])
        for table, members in groupby(rows, key=lambda row: row.key.rpartition(".")[0])
    ]


def as_html(result: TuningResult) -> str:
    """The sheet as one page to print, without any reference outside itself."""
    from jinja2 import Environment, StrictUndefined

    first = [row for row in result.settings if row.tuned or changed(row)]
    rest = [row for row in result.settings if not (row.tuned or changed(row))]
    template = Path(__file__).with_name("sheet_for_people.html").read_text(encoding="utf-8")
    environment = Environment(autoescape=True, undefined=StrictUndefined)
    environment.filters["breakable"] = breakable
    return environment.from_string(template).render(
        result=result,
        first=[_view(row) for row in first],
        rest=_grouped(rest),
        origin=origin_lines(result),
        cautions=CAUTIONS,
        method=EFFECT_METHOD,
        wear=WEAR,
    )


def write_sheet_for_people(result: TuningResult, folder: Path) -> tuple[Path, Path]:
    """Write settings.csv and settings.html, each whole or not at all.  StorageFailed if that fails."""
    csv_path, html_path = folder / CSV_NAME, folder / HTML_NAME
    write_whole(csv_path, as_csv(result))
    write_whole(html_path, as_html(result))
    return csv_path, html_path
