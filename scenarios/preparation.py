"""Everything a run needs, read and checked before its first scan; nothing is written until then."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass, fields, replace
from importlib.metadata import version
from pathlib import Path
from typing import Any, cast

from controller.process_image import Selection
from controller.registry import CROSS_CHECKS, SHIPPED
from plant_model.derived import Parameters, derive
from plant_model.initial import running_state, stopped_state
from plant_model.instruments import Channel
from plant_model.parameters import InstrumentsParameters, PlantParameters
from plant_model.parameters import cross_check as plant_cross_check
from plant_model.properties import EnvelopeError, Refrigerant, in_envelope, load_refrigerant, saturation_pressure_pa
from plant_model.state import Disturbances, PlantState
from scenarios.controllers import Kind, Named, name_controller
from scenarios.cross_file_checks import check_groups_in_use
from scenarios.errors import InputRefused, Problem
from scenarios.kernel_cache import kernel_hash, source_hash
from scenarios.known import Known, Overrides
from scenarios.limits import Limits, limits_of, loosest
from scenarios.load_and_weather_kinds import WeatherLogPlayed
from scenarios.loader import load_scenarios
from scenarios.plant_file import Plant
from scenarios.row import COLUMNS
from scenarios.scenario import MachineAtStart, Scenario
from scenarios.settings_change import changes_of, settings_over_time
from scenarios.settings_sheet import load_sheet
from scenarios.sheet_against_plant import (
    DEW_TABLE,
    foreign_refrigerant,
    misfits,
    starved_vessel,
    unreadable_pressures,
)
from scenarios.toml_source import KeyPath, read_toml
from scenarios.wiring import Operator, Wiring

SCAN_MS = 100
STEP_MS = 100
ROWS_AT_MOST = 4_000_000  # some 2 GB; a day at every scan is 864,000
_REST_OVER_WET_BULB_K = 6.0  # a condenser at rest, not yet down to the weather; common practice, no source

_TO_CABINET = {"_pa": (0.001, 0.0), "_k": (1.0, -273.15), "_frac": (100.0, 0.0), "_w": (0.001, 0.0), "_a": (1.0, 0.0)}


def wiring_of(instruments: InstrumentsParameters) -> Wiring:
    """Input cards scaled as the transmitters are: in cabinet units, in channel order."""
    low, high = [], []
    for channel in Channel:
        instrument = getattr(instruments, channel.name.lower())
        for f in fields(instrument):
            for suffix, (factor, offset) in _TO_CABINET.items():
                if f.name == f"low{suffix}":
                    low.append(getattr(instrument, f.name) * factor + offset)
                elif f.name == f"high{suffix}":
                    high.append(getattr(instrument, f.name) * factor + offset)
    return Wiring(cast(Any, tuple(low)), cast(Any, tuple(high)))


@dataclass(frozen=True, slots=True)
class Prepared:
    """A run that may start.  `settings` is None for a controller whose settings are its own business."""

    scenario: Scenario
    plant: Plant[PlantParameters]
    parameters: Parameters
    wiring: Wiring
    noise_std: tuple[float, ...]
    named: Named
    settings: Any
    limits: Limits
    seed: int
    log_ms: int
    facts: dict[str, str]
    scan_ms: int = SCAN_MS
    step_ms: int = STEP_MS
    clock_offset_ms: int = 0  # what the controller's 32-bit clock shows at the start

    @property
    def controller_name(self) -> str:
        """The controller as the user named it."""
        return self.named.name

    @property
    def refrigerant(self) -> Refrigerant:
        """Property tables of the plant's refrigerant."""
        return self.parameters.refrigerant

    def operator(self) -> Operator:
        """Switches at the start: local, nothing pressed."""
        return Operator(selection=Selection.LOCAL)

    def disturbances(self) -> Disturbances:
        """Load and weather at the start."""
        plant = self.plant.parameters
        load_w = self.scenario.start.load_w
        wet_bulb_k = plant.discharge_side.wet_bulb_k
        for event in self.scenario.events:  # a record that leads from the start is the weather of the start too
            if isinstance(event, WeatherLogPlayed) and event.at_ms == 0:
                wet_bulb_k = self.scenario.weather_logs[event.file].knots(event.start_h, 0.0)[0][1]
        return Disturbances(
            load_heat_w=plant.evaporator.base_load_w if load_w is None else load_w, wet_bulb_k=wet_bulb_k
        )

    def initial_state(self) -> PlantState:
        """A consistent, quiet plant as the scenario's `start` table has it.  Raises InputRefused if there is none."""
        start, d = self.scenario.start, self.disturbances()
        suction_pa = start.suction_pressure_pa
        if suction_pa is None:
            # near where the plant will be held; a controller that does not tell starts at the machine's rating point
            common = getattr(self.settings, "common", None)
            if common is not None:
                suction_pa = common.capacity.suction_set_point_kpa_abs * 1000.0
            else:
                suction_pa = saturation_pressure_pa(
                    self.refrigerant, self.plant.parameters.machine.rating_evaporating_k
                )
        try:
            if start.machine is MachineAtStart.RUNNING:
                return running_state(
                    self.parameters, d, suction_pa, start.discharge_pressure_pa, start.capacity_travel_frac
                )
            discharge_pa = start.discharge_pressure_pa
            if discharge_pa is None:
                at_rest_pa = saturation_pressure_pa(self.refrigerant, d.wet_bulb_k + _REST_OVER_WET_BULB_K)
                discharge_pa = max(suction_pa, at_rest_pa)
            return stopped_state(self.parameters, d, suction_pa, discharge_pa, start.capacity_travel_frac or 0.0)
        except ValueError as error:
            raise InputRefused(
                Problem(str(error), file=str(self.scenario.path), way_out="change the [start] table")
            ) from error


def _check_refrigerant(name: str) -> Iterable[str]:
    try:
        load_refrigerant(name)
    except ValueError as error:
        return (str(error),)
    return ()


def _saturation_pressure_pa(refrigerant: str, temperature_k: float) -> float:
    tables = load_refrigerant(refrigerant)
    pressure_pa = saturation_pressure_pa(tables, temperature_k)
    if not in_envelope(tables, pressure_pa):
        low_c, high_c = tables.temperature_low_k - 273.15, tables.temperature_high_k - 273.15
        raise ValueError(f"the property tables reach from {low_c:.1f} to {high_c:.1f} °C saturated")
    return pressure_pa


def known() -> Known:
    """What files may name: shipped controllers, columns, instruments, the plant's parameters."""
    return Known(
        parameters_type=PlantParameters,
        settings_types={name: controller.settings_type for name, controller in SHIPPED.items()},
        columns=COLUMNS,
        instruments=tuple(channel.name.lower() for channel in Channel),
        plant_cross_check=plant_cross_check,
        settings_cross_checks={name: CROSS_CHECKS[c.settings_type] for name, c in SHIPPED.items()},
        check_refrigerant=_check_refrigerant,
        saturation_pressure_pa=_saturation_pressure_pa,
    )


def prepare(
    paths: Iterable[Path],
    *,
    controller: str | None = None,
    settings: Path | None = None,
    seed: int | None = None,
    log_ms: int | None = None,
) -> list[Prepared]:
    """Read and check every scenario among `paths` with all that it names.  Raises InputRefused; nothing has run then."""
    log_ms = 1000 if log_ms is None else log_ms
    if log_ms < SCAN_MS or log_ms % SCAN_MS:
        raise InputRefused(
            Problem(
                f"--log-every {log_ms} ms",
                limit=f"a multiple of the scan, {SCAN_MS} ms",
                way_out="write scan, 1s or 500ms",
            )
        )
    scenarios = load_scenarios(paths, known(), Overrides(controller, settings, seed))
    for scenario in scenarios:
        rows = scenario.duration_ms // log_ms + 2
        if rows > ROWS_AT_MOST:
            raise InputRefused(
                Problem(
                    f"{scenario.duration_ms / 3.6e6:g} h logged every {log_ms / 1000:g} s are {rows:,} rows",
                    file=str(scenario.path),
                    limit=f"at most {ROWS_AT_MOST:,} rows are kept in memory",
                    way_out=f"write --log-every {scenario.duration_ms // ROWS_AT_MOST // 1000 + 1}s, or run a shorter time",
                )
            )
    return [_prepare_one(scenario, log_ms) for scenario in scenarios]


def _prepare_one(scenario: Scenario, log_ms: int) -> Prepared:
    named = name_controller(scenario.controller, scenario.path.parent)
    plant: Plant[PlantParameters] = scenario.plant
    try:
        parameters = derive(plant.parameters, plant.refrigerant, STEP_MS)
    except EnvelopeError as error:
        way_out = f"give the machine a rating point that {plant.refrigerant} has, in [machine]"
        raise InputRefused(Problem(str(error), file=str(plant.path), way_out=way_out)) from error
    _check_start(scenario, parameters, named)
    settings: Any = None
    if scenario.sheet is not None:
        settings = scenario.sheet.settings
    elif named.kind is Kind.SHIPPED:
        settings = SHIPPED[named.name].settings_type()
    instruments = plant.parameters.instruments
    noise = tuple(float(getattr(instruments, channel.name.lower()).noise_frac) for channel in Channel)
    wiring = wiring_of(instruments)
    limits, judged = limits_over_time(scenario, settings, wiring)
    prepared = Prepared(
        scenario, plant, parameters, wiring, noise, named, settings, limits, scenario.seed, log_ms,
        _facts(scenario, named, log_ms), clock_offset_ms=scenario.clock_ms,
    )  # fmt: skip
    state = prepared.initial_state()  # some 5 ms: a start that does not exist is found before any of a folder has run
    notes = [*judged, *plant.notes, *starved_vessel(parameters, state, prepared.disturbances().load_heat_w)]
    if named.kind is Kind.SHIPPED:
        origin = scenario.sheet.path.name if scenario.sheet else f"the defaults of {named.name}"
        foreign = foreign_refrigerant(parameters, settings, origin)
        if foreign is not None:
            raise InputRefused(_in_sheet(scenario, DEW_TABLE, foreign))
        unreadable = _unreadable(scenario, settings, wiring)
        if unreadable:
            raise InputRefused(unreadable)
        notes += [f"{origin}: {text}" for text in misfits(parameters, settings, named.name)]
    return replace(prepared, scenario=replace(scenario, notes=(*scenario.notes, *notes)))


def _in_sheet(scenario: Scenario, key: KeyPath, problem: Problem) -> Problem:
    """A problem of a setting placed in its sheet; in the scenario where it has none and runs with the defaults."""
    if scenario.sheet is None:
        return read_toml(scenario.path).problem(("controller",), problem)
    return read_toml(scenario.sheet.path).problem(("settings", *key), problem, of_value=True)


def _unreadable(scenario: Scenario, settings: Any, wiring: Wiring) -> list[Problem]:
    """Pressures of the sheet, and of its changes on the way, that the plant's transmitters never show, at their lines."""
    found = [_in_sheet(scenario, key, problem) for key, problem in unreadable_pressures(settings, wiring)]
    changes = changes_of(enumerate(scenario.events))
    for last, record in [] if found else settings_over_time(settings, changes, scenario.plant.site)[1:]:
        for key, problem in unreadable_pressures(record, wiring):
            until_ms = last.time_ms if last else 0
            mine = [c for c in changes if c.setting == ".".join(map(str, key)) and c.time_ms <= until_ms]
            place = ("event", max(mine, key=lambda c: (c.time_ms, c.number)).number, "value")
            found.append(read_toml(scenario.path).problem(place, problem, of_value=True))
    return found


def limits_over_time(scenario: Scenario, settings: Any, wiring: Wiring) -> tuple[Limits, list[str]]:
    """The limits that the run is judged by, and a note where they are not simply those of its sheet."""
    changes = changes_of(enumerate(scenario.events))
    if not changes:
        return limits_of(settings, wiring) or Limits(), []
    in_force = [limits_of(record, wiring) for _, record in settings_over_time(settings, changes, scenario.plant.site)]
    told = [limits for limits in in_force if limits is not None]
    if len(told) < len(in_force):
        return Limits(), []
    if len(set(told)) == 1:
        return told[0], []
    return loosest(told), ["limits were changed on the way: scores and requirements go by the loosest of each"]


def _check_start(scenario: Scenario, parameters: Parameters, named: Named) -> None:
    """A start that property tables or controller cannot take up is refused before the first scan."""
    start, tables = scenario.start, parameters.refrigerant
    if start.machine is MachineAtStart.RUNNING and named.kind is not Kind.SHIPPED:
        raise InputRefused(
            Problem(
                f'start.machine = "running" with controller {named.name}: only a shipped controller can be told that '
                "it has been leading a running machine",
                file=str(scenario.path),
                value='"running"',
                limit=f'"running" for {", ".join(sorted(SHIPPED))}',
                way_out='write machine = "stopped" and let the controller start it',
            )
        )
    low_kpa, high_kpa = tables.pressure_low_pa / 1000.0, tables.pressure_high_pa / 1000.0
    given = {"suction_pressure": start.suction_pressure_pa, "discharge_pressure": start.discharge_pressure_pa}
    problems = [
        Problem(
            f"start.{key} of {pressure_pa / 1000.0:.6g} kPa abs is outside the tables of {scenario.plant.refrigerant}",
            file=str(scenario.path),
            value=f"{pressure_pa / 1000.0:.6g} kPa",
            limit=f"they reach from {low_kpa:.4g} to {high_kpa:.4g} kPa abs",
        )
        for key, pressure_pa in given.items()
        if pressure_pa is not None and not in_envelope(tables, pressure_pa)
    ]
    if problems:
        raise InputRefused(problems)
    check_groups_in_use(scenario)


def _settings_fact(scenario: Scenario, named: Named) -> str:
    """Which settings the run has, in words: nobody's defaults are those of a controller that is not ours."""
    if scenario.sheet_path is not None:
        return scenario.sheet_path.name
    return f"the defaults of {named.name}" if named.kind is Kind.SHIPPED else "the controller's own"


def _facts(scenario: Scenario, named: Named, log_ms: int) -> dict[str, str]:
    """What the run came from, for the trace's metadata and the report."""
    sheet = scenario.sheet
    return {
        "scenario": scenario.title,
        "scenario_file": scenario.path.name,
        "plant": scenario.plant.title,
        "refrigerant": scenario.plant.refrigerant,
        "controller": named.name,
        "settings": _settings_fact(scenario, named),
        "settings_checksum": sheet.stamp if sheet else "",
        "seed": str(scenario.seed),
        "duration_ms": str(scenario.duration_ms),
        "scan_ms": str(SCAN_MS),
        "step_ms": str(STEP_MS),
        "log_ms": str(log_ms),
        "version": version("twoslide"),
        "kernels": kernel_hash(),
        "sources": source_hash(),
        "sha256": json.dumps(dict(scenario.sha256), sort_keys=True),
        "overridden": json.dumps(dict(scenario.overridden), sort_keys=True),
        "notes": json.dumps(list(scenario.notes), ensure_ascii=False),
    }


def settings_for(prepared: Prepared, settings_type: type, name: str, cross_check: Any = None) -> Any:
    """Settings of a controller that is known only once its code is loaded: from the sheet if there is one.

    Raises InputRefused for a sheet that is not its own.
    """
    scenario = prepared.scenario
    if scenario.sheet_path is None:
        return settings_type()
    site = scenario.plant.site
    return load_sheet(scenario.sheet_path, name, settings_type, site, cross_check).settings
