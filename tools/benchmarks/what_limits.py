"""What limits the speed now, in words made from the figures."""

from __future__ import annotations

from tools.benchmarks.growth import event_us
from tools.benchmarks.places import NOISE, REST
from tools.benchmarks.results import Results
from tools.benchmarks.tables import duration_in_words


def _gain(whole_ns: float, part_ns: float) -> str:
    """How much faster a run would be if the part cost nothing: no change to it can give more."""
    return f"{whole_ns / (whole_ns - part_ns):.2f} times"


def _scan(r: Results) -> list[str]:
    told = [p for p in r.places if p.cost.settled and p.cost.ns > 0.0 and p.name != REST]
    tops = sorted((p for p in told if p.level == 0), key=lambda p: -p.cost.ns)
    if r.whole is None or not tops:
        return []
    whole_ns = r.whole.ns
    inner = sorted((p for p in told if p.level == 1), key=lambda p: -p.cost.ns)
    shares = ", ".join(f"{p.name} {100.0 * p.cost.ns / whole_ns:.0f} %" for p in tops[:4])
    said = [f"A scan of the running plant takes {whole_ns:,.0f} ns of one core: {shares}; the rest is small."]
    first = tops[0]
    gain = f"Were the {first.name} free, a run would be {_gain(whole_ns, first.cost.ns)} as fast"
    said.append(f"{gain}; were everything else free, {whole_ns / first.cost.ns:.1f} times.")
    if inner:
        named = ", ".join(f"{p.name} {p.cost.ns:.0f} ns" for p in inner[:3])
        said.append(f"Inside the plant step the dearest are {named}.")
    if r.lookups:
        lookup_ns = sum(x.ns for x in r.lookups)
        count = sum(x.per_scan for x in r.lookups)
        share = 100.0 * lookup_ns / whole_ns
        said.append(
            f"{count:.1f} property lookups a scan take {lookup_ns:.0f} ns (alone in a loop), {share:.0f} % of a scan."
        )
    noise = r.place(NOISE)
    if noise is not None and noise in told:
        draw_ns = noise.cost.ns / 15.0
        said.append(
            f"Drawing the noise of fifteen transmitters takes {noise.cost.ns:.0f} ns ({draw_ns:.0f} ns a number) in NumPy "
            f"outside the compiled block; a run without noise is {_gain(whole_ns, noise.cost.ns)} as fast."
        )
    return said


def _run(r: Results) -> list[str]:
    said = []
    if r.by_duration:
        short, long = r.by_duration[0], r.by_duration[-1]
        lengths = [duration_in_words(g.duration_ms) for g in (short, long)]
        shares = [100.0 * g.stage_s["open"] / g.whole_s for g in (short, long)]
        said.append(
            f"Before its first scan a run of {lengths[0]} costs {1e3 * short.stage_s['open']:.0f} ms of processor time, "
            f"one of {lengths[1]} {1e3 * long.stage_s['open']:.0f} ms: {shares[0]:.0f} % and {shares[1]:.0f} % of all. "
            f"Playing goes at {short.speed:,.0f} and {long.speed:,.0f} simulated seconds a second and is "
            f"{100.0 * long.stage_s['play'] / long.whole_s:.0f} % of the longer run; scores and files are the rest."
        )
    if len(r.by_log_interval) > 1:
        dense = min(r.by_log_interval, key=lambda g: g.log_ms)
        usual = next((g for g in r.by_log_interval if g.log_ms == 1000), r.by_log_interval[-1])
        playing, scoring, writing, whole = (
            a / b
            for a, b in (
                *((dense.stage_s[name], usual.stage_s[name]) for name in ("play", "score", "write")),
                (dense.whole_s, usual.whole_s),
            )
        )
        said.append(
            f"A row each {dense.log_ms} ms instead of each {usual.log_ms} ms makes playing {playing:.2f}, "
            f"scoring {scoring:.1f}, writing {writing:.1f} and the whole run {whole:.1f} times as dear."
        )
    if len(r.by_event_rate) > 1 and r.whole is not None:
        us = event_us(r.by_event_rate)
        scans = 1e3 * us / r.whole.ns
        said.append(
            f"An event from outside costs {us:.0f} µs, as much as {scans:.0f} scans, {r.call_us:.0f} µs of it the call of "
            f"the compiled block; at {36e3 / scans:,.0f} events an hour they cost as much as all the rest."
        )
    return said


def what_limits(r: Results) -> list[str]:
    """Sentences, the weightiest first; none for what was not measured."""
    return _scan(r) + _run(r)
