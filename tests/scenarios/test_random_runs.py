"""Random scenarios on the demo plant: whatever happens from outside, no requirement breaks, and the books close."""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
import pytest
from hypothesis import event, given, settings
from hypothesis import strategies as st

from controller.process_image import Mode
from controller.registry import SHIPPED
from plant_model.instruments import Channel
from plant_model.ledger import energy_residual_frac, mass_residual_frac
from scenarios.engine import BlockEnd
from scenarios.event_kinds import Action, Operator
from scenarios.preparation import prepare
from scenarios.requirements import check_all
from scenarios.runner import open_session
from scenarios.session import memory_buffers
from scenarios.trace import Trace, trace_of

PLANT = Path(__file__).resolve().parents[2] / "scenarios" / "library" / "plants" / "harrow_ness.toml"
INSTRUMENTS = tuple(channel.name.lower() for channel in Channel)
FAULTS = ("open_circuit", "short_circuit", "stuck", "bias")
AT = st.integers(0, 170).map(lambda s: f'at = "{s} s"')
LASTING = st.integers(1, 90).map(lambda s: f'lasting = "{s} s"') | st.just("")


def made(kind: str, *lines: st.SearchStrategy[str]) -> st.SearchStrategy[str]:
    return st.tuples(*lines).map(lambda found: f'[[event]]\nkind = "{kind}"\n' + "\n".join(found) + "\n")


def action(name: Action) -> st.SearchStrategy[str]:
    line = f'action = "{name.value}"'
    if name in Operator.WITH_DEMAND:
        return st.integers(0, 100).map(lambda pct: f'{line}\ndemand = "{pct} %"')
    return st.just(line)


def fault(name: str) -> st.SearchStrategy[str]:
    if name == "bias":
        return st.integers(-10, 10).map(lambda pct: f'fault = "bias"\nsize = "{pct} %"')
    return st.just(f'fault = "{name}"')


EVENT = st.one_of(
    made("load_step", AT, st.integers(0, 700).map(lambda kw: f'to = "{kw} kW"')),
    made("load_step", AT, st.integers(-400, 400).map(lambda kw: f'change = "{kw:+d} kW"')),
    made(
        "load_ramp", AT, st.integers(0, 700).map(lambda kw: f'to = "{kw} kW"'),
        st.integers(1, 120).map(lambda s: f'over = "{s} s"'),
    ),
    made("load_loss", AT, LASTING),
    made("condenser_fans", AT, st.integers(0, 100).map(lambda pct: f'running = "{pct} %"')),
    made("wet_bulb_step", AT, st.integers(5, 35).map(lambda c: f'to = "{c} °C"')),
    made(
        "wet_bulb_drift", st.tuples(st.integers(0, 80), st.integers(81, 180)).map(
            lambda t: f'from = "{t[0]} s"\nuntil = "{t[1]} s"'
        ), st.integers(-8, 8).map(lambda k: f'by = "{k} K"'),
    ),
    made(
        "batch_arrivals", st.just('from = "5 s"\nuntil = "170 s"'), st.integers(5, 60).map(lambda s: f'every = "{s} s"'),
        st.integers(5, 80).map(lambda kw: f'heat = "{kw} kW"'), st.integers(5, 90).map(lambda s: f'lasting = "{s} s"'),
    ),
    made("safety_chain", AT, LASTING),
    st.tuples(st.sampled_from(INSTRUMENTS), st.sampled_from(FAULTS)).flatmap(
        lambda pair: made("instrument_fault", AT, LASTING, st.just(f'instrument = "{pair[0]}"'), fault(pair[1]))
    ),
    made("operator", AT, st.sampled_from(list(Action)).flatmap(action)),
)  # fmt: skip
START = st.sampled_from(["stopped", "running"])


def _run_and_check(controller: str, events: list[str], seed: int, machine: str, load_kw: int, log_ms: int) -> Trace:
    with TemporaryDirectory() as folder:
        path = Path(folder) / "random.toml"
        path.write_text(
            f'title = "Random"\npurpose = "anything"\nexpects = "no violation"\nplant = "{PLANT}"\n'
            f'controller = "{controller}"\nduration = "3 min"\nseed = {seed}\n'
            f'[start]\nmachine = "{machine}"\nload = "{load_kw} kW"\nsuction_pressure = "-8 °C sat"\n{"".join(events)}',
            encoding="utf-8",
        )
        prepared = prepare([path], log_ms=log_ms)[0]
    session, _ = open_session(prepared, memory_buffers(180_000, 100, log_ms))
    start = session.plant_state()
    assert session.play() is BlockEnd.REACHED
    run = session.run
    rows, edges = session.buffers.rows[: run.row_count], session.buffers.edges[: run.edge_count]
    assert np.isfinite(rows).all()
    assert run.edges_lost == 0
    trace = trace_of(rows, edges, session.noted, {})
    verdict = check_all(trace, prepared.limits)
    assert verdict.violations == ()
    assert verdict.skipped == ()
    end = session.plant_state()
    assert mass_residual_frac(prepared.parameters, start, end) <= 1e-6
    assert energy_residual_frac(prepared.parameters, start, end) <= 1e-6
    return trace


@pytest.mark.parametrize("controller", SHIPPED)
@given(
    events=st.lists(EVENT, max_size=8),
    seed=st.integers(0, 2**32),
    machine=START,
    load_kw=st.integers(150, 600),
    log_ms=st.sampled_from([100, 1000]),
)
@settings(max_examples=25, deadline=None)
def test_random_scenarios_break_nothing(
    controller: str, events: list[str], seed: int, machine: str, load_kw: int, log_ms: int
) -> None:
    trace = _run_and_check(controller, events, seed, machine, load_kw, log_ms)
    for mode in sorted(set(trace["mode"].tolist())):
        event(f"seen {Mode(int(mode)).name}")


def _single_faults() -> list[Any]:
    cases = []
    for instrument in INSTRUMENTS:
        for text in ("open_circuit", "short_circuit", "stuck", "bias +10", "bias -10"):
            name, _, size = text.partition(" ")
            lines = f'fault = "{name}"' + (f'\nsize = "{size} %"' if size else "")
            cases.append(pytest.param(instrument, lines, id=f"{instrument} {text}"))
    return cases


@pytest.mark.parametrize("controller", SHIPPED)
@pytest.mark.parametrize(("instrument", "fault_lines"), _single_faults())
def test_one_failed_instrument_breaks_nothing(controller: str, instrument: str, fault_lines: str) -> None:
    """Systematic, because chance finds a single pair of instrument and fault about once in a thousand runs."""
    failed = f'[[event]]\nkind = "instrument_fault"\nat = "60 s"\ninstrument = "{instrument}"\n{fault_lines}\n'
    _run_and_check(controller, [failed], 1, "running", 380, 100)
