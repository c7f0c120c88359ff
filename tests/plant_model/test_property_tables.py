"""The cache, the names, and the refusal of states outside the envelope."""

import json
from pathlib import Path
from typing import Any

import pytest

import plant_model.property_tables as tables
from plant_model.property_tables import (
    EnvelopeError,
    cache_file,
    canonical_name,
    load_refrigerant,
    require_pressure,
    require_saturation_temperature,
)


@pytest.fixture
def empty_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("TWOSLIDE_CACHE", str(tmp_path))
    monkeypatch.setattr(tables, "_loaded", {})
    return tmp_path


def _forget(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tables, "_loaded", {})


def test_a_second_start_reads_the_cache_and_gets_the_same_bits(
    empty_cache: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = load_refrigerant("R717")
    _forget(monkeypatch)

    def refuse(_name: str) -> Any:
        raise AssertionError("fitted again although cached")

    monkeypatch.setattr("plant_model.property_fit.fit_refrigerant", refuse)
    assert load_refrigerant("ammonia") == first
    assert [p.suffix for p in (empty_cache / "properties").iterdir()] == [".json"]  # no half-written file is left


@pytest.mark.parametrize("damage", ["", "{", "[]", '{"sha256": "0", "refrigerant": {}}', "digit"])
def test_a_damaged_cache_is_fitted_again(empty_cache: Path, monkeypatch: pytest.MonkeyPatch, damage: str) -> None:
    good = load_refrigerant("R717")
    path = cache_file("R717")
    text = path.read_text(encoding="utf-8")
    if damage == "digit":
        stored = json.loads(text)
        stored["refrigerant"]["pressure_low_pa"] += 1.0
        damage = json.dumps(stored)
    path.write_text(damage, encoding="utf-8")
    _forget(monkeypatch)
    assert load_refrigerant("R717") == good
    assert path.read_text(encoding="utf-8") == text


def test_a_cache_that_cannot_be_written_costs_only_time(empty_cache: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (empty_cache / "properties").write_text("a file where the folder should be", encoding="utf-8")
    assert load_refrigerant("R717").temperature_high_k == 345.0


def test_another_coolprop_another_fluid_or_other_code_has_another_key(monkeypatch: pytest.MonkeyPatch) -> None:
    here = cache_file("R717")
    assert cache_file("R134a") != here
    assert cache_file("NH3") == here
    monkeypatch.setattr("importlib.metadata.version", lambda _n: "0.0")
    assert cache_file("R717") != here
    monkeypatch.undo()
    monkeypatch.setattr(Path, "read_bytes", lambda _p: b"edited")
    assert cache_file("R717") != here


def test_names() -> None:
    assert canonical_name(" Ammonia ") == "R717"
    assert canonical_name("R134a") == "R134a"


def test_carbon_dioxide_at_31_c_has_no_saturated_state() -> None:
    """T_c is 30.98 °C (published checks, section 1): 31 °C must raise, and so must anything above the fit's own end."""
    r = load_refrigerant("R744")
    with pytest.raises(EnvelopeError, match=r"condensing: saturation at 31\.00 °C is outside the envelope of R744"):
        require_saturation_temperature("R744", r, 304.15, "condensing")
    require_saturation_temperature("R744", r, 273.15, "condensing")


@pytest.mark.parametrize("p_pa", [5.0e3, 4.0e6, float("nan"), -1.0])
def test_pressures_outside_are_named_with_value_and_limits(p_pa: float) -> None:
    r = load_refrigerant("R717")
    with pytest.raises(
        EnvelopeError, match=r"suction: .* kPa absolute is outside the envelope of R717, 8\.9.* to 3455"
    ):
        require_pressure("R717", r, p_pa, "suction")
    require_pressure("R717", r, 290e3, "suction")
