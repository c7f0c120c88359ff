"""What `twoslide inspect` finds out: a mapping to correct by hand, and how good the log is."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from scenarios.logged_data.event_words import classify
from scenarios.logged_data.header_units import GAUGE_PA
from scenarios.logged_data.mapping import ColumnMap, EventMap, FileMap, LogMapping
from scenarios.logged_data.matching import Proposal, line_to, on_off, propose_columns
from scenarios.logged_data.quality import Span, coverage, gaps, is_change_of_value, moved, out_of_range, still_spans
from scenarios.logged_data.reader import SPARSE_SHARE, column_times, unique_names
from scenarios.logged_data.records import Floats, Issue, Quality, RawColumn, RawFile, Series, Times
from scenarios.logged_data.relations import check_relations, saturation_of, settle_references
from scenarios.logged_data.signals import own_signal, signals
from scenarios.logged_data.skew import Skew, best_skew, skew_of_events
from scenarios.logged_data.trends import read_raw

EVENT_TEXTS_LISTED = 60
GAPS_FACTOR = 3.0


@dataclass(frozen=True, slots=True)
class ColumnFacts:
    """The quality of one column.  coverage_frac: believable samples of those that should be there."""

    file: str
    column: str
    signal: str
    samples: int
    coverage_frac: float
    step_ms: float
    change_of_value: bool
    gaps: tuple[Span, ...]
    stuck: tuple[Span, ...]
    out_of_range: int
    bad: int
    bad_words: str
    empty: int
    low: float
    high: float
    unit: str


@dataclass(slots=True)
class FileFacts:
    """One file as found: its own words, proposals for its columns, quality, skew against the first trend file."""

    raw: RawFile
    proposals: list[Proposal]
    columns: list[ColumnFacts] = field(default_factory=list)
    skew: Skew | None = None
    issues: list[Issue] = field(default_factory=list)


@dataclass(slots=True)
class Inspection:
    """The whole: files in the order given, and the mapping that comes of them."""

    files: list[FileFacts]
    mapping: LogMapping


def inspect_logs(
    paths: Sequence[Path],
    out: Path,
    refrigerant: str = "R717",
    barometric_pa: float = GAUGE_PA,
    time_zone: str = "",
    progress: Callable[[float], None] | None = None,
) -> Inspection:
    """Look at logs and propose a mapping for `out` (not written here).

    InputRefused for a file that is no log, or a refrigerant or zone that is not known.  The logs are only read.
    """
    from scenarios.errors import InputRefused, Problem

    try:
        saturation = saturation_of(refrigerant)
    except ValueError as error:
        raise InputRefused(Problem(str(error), value=refrigerant)) from error
    files = []
    for k, path in enumerate(paths):
        given: dict[str, str | int] = {"time_zone": time_zone} if time_zone else {}
        part = (lambda share, k=k: progress((k + share) / len(paths))) if progress else None
        raw = read_raw(path, given, part)
        unique_names(raw)
        proposals = propose_columns(raw, barometric_pa) if raw.kind == "trends" else []
        settle_references(raw, proposals, saturation, barometric_pa)
        check_relations(proposals, saturation, barometric_pa)
        files.append(FileFacts(raw, proposals, issues=list(raw.issues)))
    _settle_between(files)
    for one in files:
        one.columns = [_facts(one.raw, p, barometric_pa) for p in one.proposals]
        one.columns = _with_stuck(one)
    _find_skews(files)
    mapping = LogMapping(out, refrigerant, barometric_pa, [_file_map(one, out) for one in files])
    return Inspection(files, mapping)


def _settle_between(files: Sequence[FileFacts]) -> None:
    """A signal that an earlier file has already is used for comparing clocks only."""
    zones = {str(one.raw.settings.get("time_zone", "")) for one in files if one.raw.kind}
    if "UTC" in zones and "as written" in zones:
        for one in files:
            if one.raw.settings.get("time_zone") == "as written":
                one.raw.settings["time_zone"] = "?"
                one.issues.append(Issue("clock", "another file has UTC times, and this one does not say its zone"))


def _raw_series(raw: RawFile, proposal: Proposal) -> Series | None:
    """A column as a series without its unit: enough for comparing clocks."""
    column = proposal.column
    times = column_times(raw, column)
    values: Floats | None = column.values
    if column.codes is not None:
        table = np.array([*(on_off(word) for word in column.words), np.nan])
        if np.isnan(table[:-1]).any():
            return None
        values = table[column.codes]
    if values is None or not len(values):
        return None
    flags = np.where(np.isfinite(values), 0, int(Quality.MISSING)).astype(np.uint8)
    return Series(proposal.found, times, values, flags, raw.step_ms, False, raw.path.name)


def _find_skews(files: Sequence[FileFacts]) -> None:
    trends = [one for one in files if one.raw.kind == "trends"]
    if not trends:
        return
    first = trends[0]
    reference = {p.found: s for p in first.proposals if p.found and (s := _raw_series(first.raw, p)) is not None}
    for one in files:
        if one is first:
            continue
        if one.raw.kind == "trends":
            other = {p.found: s for p in one.proposals if p.found and (s := _raw_series(one.raw, p)) is not None}
            one.skew = best_skew(reference, other)
        else:
            one.skew = _event_skew(reference, one.raw)
        if one.skew is not None and abs(one.skew.offset_ms) > one.skew.uncertainty_ms:
            text = (
                f"clock {'behind' if one.skew.offset_ms > 0 else 'ahead'} of {first.raw.path.name} by "
                f"{abs(one.skew.offset_ms) / 1000.0:.1f} s"
            )
            one.issues.append(Issue("skew", f"{text} ± {one.skew.uncertainty_ms / 1000.0:.1f} s ({one.skew.by})"))


def _event_skew(reference: dict[str, Series], raw: RawFile) -> Skew | None:
    """Starts and stops in an event list against the edges of the running contact, or of the current."""
    running = reference.get("motor_running") or reference.get("motor_run")
    current = reference.get("motor_current_a") or reference.get("motor_power_kw")
    if running is not None:
        times, values = running.good()
        on = values > 0.5
    elif current is not None:
        times, values = current.good()
        on = values > 0.2 * float(values.max(initial=0.0))
    else:
        return None
    edges = times[1:][np.diff(on.astype(np.int8)) != 0]
    texts = next((c for c in raw.columns if c.name == raw.settings.get("text_column")), None)
    if texts is None or texts.codes is None:
        return None
    wanted = {k for k, word in enumerate(texts.words) if classify(word)[0] in ("start", "stop", "trip", "motor")}
    events = raw.time_ms[np.isin(texts.codes, list(wanted))] if wanted else np.empty(0, dtype=np.int64)
    found = skew_of_events(edges[:400], np.unique(events)[:400])
    return Skew(found[0], found[1], 1.0, "starts and stops against the running machine") if found else None


def _facts(raw: RawFile, proposal: Proposal, barometric_pa: float) -> ColumnFacts:
    column = proposal.column
    times = column_times(raw, column)
    values = column.values
    bad = sum(column.bad_words.values())
    words = ", ".join(f'"{w[:12]}" {n}×' for w, n in column.bad_words.most_common(3))
    if values is None:
        good = len(times) - column.empty
        share = good / len(times) if len(times) else 0.0
        return ColumnFacts(raw.path.name, column.name, proposal.signal, len(times), share, raw.step_ms, False, (),
            (), 0, bad, words,
                           column.empty, float("nan"), float("nan"), column.unit)  # fmt: skip
    finite = np.isfinite(values)
    if column.empty > SPARSE_SHARE * len(values):
        times, values, finite = times[finite], values[finite], finite[finite]
    cov = is_change_of_value(times[:20_000], values[:20_000]) or (
        column.empty > SPARSE_SHARE * max(1, len(column.values or ())) if False else False
    )
    steps = np.diff(times[:200_000])
    steps = steps[steps > 0]
    step_ms = float(np.median(steps)) if len(steps) else 0.0
    flags = np.where(finite, 0, int(Quality.MISSING)).astype(np.uint8)
    beyond = _beyond(proposal, values, barometric_pa)
    flags[beyond] |= np.uint8(Quality.OUT_OF_RANGE)
    start, end = (int(raw.time_ms[0]), int(raw.time_ms[-1])) if len(raw.time_ms) else (0, 0)
    share = coverage(times, flags, step_ms, start, end, cov)
    some = values[finite]
    found = gaps(times[finite], step_ms) if not cov else []
    return ColumnFacts(
        raw.path.name, column.name, proposal.signal, int(np.count_nonzero(finite)), share, step_ms, cov, tuple(found), (),
        int(np.count_nonzero(beyond)), bad, words, column.empty, float(some.min()) if len(some) else float("nan"),
        float(some.max()) if len(some) else float("nan"), proposal.unit if proposal.unit not in ("", "?") else column.unit,
    )  # fmt: skip


def _beyond(proposal: Proposal, values: Floats, barometric_pa: float) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    signal = signals().get(proposal.signal)
    if signal is None or proposal.unit in ("", "?") or proposal.unit.endswith(" sat"):
        return np.zeros(len(values), dtype=bool)
    line = line_to(signal, proposal.unit, barometric_pa)
    if line is None:
        return np.zeros(len(values), dtype=bool)
    return np.asarray(out_of_range(signal, values * line[0] + line[1], None, None))


def _with_stuck(one: FileFacts) -> list[ColumnFacts]:
    """The facts with the stretches in which an analog stands still while at least two others move."""
    from dataclasses import replace

    analog: dict[str, tuple[Times, Floats]] = {}
    for p in one.proposals:
        if (
            p.found
            and signals()[p.found].kind == "analog"
            and p.column.values is not None
            and "position" not in p.found
        ):
            analog[p.column.name] = (column_times(one.raw, p.column), p.column.values)
    out = []
    for facts in one.columns:
        data = analog.get(facts.column)
        if data is None or facts.change_of_value:
            out.append(facts)
            continue
        spans = still_spans(*data)
        stuck = [
            s
            for s in spans[:200]
            if sum(moved(*other, s) for name, other in analog.items() if name != facts.column) >= 2
        ]
        out.append(replace(facts, stuck=tuple(stuck)))
    return out


def _file_map(one: FileFacts, out: Path) -> FileMap:
    raw = one.raw
    reading = {key: value for key, value in raw.settings.items() if key != "choices"}
    made = FileMap(
        _relative(raw.path, out), raw.kind, reading, raw.sha256, choices=str(raw.settings.get("choices", ""))
    )
    if one.skew is not None and abs(one.skew.offset_ms) > one.skew.uncertainty_ms:
        made.clock_offset_ms = one.skew.offset_ms
    made.clock_uncertainty_ms = one.skew.uncertainty_ms if one.skew is not None else 0
    doubtful = [p.column for p in one.proposals if p.column.doubt and p.signal != "-"]
    if doubtful:
        reading["decimal"] = "?"
        made.choices = "; ".join(t for t in (made.choices, "comma or point: the sign before the decimals") if t)
        made.why = f"{doubtful[0].name}: {doubtful[0].doubt}"
    if reading.get("time_zone") == "?":
        made.choices = (
            made.choices or 'an IANA zone such as Europe/Berlin, or "as written" if the clock was set by hand'
        )
    if raw.kind == "events":
        made.events = _event_maps(raw)
        return made
    for p in one.proposals:
        choices = p.units if p.unit == "?" else p.candidates if p.signal == "?" else []
        made.columns.append(ColumnMap(
            p.column.name, p.signal, p.unit, p.scale, None, p.confidence, False, "; ".join(p.reasons), " or ".join(choices)
        ))  # fmt: skip
    return made


def _relative(path: Path, out: Path) -> Path:
    try:
        return path.resolve().relative_to(out.resolve().parent)
    except ValueError:
        return path.resolve()


def _event_maps(raw: RawFile) -> list[EventMap]:
    """Texts whose meaning is not plain, to be corrected by hand, the most frequent first."""
    texts: RawColumn | None = next((c for c in raw.columns if c.name == raw.settings.get("text_column")), None)
    if texts is None or texts.codes is None:
        return []
    counts = np.bincount(texts.codes[texts.codes >= 0], minlength=len(texts.words))
    out = []
    for k in np.argsort(-counts, kind="stable")[:EVENT_TEXTS_LISTED].tolist():
        kind, name, _ = classify(texts.words[k])
        out.append(EventMap(texts.words[k], kind, name))
    return out


def is_own_trace(raw: RawFile) -> bool:
    """Whether a file is a trace of this project's own runs."""
    return sum(bool(own_signal(c.name)) for c in raw.columns) > 10
