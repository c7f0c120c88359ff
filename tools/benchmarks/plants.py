"""The demo plant with one component more, fewer or of another kind: what the component table compares."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

from plant_model.derived import Parameters, derive
from plant_model.instruments import Fault
from plant_model.oil_parameters import CoolerKind
from plant_model.parameters import PlantParameters
from plant_model.rating_set import RatingSetParameters, full_load
from plant_model.slide_drive_parameters import DriveKind
from scenarios.preparation import Prepared
from tools.benchmarks.demo import OpenSession, new_session, prepared_shift, shipped_entry

AFTER_MS = 1_500_000  # the machine has run in automatic for twenty minutes
ROOM_MS = 1_200_000  # rows for what a burst plays after that
SETTLE_MS = 60_000  # for what is switched on only then
BASE = "demo plant"

Change = Callable[[PlantParameters], PlantParameters]
Switch = Callable[[OpenSession], None]


@dataclass(frozen=True, slots=True)
class Variant:
    """One line of the table: how the plant differs from `against`, and what is switched on once it runs."""

    name: str
    text: str
    change: Change = lambda plant: plant
    switch: Switch = lambda session: None
    against: str = BASE
    fixed: bool = False  # a reference only, with no line of its own
    sheet: str = "demo"
    drawing: bool = False  # long bursts with their noise drawn; else the same noise again and again


def changed(prepared: Prepared, change: Change) -> Prepared:
    """The same run on another plant, as a plant file would give it."""
    parameters = change(prepared.plant.parameters)
    noise = tuple(float(getattr(parameters.instruments, f.name).noise_frac) for f in _channels(parameters))
    return replace(
        prepared,
        plant=replace(prepared.plant, parameters=parameters),
        parameters=derive(parameters, prepared.plant.refrigerant, prepared.step_ms),
        noise_std=noise,
    )


def _channels(parameters: PlantParameters) -> list[Any]:
    """Fields of the instruments that are transmitters, in channel order."""
    return [f for f in fields(parameters.instruments) if f.name != "counts_per_milliamp"]


def session_of(variant: Variant, controller: str = "scheduled_pi", after_ms: int = AFTER_MS) -> OpenSession:
    """A compiled session of the variant, played to where it is measured."""
    whole_ms = after_ms + SETTLE_MS + ROOM_MS
    prepared = changed(prepared_shift(controller, whole_ms, plant=variant.sheet), variant.change)
    session = new_session(prepared, shipped_entry(prepared))
    session.world.start_all()
    session.advance(after_ms)
    variant.switch(session)
    session.advance(after_ms + SETTLE_MS)
    return session


def _groups(count: int) -> Change:
    share: Any = tuple(1.0 / count if i < count else 0.0 for i in range(4))

    def change(plant: PlantParameters) -> PlantParameters:
        shares = {f"{name}_share_frac": share for name in ("conductance", "room_capacity", "load")}
        return replace(plant, evaporator=replace(plant.evaporator, **shares))

    return change


def _with(part: str, **values: Any) -> Change:
    return lambda plant: replace(plant, **{part: replace(getattr(plant, part), **values)})


def _without_noise(plant: PlantParameters) -> PlantParameters:
    quiet = {f.name: replace(getattr(plant.instruments, f.name), noise_frac=0.0) for f in _channels(plant)}
    return replace(plant, instruments=replace(plant.instruments, **quiet))


def _motorised(plant: PlantParameters) -> PlantParameters:
    drive = replace(plant.capacity_drive, kind=DriveKind.MOTORISED)
    return replace(plant, capacity_drive=drive, volume_ratio_drive=drive)


def rated(plant: PlantParameters) -> PlantParameters:
    """The demo machine described by a rating set: ten coefficients each, fitted to the computed machine itself."""
    found = RatingSetParameters()
    parameters: Parameters = derive(plant, "R717")
    points = [(s, d) for s in np.linspace(-30.0, 5.0, 8) for d in np.linspace(20.0, 45.0, 6)]
    values = [
        full_load(plant.machine, parameters.refrigerant, parameters.curves, found, s + 273.15, d + 273.15)
        for s, d in points
    ]
    terms = np.array(
        [(1.0, s, d, s * s, s * d, d * d, s**3, d * s * s, s * d * d, d**3) for s, d in points], dtype=np.float64
    )

    def fitted(column: list[float]) -> Any:
        return tuple(float(c) for c in np.linalg.lstsq(terms, np.array(column), rcond=None)[0])

    flow, power = fitted([3600.0 * v.mass_flow_kg_s for v in values]), fitted([v.shaft_power_w for v in values])
    return replace(plant, rating=replace(found, use=True, mass_flow=flow, power=power))


def _disturb(**values: Any) -> Switch:
    def switch(session: OpenSession) -> None:
        for name, value in values.items():
            setattr(session.world.disturbances, name, value)

    return switch


def _low_ratio(session: OpenSession) -> None:
    """Both pairs by hand to where the edges of the slides overlap: an open way through."""
    operator = session.world.operator
    operator.capacity_manual = operator.volume_ratio_manual = True
    operator.capacity_manual_demand_pct, operator.volume_ratio_manual_demand_pct = 25.0, 0.0


def _watch(count: int) -> Switch:
    def switch(session: OpenSession) -> None:
        session.watches = np.array([(1.0, 1.0e9, 1.0)] * count)  # suction at 10⁹ Pa: never

    return switch


def _pumpless(plant: PlantParameters) -> PlantParameters:
    """Oil driven by discharge over suction pressure; a hydraulic slide would not load at minimum, so geared motors."""
    oil = replace(plant.oil, pump_rise_pa=0.0, rated_difference_pa=712.0e3)
    return _motorised(replace(plant, oil=oil))


VARIANTS: tuple[Variant, ...] = (
    Variant(BASE, "three groups, water-cooled oil, oil pump, hydraulic drives", fixed=True),
    Variant("1 evaporator group", "instead of three", _groups(1)),
    Variant("2 evaporator groups", "instead of three", _groups(2)),
    Variant("4 evaporator groups", "instead of three", _groups(4)),
    Variant("hot-gas defrost", "group 2 under hot gas all the time", switch=_disturb(defrost=[0, 1, 0, 0])),
    Variant("demo plant, noise drawn", "with the drawing in the time", fixed=True, drawing=True),
    Variant("no noise", "15 transmitters without it: nothing is drawn", _without_noise,
            against="demo plant, noise drawn", drawing=True),
    Variant(
        "every transmitter faulty", "a bias of 0 on all fifteen",
        switch=_disturb(fault_kind=[int(Fault.BIAS)] * 15),
    ),
    Variant("oil cooled by thermosiphon", "instead of water", _with("oil", cooler=CoolerKind.THERMOSIPHON)),
    Variant("oil cooled by liquid injection", "instead of water", _with("oil", cooler=CoolerKind.LIQUID_INJECTION)),
    Variant("no oil pump", "oil driven by pressure difference, settings to match, motorised drives", _pumpless,
            against="motorised slide drives", sheet="tarn_moss"),
    Variant("minimum-head valve", "at 850 kPa", _with("discharge_side", minimum_head_pa=850.0e3)),
    Variant("fan stages", "four, under the plant's own control", _with("discharge_side", fan_stages=4)),
    Variant("slides by hand, no through-path", "25 % and lowest ratio, the path excluded by shape",
            _with("machine", through_path=False), _low_ratio, fixed=True),
    Variant("through-path open", "25 % capacity at the lowest ratio", switch=_low_ratio,
            against="slides by hand, no through-path"),
    Variant("through-path excluded", "shut by shape, where it is shut anyway", _with("machine", through_path=False)),
    Variant("measured slide table", "eleven points each, instead of the rotors", _with("measured_slides", use=True)),
    Variant("rating set", "ten coefficients each, on top of the computed machine", rated),
    Variant("vessel in equilibrium", "no separate bulk of liquid", _with("suction_vessel", flash_ms=0)),
    Variant("motorised slide drives", "instead of hydraulic", _motorised),
    Variant("other compressor", "0.1 m³/s on the same header", switch=_disturb(other_compressor_m3_s=0.1)),
    Variant("one open wait", "a wait_for that watches a column", switch=_watch(1)),
    Variant("ten open waits", "ten of them", switch=_watch(10)),
)  # fmt: skip


def chosen(names: Iterable[str] | None = None) -> tuple[Variant, ...]:
    """All variants, or those named with the references that they need.  Raises KeyError for a name that is none."""
    if names is None:
        return VARIANTS
    by_name = {v.name: v for v in VARIANTS}
    wanted = {BASE}
    for name in names:
        wanted |= {name, by_name[name].against}
    return tuple(v for v in VARIANTS if v.name in wanted)
