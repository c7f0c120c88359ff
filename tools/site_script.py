"""`twoslide site-script`: the cold start, the unloading and every trip by a simulated signal, line by line, to print."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tools.names import short_name
from tools.output import console, progress_bar, put_json, say

if TYPE_CHECKING:
    from tools.verification.site_script import Script


@click.command("site-script")
@click.option("--settings", type=click.Path(path_type=Path), metavar="SHEET", help="The sheet that is in the cabinet.")
@click.option(
    "--controller", help="A shipped name, or FILE.so with a shipped sheet. [default: the sheet's, or scheduled_pi]"
)
@click.option(
    "--plant",
    type=click.Path(path_type=Path),
    help="Take transmitter ranges from this plant file. [default: usual ones]",
)
@click.option("--out", required=True, type=click.Path(path_type=Path), metavar="DIR", help="Write the script there.")
@click.option("--json", "as_json", is_flag=True, help="Put one JSON object on stdout and nothing else.")
def site_script(settings: Path | None, controller: str | None, plant: Path | None, out: Path, as_json: bool) -> int:
    """Write a script for the site: what to do, which mA to set, what must be seen and when, with a place to sign.

    What must be seen comes from running the controller on those very currents. The motor stays isolated.
    """
    from scenarios.chosen_controller import choose, ranges_of
    from scenarios.isolated import run_isolated
    from tools.verification.script_page import write_script
    from tools.verification.site_script import read_script

    job: dict[str, Any] = choose(controller, settings, plant)
    job["ranges"] = ranges_of(plant) if plant is not None else None
    name = short_name(job["controller"])
    with progress_bar(f"site script of {name}") as progress:
        found = run_isolated("tools.verification.site_script:in_child", job, progress)
    failed = f"{found.fault}, {found.place}" if found.fault else str(found.answer.get("failed", ""))
    if failed:
        say(f"no script: {name}: {failed}")
        return 1
    script = read_script(found.answer)
    facts = [("controller", name), ("settings", str(settings) if settings else "the controller's own defaults")]
    if found.answer["stamp"]:
        facts.append(("checksum of the values", found.answer["stamp"]))
    facts += [("note", note) for note in found.answer["notes"]]
    title = f"{name}{f', {settings.name}' if settings else ''}"
    written = write_script(out, script, title, facts, _ranges_note(plant))
    wrong = sum(line.contradicts for line in script.lines)
    if as_json:
        put_json(_data(script, facts, written))
    else:
        _print(script, written)
    return int(wrong > 0)


def _ranges_note(plant: Path | None) -> str:
    if plant is not None:
        return f"Ranges of the transmitters as in {plant}. Compare each with its name plate before the test."
    return (
        "No plant file was given: these are the ranges of usual transmitters. Where a name plate says another range, every "
        "current here is wrong: give the plant file and write the script again."
    )


def _data(script: Script, facts: list[tuple[str, str]], written: list[Path]) -> dict[str, Any]:
    from dataclasses import asdict

    plain = asdict(script)
    plain.pop("track")
    return {"format_version": 1, "facts": dict(facts), "written": [str(path) for path in written], **plain}


def _print(script: Script, written: list[Path]) -> None:
    from rich.table import Table
    from rich.text import Text

    from tools.verification.script_page import SAFETY
    from tools.verification.site_script import SIGNALS

    table = Table(
        caption=f"{SAFETY[0]} {SAFETY[2]}",
        caption_justify="left",
        title="trips by a simulated current",
        title_justify="left",
    )
    for head in ("no.", "do", "set", "must be seen"):
        table.add_column(head, overflow="fold")
    for line in script.lines:
        if line.part != SIGNALS or not line.sets:
            continue
        seen = "; ".join(f"{s.text} {s.after_s:.1f} s" for s in line.sees if "trip «" in s.text or "alarm «" in s.text)
        told = seen or line.note
        look = "bold" if line.contradicts else ""
        table.add_row(Text(line.number, look), Text(line.do, look), Text(str(line.sets[0]), look), Text(told, look))
    shown = console()
    shown.print(table)
    wrong = sum(line.contradicts for line in script.lines)
    words = f"{len(script.lines)} lines, {wrong} contradict the settings"
    shown.print(words, markup=False)
    for path in written:
        shown.print(f"wrote {path}", markup=False, soft_wrap=True)
