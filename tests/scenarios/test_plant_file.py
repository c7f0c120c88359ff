"""The plant file."""

from pathlib import Path

import pytest

from plant_model.parameters import SiteParameters
from scenarios.errors import InputRefused
from scenarios.plant_file import SITE_KEYS, Plant, load_plant, saturation_from_library
from scenarios.quantities import standard_atmosphere_pa
from tests.scenarios.example_files import PLANT, Cooler, Machine, PlantRecord, saturation, vessel_check


def load(folder: Path, text: str) -> Plant[PlantRecord]:
    (folder / "plant.toml").write_text(text)
    return load_plant(folder / "plant.toml", PlantRecord, vessel_check, saturation)


def told(folder: Path, text: str) -> str:
    with pytest.raises(InputRefused) as caught:
        load(folder, text)
    return str(caught.value).replace(f"{folder}/", "")


def test_a_plant_is_read(tmp_path: Path) -> None:
    plant = load(tmp_path, PLANT)
    assert (plant.title, plant.refrigerant, len(plant.sha256)) == ("Invented store", "Ammonia", 64)
    assert plant.parameters.vessel.volume_m3 == 5.0
    assert plant.parameters.machine == Machine(capacity_curve=(0.1, 0.45, 1.0), cooler=Cooler.AIR)
    assert plant.parameters.site.ambient_k == 298.15
    assert plant.uncertainty == {"machine.ua": 5000.0, "vessel.volume": 0.02}


def test_altitude_gives_the_barometric_pressure_everywhere(tmp_path: Path) -> None:
    plant = load(tmp_path, PLANT)
    assert plant.site.barometric_pressure_pa == standard_atmosphere_pa(250.0)
    assert plant.parameters.site.barometric_pressure_pa == standard_atmosphere_pa(250.0)


def test_barometric_pressure_beats_altitude(tmp_path: Path) -> None:
    plant = load(tmp_path, PLANT.replace('altitude = "250 m"', 'altitude = "250 m"\nbarometric_pressure = "980 hPa"'))
    assert plant.site.barometric_pressure_pa == plant.parameters.site.barometric_pressure_pa == 98000.0


def test_every_altitude_that_is_read_has_a_barometer_that_the_plant_takes() -> None:
    metadata = SiteParameters.__dataclass_fields__["barometric_pressure_pa"].metadata
    barometer, altitude = SITE_KEYS["barometric_pressure"], SITE_KEYS["altitude"]
    assert (barometer.low, barometer.high) == (metadata["low"], metadata["high"])
    for altitude_m in (altitude.low, altitude.high):
        assert metadata["low"] <= standard_atmosphere_pa(altitude_m) <= metadata["high"]


def test_without_either_gauge_stays_unknown(tmp_path: Path) -> None:
    assert load(tmp_path, PLANT.replace('altitude = "250 m"\n', "")).site.barometric_pressure_pa is None


def test_saturation_belongs_to_the_named_refrigerant(tmp_path: Path) -> None:
    site = load(tmp_path, PLANT).site
    assert site.saturation_pressure_pa is not None
    assert site.saturation_pressure_pa(263.15) == 290_000.0
    # published_checks.md: ammonia at -10 °C, 290.640 kPa
    assert saturation_from_library("Ammonia", 263.15) == pytest.approx(290_640.0, rel=1e-4)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("title", "titel", 'plant.toml:1:1: unknown key "titel"; did you mean "title"?'),
        ('"Ammonia"', '""', "plant.toml:2:15: refrigerant must be a text in quotes, and not empty"),
        ('"250 m"', '"12 km"', '5:12: altitude: "12 km" is out of range; allowed: at least -1 km, at most 5.5 km'),
        ('"250 m"', '"250 kPa"', "plant.toml:5:12: altitude: \"250 kPa\" is a pressure"),
        ('altitude = "250 m"', 'barometric_pressure = "5 kPa"', '"5 kPa" is out of range; allowed: at least 50 kPa'),
        ('altitude = "250 m"', 'barometric_pressure = "0 bar(g)"', "barometric pressure is not known"),
        ("[vessel]", "[vesel]", 'unknown key "vesel"; did you mean "vessel"?'),
        ('volume = "5 m³"\n', "", '8:2: key "volume" is missing in [vessel]'),
        ('"5 m³"', '"0.11 m³"', "10:9: vessel.level: too full for so small a vessel"),
        ('"machine.ua"', '"machine.us"', '17:1: "machine.us" is no parameter with a number; did you mean "machine.ua"'),
        ('"5 kW/K"', '"-5 kW/K"', "an uncertainty is ±, so not negative"),
        ('"5 kW/K"', '"5 kW"', 'plant.toml:17:16: "5 kW" is a power'),
        ("[site]", "set_point = 3\n[site]", 'unknown key "set_point"'),
    ],
)  # fmt: skip
def test_what_is_refused_and_where(tmp_path: Path, old: str, new: str, words: str) -> None:
    assert old in PLANT
    assert words in told(tmp_path, PLANT.replace(old, new, 1))


def test_an_unknown_refrigerant_is_placed(tmp_path: Path) -> None:
    (tmp_path / "plant.toml").write_text(PLANT)
    with pytest.raises(InputRefused, match=r"plant\.toml:2:15: no such fluid; known are .*R717.*R290"):
        load_plant(tmp_path / "plant.toml", PlantRecord, None, saturation, lambda _: ["no such fluid"])


def test_every_problem_of_the_file_is_told(tmp_path: Path) -> None:
    text = PLANT.replace('"250 m"', '"far"').replace('"40 %"', '"140 %"').replace('"20 L"', '"20 s"')
    assert [line.split(":")[1] for line in told(tmp_path, text).splitlines()] == ["5", "10", "18"]
