"""Scenario files → checked scenarios, all of them before anything runs.

Every problem of every file is collected into one InputRefused.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from scenarios.as_written import as_written
from scenarios.errors import InputRefused, Problem, shortened
from scenarios.event_kinds import EVENT_KINDS, Event, InstrumentFault, LoadLogPlayed, WaitFor, WeatherLogPlayed
from scenarios.known import Known, Overrides, column_unit
from scenarios.load_log import LoadLog, load_log
from scenarios.model_errors import problem_of
from scenarios.plant_file import Plant, load_plant
from scenarios.quantities import Site
from scenarios.record_tables import dotted, read_quantity, suggestion, unknown_keys
from scenarios.scenario import LONGEST_RUN_MS, Scenario, ScenarioFile, Start, Threshold
from scenarios.scenario_files import scenario_files as scenario_files
from scenarios.settings_change import change_problems, changes_of
from scenarios.settings_sheet import Sheet, load_sheet, sheet_controller
from scenarios.toml_source import KeyPath, TomlSource, read_bytes, read_toml
from scenarios.weather_log import WeatherLog, weather_log

M = TypeVar("M", bound=BaseModel)
T = TypeVar("T")


def load_scenarios(paths: Iterable[Path], known: Known, overrides: Overrides | None = None) -> list[Scenario]:
    """Read and check all scenarios in `paths` (files and folders), in order.

    InputRefused with every problem of every file; then nothing may run.
    """
    problems: list[Problem] = []
    overrides = overrides or Overrides()
    if overrides.seed is not None and not 0 <= overrides.seed < 2**63:
        problems.append(Problem(f"--seed {overrides.seed} is out of range", limit="allowed: 0 to 2^63 - 1"))
    plants: dict[Path, Plant[Any] | None] = {}
    scenarios = [_Loader(path, known, overrides, plants, problems).load() for path in scenario_files(paths, problems)]
    loaded = [scenario for scenario in scenarios if scenario is not None]
    if not problems and not loaded:
        problems.append(Problem("no scenario was named"))
    if problems:
        raise InputRefused(problems)
    return loaded


class _Loader:
    """One scenario file being read; problems go to the list shared by all."""

    def __init__(
        self,
        path: Path,
        known: Known,
        overrides: Overrides,
        plants: dict[Path, Plant[Any] | None],
        problems: list[Problem],
    ) -> None:
        self.path, self.known, self.overrides, self.plants, self.problems = path, known, overrides, plants, problems
        self.sha256: dict[str, str] = {}
        self.notes: list[str] = []

    def load(self) -> Scenario | None:
        before = len(self.problems)
        source = self.attempt(lambda: read_toml(self.path))
        if source is None:
            return None
        self.source: TomlSource = source
        self.sha256["scenario"] = source.sha256
        plant = self.plant()
        # a plant that was refused must not make its gauge pressures look wrong as well
        site = plant.site if plant else Site(101325.0, lambda _: 3e5)
        events = self.events(site)
        head = self.model(ScenarioFile, (), {**source.data, "event": ()}, site)
        controller, controller_path = self.controller()
        sheet, sheet_path = self.sheet(controller, controller_path, site)
        thresholds = {i: t for i, e in events.items() if isinstance(e, WaitFor) and (t := self.threshold(i, e, site))}
        logs = self.load_logs(events)
        weather = self.weather_logs(events, head)
        self.check_times(head, events)
        self.check_names(events)
        if controller:
            self.check_settings(events, controller, sheet, site)
        if len(self.problems) > before or head is None or plant is None:
            return None
        return Scenario(
            self.path, head.title, head.purpose, head.expects, plant, controller, controller_path, sheet, sheet_path,
            head.duration_ms, self.overrides.seed if self.overrides.seed is not None else head.seed, head.start,
            tuple(events.values()), thresholds, logs, self.sha256, self.overrides.as_text(), tuple(self.notes),
            weather, head.clock_ms, head.made_from or "",
        )  # fmt: skip

    def attempt(self, read: Callable[[], T], place: KeyPath | None = None) -> T | None:
        """`read()`; its problems are noted, one without a file at `place`."""
        try:
            return read()
        except InputRefused as error:
            for problem in error.problems:
                self.problems.append(
                    problem if problem.file or place is None else self.source.problem(place, problem, True)
                )
            return None

    def beside(self, key: KeyPath) -> Path | None:
        """The path that a key names, relative to this file; None if it is no text (the schema complains)."""
        value = self.source.get(key)
        return self.path.parent / value if isinstance(value, str) and value else None

    def named_file(self, key: KeyPath, path: Path) -> bool:
        """Whether a file named by a key exists; if not, the problem is placed at the key."""
        what = "no such file"
        try:
            if path.is_file():
                return True
            if path.is_dir():
                what = "is a folder"
        except (OSError, ValueError):  # a name too long, or with a NUL in it: no file can have it
            pass
        self.problems.append(self.source.problem(key, f"{dotted(key)}: {what}: {shortened(str(path))}", of_value=True))
        return False

    def plant(self) -> Plant[Any] | None:
        path = self.beside(("plant",))
        if path is None or not self.named_file(("plant",), path):
            return None
        key = path.resolve()
        if key not in self.plants:
            k = self.known
            self.plants[key] = self.attempt(
                lambda: load_plant(
                    path, k.parameters_type, k.plant_cross_check, k.saturation_pressure_pa, k.check_refrigerant
                )
            )
        plant = self.plants[key]
        if plant is None:
            self.problems.append(
                self.source.problem(("plant",), f"plant: {path} was refused, see there", of_value=True)
            )
        else:
            self.sha256["plant"] = plant.sha256
        return plant

    def controller(self) -> tuple[str, Path | None]:
        given = self.overrides.controller
        name = given if given is not None else self.source.data.get("controller")
        if not isinstance(name, str) or not name:
            return "", None
        place = _cli("--controller") if given is not None else None

        def refuse(problem: Problem) -> None:
            self.problems.append(place(problem) if place else self.source.problem(("controller",), problem, True))

        file_text, colon, inner = name.rpartition(":") if ".py:" in name or ".so:" in name else (name, "", "")
        if not file_text.endswith((".py", ".so")) and "/" not in file_text:
            if name not in self.known.settings_types:
                refuse(
                    Problem(
                        f'unknown controller "{shortened(name)}"',
                        value=name,
                        way_out=suggestion(name, self.known.settings_types),
                    )
                )
            return name, None
        if not file_text.endswith((".py", ".so")):
            refuse(Problem(f'controller "{shortened(name)}" is no .py or .so file', value=name))
            return name, None
        path = Path(file_text) if given is not None else self.path.parent / file_text
        if file_text.endswith(".py") and not inner:
            refuse(
                Problem(
                    f'controller "{shortened(name)}" does not say which class',
                    way_out=f'write "{shortened(file_text)}:NAME"',
                )
            )
        try:
            self.sha256["controller"] = hashlib.sha256(read_bytes(path, 200_000_000)).hexdigest()
        except InputRefused as error:
            refuse(Problem(f"controller: {error.problems[0].message}: {shortened(str(path))}"))
        return f"{path.absolute()}{colon}{inner}", path

    def sheet(self, controller: str, controller_path: Path | None, site: Site) -> tuple[Sheet[Any] | None, Path | None]:
        key = ("settings",)
        path = self.overrides.settings if self.overrides.settings is not None else self.beside(key)
        if path is None or not controller:
            return None, None
        if self.overrides.settings is None and not self.named_file(key, path):
            return None, None
        if self.overrides.settings is None and self.overrides.controller is not None:
            written_for = self.attempt(lambda: sheet_controller(path))
            if written_for != controller:
                how = "without a sheet" if controller_path else "with its own default settings"
                self.notes.append(f"{path} is for {written_for}, so {Path(controller).name} runs {how}")
                return None, None
        settings_type = self.known.settings_types.get(controller)
        if settings_type is None:
            source = self.attempt(lambda: read_toml(path))
            self.sha256["settings"] = source.sha256 if source else ""
            return None, path if controller_path else None
        check = self.known.settings_cross_checks.get(controller)
        sheet: Sheet[Any] | None = self.attempt(lambda: load_sheet(path, controller, settings_type, site, check))
        if sheet is not None:
            self.sha256["settings"] = sheet.sha256
            self.notes.extend(sheet.notes)
        return sheet, path

    def events(self, site: Site) -> dict[int, Event]:
        tables = self.source.data.get("event", [])
        if not isinstance(tables, list) or not all(isinstance(table, dict) for table in tables):
            self.problems.append(self.source.problem(("event",), "events are written as [[event]]", of_value=True))
            return {}
        found: dict[int, Event] = {}
        for index, table in enumerate(tables):
            path: KeyPath = ("event", index)
            model = self.kind_of(table, path)
            if model is None:
                continue
            then = table.get("then")
            if model is WaitFor and isinstance(then, dict) and self.kind_of(then, (*path, "then")) is None:
                continue
            event: Any = self.model(model, path, table, site)
            if event is not None:
                found[index] = event
        return found

    def kind_of(self, table: dict[str, Any], path: KeyPath) -> type[BaseModel] | None:
        kind = table.get("kind")
        if kind is None:
            problem = Problem('key "kind" is missing', way_out=f"known: {', '.join(EVENT_KINDS)}")
            self.problems.append(self.source.problem(path, problem))
            return None
        if not isinstance(kind, str) or kind not in EVENT_KINDS:
            problem = Problem(
                f'unknown kind of event "{shortened(str(kind))}"',
                value=str(kind),
                way_out=suggestion(str(kind), EVENT_KINDS),
            )
            self.problems.append(self.source.problem((*path, "kind"), problem, of_value=True))
            return None
        return EVENT_KINDS[kind]

    def model(self, model: type[M], path: KeyPath, data: dict[str, Any], site: Site) -> M | None:
        keys = [f.alias or name for name, f in model.model_fields.items()]
        unknown_keys(self.source, path, keys, self.problems)
        before = len(self.problems)
        try:
            made = model.model_validate(data, context={"site": site})
        except ValidationError as error:
            for detail in error.errors(include_url=False):
                self.note(detail, path)
            return None
        return made if len(self.problems) == before and not (data.keys() - set(keys)) else None

    def note(self, detail: ErrorDetails, above: KeyPath) -> None:
        path: KeyPath = above
        for part in detail["loc"]:
            if not (path[-1:] == ("then",) and part in EVENT_KINDS):  # a union's tag is no key of the file
                path = (*path, part)
        name = dotted(path[2:] if path[:1] == ("event",) else path)
        if detail["type"] == "extra_forbidden":
            if detail["loc"] and len(detail["loc"]) == 1:
                return  # unknown_keys has said so, with a suggestion
            known = self.known_beside(path)
            problem = Problem(
                f'unknown key "{shortened(str(path[-1]))}"',
                value=str(path[-1]),
                way_out=suggestion(str(path[-1]), known),
            )
            self.problems.append(self.source.problem(path, problem))
            return
        if detail["type"] == "missing":
            self.problems.append(self.source.problem(path[:-1], f'key "{path[-1]}" is missing'))
            return
        problem = problem_of(detail, name if detail["loc"] else "")
        self.problems.append(self.source.problem(path, problem, of_value=bool(detail["loc"])))

    def known_beside(self, path: KeyPath) -> list[str]:
        table = self.source.get(path[:-1])
        kind = table.get("kind") if isinstance(table, dict) else None
        model: type[BaseModel] | None = EVENT_KINDS.get(kind) if isinstance(kind, str) else None
        if model is None and path[:1] == ("start",):
            model = Start
        return [f.alias or n for n, f in model.model_fields.items() if f.alias != "at"] if model else []

    def threshold(self, index: int, event: WaitFor, site: Site) -> Threshold | None:
        path: KeyPath = ("event", index)
        if event.column not in self.known.columns:
            way_out = suggestion(event.column, self.known.columns)
            problem = Problem(f'unknown column "{shortened(event.column)}"', value=event.column, way_out=way_out)
            self.problems.append(self.source.problem((*path, "column"), problem, of_value=True))
            return None
        rising = event.above is not None
        key: KeyPath = (*path, "above" if rising else "below")
        unit, of = column_unit(event.column)
        value = self.attempt(lambda: read_quantity(self.source.get(key), unit, of, site), key)
        return None if value is None else Threshold(event.column, value, rising)

    def load_logs(self, events: dict[int, Event]) -> dict[str, LoadLog]:
        logs: dict[str, LoadLog] = {}
        for index, event in events.items():
            if not isinstance(event, LoadLogPlayed) or event.file in logs:
                continue
            path = self.path.parent / event.file
            if not self.named_file(("event", index, "file"), path):
                continue
            log = self.attempt(lambda path=path: load_log(path))  # type: ignore[misc]
            if log is not None:
                logs[event.file] = log
                self.sha256[f"load_log:{event.file}"] = log.sha256
                self.notes.extend(f"{path}: {note}" for note in log.notes)
        return logs

    def weather_logs(self, events: dict[int, Event], head: ScenarioFile | None) -> dict[str, WeatherLog]:
        logs: dict[str, WeatherLog] = {}
        for index, event in events.items():
            if not isinstance(event, WeatherLogPlayed):
                continue
            if event.file not in logs:
                path = self.path.parent / event.file
                if not self.named_file(("event", index, "file"), path):
                    continue
                log = self.attempt(lambda path=path: weather_log(path))  # type: ignore[misc]
                if log is None:
                    continue
                logs[event.file] = log
                self.sha256[f"weather_log:{event.file}"] = log.sha256
                self.notes.extend(f"{path}: {note}" for note in log.notes)
            hours = max(0, head.duration_ms - event.at_ms) / 3.6e6 if head else 0.0
            self.attempt(partial(logs[event.file].knots, event.start_h, hours))
        return logs

    def check_times(self, head: ScenarioFile | None, events: dict[int, Event]) -> None:
        if head is None:
            return
        if head.duration_ms > LONGEST_RUN_MS:
            problem = Problem(f"duration is {head.duration_ms / 86_400_000:g} days", limit="allowed: at most 366 days")
            self.problems.append(self.source.problem(("duration",), problem, of_value=True))
        for index, event in events.items():
            key = "from" if hasattr(event, "from_ms") else "at"
            ends_ms = getattr(event, "until_ms", 0)
            if event.starts_ms >= head.duration_ms:
                self.too_late(("event", index, key), event.starts_ms, head.duration_ms)
            elif ends_ms > head.duration_ms:
                self.too_late(("event", index, "until"), ends_ms, head.duration_ms)

    def too_late(self, path: KeyPath, time_ms: int, duration_ms: int) -> None:
        text = f"{path[-1]} is {as_written(time_ms, 'ms')}, but the run ends at {as_written(duration_ms, 'ms')}"
        self.problems.append(
            self.source.problem(path, Problem(text, limit="an event acts before the end"), of_value=True)
        )

    def check_names(self, events: dict[int, Event]) -> None:
        for index, event in events.items():
            inner = event.then if isinstance(event, WaitFor) else event
            if isinstance(inner, InstrumentFault) and inner.instrument not in self.known.instruments:
                path: KeyPath = ("event", index, "instrument")
                path = path if inner is event else ("event", index, "then", "instrument")
                way_out = suggestion(inner.instrument, self.known.instruments)
                problem = Problem(
                    f'unknown instrument "{shortened(inner.instrument)}"', value=inner.instrument, way_out=way_out
                )
                self.problems.append(self.source.problem(path, problem, of_value=True))

    def check_settings(self, events: dict[int, Event], controller: str, sheet: Sheet[Any] | None, site: Site) -> None:
        """Every settings_change, by itself and with those before it."""
        settings_type = self.known.settings_types.get(controller)
        settings = sheet.settings if sheet else settings_type() if settings_type else None
        cross_check = self.known.settings_cross_checks.get(controller, lambda _: ())
        for number, problem in change_problems(changes_of(events.items()), settings, cross_check, site):
            self.problems.append(self.source.problem(("event", number, "value"), problem, of_value=True))


def _cli(option: str) -> Callable[[Problem], Problem]:
    return lambda problem: replace(problem, file=option)
