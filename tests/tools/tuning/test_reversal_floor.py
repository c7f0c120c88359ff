"""How few reversals a controller could do with on the hours of the proof, if it knew the load and moved without steps.

Whoever keeps the slide within a distance of the load's own course turns round least often by a play (the slide stands until
the load is half a width away, then follows): it has the least variation of all curves at that distance (Krejčí, Hysteresis,
Convexity and Dissipation in Hyperbolic Equations, 1996; recalled).  What the distance costs in suction pressure follows
from the plant's own answers to a step of load with the slide at rest; of the rising and the falling one the softer is taken,
and the mean error of every hour is forgiven.  So real controllers, with delay, noise, pulses and no foresight, lie above.
It says why a step control that is searched as long as the others is hard to beat: see DEVELOPERS.md.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from scenarios.demo_sheets import demo_settings
from tools.tuning.cases import Bench, case_set
from tools.tuning.tuning_scenarios import copy_plant, drawn_hour, scenario_text

PLANT = Path(__file__).resolve().parents[3] / "scenarios" / "library" / "plants" / "harrow_ness.toml"
CAPACITY_W = 592_667.0  # of the demo plant at full travel, as a tuning run reports it
STEP_FRAC = 0.05
TIME_S = np.arange(0.0, 3600.0, 5.0)
Floats = NDArray[np.float64]


def load_frac(number: int) -> Floats:
    """The load of a drawn hour, as a share of full capacity, at TIME_S."""
    start, events = drawn_hour(1 + 7919, number)
    minutes = TIME_S / 60.0
    lasting = np.full_like(minutes, start)
    batches = np.zeros_like(minutes)
    for e in events:
        if e["kind"] == "load_step":
            lasting = np.where(minutes >= e["at"], lasting + e["change"], lasting)
        elif e["kind"] == "load_ramp":
            before = float(np.interp(e["at"], minutes, lasting))
            ramp = np.interp(minutes, [e["at"], e["at"] + e["over"]], [before, e["to"]])
            lasting = np.where(minutes >= e["at"], ramp, lasting)
        elif e["kind"] == "batch_arrivals":
            for at in np.arange(e["from"], e["until"], e["every"]):
                batches += np.where((minutes >= at) & (minutes < at + e["lasting"]), e["heat"], 0.0)
    return lasting + batches


def played(load: Floats, width: float) -> Floats:
    """What follows the load through a play of this whole width."""
    out, here = np.empty_like(load), float(load[0])
    for k, value in enumerate(load.tolist()):
        here = min(max(here, value - 0.5 * width), value + 0.5 * width)
        out[k] = here
    return out


def turns(course: Floats) -> int:
    """How often a course turns round."""
    ways = np.sign(np.diff(course))
    ways = ways[ways != 0.0]
    return int(np.sum(ways[1:] != ways[:-1]))


@pytest.fixture(scope="module")
def answer_kpa(tmp_path_factory: pytest.TempPathFactory) -> Floats:
    """Suction's answer to 1 % of load more at a resting slide, at TIME_S: the softer of a rise and a fall."""
    folder = tmp_path_factory.mktemp("resting")
    copy_plant(folder, PLANT)
    paths = []
    for name, change in (("up", STEP_FRAC), ("down", -STEP_FRAC)):
        text = scenario_text(
            name, PLANT, "scheduled_pi", 0.5, "running", ({"kind": "load_step", "at": 30, "change": change},),
            CAPACITY_W, 290.6, 5, "The slide rests.",
        )  # fmt: skip
        by_hand = '\n[[event]]\nkind = "operator"\nat = "2 min"\naction = "capacity_manual_on"\ndemand = "45 %"\n'
        paths.append(folder / f"{name}.toml")
        paths[-1].write_text(text + by_hand, encoding="utf-8")
    bench = Bench(case_set(paths, "scheduled_pi", demo_settings("scheduled_pi"), 1, 1))
    found = []
    for case in bench.cases:
        trace, fault = bench.watch(case, bench.set.base)
        assert fault == ""
        time_s, kpa = trace.time_s, trace["suction_pressure_pa"] / 1000.0
        before = kpa[(time_s > 1700.0) & (time_s < 1800.0)].mean()
        found.append(np.abs(np.interp(1800.0 + TIME_S, time_s, kpa - before)) / (100.0 * STEP_FRAC))
    softer: Floats = np.minimum(*found)
    return softer


def floor(answer_kpa: Floats, width: float, hours: int = 38) -> tuple[float, float]:
    """(RMS in kPa, reversals an hour) of the play over the proof's hours."""
    squares, count = [], []
    for number in range(hours):
        load = load_frac(number)
        course = played(load, width)
        off_pct = 100.0 * (load - course)
        off_pct -= off_pct.mean()
        kpa = np.convolve(np.diff(off_pct, prepend=0.0), answer_kpa)[: len(load)]
        squares.append(float(np.mean(kpa**2)))
        count.append(turns(course))
    return float(np.sqrt(np.mean(squares))), float(np.mean(count))


def test_a_play_turns_as_seldom_as_it_is_wide() -> None:
    wave = np.sin(np.linspace(0.0, 8.0 * np.pi, 400))
    assert turns(played(wave, 0.5)) == 8
    assert turns(played(wave, 2.1)) == 0
    assert np.abs(wave - played(wave, 0.5)).max() == pytest.approx(0.25)


def test_below_2_kpa_nobody_turns_less_than_the_load_itself(answer_kpa: Floats) -> None:
    rows = {width: floor(answer_kpa, width) for width in (0.01, 0.02, 0.03, 0.04, 0.06, 0.08)}
    for width, (rms_kpa, reversals) in rows.items():
        print(f"play of {100 * width:.0f} % of capacity: RMS {rms_kpa:.2f} kPa, {reversals:.2f} reversals an hour")
    assert all(reversals > 2.9 for rms_kpa, reversals in rows.values() if rms_kpa < 2.0)
    assert any(rms_kpa < 1.5 for rms_kpa, _ in rows.values())
    assert rows[0.08][1] < 1.0, "only who lets suction go by kilopascals saves reversals"
