"""Every error that this tool raises on purpose, and the exit code of each.

    TwoslideError
    ├── InputRefused       exit 2   a file or a value is wrong: refused before the first scan, nothing written
    ├── ControllerFailed   exit 1   a controller raised, returned nonsense or hung; the folder is complete up to there
    ├── StorageFailed      exit 74  disk or network
    └── InternalError      exit 70  our fault, not the user's

A trip of the machine is a result, not an error.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import IntEnum


class ExitCode(IntEnum):
    """What the shell gets."""

    DONE = 0
    ANSWER_IS_NO = 1
    REFUSED = 2
    INTERNAL = 70
    STORAGE = 74
    INTERRUPTED = 130


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong in an input: where, what was given, the limit, and the way out.

    line and column count from 1, the column in characters; 0 means unknown or not applicable.
    """

    message: str
    file: str = ""
    line: int = 0
    column: int = 0
    value: str = ""
    limit: str = ""
    way_out: str = ""

    def at(self, file: str, line: int = 0, column: int = 0) -> Problem:
        """The same problem with its place."""
        return replace(self, file=file, line=line, column=column)

    def __str__(self) -> str:
        place = ":".join([self.file, *(str(n) for n in (self.line, self.column) if n)]) if self.file else ""
        text = "; ".join(part for part in (self.message, self.limit, self.way_out) if part)
        return f"{place}: {text}" if place else text


def shortened(text: str, letters: int = 80) -> str:
    """A value as an error message repeats it: whole if it is short, else its beginning.

    >>> shortened("290 kPa"), shortened("x" * 200, 5)
    ('290 kPa', 'xxxxx…')
    """
    return text if len(text) <= letters else f"{text[:letters]}…"


class TwoslideError(Exception):
    """Base of all; `exit_code` is what the command line returns."""

    exit_code: ExitCode = ExitCode.INTERNAL


class InputRefused(TwoslideError):
    """One or more problems in what the user gave; all that were found, not only the first."""

    exit_code = ExitCode.REFUSED

    def __init__(self, problems: Problem | Iterable[Problem]) -> None:
        found = (problems,) if isinstance(problems, Problem) else tuple(dict.fromkeys(problems))
        self.problems: tuple[Problem, ...] = found
        super().__init__("\n".join(str(problem) for problem in found))

    def __reduce__(self) -> tuple[type[InputRefused], tuple[tuple[Problem, ...]]]:
        """Crosses a process boundary with its problems."""
        return type(self), (self.problems,)


class ControllerFailed(TwoslideError):
    """A controller broke the contract while running."""

    exit_code = ExitCode.ANSWER_IS_NO


class StorageFailed(TwoslideError):
    """A file could not be written or read for a reason outside its content."""

    exit_code = ExitCode.STORAGE


class InternalError(TwoslideError):
    """A promise of the tool itself was broken."""

    exit_code = ExitCode.INTERNAL
