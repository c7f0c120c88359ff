"""The generated tables of what may be set and what a controller sees: name, unit, range, default, reason.

They are made from the records and models themselves, so they cannot fall behind them, and speak the units in which files
are written.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import is_dataclass
from typing import Any, cast

from controller.process_image import Inputs, Outputs
from controller.registry import SHIPPED
from plant_model.parameters import PlantParameters
from scenarios.as_written import as_written, range_as_written, unit_shown
from scenarios.errors import InputRefused, Problem
from scenarios.guide_rows import OPTIONAL, REQUIRED
from scenarios.guide_rows import GuideRow as GuideRow
from scenarios.guide_rows import as_markdown as as_markdown
from scenarios.plant_file import SITE_KEYS, SOME_REFRIGERANTS
from scenarios.record_fields import FieldRule, field_rules

_AID = "Results are an engineering aid on a simulated plant, no safety system: hard-wired cut-outs come first."
_BARE = (
    'A quantity is written with its unit, in quotes: "290 kPa", "1.9 bar(g)", "-10 °C", "90 s".  '
    "Bare numbers are for shares and plain numbers only: "
)


def topics() -> tuple[str, ...]:
    """What `guide` knows."""
    return ("scenario", "events", "plant", "image", *SHIPPED)


def _word(value: Any, rule: FieldRule) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if hasattr(value, "name"):
        return str(value.name).lower()
    if isinstance(value, tuple | list):
        return "table of " + str(len(value)) if len(value) > 4 else ", ".join(_word(v, rule) for v in value)
    return as_written(float(value), rule.unit, rule.of, rule.name)


def _rows(record: Any, above: str) -> Iterator[GuideRow]:
    for rule in field_rules(cast(Any, type(record))):
        value = getattr(record, rule.name)
        if is_dataclass(value):
            yield from _rows(value, f"{above}{rule.key}.")
        elif rule.is_record:
            for number, part in enumerate(value, 1):
                yield from _rows(part, f"{above}{rule.key}[{number}].")
        else:
            reach, unit = "", ""
            if rule.is_enum:
                reach = ", ".join(member.name.lower() for member in rule.kind)
            elif rule.low is not None and rule.high is not None:
                reach = range_as_written(rule.low, rule.high, rule.unit, rule.of, rule.name)
                unit = unit_shown(rule.high, rule.unit, rule.of, rule.name)
            yield GuideRow(above + rule.key, unit, reach, _word(value, rule), " ".join(rule.why.split()))


def _image_rows() -> Iterator[GuideRow]:
    for record, side in ((Inputs(), "input"), (Outputs(), "output")):
        for name, f in type(record).__dataclass_fields__.items():
            value, m = getattr(record, name), f.metadata
            unit = m.get("unit", "")
            reach = f"{m['low']:.0f} to {m['high']:.0f} {unit}" if "low" in m else ""
            default = f"{value:g}"
            if hasattr(value, "name"):
                reach, default = ", ".join(member.name for member in type(value)), value.name
            elif isinstance(value, bool):
                reach, default = "no, yes", "yes" if value else "no"
            yield GuideRow(name, unit, reach, default, f"{side}: {m['means']}")


def _plant_rows() -> Iterator[GuideRow]:
    yield GuideRow("title", "", "a text", REQUIRED, "what the plant is called in reports")
    yield GuideRow("refrigerant", "", SOME_REFRIGERANTS, REQUIRED, 'also what "-10 °C sat" is a pressure of')
    for key, rule in SITE_KEYS.items():
        reach = range_as_written(rule.low, rule.high, rule.unit, rule.of)
        default = as_written(rule.fallback, rule.unit, rule.of)
        # no gauge pressure is read without one of the two
        default = OPTIONAL if key == "altitude" else f"from the altitude, else {default}"
        yield GuideRow(f"site.{key}", unit_shown(rule.high, rule.unit, rule.of), reach, default, rule.why)
    mine = {f"site.{key}" for key in SITE_KEYS}
    yield from (row for row in _rows(PlantParameters(), "") if row.name not in mine)
    yield GuideRow(
        'uncertainty."TABLE.KEY"',
        "",
        "0 or more, in the unit of that key; a difference for temperatures and pressures",
        OPTIONAL,
        'how well a number above is known, ±: "evaporator.conductance" = "6 kW/K" in [uncertainty]',
    )


def guide(topic: str) -> list[GuideRow]:
    """The table of one topic: "scenario", "events", "plant", "image" or a shipped controller's name.

    Raises InputRefused for another.
    """
    if topic == "image":
        return list(_image_rows())
    if topic == "plant":
        return list(_plant_rows())
    if topic in ("scenario", "events"):
        from scenarios import event_guide  # pydantic, only for those who ask

        return event_guide.event_rows() if topic == "events" else event_guide.scenario_rows()
    if topic in SHIPPED:
        return list(_rows(SHIPPED[topic].settings_type(), ""))
    raise InputRefused(Problem(f"nothing is known of {topic!r}", value=topic, way_out=f"known: {', '.join(topics())}"))


def swept_volume_m3_h(plant: PlantParameters) -> float:
    """Swept volume of the machine at full load and nominal speed, m³/h."""
    return plant.rotor.displacement_m3 * plant.machine.nominal_speed_1_s * 3600.0


def notes(topic: str) -> list[str]:
    """What a reader of the table must know besides, in sentences."""
    if topic == "plant":
        plant = PlantParameters()
        swept = (
            "The swept volume of the machine is no key, it follows from rotors and speed: with the values above "
            f"{swept_volume_m3_h(plant):.0f} m³/h at full load ({1000.0 * plant.rotor.displacement_m3:.2f} L a turn at "
            f"{60.0 * plant.machine.nominal_speed_1_s:.0f} 1/min).  It goes with rotor.tooth_width and "
            "machine.nominal_speed, and with the square of rotor.main_radius: to meet a name plate, change the tooth width."
        )
        return [swept, f'{_BARE}the rows in %, where 0.4 is "40 %", and those without a unit.', _AID]
    if topic == "image":
        return ["An input whose health is not GOOD is not to be believed.  Outputs act until the next scan.", _AID]
    if topic in ("scenario", "events"):
        times = 'Times count from the start of the run.  What takes "lasting" stays for good without it.'
        return [times, f'{_BARE}running = 0.5 is "50 %", but a load, a time, a demand is never bare.']
    return [f'{_BARE}those without a unit; a % is written "12 %".', _AID]
