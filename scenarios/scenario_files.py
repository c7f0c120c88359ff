"""Which files of a folder are scenarios."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from scenarios.errors import InputRefused, Problem
from scenarios.toml_source import read_toml


def scenario_files(paths: Iterable[Path], problems: list[Problem]) -> list[Path]:
    """The scenario files among files and folders; in a folder, the *.toml that are neither plants nor sheets."""
    files: list[Path] = []
    for path in paths:
        try:
            is_folder = path.is_dir()
        except (OSError, ValueError):  # a name too long: the reading will say so
            is_folder = False
        if not is_folder:
            files.append(path)
            continue
        found = [file for file in sorted(path.glob("*.toml")) if _may_be_scenario(file)]
        if not found:
            problems.append(Problem("holds no scenario (*.toml)", file=str(path)))
        files.extend(found)
    return list(dict.fromkeys(files))


def _may_be_scenario(path: Path) -> bool:
    try:
        data = read_toml(path).data
    except InputRefused:
        return True  # its own reading will say what is wrong
    own = {"plant", "duration", "event", "expects"}
    return bool(own & data.keys()) or not (
        {"refrigerant", "machine", "checksum"} & data.keys() or isinstance(data.get("settings"), dict)
    )
