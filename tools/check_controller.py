"""`twoslide check-controller`: what every controller must keep, whoever wrote it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from tools.names import short_name
from tools.output import console, progress_bar, put_json

if TYPE_CHECKING:
    from scenarios.controller_checks import CheckResult

AID = (
    "An engineering aid on a simulated plant and no safety system: passing it makes no controller safe. Hard-wired cut-outs "
    "come first."
)


@click.command("check-controller")
@click.argument("controller")
@click.option("--settings", type=click.Path(path_type=Path), metavar="SHEET", help="With this settings sheet.")
@click.option("--seed", default=1, type=click.IntRange(min=0), help="Other walks over the inputs. [default: 1]")
@click.option("--json", "as_json", is_flag=True, help="Put one JSON object on stdout and nothing else.")
def check_controller(controller: str, settings: Path | None, seed: int, as_json: bool) -> int:
    """Check what CONTROLLER (a shipped name, FILE.py:NAME or FILE.so) owes to everybody, in a process of its own.

    Determinism, reset, ranges, never both drives of a slide, stops, failed instruments, no start inside the wait, late
    scans, a clock that wraps, and nothing written outside its own memory.
    """
    from scenarios.chosen_controller import choose
    from scenarios.controller_checks import check_chosen

    job = choose(controller, settings)
    with progress_bar(f"checking {short_name(controller)}") as progress:
        results = check_chosen(job, seed, progress)
    if as_json:
        put_json(
            {
                "format_version": 1,
                "controller": controller,
                "settings": str(settings) if settings else None,
                "seed": seed,
                "results": [
                    {"name": r.name, "verdict": _verdict(r), "text": r.text, "first_at_scan": r.first_at}
                    for r in results
                ],
            }
        )
    else:
        _print(controller, results)
    return int(any(r.judged and not r.passed for r in results))


def _verdict(result: CheckResult) -> str:
    return "passed" if result.passed else "failed" if result.judged else "not judged"


def _print(controller: str, results: list[CheckResult]) -> None:
    from rich.table import Table
    from rich.text import Text

    style = {"passed": "", "failed": "bold", "not judged": "italic"}
    table = Table(caption=AID, caption_justify="left")
    table.add_column("promise", no_wrap=True)
    table.add_column("verdict", no_wrap=True)
    table.add_column("what is owed, and what was found", overflow="fold")
    for result in results:
        verdict = _verdict(result)
        look = style[verdict]
        table.add_row(Text(result.name.replace("_", " "), look), Text(verdict, look), Text(result.text, look))
    shown = console()
    shown.print(table)
    failed, unknown = (sum(_verdict(r) == v for r in results) for v in ("failed", "not judged"))
    passed = len(results) - failed - unknown
    words = f"{short_name(controller)}: {passed} kept, {failed} broken, {unknown} not judged"
    shown.print(words, markup=False, soft_wrap=True)
