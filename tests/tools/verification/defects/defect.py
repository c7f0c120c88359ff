"""What a deliberate defect is: one change of text in a copy of a controller's file."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Defect:
    """One change of one file of `controller/`."""

    name: str
    file: str
    old: str
    new: str
    shows: str = ""
    controller: str = "scheduled_pi"


SEQUENCE, PROTECTION, CAUSES = "sequence.py", "protection.py", "trip_causes.py"
INHIBIT, SIGNALS, CAPACITY = "load_inhibit.py", "signals.py", "capacity_control.py"
FRAME, POSITIONER, WATCH = "frame.py", "positioner.py", "slide_watch.py"
