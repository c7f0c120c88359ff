"""A scenario as a file in another folder, whole or a part of it, with everything the command line had said put into it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import tomlkit

from scenarios.toml_source import decode, read_bytes
from tools.verification.campaign import Job
from tools.verification.ground import seen_from

_FILE_KINDS = ("load_log", "weather_log")


@dataclass(frozen=True, slots=True)
class Part:
    """What is left of a scenario: events by their number, and its duration, None for its own.

    at_start: what is left comes at the start of the run and not at its own time; load_w: the load at the start, None for
    its own.
    """

    events: tuple[int, ...]
    duration_ms: int | None = None
    at_start: bool = False
    load_w: float | None = None

    def told(self, events: int) -> str:
        """What is left of a scenario with so many events, in words."""
        words = [f"{len(self.events)} of its {events} events{' at the start' if self.at_start else ''}"]
        words += [f"{self.load_w / 1000.0:g} kW of load at the start"] if self.load_w is not None else []
        words += [f"its first {self.duration_ms / 1000.0:g} s"] if self.duration_ms is not None else []
        return ", ".join(words)


def events_of(scenario: Path) -> int:
    """How many events a scenario file has."""
    return len(tomlkit.parse(decode(read_bytes(scenario), scenario)).get("event", []))


def scenario_copy(job: Job, seed: int, folder: Path, part: Part | None = None, made_from: str = "") -> str:
    """The text of a job's scenario for a file in `folder`: paths are made relative to it, and only a part is left.

    made_from: the file name that requirements meant for some scenarios go by; "" leaves it as it is.
    """
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
    document["seed"] = seed
    if made_from:
        document["made_from"] = made_from
    for event in document.get("event", []):
        if event.get("kind") in _FILE_KINDS:
            event["file"] = seen_from(here / event["file"], folder)
    if part is not None:
        _cut(document, part)
    return tomlkit.dumps(document)


def _cut(document: Any, part: Part) -> None:
    for k in reversed(range(len(document.get("event", [])))):
        if k not in part.events:
            del document["event"][k]
    if "event" in document and not part.events:
        del document["event"]
    for event in document.get("event", []) if part.at_start else []:
        if "at" in event:
            event["at"] = "0 s"
    if part.load_w is not None:
        document.setdefault("start", tomlkit.table())["load"] = f"{part.load_w / 1000.0:.12g} kW"
    if part.duration_ms is not None:
        document["duration"] = f"{part.duration_ms // 1000} s"


def _controller(name: str, here: Path | None, folder: Path) -> str:
    """A shipped name as it is; a plug-in's path moved.  here: the folder it counts from, None for the working folder."""
    file, colon, inner = name.rpartition(":") if ".py:" in name or ".so:" in name else (name, "", "")
    if not file.endswith((".py", ".so")):
        return name
    moved = seen_from((here or Path()) / file, folder)
    return f"{moved if '/' in moved else './' + moved}{colon}{inner}"
