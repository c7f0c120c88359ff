"""Finished runs, read back from their folders, and which of them belong together.

A folder may be a run itself, or hold runs as `twoslide run --out` leaves them, one to a sub-folder.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

import polars as pl
from polars.exceptions import PolarsError

from scenarios.errors import InputRefused, Problem
from scenarios.score_records import Scores, read_scores
from scenarios.trace import Trace, read_trace

T = TypeVar("T")
RUNS_AT_MOST = 6  # in one picture; more curves than that nobody tells apart
# facts that must agree for a like-for-like comparison: key, and what it is called
LIKENESS = (
    ("scenario_file", "scenario"),
    ("plant", "plant"),
    ("seed", "seed"),
    ("duration_ms", "duration"),
    ("log_ms", "log interval"),
    ("sources", "version of the program"),
)


@dataclass(frozen=True, slots=True)
class FinishedRun:
    """A run's folder without its rows.  `facts` is the trace's metadata; `failure` says why it ended early, or ""."""

    folder: Path
    scores: Scores
    facts: dict[str, str]
    failure: str

    def trace(self) -> Trace:
        """The rows and events.  InputRefused if they cannot be read."""
        return _read(self.folder, lambda: read_trace(self.folder))

    @property
    def scenario(self) -> str:
        """The scenario file's name."""
        return self.facts.get("scenario_file", self.folder.name)


@dataclass(frozen=True, slots=True)
class Match:
    """Runs that are compared with each other, the first being what the others are compared with.

    names: a word for each run; unlike: in words, what keeps this from being a like-for-like comparison.
    """

    title: str
    names: tuple[str, ...]
    runs: tuple[FinishedRun, ...]
    unlike: tuple[str, ...]


def _read(folder: Path, read: Callable[[], T]) -> T:
    try:
        return read()
    except (OSError, ValueError, KeyError, TypeError, PolarsError) as error:
        reason = str(error).splitlines()[0] if str(error) else type(error).__name__
        raise InputRefused(
            Problem(
                f"cannot be read as a run of this version ({reason[:120]})",
                file=str(folder),
                way_out="run it again",
            )
        ) from error


def is_run(folder: Path) -> bool:
    """Whether the folder itself is a run's."""
    return (folder / "trace.parquet").is_file() and (folder / "scores.json").is_file()


def read_run(folder: Path) -> FinishedRun:
    """A run's folder.  InputRefused if it is none, or cannot be read."""
    scores = _read(folder, lambda: read_scores(folder))
    facts = _read(folder, lambda: dict(pl.read_parquet_metadata(folder / "trace.parquet")))
    events = _read(folder, lambda: pl.read_csv(folder / "events.csv", infer_schema=False))
    faults = _read(
        folder, lambda: events.filter((pl.col("kind") == "run") & (pl.col("source") == "fault"))["text"].to_list()
    )
    return FinishedRun(folder, scores, {k: v for k, v in facts.items() if k != "ARROW:schema"}, "; ".join(faults))


def find_runs(path: Path) -> list[FinishedRun]:
    """The run that a folder is, or those that it holds, by name.  InputRefused for a folder that is and holds none."""
    if not path.is_dir():
        what = "is a file; a run's folder is expected" if path.exists() else "no such folder"
        raise InputRefused(Problem(what, file=str(path), way_out="name a folder that twoslide run has left"))
    if is_run(path):
        return [read_run(path)]
    inside = [one for one in sorted(path.iterdir()) if one.is_dir() and one.name[0] != "." and is_run(one)]
    if not inside:
        raise InputRefused(
            Problem(
                "is no run's folder and holds none",
                file=str(path),
                limit="a run has trace.parquet, events.csv and scores.json",
                way_out="name a folder that twoslide run has left",
            )
        )
    return [read_run(one) for one in inside]


def unlikeness(runs: Sequence[FinishedRun]) -> tuple[str, ...]:
    """What differs between runs that are compared, in words; empty for like with like."""
    found = []
    for key, word in LIKENESS:
        values = [run.facts.get(key, "unknown") for run in runs]
        if len(set(values)) > 1:
            shown = [_shown(key, value) for value in values]
            what = f": {' / '.join(dict.fromkeys(shown))}" if len(set(shown)) > 1 else ""
            found.append(f"different {word}{what}")
    if not any(run.facts.get(key) != runs[0].facts.get(key) for run in runs for key in ("scenario_file", "plant")):
        found += [f"{word} was changed between the runs" for word in _changed_files(runs)]
    if any(run.failure for run in runs):
        found.append("a run ended early")
    return tuple(found)


def _changed_files(runs: Sequence[FinishedRun]) -> list[str]:
    """Files of one name but not of one content: what a scenario reads, but for controller and sheet, which are told."""
    hashes = [_hashes(run) for run in runs]
    shared = [role for role in hashes[0] if all(role in one for one in hashes)]
    changed = [role for role in shared if len({one[role] for one in hashes}) > 1]
    kinds = [role.partition(":") for role in changed if role not in ("controller", "settings")]
    return [f"the {kind.replace('_', ' ')} file {name}".rstrip() for kind, _, name in kinds]


def _hashes(run: FinishedRun) -> dict[str, str]:
    try:
        found = json.loads(run.facts.get("sha256", "{}"))
    except ValueError:  # somebody else's folder
        return {}
    return found if isinstance(found, dict) else {}


def _shown(key: str, value: str) -> str:
    if key in ("duration_ms", "log_ms") and value.isdigit():
        return f"{int(value) / 1000:g} s"
    return value[:12] if key == "sources" else value


_KEYS = (("scenario_file",), ("scenario_file", "seed"), ("scenario_file", "seed", "controller"),
         ("scenario_file", "seed", "controller", "settings", "settings_checksum"))  # fmt: skip


def match_runs(paths: Sequence[Path]) -> tuple[list[Match], list[str]]:
    """The runs of several folders, matched by scenario; and words about those that have no counterpart.

    One folder that holds several runs is parted by controller, sheet and seed.  Folders that are single runs are
    compared whatever they are; `Match.unlike` tells.  InputRefused where nothing can be compared.
    """
    if len(paths) > RUNS_AT_MOST:
        raise InputRefused(Problem(f"{len(paths)} folders are too many", limit=f"at most {RUNS_AT_MOST}"))
    columns = {name: find_runs(path) for name, path in zip(_names(paths), paths, strict=True)}
    if len(columns) == 1:
        columns = _parted(next(iter(columns.values())))
    if len(columns) < 2:
        raise InputRefused(Problem("there is one run only", file=str(paths[0]), way_out="name another to compare with"))
    if len(columns) > RUNS_AT_MOST:
        raise InputRefused(Problem(f"{len(columns)} kinds of run are too many", limit=f"at most {RUNS_AT_MOST}"))
    names = tuple(columns)
    if all(len(runs) == 1 for runs in columns.values()):
        found = tuple(runs[0] for runs in columns.values())
        titles = list(dict.fromkeys(run.facts.get("scenario", run.folder.name) for run in found))
        return [Match(" / ".join(titles), names, found, unlikeness(found))], []
    keyed = _keyed(columns)
    matches, lonely = [], []
    for key in dict.fromkeys(key for by_key in keyed.values() for key in by_key):
        there = [name for name in names if key in keyed[name]]
        runs = tuple(keyed[name][key] for name in there)
        if len(runs) < len(names):
            lonely.append(f"{', '.join(filter(None, key))}: only in {', '.join(there)}")
        if len(runs) > 1:
            title = runs[0].facts.get("scenario", runs[0].scenario)
            rest = f" ({', '.join(filter(None, key[1:]))})" if len(key) > 1 else ""
            matches.append(Match(title + rest, tuple(there), runs, unlikeness(runs)))
    if not matches:
        raise InputRefused(Problem("no scenario is in more than one of them", value=", ".join(names)))
    return matches, lonely


def _names(paths: Sequence[Path]) -> list[str]:
    short = [path.resolve().name for path in paths]
    return short if len(set(short)) == len(short) else [f"{k}: {path}" for k, path in enumerate(paths, 1)]


def _parted(runs: list[FinishedRun]) -> dict[str, list[FinishedRun]]:
    """Runs of one folder by controller; with sheet and seed in the name where the controller does not part them."""
    for keys in (("controller",), ("controller", "settings"), ("controller", "settings", "seed")):
        out: dict[str, list[FinishedRun]] = {}
        for run in runs:
            out.setdefault(", ".join(run.facts.get(key, "") for key in keys), []).append(run)
        if len(out) > 1:
            return out
    return {"": runs}


def _keyed(columns: dict[str, list[FinishedRun]]) -> dict[str, dict[tuple[str, ...], FinishedRun]]:
    """Each folder's runs by the shortest key that tells them apart in every folder."""
    for keys in _KEYS:
        out = {
            name: {tuple(run.facts.get(key, "") for key in keys): run for run in runs} for name, runs in columns.items()
        }
        if all(len(out[name]) == len(runs) for name, runs in columns.items()):
            return out
    raise InputRefused(
        Problem(
            "a folder holds several runs of one scenario, seed, controller and sheet",
            way_out="name the runs' own folders",
        )
    )
