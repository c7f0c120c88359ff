"""The scenario that broke a requirement, as a scenario file of its own that `twoslide run` plays again."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import tomlkit

from scenarios.settings_sheet import write_whole
from scenarios.toml_source import decode, read_bytes
from tools.verification.acceptance import CAUTION, Line
from tools.verification.campaign import Job
from tools.verification.ground import seen_from

_FILE_KINDS = ("load_log", "weather_log")


def save(line: Line, job: Job, folder: Path) -> Path:
    """Write the scenario of a failed line into `folder`, with everything the command line had said put into it.

    Paths are made relative to the new place.  Returns the file; StorageFailed if it cannot be written.
    """
    assert line.run is not None
    assert line.finding is not None
    path = folder / f"{line.requirement.id}-{job.name}.toml"
    write_whole(path, counterexample(line, job, folder))
    return path


def counterexample(line: Line, job: Job, folder: Path) -> str:
    """The text of that file."""
    assert line.run is not None
    assert line.finding is not None
    document: Any = tomlkit.parse(decode(read_bytes(job.scenario), job.scenario))
    here = job.scenario.parent
    document["plant"] = seen_from(here / document["plant"], folder)
    if job.settings is not None:
        document["settings"] = seen_from(job.settings, folder)
    elif "settings" in document:
        document["settings"] = seen_from(here / document["settings"], folder)
    controller = job.controller or str(document["controller"])
    if job.controller is not None or controller.rpartition(":")[0].endswith(".py") or controller.endswith(".so"):
        document["controller"] = _controller(controller, None if job.controller is not None else here, folder)
    document["seed"] = line.run.seed
    for event in document.get("event", []):
        if event.get("kind") in _FILE_KINDS:
            event["file"] = seen_from(here / event["file"], folder)
    return _head(line) + tomlkit.dumps(document)


def _head(line: Line) -> str:
    assert line.run is not None
    assert line.finding is not None
    at_s = (line.finding.failed_ms or 0) / 1000.0
    said = [
        f"{line.requirement.id}: {line.sentence}",
        f"Broken at {at_s:g} s under {Path(line.run.controller).name}, margin {line.margin_text}.",
        f"The deciding clause: {line.finding.clause}" if line.finding.clause else "",
        "Play it again: twoslide run THIS_FILE --log-every scan; judge it again: twoslide verify --scenarios THIS_FILE",
        CAUTION,
    ]
    return "".join(f"# {text}\n" for text in said if text) + "\n"


def _controller(name: str, here: Path | None, folder: Path) -> str:
    """A shipped name as it is; a plug-in's path moved.  here: the folder it counts from, None for the working folder."""
    file, colon, inner = name.rpartition(":") if ".py:" in name or ".so:" in name else (name, "", "")
    if not file.endswith((".py", ".so")):
        return name
    moved = seen_from((here or Path()) / file, folder)
    return f"{moved if '/' in moved else './' + moved}{colon}{inner}"
