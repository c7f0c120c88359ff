"""The cases of a search: scenario × plant draw, each an hour or so of the one engine, in memory and without files.

Common random numbers: a case has one seed for its noise and its events, whoever is being tried, and every candidate
starts it from the same plant state (that of the base sheet's set point).  Rows are kept every 5 s, which costs the
scores nothing but resolution: drives, states and starts are exact, pressures and travel are seen at the rows.
"""

from __future__ import annotations

from collections.abc import Iterable
from copy import deepcopy
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any

import numpy as np

from controller.registry import SHIPPED
from plant_model.derived import derive
from plant_model.parameters import PlantParameters
from plant_model.properties import EnvelopeError
from plant_model.state import PlantState
from scenarios.chance import generator, noise_block
from scenarios.controllers import Kind, Named
from scenarios.engine import NOISE_ROWS, BlockEnd
from scenarios.entries import Entry
from scenarios.errors import InputRefused, Problem
from scenarios.limits import Limits, limits_of
from scenarios.plant_draws import draw_plant
from scenarios.plant_file import Plant
from scenarios.preparation import STEP_MS, Prepared, prepare, wiring_of
from scenarios.runner import failure_text
from scenarios.score_view import View
from scenarios.scoring import DEFINITIONS
from scenarios.session import Buffers, Session, memory_buffers
from scenarios.shared_entry import SharedEntry
from scenarios.trace import Floats, Trace, trace_of

LOG_MS = 5_000
HOUR_MS = 3_600_000
NOISE_KEPT_BYTES = 300_000_000  # a process; noise is a sixth of a run, and the same for every candidate
_NAMES = (
    "suction_deviation_rms_kpa", "suction_deviation_peak_kpa", "capacity_reversals_per_h",
    "volume_ratio_reversals_per_h", "capacity_operations_per_h", "volume_ratio_operations_per_h",
    "capacity_strokes_per_h", "volume_ratio_strokes_per_h", "starts_per_h", "total_energy_kwh", "cooling_energy_kwh",
    "trips_count", "violations_count",
)  # fmt: skip
_WANTED = tuple(definition for definition in DEFINITIONS if definition.name in _NAMES)


@dataclass(frozen=True, slots=True)
class Case:
    """One case: its number in the fixed order, index of the scenario, number of the plant draw, seed of the run."""

    number: int
    scenario: int
    draw: int
    seed: int


@dataclass(frozen=True, slots=True)
class CaseFigures:
    """What a case came to.  `fault` says why it ended early or could not be scored; its scores are then 0."""

    suction_deviation_rms_kpa: float = 0.0
    suction_deviation_peak_kpa: float = 0.0
    capacity_reversals_per_h: float = 0.0
    volume_ratio_reversals_per_h: float = 0.0
    capacity_operations_per_h: float = 0.0
    volume_ratio_operations_per_h: float = 0.0
    capacity_strokes_per_h: float = 0.0
    volume_ratio_strokes_per_h: float = 0.0
    starts_per_h: float = 0.0
    total_energy_kwh: float = 0.0
    cooling_energy_kwh: float = 0.0
    trips_count: float = 0.0
    violations_count: float = 0.0
    starts_beyond_limit: int = 0  # starts in any hour above the cabinet's starts_per_hour
    too_warm_pct: float = 0.0  # share of the window with suction above the duty's pressure
    fault: str = ""

    @property
    def failures(self) -> float:
        """Trips, broken requirements, starts beyond the motor's limit, and a fault counting as one."""
        return self.trips_count + self.violations_count + self.starts_beyond_limit + bool(self.fault)

    @property
    def energy_per_cooling(self) -> float:
        """kWh of energy per kWh of cooling; 0 without cooling, which is a fault."""
        return self.total_energy_kwh / self.cooling_energy_kwh if self.cooling_energy_kwh > 0.0 else 0.0


@dataclass(frozen=True, slots=True)
class CaseSet:
    """What the cases are made of; it crosses to other processes whole, so that those need no files.

    draws: how many plants; draw `first_draw` = 0 is the file's own.  label: names the streams of chance, so that the
    cases of a proof share no draw and no seed with those of a search.
    """

    prepared: tuple[Prepared, ...]
    controller: str
    base: Any
    seed: int
    draws: int
    first_draw: int = 0
    label: str = "search"
    duty_kpa_abs: float | None = None

    def cases(self) -> tuple[Case, ...]:
        """Every case, draw by draw, so that the first few already see every scenario."""
        out: list[Case] = []
        for draw in range(self.first_draw, self.first_draw + self.draws):
            for k, prepared in enumerate(self.prepared):
                name = f"case {self.label} {prepared.scenario.sha256.get('scenario', prepared.scenario.title)}"
                seed = int(generator(self.seed, name, draw).integers(2**62))
                out.append(Case(len(out), k, draw, seed))
        return tuple(out)

    @property
    def simulated_s(self) -> float:
        """Plant time of one candidate on every case."""
        return self.draws * sum(p.scenario.duration_ms for p in self.prepared) / 1000.0


def case_set(
    paths: Iterable[Path], controller: str, base: Any, seed: int, draws: int, first_draw: int = 0,
    label: str = "search", duty_kpa_abs: float | None = None,
) -> CaseSet:  # fmt: skip
    """Read and check scenarios; their own controllers and sheets are set aside for `controller` and `base`.

    InputRefused for no scenario, scenarios of different plants, less than one draw, or settings of another controller.
    """
    if controller not in SHIPPED or not isinstance(base, SHIPPED[controller].settings_type):
        raise InputRefused(Problem(f"no settings of a shipped controller {controller!r}", value=controller))
    if draws < 1:
        raise InputRefused(Problem(f"{draws} plant draws", value=str(draws), limit="at least 1"))
    found = prepare(paths, log_ms=LOG_MS)
    if not found:
        raise InputRefused(Problem("no scenario to search on", way_out="name a scenario file or a folder of them"))
    for other in found[1:]:
        if other.plant.sha256 != found[0].plant.sha256:
            text = (
                f"is of the plant {other.plant.path.name}, {found[0].scenario.path.name} of {found[0].plant.path.name}"
            )
            way_out = "a study is of one plant: name scenarios of one"
            raise InputRefused(Problem(text, file=str(other.scenario.path), way_out=way_out))
    named, limits = Named(controller, Kind.SHIPPED), limits_of(base) or Limits()
    prepared = tuple(replace(p, named=named, settings=base, limits=limits) for p in found)
    return CaseSet(prepared, controller, base, seed, draws, first_draw, label, duty_kpa_abs)


@dataclass(frozen=True, slots=True)
class _Ready(Prepared):
    """A prepared run whose start state is known: finding it takes as long as the run itself."""

    start: PlantState | None = None

    def initial_state(self) -> PlantState:
        return deepcopy(self.start) if self.start is not None else super(_Ready, self).initial_state()


class _NoiseStore:
    """Noise that candidates share, up to a size; the first cases are kept, because every candidate runs those."""

    def __init__(self) -> None:
        self.kept: dict[tuple[int, int], Floats] = {}
        self.bytes = 0

    def block(self, seed: int, names: tuple[str, ...], active: tuple[bool, ...], chunk: int) -> Floats:
        found = self.kept.get((seed, chunk))
        if found is None:
            found = noise_block(seed, names, active, chunk, NOISE_ROWS)
            if self.bytes + found.nbytes <= NOISE_KEPT_BYTES:
                self.kept[seed, chunk] = found
                self.bytes += found.nbytes
        return found


class _CaseSession(Session):
    """A session that takes its noise from the store."""

    def __init__(self, prepared: Prepared, entry: Entry, buffers: Buffers, noise: _NoiseStore) -> None:
        super().__init__(prepared, entry, buffers)
        self._store = noise

    def _draw_noise(self) -> None:
        chunk = self.time_ms // (NOISE_ROWS * self.scan_ms)
        self._noise = self._store.block(self.seed, self._names, self._noisy, chunk)
        self._set_run("noise_start_ms", chunk * NOISE_ROWS * self.scan_ms)


class Bench:
    """Plays cases in this process: compiles once, and keeps drawn plants, start states and noise."""

    def __init__(self, case_set: CaseSet) -> None:
        self.set = case_set
        self.cases = case_set.cases()
        self._plants: dict[int, Prepared] = {}
        self._ready: dict[int, _Ready] = {}
        self._noise = _NoiseStore()

    def _with_plant(self, prepared: Prepared, draw: int) -> Prepared:
        """The run on a drawn plant; scenarios share a draw's derived parameters."""
        known = self._plants.get(draw)
        if known is None:
            plant: Plant[PlantParameters] = prepared.plant
            drawn = draw_plant(plant, self.set.seed, draw, self.set.label)
            try:
                parameters = derive(drawn, plant.refrigerant, STEP_MS)
            except EnvelopeError as error:
                way_out = "make the ± in [uncertainty] narrower"
                raise InputRefused(Problem(f"draw {draw}: {error}", file=str(plant.path), way_out=way_out)) from error
            known = self._plants[draw] = replace(
                prepared, plant=replace(plant, parameters=drawn), parameters=parameters,
                wiring=wiring_of(drawn.instruments),
            )  # fmt: skip
        return replace(known, scenario=prepared.scenario)

    def ready(self, case: Case) -> Prepared:
        """The case's run, prepared once.  InputRefused if its plant has no start as the scenario wants it."""
        if case.number not in self._ready:
            drawn = self._with_plant(self.set.prepared[case.scenario], case.draw)
            values = {f.name: getattr(drawn, f.name) for f in fields(Prepared)} | {"seed": case.seed}
            self._ready[case.number] = _Ready(**values, start=drawn.initial_state())
        return self._ready[case.number]

    def play(self, case: Case, settings: Any) -> CaseFigures:
        """Run one case under the settings and score it."""
        trace, fault = self.watch(case, settings)
        if fault:
            return CaseFigures(fault=fault)
        return self._figures(View(trace, limits_of(settings), self.ready(case).refrigerant))

    def watch(self, case: Case, settings: Any) -> tuple[Trace, str]:
        """Run one case under the settings: its trace, and why it ended early ("" if it did not)."""
        prepared = replace(self.ready(case), settings=settings)
        buffers = memory_buffers(prepared.scenario.duration_ms, prepared.scan_ms, prepared.log_ms)
        session = _CaseSession(prepared, SharedEntry(self.set.controller, settings), buffers, self._noise)
        end = session.play()
        run = buffers.run[0]
        trace = trace_of(
            buffers.rows[: int(run["row_count"])], buffers.edges[: int(run["edge_count"])], session.noted, {}
        )
        return trace, "" if end is BlockEnd.REACHED else failure_text(session, end)

    def _figures(self, view: View) -> CaseFigures:
        values = {definition.name: definition.of(view).value for definition in _WANTED}
        counts: dict[str, Any] = {
            name: values[name] or 0.0 for name in ("trips_count", "violations_count", "starts_per_h")
        }
        counts["starts_beyond_limit"] = self._starts_beyond_limit(view)
        if any(value is None for value in values.values()):
            return CaseFigures(**counts, fault="the loop was never in charge")
        warm = 0.0
        if self.set.duty_kpa_abs is not None:
            above = view["suction_pressure_pa"] > 1000.0 * self.set.duty_kpa_abs
            warm = 100.0 * float(np.sum(view.seconds[above]) / np.sum(view.seconds))
        return CaseFigures(**{**values, **counts}, too_warm_pct=warm)

    def _starts_beyond_limit(self, view: View) -> int:
        starts = view.steps("motor_run").rises_ms()
        allowed = int(self.set.base.common.sequence.starts_per_hour)
        first = np.searchsorted(starts, starts - HOUR_MS, side="right")
        return int(max([0, *(np.arange(1, len(starts) + 1) - first - allowed).tolist()]))
