"""`twoslide live`: a machine to play with, in the browser."""

from __future__ import annotations

import asyncio
import contextlib
import signal
import tempfile
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tools.output import say

if TYPE_CHECKING:
    from scenarios.preparation import Prepared

RUNS = Path("twoslide-runs")
PORT = 8457
DEMO_PLANT = Path(__file__).resolve().parent.parent / "scenarios" / "library" / "plants" / "harrow_ness.toml"
DEMO_SHEETS = DEMO_PLANT.parent.parent / "sheets"


@click.command()
@click.argument("plant", required=False, type=click.Path(path_type=Path))
@click.option(
    "--controller", help="A shipped name, FILE.py:NAME or FILE.so. [default: the scenario's, or scheduled_pi]"
)
@click.option("--settings", type=click.Path(path_type=Path), metavar="SHEET", help="Use this settings sheet.")
@click.option("--seed", type=click.IntRange(min=0), help="Use this seed.")
@click.option(
    "--out", type=click.Path(path_type=Path), metavar="DIR", help=f"The session's folder. [default: {RUNS}/live-...]"
)
@click.option("--resume", type=click.Path(path_type=Path), metavar="DIR", help="Go on with the session of this folder.")
@click.option("--port", default=PORT, type=click.IntRange(0, 65535), help=f"0: any free one. [default: {PORT}]")
@click.option("--host", default="127.0.0.1", help="Another address asks for a token. [default: 127.0.0.1]")
def live(
    plant: Path | None,
    controller: str | None,
    settings: Path | None,
    seed: int | None,
    out: Path | None,
    resume: Path | None,
    port: int,
    host: str,
) -> int:
    """Open a live bench on PLANT, a plant file or a scenario; without one, on the demo plant with its machine running.

    The page is local; everything done there is kept as a scenario that `twoslide run` reproduces.  Ctrl-C ends it.
    """
    from scenarios.errors import InputRefused, Problem

    if resume is not None:
        given = {"PLANT": plant, "--controller": controller, "--settings": settings, "--seed": seed, "--out": out}
        extra = [name for name, value in given.items() if value is not None]
        if extra:
            raise InputRefused(
                Problem(f"--resume goes on with what the session has; {extra[0]} cannot be given with it")
            )
        folder = resume
        _check_session(folder)
    else:
        folder = out or RUNS / f"live-{datetime.now():%Y%m%d-%H%M%S}"
        _open(folder, plant, controller, settings, seed)
    from tools.live_bench.server import LiveServer

    say("starting the engine; the first time on a machine it is compiled, which takes a minute or so")
    server = LiveServer(folder, host, port)
    return asyncio.run(_serve(server, folder))


def _check_session(folder: Path) -> None:
    from tools.live_bench.session_folder import read_journal

    read_journal(folder)


async def _serve(server: object, folder: Path) -> int:
    from tools.live_bench.server import LiveServer

    assert isinstance(server, LiveServer)
    server.start()
    ended = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGINT, signal.SIGTERM):
        with contextlib.suppress(NotImplementedError):  # Windows: Ctrl-C comes as KeyboardInterrupt
            loop.add_signal_handler(number, ended.set)
    click.echo(f"open {server.address}")
    if server.token:
        say("this address can be reached from outside this machine: whoever has the token can act on the session")
    say(f"the session is kept in {folder}; Ctrl-C ends the bench")
    try:
        await ended.wait()
    finally:
        server.stop()
        say(f"ended; go on with: twoslide live --resume {folder}")
    return int(bool(server.failure))


def _open(folder: Path, plant: Path | None, controller: str | None, settings: Path | None, seed: int | None) -> None:
    """Make the session's folder from a plant or a scenario.  InputRefused; then nothing was written."""
    from scenarios.preparation import prepare
    from scenarios.runner import check_plug_in
    from scenarios.toml_source import read_toml
    from tools.live_bench.session_folder import open_folder

    path = plant or DEMO_PLANT
    if {"duration", "event", "expects"} & read_toml(path).data.keys():
        (prepared,) = prepare([path], controller=controller, settings=settings, seed=seed)
        check_plug_in(prepared)
        open_folder(folder, prepared, open_ended=False)
        _say_notes(prepared)
        return
    with tempfile.TemporaryDirectory(prefix="twoslide-") as work:
        opening = Path(work) / "opening.toml"
        opening.write_text(_opening(path, controller or "scheduled_pi", settings, Path(work)), encoding="utf-8")
        (prepared,) = prepare([opening], settings=settings, seed=seed)
        check_plug_in(prepared)
        open_folder(folder, prepared, open_ended=True)
        _say_notes(prepared)


def _say_notes(prepared: Prepared) -> None:
    for note in prepared.scenario.notes:
        say(f"note: {note}")


def _opening(plant: Path, controller: str, settings: Path | None, work: Path) -> str:
    """A scenario in which nothing happens: the plant at its usual load, the machine running where it can be told so."""
    import tomlkit

    from controller.registry import SHIPPED

    shipped = controller in SHIPPED
    document = tomlkit.document()
    document["title"] = f"Live bench, {plant.stem}"
    document["purpose"] = "A session of the live bench."
    document["expects"] = "What whoever plays it expects."
    document["plant"] = str(plant.resolve())
    document["controller"] = _absolute(controller)
    if settings is None and shipped:
        document["settings"] = str(_usual_sheet(plant, controller, work))
    document["duration"] = "24 h"
    document["seed"] = 1
    start = tomlkit.table()
    start["machine"] = "running" if shipped else "stopped"
    document["start"] = start
    return tomlkit.dumps(document)


def _usual_sheet(plant: Path, controller: str, work: Path) -> Path:
    """The demo plant's own sheet; for any other plant what `twoslide sheet` would begin with, written into `work`."""
    from plant_model.derived import derive
    from plant_model.properties import EnvelopeError
    from scenarios.errors import InputRefused, Problem
    from scenarios.plant_file import load_plant
    from scenarios.preparation import known
    from scenarios.settings_sheet import write_sheet
    from scenarios.starting_sheet import starting_settings

    demo = DEMO_SHEETS / f"demo_{controller}.toml"
    if plant.resolve() == DEMO_PLANT.resolve() and demo.is_file():
        return demo
    k = known()
    read = load_plant(
        plant, k.parameters_type, k.plant_cross_check, k.saturation_pressure_pa, check_refrigerant=k.check_refrigerant
    )
    try:
        made, held = starting_settings(derive(read.parameters, read.refrigerant), controller)
    except (EnvelopeError, ValueError) as error:
        raise InputRefused(Problem(str(error), file=str(plant), way_out="change the plant file")) from error
    for line in held:
        say(f"note: {line}")
    say("note: no --settings given: a sheet was made from the plant file, a beginning and no tuning")
    path = work / f"{plant.stem}_{controller}.toml"
    write_sheet(path, controller, made, title=f"{read.title}, {controller}")
    return path


def _absolute(controller: str) -> str:
    """A controller's file by its whole path, because the scenario stands elsewhere; a bare name stays a name."""
    file, colon, inner = controller.partition(":") if ".py:" in controller else (controller, "", "")
    return f"{Path(file).resolve()}{colon}{inner}" if Path(file).suffix or "/" in file else controller
