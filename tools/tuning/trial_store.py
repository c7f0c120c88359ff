"""Where finished trials are kept: one line each, synchronised to the disk before the next is begun.

    a1b2c3d4 {"format": 1, "study": {…}}            what the study is: another study is refused, not mixed in
    5e6f7081 {"number": 0, "status": "finished", …}

Each line begins with the CRC-32 of its text.  A process that is killed while it writes leaves a torn last line, which the
next start cuts off: only the trial in hand is lost.  A bad line with good ones after it is no torn write and is refused.
One process at a time has the store.
"""

from __future__ import annotations

import json
import os
import sys
import zlib
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any, BinaryIO

from scenarios.errors import InputRefused, Problem, StorageFailed
from scenarios.settings_sheet import write_whole
from tools.tuning.trials import Outcome

FORMAT_VERSION = 1


def _line(data: Any) -> str:
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":"), allow_nan=True)
    return f"{zlib.crc32(text.encode()):08x} {text}\n"


def _content(line: bytes) -> Any:
    """The data of a whole line; ValueError for a torn or damaged one."""
    head, _, text = line.partition(b" ")
    if not line.endswith(b"\n") or int(head, 16) != zlib.crc32(text[:-1]):
        raise ValueError("checksum")
    return json.loads(text)


def _outcome(data: dict[str, Any]) -> Outcome:
    made = {key: value for key, value in data.items() if key != "elapsed_s"}
    made["vector"], made["objectives"] = tuple(made["vector"]), tuple(made["objectives"])
    made["ms"] = None if made["ms"] is None else tuple(made["ms"])
    made["contributions"] = tuple(tuple(row) for row in made["contributions"])
    return Outcome(**made)


def _lock(file: BinaryIO) -> None:
    """OSError if another process has it; the system frees it when the process ends, however it ends."""
    if sys.platform == "win32":
        import msvcrt

        msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
    else:
        import fcntl

        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)


class TrialStore:
    """The finished trials of one study in one file.

    Raises InputRefused for the file of another study or a damaged one, StorageFailed if it cannot be read or written.
    """

    def __init__(self, path: Path, study: Mapping[str, str]) -> None:
        self.path = path
        self.outcomes: dict[int, Outcome] = {}
        self.spent_s = 0.0  # wall time of the study before this process
        try:
            if not path.exists():
                write_whole(path, _line({"format": FORMAT_VERSION, "study": dict(study)}))
            self._lock_file = open(path.with_name(path.name + ".lock"), "ab")  # noqa: SIM115 — held until close
        except OSError as error:
            raise StorageFailed(f"{path}: cannot be written ({error.strerror})") from error
        try:
            _lock(self._lock_file)
        except OSError as error:
            self._lock_file.close()
            way_out = "wait for it, or name another folder"
            raise InputRefused(Problem("another process is at this study", file=str(path), way_out=way_out)) from error
        try:
            self._read(study)
            self._file = open(path, "ab")  # noqa: SIM115
        except OSError as error:
            self._lock_file.close()
            raise StorageFailed(f"{path}: cannot be read ({error.strerror})") from error
        except BaseException:
            self._lock_file.close()
            raise

    def _read(self, study: Mapping[str, str]) -> None:
        lines = self.path.read_bytes().splitlines(keepends=True) or [b""]
        good = 0
        for number, line in enumerate(lines, start=1):
            try:
                data = _content(line)
            except ValueError:
                if number < len(lines) or number == 1:
                    way_out = "name another folder; the lines before it can still be read by a person"
                    text = "this line was damaged after it was written"
                    raise InputRefused(Problem(text, file=str(self.path), line=number, way_out=way_out)) from None
                os.truncate(self.path, good)  # a torn last line: the trial in hand when the process was killed
                break
            good += len(line)
            if number == 1:
                self._check(data, study)
            else:
                self.spent_s = max(self.spent_s, float(data["elapsed_s"]))
                self.outcomes[data["number"]] = _outcome(data)

    def _check(self, data: Any, study: Mapping[str, str]) -> None:
        if not isinstance(data, dict) or data.get("format") != FORMAT_VERSION:
            raise InputRefused(Problem(f"no study of format {FORMAT_VERSION}", file=str(self.path), line=1))
        kept = data["study"]
        other = sorted(key for key in {*kept, *study} if kept.get(key) != study.get(key))
        if other:
            shown = "; ".join(f"{key} was {kept.get(key)}, is {study.get(key)}" for key in other[:3])
            problem = Problem(
                f"the folder holds another study ({', '.join(other)} differ: {shown})",
                file=str(self.path),
                line=1,
                way_out="name another folder for this one, or give the former inputs to go on with that",
            )
            raise InputRefused(problem)

    def add(self, outcome: Outcome, elapsed_s: float) -> None:
        """Keep a finished trial; it is on the disk when this returns.  elapsed_s: wall time of the study so far."""
        try:
            self._file.write(_line({**asdict(outcome), "elapsed_s": round(elapsed_s, 3)}).encode())
            self._file.flush()
            os.fsync(self._file.fileno())
        except OSError as error:
            raise StorageFailed(f"{self.path}: cannot be written ({error.strerror})") from error
        self.outcomes[outcome.number] = outcome

    def close(self) -> None:
        """Let another process have the store."""
        self._file.close()
        self._lock_file.close()
