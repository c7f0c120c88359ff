"""From raw files and a mapping to series and events on one clock.

    data = read_log([Path("night.csv"), Path("alarms.csv")], Path("mapping.toml"))

What the mapping leaves open is refused; a value that cannot be what its unit says is refused too, and one that is
unusual unless the mapping says `checked = true`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np

from controller.process_image import Trip
from scenarios.errors import InputRefused, Problem, shortened
from scenarios.logged_data.event_words import cause_of, classify, state_of
from scenarios.logged_data.mapping import ColumnMap, FileMap, LogMapping, read_mapping
from scenarios.logged_data.matching import fits_values, line_to, on_off, running_level, sample
from scenarios.logged_data.numbers import Mask
from scenarios.logged_data.quality import is_change_of_value, moved, out_of_range, still_spans
from scenarios.logged_data.records import (
    Floats,
    Issue,
    LoggedData,
    LoggedEvent,
    Quality,
    RawColumn,
    RawFile,
    Series,
    Times,
)
from scenarios.logged_data.relations import Saturation, contradictions, saturation_of
from scenarios.logged_data.signals import Signal, own_signal, signals
from scenarios.logged_data.trends import read_raw

SPARSE_SHARE = 0.5  # of empty cells: a column of a change-of-value log, whose samples are the filled ones
_SATURATION_POINTS = 600


def read_log(
    paths: Sequence[Path], mapping: Path | LogMapping, progress: Callable[[float], None] | None = None
) -> LoggedData:
    """Read logs as a mapping says.

    paths: the files, found in the mapping by their names; empty for all that it names.  InputRefused for a mapping with
    open questions, a file that is not in it, a column that is not in the file, a unit that the values contradict.
    """
    known = read_mapping(mapping) if isinstance(mapping, Path) else mapping
    try:
        saturation = saturation_of(known.refrigerant)
    except ValueError as error:
        way_out = 'write the plant\'s, for example refrigerant = "R717"'
        raise InputRefused(
            Problem(str(error), file=str(known.path), value=known.refrigerant, way_out=way_out)
        ) from error
    chosen = _choose(paths, known)
    data = LoggedData({}, [], {}, tuple(path for path, _ in chosen))
    problems: list[Problem] = []
    for k, (path, one) in enumerate(chosen):
        part = (lambda share, k=k: progress((k + share) / len(chosen))) if progress else None
        raw = read_raw(path, one.reading, part)
        issues = list(raw.issues)
        if one.sha256 and one.sha256 != raw.sha256:
            issues.append(Issue("layout", "the file has changed since its mapping was made"))
        data.issues[path.name] = issues
        zone = str(raw.settings.get("time_zone", ""))
        if zone not in ("", "UTC", "as written", "?"):
            data.zone = data.zone or zone
        if raw.kind == "events":
            data.events += events_of(raw, one)
        else:
            _take_columns(data, raw, one, known, issues, problems)
    if problems:
        raise InputRefused(problems)
    mark_stuck(data)
    _tell_contradictions(data, saturation)
    data.events.sort(key=lambda e: (e.time_ms, e.latest_ms))
    if not data.series and not data.events:
        raise InputRefused(Problem("leaves no column in use", file=str(known.path), way_out="give signals to columns"))
    return data


def _choose(paths: Sequence[Path], known: LogMapping) -> list[tuple[Path, FileMap]]:
    if not paths:
        return [(one.path, one) for one in known.files]
    out = []
    for path in paths:
        fits = [one for one in known.files if one.path.resolve() == path.resolve()]
        fits = fits or [one for one in known.files if one.path.name == path.name]
        if not fits:
            names = ", ".join(one.path.name for one in known.files)
            problem = Problem(
                f"is not in the mapping {known.path.name}", file=str(path), way_out=f"it has {names}; inspect again"
            )
            raise InputRefused(problem)
        out.append((path, fits[0]))
    return out


def _take_columns(
    data: LoggedData, raw: RawFile, one: FileMap, mapping: LogMapping, issues: list[Issue], problems: list[Problem]
) -> None:
    by_name = {column.name: column for column in unique_names(raw)}
    running = _running_mask(by_name, one)
    for want in one.columns:
        column = by_name.get(want.column)
        if column is None:
            way_out = f"the file has {', '.join(by_name)}"[:240]
            problems.append(
                Problem(f'{raw.path.name} has no column "{shortened(want.column, 40)}"', way_out=way_out).at(
                    str(mapping.path), want.line
                )
            )
            continue
        if want.signal == "-" or want.signal in data.series:
            if want.signal != "-":
                issues.append(Issue("layout", f"{want.column[:40]}: {want.signal} is taken from an earlier file"))
            continue
        try:
            series = make_series(raw, column, want, mapping, one, data.states, running)
        except InputRefused as error:
            problems += [p.at(str(mapping.path), want.line) if not p.file else p for p in error.problems]
            continue
        if column.bad_words:
            words = ", ".join(f'"{w[:12]}" {n}×' for w, n in column.bad_words.most_common(3))
            count = sum(column.bad_words.values())
            issues.append(Issue("text", f"{want.column[:40]}: no number in {count} cells ({words})", 0, count))
        data.series[want.signal] = series
    left = [name for name in by_name if name not in {c.column for c in one.columns}]
    if left:
        issues.append(Issue("layout", f"columns that the mapping does not have are not used: {', '.join(left)[:120]}"))


def _running_mask(by_name: dict[str, RawColumn], one: FileMap) -> Mask | None:
    """Rows of a wide file in which the machine runs, by the columns mapped to it; None if none tells."""
    for signal in ("motor_running", "motor_current_a", "motor_power_kw"):
        column = next((by_name[c.column] for c in one.columns if c.signal == signal and c.column in by_name), None)
        if column is None or column.values is None or column.rows is not None:
            continue
        level = 0.5 if signal == "motor_running" else running_level(column.values)
        found: Mask = np.nan_to_num(column.values) > max(level, 1e-9)
        if found.any():
            return found
    return None


def _of_running(column: RawColumn, running: Mask | None) -> Floats:
    """Some of a column's numbers while the machine runs."""
    if running is None or column.values is None or len(running) != len(column.values):
        return np.empty(0)
    some = column.values[running]
    some = some[np.isfinite(some)]
    return some[:: max(1, len(some) // 4000)]


def unique_names(raw: RawFile) -> list[RawColumn]:
    """The file's columns, those of one name told apart by a number behind it, which is an issue of the file."""
    seen: dict[str, int] = {}
    for column in raw.columns:
        name = column.name
        seen[name] = seen.get(name, 0) + 1
        if seen[name] > 1:
            column.name = f"{name} ({seen[name]})"
            raw.issues.append(Issue("layout", f'another column "{name[:40]}" is called "{column.name[:44]}" here'))
    return raw.columns


def column_times(raw: RawFile, column: RawColumn) -> Times:
    """The times of a column's samples, as the file's clock has them."""
    return raw.time_ms if column.rows is None else raw.time_ms[column.rows]


def make_series(
    raw: RawFile,
    column: RawColumn,
    want: ColumnMap,
    mapping: LogMapping,
    one: FileMap,
    states: dict[str, dict[int, str]],
    running: Mask | None = None,
) -> Series:
    """One column as a series.  InputRefused, without a place, if its unit and its values contradict each other."""
    signal = signals()[want.signal]
    times = column_times(raw, column) + one.clock_offset_ms
    flags = np.zeros(len(times), dtype=np.uint8)
    if raw.clock_flags is not None and column.rows is None and len(raw.clock_flags) == len(times):
        flags |= raw.clock_flags
    values = _values(column, signal, want, states)
    if column.bad is not None:
        flags[column.bad] |= np.uint8(Quality.NOT_A_NUMBER)
    missing = np.isnan(values) & ((flags & np.uint8(Quality.NOT_A_NUMBER)) == 0)
    flags[missing] |= np.uint8(Quality.MISSING)
    if signal.kind not in ("contact", "state", "word"):
        values = _in_unit(signal, values, want, mapping, column, _of_running(column, running))
        flags[np.nan_to_num(out_of_range(signal, values, *(want.span or (None, None)))).astype(bool)] |= np.uint8(
            Quality.OUT_OF_RANGE
        )
    elif signal.kind == "contact":
        values = np.where(np.isnan(values), np.nan, (values != 0.0).astype(np.float64))
    empty = np.count_nonzero(missing)
    sparse = bool(len(values) > 0 and SPARSE_SHARE * len(values) < empty < len(values))
    if sparse:
        keep = ~missing
        times, values, flags = times[keep], values[keep], flags[keep]
    cov = sparse or is_change_of_value(times, values)
    positive = np.diff(times)
    positive = positive[positive > 0]
    step_ms = float(np.median(positive)) if len(positive) else 0.0
    return Series(
        want.signal, times, values, flags, 0.0 if cov else step_ms, cov, f"{raw.path.name}: {column.name}",
        float(one.clock_uncertainty_ms),
    )  # fmt: skip


def _values(column: RawColumn, signal: Signal, want: ColumnMap, states: dict[str, dict[int, str]]) -> Floats:
    """Raw numbers; words of a contact as 0 and 1, of a state as its enumeration's or as numbers of their own."""
    if column.codes is None:
        if signal.kind == "state" and own_signal(column.name) != signal.name:
            raise InputRefused(Problem(
                f'"{want.column[:40]}" has numbers where {signal.name} is a state: another controller\'s numbers '
                f'mean nothing here',
                way_out='write signal = "-"',
            ))  # fmt: skip
        return column.values if column.values is not None else np.empty(0)
    if signal.kind == "contact":
        table = [on_off(word) for word in column.words]
        if any(np.isnan(table)):
            odd = next(w for w, v in zip(column.words, table, strict=True) if np.isnan(v))
            raise InputRefused(Problem(f'"{odd[:20]}" in the column "{want.column[:40]}" is neither on nor off'))
        return np.array([*table, np.nan])[column.codes]
    if signal.kind == "state":
        table = _state_numbers(column.words, signal, states)
        return np.array([*table, np.nan])[column.codes]
    raise InputRefused(
        Problem(f'"{want.column[:40]}" holds words, and {signal.name} is a number', way_out='write signal = "-"')
    )


def _state_numbers(words: Sequence[str], signal: Signal, states: dict[str, dict[int, str]]) -> list[float]:
    """Numbers of a state's words: of the enumeration where every word is one of its names, else 1000 and up."""
    names = {member.name.lower().replace("_", " "): int(member) for member in signal.states}
    plain = [word.strip().lower().replace("_", " ") for word in words]
    if signal.name == "trip_first_out":
        found = [int(cause_of(word)) if word not in ("none", "", "0", "-", "ok") else int(Trip.NONE) for word in plain]
        if all(number or word in ("none", "", "0", "-", "ok") for number, word in zip(found, plain, strict=True)):
            states[signal.name] = {int(member): member.name for member in signal.states}
            return [float(n) for n in found]
    if all(word in names for word in plain):
        states[signal.name] = {int(member): member.name for member in signal.states}
        return [float(names[word]) for word in plain]
    states[signal.name] = {1000 + k: word for k, word in enumerate(words)}
    return [float(1000 + k) for k in range(len(words))]


def _check_unit(signal: Signal, want: ColumnMap, some: Floats, running: Floats, mapping: LogMapping) -> None:
    """Refuses a unit in which the values cannot be the signal, and an unusual one that nobody has checked.

    some: of all samples; running: of those of a running machine, empty where that is not known.
    """
    if signal.unit == "1" or not len(some):
        return
    possible, usual = fits_values(signal, want.unit, some, running * want.scale, mapping.barometric_pa)
    if not len(running) and signal.unit != "kPa":
        usual = True  # a machine that stands has other temperatures and no current
    if possible and (usual or want.checked):
        return
    raise InputRefused(Problem(
        f'"{want.column[:40]}" reads about {float(np.median(some)):.4g}, which in {want.unit} '
        f'{"is unusual for" if possible else "cannot be"} {signal.name}',
        value=want.unit, limit=f"possible are {signal.low:g} to {signal.high:g} {signal.unit}",
        way_out="correct the unit or the scale" + ("; if it is right, write checked = true" if possible else ""),
    ))  # fmt: skip


def _in_unit(
    signal: Signal, values: Floats, want: ColumnMap, mapping: LogMapping, column: RawColumn, running: Floats
) -> Floats:
    """Values in the signal's unit, after a look at whether they can be it."""
    raw = values * want.scale if want.scale != 1.0 else values
    if want.unit == "mA":
        assert want.span is not None
        return want.span[0] + (raw - 4.0) * (want.span[1] - want.span[0]) / 16.0
    _check_unit(signal, want, sample(column) * want.scale, running, mapping)
    if want.unit.endswith(" sat"):
        return _from_saturation(raw, want.unit, mapping.refrigerant)
    line = line_to(signal, want.unit, mapping.barometric_pa) if signal.unit != "1" else (1.0, 0.0)
    if line is None:
        raise InputRefused(Problem(f'"{want.unit}" cannot be made {signal.unit}'))
    return raw if line == (1.0, 0.0) else raw * line[0] + line[1]


def _from_saturation(values: Floats, unit: str, refrigerant: str) -> Floats:
    """Pressures in kPa of saturation temperatures; NaN outside the tables."""
    from plant_model.properties import load_refrigerant, saturation_pressure_pa

    tables = load_refrigerant(refrigerant)
    celsius = values if unit == "°C sat" else (values - 32.0) * 5.0 / 9.0
    grid = np.linspace(tables.temperature_low_k + 0.1, tables.temperature_high_k - 0.1, _SATURATION_POINTS)
    logs = np.log([saturation_pressure_pa(tables, float(t)) / 1000.0 for t in grid])
    return np.exp(np.interp(celsius + 273.15, grid, logs, left=np.nan, right=np.nan))


def _tell_contradictions(data: LoggedData, saturation: Saturation) -> None:
    """An issue for each pair of answered units that the running machine cannot have."""
    current = data.series.get("motor_running") or data.series.get("motor_current_a")
    medians = {}
    for name, series in data.series.items():
        times, values = series.good()
        if signals()[name].kind == "analog" and current is not None:
            at, _ = current.held(times)
            values = values[
                np.nan_to_num(at) > (0.5 if current.name == "motor_running" else running_level(current.values))
            ]
        if len(values) and signals()[name].kind == "analog":
            medians[name] = float(np.median(values))
    for text in contradictions(medians, saturation):
        data.issues[data.files[0].name].append(
            Issue("unit", f"{text}: is a unit, or gauge and absolute, answered wrongly?")
        )


def mark_stuck(data: LoggedData) -> None:
    """Flag stretches in which an analog stands still while at least two others move; a note for each."""
    analog = {
        n: s
        for n, s in data.series.items()
        if signals()[n].kind == "analog" and not n.endswith("_on_ms") and not s.change_of_value
    }
    for name, series in analog.items():
        if name.startswith(("capacity_position", "volume_ratio_position")):
            continue  # a slide that is not driven stands still
        for span in still_spans(series.time_ms, series.values):
            others = [n for n, o in analog.items() if n != name and moved(o.time_ms, o.values, span)]
            if len(others) < 2:
                continue
            inside = (series.time_ms > span.start_ms) & (series.time_ms <= span.end_ms)
            series.quality[inside] |= np.uint8(Quality.STUCK)
            text = (
                f"{name} stands still for {(span.end_ms - span.start_ms) / 1000.0:.0f} s while "
                f"{', '.join(others[:3])} move"
            )
            data.issues.setdefault(series.source.split(":")[0], []).append(Issue("stuck", text))


def events_of(raw: RawFile, one: FileMap) -> list[LoggedEvent]:
    """The lines of an event list, each with its kind, cause and state."""
    by_name = {column.name: column for column in unique_names(raw)}

    def words_of(role: str) -> list[str]:
        column = by_name.get(str(one.reading.get(f"{role}_column") or raw.settings.get(f"{role}_column") or ""))
        if column is None:
            return [""] * len(raw.time_ms)
        if column.codes is not None:
            return [column.words[c] if c >= 0 else "" for c in column.codes.tolist()]
        values = column.values if column.values is not None else np.full(len(raw.time_ms), np.nan)
        return [f"{v:g}" if np.isfinite(v) else "" for v in values.tolist()]

    given = {event.text: event for event in one.events}
    texts, states, sources = words_of("text"), words_of("state"), words_of("source")
    out = []
    resolution_ms = int(raw.resolution_ms) if raw.resolution_ms in (1000.0, 60_000.0) else 0
    for time_ms, line, text, state, source in zip(
        raw.time_ms.tolist(), raw.line.tolist(), texts, states, sources, strict=True
    ):
        fixed = given.get(text)
        kind, name, _ = classify(f"{text}") if fixed is None else (fixed.kind, fixed.cause, 1.0)
        at = int(time_ms) + one.clock_offset_ms
        known = state_of(state) or _state_in(text)
        out.append(LoggedEvent(
            at, at - one.clock_uncertainty_ms, at + resolution_ms + one.clock_uncertainty_ms, kind, name, known,
            text or source, raw.path.name, int(line),
        ))  # fmt: skip
    return out


def _state_in(text: str) -> str:
    """A state that stands in the text itself: "… cleared", "… gone"."""
    words = text.lower().split()
    if words and words[-1].strip(".)") in (
        "cleared",
        "gone",
        "returned",
        "normal",
        "geht",
        "rtn",
        "beendet",
        "ended",
        "off",
        "(rtn",
    ):
        return "off"
    return "on" if words and words[-1].strip(".)") in ("active", "raised", "kommt", "on", "act") else ""
