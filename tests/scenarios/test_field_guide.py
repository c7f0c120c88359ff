"""The generated table of settings, plant parameters and process image."""

from __future__ import annotations

from dataclasses import replace

import pytest

from controller.process_image import Inputs, Outputs
from controller.registry import SHIPPED
from plant_model.parameters import PlantParameters
from plant_model.property_tables import load_refrigerant
from scenarios.c_header import header_text
from scenarios.errors import InputRefused
from scenarios.field_guide import as_markdown, guide, notes, swept_volume_m3_h, topics
from scenarios.plant_file import REFRIGERANTS, SITE_KEYS
from scenarios.quantities import Site, parse_quantity

TABLES = ("plant", *SHIPPED)


@pytest.mark.parametrize("topic", topics())
def test_every_topic_has_a_full_table(topic: str) -> None:
    rows = guide(topic)
    assert len(rows) == len({row.name for row in rows}) > 15
    assert all(row.default or row.name.startswith("[") or '= "' in row.name for row in rows)
    assert len(as_markdown(rows).splitlines()) == len(rows) + 2
    assert notes(topic)


@pytest.mark.parametrize("topic", TABLES)
def test_every_number_has_a_range_and_a_reason(topic: str) -> None:
    for row in guide(topic):
        assert row.why, row.name
        assert row.range or row.default in ("yes", "no"), row.name


def test_the_image_is_whole_and_in_order_and_says_what_it_means() -> None:
    names = [*Inputs.__dataclass_fields__, *Outputs.__dataclass_fields__]
    rows = guide("image")
    assert [row.name for row in rows] == names
    sides = ["input: "] * len(Inputs.__dataclass_fields__) + ["output: "] * len(Outputs.__dataclass_fields__)
    assert all(row.why.startswith(side) and len(row.why) > len(side) + 9 for row, side in zip(rows, sides, strict=True))
    assert len({row.why for row in rows}) >= len(rows) - 1  # suction pressure and temperature are taken at one place


def test_the_c_header_carries_the_meaning_of_every_field() -> None:
    text = header_text()
    for record in (Inputs, Outputs):
        for name, f in record.__dataclass_fields__.items():
            line = next(line for line in text.splitlines() if f" {name};" in line)
            assert line.endswith(f"{f.metadata['means']} */"), line


def test_the_plant_is_told_as_plant_files_write_it() -> None:
    rows = {row.name: row for row in guide("plant")}
    # the same quantities as in the library's plant file, which a person wrote
    assert rows["evaporator.conductance"].default == "60 kW/K"
    assert rows["evaporator.base_load"].default == "380 kW"
    assert rows["suction_vessel.level_set"].default == "40 %"
    assert rows["discharge_side.wet_bulb"].default == "22 °C"
    assert rows["suction_vessel.feed_rated_difference"].default == "1060 kPa"
    assert rows["evaporator.refill"].default == "10 min"
    assert rows["suction_line.rated_flow"].default == "936 m³/h"
    units = {row.unit for row in rows.values()}
    assert not units & {"Pa", "W", "W/K", "J/K", "ms", "rad", "1/s", "m³/s"}
    assert {row.unit for row in rows.values() if "superheat" in row.name} == {"K"}  # a difference stays one


def test_what_stands_beside_the_parameters_is_listed() -> None:
    rows = {row.name: row for row in guide("plant")}
    assert "R717" in rows["refrigerant"].range
    assert rows["site.altitude"].range == "-1000 m to 5500 m"
    assert rows["site.barometric_pressure"].range == "50 kPa to 115 kPa"
    assert SITE_KEYS["barometric_pressure"].low == 50e3
    assert '"6 kW/K"' in next(row.why for name, row in rows.items() if name.startswith("uncertainty"))


@pytest.mark.parametrize("name", REFRIGERANTS)
def test_every_refrigerant_named_to_the_user_has_a_fit(name: str) -> None:
    assert load_refrigerant(name).pressure_high_pa > 0.0


def test_the_swept_volume_and_what_it_goes_with() -> None:
    plant = PlantParameters()
    swept = swept_volume_m3_h(plant)
    told = notes("plant")[0]
    assert f"{swept:.0f} m³/h" in told
    # the demo plant's suction line is rated for full load, and says so in another unit
    assert swept == pytest.approx(plant.suction_line.rated_flow_m3_s * 3600.0, rel=0.01)
    rotor, machine = plant.rotor, plant.machine
    wide = replace(plant, rotor=replace(rotor, tooth_width_m=1.1 * rotor.tooth_width_m))
    large = replace(plant, rotor=replace(rotor, main_radius_m=1.1 * rotor.main_radius_m))
    fast = replace(plant, machine=replace(machine, nominal_speed_1_s=1.1 * machine.nominal_speed_1_s))
    assert swept_volume_m3_h(wide) == pytest.approx(1.1 * swept)
    assert swept_volume_m3_h(fast) == pytest.approx(1.1 * swept)
    assert swept_volume_m3_h(large) == pytest.approx(1.21 * swept)


def test_what_a_bare_number_is_for_is_said_and_true() -> None:
    for topic in ("plant", "events", "scenario", *SHIPPED):
        assert "Bare numbers are for shares and plain numbers only" in " ".join(notes(topic))
    assert parse_quantity("0.4", "1", "", Site()) == 0.4
    with pytest.raises(InputRefused):
        parse_quantity("40", "%", "", Site())


def test_an_unknown_topic_is_refused_with_what_is_known() -> None:
    with pytest.raises(InputRefused, match="scheduled_pi"):
        guide("moon")
