"""What of a live session is on disk: its inputs, everything that was done, and the scenario that reproduces it.

    base.toml       the scenario at opening; plant, sheet and records beside it are copies
    journal.jsonl   a line for everything that was done, written before it acts
    reached.json    the time reached, ten times a second of the clock
    session.toml    the session so far as a scenario, for `twoslide run`
    log.csv, events.csv   when somebody exports them, or when a plug-in took the engine along
    .engine/        while a plug-in is played: its rows, so that they outlive it (plug_in_watch.py)

The bench reads and writes nothing outside this folder (a plug-in's own code excepted, which the command line named).
"""

from __future__ import annotations

import json
import os
import shutil
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import tomlkit

from scenarios.errors import InputRefused, Problem, StorageFailed
from scenarios.load_and_weather_kinds import WeatherLogPlayed
from scenarios.settings_sheet import write_whole
from scenarios.trace import Trace, to_frame

if TYPE_CHECKING:
    from scenarios.preparation import Prepared
    from scenarios.scenario import Scenario

BASE, JOURNAL, REACHED, SESSION = "base.toml", "journal.jsonl", "reached.json", "session.toml"
TRYING = ".trying.toml"
OPEN_ENDED_MS = 24 * 3_600_000
PURPOSE = "A session of the live bench, kept as a scenario: what was done there happens here at the same scan."


@dataclass(frozen=True, slots=True)
class Moment:
    """A moment to come back to: its name, its time, and how many actions lie before it."""

    name: str
    time_ms: int
    actions: int


@dataclass(slots=True)
class Journal:
    """Everything that was done, as it stands after goings back."""

    actions: list[dict[str, Any]] = field(default_factory=list)
    moments: list[Moment] = field(default_factory=lambda: [Moment("start", 0, 0)])

    def act(self, tables: list[dict[str, Any]]) -> None:
        """Something was done."""
        self.actions.extend(tables)

    def mark(self, moment: Moment) -> None:
        """A moment is kept."""
        self.moments.append(moment)

    def back(self, number: int) -> None:
        """What was done after a moment is undone, and what was kept after it forgotten."""
        self.actions = self.actions[: self.moments[number].actions]
        self.moments = self.moments[: number + 1]


def open_folder(folder: Path, prepared: Prepared, open_ended: bool) -> None:
    """Make a session's folder from a prepared scenario: everything it names is copied into it.

    InputRefused where the folder holds anything already.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise InputRefused(
            Problem(f"--out {folder} is not empty", value=str(folder), way_out="name a new folder, or --resume it")
        )
    scenario = prepared.scenario
    try:
        folder.mkdir(parents=True, exist_ok=True)
        document = tomlkit.parse(scenario.path.read_text(encoding="utf-8-sig"))
        document["plant"] = _copy(scenario.plant.path, folder)
        document["controller"] = scenario.controller
        document["seed"] = prepared.seed
        if scenario.sheet_path is not None:
            document["settings"] = _copy(scenario.sheet_path, folder)
        else:
            document.pop("settings", None)
        if open_ended:
            document["duration"] = f"{OPEN_ENDED_MS} ms"
        for table in document.get("event", []):
            if "file" in table:
                table["file"] = _copy(scenario.path.parent / str(table["file"]), folder)
    except OSError as error:
        raise StorageFailed(f"{folder} could not be written: {error.strerror or error}") from error
    write_whole(folder / BASE, tomlkit.dumps(document))
    write_whole(folder / JOURNAL, "")


def _copy(path: Path, folder: Path) -> str:
    name, number = path.name, 1
    while (folder / name).exists() and (folder / name).read_bytes() != path.read_bytes():
        number += 1
        name = f"{path.stem}-{number}{path.suffix}"
    shutil.copyfile(path, folder / name)
    return name


def read_journal(folder: Path) -> Journal:
    """What was done so far.  InputRefused for a folder that is no session's; a last line cut by a kill is left out."""
    if not (folder / BASE).is_file() or not (folder / JOURNAL).is_file():
        raise InputRefused(
            Problem(f"{folder} is no session of the live bench", value=str(folder), way_out=f"it has no {BASE}")
        )
    journal = Journal()
    lines = (folder / JOURNAL).read_text(encoding="utf-8").split("\n")
    for number, line in enumerate(lines, 1):
        try:
            if not line.strip():
                continue
            entry = json.loads(line)
            if "act" in entry:
                journal.act(entry["act"])
            elif "mark" in entry:
                journal.mark(Moment(**entry["mark"]))
            else:
                journal.back(entry["back"])
        except (ValueError, TypeError, KeyError, IndexError) as error:
            if number == len(lines):  # killed while it was written: it never acted
                write_whole(folder / JOURNAL, "".join(f"{one}\n" for one in lines[:-1]))
                break
            problem = Problem("is no line of a session's journal", way_out="open the session's session.toml instead")
            raise InputRefused(problem.at(str(folder / JOURNAL), number)) from error
    return journal


def write_down(folder: Path, entry: dict[str, Any]) -> None:
    """Add a line to the journal; it is on the disk when this returns."""
    try:
        with (folder / JOURNAL).open("a", encoding="utf-8") as out:
            out.write(json.dumps(entry, ensure_ascii=False) + "\n")
            out.flush()
            os.fsync(out.fileno())
    except OSError as error:
        raise StorageFailed(f"{folder / JOURNAL}: cannot be written ({error.strerror})") from error


def note_reached(folder: Path, time_ms: int) -> None:
    """Write the time reached."""
    beside = folder / f".{REACHED}"
    beside.write_text(json.dumps({"time_ms": time_ms}), encoding="utf-8")
    beside.replace(folder / REACHED)


def read_reached(folder: Path) -> int:
    """The time reached, ms; 0 where none was noted."""
    try:
        return max(0, int(json.loads((folder / REACHED).read_text(encoding="utf-8"))["time_ms"]))
    except (OSError, ValueError, KeyError, TypeError):
        return 0


def scenario_text(folder: Path, actions: list[dict[str, Any]], duration_ms: int | None = None) -> str:
    """The base scenario with actions as further events, in TOML; with another duration where one is given."""
    document = tomlkit.parse((folder / BASE).read_text(encoding="utf-8"))
    if duration_ms is not None:
        document["duration"] = f"{duration_ms} ms"
        document["purpose"] = PURPOSE
    events = document.setdefault("event", tomlkit.aot())
    for table in actions:
        item = tomlkit.table()
        for key, value in table.items():
            item.add(key, value)
        events.append(item)
    return tomlkit.dumps(document)


def prepared_with(folder: Path, actions: list[dict[str, Any]]) -> Prepared:
    """The session's scenario with actions, checked as `twoslide run` would.  InputRefused with what is wrong."""
    from scenarios.preparation import prepare

    path = folder / TRYING
    write_whole(path, scenario_text(folder, actions))
    try:
        return prepare([path])[0]
    finally:
        path.unlink(missing_ok=True)


def keep(folder: Path, scenario: Scenario, actions: list[dict[str, Any]], reached_ms: int) -> bool:
    """Write session.toml: the session so far.  True if it ends there, False where it has to go on to its planned end.

    Something that lasts until later, or a weather record, which is read up to the end, is not cut short.
    """
    ends = [max(e.starts_ms + 1, getattr(e, "until_ms", 0)) for e in scenario.events]
    whole = any(isinstance(e, WeatherLogPlayed) for e in scenario.events)
    shortens = not whole and max(ends, default=0) <= reached_ms and reached_ms > 0
    duration_ms = reached_ms if shortens else scenario.duration_ms
    write_whole(folder / SESSION, scenario_text(folder, actions, duration_ms))
    return shortens


def write_log(folder: Path, trace: Trace) -> str:
    """Write the log as CSV, every column, and the events; returns where."""
    import polars as pl

    beside = folder / ".log.csv"
    to_frame(trace).write_csv(beside)
    beside.replace(folder / "log.csv")
    events = pl.DataFrame(trace.events, schema=["time_ms", "kind", "source", "text"], orient="row")
    beside = folder / ".events.csv"
    events.write_csv(beside)
    beside.replace(folder / "events.csv")
    return f"{folder / 'log.csv'}: {len(trace['time_ms'])} rows"
