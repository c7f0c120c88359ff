"""`twoslide sheet`: a settings sheet to begin with, for any plant."""

from __future__ import annotations

from pathlib import Path

import click

from tools.output import say


@click.command()
@click.argument("plant", type=click.Path(path_type=Path))
@click.option("--controller", default="scheduled_pi", help="A shipped controller. [default: scheduled_pi]")
@click.option("--out", required=True, type=click.Path(path_type=Path), metavar="SHEET", help="The file to write.")
def sheet(plant: Path, controller: str, out: Path) -> int:
    """Write a settings sheet for PLANT: refrigerant, motor, strokes and slide curves from the plant file, the rest as is.

    A beginning and no tuning: every trip and set point must be checked against the plant's own limits.
    """
    from controller.registry import SHIPPED
    from plant_model.derived import derive
    from plant_model.properties import EnvelopeError
    from scenarios.errors import InputRefused, Problem
    from scenarios.plant_file import load_plant
    from scenarios.preparation import known, wiring_of
    from scenarios.settings_sheet import write_sheet
    from scenarios.sheet_against_plant import unreadable_pressures
    from scenarios.starting_sheet import starting_settings

    if controller not in SHIPPED:
        raise InputRefused(Problem(f'"{controller}" is no shipped controller', way_out=f"known: {', '.join(SHIPPED)}"))
    if out.exists():
        raise InputRefused(Problem(f"--out {out} is there already", value=str(out), way_out="name a new file"))
    k = known()
    read = load_plant(
        plant, k.parameters_type, k.plant_cross_check, k.saturation_pressure_pa, check_refrigerant=k.check_refrigerant
    )
    try:
        parameters = derive(read.parameters, read.refrigerant)
    except (EnvelopeError, ValueError) as error:
        raise InputRefused(Problem(str(error), file=str(plant), way_out="change the plant file")) from error
    settings, held = starting_settings(parameters, controller)
    purpose = "A beginning, not tuned.  An engineering aid, not a safety system: hard-wired cut-outs come first."
    write_sheet(out, controller, settings, title=f"{read.title}, {controller}", purpose=purpose)
    for line in held:
        say(f"note: {line}")
    for _, problem in unreadable_pressures(settings, wiring_of(read.parameters.instruments)):
        say(f"note: {problem}")
    click.echo(f"wrote {out}; check every trip and set point against the plant's own limits")
    return 0
