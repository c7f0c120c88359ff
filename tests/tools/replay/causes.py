"""The causes of the blind table, each an invented fault in size and time, drawn by chance."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from tests.tools.replay.truth import Cause, event


def _fault(name: str, low: float, high: float, grows_min: tuple[float, float] | None) -> Any:
    def lines(chance: Any, onset_min: float) -> str:
        size = chance.uniform(low, high)
        more = {} if grows_min is None else {"over": f"{chance.uniform(*grows_min):.2f} min"}
        return event("plant_fault", fault=name, at=f"{onset_min:.2f} min", size=f"{100 * size:.2f} %", **more)

    return lines


def _switch(name: str) -> Any:
    return lambda _chance, onset_min: event("plant_fault", fault=name, at=f"{onset_min:.2f} min")


def _instrument(name: str, fault: str, low: float, high: float) -> Any:
    def lines(chance: Any, onset_min: float) -> str:
        size = {} if fault in ("open_circuit", "stuck") else {"size": f"{100 * chance.uniform(low, high):.2f} %"}
        return event("instrument_fault", instrument=name, fault=fault, at=f"{onset_min:.2f} min", **size)

    return lines


def _fans(chance: Any, onset_min: float) -> str:
    return event("condenser_fans", at=f"{onset_min:.2f} min", running=f"{100 * chance.uniform(0.0, 0.3):.1f} %")


def _surge(chance: Any, onset_min: float) -> str:
    return event(
        "liquid_surge", at=f"{onset_min:.2f} min", flow=f"{chance.uniform(2.0, 4.0):.2f} kg/s", lasting="8 min"
    )


def _oil_loss(chance: Any, onset_min: float) -> str:
    return event("oil_loss", at=f"{onset_min:.2f} min", flow=f"{chance.uniform(0.06, 0.15):.3f} kg/s")


def _other(chance: Any, onset_min: float) -> str:
    return event("other_compressor", at=f"{onset_min:.2f} min", flow=f"{chance.uniform(0.22, 0.34):.3f} m³/s")


def _chain(_chance: Any, onset_min: float) -> str:
    return event("safety_chain", at=f"{onset_min:.2f} min", lasting="2 min")


def _stop_button(_chance: Any, onset_min: float) -> str:
    return event("operator", at=f"{onset_min:.2f} min", action="stop_button")


def _by_hand(_chance: Any, onset_min: float) -> str:
    return event("operator", at=f"{onset_min:.2f} min", action="capacity_manual_on", demand="100 %")


def _nothing(_chance: Any, _onset_min: float) -> str:
    return ""


def _tight_discharge(settings: Any, start: Any, chance: Any) -> Any:
    common = settings.common
    limit = start.discharge.volume.pressure_pa / 1000.0 + chance.uniform(70.0, 110.0)
    tight = replace(
        common.protection,
        high_discharge_pressure_trip_kpa_abs=limit,
        high_discharge_pressure_alarm_kpa_abs=limit - 10.0,
    )
    return replace(settings, common=replace(common, protection=tight))


def _tight_suction(settings: Any, _start: Any, chance: Any) -> Any:
    common = settings.common
    limit = common.capacity.suction_set_point_kpa_abs - chance.uniform(4.0, 7.0)
    tight = replace(
        common.protection,
        low_suction_pressure_trip_kpa_abs=limit,
        low_suction_pressure_alarm_kpa_abs=limit + 3.0,
        low_suction_pressure_delay_ms=2000,
    )
    return replace(settings, common=replace(common, protection=tight))


def _more_load(chance: Any, onset_min: float) -> str:
    return event("load_step", at=f"{onset_min:.2f} min", change=f"{chance.uniform(150.0, 220.0):.0f} kW")


def _less_load(chance: Any, onset_min: float) -> str:
    return event("load_step", at=f"{onset_min:.2f} min", change=f"{-chance.uniform(120.0, 180.0):.0f} kW")


HAND_LOAD_KW = (230.0, 300.0)
CAUSES = (
    Cause("condenser fans", "heat rejection", _fans),
    Cause("condenser fouling", "heat rejection", _fault("condenser_fouling", 0.90, 0.96, (5.0, 25.0))),
    Cause("strainer", "suction strainer", _fault("strainer_fouling", 0.93, 0.97, (5.0, 25.0))),
    Cause("oil filter", "filter differential", _fault("oil_filter_fouling", 0.86, 0.95, (5.0, 25.0))),
    Cause("oil pump", "oil pump", _fault("oil_pump_weak", 0.65, 1.0, (1.0, 15.0))),
    Cause("oil cooler", "oil cooling", _fault("oil_cooler_fouling", 0.75, 0.95, (5.0, 15.0))),
    Cause("oil loss", "oil loss", _oil_loss),
    Cause("capacity stuck", "capacity slide", _switch("capacity_slide_stuck")),
    Cause("capacity linkage", "capacity linkage", _fault("capacity_linkage_slip", 0.7, 1.0, None)),
    Cause("suction drift", "suction transmitter", _instrument("suction_pressure", "drift", -0.30, -0.15)),
    Cause("suction open", "suction transmitter", _instrument("suction_pressure", "open_circuit", 0.0, 0.0)),
    Cause("discharge drift", "discharge transmitter", _instrument("discharge_pressure", "drift", 0.25, 0.6)),
    Cause("temperature drift", "discharge thermometer", _instrument("discharge_temperature", "drift", 0.25, 0.6)),
    Cause("oil pressure drift", "filter differential", _instrument("oil_pressure", "drift", -0.12, -0.06)),
    Cause("surge", "liquid", _surge, plant="harrow_ness_old_vessel"),
    Cause("other compressor", "load side", _other),
    Cause("safety chain", "hard-wired chain", _chain),
    Cause("stop button", "operator", _stop_button),
    Cause("by hand", "operator", _by_hand, load_kw=HAND_LOAD_KW),
    Cause("tight discharge", "settings", _more_load, _tight_discharge, load_kw=(330.0, 400.0)),
    Cause("tight suction", "settings", _less_load, _tight_suction),
)
