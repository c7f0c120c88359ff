"""The logged measurements through the controller's own scan, and where its answer parts from what was logged.

The same scan function as in the cabinet and in every run, 100 ms apart, each input held from one sample to the next, with
the settings that were valid at the time.  Slides and pressures are the logged ones, so nothing runs away; the logic's own
state is not corrected, so after the first difference the rest is conditional.
"""

from __future__ import annotations

import ctypes
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, fields, replace
from typing import Any

import numpy as np

from controller.frame import attach_running
from controller.process_image import Health, Inhibit, Inputs, Outputs, Selection, Trip
from controller.registry import SHIPPED
from controller.set_point import ControlVariable
from scenarios.entries import SCAN_TYPE, CompiledEntry
from scenarios.errors import InputRefused, Problem
from scenarios.logged_data.records import Floats, LoggedData, Quality, Times
from scenarios.logged_data.signals import INPUT_NAMES, signals
from scenarios.record_fields import suffix_of
from scenarios.records import dtype_of, to_array, write_into
from tools.replay.timeline import SettingsPeriod, crossings, running_states
from tools.replay.watched import common_of

SCAN_MS = 100
SLOW_WARM_UP_MS = 10_000  # demands and set point are taken over at the start
# filters and timers of a controller that was attached to a running machine; common practice, no source
WARM_UP_MS = 60_000
LOST_AFTER_MS = 60_000  # an input held longer than this is no measurement any more, and counts as lost
DEMAND_TOLERANCE_PCT = 4.0  # a 2 s hold under a PI with a neutral zone of 2.5 %; own judgement
DEMAND_LASTING_MS = 20_000
LONGEST_MS = 4 * 24 * 3_600_000
RESET_MS = 1000

_TIMED = ("motor_run", "oil_pump", "mode", "inhibit", "trip_first_out", "start_refused")
_SLOW = ("capacity_demand_pct", "volume_ratio_demand_pct", "suction_set_point_kpa_abs")
_MATTERS = {  # output → the inputs that it rests on, for saying which are missing
    "motor_run": ("suction_pressure_kpa_abs", "discharge_pressure_kpa_abs", "discharge_temperature_c",
    "oil_pressure_kpa_abs",
                  "oil_temperature_c", "motor_current_a", "safety_chain_closed", "stop_button_pressed", "selection",
                  "remote_run",
                  "oil_level_pct", "valves_open", "vessel_high_high_level", "reset_pressed"),
    "inhibit": ("motor_current_a", "discharge_pressure_kpa_abs", "suction_pressure_kpa_abs", "discharge_temperature_c"),
    "capacity_demand_pct": ("suction_pressure_kpa_abs", "capacity_position_pct", "selection", "remote_demand_pct",
    "second_set_point",
                            "capacity_manual", "capacity_manual_demand_pct", "announced_load_pct", "process_temperature_c"),
    "volume_ratio_demand_pct": ("suction_pressure_kpa_abs", "discharge_pressure_kpa_abs", "capacity_position_pct",
    "volume_ratio_manual",
                                "volume_ratio_manual_demand_pct"),
    "suction_set_point_kpa_abs": ("second_set_point", "selection"),
}  # fmt: skip
_MATTERS["mode"] = _MATTERS["oil_pump"] = _MATTERS["trip_first_out"] = _MATTERS["start_refused"] = _MATTERS["motor_run"]


@dataclass(frozen=True, slots=True)
class Difference:
    """Where one output first parts: the scan, both values, and why it may."""

    output: str
    time_ms: int
    logged: float
    recomputed: float
    why: tuple[str, ...]


@dataclass(slots=True)
class ControllerReplay:
    """What the logic answers to the log.  outputs: each output at every scan; compared: outputs that the log has."""

    controller: str
    time_ms: Times
    outputs: dict[str, Floats]
    compared: tuple[str, ...]
    missing: tuple[str, ...]
    differences: list[Difference]
    notes: list[str] = field(default_factory=list)

    @property
    def first(self) -> Difference | None:
        """The earliest difference of any output."""
        return min(self.differences, key=lambda d: d.time_ms, default=None)


def input_records(data: LoggedData, times: Times) -> tuple[Any, list[str]]:
    """The process image at each time, and the inputs that the log does not have (they keep their defaults)."""
    records = np.zeros(len(times), dtype=dtype_of(Inputs))
    records[:] = to_array(Inputs(selection=Selection.LOCAL))[0]
    missing = []
    names = {f.name for f in fields(Inputs)}
    for name in sorted(INPUT_NAMES - {"supply_interrupted_ms"}):
        if name.endswith("_health"):
            continue
        series = data.series.get(name)
        if series is None or not len(series.good()[0]):
            missing.append(name)
            continue
        held, age = series.held(times)
        known = np.isfinite(held)
        default = float(records[name][0]) if len(records) else 0.0
        first = float(series.good()[1][0])
        values = np.where(known, held, first if np.isfinite(first) else default)
        records[name] = values.astype(records.dtype[name])
        health = f"{name.removesuffix(f'_{suffix_of(name)}')}_health"
        if health in names:
            limit_ms = max(LOST_AFTER_MS, int(5 * series.interval_ms))
            lost = (age > limit_ms) & (not series.change_of_value)
            records[health] = np.where(lost, int(Health.UNDER), int(Health.GOOD))
            bad = _flagged(data, name, times)
            records[health] = np.where(bad, int(Health.UNDER), records[health])
    _fill_in(data, records, times, missing)
    return records, missing


def _flagged(data: LoggedData, name: str, times: Times) -> Any:
    """Where the last sample was beyond NE 43: the cabinet saw a failed loop there."""
    series = data.series[name]
    place = np.searchsorted(series.time_ms, times, side="right") - 1
    flags = np.where(place >= 0, series.quality[np.maximum(place, 0)], 0)
    return (flags & int(Quality.OUT_OF_RANGE)) != 0


def _fill_in(data: LoggedData, records: Any, times: Times, missing: list[str]) -> None:
    """What can be had from elsewhere: oil pressure from its differential, running from the current, resets from events."""
    if (
        "oil_pressure_kpa_abs" in missing
        and "oil_differential_kpa" in data.series
        and "discharge_pressure_kpa_abs" not in missing
    ):
        held, _ = data.series["oil_differential_kpa"].held(times)
        records["oil_pressure_kpa_abs"] = np.nan_to_num(held) + records["discharge_pressure_kpa_abs"]
        missing.remove("oil_pressure_kpa_abs")
    if "oil_pressure_before_filter_kpa_abs" in missing and "oil_pressure_kpa_abs" not in missing:
        records["oil_pressure_before_filter_kpa_abs"] = records["oil_pressure_kpa_abs"] + 30.0
    for half in ("capacity_position", "volume_ratio_position"):
        if f"{half}_opposite_pct" in missing and f"{half}_pct" not in missing:
            records[f"{half}_opposite_pct"] = records[f"{half}_pct"]
    if "motor_running" in missing:
        found = running_states(data)
        if found is not None:
            place = np.searchsorted(found[0], times, side="right") - 1
            records["motor_running"] = (place >= 0) & (found[1][np.maximum(place, 0)] > 0.5)
            missing.remove("motor_running")
    resets = [e for e in data.events if e.kind == "operator" and e.name == "reset"]
    for event in resets:
        records["reset_pressed"] |= (times >= event.time_ms) & (times < event.time_ms + RESET_MS)
    if resets and "reset_pressed" in missing:
        missing.remove("reset_pressed")


def replay_controller(
    data: LoggedData, controller: str, history: Sequence[SettingsPeriod], start_ms: int | None = None,
        end_ms: int | None = None,
    progress: Callable[[float], None] | None = None,
) -> ControllerReplay:  # fmt: skip
    """Run the logged measurements through a shipped controller.

    start_ms, end_ms: the part to replay, the whole log if None.  InputRefused for a log without the two pressures, or a
    part that is longer than four days.
    """
    begin = data.start_ms if start_ms is None else max(start_ms, data.start_ms)
    end = data.end_ms if end_ms is None else min(end_ms, data.end_ms)
    for name in ("suction_pressure_kpa_abs", "discharge_pressure_kpa_abs"):
        if name not in data.series:
            raise InputRefused(
                Problem(f"the log has no {name}: the logic cannot be replayed", way_out="map a column to it")
            )
    if not 0 < end - begin <= LONGEST_MS:
        limit = f"at most {LONGEST_MS // 86_400_000} days at once"
        raise InputRefused(
            Problem(f"{(end - begin) / 3.6e6:.1f} h are to be replayed", limit=limit, way_out="name a part of the log")
        )
    times = np.arange(begin, end + 1, SCAN_MS, dtype=np.int64)
    records, missing = input_records(data, times)
    outputs, notes = _scan_all(data, controller, history, times, records, progress)
    made = ControllerReplay(controller, times, outputs, (), tuple(missing), [], notes)
    names = [n for n in (*_TIMED, *_SLOW) if n in data.series and _comparable(data, n)]
    made.compared = tuple(names)
    for name in names:
        found = first_difference(data, made, name)
        if found is not None:
            time_ms, logged, recomputed = found
            why = tuple(reasons(data, made, name, time_ms, history))
            made.differences.append(Difference(name, time_ms, logged, recomputed, why))
    made.differences.sort(key=lambda d: d.time_ms)
    for k, one in enumerate(made.differences[1:], 1):
        earlier = made.differences[0]
        told = (
            f"it may follow from the earlier difference of {earlier.output.replace('_', ' ')}: the rest is "
            f"conditional on that"
        )
        made.differences[k] = replace(one, why=(told, *one.why))
    return made


def _comparable(data: LoggedData, name: str) -> bool:
    """Whether a logged state speaks in this logic's own states."""
    return max(data.states.get(name, {0: ""}), default=0) < 1000


def _scan_all(
    data: LoggedData, controller: str, history: Sequence[SettingsPeriod], times: Times, records: Any,
    progress: Callable[[float], None] | None,
) -> tuple[dict[str, Floats], list[str]]:  # fmt: skip
    shipped = SHIPPED[controller]
    entry = CompiledEntry(shipped, history[0].settings)
    settings, state = entry.settings, entry.state
    assert settings is not None
    assert state is not None
    inputs, outputs = to_array(Inputs()), to_array(Outputs())
    notes = []
    inputs[0] = records[0]
    if bool(records["motor_running"][0]):
        own: Any = shipped.state_type()
        first_in, first_out = Inputs(), Outputs()
        for f in fields(Inputs):
            setattr(first_in, f.name, records[f.name][0].item())
        attach_running(own.common, first_in, first_out)
        _take_over(data, own, first_out, int(times[0]))
        write_into(own, state)
        write_into(first_out, outputs)
        notes.append("the machine runs at the start of the log: the logic begins in AUTOMATIC, with its timers run out")
    else:
        notes.append(
            "the machine stands at the start of the log: the logic begins at rest, and waits from before are not known"
        )
    if "selection" not in data.series:
        notes.append("off/local/remote is not in the log: local is assumed")
    scan = SCAN_TYPE(entry.address)
    at = [array.ctypes.data for array in (settings, state, inputs, outputs)]
    size_in, size_out = records.dtype.itemsize, outputs.dtype.itemsize
    kept = np.zeros(len(times), dtype=outputs.dtype)
    source, target, kept_at = records.ctypes.data, inputs.ctypes.data, kept.ctypes.data
    move = ctypes.memmove
    changes = [p.from_ms for p in history[1:]]
    valid = 0
    for k, now_ms in enumerate(times.tolist()):
        while valid < len(changes) and now_ms >= changes[valid]:
            valid += 1
            write_into(history[valid].settings, settings)
        move(target, source + k * size_in, size_in)
        status = scan(at[0], at[1], at[2], at[3], now_ms & 0xFFFFFFFF)
        if status != 0:
            notes.append(f"the scan returned status {status} and the replay ended there")
            kept = kept[:k]
            break
        move(kept_at + k * size_out, at[3], size_out)
        if progress and k % 50_000 == 0:
            progress(k / len(times))
    return {name: kept[name].astype(np.float64) for name in kept.dtype.names or ()}, notes


def _take_over(data: LoggedData, state: Any, outputs: Outputs, time_ms: int) -> None:
    """Begin with the demands that the log shows, not with the measured positions."""
    for name, part in (
        ("capacity_demand_pct", state.common.capacity),
        ("volume_ratio_demand_pct", state.common.volume_ratio),
    ):
        if name in data.series:
            held, _ = data.series[name].held(np.array([time_ms], dtype=np.int64))
            if np.isfinite(held[0]):
                part.demand_pct = float(held[0])
                setattr(outputs, name, float(held[0]))
    state.common.capacity.free_pct = state.common.capacity.demand_pct


def first_difference(data: LoggedData, made: ControllerReplay, name: str) -> tuple[int, float, float] | None:
    """(time, logged, recomputed) at which an output first parts by more than sampling can explain; None if it does not.

    A state or contact must be met by the recomputed one within two samples and a second; a demand must stay within its
    tolerance but for a short while.
    """
    series = data.series[name]
    times, values = series.good()
    warm_up_ms = SLOW_WARM_UP_MS if name in _SLOW else WARM_UP_MS
    inside = (times >= made.time_ms[0] + warm_up_ms) & (times <= made.time_ms[len(made.outputs[name]) - 1])
    times, values = times[inside], values[inside]
    if not len(times):
        return None
    place = np.searchsorted(made.time_ms, times, side="right") - 1
    answer = made.outputs[name]
    if name in _SLOW:
        tolerance = DEMAND_TOLERANCE_PCT if name.endswith("_pct") else 2.0
        off = np.abs(answer[place] - values) > tolerance
        return _lasting(times, off, values, answer[place], DEMAND_LASTING_MS)
    slack = int((2.0 * max(series.interval_ms, 1000.0) + 1000.0 + series.uncertainty_ms) // SCAN_MS)
    low, high = np.maximum(place - slack, 0), np.minimum(place + slack, len(answer) - 1)
    off = answer[place] != values
    for k in np.flatnonzero(off).tolist():
        if np.any(answer[low[k] : high[k] + 1] == values[k]):
            off[k] = False
    return _lasting(times, off, values, answer[place], 0)


def _lasting(
    times: Times, off: Any, logged: Floats, answer: Floats, lasting_ms: int
) -> tuple[int, float, float] | None:
    starts = np.flatnonzero(np.diff(np.concatenate([[False], off]).astype(np.int8)) == 1)
    ends = np.flatnonzero(np.diff(np.concatenate([off, [False]]).astype(np.int8)) == -1)
    for a, b in zip(starts.tolist(), ends.tolist(), strict=True):
        if times[b] - times[a] >= lasting_ms:
            return int(times[a]), float(logged[a]), float(answer[a])
    return None


def reasons(
    data: LoggedData, made: ControllerReplay, name: str, time_ms: int, history: Sequence[SettingsPeriod]
) -> list[str]:
    """Why an output may differ, the likeliest first: by hand, settings, missing inputs, bad samples, sampling."""
    out = []
    near = [e for e in data.events if abs(e.time_ms - time_ms) < 10 * 60_000]
    by_hand = [e for e in near if e.kind in ("manual", "operator") and e.name != "reset"]
    for part in ("capacity_manual", "volume_ratio_manual"):
        if part in data.series and name.startswith(part.removesuffix("_manual")):
            held, _ = data.series[part].held(np.array([time_ms], dtype=np.int64))
            if held[0] == 1.0:
                out.append(f"{part.replace('_', ' ')} is on in the log")
    out += [f"by hand: {e.text}" for e in by_hand[:2]]
    changed = [e for e in data.events if e.kind == "setting" and e.time_ms <= time_ms + 60_000]
    known_changes = [p.from_ms for p in history[1:]]
    for event in changed:
        if not any(abs(event.time_ms - known) < 15 * 60_000 for known in known_changes):
            out.append(f'another setting: the log says "{event.text}", and no sheet is given from then on')
    matters = [i for i in _MATTERS.get(name, ()) if i != "process_temperature_c" or _by_temperature(history)]
    out += _state_there(made, name, time_ms)
    out += _touched(data, history, name, time_ms)
    wanted = [i for i in matters if i in made.missing and not _harmless(i)]
    if wanted:
        out.append(f"inputs that are not in the log and stand at their defaults: {', '.join(wanted[:6])}")
    for signal in matters:
        series = data.series.get(signal)
        if series is None or signal in made.missing:
            continue
        window = (series.time_ms > time_ms - 60_000) & (series.time_ms <= time_ms)
        bad = int(np.count_nonzero(series.quality[window] & ~np.uint8(Quality.CLOCK)))
        if bad:
            out.append(f"{bad} bad samples of {signal} in the minute before")
        _, age = series.held(np.array([time_ms], dtype=np.int64))
        if not series.change_of_value and age[0] > 5.0 * max(series.interval_ms, 1.0):
            out.append(f"a gap: {signal} is {age[0] / 1000.0:.0f} s old there")
    if name not in _SLOW and not out:
        out.append("a limit was met between two samples, or the setting that was valid is another than the sheet's")
    elif name in _SLOW:
        out.append("a sampled input: the logic saw every 100 ms what the log shows less often, which a PI adds up")
    return out


def _by_temperature(history: Sequence[SettingsPeriod]) -> bool:
    """Whether a process temperature is regulated."""
    return any(
        common_of(p.settings).capacity.target.control_variable == ControlVariable.PROCESS_TEMPERATURE for p in history
    )


def _state_there(made: ControllerReplay, name: str, time_ms: int) -> list[str]:
    """What the recomputed logic says of itself at the difference."""
    place = min(int(np.searchsorted(made.time_ms, time_ms, side="right")) - 1, len(made.outputs["mode"]) - 1)
    trip, inhibit = Trip(int(made.outputs["trip_first_out"][place])), Inhibit(int(made.outputs["inhibit"][place]))
    out = []
    if trip is not Trip.NONE and name != "trip_first_out":
        out.append(f"the recomputed logic has tripped on {trip.name.replace('_', ' ').lower()} there")
        if trip in (Trip.SLIDE_LOST, Trip.UNLOAD_TIMEOUT):
            out.append("which is no finding: the logged slide does not follow drives that were never given")
    elif inhibit is not Inhibit.NONE and name != "inhibit":
        out.append(f"the recomputed logic is under {inhibit.name.replace('_', ' ').lower()} there")
    return out


def _touched(data: LoggedData, history: Sequence[SettingsPeriod], name: str, time_ms: int) -> list[str]:
    """A limit that a single held sample meets: whether it lasted its delay is not in the log."""
    if name in _SLOW:
        return []
    out = []
    for crossing in crossings(data, history):
        one, at_ms = crossing.watched, crossing.event.time_ms
        interval_ms = data.series[one.needs[0]].interval_ms
        if abs(at_ms - time_ms) > 3 * interval_ms + 15_000 or one.kind == "alarm":
            continue
        if crossing.lasted_ms <= 2 * interval_ms:
            out.append(
                f"{one.quantity} met its {one.kind} limit of {one.limit:.5g} {one.unit} for one sample "
                f"({crossing.value:.5g}); held for "
                f"{interval_ms / 1000.0:g} s that is longer than its delay of {one.delay_ms / 1000.0:g} s, which "
                f"the logic's own reading may not have been"
            )
    return out[:2]


def _harmless(name: str) -> bool:
    """Inputs whose default is what a cabinet without them would see."""
    return name in ("safety_chain_closed", "valves_open", "stop_button_pressed", "vessel_high_high_level",
        "announced_load_pct",
                    "second_set_point", "remote_demand_pct", "capacity_manual_demand_pct", "volume_ratio_manual_demand_pct",
                    "capacity_manual", "volume_ratio_manual", "selection", "remote_run",
                    "reset_pressed") or signals()[name].kind == "set"  # fmt: skip
