"""What each stage of a tuning run found, kept in a file of its own, so that the same command goes on where it was.

A file holds its stage's rows and the key of everything that they follow from; with another key it is computed again and
replaced.  A file appears whole or not at all, and one that cannot be read is as good as none.

    OUT/work/map.json      {"key": "3f2a…", "made_of": {…}, "rows": …}
    OUT/work/bumps/007.json                                              a stage in pieces: see `StageFiles.each`
"""

from __future__ import annotations

import hashlib
import io
import json
import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache, partial
from importlib.metadata import version
from pathlib import Path
from typing import Any
from zipfile import BadZipFile

import numpy as np
from numpy.typing import NDArray

from scenarios.errors import StorageFailed
from scenarios.kernel_cache import source_hash
from scenarios.settings_sheet import write_whole
from tools.tuning.tuning_result import from_json, plain


@cache
def _versions() -> str:
    return f"{version('twoslide')} {source_hash()} numpy {version('numpy')} scipy {version('scipy')}"


def key_of(made_of: Mapping[str, Any]) -> str:
    """A key of plain data (records and figures included): equal for equal content on the same version of the code."""
    text = json.dumps([_versions(), plain(dict(made_of))], sort_keys=True, ensure_ascii=False, default=str)
    return hashlib.sha256(text.encode()).hexdigest()[:20]


@dataclass(frozen=True, slots=True)
class StageFiles:
    """The folder of the stages.  Raises StorageFailed where it cannot be written."""

    folder: Path

    def path(self, name: str) -> Path:
        """The file of a stage."""
        return self.folder / f"{name}.json"

    def find(self, name: str, made_of: Mapping[str, Any], kind: Any) -> Any | None:
        """What the stage found before from the same inputs, or None.  kind: type of the rows, as for `from_json`."""
        try:
            data = json.loads(self.path(name).read_text(encoding="utf-8"))
            if data["key"] != key_of(made_of):
                return None
            return from_json(kind, json.dumps(data["rows"]))
        except FileNotFoundError:
            return None
        except OSError as error:
            raise StorageFailed(f"{self.path(name)}: cannot be read ({error.strerror})") from error
        except (ValueError, KeyError, TypeError):  # torn by a failing disk, or of an older form
            return None

    def keep(self, name: str, made_of: Mapping[str, Any], rows: Any) -> None:
        """Keep what the stage found."""
        data = {"key": key_of(made_of), "made_of": plain(dict(made_of)), "rows": plain(rows)}
        text = json.dumps(data, ensure_ascii=False, indent=1, allow_nan=False, default=str)
        write_whole(self.path(name), text + "\n")

    def have(self, name: str, made_of: Mapping[str, Any], kind: Any, compute: Callable[[], Any]) -> Any:
        """What the stage found before, or what `compute` finds now, which is then kept."""
        found = self.find(name, made_of, kind)
        if found is None:
            found = compute()
            self.keep(name, made_of, found)
        return found

    def each(
        self, name: str, made_of: Mapping[str, Any], kind: Any, count: int, compute: Callable[[int], Any],
        progress: Callable[[float], None] | None = None,
    ) -> tuple[Any, ...]:  # fmt: skip
        """A stage of `count` pieces, each of type `kind` and kept in a file of its own as soon as it is there.

        A run that is ended in the middle loses the piece in hand only.
        """
        out = []
        for k in range(count):
            out.append(self.have(f"{name}/{k:03d}", {**made_of, "piece": k}, kind, partial(compute, k)))
            if progress:
                progress((k + 1) / count)
        return tuple(out)

    def find_arrays(self, name: str, made_of: Mapping[str, Any]) -> dict[str, NDArray[Any]] | None:
        """Arrays that were kept from the same inputs, or None."""
        try:
            with np.load(self.folder / f"{name}.npz", allow_pickle=False) as data:
                if str(data["key"]) != key_of(made_of):
                    return None
                return {key: data[key] for key in data.files if key != "key"}
        except FileNotFoundError:
            return None
        except (OSError, ValueError, KeyError, BadZipFile):  # torn, or no archive at all
            return None

    def keep_arrays(self, name: str, made_of: Mapping[str, Any], arrays: Mapping[str, NDArray[Any]]) -> None:
        """Keep arrays of a stage, whole or not at all."""
        held = io.BytesIO()
        kept: dict[str, Any] = {"key": np.array(key_of(made_of)), **arrays}
        np.savez_compressed(held, **kept)
        path = self.folder / f"{name}.npz"
        beside = path.with_name(f".{path.name}.partial-{os.getpid()}")
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            beside.write_bytes(held.getvalue())
            beside.replace(path)
        except OSError as error:
            raise StorageFailed(f"{path}: cannot be written ({error.strerror})") from error
        finally:
            beside.unlink(missing_ok=True)
