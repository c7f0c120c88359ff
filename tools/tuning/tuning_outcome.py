"""From a finished run to what it leaves behind: the result's records, the tuned sheets, and the alternatives' sheets."""

from __future__ import annotations

import hashlib
import platform
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np

from controller.scheduled_pi import ScheduledPiSettings
from scenarios.kernel_cache import source_hash
from scenarios.plant_draws import value_at
from scenarios.record_tables import values_of
from scenarios.settings_sheet import checksum_of
from scenarios.toml_source import read_toml
from tools.tuning.effects_stage import with_effects
from tools.tuning.gain_schedule import MS_NOMINAL, MS_SPREAD, NODES, scheduled_gain_pct_kpa
from tools.tuning.held import FOLLOWS
from tools.tuning.map_loops import has_linear_loop
from tools.tuning.margins import Spread
from tools.tuning.measured_map import disagreement
from tools.tuning.proof import LEAST_CASES
from tools.tuning.rule_points import RulePoints
from tools.tuning.search_stage import Found
from tools.tuning.tuned_sheet import setting_rows, sheet_path, write_tuned_sheet
from tools.tuning.tuning_flow import Tuned
from tools.tuning.tuning_inputs import BASELINE
from tools.tuning.tuning_result import Provenance, RuleRow, ScheduleRow, SettingRow, SourceFile, TuningResult

FEW_TRIALS = 100
LIBRARIES = ("numpy", "scipy", "numba", "control", "pymoo", "CoolProp")


def result_of(tuned: Tuned, command: str) -> TuningResult:
    """The whole result as plain records."""
    i, settings = tuned.inputs, tuned.chosen.settings
    return TuningResult(
        title=f"{i.plant.title}: tuning of {i.controller}",
        plant_title=i.plant.title,
        refrigerant=i.plant.refrigerant,
        controller=i.controller,
        map_points=tuned.map_points,
        skipped_points=tuned.skipped,
        relays=tuned.relays,
        measured=tuned.measured,
        rules=_rule_rows(tuned.rules, tuned.chosen),
        schedule=_schedule(settings, tuned.bounds),
        coupling=tuned.coupling,
        coupling_words=tuned.coupling_words,
        cycles=tuned.cycles,
        search=tuned.chosen.search,
        baseline=tuned.baseline.search,
        proof=tuned.proof,
        settings=_settings(tuned, settings),
        provenance=_provenance(tuned, settings, command),
        warnings=tuple(_warnings(tuned, settings)),
        not_tested=_not_tested(tuned),
    )


def write_sheets(tuned: Tuned, out: Path) -> list[Path]:
    """The chosen sheet, the tuned baseline's, and one for each other weighting; each appears whole."""
    i = tuned.inputs
    made = [_write(sheet_path(out, i.controller), tuned, tuned.chosen, tuned.chosen.settings, "chosen")]
    if i.controller != BASELINE:
        made.append(_write(sheet_path(out, BASELINE), tuned, tuned.baseline, tuned.baseline.settings, "the rival"))
    told = {tuned.chosen.search.chosen}
    for row in tuned.chosen.search.weights:
        if row.trial in told:
            continue
        told.add(row.trial)
        vector = next(o.vector for o in tuned.chosen.front if o.number == row.trial)
        path = out / "alternatives" / f"{i.controller}_{row.name.replace(' ', '_').replace(',', '')}.toml"
        made.append(_write(path, tuned, tuned.chosen, tuned.chosen.settings_of(vector), f"alternative: {row.name}"))
    return made


def _write(path: Path, tuned: Tuned, found: Found, settings: Any, what: str) -> Path:
    i = tuned.inputs
    search = found.search
    origin = (
        f"Tuned for the plant {i.plant.path.name} (sha256 {i.plant.sha256[:12]}) on {search.scenarios} scenarios × "
        f"{search.draws} plant draws, seed {i.seed}, {len(search.trials)} trials, twoslide {version('twoslide')}; {what}."
    )
    write_tuned_sheet(path, search.controller, settings, f"{i.plant.title}, {search.controller}, tuned", origin)
    return path


def _rule_rows(rules: RulePoints | None, found: Found) -> tuple[RuleRow, ...]:
    if rules is None:
        return ()
    numbers = {t.origin: t.number for t in found.search.trials}
    return tuple(replace(row, trial=numbers.get(row.name)) for row in rules.rows)


def _schedule(settings: Any, bounds: Sequence[tuple[float, float, float]]) -> tuple[ScheduleRow, ...]:
    """The chosen gain over position, with the bounds on it at the map's travels, straight between them."""
    if not isinstance(settings, ScheduledPiSettings):
        return ()
    travel, least, most = ([row[k] for row in bounds] for k in range(3))
    return tuple(
        ScheduleRow(
            node,
            scheduled_gain_pct_kpa(settings.pi, node),
            float(np.interp(node, travel, least)),
            float(np.interp(node, travel, most)),
        )
        for node in NODES
    )


def _settings(tuned: Tuned, settings: Any) -> tuple[SettingRow, ...]:
    i = tuned.inputs
    searched = {k.name for k in tuned.chosen.plan.context.space.knobs}
    reasons = {
        path: words
        for path, words in FOLLOWS.items()
        if value_at(settings, path_of(path)) != value_at(i.base, path_of(path))
    }
    if isinstance(settings, ScheduledPiSettings) and tuned.rules is not None:
        reasons["pi.gain_multiplier"] = f"fitted to the operating map: {tuned.rules.words}"
    otherwise = "as in the sheet given" if i.sheet else "default for this plant"
    return with_effects(setting_rows(settings, i.base, searched, reasons, otherwise), tuned.effects)


def path_of(name: str) -> tuple[str, ...]:
    """An attribute path."""
    return tuple(name.split("."))


def _provenance(tuned: Tuned, settings: Any, command: str) -> Provenance:
    i, spread = tuned.inputs, Spread()
    files = [SourceFile("plant", i.plant.title, str(i.plant.path), i.plant.sha256)]
    if i.sheet is not None:
        files.append(SourceFile("sheet given", i.sheet.name, str(i.sheet), i.sheet_sha256))
    searched = [p.scenario for p in tuned.chosen.plan.context.case_set.prepared]
    files += [SourceFile("scenario", s.title, str(s.path), s.sha256.get("scenario", "")) for s in searched]
    for path in tuned.unseen_files:
        source = read_toml(path)
        files.append(SourceFile("unseen scenario", str(source.data["title"]), str(path), source.sha256))
    files += [SourceFile("log", p.name, str(p), hashlib.sha256(p.read_bytes()).hexdigest()) for p in i.log_files]
    return Provenance(
        command=command,
        files=tuple(files),
        seed=i.seed,
        versions={
            "twoslide": version("twoslide"),
            "python": platform.python_version(),
            **{name: version(name) for name in LIBRARIES},
        },
        sources=source_hash(),
        spread={
            "gain_frac": spread.gain_frac,
            "dead_time_frac": spread.dead_time_frac,
            "lag_frac": spread.lag_frac,
        },
        ms_limit=MS_NOMINAL,
        ms_spread_limit=MS_SPREAD,
        sheet_given=i.sheet_words,
        sheet_given_checksum=i.base_checksum,
        chosen_checksum=checksum_of(i.controller, values_of(settings)),
        finished_utc=datetime.now(UTC).strftime("%Y-%m-%d %H:%M"),
    )


def _warnings(tuned: Tuned, settings: Any) -> list[str]:
    found = list(tuned.notes)
    flagged = [row for row in tuned.map_points if row.bump is not None and row.bump.flagged]
    if flagged:
        first = flagged[0]
        names = ", ".join(first.bump.flagged) if first.bump else ""
        found.append(
            f"at {len(flagged)} of {len(tuned.map_points)} points of the map a bump on the plant is more than 10 % away "
            f"from its linearisation, first at {first.where} ({names})"
        )
    if tuned.skipped:
        found.append(
            f"{len(tuned.skipped)} points of the map are left out, where the plant cannot stand, the first because: "
            f"{tuned.skipped[0].reason}"
        )
    found += [f"sensitivity of {words}" for words in tuned.effects.words]
    found += [words for row in tuned.measured if (words := disagreement(row))]
    for search in [tuned.chosen.search] + ([tuned.baseline.search] if tuned.baseline is not tuned.chosen else []):
        if len(search.trials) < FEW_TRIALS:
            found.append(f"{search.controller}: only {len(search.trials)} trials; a search wants some hundred")
    if tuned.proof.cases < LEAST_CASES:
        bound = max((b.at_most_frac for b in tuned.proof.bounds), default=1.0)
        found.append(
            f"only {tuned.proof.cases} unseen cases: no failure among them bounds the share to {100 * bound:.2g} % and not "
            f"to 1 %, for which {LEAST_CASES} are wanted"
        )
    if any(b.failures for b in tuned.proof.bounds):
        found.append("the chosen settings failed unseen cases: " + "; ".join(tuned.proof.failures))
    if not has_linear_loop(settings):
        found.append("a step control has no linear loop: its stability is shown by simulation only, no Ms is told")
    if not tuned.inputs.plant.uncertainty:
        found.append("the plant file has no [uncertainty]: every plant draw is the same plant")
    return found


def _not_tested(tuned: Tuned) -> tuple[str, ...]:
    i = tuned.inputs
    searched = "the scenarios that were named" if i.scenarios else "eight generated hours"
    below = ", ".join(f"{i.evaporating_k - k - 273.15:.1f} °C" for k in i.effort.evaporating_below_k)
    ratios = f"{min(i.effort.pressure_ratio):g} to {max(i.effort.pressure_ratio):g}"
    return (
        f"scenarios other than {searched} and {tuned.proof.scenarios} drawn hours; faults of instruments, drives and "
        "contactors, power dips and emergency stops are not among the drawn hours",
        f"suction other than {below} saturated, and pressure ratios outside {ratios}, in the linear map",
        "plants farther off than the plant file's [uncertainty]; values without a ± there are taken as known",
        "trips, inhibits, sequence and set points: they are as in the sheet given and were not searched",
        "a real machine: no measured machine has been compared with the model",
        "several compressors on one header under one master control",
    )
