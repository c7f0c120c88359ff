"""`twoslide season`: a plant's year in twelve days, and what the volume-ratio pair saves against a held port."""

from __future__ import annotations

import contextlib
import json
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from rich.table import Table

    from scenarios.season import Progress, SeasonRun
    from scenarios.season_records import Season, Variant

RUNS = Path("twoslide-runs")
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
FILES = {"days", "season.json", "report.html"}


@click.command()
@click.argument("plant", type=click.Path(path_type=Path))
@click.option("--weather", required=True, type=click.Path(path_type=Path), help="A site's year: TMY3 (CSV) or EPW.")
@click.option(
    "--load", required=True, type=click.Path(path_type=Path), help="Load record (CSV): a day, a week or a year."
)
@click.option("--scale", default=1.0, type=click.FloatRange(0.01, 100.0), help="Multiply the load. [default: 1]")
@click.option("--controller", default="scheduled_pi", help="A shipped controller. [default: scheduled_pi]")
@click.option("--settings", type=click.Path(path_type=Path), metavar="SHEET", help="Its settings sheet.")
@click.option(
    "--ratio", "ratios", multiple=True, type=float, metavar="VI",
    help="Hold the port at this full-load volume ratio; may be repeated. [default: 2.2 2.6 3.0 3.6 4.4 5.0]",
)  # fmt: skip
@click.option("--seed", default=1, type=click.IntRange(min=0), help="Seed of the instruments' noise. [default: 1]")
@click.option("--out", type=click.Path(path_type=Path), metavar="DIR", help=f"Folder. [default: {RUNS}/season-...]")
def season(
    plant: Path, weather: Path, load: Path, scale: float, controller: str, settings: Path | None,
    ratios: tuple[float, ...], seed: int, out: Path | None,
) -> int:  # fmt: skip
    """Run a year of PLANT in twelve days, with the volume-ratio pair working and with its port held.

    Finished days are kept in the folder: an interrupted season goes on with the day it was in.  Ports are held at each
    --ratio and at the best ratio for the year that can be found from these.
    """
    from scenarios.season import SeasonRun, season_inputs
    from scenarios.settings_sheet import write_whole
    from tools.season_report import write_season_report

    inputs = season_inputs(plant, weather, load, controller, settings, seed, scale)
    folder = out or RUNS / f"season-{plant.stem}-{weather.stem}"
    _check_place(folder)
    run = SeasonRun(inputs, folder)
    run.check_ratios(ratios)
    with _progress(run) as progress:
        found = run.run(ratios, progress)
    title = f"A year of {run.plant_title} in the weather of {inputs.weather.station}"
    data = as_dict(found, title)
    write_whole(folder / "season.json", json.dumps(data, ensure_ascii=False, indent=1, allow_nan=False) + "\n")
    answer, months, held = answer_lines(found), month_table(found), held_table(found)
    write_season_report(folder / "report.html", found, title, _facts(run), answer, months, held)
    _print(found, title, folder, answer, months, held)
    return 0


def _check_place(folder: Path) -> None:
    from scenarios.errors import InputRefused, Problem

    strange = [p.name for p in folder.iterdir() if p.name not in FILES and p.name[0] != "."] if folder.is_dir() else []
    if strange or (folder.exists() and not folder.is_dir()):
        what = f"holds other files ({strange[0]})" if strange else "is a file"
        raise InputRefused(Problem(f"--out {folder} {what}", value=str(folder), way_out="name a new folder"))


def _zone_text(offset_h: float) -> str:
    """ "UTC−6"."""
    return f"UTC{offset_h:+g}".replace("-", "−")


def _facts(run: SeasonRun) -> list[tuple[str, str]]:
    inputs = run.inputs
    return [
        ("plant", f"{run.plant_title} ({inputs.plant.name})"),
        ("weather", f"{inputs.weather.path.name}: {inputs.weather.station}, {_zone_text(inputs.weather.utc_offset_h)}"),
        ("load", f"{inputs.load.path.name}, {run.load.count} day(s) repeated over the year, times {inputs.scale:g}"),
        ("controller", inputs.controller),
        ("settings", inputs.settings.name if inputs.settings else f"the defaults of {inputs.controller}"),
        ("seed", str(inputs.seed)),
        ("notes", "; ".join(run.notes)),
    ]


def as_dict(found: Season, title: str) -> dict[str, Any]:
    """The season as plain data, for season.json."""
    from dataclasses import asdict

    def year(variant: Variant) -> dict[str, Any]:
        return {
            "full_load_ratio": variant.full_load_ratio,
            "motor_kwh": variant.motor_kwh,
            "total_kwh": variant.total_kwh,
            "cooling_kwh": variant.cooling_kwh,
            "motor_cop": variant.motor_cop,
            "total_cop": variant.total_cop,
            "through_path_h": variant.through_path_h,
            "days": [asdict(day) for day in variant.days],
        }

    ratio, saving = found.moving_port()
    return {
        "format_version": 1,
        "title": title,
        "months": [asdict(month) for month in found.months],
        "slides": year(found.slides),
        "held": [year(v) | {"saving_pct": found.saving_pct(v)} for v in found.held],
        "best_held_ratio": found.best_held.full_load_ratio,
        "saving_against_best_held_pct": found.saving_pct(found.best_held),
        "saving_against_best_held_all_energy_pct": found.saving_pct(found.best_held, total=True),
        "moving_port_estimate": {"gas_ratio": ratio, "saving_pct": saving},
        "notes": list(found.notes),
    }


@contextlib.contextmanager
def _progress(run: SeasonRun) -> Iterator[Progress]:
    """A bar on stderr over the days; a line a day where stderr is no terminal."""
    from rich.console import Console
    from rich.markup import escape
    from rich.progress import BarColumn, TextColumn, TimeElapsedColumn
    from rich.progress import Progress as Bar

    console = Console(stderr=True)
    if not console.is_terminal:
        said: set[str] = set()

        def say(text: str, done: int, _fraction: float) -> None:
            if text not in said:
                said.add(text)
                click.echo(f"day {done + 1}: {text}", err=True)

        yield say
        return
    with Bar(TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn(), console=console) as bar:
        task = bar.add_task("", total=1.0)

        def show(text: str, done: int, fraction: float) -> None:
            bar.update(task, description=escape(f"day {done + 1}: {text}"), completed=fraction)

        yield show


def month_table(found: Season) -> Table:
    """Month by month: the day, its weather and load, and energy with the slides and with the best held port."""
    from rich.table import Table

    from scenarios.score_records import fixed_text

    best = found.best_held
    table = Table(caption_justify="left", caption="each month's day, times the month's days; saving at equal cooling")
    heads = ("month", "day", "wet bulb °C (month)", "condensing °C", "load kW (month)", "capacity %", "cooling MWh",
             "motor MWh", f"held {best.full_load_ratio:.2f} MWh", "COP", "held COP", "saving %",
             "through-path h")  # fmt: skip
    for name in heads:
        table.add_column(name, justify="left" if name in ("month", "day") else "right")
    from scenarios.weather_log import day_text

    for k, (month, mine, other) in enumerate(zip(found.months, found.slides.days, best.days, strict=True)):
        days = month.days / 1000.0
        table.add_row(
            MONTHS[month.month - 1], day_text(month.day),
            f"{fixed_text(month.day_wet_bulb_k - 273.15, 1)} ({fixed_text(month.month_wet_bulb_k - 273.15, 1)})",
            f"{fixed_text(mine.condensing_low_c, 0)} … {fixed_text(mine.condensing_high_c, 0)}",
            f"{month.day_load_w / 1000.0:.0f} ({month.month_load_w / 1000.0:.0f})", f"{mine.capacity_pct:.0f}",
            f"{mine.cooling_kwh * days:.1f}", f"{mine.motor_kwh * days:.2f}", f"{other.motor_kwh * days:.2f}",
            f"{mine.cooling_kwh / mine.motor_kwh:.2f}", f"{other.cooling_kwh / other.motor_kwh:.2f}",
            fixed_text(found.month_saving_pct(best, k), 1), f"{other.through_path_h * month.days:.0f}",
        )  # fmt: skip
    table.add_section()
    table.add_row(
        "year", "", "", "", "", "", f"{found.slides.cooling_kwh / 1e3:.0f}", f"{found.slides.motor_kwh / 1e3:.1f}",
        f"{best.motor_kwh / 1e3:.1f}", f"{found.slides.motor_cop:.3f}", f"{best.motor_cop:.3f}",
        fixed_text(found.saving_pct(best), 2), f"{best.through_path_h:.0f}",
    )  # fmt: skip
    return table


def held_table(found: Season) -> Table:
    """The year with the slides working and with the port held at each ratio tried."""
    from rich.table import Table

    from scenarios.score_records import fixed_text

    table = Table(
        caption_justify="left", caption="saving: what the working slides use less than this, at equal cooling"
    )
    for name in ("port", "motor MWh", "all MWh", "COP motor", "COP all", "saving motor %", "saving all %",
                 "through-path h", "trips"):  # fmt: skip
        table.add_column(name, justify="left" if name == "port" else "right")
    for variant in (found.slides, *found.held):
        held = variant.full_load_ratio is not None
        name = f"held at {variant.full_load_ratio:.2f}" if held else "slides working"
        table.add_row(
            name + (" (best)" if variant is found.best_held else ""),
            f"{variant.motor_kwh / 1e3:.1f}", f"{variant.total_kwh / 1e3:.1f}", f"{variant.motor_cop:.3f}",
            f"{variant.total_cop:.3f}", fixed_text(found.saving_pct(variant), 2) if held else "",
            fixed_text(found.saving_pct(variant, total=True), 2) if held else "", f"{variant.through_path_h:.0f}",
            f"{variant.trips:.0f}",
        )  # fmt: skip
    return table


def _saves(saving_pct: float) -> str:
    if saving_pct < -0.05:
        return f"costs {-saving_pct:.1f} % more of"
    return f"saves {max(saving_pct, 0.0):.1f} % of"


def _at_the_end(best: Variant, found: Season) -> str:
    tried = [held.full_load_ratio or 0.0 for held in found.held]
    if best.full_load_ratio in (min(tried), max(tried)):
        return "  That port stands at the end of what was tried or of the slide's reach: the best may lie beyond."
    return ""


def answer_lines(found: Season) -> list[str]:
    """What the volume-ratio pair saves, in words."""
    from scenarios.score_records import fixed_text

    best, (ratio, moving_pct) = found.best_held, found.moving_port()
    return [
        f"Against the best held port (full-load ratio {best.full_load_ratio:.2f}, found for this very year) the "
        f"volume-ratio pair {_saves(found.saving_pct(best))} the motor's energy; with pump and fans it "
        f"{_saves(found.saving_pct(best, total=True))} all energy.{_at_the_end(best, found)}",
        f"Against a port that moves with the capacity slide and gives the gas {ratio:.2f} at every load, it would save "
        f"some {fixed_text(moving_pct, 1)} % of the motor's energy (negative: cost).  That is an estimate from the "
        "working slide's run, not a run.",
    ]


def _print(found: Season, title: str, folder: Path, answer: list[str], months: Table, held: Table) -> None:
    from rich.console import Console

    console = Console(highlight=False)
    console = console if console.is_terminal else Console(highlight=False, width=max(console.width, 170))
    console.print(title, markup=False)
    console.print(months)
    console.print(held)
    for line in (*answer, *(f"note: {note}" for note in found.notes)):
        console.print(line, markup=False, soft_wrap=True)
    if found.reused:
        console.print(f"{found.reused} days were there from before and not run again", markup=False)
    console.print("An engineering aid on a simulated plant, and no safety system.", markup=False)
    console.print(f"report: {folder / 'report.html'}", markup=False, soft_wrap=True)
