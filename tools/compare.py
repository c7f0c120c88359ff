"""`twoslide compare`: finished runs, or two settings sheets, against each other."""

from __future__ import annotations

from pathlib import Path

import click

from tools.output import console, put_json


@click.command()
@click.argument("places", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="DIR...|SHEET SHEET")
@click.option("--out", type=click.Path(path_type=Path), metavar="DIR", help="Write report.html with pictures there.")
@click.option("--json", "as_json", is_flag=True, help="Put one JSON object on stdout and nothing else.")
@click.option("--refrigerant", default="R717", help="Of two sheets' saturation temperatures. [default: R717]")
def compare(places: tuple[Path, ...], out: Path | None, as_json: bool, refrigerant: str) -> int:
    """Compare finished runs, the first being what the others are compared with; or two settings sheets.

    A DIR is a run's folder, or holds runs, as `twoslide run --out` leaves them: the same scenarios are matched.
    """
    from scenarios.errors import InputRefused, Problem
    from scenarios.finished_runs import match_runs
    from tools import difference_tables as shown

    if all(place.suffix == ".toml" for place in places):
        from scenarios.sheet_differences import sheet_differences

        if len(places) != 2 or out is not None:
            raise InputRefused(Problem("two sheets are compared, in words", way_out="name two SHEET and no --out"))
        controller, found = sheet_differences(*places, refrigerant)
        if as_json:
            put_json(shown.sheets_data(places, controller, found))
        else:
            console().print(shown.sheet_table(places, controller, found))
        return 0
    if out is not None:
        from tools.report.comparison import check_place

        wrong = check_place(out)
        if wrong:
            raise InputRefused(Problem(f"--out {out} {wrong}", value=str(out), way_out="name a new folder"))
    matches, lonely = match_runs(places)
    if out is not None:
        from tools.report.comparison import write_comparison

        out.mkdir(parents=True, exist_ok=True)
        write_comparison(out / "report.html", matches, lonely)
    if as_json:
        put_json(shown.runs_data(matches, lonely))
    else:
        shown.print_runs(console(), matches, lonely)
        if out is not None:
            console().print(f"report: {out / 'report.html'}", markup=False, soft_wrap=True)
    return 0
