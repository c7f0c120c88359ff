"""What several commands put on the terminal: a console that does not cut tables, and JSON."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from rich.console import Console


def say(text: str) -> None:
    """One line on stderr, if anybody still listens."""
    with contextlib.suppress(OSError):
        click.echo(text, err=True)


def console() -> Console:
    """Wide enough for a table where it is no terminal."""
    from rich.console import Console

    made = Console(highlight=False)
    # a table that is cut to 80 columns in a file or a pipe helps nobody
    return made if made.is_terminal else Console(highlight=False, width=max(made.width, 120))


@contextlib.contextmanager
def progress_bar(text: str) -> Iterator[Callable[[float], None]]:
    """A bar on stderr over a share of 0 to 1; nothing where stderr is no terminal."""
    from rich.console import Console
    from rich.markup import escape
    from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeElapsedColumn

    shown = Console(stderr=True)
    columns = (TextColumn("{task.description}"), BarColumn(), TaskProgressColumn(), TimeElapsedColumn())
    with Progress(*columns, console=shown, disable=not shown.is_terminal) as bar:
        task = bar.add_task(escape(text), total=1.0)
        yield lambda share: bar.update(task, completed=share)


def put_json(data: dict[str, Any]) -> None:
    """One JSON object on stdout."""
    import json

    click.echo(json.dumps(data, ensure_ascii=False, indent=1, allow_nan=False))
