"""`twoslide plant new`: asks for nameplate and measured values, each with its ±, and writes the plant file.

A ± is the half width of a 95 % interval (`plant_draws`); it goes into [uncertainty] and becomes the plant spread that
tuning must live with.  Values can also come from an answers file, TOML with the same keys:

    title = "…"
    "suction_vessel.volume" = "5 m³ ± 0.4 m³"      # or only the value; what is missing takes the default

Nothing is written before everything is known to be right: the text is loaded by the scenarios' own loader first.
"""

from __future__ import annotations

import re
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, partial
from pathlib import Path
from typing import Any

import click

from scenarios.errors import InputRefused, Problem
from scenarios.quantities import Site, format_quantity, parse_quantity
from scenarios.record_tables import range_problem, suggestion
from scenarios.units import find_unit, plain
from tools.tuning.questionnaire_items import BEFORE, ITEMS, SWEPT_VOLUME, Item, TextItem


@dataclass(frozen=True, slots=True)
class Answer:
    """A value and its ± (None: known, or none given), in the unit that the item is asked in."""

    value: float
    spread: float | None
    is_default: bool = False


@cache
def rule_for(key: str) -> Any:
    """The field that a key of the plant file stands for."""
    from plant_model.parameters import PlantParameters
    from scenarios.cross_checks import rule_of

    return rule_of(PlantParameters, tuple(key.split(".")))


def limits_of_item(item: Item) -> tuple[float, float]:
    """Lowest and highest value in the item's unit, from the field's own metadata."""
    if item.limits is not None:
        return item.limits
    rule = rule_for(item.key)
    return _shown(rule.low, rule.unit, item.unit), _shown(rule.high, rule.unit, item.unit)


def default_of(item: Item) -> Answer:
    """The demo plant's value, with the ± that somebody has who has not measured it."""
    value = item.default
    if item.key == SWEPT_VOLUME:
        from plant_model.parameters import PlantParameters

        demo = PlantParameters()
        value = float(f"{swept_volume_m3_h(demo.rotor, demo.machine.nominal_speed_1_s):.4g}")
    elif value is None:
        from plant_model.parameters import PlantParameters

        found: Any = PlantParameters()
        for key in item.key.split("."):
            rule = next(r for r in _rules(type(found)) if r.key == key)
            found = getattr(found, rule.name)
        value = _shown(float(found), rule_for(item.key).unit, item.unit)
    spread = None if item.spread_frac is None else float(f"{abs(item.spread_frac * value):.2g}")
    return Answer(value, spread if item.spread is None else item.spread, is_default=True)


def _rules(cls: Any) -> Any:
    from scenarios.record_fields import field_rules

    return field_rules(cls)


def _shown(value: float, unit: str, asked: str) -> float:
    """A number of one unit in another of the same kind, rounded so that it reads as it was written."""
    a, b = find_unit(unit), find_unit(asked)
    return float(f"{(value + a.offset) * a.factor / b.factor - b.offset:.9g}")


def read_answer(item: Item, text: str, site: Site) -> Answer:
    """`5 m³ ± 0.4 m³`, `5 ± 0.4`, `5 m³ ± 8 %` or `5`: a bare number is in the item's unit.  InputRefused, unplaced."""
    parts = [plain(part) for part in re.split(r"±|\+/-|\+-", plain(text))]
    if len(parts) > 2 or not parts[0]:
        raise InputRefused(Problem(f'"{text}" is not a value', way_out=f"write for example {example(item)}"))
    value = _quantity(item, parts[0], site)
    low, high = limits_of_item(item)
    bad = range_problem(value, item.unit, low, high, "")
    if bad is not None:
        raise InputRefused(bad)
    if len(parts) == 1:
        return Answer(value, None if item.spread_frac is None else default_spread(item, value))
    return Answer(value, read_spread(item, parts[1], value))


def default_spread(item: Item, value: float) -> float:
    """The usual ± of this item at this value."""
    return item.spread if item.spread is not None else float(f"{abs((item.spread_frac or 0.0) * value):.2g}")


def read_spread(item: Item, text: str, value: float) -> float:
    """A ± in the item's unit; per cent means of the value."""
    if item.spread_frac is None:
        raise InputRefused(Problem("no ± is asked for here", way_out="give the value alone"))
    text = plain(text)
    if text.endswith("%") and item.unit != "%":
        spread = abs(value) * parse_quantity(text, "1")
    else:
        spread = _quantity(item, text, Site(), spread=True)
    most = max(abs(value), item.spread or 0.0) if item.unit != "°C" else 50.0
    bad = range_problem(spread, "K" if item.unit == "°C" else item.unit, 0.0, most, "")
    if bad is not None:
        raise InputRefused(Problem(f"±: {bad.message}", limit=bad.limit))
    return spread


def _quantity(item: Item, text: str, site: Site, spread: bool = False) -> float:
    unit = "K" if spread and item.unit == "°C" else item.unit
    of = (
        ("difference" if spread and item.of else item.of)
        if find_unit(unit).dimension in ("pressure", "temperature")
        else ""
    )
    bare = text.replace(",", ".", 1) if re.fullmatch(r"[+-]?\d+,\d+", text) else text
    if re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", bare):
        text = f"{bare} {unit}" if unit != "1" else bare
    return parse_quantity(text, unit, of, site)


def example(item: Item) -> str:
    """What one may write."""
    d = default_of(item)
    value = format_quantity(d.value, item.unit)
    return (
        f'"{value} ± {d.spread:g} {"K" if item.unit == "°C" else item.unit}"' if d.spread is not None else f'"{value}"'
    )


def read_answers(path: Path) -> tuple[dict[str, str], dict[str, Answer]]:
    """Texts and values of an answers file, defaults where it is silent.  InputRefused with every problem."""
    from scenarios.toml_source import read_toml

    source = read_toml(path)
    flat: dict[str, tuple[tuple[str, ...], Any]] = {}

    def walk(table: dict[str, Any], above: tuple[str, ...]) -> None:
        for key, value in table.items():
            if isinstance(value, dict):
                walk(value, (*above, key))
            else:
                flat[".".join((*above, key))] = ((*above, key), value)

    walk(source.data, ())
    texts = {item.key: item.default for item in BEFORE}
    answers = {item.key: default_of(item) for item in ITEMS}
    problems = []
    for name, (place, value) in flat.items():
        try:
            given = str(value) if isinstance(value, (int, float)) and not isinstance(value, bool) else value
            if not isinstance(given, str):
                raise InputRefused(Problem("must be a text or a number"))
            text_item = next((t for t in BEFORE if t.key == name), None)
            item = next((i for i in ITEMS if i.key == name), None)
            if text_item is not None:
                texts[name] = read_text(text_item, given)
            elif item is not None:
                answers[name] = read_answer(item, given, Site())
            else:
                known = [i.key for i in BEFORE] + [i.key for i in ITEMS]
                raise InputRefused(Problem("is no question", way_out=suggestion(name, known)))
        except InputRefused as error:
            p = error.problems[0]
            problems.append(
                source.problem(place, Problem(f"{name}: {p.message}", "", 0, 0, p.value, p.limit, p.way_out), True)
            )
    if problems:
        raise InputRefused(problems)
    return texts, answers


def read_text(item: TextItem, text: str) -> str:
    """A text answer.  InputRefused, unplaced, for an empty one or a refrigerant that is not known."""
    text = text.strip()
    if not text or len(text) > 120 or any(ord(c) < 32 for c in text):
        raise InputRefused(Problem("one line of text is expected", limit="1 to 120 characters"))
    if item.key == "refrigerant":
        from scenarios.preparation import known

        wrong = list(known().check_refrigerant(text))
        if wrong:
            raise InputRefused(Problem(wrong[0]))
    return text


def plant_text(texts: dict[str, str], answers: dict[str, Answer]) -> str:
    """The plant file as TOML text."""
    import tomlkit

    document = tomlkit.document()
    for line in (
        "Written by `twoslide plant new`.  What is not here takes its default, see `twoslide describe plant`.",
        "± in [uncertainty] are half widths of 95 % intervals.  Results are an engineering aid and no safety system;",
        "hard-wired cut-outs and relief devices come first.",
    ):
        document.add(tomlkit.comment(line))
    for key in ("title", "refrigerant"):
        document.add(key, tomlkit.string(texts[key]))
    uncertainty = tomlkit.table()
    for item in ITEMS:
        answer = answers[item.key]
        for key, value, spread, unit in _written(item, answer):
            *above, last = key.split(".")
            table: Any = document
            for part in above:
                if part not in table:
                    table.add(part, tomlkit.table())
                table = table[part]
            entry = tomlkit.item(format_quantity(value, unit) if unit not in ("", "1") else value)
            table.add(last, entry.comment("default, not asked or not known" if answer.is_default else item.ask))
            if spread:
                spread_unit = "K" if unit == "°C" else unit
                uncertainty.add(
                    tomlkit.key(key.split(".")), format_quantity(spread, spread_unit) if spread_unit != "1" else spread
                )
    document.add("uncertainty", uncertainty)
    return tomlkit.dumps(document)


def _written(item: Item, answer: Answer) -> list[tuple[str, float, float | None, str]]:
    """Keys, values, ± and units that one answer becomes in the file."""
    if item.key != SWEPT_VOLUME:
        return [(item.key, answer.value, answer.spread, item.unit)]
    # all lengths of the rotors scale by the cube root of the volume; the ± goes to the radius alone, V ~ radius² there
    from plant_model.parameters import PlantParameters
    from plant_model.rotor_geometry import RotorGeometry

    rotor = RotorGeometry()
    scale = (answer.value / swept_volume_m3_h(rotor, PlantParameters().machine.nominal_speed_1_s)) ** (1.0 / 3.0)
    radius_m = float(f"{rotor.main_radius_m * scale:.7g}")
    spread_m = None if answer.spread is None else float(f"{0.5 * radius_m * answer.spread / answer.value:.2g}")
    return [
        ("rotor.main_radius", radius_m, spread_m, "m"),
        ("rotor.tooth_width", float(f"{rotor.tooth_width_m * scale:.7g}"), None, "m"),
    ]


def swept_volume_m3_h(rotor: Any, speed_1_s: float) -> float:
    """Displacement at full capacity, m³/h."""
    return float(rotor.displacement_m3 * speed_1_s * 3600.0)


def check_plant_text(text: str, path: Path) -> None:
    """Load the text as the scenarios would, and derive the machine.  InputRefused, naming `path`."""
    from plant_model.derived import derive
    from plant_model.properties import EnvelopeError
    from scenarios.plant_file import load_plant
    from scenarios.preparation import known

    k = known()
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder) / path.name
        place.write_text(text, encoding="utf-8")
        try:
            plant = load_plant(
                place, k.parameters_type, k.plant_cross_check, k.saturation_pressure_pa, k.check_refrigerant
            )
            derive(plant.parameters, plant.refrigerant)
        except InputRefused as error:
            raise InputRefused(
                Problem(p.message, str(path), 0, 0, p.value, p.limit, p.way_out) for p in error.problems
            ) from error
        except EnvelopeError as error:
            raise InputRefused(Problem(str(error), file=str(path))) from error


def ask_all() -> tuple[dict[str, str], dict[str, Answer]]:
    """Ask everything on the terminal; a bad answer is told why and asked again."""
    click.echo("Enter takes the value in brackets. A ± is the half width of a 95 % interval; 0 if it is exact.\n")
    texts = {item.key: _ask_until(item.ask, item.default, partial(read_text, item)) for item in BEFORE}
    answers = {}
    section = ""
    for item in ITEMS:
        if item.section != section:
            section = item.section
            click.echo(f"\n{section}")
        answers[item.key] = _ask(item)
    return texts, answers


def _ask(item: Item) -> Answer:
    usual = default_of(item)
    low, high = limits_of_item(item)
    head = (
        f"  {item.ask}, {item.unit}, {low:g} to {high:g}" if item.unit != "1" else f"  {item.ask}, {low:g} to {high:g}"
    )
    shown = format_quantity(usual.value, item.unit)
    first = _ask_until(head, shown, lambda text: (read_answer(item, text, Site()), text))
    answer, text = first
    untouched = text == shown
    if item.spread_frac is None or re.search(r"±|\+/?-", text[1:]):
        return Answer(answer.value, answer.spread, untouched)
    unit = "K" if item.unit == "°C" else item.unit
    proposed = format_quantity(default_spread(item, answer.value), unit)
    spread: float = _ask_until(f"    ± ({item.how})", proposed, lambda given: read_spread(item, given, answer.value))
    return Answer(answer.value, spread, untouched)


def _ask_until(prompt: str, default: str, read: Callable[[str], Any]) -> Any:
    while True:
        try:
            return read(click.prompt(prompt, default=default, type=str))
        except InputRefused as error:
            click.echo(f"    {error.problems[0]}", err=True)


def write_plant(path: Path, texts: dict[str, str], answers: dict[str, Answer]) -> None:
    """Check and write the plant file: whole or not at all."""
    from scenarios.settings_sheet import write_whole

    text = plant_text(texts, answers)
    check_plant_text(text, path)
    write_whole(path, text)


@click.command("new")
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@click.option("--answers", type=click.Path(path_type=Path), metavar="TOML", help="Take the answers from this file.")
@click.option("--overwrite", is_flag=True, help="Replace a file that is there.")
def new(file: Path, answers: Path | None, overwrite: bool) -> int:
    """Ask for nameplate and measured values, each with its ±, and write the plant FILE."""
    if file.suffix != ".toml":
        raise InputRefused(Problem("a plant file ends in .toml", file=str(file), way_out=f"write {file}.toml"))
    if file.exists() and not overwrite:
        raise InputRefused(Problem("is there already", file=str(file), way_out="name another, or give --overwrite"))
    texts, values = ask_all() if answers is None else read_answers(answers)
    write_plant(file, texts, values)
    kept = [item.ask for item in ITEMS if values[item.key].is_default]
    click.echo(f"{file}: {len(ITEMS) - len(kept)} values given, {len(kept)} taken from the demo plant")
    for ask in kept:
        click.echo(f"  not known: {ask}")
    return 0
