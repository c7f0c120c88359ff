"""The terminal's tables; the page shows the same cells."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rich.table import Table

from tools.benchmarks.growth import Growth, event_us
from tools.benchmarks.kernel_times import PartTime
from tools.benchmarks.memory import Peak
from tools.benchmarks.paired import Interval
from tools.benchmarks.results import Results, Verdicts
from tools.benchmarks.speeds import COMPILED
from tools.benchmarks.start_up import StartUp
from tools.benchmarks.timing import Speed, ratio

INTERVALS = "in brackets the interval that holds the median at about 95 %; unreliable: wider than ± 6 ns and ± 25 %"


def _table(title: str, left: Sequence[str], right: Sequence[str], caption: str = "") -> Table:
    table = Table(title=title, caption=caption, pad_edge=False)
    for head in left:
        table.add_column(head)
    for head in right:
        table.add_column(head, justify="right")
    return table


def _ns(found: Interval) -> str:
    return f"{found.ns:+,.0f}"


def _range(found: Interval) -> str:
    return f"[{found.low_ns:,.0f}, {found.high_ns:,.0f}]".replace("[", "(").replace("]", ")")


def speed_table(title: str, speeds: list[Speed], base: str) -> Table:
    """One line a candidate; the ratio says how many times faster the base is."""
    caption = f"{len(speeds[0].per_wall_s)} rounds in turns, medians; base: {base}; spread: middle half, CPU"
    heads = ("per wall s", "best", "per CPU s", "ns a scan", "base is faster, wall", "CPU", "spread")
    table = _table(title, ("candidate",), heads, caption)
    reference = next(s for s in speeds if s.name == base)
    for s in speeds:
        wall, cpu = ratio(reference, s)
        spread = f"{100.0 * s.spread_frac:.0f} %" + ("" if s.settled else " unreliable")
        table.add_row(
            s.name, f"{s.wall:,.0f}", f"{s.best:,.0f}", f"{s.cpu:,.0f}", f"{1e8 / s.cpu:,.0f}",
            f"{wall:,.3g} ×", f"{cpu:,.3g} ×", spread,
        )  # fmt: skip
    return table


def place_table(r: Results) -> Table:
    """Where a scan's time goes, each part in its place."""
    title = "where a scan's time goes: scheduled_pi, machine running, a row a second, each part in its place"
    table = _table(title, ("part",), ("ns", "interval", "share", ""), f"what a scan is cheaper without it; {INTERVALS}")
    if r.whole is None:
        return table
    table.add_row("whole scan", f"{r.whole.ns:,.0f}", _range(r.whole), "100 %", r.whole.word)
    for place in r.places:
        share = f"{100.0 * place.cost.ns / r.whole.ns:.0f} %"
        table.add_row(
            "  " * place.level + place.name, f"{place.cost.ns:,.0f}", _range(place.cost), share, place.cost.word
        )
    return table


def alone_table(parts: list[PartTime]) -> Table:
    """Each part alone in a loop."""
    table = _table("the same parts alone, each in a compiled loop", ("part",), ("ns",))
    for part in parts:
        table.add_row("  " * part.level + part.name, f"{part.ns:,.0f}")
    return table


def lookup_table(r: Results) -> Table:
    """Property lookups."""
    table = _table("property lookups of a scan", ("lookup", "what for"), ("a scan", "ns each", "ns a scan", ""))
    for x in r.lookups:
        table.add_row(x.name, x.text, f"{x.per_scan:.2f}", f"{x.each.ns:.0f}", f"{x.ns:.0f}", x.each.word)
    return table


def component_table(r: Results) -> Table:
    """What each component costs."""
    caption = f"ns a scan against the plant without it, negative: cheaper; {INTERVALS}"
    table = _table("components of the plant", ("component", "what it is", "against"), ("ns", "interval", ""), caption)
    for c in r.components:
        table.add_row(c.name, c.text, c.against, _ns(c.cost), _range(c.cost), c.cost.word)
    return table


def controller_table(r: Results) -> Table:
    """What a scan of each kind of controller costs."""
    caption = f"ns a scan against no controller, same plant and moment, machine running; {INTERVALS}"
    table = _table("kinds of controller", ("kind", "what it is"), ("ns", "interval", ""), caption)
    for k in r.controllers:
        table.add_row(k.name, k.text, _ns(k.cost), _range(k.cost), k.cost.word)
    return table


def duration_in_words(ms: int) -> str:
    """A duration as people say it."""
    return f"{ms / 3.6e6:g} h" if ms >= 3_600_000 else f"{ms / 6e4:g} min"


def _growth_row(label: str, g: Growth) -> tuple[str, ...]:
    stages = tuple(f"{1e3 * g.stage_s[name]:,.1f}" for name in ("open", "play", "score", "write"))
    spread = f"{100.0 * g.spread_frac:.0f} %" + ("" if g.settled else " unreliable")
    return (label, f"{g.rows:,}", *stages, f"{g.speed:,.0f}", f"{g.whole_speed:,.0f}", spread)


_STAGES = (
    "rows",
    "open, ms",
    "play, ms",
    "score, ms",
    "write, ms",
    "s per CPU s, playing",
    "whole run",
    "spread of play",
)


def duration_table(r: Results) -> Table:
    """Cost against simulated duration."""
    table = _table("cost of a run by simulated duration, a row a second, CPU time", ("duration",), _STAGES)
    for g in r.by_duration:
        table.add_row(*_growth_row(duration_in_words(g.duration_ms), g))
    return table


def log_table(r: Results) -> Table:
    """Cost against the log interval."""
    length = duration_in_words(r.by_log_interval[0].duration_ms)
    table = _table(f"cost of a run of {length} by log interval, CPU time", ("a row every",), _STAGES)
    for g in r.by_log_interval:
        table.add_row(*_growth_row("scan, 0.1 s" if g.log_ms == 100 else f"{g.log_ms / 1000:g} s", g))
    return table


def event_table(r: Results) -> Table:
    """Cost against the rate of events."""
    length = duration_in_words(r.by_event_rate[0].duration_ms)
    caption = f"load steps of 1 W; {event_us(r.by_event_rate):.0f} µs an event"
    table = _table(f"cost of a run of {length} by rate of events, CPU time", ("events an hour",), _STAGES, caption)
    for g in r.by_event_rate:
        table.add_row(*_growth_row(f"{g.events_per_h:,}", g))
    return table


def start_table(start: StartUp) -> Table:
    """Start-up by stage, and the dearest imports."""
    table = _table("warm start of `run`, to the first step", ("stage",), ("s",))
    for name, seconds in start.stages_s.items():
        table.add_row(name, f"{seconds:.3f}")
    table.add_section()
    for name, seconds in (
        ("to the first step, median", start.to_first_step_s),
        ("to the first step, least", start.least_s),
        ("processor time of it", start.cpu_s),
        ("whole `run` of the demo shift, report included", start.whole_command_s),
    ):
        table.add_row(name, f"{seconds:.3f}")
    table.add_section()
    for name, seconds in list(start.imports_s.items())[:8]:
        table.add_row(f"importing {name}, own part", f"{seconds:.3f}")
    return table


def memory_table(peaks: list[Peak]) -> Table:
    """Peak memory of runs."""
    heads = ("row every, s", "loaded MB", "peak MB", "rows", "events")
    table = _table("peak resident memory, 100 ms scan", ("simulated",), heads)
    for p in peaks:
        table.add_row(
            duration_in_words(p.duration_ms), f"{p.log_ms / 1000:g}", f"{p.loaded_mb:.0f}", f"{p.peak_mb:.0f}",
            f"{p.rows:,}", f"{p.events:,}",
        )  # fmt: skip
    return table


def verdict_table(found: Verdicts) -> Table:
    """Targets against figures."""
    table = _table("targets", ("what",), ("measured", "target", ""))
    for name, (value, target, good) in found.items():
        table.add_row(name, f"{value:,.4g}", f"{target:,.4g}", "reached" if good else "MISSED")
    return table


def all_tables(r: Results) -> Iterator[Table]:
    """A table for everything that was measured, in reading order."""
    if r.places:
        yield place_table(r)
    if r.lookups:
        yield lookup_table(r)
    if r.alone:
        yield alone_table(r.alone)
    if r.components:
        yield component_table(r)
    if r.controllers:
        yield controller_table(r)
    if r.by_duration:
        yield duration_table(r)
    if r.by_log_interval:
        yield log_table(r)
    if r.by_event_rate:
        yield event_table(r)
    if r.engines:
        yield speed_table("simulated s per s, demo shift, 100 ms scan", r.engines, COMPILED)
    if r.loops:
        yield speed_table("simulated s per s, continuous PI loop without a scan", r.loops, "PI loop, own step")
    if r.start is not None:
        yield start_table(r.start)
    if r.peaks:
        yield memory_table(r.peaks)
    if r.targets:
        yield verdict_table(r.targets)
