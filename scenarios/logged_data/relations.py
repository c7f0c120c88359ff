"""What columns say of each other: which reference a pressure has, and what cannot be true together.

Wet suction gas is no colder than its saturation temperature, discharge is above suction while the machine runs, oil is
cooler than the gas that it cooled.  A contradiction takes the unit of all that are in it into question.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from scenarios.logged_data.header_units import dimension_of
from scenarios.logged_data.matching import STANDS, Proposal, line_to, sample
from scenarios.logged_data.records import Floats, RawFile
from scenarios.logged_data.signals import signals
from scenarios.logged_data.words import concepts_in

Saturation = Callable[[float], float]  # pressure in kPa absolute → temperature in °C, NaN outside

SUBCOOLED_K = -4.0  # suction gas colder than saturation by more than the errors of two instruments; common practice, no source
HOTTEST_SUPERHEAT_K = 28.0  # of suction gas in service: more is a wrong reference or unit; common practice, no source


def saturation_of(refrigerant: str) -> Saturation:
    """Saturation temperature by pressure.  ValueError for a refrigerant that is not known."""
    from plant_model.properties import in_envelope, load_refrigerant, saturation_temperature_k

    tables = load_refrigerant(refrigerant)

    def temperature_c(pressure_kpa_abs: float) -> float:
        pressure_pa = pressure_kpa_abs * 1000.0
        return saturation_temperature_k(tables, pressure_pa) - 273.15 if in_envelope(tables, pressure_pa) else float("nan")

    return temperature_c


def _found(proposals: list[Proposal], name: str) -> Proposal | None:
    return next((p for p in proposals if p.found == name and p.signal in (name, "?") and p.column.values is not None), None)


def _median(one: Proposal, unit: str, running: np.ndarray[tuple[int], np.dtype[np.bool_]] | None, barometric_pa: float) -> float:
    """The median while running, in the signal's unit; NaN if the unit does not fit."""
    line = line_to(signals()[one.found], unit, barometric_pa) if unit not in ("", "?") and not unit.endswith(" sat") else None
    values = one.column.values
    if line is None or values is None:
        return float("nan")
    some = sample(one.column)
    if running is not None and len(running) == len(values):
        part = values[running]
        part = part[np.isfinite(part)]
        some = part[:: max(1, len(part) // 4000)] if len(part) else some
    return float(np.median(some)) * line[0] + line[1] if len(some) else float("nan")


def _doubt(one: Proposal, reason: str) -> None:
    if one.unit != "?":
        one.units = list(dict.fromkeys([one.unit, *one.units]))
    one.unit, one.confidence = "?", min(one.confidence, 0.4)
    one.reasons.append(reason)


def settle_references(file: RawFile, proposals: list[Proposal], saturation: Saturation, barometric_pa: float) -> None:
    """Gauge or absolute where the header does not say: one logger writes one of them, and the suction gas shows which."""
    open_ones = [p for p in proposals if p.unit == "?" and p.found and len(p.units) == 2 and _two_references(p.units)]
    if not open_ones:
        return
    running = running_rows(proposals)
    suction, temperature = _found(proposals, "suction_pressure_kpa_abs"), _found(proposals, "suction_temperature_c")
    if suction not in open_ones or suction is None or temperature is None or temperature.unit == "?":
        return
    gas_c = _median(temperature, temperature.unit, running, barometric_pa)
    verdict: dict[str, float] = {}
    for unit in suction.units:
        verdict[unit] = gas_c - saturation(_median(suction, unit, running, barometric_pa))
    sound = [u for u, k in verdict.items() if SUBCOOLED_K <= k <= HOTTEST_SUPERHEAT_K]
    told = ", ".join(f"{u}: superheat {k:.0f} K" for u, k in verdict.items() if np.isfinite(k))
    if len(sound) != 1:
        suction.reasons.append(f"suction gas does not decide ({told})")
        return
    gauge = sound[0].endswith(("(g)", "psig"))
    for one in open_ones:
        chosen = next((u for u in one.units if u.endswith(("(g)", "psig")) == gauge), None)
        if chosen is None or dimension_of(one.column.unit or "bar") != dimension_of(suction.column.unit or "bar"):
            continue
        one.unit = chosen
        one.confidence = 0.85 if one is suction else STANDS
        one.reasons.append(f"suction gas would be impossible otherwise ({told})")


def _two_references(units: list[str]) -> bool:
    return {u.endswith(("(g)", "psig")) for u in units} == {True, False}


def running_rows(proposals: list[Proposal]) -> np.ndarray[tuple[int], np.dtype[np.bool_]] | None:
    """Rows of a wide log in which the machine runs, None if no column tells."""
    contact = next((p for p in proposals if p.found == "motor_running" and p.column.values is not None), None)
    if contact is not None and contact.column.rows is None and contact.column.values is not None:
        found = contact.column.values > 0.5
        return found if found.any() else None
    current = next((p for p in proposals if p.found == "motor_current_a" and p.column.values is not None), None)
    if current is not None and current.column.rows is None and current.column.values is not None:
        data: Floats = np.nan_to_num(current.column.values)
        top = float(data.max(initial=0.0))
        return data > 0.2 * top if top > 0.0 else None
    return None


def check_relations(proposals: list[Proposal], saturation: Saturation, barometric_pa: float) -> None:
    """Take units into question that contradict each other."""
    running = running_rows(proposals)

    def value(name: str) -> tuple[Proposal | None, float]:
        one = _found(proposals, name)
        if one is None or one.unit in ("", "?"):
            return one, float("nan")
        return one, _median(one, one.unit, running, barometric_pa)

    ps, ps_kpa = value("suction_pressure_kpa_abs")
    pd, pd_kpa = value("discharge_pressure_kpa_abs")
    ts, ts_c = value("suction_temperature_c")
    td, td_c = value("discharge_temperature_c")
    to, to_c = value("oil_temperature_c")
    po, po_kpa = value("oil_pressure_kpa_abs")
    if ps and pd and pd_kpa < ps_kpa:
        for one in (ps, pd):
            _doubt(one, f"discharge {pd_kpa:.0f} kPa would be below suction {ps_kpa:.0f} kPa in service")
    if ps and ts and np.isfinite(ps_kpa) and np.isfinite(ts_c):
        superheat_k = ts_c - saturation(ps_kpa)
        if np.isfinite(superheat_k) and not SUBCOOLED_K - 2.0 <= superheat_k <= HOTTEST_SUPERHEAT_K + 2.0:
            for one in (ps, ts):
                _doubt(one, f"suction gas at {ts_c:.0f} °C and {ps_kpa:.0f} kPa abs would have {superheat_k:.0f} K of superheat")
    if td and to and to_c > td_c + 5.0:
        for one in (td, to):
            _doubt(one, f"oil at {to_c:.0f} °C would be hotter than the discharge at {td_c:.0f} °C")
    if pd and td and np.isfinite(pd_kpa) and np.isfinite(td_c):
        above_k = td_c - saturation(pd_kpa)
        if np.isfinite(above_k) and above_k < -8.0:
            for one in (pd, td):
                _doubt(one, f"discharge at {td_c:.0f} °C and {pd_kpa:.0f} kPa abs would be {-above_k:.0f} K below saturation")
    if po and ps and np.isfinite(po_kpa) and po_kpa < ps_kpa:
        _doubt(po, f"oil at {po_kpa:.0f} kPa would be below suction at {ps_kpa:.0f} kPa in service")


def names_other_machine(text: str) -> bool:
    """Whether a header speaks of another compressor."""
    return "other" in concepts_in(text)
