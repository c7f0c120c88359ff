"""Nights that several tests look at: each is played once a process."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

from controller.process_image import Trip
from plant_model.derived import Parameters
from scenarios.logged_data.records import LoggedData
from tests.tools.replay.causes import CAUSES
from tests.tools.replay.logged_night import log_of
from tests.tools.replay.truth import LIBRARY, Cause, Night, play
from tools.replay.first_out import Stop, explain_stops
from tools.replay.fitting import Evidence, evidence_of
from tools.replay.from_log import record_of
from tools.replay.playback import parameters_of
from tools.replay.record import Record, stretch_of
from tools.replay.timeline import SettingsPeriod
from tools.replay_plant import chosen_stop, trip_of

BY_NAME: dict[str, Cause] = {cause.name: cause for cause in CAUSES}
SHEET = LIBRARY / "sheets" / "demo_scheduled_pi.toml"


class NotReplayed(Exception):
    """A night with too little service before its event; carries night, log and stops."""


@dataclass(slots=True)
class Prepared:
    """A night, its log and record without the truth, and the model's plant (the file's, not the night's)."""

    night: Night
    log: LoggedData
    stops: list[Stop]
    record: Record
    parameters: Parameters
    first: int
    end: int
    evidence: Evidence
    settings: Any

    @property
    def true_load_w(self) -> Any:
        """The load that the night really had, row by row of the stretch."""
        offset = (self.evidence.record.start_ms - int(self.night.time_ms[0])) // 1000
        return self.night.load_w[offset : offset + self.end - self.first]


@cache
def night(name: str, seed: int) -> Prepared:
    """One night by cause and seed, its log read as `twoslide replay` reads one."""
    made = play(BY_NAME[name], seed)
    log = log_of(made)
    settings = made.nominal.settings
    stops = explain_stops(log, [SettingsPeriod(0, settings, "sheet")])
    record = record_at(log, stops)
    parameters = parameters_of(made.nominal.plant.parameters, made.nominal.plant.refrigerant)
    first, end = stretch_of(record)
    if end <= first:
        raise NotReplayed(f"{name} {seed}: no stretch to replay", made, log, stops)
    evidence = evidence_of(record.part(first, end), parameters)
    return Prepared(made, log, stops, record, parameters, first, end, evidence, settings)


def record_at(log: LoggedData, stops: list[Stop]) -> Record:
    """The record round the stop that replay studies, or up to the log's end."""
    stop = chosen_stop(stops)
    return record_of(log, stop.latest_ms if stop else log.end_ms, trip_of(stop) if stop else Trip.NONE)
