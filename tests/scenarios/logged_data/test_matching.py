"""Which column is which signal, in the languages of the trade; and units that are never taken for granted."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pint
import pytest

from scenarios.logged_data.header_units import pressure_line, spelled, split_header
from scenarios.logged_data.matching import STANDS, line_to, name_score, propose_columns
from scenarios.logged_data.records import RawColumn, RawFile
from scenarios.logged_data.signals import signals
from scenarios.logged_data.words import concepts_in

HEADERS = {
    "suction_pressure_kpa_abs": ["Suction pressure", "Saugdruck", "Pression aspiration", "Presión de "
        "aspiración", "Pressione aspirazione",
                                 "Zuigdruk", "Sugetryk", "PT_SUC", "P0"],
    "discharge_pressure_kpa_abs": ["Discharge pressure", "Verflüssigungsdruck", "Pression "
        "refoulement", "Presión de descarga",
                                   "Pressione mandata", "Persdruk", "Condensing pressure", "Pc"],
    "discharge_temperature_c": ["Discharge temp", "Druckgastemperatur", "Température "
        "refoulement", "Temp. mandata", "TT_DIS", "Verdichtungsendtemperatur"],
    "suction_temperature_c": ["Suction gas temperature", "Sauggastemperatur", "Température aspiration"],
    "oil_temperature_c": ["Oil temperature", "Öltemperatur", "Température d'huile", "Temp. aceite", "Olietemperatur"],
    "oil_pressure_kpa_abs": ["Oil pressure", "Öldruck", "Pression huile", "Olietryk"],
    "oil_pressure_before_filter_kpa_abs": ["Oil pressure before filter", "Öldruck vor Filter", "Pression huile "
        "avant filtre"],
    "motor_current_a": ["Motor current", "Motorstrom", "Intensité "
                                                       "moteur", "Corriente motor", "Corrente motore", "Motorstroom"],
    "motor_power_kw": ["Motor power", "Motorleistung", "Puissance moteur"],
    "capacity_position_pct": ["Capacity slide position", "Leistungsschieber Stellung", "Position tiroir de "
        "puissance", "Capacity position"],
    "volume_ratio_position_pct": ["Vi slide position", "Vi-Schieber Stellung", "Volume ratio slide"],
    "capacity_demand_pct": ["Capacity demand", "Leistungsschieber Soll"],
    "suction_set_point_kpa_abs": ["Suction pressure set point", "Sollwert Saugdruck", "Consigne pression aspiration"],
    "process_temperature_c": ["Room temp", "Raumtemperatur Halle 2", "Température chambre"],
    "motor_running": ["Motor running", "Motor läuft", "Compressor run feedback", "Retour marche moteur"],
    "oil_level_pct": ["Oil level", "Ölstand", "Niveau d'huile"],
    "vessel_level_pct": ["Vessel level", "Separator level", "Niveau Abscheider"],
}  # fmt: skip
NEITHER = ["Kanal 18", "Discharge pressure alarm limit", "Tür Halle 3", "Alarm text", "column 4"]


@pytest.mark.parametrize(
    ("signal", "header"), [(s, h) for s, hs in HEADERS.items() for h in hs if h != "Separator level"]
)
def test_a_header_names_its_signal_and_no_other_better(signal: str, header: str) -> None:
    scores = {name: name_score(s, concepts_in(header)) for name, s in signals().items()}
    assert scores[signal] >= STANDS - 0.05
    assert max(scores, key=lambda name: scores[name]) == signal or scores[signal] == max(scores.values())


@pytest.mark.parametrize("header", NEITHER)
def test_what_names_nothing_gets_nothing(header: str) -> None:
    assert max(name_score(s, concepts_in(header)) for s in signals().values()) < STANDS


UNITS = {  # spelling → pint's name, gauge
    "kPa(a)": ("kPa", False), "kPa(g)": ("kPa", True), "bar(a)": ("bar", False), "bar(g)": ("bar", True),
    "psia": ("psi", False),
    "psig": ("psi", True), "MPa(g)": ("MPa", True), "kgf/cm²(g)": ("kgf/cm**2", True), "mbar(a)": ("mbar", False),
    "inHg": ("inHg", False),
}  # fmt: skip


@pytest.mark.parametrize("unit", UNITS)
def test_pressures_agree_with_a_general_unit_library(unit: str) -> None:
    name, gauge = UNITS[unit]
    quantity = pint.UnitRegistry().Quantity(7.5, name).to("kPa").magnitude + (101.325 if gauge else 0.0)
    factor, offset = pressure_line(unit)
    assert 7.5 * factor + offset == pytest.approx(quantity, rel=2e-6)


@pytest.mark.parametrize(("unit", "name", "target", "signal"), [
    ("°F", "degF", "degC", "oil_temperature_c"), ("K", "kelvin", "degC", "oil_temperature_c"), ("W", "W", "kW",
    "motor_power_kw"),
    ("hp", "hp", "kW", "motor_power_kw"), ("1", "", "percent", "oil_level_pct"),
])  # fmt: skip
def test_other_units_agree_with_a_general_unit_library(unit: str, name: str, target: str, signal: str) -> None:
    registry = pint.UnitRegistry()
    line = line_to(signals()[signal], unit, 101_325.0)
    assert line is not None
    assert 7.5 * line[0] + line[1] == pytest.approx(registry.Quantity(7.5, name).to(target).magnitude, rel=1e-5)


@pytest.mark.parametrize(("text", "name", "unit"), [
    ("Saugdruck "
     "[barü]", "Saugdruck", "bar(g)"), ("Ps (psig)", "Ps", "psig"), ("T oil °C", "T oil", "°C"), ("T0 [°C "
         "sat]", "T0", "°C sat"),
    ("Level %", "Level", "%"), ("Run (feedback)", "Run (feedback)", ""), ("P kg/cm²(g)", "P", "kgf/cm²(g)"),
])  # fmt: skip
def test_units_in_headers(text: str, name: str, unit: str) -> None:
    assert split_header(text)[0] == name
    assert spelled(split_header(text)[1]) == unit


def one(header: str, unit: str, values: list[float]) -> tuple[str, str]:
    data = np.array(values * 40)
    file = RawFile(
        Path("x"),
        "",
        "trends",
        "wide",
        np.arange(len(data)) * 1000,
        np.arange(len(data)),
        [RawColumn(header, unit, values=data)],
        [],
        {},
    )
    found = propose_columns(file, 101_325.0)[0]
    return found.signal, found.unit


def test_a_unit_that_says_too_little_is_asked() -> None:
    assert one("Saugdruck", "bar", [1.9, 1.95]) == ("suction_pressure_kpa_abs", "?")
    assert one("Saugdruck", "kPa", [290.0, 292.0]) == ("suction_pressure_kpa_abs", "?")
    assert one("Saugdruck", "", [290.0, 292.0]) == ("suction_pressure_kpa_abs", "?")
    assert one("Öltemperatur", "", [48.0, 49.0]) == ("oil_temperature_c", "?")
    assert one("Saugdruck", "furlong", [290.0, 292.0]) == ("suction_pressure_kpa_abs", "?")


def test_a_unit_that_the_values_contradict_is_asked() -> None:
    assert one("Saugdruck", "bar(g)", [190.0, 195.0])[1] == "?"
    assert one("Oil temperature", "°C", [118.0, 119.0])[1] == "?"  # °F
    assert one("Capacity slide position", "%", [0.1, 0.35, 0.52, 0.93])[1] == "?"  # a share of one
    assert one("Motor power", "kW", [112_000.0, 113_000.0])[1] == "?"


def test_a_unit_that_fits_stands() -> None:
    assert one("Saugdruck", "bar(g)", [1.9, 1.95]) == ("suction_pressure_kpa_abs", "bar(g)")
    assert one("Evaporating temperature", "°C", [-10.0, -9.5]) == ("suction_pressure_kpa_abs", "°C sat")
    assert one("Capacity slide position", "", [10.0, 35.0, 52.0, 93.0]) == ("capacity_position_pct", "%")
    assert one("suction_pressure_measured_pa", "Pa", [290e3, 292e3]) == ("suction_pressure_kpa_abs", "Pa")
