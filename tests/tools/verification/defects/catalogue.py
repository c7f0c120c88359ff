"""Deliberate defects in copies of the shipped controllers: one change of text each, such as a tired person might make.

`shows`: a scenario of the library in which the shipped packs see it; "" where they do not (the tests say what does).
The texts must stand in the file exactly once, so that a defect cannot silently become none when the code moves.
"""

from __future__ import annotations

from tests.tools.verification.defects.defect import Defect as Defect
from tests.tools.verification.defects.instruments_and_drives import INSTRUMENTS_AND_DRIVES
from tests.tools.verification.defects.starting_and_stopping import STARTING_AND_STOPPING
from tests.tools.verification.defects.trips_and_latches import TRIPS_AND_LATCHES

DEFECTS: tuple[Defect, ...] = (*STARTING_AND_STOPPING, *TRIPS_AND_LATCHES, *INSTRUMENTS_AND_DRIVES)
