"""What the loader must be told of the rest of the house, and what the command line may say instead of a file."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from scenarios.plant_file import Saturation, saturation_from_library
from scenarios.record_fields import UNIT_SUFFIXES, suffix_of


def _no_findings(_: Any) -> Iterable[str]:
    return ()


@dataclass(frozen=True, slots=True)
class Known:
    """What exists here, for files to name.

    parameters_type: the plant's record; settings_types: of the shipped controllers, by name; columns: of the trace;
    instruments: that may fail; the checks say in words what is wrong between the fields of a record.
    """

    parameters_type: type
    settings_types: Mapping[str, type]
    columns: tuple[str, ...]
    instruments: tuple[str, ...]
    plant_cross_check: Callable[[Any], Iterable[str]] = _no_findings
    settings_cross_checks: Mapping[str, Callable[[Any], Iterable[str]]] = field(default_factory=dict)
    check_refrigerant: Callable[[str], Iterable[str]] = _no_findings
    saturation_pressure_pa: Saturation = saturation_from_library


@dataclass(frozen=True, slots=True)
class Overrides:
    """What the command line says instead of the scenario; its paths are relative to the working folder."""

    controller: str | None = None
    settings: Path | None = None
    seed: int | None = None

    def as_text(self) -> dict[str, str]:
        """Those that are set, for the record of the run."""
        given = {"controller": self.controller, "settings": self.settings, "seed": self.seed}
        return {key: str(value) for key, value in given.items() if value is not None}


def column_unit(name: str) -> tuple[str, str]:
    """Unit and "absolute"/"difference" of a trace column, from its name; a differential is a difference.

    >>> column_unit("suction_pressure_pa"), column_unit("oil_differential_pa"), column_unit("mode")
    (('Pa', 'absolute'), ('Pa', 'difference'), ('1', ''))
    """
    unit, of = UNIT_SUFFIXES.get(suffix_of(name), ("1", ""))
    if unit in ("Pa", "K") and not of:
        of = (
            "difference"
            if any(word in name for word in ("differential", "difference", "superheat", "drop"))
            else "absolute"
        )
    return unit, of
