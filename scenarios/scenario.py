"""A scenario: what is run, on which plant, under which controller, and what happens from outside.

A scenario names its plant and its settings sheet and overrides neither.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from scenarios.event_kinds import AnyEvent, DurationMs, Event, Frac, HeatW, quantity
from scenarios.load_log import LoadLog
from scenarios.plant_file import Plant
from scenarios.settings_sheet import Sheet
from scenarios.weather_log import WeatherLog

LONGEST_RUN_MS = 366 * 86_400_000

PressurePa = Annotated[float, *quantity("Pa", "absolute", 1000.0, 2e7)]
ClockMs = Annotated[int, *quantity("ms", low=0, high=2**32 - 1, whole=True)]
Seed = Annotated[int, Field(ge=0, lt=2**63, strict=True)]


class MachineAtStart(StrEnum):
    """The machine before row 0."""

    RUNNING = "running"
    STOPPED = "stopped"


class Start(BaseModel):
    """The state before row 0; what is not given follows from the plant."""

    model_config = ConfigDict(extra="forbid", frozen=True, hide_input_in_errors=True)
    machine: MachineAtStart = Field(
        MachineAtStart.STOPPED,
        description="running: in service, with a shipped controller leading it; stopped: at rest",
    )
    suction_pressure_pa: PressurePa | None = Field(
        None, alias="suction_pressure", description="the suction set point where it is left out"
    )
    discharge_pressure_pa: PressurePa | None = Field(
        None, alias="discharge_pressure", description="what the weather and the load give where it is left out"
    )
    capacity_travel_frac: Frac | None = Field(
        None, alias="capacity_travel", description="running: as the load needs, stopped: 0 % where it is left out"
    )
    load_w: HeatW | None = Field(
        None, alias="load", description="load heat; the plant file's base_load where it is left out"
    )

    @model_validator(mode="after")
    def _condensing_above_suction(self) -> Self:
        suction, discharge = self.suction_pressure_pa, self.discharge_pressure_pa
        if suction is None or discharge is None:
            return self
        if discharge < suction or (discharge == suction and self.machine is MachineAtStart.RUNNING):
            given = f"{discharge / 1000.0:.6g} kPa abs is not above suction {suction / 1000.0:.6g} kPa abs"
            raise ValueError(f"condensing below suction: discharge pressure {given}")
        return self


class ScenarioFile(BaseModel):
    """The keys of a scenario file, for the loader and for editors (JSON Schema)."""

    model_config = ConfigDict(extra="forbid", frozen=True, hide_input_in_errors=True, title="twoslide scenario")
    title: Annotated[str, Field(min_length=1, strict=True, description="what tables and reports call it")]
    purpose: Annotated[str, Field(min_length=1, strict=True, description="what the scenario is for")]
    expects: Annotated[str, Field(min_length=1, strict=True, description="what a good controller does")]
    plant: Annotated[str, Field(min_length=1, strict=True, description="plant file, relative to this one")]
    controller: Annotated[str, Field(min_length=1, strict=True, description="shipped name, path.py:NAME or path.so")]
    settings: Annotated[str, Field(min_length=1, strict=True)] | None = Field(
        None, description="settings sheet, relative to this file; the controller's defaults where it is left out"
    )
    duration_ms: DurationMs = Field(alias="duration", description="how long the run is")
    seed: Seed = Field(1, description="of all chance in the run: noise, arrivals, doors")
    clock_ms: ClockMs = Field(
        0, alias="controller_clock",
        description="what the controller's clock shows at the start; its 32 bits of milliseconds wrap after 49.7 days",
    )  # fmt: skip
    made_from: Annotated[str, Field(min_length=1, strict=True)] | None = Field(
        None,
        description="file name of the scenario that this one was made from: requirements meant for that one are asked of "
        "this one too",
    )
    start: Start = Field(
        default_factory=lambda: Start.model_validate({}), description="the plant before the first scan, see below"
    )
    event: tuple[AnyEvent, ...] = ()


def scenario_schema() -> dict[str, Any]:
    """JSON Schema of a scenario file, for editors that check TOML."""
    return ScenarioFile.model_json_schema(by_alias=True)


@dataclass(frozen=True, slots=True)
class Threshold:
    """A watch's condition: the column's value, in the unit of its name, passes `value` upward or downward."""

    column: str
    value: float
    rising: bool


@dataclass(frozen=True, slots=True)
class Scenario:
    """A scenario with everything it names, read and checked.

    controller: a shipped name, or the absolute path, with `:NAME` where given; controller_path: that file, None for a
    shipped one; sheet: None without a settings sheet, or where only the controller itself knows its settings (then
    sheet_path is set); thresholds: by index of a wait_for in `events`; load_logs, weather_logs: by the event's `file`;
    sha256: of each file used, by role ("scenario", "plant", "settings", "controller", "load_log:FILE", "weather_log:FILE");
    overridden: what the command line set, by key; notes: for the user.
    """

    path: Path
    title: str
    purpose: str
    expects: str
    plant: Plant[Any]
    controller: str
    controller_path: Path | None
    sheet: Sheet[Any] | None
    sheet_path: Path | None
    duration_ms: int
    seed: int
    start: Start
    events: tuple[Event, ...]
    thresholds: Mapping[int, Threshold] = field(default_factory=dict)
    load_logs: Mapping[str, LoadLog] = field(default_factory=dict)
    sha256: Mapping[str, str] = field(default_factory=dict)
    overridden: Mapping[str, str] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    weather_logs: Mapping[str, WeatherLog] = field(default_factory=dict)
    clock_ms: int = 0  # what the controller's 32-bit clock shows at the start
    made_from: str = ""  # file name of the scenario that it was made from
