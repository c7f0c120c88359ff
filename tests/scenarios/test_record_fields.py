"""What a record says of its fields."""

from dataclasses import dataclass, field

import pytest

from plant_model.parameters import PlantParameters
from scenarios.record_fields import UNIT_SUFFIXES, as_keys, field_rules, suffix_of
from scenarios.units import find_unit
from tests.scenarios.example_files import Cooler, PlantRecord, Settings, Vessel, WithList


def test_keys_are_names_without_their_unit() -> None:
    assert [rule.key for rule in field_rules(Vessel)] == ["volume", "level", "flash", "strainer_drop"]
    capacity = {rule.name: rule.key for rule in field_rules(field_rules(Settings)[0].kind)}
    assert capacity["suction_set_point_kpa_abs"] == "suction_set_point"
    assert capacity["load_ramp_ms"] == "load_ramp"


def test_limits_and_shape_come_from_the_declaration() -> None:
    volume, level, flash, drop = field_rules(Vessel)
    assert (volume.unit, volume.low, volume.high, volume.why, volume.required) == ("m³", 0.1, 100.0, "as built", True)
    assert (level.required, flash.kind, drop.of) == (False, int, "difference")
    bands = field_rules(Settings)[1]
    assert (bands.length, bands.is_tuple, bands.is_record) == (2, True, True)
    (values,) = field_rules(WithList)
    assert (values.length, values.is_tuple) == (2, False)
    assert field_rules(PlantRecord)[2].is_record
    assert next(r for r in field_rules(field_rules(PlantRecord)[2].kind) if r.key == "cooler").kind is Cooler


@pytest.mark.parametrize("suffix", UNIT_SUFFIXES)
def test_every_known_suffix_names_a_real_unit_and_is_recognised(suffix: str) -> None:
    assert find_unit(UNIT_SUFFIXES[suffix][0]).factor > 0.0
    assert suffix_of(f"something_{suffix}") == suffix


def test_two_fields_with_one_key_are_a_declaration_error() -> None:
    @dataclass
    class Clash:
        gain_pct: float = 1.0
        gain_kpa: float = 1.0

    with pytest.raises(TypeError, match="gain_pct and gain_kpa would both be written 'gain'"):
        field_rules(Clash)


def test_a_pressure_must_say_absolute_or_difference() -> None:
    @dataclass
    class Silent:
        limit_pa: float = field(default=1.0, metadata={"unit": "Pa"})

    with pytest.raises(TypeError, match=r"Silent\.limit_pa"):
        field_rules(Silent)


def test_a_text_field_has_no_place_in_a_record() -> None:
    @dataclass
    class Text:
        name: str = ""

    with pytest.raises(TypeError, match="no form in a file"):
        field_rules(Text)


def test_derived_fields_are_left_out() -> None:
    @dataclass
    class Derived:
        alpha: float = field(default=0.0, metadata={"derived": True})
        tau_ms: int = 5

    assert [rule.key for rule in field_rules(Derived)] == ["tau"]


def test_a_sentence_calls_fields_as_a_file_does() -> None:
    said = "evaporator: load_share_frac adds up to 2; load_share_frac_x, conductance and charge_kg stay or not"
    told = as_keys(PlantParameters, said)
    assert told == "evaporator: load_share adds up to 2; load_share_frac_x, conductance and charge stay or not"
    assert as_keys(int, said) == said
