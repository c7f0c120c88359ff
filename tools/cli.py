"""The command line.  Each command stands in a file of its own and is imported when it is asked for, so that `--help` of
one does not wait for another.

Exit codes: 0 done, a trip of the machine included · 1 the controller failed or a requirement was broken · 2 refused
before the first scan · 70 internal error · 74 disk · 130 interrupted.
"""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Callable
from importlib import import_module
from typing import Any

import click

from tools.output import say

COMMANDS = {  # name: module and attribute
    "tour": "tools.run:tour",
    "run": "tools.run:run",
    "compare": "tools.compare:compare",
    "diff": "tools.diff:diff",
    "describe": "tools.describe:describe",
    "plant": "tools.plant:plant",
    "sheet": "tools.sheet:sheet",
    "season": "tools.season:season",
    "tune": "tools.tuning.tune:tune",
    "verify": "tools.verify:verify",
    "inspect": "tools.inspect:inspect",
    "replay": "tools.replay_command:replay",
    "check-controller": "tools.check_controller:check_controller",
    "matrix": "tools.matrix:matrix",
    "site-script": "tools.site_script:site_script",
    "hunt": "tools.hunt:hunt",
    "live": "tools.live:live",
}


class Commands(click.Group):
    """A group that finds its commands by name and turns every outcome into this tool's exit codes and a few plain words
    on stderr."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """The commands in the order in which they are met."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import and give one command; None if there is none of that name."""
        if cmd_name not in COMMANDS:
            return None
        module, _, attribute = COMMANDS[cmd_name].partition(":")
        command: click.Command = getattr(import_module(module), attribute)
        return command

    def main(self, *args: Any, **kwargs: Any) -> Any:
        """Run a command and leave with its exit code."""
        kwargs["standalone_mode"] = False
        sys.exit(_guarded(lambda: super(Commands, self).main(*args, **kwargs)))


def _interrupt(_number: int, _frame: Any) -> None:
    raise KeyboardInterrupt


def _guarded(work: Callable[[], Any]) -> int:
    try:
        signal.signal(signal.SIGTERM, _interrupt)  # as Ctrl-C: a child is ended and nothing is left half-written
        return int(work() or 0)
    except click.ClickException as error:
        error.show()
        return error.exit_code
    except (click.Abort, KeyboardInterrupt):
        say("interrupted; nothing half-written is left under a final name")
        return 130
    except OSError as error:
        where = f"{error.filename}: " if error.filename else ""
        say(f"{where}{error.strerror or error}")
        return 74
    except Exception as error:
        return _explain(error)


def _explain(error: Exception) -> int:
    from scenarios.errors import InputRefused, TwoslideError

    if isinstance(error, InputRefused):
        for problem in error.problems:
            say(str(problem))
        return int(error.exit_code)
    if isinstance(error, TwoslideError):
        say(str(error))
        return int(error.exit_code)
    if os.environ.get("TWOSLIDE_DEBUG") == "1":
        import traceback

        say("".join(traceback.format_exception(error)).rstrip())
    say(f"internal error: {type(error).__name__}: {error}\nset TWOSLIDE_DEBUG=1 to see where")
    return 70


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(package_name="twoslide")
def main() -> None:
    """Simulate and tune the control logic of a single-screw refrigeration compressor with two slides.

    An engineering aid on simulated plants and no safety system: hard-wired cut-outs come first.
    """


if __name__ == "__main__":
    main()
