"""What a tuning run is given: plant, sheet, scenarios, log, budget; read and checked before anything is written.

The baseline is the step control on the same plant: everything that both laws share (set point, trips, inhibits, sequence,
slide curves, drives) is the sheet's, and its own law has its defaults.  So what is compared is the law and its tuning,
and no set point saves energy on one side only.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from controller.registry import CROSS_CHECKS, SHIPPED
from plant_model.derived import Parameters, derive
from plant_model.parameters import PlantParameters
from plant_model.properties import EnvelopeError, saturation_pressure_pa, saturation_temperature_k
from scenarios.errors import InputRefused, Problem
from scenarios.plant_draws import uncertain_values
from scenarios.plant_file import Plant, load_plant
from scenarios.preparation import STEP_MS, known
from scenarios.record_tables import values_of
from scenarios.settings_sheet import checksum_of, load_sheet, sheet_controller
from scenarios.sheet_against_plant import foreign_refrigerant, misfits
from tools.tuning.budget import Budget, parse_budget
from tools.tuning.identification import Identified, identify
from tools.tuning.linearisation import PointError, steady_point
from tools.tuning.operating_map import Grid
from tools.tuning.plant_defaults import default_settings
from tools.tuning.proof import LEAST_CASES

BASELINE = "three_position"
DEFAULT_CONTROLLER = "scheduled_pi"
FULL_TRAVEL_FRAC = 0.99
NEAR_TRAVEL_PCT = 5.0


@dataclass(frozen=True, slots=True)
class Effort:
    """How much of everything; nothing here changes what is promised, only how finely it is looked at.

    evaporating_below_k: points of the map below the set point's saturation temperature.
    """

    travel_frac: tuple[float, ...] = (0.05, 0.2, 0.4, 0.6, 0.8, 0.97)
    pressure_ratio: tuple[float, ...] = (2.8, 4.0, 5.5)
    level_frac: tuple[float, ...] = (0.3, 0.55)
    evaporating_below_k: tuple[float, ...] = (8.0, 0.0)
    draws: int = 8
    proof_draws: int = 8
    population: int = 20
    relays: int = 6
    cycles: int = 3
    unseen: int = LEAST_CASES

    def through(self, travels_pct: Sequence[float]) -> Effort:
        """The same with a place of the map at each of these travels, where a log was taken, unless there is one near."""
        travels = list(self.travel_frac)
        for travel_pct in travels_pct:
            if min(abs(100.0 * t - travel_pct) for t in travels) > NEAR_TRAVEL_PCT:
                travels.append(round(0.01 * travel_pct, 3))
        return replace(self, travel_frac=tuple(sorted(travels)))

    def grid(self, evaporating_k: float) -> Grid:
        """The map's grid for a plant with this saturation temperature at its set point."""
        below = tuple(evaporating_k - k for k in self.evaporating_below_k)
        return Grid(self.travel_frac, self.pressure_ratio, self.level_frac, below)


FULL = Effort()
QUICK = Effort((0.1, 0.5, 0.9), (2.8, 4.6), (0.4,), (0.0,), 2, 2, 8, 2, 1, 16)  # to see how it goes


@dataclass(frozen=True)
class TuningInputs:
    """A checked tuning run.  base: settings of the controller; baseline: of the step control; notes: for the user."""

    plant: Plant[PlantParameters]
    parameters: Parameters
    controller: str
    base: Any
    baseline: Any
    sheet: Path | None
    sheet_sha256: str
    scenarios: tuple[Path, ...]  # as named; empty: the eight generated hours
    logs: tuple[Identified, ...]
    log_files: tuple[Path, ...]
    budget: Budget
    seed: int
    jobs: int
    cluster: str
    unseen: int
    effort: Effort
    suction_kpa: float
    evaporating_k: float
    capacity_w: float  # what the machine takes at full travel, set point and rated condensing
    notes: tuple[str, ...] = field(default=())

    @property
    def base_checksum(self) -> str:
        """Of the settings that the search starts from."""
        return checksum_of(self.controller, values_of(self.base))

    @property
    def sheet_words(self) -> str:
        """The sheet given, or that there was none."""
        return str(self.sheet) if self.sheet else "defaults for this plant"


def read_inputs(
    plant_file: Path,
    *,
    settings: Path | None = None,
    controller: str | None = None,
    scenarios: Sequence[Path] = (),
    logs: Sequence[Path] = (),
    budget: str = "300 trials",
    seed: int = 1,
    jobs: int = 1,
    cluster: str = "",
    unseen: int | None = None,
    effort: Effort = FULL,
) -> TuningInputs:
    """Read and check everything.  InputRefused with all that is wrong; nothing is written."""
    spent = parse_budget(budget)
    plant = read_plant(plant_file)
    try:
        parameters = derive(plant.parameters, plant.refrigerant, STEP_MS)
    except EnvelopeError as error:
        raise InputRefused(Problem(str(error), file=str(plant_file), way_out="change the plant file")) from error
    uncertain_values(plant)  # a ± of a table is refused here and not in the middle of the search
    name = controller or (sheet_controller(settings) if settings else DEFAULT_CONTROLLER)
    if name not in SHIPPED:
        way_out = f"known: {', '.join(SHIPPED)}; a controller of your own brings its own settings"
        raise InputRefused(Problem(f'"{name}" is no shipped controller', value=name, way_out=way_out))
    base, sha256, notes = _base(plant, parameters, name, settings)
    suction_kpa = float(base.common.capacity.suction_set_point_kpa_abs)
    evaporating_k, capacity_w = _full_load(plant, parameters, suction_kpa)
    found = tuple(identify(path, plant.site, plant.refrigerant) for path in logs)
    return TuningInputs(
        plant=plant,
        parameters=parameters,
        controller=name,
        base=base,
        baseline=baseline_of(base),
        sheet=settings,
        sheet_sha256=sha256,
        scenarios=tuple(scenarios),
        logs=found,
        log_files=tuple(logs),
        budget=spent,
        seed=seed,
        jobs=jobs,
        cluster=cluster,
        unseen=effort.unseen if unseen is None else unseen,
        effort=effort.through([log.travel_pct for log in found]),
        suction_kpa=suction_kpa,
        evaporating_k=evaporating_k,
        capacity_w=capacity_w,
        notes=(*plant.notes, *notes),
    )


def read_plant(path: Path) -> Plant[PlantParameters]:
    """A plant file.  InputRefused with every problem of it."""
    k = known()
    return load_plant(path, k.parameters_type, k.plant_cross_check, k.saturation_pressure_pa, k.check_refrigerant)


def _base(
    plant: Plant[PlantParameters], parameters: Parameters, name: str, sheet: Path | None
) -> tuple[Any, str, tuple[str, ...]]:
    """The settings to start from, the sheet's hash, and notes."""
    if sheet is None:
        return default_settings(name, parameters, str(plant.path)), "", ()
    kind = SHIPPED[name].settings_type
    read: Any = load_sheet(sheet, name, kind, plant.site, CROSS_CHECKS[kind])
    foreign = foreign_refrigerant(parameters, read.settings, sheet.name)
    if foreign is not None:
        raise InputRefused(replace(foreign, file=str(sheet)))
    fits = tuple(f"{sheet.name}: {text}" for text in misfits(parameters, read.settings, name))
    return read.settings, read.sha256, (*read.notes, *fits)


def baseline_of(base: Any) -> Any:
    """The step control with all that it shares with the given settings, its own law at its defaults."""
    return SHIPPED[BASELINE].settings_type(common=base.common)


def _full_load(plant: Plant[PlantParameters], parameters: Parameters, suction_kpa: float) -> tuple[float, float]:
    """(saturation temperature at the set point in K, load in W at full travel there and at rated condensing)."""
    tables = parameters.refrigerant
    try:
        evaporating_k = saturation_temperature_k(tables, 1000.0 * suction_kpa)
        discharge_pa = saturation_pressure_pa(tables, plant.parameters.machine.rating_condensing_k)
        point = steady_point(parameters, FULL_TRAVEL_FRAC, 1000.0 * suction_kpa, discharge_pa)
    except (PointError, EnvelopeError) as error:
        text = f"the plant does not stand at full travel and the set point of {suction_kpa:.4g} kPa: {error}"
        way_out = "change the plant file, or give a sheet with another set point"
        raise InputRefused(Problem(text, file=str(plant.path), way_out=way_out)) from error
    return float(evaporating_k), float(point.load_w)
