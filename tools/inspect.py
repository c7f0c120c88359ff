"""`twoslide inspect`: what a log holds, how good it is, and a mapping to correct by hand."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from tools.output import console, put_json

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

    from scenarios.logged_data.proposal import ColumnFacts, FileFacts, Inspection

ISSUES_SHOWN = 12


@click.command()
@click.argument("logs", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="LOG...")
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    metavar="MAPPING",
    help="The mapping to write. [default: LOG.mapping.toml]",
)
@click.option("--plant", type=click.Path(path_type=Path), help="Plant file: refrigerant and barometric pressure.")
@click.option("--refrigerant", default="", help="Where no plant file is given. [default: R717]")
@click.option("--time-zone", default="", metavar="ZONE", help='IANA zone of local times, for example "Europe/Berlin".')
@click.option("--replace", is_flag=True, help="Replace a mapping that stands there.")
@click.option("--json", "as_json", is_flag=True, help="Put one JSON object on stdout and nothing else.")
def inspect(
    logs: tuple[Path, ...],
    out: Path | None,
    plant: Path | None,
    refrigerant: str,
    time_zone: str,
    replace: bool,
    as_json: bool,
) -> int:
    """Look at LOGs (CSV of any kind, Parquet, event lists), propose which column is which signal,
        and show how good they are.

    The logs are only read.  A "?" in the mapping is a question that only somebody who knows the plant can answer.
    """
    from scenarios.errors import InputRefused, Problem
    from scenarios.logged_data.clock import zone_of
    from scenarios.logged_data.mapping import write_mapping

    target = out or logs[0].with_name(f"{logs[0].stem}.mapping.toml")
    if target.exists() and not replace:
        raise InputRefused(
            Problem("is there already", file=str(target), way_out="name a new file with --out, or say --replace")
        )
    if any(target.resolve() == log.resolve() for log in logs):
        raise InputRefused(Problem("is a log: it is never written over", file=str(target), way_out="name another file"))
    if time_zone:
        zone_of(time_zone)
    refrigerant, barometric_pa = _site(plant, refrigerant)
    found = _inspect_with_progress(logs, target, refrigerant, barometric_pa, time_zone)
    write_mapping(found.mapping)
    if as_json:
        put_json(_as_json(found))
    else:
        _show(console(), found)
    return 0


def _site(plant: Path | None, refrigerant: str) -> tuple[str, float]:
    from scenarios.logged_data.header_units import GAUGE_PA

    if plant is None:
        return refrigerant or "R717", GAUGE_PA
    from scenarios.plant_file import load_plant
    from scenarios.preparation import known

    k = known()
    read = load_plant(
        plant, k.parameters_type, k.plant_cross_check, k.saturation_pressure_pa, check_refrigerant=k.check_refrigerant
    )
    return refrigerant or read.refrigerant, read.site.barometric_pressure_pa or GAUGE_PA


def _inspect_with_progress(
    logs: tuple[Path, ...], target: Path, refrigerant: str, barometric_pa: float, time_zone: str
) -> Inspection:
    from rich.console import Console
    from rich.progress import Progress

    from scenarios.logged_data.proposal import inspect_logs

    size = sum(log.stat().st_size for log in logs if log.is_file())
    if size < 20_000_000:
        return inspect_logs(logs, target, refrigerant, barometric_pa, time_zone)
    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("reading", total=1.0)
        return inspect_logs(
            logs, target, refrigerant, barometric_pa, time_zone, lambda share: bar.update(task, completed=share)
        )


def _span(ms: float) -> str:
    from scenarios.logged_data.order import span_text

    return span_text(ms) if ms > 0 else "–"


def _show(screen: Console, found: Inspection) -> None:
    for one in found.files:
        _show_file(screen, one, found)
    questions = found.mapping.questions()
    tell = f"wrote {found.mapping.path}"
    if questions:
        tell += f': {questions} question{"s" if questions > 1 else ""} to answer in it, each a "?"'
    screen.print(tell + ".  An engineering aid, not a safety system.", markup=False, soft_wrap=True)


def _show_file(screen: Console, one: FileFacts, found: Inspection) -> None:
    from scenarios.logged_data.clock import written

    raw = one.raw
    zone = str(raw.settings.get("time_zone", ""))
    shown = zone if zone not in ("", "UTC", "as written", "?") else ""
    span = (
        f"{written(int(raw.time_ms[0]), shown)} to {written(int(raw.time_ms[-1]), shown)}"
        if len(raw.time_ms)
        else "no rows"
    )
    how = ", ".join(str(raw.settings[k]) for k in ("layout", "encoding", "delimiter") if k in raw.settings)
    screen.print(
        f"{raw.path.name}: {len(raw.time_ms):,} rows, {span} ({zone or 'no zone'}), every {_span(raw.step_ms)}; {how}",
        style="bold",
        markup=False,
        soft_wrap=True,
    )
    if raw.kind == "trends":
        screen.print(_mapping_table(one))
        screen.print(_quality_table(one.columns))
    else:
        screen.print(_event_table(one, found))
    for issue in one.issues[:ISSUES_SHOWN]:
        place = f" (line {issue.line})" if issue.line else ""
        screen.print(f"  {issue.kind}: {issue.text}{place}", markup=False, soft_wrap=True)
    if len(one.issues) > ISSUES_SHOWN:
        screen.print(f"  and {len(one.issues) - ISSUES_SHOWN} more")
    if one.skew is not None:
        screen.print(
            f"  clock: {one.skew.offset_ms / 1000.0:+.1f} s ± {one.skew.uncertainty_ms / 1000.0:.1f} s to the "
            f"first file, by {one.skew.by}",
            markup=False,
            soft_wrap=True,
        )
    screen.print("")


def _mapping_table(one: FileFacts) -> Table:
    from rich.table import Table
    from rich.text import Text

    table = Table(title="Proposed mapping", title_justify="left")
    for name in ("column", "unit", "signal", "as", "conf.", "why"):
        table.add_column(name, overflow="fold", justify="right" if name == "conf." else "left")
    for p in one.proposals:
        asks = p.asks
        unit = p.unit if p.unit != "?" else "? " + " / ".join(p.units)
        signal = p.signal if p.signal != "?" else "? " + " / ".join(p.candidates)
        table.add_row(
            Text(p.column.name), Text(p.column.unit), Text(signal, style="bold" if asks else ""), Text(unit,
                style="bold" if asks else ""),
            Text(f"{p.confidence:.2f}" if p.signal != "-" else ""), Text("; ".join(p.reasons)),
        )  # fmt: skip
    return table


def _quality_table(facts: list[ColumnFacts]) -> Table:
    from rich.table import Table
    from rich.text import Text

    table = Table(
        title="Data quality",
        title_justify="left",
        caption="gaps, stuck: number and longest; NE 43: beyond what a live loop can say",
        caption_justify="left",
    )
    for name in (
        "column",
        "samples",
        "every",
        "coverage",
        "gaps",
        "stuck",
        "NE 43",
        "no number",
        "empty",
        "least",
        "most",
    ):
        table.add_column(name, overflow="fold", justify="left" if name in ("column", "no number") else "right")
    for f in facts:
        longest = [max((s.end_ms - s.start_ms for s in spans), default=0) for spans in (f.gaps, f.stuck)]
        table.add_row(
            Text(f.column), f"{f.samples:,}", "on change" if f.change_of_value else _span(f.step_ms),
                f"{100.0 * f.coverage_frac:.1f} %",
            f"{len(f.gaps)} ({_span(longest[0])})" if f.gaps else "–", f"{len(f.stuck)} "
                f"({_span(longest[1])})" if f.stuck else "–",
            str(f.out_of_range or "–"), Text(f.bad_words or "–"), str(f.empty or "–"), f"{f.low:.5g}", f"{f.high:.5g}",
        )  # fmt: skip
    return table


def _event_table(one: FileFacts, found: Inspection) -> Table:
    from rich.table import Table
    from rich.text import Text

    listed = next((f.events for f in found.mapping.files if f.sha256 == one.raw.sha256), [])
    table = Table(title="Events: what each text is taken for", title_justify="left")
    for name in ("text", "kind", "cause"):
        table.add_column(name, overflow="fold")
    for event in listed[:30]:
        table.add_row(Text(event.text), Text(event.kind), Text(event.cause.replace("_", " ").lower()))
    if len(listed) > 30:
        table.add_row(f"and {len(listed) - 30} more", "", "")
    return table


def _as_json(found: Inspection) -> dict[str, object]:
    from dataclasses import asdict

    files = []
    for one in found.files:
        files.append({
            "path": str(one.raw.path), "kind": one.raw.kind, "rows": len(one.raw.time_ms), "step_ms": one.raw.step_ms,
            "settings": one.raw.settings,
            "columns": [{"column": p.column.name, "signal": p.signal, "unit": p.unit, "confidence": round(p.confidence, 3),
                         "why": p.reasons, "choices": p.units or p.candidates} for p in one.proposals],
            "quality": [{k: (None if v != v else v) if isinstance(v, float) else v for k, v in asdict(f).items()}
            for f in one.columns],
            "issues": [asdict(i) for i in one.issues], "skew": asdict(one.skew) if one.skew else None,
        })  # fmt: skip
    return {"mapping": str(found.mapping.path), "questions": found.mapping.questions(), "files": files}
