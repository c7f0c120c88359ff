"""The plant's side of `twoslide replay`: from a read log and its last stop to a study, for terminal and page."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from controller.process_image import Trip
    from scenarios.logged_data.records import LoggedData
    from tools.replay.findings import Findings
    from tools.replay.first_out import Stop
    from tools.replay.study import Alternative, Keep, Study


def chosen_stop(found: Findings) -> Stop | None:
    """The stop that is studied: the last one that a trip or the unknown brought about, else the last one."""
    own = [stop for stop in found.stops if stop.verdict not in ("logic", "operator")]
    stops = own or found.stops
    return stops[-1] if stops else None


def trip_of(stop: Stop) -> Trip:
    """The first cause of a stop as a trip: a stop that nothing explains came from the hard-wired chain."""
    from controller.process_image import Trip

    for cause in stop.causes:
        if cause.name in Trip.__members__:
            return Trip[cause.name]
    if stop.verdict in ("hard-wired", "unexplained"):
        return Trip.SAFETY_CHAIN
    return Trip.STOP_BUTTON if stop.verdict == "operator" else Trip.NONE


def alternatives_of(sheets: Sequence[Path], controller: str, plant: Path) -> list[Alternative]:
    """Other sheets of the same controller.  InputRefused for one of another."""
    from controller.registry import CROSS_CHECKS, SHIPPED
    from scenarios.settings_sheet import load_sheet
    from tools.replay.study import Alternative

    kind = SHIPPED[controller].settings_type
    site = _plant(plant).site
    return [
        Alternative(f"With {path.name}", load_sheet(path, controller, kind, site, CROSS_CHECKS[kind]).settings)
        for path in sheets
    ]


def _plant(path: Path) -> Any:
    from scenarios.plant_file import load_plant
    from scenarios.preparation import known

    k = known()
    return load_plant(
        path, k.parameters_type, k.plant_cross_check, k.saturation_pressure_pa, check_refrigerant=k.check_refrigerant
    )


def study_plant(
    data: LoggedData, found: Findings, plant: Path, alternatives: Sequence[Path], ensemble: int, folder: Path,
    keep: Keep,
) -> tuple[Study | None, list[str]]:  # fmt: skip
    """A study of the last stop, and words; None where the log has not what it takes.  Shows its progress on stderr."""
    from rich.console import Console
    from rich.progress import Progress

    from plant_model.derived import derive
    from scenarios.preparation import STEP_MS
    from tools.replay.from_log import missing_signals, record_of
    from tools.replay.study import study
    from tools.replay.timeline import settings_at

    lacking = missing_signals(data)
    if lacking:
        return None, [f"The plant was not replayed: the log has no {', '.join(lacking)}."]
    stop = chosen_stop(found)
    event_ms = stop.latest_ms if stop is not None else data.end_ms
    own = _plant(plant)
    parameters = derive(own.parameters, own.refrigerant, STEP_MS)
    period = settings_at(found.history.periods, event_ms) if found.history else None
    settings = period.settings if period else None
    controller = found.history.controller if found.history else ""
    auxiliaries = getattr(getattr(settings, "common", None), "auxiliaries", None)
    injection = (
        (auxiliaries.injection_on_c + 273.15, auxiliaries.injection_off_c + 273.15) if auxiliaries is not None else None
    )
    from controller.process_image import Trip

    record = record_of(data, event_ms, trip_of(stop) if stop is not None else Trip.NONE, injection)
    others = alternatives_of(alternatives, controller, plant) if controller else []
    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("the plant", total=1.0)
        made = study(
            record, parameters, settings, controller, plant, period.path if period else None, folder, others, ensemble,
            progress=lambda share, what: bar.update(task, completed=share, description=what), keep=keep,
        )  # fmt: skip
    return made, made.words


def causes_table(made: Study) -> list[dict[str, str]]:
    """Groups with their probability and how far each explains the residuals, for page and terminal."""
    if made.diagnosis is None:
        return []
    null = max(1.0e-9, made.diagnosis.null_chi2)
    out = []
    for one in made.diagnosis.ranked[:8]:
        best = one.fits[0] if one.fits else None
        explained = f"{max(0.0, 100.0 * (1.0 - best.chi2 / null)):.0f} %" if best is not None else "–"
        shown = best is not None and best.chi2 < null - 6.0
        size = f"{best.size:.2g} {best.hypothesis.size_unit}" if best is not None and shown else "–"
        share = min(99.0, max(0.0, 100.0 * one.probability))
        out.append(
            {
                "group": one.group, "text": one.text, "check": one.check, "explains": explained, "size": size,
                "probability": f"{share:.0f} %" if share >= 1.0 else "under 1 %", "why": one.why,
            }
        )  # fmt: skip
    return out


def variants_table(made: Study) -> list[dict[str, str]]:
    """What the runs of the ensemble came to."""
    if made.what_if is None:
        return []
    rows = [("As it was", made.what_if.original), *((v.name, v) for v in made.what_if.variants)]
    out = []
    for name, one in rows:
        causes = sorted({t.name.replace("_", " ").lower() for t in one.trips if t.value})
        near = f"{one.nearest:.3g} {one.unit}" if one.nearest == one.nearest and one.unit else "–"
        out.append(
            {"name": name, "tripped": f"{one.tripped} of {one.count}", "causes": ", ".join(causes) or "–", "room": near}
        )
    return out


def as_plain(made: Study | None) -> dict[str, object]:
    """The study for findings.json."""
    if made is None:
        return {}
    load = made.load
    return {
        "causes": causes_table(made), "what_if": variants_table(made),
        "reproduced": made.what_if.reproduced if made.what_if else None,
        "parameters": {
            name: {"factor": round(load.factors[name], 4), "sd": round(load.spread[name], 4)} for name in load.factors
        } if load else {},
    }  # fmt: skip
