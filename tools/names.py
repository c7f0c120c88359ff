"""Names that stand over a column: short, and broken where a word ends."""

from __future__ import annotations

import re
from pathlib import PurePath

WIDTH = 24  # of a column's head; figures with their change are about as wide


def short_name(controller: str) -> str:
    """A controller's name without the folder of its file; any other name as it is.

    >>> short_name("/home/me/logic/mine.py:Mine"), short_name("logic/plain_steps.so"), short_name("scheduled_pi")
    ('mine.py:Mine', 'plain_steps.so', 'scheduled_pi')
    """
    file, colon, inner = controller.rpartition(":") if ".py:" in controller else (controller, "", "")
    return f"{PurePath(file).name}{colon}{inner}" if file.endswith((".py", ".so", ".dylib", ".dll")) else controller


def wrapped(name: str, width: int = WIDTH) -> str:
    """The name in lines of at most `width` letters, broken after the last / : _ - . or space that fits; else where it must.

    >>> wrapped("my_long_controller_of_spring.py:WithALongName", 24).split(chr(10))
    ['my_long_controller_of_', 'spring.py:WithALongName']
    """
    lines, rest = [], name
    while len(rest) > width:
        ends = [found.end() for found in re.finditer(r"[/:_\-. ]", rest[:width])]
        at = ends[-1] if ends else width
        lines.append(rest[:at])
        rest = rest[at:]
    return "\n".join(line.strip(" ") for line in (*lines, rest))
