"""A year of a plant in twelve days, with the volume-ratio pair working and with its port held at one place.

A held port is this machine with its volume-ratio slide put under manual demand (the cabinet's own manual mode) and left
there, while the capacity pair works as always.  So flute and port are the same and only the ratio is fixed.  It has no
guard against the through-path: at low capacity a port set for a low ratio opens before the flute is sealed, and gas
blows back; the hours of it are counted.  Days are kept on disk as they are finished, under a hash of all that made them.
Results are an engineering aid on a simulated plant.
"""

from __future__ import annotations

import hashlib
import json
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from plant_model.compression import volume_ratio_travel_frac
from scenarios.errors import ControllerFailed, InputRefused, Problem
from scenarios.load_log import LoadLog, load_log
from scenarios.preparation import Prepared, prepare
from scenarios.runner import play_prepared
from scenarios.season_days import DAY_MS, LoadDays, MonthDay, representative_days
from scenarios.season_records import DayResult, Season, Variant, keep_day, measure_day, next_ratio, read_day
from scenarios.weather_log import WeatherLog, day_text, weather_log

LEAD_MS = 2 * 3_600_000  # run before the 24 hours that count: condenser and rooms forget how they began
LOG_MS = 10_000
BUILT_IN_RATIOS = (
    2.2,
    2.6,
    3.0,
    3.6,
    4.4,
    5.0,
)  # as machines of one fixed ratio are offered; common practice, no source
REFINEMENTS = 4  # at most
_FORMAT = 1


@dataclass(frozen=True, slots=True)
class SeasonInputs:
    """What a season is made from.  settings None: the controller's defaults; scale: multiplies the load record."""

    plant: Path
    weather: WeatherLog
    load: LoadLog
    controller: str
    settings: Path | None
    seed: int
    scale: float = 1.0


Progress = Callable[[str, int, float], None]  # what is run, how many days are done, how far the one in hand is


def season_inputs(
    plant: Path, weather: Path, load: Path, controller: str, settings: Path | None, seed: int, scale: float = 1.0
) -> SeasonInputs:
    """Read weather and load, together; InputRefused with the problems of both."""
    problems: list[Problem] = []
    read: list[Any] = []
    for reader, path in ((weather_log, weather), (load_log, load)):
        try:
            read.append(reader(path))
        except InputRefused as error:
            problems += error.problems
    if problems:
        raise InputRefused(problems)
    return SeasonInputs(plant, read[0], read[1], controller, settings, seed, scale)


class SeasonRun:
    """A season being computed; everything is read and checked when it is made, nothing written."""

    def __init__(self, inputs: SeasonInputs, folder: Path) -> None:
        self.inputs, self.folder = inputs, folder
        self.load = LoadDays(inputs.load, inputs.scale)
        self.months = tuple(representative_days(inputs.weather, self.load))
        self.reused = self.done = 0
        with tempfile.TemporaryDirectory(prefix="twoslide-") as work:
            first = self.prepare(self.months[0].day, None, Path(work))
        self.plant_title = first.plant.title
        self.curves = first.parameters.curves
        low, high = self.curves.volume_ratio_low, self.curves.volume_ratio_high
        self.reach = (float(low), float(high))
        self.notes = (*inputs.weather.notes, *inputs.load.notes)

    def scenario_text(self, day: int, full_load_ratio: float | None, names: dict[str, str]) -> str:
        """A day as a scenario file; `names` are the paths of plant, settings, weather and load."""
        weather_day, clock = (day - 1) % 365, f"{24 - LEAD_MS // 3_600_000}:00"
        start_w = self.load.rows(day, LEAD_MS)[0][1]
        lines = [
            f'title = "Season, {day_text(day)}"',
            'purpose = "A day that stands for its month."',
            'expects = "Its energy."',
            f"plant = {json.dumps(names['plant'])}",
            f"controller = {json.dumps(self.inputs.controller)}",
            *([f"settings = {json.dumps(names['settings'])}"] if self.inputs.settings else []),
            f'duration = "{(LEAD_MS + DAY_MS) // 1000} s"',
            f"seed = {self.inputs.seed}",
            "[start]",
            'machine = "running"',
            f'load = "{start_w!r} W"',
            "[[event]]",
            'kind = "weather_log"',
            f"file = {json.dumps(names['weather'])}",
            f'day = "{day_text(weather_day)}"',
            f'clock = "{clock}"',
            "[[event]]",
            'kind = "load_log"',
            f"file = {json.dumps(names['load'])}",
        ]
        if full_load_ratio is not None:
            demand_pct = 100.0 * volume_ratio_travel_frac(self.curves, full_load_ratio)
            lines += [
                "[[event]]",
                'kind = "operator"',
                'at = "0 s"',
                'action = "volume_ratio_manual_on"',
                f'demand = "{demand_pct:.6f} %"',
            ]
        return "\n".join(lines) + "\n"

    def prepare(self, day: int, full_load_ratio: float | None, work: Path) -> Prepared:
        """Write a day's files into `work`, and prepare it like any scenario.  Raises InputRefused."""
        rows = self.load.rows(day, LEAD_MS)
        load = work / "load.csv"
        load.write_text("time [ms];load [W]\n" + "".join(f"{t};{w!r}\n" for t, w in rows), encoding="utf-8")
        names = {
            "plant": str(self.inputs.plant.absolute()),
            "settings": str(self.inputs.settings.absolute()) if self.inputs.settings else "",
            "weather": str(self.inputs.weather.path.absolute()),
            "load": load.name,
        }
        path = work / "day.toml"
        path.write_text(self.scenario_text(day, full_load_ratio, names), encoding="utf-8")
        return prepare([path], log_ms=LOG_MS)[0]

    def key(self, prepared: Prepared, day: int, full_load_ratio: float | None) -> str:
        """A hash of everything that a day's figures depend on, and of no path."""
        facts, sums = prepared.facts, dict(prepared.scenario.sha256)
        sums.pop("scenario")
        files = {role.split(":")[0]: value for role, value in sums.items()}
        text = self.scenario_text(day, full_load_ratio, dict.fromkeys(("plant", "settings", "weather", "load"), ""))
        parts = (_FORMAT, text, LOG_MS, files, facts["version"], facts["kernels"], facts["sources"])
        return hashlib.sha256(json.dumps(parts, sort_keys=True).encode()).hexdigest()

    def day(self, month: MonthDay, full_load_ratio: float | None, progress: Callable[[float], None]) -> DayResult:
        """One day, from disk if it stands there, else run and then put there."""
        with tempfile.TemporaryDirectory(prefix="twoslide-") as work:
            prepared = self.prepare(month.day, full_load_ratio, Path(work))
            key = self.key(prepared, month.day, full_load_ratio)
            kept = self.folder / "days" / f"{key[:32]}.json"
            found = read_day(kept, key)
            self.done += 1
            if found is not None:
                self.reused += 1
                return found
            trace, failure, *_ = play_prepared(prepared, Path(work), progress)
        if failure:
            name = "the slide working" if full_load_ratio is None else f"the port held at {full_load_ratio:.3g}"
            raise ControllerFailed(f"{day_text(month.day)}, {name}: {failure}")
        result = measure_day(trace, month.day, full_load_ratio, prepared, LEAD_MS)
        keep_day(kept, key, result)
        return result

    def variant(self, full_load_ratio: float | None, progress: Progress) -> Variant:
        """Twelve days."""
        name = "slides" if full_load_ratio is None else f"port held at {full_load_ratio:.2f}"
        days = []
        for month in self.months:
            text = f"{name}, {day_text(month.day)}"
            days.append(self.day(month, full_load_ratio, partial(progress, text, self.done)))
        return Variant(full_load_ratio, tuple(days), tuple(month.days for month in self.months))

    def check_ratios(self, ratios: Sequence[float]) -> tuple[float, ...]:
        """The ratios to try, rising; of none given the built-in ones that the slide reaches.  Raises InputRefused."""
        low, high = self.reach
        if not ratios:
            return tuple(ratio for ratio in BUILT_IN_RATIOS if low <= ratio <= high) or (low,)
        bad = [ratio for ratio in ratios if not low <= ratio <= high]
        if bad:
            limit = f"the slide reaches {low:.3g} to {high:.3g}"
            raise InputRefused(Problem(f"--ratio {bad[0]:g} is out of reach", value=f"{bad[0]:g}", limit=limit))
        return tuple(sorted(set(ratios)))

    def run(self, ratios: Sequence[float] = (), progress: Progress = lambda *_: None) -> Season:
        """The working slide, the port at each ratio, and at the best that a parabola through the best of them finds."""
        wanted = self.check_ratios(ratios)
        slides = self.variant(None, progress)
        held = [self.variant(ratio, progress) for ratio in wanted]
        for _ in range(REFINEMENTS):
            ratio = next_ratio([(v.full_load_ratio or 0.0, v.motor_cop) for v in held], self.reach)
            if ratio is None:
                break
            held = sorted([*held, self.variant(ratio, progress)], key=lambda v: v.full_load_ratio or 0.0)
        return Season(self.months, slides, tuple(held), self.reused, self.notes)
