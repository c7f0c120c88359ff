"""What columns say of each other: which reference a pressure has, and what cannot be true together.

Wet suction gas is no colder than its saturation temperature, discharge is above suction while the machine runs, oil is
cooler than the gas that it cooled.  A contradiction takes the unit of all that are in it into question.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from scenarios.logged_data.header_units import dimension_of, spelled
from scenarios.logged_data.matching import (
    STANDS,
    Proposal,
    fits_values,
    line_to,
    readings_of,
    running_level,
    sample,
)
from scenarios.logged_data.numbers import Mask
from scenarios.logged_data.records import Floats, RawFile
from scenarios.logged_data.signals import signals

Saturation = Callable[[float], float]  # pressure in kPa absolute → temperature in °C, NaN outside

SUBCOOLED_K = (
    -2.0
)  # suction gas colder than saturation by more than the errors of two instruments; common practice, no source
# of suction gas in service: more may be true, and may be a wrong reference or unit; common practice, no source
HOTTEST_SUPERHEAT_K = 15.0
OTHER_SUPERHEAT_K = (
    10.0  # more than this is asked about where the other reference would give less; common practice, no source
)
ROOM_OVER_EVAPORATION_K = (-2.0, 25.0)  # what is cooled, above saturated suction; common practice, no source
_TEMPERATURES = ("°C", "°F", "K")
_REFERENCES = ("(g)", "(a)", "psig", "psia")
UNCONFIRMED = "gauge or absolute as the header says: nothing in the log confirms it"
HIGHEST_KW_PER_A = 2.0  # three phases at 1.3 kV: more is a medium-voltage motor or a wrong scale


def saturation_of(refrigerant: str) -> Saturation:
    """Saturation temperature by pressure.  ValueError for a refrigerant that is not known."""
    from plant_model.properties import in_envelope, load_refrigerant, saturation_temperature_k

    tables = load_refrigerant(refrigerant)

    def temperature_c(pressure_kpa_abs: float) -> float:
        pressure_pa = pressure_kpa_abs * 1000.0
        return (
            saturation_temperature_k(tables, pressure_pa) - 273.15 if in_envelope(tables, pressure_pa) else float("nan")
        )

    return temperature_c


def _found(proposals: list[Proposal], name: str) -> Proposal | None:
    return next(
        (p for p in proposals if p.found == name and p.signal in (name, "?") and p.column.values is not None), None
    )


def _median(one: Proposal, unit: str, running: Mask | None, barometric_pa: float) -> float:
    """The median while running, in the signal's unit; NaN if the unit does not fit."""
    line = (
        line_to(signals()[one.found], unit, barometric_pa)
        if unit not in ("", "?") and not unit.endswith(" sat")
        else None
    )
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
        others = _TEMPERATURES if one.unit in _TEMPERATURES else ()
        one.units = list(dict.fromkeys([one.unit, *one.units, *others]))
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
    sound = [u for u, k in verdict.items() if SUBCOOLED_K <= k <= HOTTEST_SUPERHEAT_K + 10.0]
    told = ", ".join(f"{u}: superheat {k:.0f} K" for u, k in verdict.items() if np.isfinite(k))
    if len(sound) != 1:
        suction.reasons.append(f"suction gas does not decide ({told})")
        if not sound and np.isfinite(gas_c):
            _doubt(temperature, f"neither reference of the suction pressure goes with it ({told})")
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


def running_rows(proposals: list[Proposal]) -> Mask | None:
    """Rows of a wide log in which the machine runs, None if no column tells."""
    contact = next((p for p in proposals if p.found == "motor_running" and p.column.values is not None), None)
    if contact is not None and contact.column.rows is None and contact.column.values is not None:
        found = contact.column.values > 0.5
        return found if found.any() else None
    current = next((p for p in proposals if p.found == "motor_current_a" and p.column.values is not None), None)
    if current is not None and current.column.rows is None and current.column.values is not None:
        data: Floats = np.nan_to_num(current.column.values)
        level = running_level(data)
        return data > level if level > 0.0 else None
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
        most_k = _most_superheat_k(ps, ts_c, saturation, running, barometric_pa)
        if np.isfinite(superheat_k) and not SUBCOOLED_K - 1.0 <= superheat_k <= most_k:
            text = f"suction gas at {ts_c:.0f} °C and {ps_kpa:.0f} kPa abs would have {superheat_k:.0f} K of superheat"
            for one in {id(p): p for p in (ps, ts, *_of_one_reference(proposals))}.values():
                _doubt(one, text)
    if td and to and to_c > td_c + 5.0:
        for one in (td, to):
            _doubt(one, f"oil at {to_c:.0f} °C would be hotter than the discharge at {td_c:.0f} °C")
    if pd and td and np.isfinite(pd_kpa) and np.isfinite(td_c):
        above_k = td_c - saturation(pd_kpa)
        if np.isfinite(above_k) and above_k < -8.0:
            for one in (pd, td):
                _doubt(
                    one,
                    f"discharge at {td_c:.0f} °C and {pd_kpa:.0f} kPa abs would be {-above_k:.0f} K below saturation",
                )
    if po and ps and np.isfinite(po_kpa) and po_kpa < ps_kpa:
        _doubt(po, f"oil at {po_kpa:.0f} kPa would be below suction at {ps_kpa:.0f} kPa in service")
    if not (ps and ts and np.isfinite(ps_kpa) and np.isfinite(ts_c)):
        for one in _of_one_reference(proposals):
            one.reasons.append(UNCONFIRMED)
    _check_machine(value)
    room, room_c = value("process_temperature_c")
    if room and ps and np.isfinite(room_c):
        open_ones = [] if np.isfinite(ps_kpa) else ps.units  # where the reference is open: with none of them
        read_as = [ps_kpa, *(_median(ps, unit, running, barometric_pa) for unit in open_ones)]
        over = [room_c - saturation(kpa) for kpa in read_as]
        over = [k for k in over if np.isfinite(k)]
        if over and not any(ROOM_OVER_EVAPORATION_K[0] <= k <= ROOM_OVER_EVAPORATION_K[1] for k in over):
            _doubt(room, f"what is cooled, at {room_c:.0f} °C, would be {over[0]:.0f} K above the saturated suction")
    _check_one_reference(proposals)
    check_swaps(proposals, barometric_pa)


def contradictions(medians: Mapping[str, float], saturation: Saturation) -> list[str]:
    """What the units that somebody answered cannot have together, in words; medians: in service, by signal, in its unit."""

    def of(name: str) -> float:
        return medians.get(name, float("nan"))

    ps, pd, po = (of(f"{n}_pressure_kpa_abs") for n in ("suction", "discharge", "oil"))
    ts, td, to = (of(f"{n}_temperature_c") for n in ("suction", "discharge", "oil"))
    superheat_k, above_k = ts - saturation(ps), td - saturation(pd)
    out = []
    if pd < ps:
        out.append(f"discharge {pd:.0f} kPa is below suction {ps:.0f} kPa in service")
    if superheat_k < SUBCOOLED_K - 1.0 or superheat_k > HOTTEST_SUPERHEAT_K + 10.0:
        out.append(f"suction gas at {ts:.0f} °C and {ps:.0f} kPa abs has {superheat_k:.0f} K of superheat")
    if above_k < -8.0:
        out.append(f"discharge at {td:.0f} °C and {pd:.0f} kPa abs is {-above_k:.0f} K below saturation")
    if to > td + 5.0:
        out.append(f"oil at {to:.0f} °C is hotter than the discharge at {td:.0f} °C")
    if po < ps:
        out.append(f"oil at {po:.0f} kPa is below suction at {ps:.0f} kPa in service")
    return out  # comparisons with what is not known are false


def check_swaps(proposals: list[Proposal], barometric_pa: float) -> None:
    """Two columns under each other's header: one cannot be what its header says, and each would be usual as the other."""
    numbers = [p for p in proposals if p.found and p.column.values is not None and signals()[p.found].kind == "analog"]
    for one in numbers:
        if _usual_as(one, one, barometric_pa):
            continue
        for other in numbers:
            if other is one or other.found == one.found:
                continue
            if _usual_as(one, other, barometric_pa) and _usual_as(other, one, barometric_pa):
                for a, b in ((one, other), (other, one)):
                    _doubt(a, f'"{a.column.name[:40]}" and "{b.column.name[:40]}" may stand under each other\'s header')


def _usual_as(values_of: Proposal, header_of: Proposal, barometric_pa: float) -> bool:
    """Whether the values of one column would be usual under the header of another (or its own)."""
    signal = signals()[header_of.found]
    some = sample(values_of.column)
    return any(
        fits_values(signal, unit, some, np.empty(0), barometric_pa) == (True, True)
        for unit in readings_of(signal, spelled(header_of.column.unit))
    )


def _most_superheat_k(
    suction: Proposal, gas_c: float, saturation: Saturation, running: Mask | None, barometric_pa: float
) -> float:
    """The superheat from which on the unit is asked about: less where the other reference would give a usual one."""
    other = suction.unit.replace("(a)", "(g)").replace("psia", "psig")
    if other == suction.unit:
        return HOTTEST_SUPERHEAT_K
    as_gauge_k = gas_c - saturation(_median(suction, other, running, barometric_pa))
    return OTHER_SUPERHEAT_K if np.isfinite(as_gauge_k) and as_gauge_k >= -1.0 else HOTTEST_SUPERHEAT_K


def _of_one_reference(proposals: list[Proposal]) -> list[Proposal]:
    """All absolute pressures whose header says gauge or absolute: one logger writes one of them, right or wrong."""
    return [p for p in proposals if p.found and signals()[p.found].of == "absolute" and p.unit.endswith(_REFERENCES)]


def _check_machine(value: Callable[[str], tuple[Proposal | None, float]]) -> None:
    """Current against power, set point against pressure, oil before against after the filter, oil against discharge."""
    current, amps = value("motor_current_a")
    power, kilowatts = value("motor_power_kw")
    if current and power and amps > 5.0 and kilowatts / amps > HIGHEST_KW_PER_A:
        for one in (current, power):
            _doubt(one, f"{kilowatts:.0f} kW at {amps:.0f} A is a medium-voltage motor, or a wrong scale")
    if current and power and kilowatts > 1.0 and kilowatts / max(amps, 1e-9) < 0.12:
        for one in (current, power):
            _doubt(one, f"{kilowatts:.0f} kW at {amps:.0f} A is far too little power for a motor of 230 V and more")
    suction, ps_kpa = value("suction_pressure_kpa_abs")
    wanted, set_kpa = value("suction_set_point_kpa_abs")
    if suction and wanted and abs(set_kpa - ps_kpa) > 0.3 * ps_kpa:
        for one in (suction, wanted):
            _doubt(one, f"set point {set_kpa:.0f} kPa and suction {ps_kpa:.0f} kPa do not belong together")
    before, before_kpa = value("oil_pressure_before_filter_kpa_abs")
    after, after_kpa = value("oil_pressure_kpa_abs")
    if before and after and (after_kpa > before_kpa + 30.0 or before_kpa > after_kpa + 300.0):
        for one in (before, after):
            _doubt(
                one, f"oil {before_kpa:.0f} kPa before and {after_kpa:.0f} kPa after the filter do not belong together"
            )
    discharge, pd_kpa = value("discharge_pressure_kpa_abs")
    if after and discharge and abs(after_kpa - pd_kpa) > 800.0:  # false where one of them is asked about
        for one in (after, discharge):
            _doubt(one, f"oil at {after_kpa:.0f} kPa and discharge at {pd_kpa:.0f} kPa do not belong together")


def _check_one_reference(proposals: list[Proposal]) -> None:
    """One logger writes gauge or absolute: a file with both is asked about."""
    said = _of_one_reference(proposals)
    gauge = [p for p in said if p.unit.endswith(("(g)", "psig"))]
    if not gauge or len(gauge) == len(said):
        return
    for one in said:
        _doubt(one, "gauge and absolute pressures in one file")
