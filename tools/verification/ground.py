"""What is hunted on, and a trial of it as files: a scenario, with a plant and a sheet of its own where they are moved.

`twoslide run` plays such a scenario again, bit for bit: nothing that a trial does is outside its files.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import tomlkit

from controller.registry import CROSS_CHECKS, SHIPPED
from scenarios.chosen_controller import plant_of
from scenarios.errors import InputRefused
from scenarios.plant_draws import draw_plant, uncertain_values, value_at
from scenarios.preparation import Prepared
from scenarios.quantities import format_quantity
from scenarios.settings_change import setting_keys, setting_value, with_setting
from scenarios.settings_sheet import load_sheet, sheet_controller, write_sheet, write_whole
from scenarios.toml_source import decode, read_bytes
from tools.verification.plant_scale import scale_of
from tools.verification.trial import MINUTES, Trial

CLOCK_MS = 2**32


@dataclass(frozen=True, slots=True)
class Ground:
    """What is hunted on: plant, controller and sheet; packs to judge by."""

    plant: Path
    controller: str
    sheet: Path | None
    packs: tuple[Path, ...] = ()

    def limits(self, prepared: Prepared) -> Any:
        """The settings record whose limits a trial is judged by: its own, or for somebody else's controller those of the
        ground's sheet; None where no shipped controller's sheet is there."""
        if prepared.settings is not None:
            return prepared.settings
        return sheet_limits(self.sheet, prepared.scenario.plant.site)

    def write(self, trial: Trial, path: Path, title: str = "A trial of the hunt") -> None:
        """Write a trial as a scenario file, with plants/ and sheets/ beside it for what it moves.

        StorageFailed if it cannot be written; the scenario comes last, so that what it names is there.
        """
        folder = path.parent
        plant, sheet = self.plant, self.sheet
        if trial.plant and uncertain_values(_plant(self.plant)):
            plant = folder / "plants" / path.name
            write_whole(plant, self._plant_text(trial.plant))
        moved, kept = moved_settings(self, trial)
        if kept:
            sheet = folder / "sheets" / path.name
            purpose = "The sheet of a trial with these moved: " + ", ".join(f"{name} at {pct} %" for name, pct in kept)
            write_sheet(sheet, self.controller, moved, title, purpose)
        write_whole(path, self._scenario_text(trial, plant, sheet, folder, title))

    def _plant_text(self, number: int) -> str:
        """The plant file with the values of one draw."""
        drawn = draw_plant(_plant(self.plant), 1, number, "hunt")
        document: Any = tomlkit.parse(decode(read_bytes(self.plant), self.plant))
        document["title"] = f"{document['title']}, draw {number} of its spread"
        for value in uncertain_values(_plant(self.plant)):
            *tables, key = value.key.split(".")
            table = document
            for name in tables:
                table = table.setdefault(name, tomlkit.table())
            one = value_at(drawn, value.path)
            table[key] = one if value.rule.unit in ("", "1") else format_quantity(one, value.rule.unit)
        return tomlkit.dumps(document)

    def _scenario_text(self, trial: Trial, plant: Path, sheet: Path | None, folder: Path, title: str) -> str:
        scale = scale_of(self.plant)
        document: Any = tomlkit.document()
        document["title"] = title
        document["purpose"] = "made by the hunt for a counter-example"
        document["expects"] = "every requirement holds"
        document["plant"] = seen_from(plant, folder)
        document["controller"] = self.controller
        if sheet is not None:
            document["settings"] = seen_from(sheet, folder)
        document["duration"] = f"{MINUTES} min"
        document["seed"] = trial.seed
        document["controller_clock"] = f"{CLOCK_MS - 1000 * trial.wraps_s} ms"
        document["start"] = {
            "suction_pressure": f"{scale.suction_c(trial.suction_k):g} °C sat",
            "discharge_pressure": f"{scale.condensing_c(trial.condensing_k):g} °C sat",
            "load": f"{scale.load_kw(trial.load_pct):.1f} kW",
        }
        events = tomlkit.aot()
        for h in sorted(trial.happenings, key=lambda h: h.at_s):
            events.append(tomlkit.item(h.event(scale)))
        if trial.happenings:
            document["event"] = events
        return tomlkit.dumps(document)


def sheet_limits(sheet: Path | None, site: Any) -> Any:
    """The settings record of a shipped controller's sheet; None for no sheet, or somebody else's."""
    if sheet is None:
        return None
    try:
        name = sheet_controller(sheet)
    except InputRefused:
        return None
    return load_sheet(sheet, name, SHIPPED[name].settings_type, site).settings if name in SHIPPED else None


@cache
def _plant(path: Path) -> Any:
    return plant_of(path)


@cache
def base_settings(ground: Ground) -> Any:
    """The settings record that trials move; None for a controller whose settings are its own business."""
    if ground.controller not in SHIPPED:
        return None
    settings_type = SHIPPED[ground.controller].settings_type
    if ground.sheet is None:
        return settings_type()
    return load_sheet(ground.sheet, ground.controller, settings_type, _plant(ground.plant).site).settings


def moved_settings(ground: Ground, trial: Trial) -> tuple[Any, list[tuple[str, int]]]:
    """The settings record of a trial, and which of its moves are in it: one that contradicts the rest is left out."""
    settings = base_settings(ground)
    kept: list[tuple[str, int]] = []
    if settings is None:
        return None, kept
    rules = setting_keys(settings)
    for name, share_pct in trial.settings:
        rule = rules.get(name)
        if rule is None:
            continue
        value = setting_value(settings, name) * share_pct / 100.0
        value = value if rule.low is None else max(value, rule.low)
        value = value if rule.high is None else min(value, rule.high)
        whole = rule.kind is int
        # a time is moved in whole scans, so that a delay and its requirement round alike
        value = (100 * round(value / 100.0) if rule.unit == "ms" else round(value)) if whole else float(f"{value:.4g}")
        candidate = with_setting(settings, name.split("."), value)
        if not CROSS_CHECKS[type(candidate)](candidate):
            settings = candidate
            kept.append((name, share_pct))
    return settings, kept


def seen_from(path: Path, folder: Path) -> str:
    """A path as a file in `folder` writes it: relative with forward slashes, absolute on another drive."""
    try:
        return Path(os.path.relpath(path.resolve(), folder.resolve())).as_posix()
    except ValueError:
        return path.resolve().as_posix()
