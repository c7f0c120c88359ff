"""A controller with its settings, chosen on the command line, as the tools that run it without a plant need it.

job = choose("my_logic.so", Path("sheet.toml"))     # in the parent: nothing of anybody's code is loaded
taken = take_up(job, heart)                          # in the child
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from controller.registry import CROSS_CHECKS, SHIPPED
from plant_model.parameters import PlantParameters
from scenarios.check_bench import Subject, subject_maker
from scenarios.controllers import Kind, Loaded, library_settings_of, load, name_controller
from scenarios.errors import InputRefused, Problem
from scenarios.isolated import Heart
from scenarios.plant_file import Plant, load_plant
from scenarios.preparation import known, wiring_of
from scenarios.quantities import Site
from scenarios.settings_sheet import load_sheet, sheet_controller


@dataclass(frozen=True, slots=True)
class Taken:
    """Code and settings in memory.  `settings` is None where they are the controller's own business."""

    loaded: Loaded
    settings: Any
    stamp: str  # checksum of the sheet's values, "" without a sheet
    notes: tuple[str, ...]

    def maker(self) -> Callable[[], Subject]:
        """Makes fresh instances; compiles what has to be compiled."""
        return subject_maker(self.loaded, self.settings, interpreted=False)


def plant_of(path: Path) -> Plant[PlantParameters]:
    """A plant file as read.  Raises InputRefused."""
    k = known()
    return load_plant(
        path, k.parameters_type, k.plant_cross_check, k.saturation_pressure_pa, check_refrigerant=k.check_refrigerant
    )


def ranges_of(path: Path) -> dict[str, list[float]]:
    """How a plant's input cards are scaled, in cabinet units and channel order, as plain data.  Raises InputRefused."""
    wiring = wiring_of(plant_of(path).parameters.instruments)
    return {"low": list(wiring.low), "high": list(wiring.high)}


def choose(controller: str | None, sheet: Path | None, plant: Path | None = None) -> dict[str, Any]:
    """What a child needs to take a controller up, as plain data.  Without a controller, the sheet's own is meant.

    plant: where a sheet's gauge pressures and "sat" belong to.  Raises InputRefused for an unknown name, a missing file,
    or a sheet of another shipped controller.
    """
    if controller is None:
        controller = sheet_controller(sheet) if sheet is not None else "scheduled_pi"
    named = name_controller(controller, Path.cwd())
    job = {
        "controller": named.full,
        "sheet": str(sheet.resolve()) if sheet is not None else "",
        "plant": str(plant.resolve()) if plant is not None else "",
    }
    if named.kind is Kind.SHIPPED:
        take_up(job, Heart())  # its sheet is read here and now, for a refusal before any child
    return job


def take_up(job: dict[str, Any], heart: Heart) -> Taken:
    """Load a controller's code and its settings.  Raises InputRefused."""
    named = name_controller(job["controller"], Path.cwd())
    heart.phase("loading")
    loaded = load(named)
    heart.phase("preparing")
    kind, name, check = None, "", None
    if loaded.kernels is not None:
        kind, name = loaded.kernels.settings_type, loaded.kernels.name
        check = CROSS_CHECKS.get(kind)
    elif loaded.library is not None and library_settings_of(loaded.library):
        name = library_settings_of(loaded.library)
        kind = SHIPPED[name].settings_type
        check = CROSS_CHECKS[kind]
    if not job["sheet"]:
        return Taken(loaded, None if kind is None else kind(), "", ())
    path = Path(job["sheet"])
    if kind is None:
        raise InputRefused(
            Problem(
                f"{named.name} takes no settings sheet",
                file=str(path),
                value=path.name,
                way_out="leave the sheet away: what this controller is set to is its own business",
            )
        )
    site = plant_of(Path(job["plant"])).site if job["plant"] else Site()
    sheet = load_sheet(path, name, kind, site, check)
    return Taken(loaded, sheet.settings, sheet.stamp, sheet.notes)
