"""The outside of a run: each kind of event does what it says, at its time, and takes back what it lent."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import simpy
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.process_image import Selection
from plant_model.instruments import Channel, Fault
from scenarios.errors import InputRefused
from scenarios.preparation import prepare
from scenarios.row import COLUMNS, INDEX
from scenarios.scenario import Scenario
from scenarios.weather_log import day_of_year, weather_log
from scenarios.world import PRESS_MS, World

ROOT = Path(__file__).resolve().parents[2]
Write = Callable[..., Path]
BASE_W = 330_000.0


def event(kind: str, **keys: str | float) -> str:
    lines = [f"{key} = {value!r}".replace("'", '"') for key, value in keys.items()]
    return f'[[event]]\nkind = "{kind}"\n' + "\n".join(lines) + "\n"


class Outside:
    """A world without a plant: SimPy runs alone, and the test looks at what it wrote."""

    def __init__(self, scenario: Scenario, operator: object, disturbances: object, seed: int = 5) -> None:
        self.values = np.zeros(len(COLUMNS))
        self.world = World(simpy.Environment(), operator, disturbances, self.values, [], scenario, seed)  # type: ignore[arg-type]
        self.world.start_all()

    def to(self, time_s: float) -> World:
        """Everything that happens up to a moment, events at that very moment included."""
        env = self.world.env
        while env.peek() <= 1000.0 * time_s:
            env.step()
        if 1000 * time_s > env.now:
            env.run(until=env.timeout(round(1000 * time_s) - env.now))
        return self.world

    def load_w(self, time_s: float) -> float:
        return self.to(time_s).load_now_w()

    def texts(self) -> list[str]:
        return [e.text for e in self.world.noted]


@pytest.fixture
def outside(scenario: Write) -> Callable[..., Outside]:
    def make(*events: str, minutes: int = 20) -> Outside:
        prepared = prepare([scenario("".join(events), minutes=minutes)])[0]
        return Outside(prepared.scenario, prepared.operator(), prepared.disturbances(), prepared.seed)

    return make


Make = Callable[..., Outside]


def test_without_events_nothing_changes(outside: Make) -> None:
    o = outside()
    assert o.load_w(1000) == BASE_W
    assert o.texts() == []


def test_a_load_step_by_a_change_and_to_a_value(outside: Make) -> None:
    o = outside(event("load_step", at="60 s", change="+110 kW"), event("load_step", at="120 s", to="90 kW"))
    assert [o.load_w(t) for t in (59.9, 60, 119.9, 120, 600)] == [BASE_W, 440e3, 440e3, 90e3, 90e3]
    assert o.texts() == ["load 330 → 440 kW", "load 440 → 90 kW"]
    assert [e.time_ms for e in o.world.noted] == [60_000, 120_000]


def test_a_load_does_not_fall_below_nothing(outside: Make) -> None:
    o = outside(event("load_step", at="60 s", change="-900 kW"))
    assert o.load_w(61) == 0.0


def test_a_load_ramp_is_a_straight_line(outside: Make) -> None:
    o = outside(event("load_ramp", at="100 s", to="430 kW", over="200 s"))
    assert [o.load_w(t) for t in (100, 150, 200, 300, 900)] == pytest.approx([330e3, 355e3, 380e3, 430e3, 430e3])
    assert o.world.disturbances.load_heat_rate_w_s == 0.0
    assert o.texts() == ["load 330 → 430 kW"]


def test_a_step_in_a_ramp_adds_to_it(outside: Make) -> None:
    o = outside(
        event("load_ramp", at="100 s", to="430 kW", over="200 s"), event("load_step", at="200 s", change="+50 kW")
    )
    assert [o.load_w(t) for t in (199, 200, 250, 300, 900)] == pytest.approx([379.5e3, 430e3, 455e3, 480e3, 480e3])


def test_batches_add_up_and_return_to_the_base_exactly(outside: Make) -> None:
    o = outside(
        event("batch_arrivals", **{"from": "1 min"}, until="10 min", every="20 s", heat="33.333 kW", lasting="90 s"),
        event("batch_arrivals", **{"from": "2 min"}, until="9 min", every="50 s", heat="20 kW", lasting="150 s"),
    )
    loads = {t: o.load_w(t) for t in range(0, 1200, 3)}
    arrived = [(e.time_ms / 1000.0, e.text) for e in o.world.noted]
    assert len(arrived) > 20
    assert {text for _, text in arrived} == {"a batch arrives: +33.333 kW", "a batch arrives: +20 kW"}
    for t, load_w in loads.items():
        here = sum(33_333.0 for s, text in arrived if "33" in text and s <= t < s + 90.0)
        here += sum(20_000.0 for s, text in arrived if "20" in text and s <= t < s + 150.0)
        assert load_w == BASE_W + here, t
    assert max(loads.values()) > BASE_W + 2 * 33_333.0  # they do overlap
    assert loads[1197] == BASE_W
    assert all(60.0 < t < 600.0 for t, _ in arrived)


def test_batches_come_by_their_own_chance(outside: Make) -> None:
    keys = {"from": "1 min", "until": "10 min", "every": "20 s", "heat": "30 kW", "lasting": "10 s"}
    alone = outside(event("batch_arrivals", **keys))
    with_another = outside(event("batch_arrivals", **keys), event("batch_arrivals", **keys))
    alone.to(600), with_another.to(600)
    own = [e.time_ms for e in alone.world.noted]
    both = [e.time_ms for e in with_another.world.noted]
    assert set(own) < set(both)
    assert len(both) != 2 * len(set(own))  # the second is no copy of the first


DOORS = {"from": "1 h", "until": "11 h", "heat": "20 kW", "lasting": "40 s"}


def openings(o: Outside) -> list[tuple[int, float]]:
    found = [e for e in o.world.noted if e.source == "door_traffic"]
    return [(e.time_ms, float(e.text.split()[-2])) for e in found]


def test_doors_open_at_their_rate_and_close_again(outside: Make) -> None:
    o = outside(event("door_traffic", **DOORS, rate="30 /h"), minutes=720)
    loads = [o.load_w(t) for t in range(0, 43_200, 10)]
    found = openings(o)
    # Poisson: 300 expected in ten hours, standard deviation √300 = 17; exponential mean 40 s, its own error 40/√n
    assert abs(len(found) - 300) < 4 * math.sqrt(300)
    assert abs(sum(lasts for _, lasts in found) / len(found) - 40.0) < 4 * 40.0 / math.sqrt(len(found)) + 0.5
    assert all(3_600_000 < t < 39_600_000 for t, _ in found)
    assert {round((load - BASE_W) / 20e3, 9) for load in loads} >= {0.0, 1.0, 2.0}  # they overlap, and add
    assert all(((load - BASE_W) / 20e3) == pytest.approx(round((load - BASE_W) / 20e3)) for load in loads)
    assert loads[-1] == pytest.approx(BASE_W)


def test_a_rate_of_doors_that_differs_between_from_and_until(outside: Make) -> None:
    o = outside(event("door_traffic", **DOORS, rate="0 /h", rate_until="60 /h"), minutes=720)
    o.to(43_000)
    early = sum(t < 21_600_000 for t, _ in openings(o))
    late = len(openings(o)) - early
    # the rate rises evenly: a quarter of the 300 in the first half, 75 and 225, ± 4 standard deviations
    assert abs(early - 75) < 4 * math.sqrt(75)
    assert abs(late - 225) < 4 * math.sqrt(225)


def test_doors_that_never_open_and_doors_with_a_chance_of_their_own(outside: Make) -> None:
    never = outside(event("door_traffic", **DOORS, rate="0 /h"), minutes=720)
    never.to(43_000)
    assert openings(never) == []
    traffic = event("door_traffic", **DOORS, rate="30 /h")
    alone = outside(traffic, minutes=720)
    more = outside(traffic, event("batch_arrivals", **{"from": "1 h"}, until="9 h", every="5 min", heat="9 kW",
                                  lasting="1 min"), traffic, minutes=720)  # fmt: skip
    alone.to(43_000), more.to(43_000)
    assert set(openings(alone)) < set(openings(more))
    assert len(openings(more)) > 1.5 * len(openings(alone))


def test_the_load_follows_a_record(outside: Make, tmp_path: Path) -> None:
    (tmp_path / "hall.csv").write_text("time [s];load [kW]\n0;100\n60;150\n120;80\n", encoding="utf-8")
    o = outside(
        event("load_log", file="hall.csv", at="100 s", scale=2.0), event("load_step", at="130 s", change="+7 kW")
    )
    loads = [o.load_w(t) for t in (99, 100, 129, 130, 160, 220, 900)]
    assert loads == pytest.approx([330e3, 200e3, 200e3, 207e3, 307e3, 167e3, 167e3])
    assert o.texts()[0] == "the load follows hall.csv, 3 rows"


def test_two_overlapping_losses_of_load_open_when_both_are_over(outside: Make) -> None:
    o = outside(
        event("load_loss", at="60 s", lasting="60 s"),
        event("load_loss", at="90 s", lasting="110 s"),
    )
    seen = [o.to(t).disturbances.evaporator_open_frac for t in (59, 60, 119, 120, 199, 200)]
    assert seen == [1.0, 0.0, 0.0, 0.0, 0.0, 1.0]
    assert o.texts() == ["all evaporator groups close"] * 2 + ["the evaporator groups open again"]


def test_a_loss_without_an_end_stays(outside: Make) -> None:
    o = outside(event("load_loss", at="60 s"), event("load_loss", at="90 s", lasting="10 s"))
    assert o.to(1100).disturbances.evaporator_open_frac == 0.0


def wet_bulb_k(world: World) -> float:
    d = world.disturbances
    return d.wet_bulb_k + d.wet_bulb_rate_k_s * (int(world.env.now) - d.wet_bulb_since_ms) / 1000.0


def test_wet_bulb_drifts_are_piecewise_straight_and_add_up(outside: Make) -> None:
    o = outside(
        event("wet_bulb_drift", **{"from": "100 s"}, until="300 s", by="4 K"),
        event("wet_bulb_drift", **{"from": "200 s"}, until="400 s", by="-2 K"),
    )
    start_k = wet_bulb_k(o.to(0))
    gone = [wet_bulb_k(o.to(t)) - start_k for t in (100, 150, 200, 250, 300, 350, 400, 1000)]
    assert gone == pytest.approx([0.0, 1.0, 2.0, 2.5, 3.0, 2.5, 2.0, 2.0], abs=1e-9)
    assert o.world.disturbances.wet_bulb_rate_k_s == pytest.approx(0.0, abs=1e-15)


def test_a_wet_bulb_step_goes_to_its_value(outside: Make) -> None:
    o = outside(event("wet_bulb_step", at="60 s", to="25.5 °C"))
    assert wet_bulb_k(o.to(59)) == 295.15
    assert wet_bulb_k(o.to(60)) == pytest.approx(298.65)
    assert o.texts() == ["wet bulb 25.5 °C"]


EXCERPT = ROOT / "scenarios" / "library" / "weather" / "upland_town_may_tmy3.csv"


def test_the_wet_bulb_follows_a_weather_file_hour_by_hour(outside: Make) -> None:
    o = outside(event("weather_log", file=str(EXCERPT), day="05-11", clock="05:30", at="10 min"), minutes=240)
    log, first = weather_log(EXCERPT), 24 * day_of_year("05-11")
    before, six, seven, eight = (log.wet_bulb_k[first + h] for h in (5, 6, 7, 8))
    assert wet_bulb_k(o.to(599)) == 295.15
    seen = [wet_bulb_k(o.to(600 + t)) for t in (0, 900, 1800, 3600, 5400, 9000)]
    half = 0.5 * (before + six)
    assert seen == pytest.approx([half, 0.5 * (half + six), six, 0.5 * (six + seven), seven, eight], abs=1e-9)
    assert o.texts() == ["the weather is that of GREENSBORO PIEDMONT TRIAD INT, NC, 05-11 05:30"]


def test_a_drift_adds_to_the_weather_and_the_last_hour_stays(outside: Make) -> None:
    weather = event("weather_log", file=str(EXCERPT), day="05-11", clock="06:00")
    drift = event("wet_bulb_drift", **{"from": "30 min"}, until="90 min", by="3 K")
    alone, both = outside(weather, minutes=180), outside(weather, drift, minutes=180)
    for t, more_k in ((0, 0.0), (1800, 0.0), (3600, 1.5), (5400, 3.0), (10_700, 3.0)):
        assert wet_bulb_k(both.to(t)) == pytest.approx(wet_bulb_k(alone.to(t)) + more_k, abs=1e-9)


def test_weather_that_does_not_reach_to_the_end_is_refused(outside: Make) -> None:
    with pytest.raises(InputRefused, match="05-13 01:00 is needed and not there"):
        outside(event("weather_log", file=str(EXCERPT), day="05-12", clock="22:00"), minutes=180)
    with pytest.raises(InputRefused, match=r"file: no such file"):
        outside(event("weather_log", file="nowhere.csv", day="05-12"))


def test_condenser_fans(outside: Make) -> None:
    o = outside(event("condenser_fans", at="60 s", running="50 %"), event("condenser_fans", at="90 s", running="100 %"))
    assert [o.to(t).disturbances.condenser_fans_frac for t in (59, 60, 90)] == [1.0, 0.5, 1.0]
    assert o.texts() == ["50 % of the condenser fans run", "100 % of the condenser fans run"]


def test_the_safety_chain_closes_when_every_cause_is_gone(outside: Make) -> None:
    o = outside(event("safety_chain", at="60 s", lasting="60 s"), event("safety_chain", at="90 s", lasting="60 s"))
    seen = [o.to(t).operator.safety_chain_closed for t in (59, 60, 120, 149, 150)]
    assert seen == [True, False, False, False, True]


@pytest.mark.parametrize(("action", "name"), [("stop_button", "stop_button_pressed"), ("reset", "reset_pressed")])
def test_a_press_lasts_half_a_second(outside: Make, action: str, name: str) -> None:
    o = outside(event("operator", at="60 s", action=action))
    assert PRESS_MS == 500
    seen = [getattr(o.to(t).operator, name) for t in (59.9, 60, 60.4, 60.5, 70)]
    assert seen == [False, True, True, False, False]
    assert o.texts() == [action.replace("_", " ")]


@pytest.mark.parametrize(
    ("keys", "name", "value"),
    [
        ({"action": "select_off"}, "selection", Selection.OFF),
        ({"action": "select_remote"}, "selection", Selection.REMOTE),
        ({"action": "remote_run_on"}, "remote_run", True),
        ({"action": "second_set_point_on"}, "second_set_point", True),
        ({"action": "capacity_manual_on", "demand": "40 %"}, "capacity_manual", True),
        ({"action": "capacity_manual_on", "demand": "40 %"}, "capacity_manual_demand_pct", 40.0),
        ({"action": "volume_ratio_manual_on", "demand": "70 %"}, "volume_ratio_manual_demand_pct", 70.0),
        ({"action": "remote_demand", "demand": "55 %"}, "remote_demand_pct", 55.0),
        ({"action": "announce_load", "demand": "-20 %"}, "announced_load_pct", -20.0),
    ],
)
def test_a_switch_stays_where_it_was_put(outside: Make, keys: dict[str, str], name: str, value: object) -> None:
    o = outside(event("operator", at="60 s", **keys))
    assert getattr(o.to(59).operator, name) != value
    assert getattr(o.to(61).operator, name) == value
    assert getattr(o.to(900).operator, name) == value


def test_an_instrument_fails_and_recovers(outside: Make) -> None:
    o = outside(
        event("instrument_fault", at="60 s", instrument="oil_level", fault="bias", size="-5 %", lasting="30 s"),
        event("instrument_fault", at="70 s", instrument="motor_current", fault="open_circuit"),
    )
    level, current = Channel.OIL_LEVEL, Channel.MOTOR_CURRENT
    d = o.to(65).disturbances
    assert (d.fault_kind[level], d.fault_size_frac[level], d.fault_kind[current]) == (Fault.BIAS, -0.05, Fault.NONE)
    d = o.to(95).disturbances
    assert (d.fault_kind[level], d.fault_size_frac[level], d.fault_kind[current]) == (0, 0.0, Fault.OPEN_CIRCUIT)
    assert sum(kind != 0 for kind in o.to(900).disturbances.fault_kind) == 1
    assert o.texts() == ["bias -5 % of span", "open circuit", "works again"]


def test_of_two_faults_the_latest_shows_until_it_is_over(outside: Make) -> None:
    instrument = "suction_pressure"
    o = outside(
        event("instrument_fault", at="60 s", instrument=instrument, fault="bias", size="2 %", lasting="100 s"),
        event("instrument_fault", at="90 s", instrument=instrument, fault="stuck", lasting="30 s"),
        event("instrument_fault", at="100 s", instrument=instrument, fault="stuck", lasting="200 s"),
    )
    seen = [Fault(o.to(t).disturbances.fault_kind[0]) for t in (60, 90, 125, 155, 165, 301)]
    assert seen == [Fault.BIAS, Fault.STUCK, Fault.STUCK, Fault.STUCK, Fault.STUCK, Fault.NONE]
    assert o.texts()[-1] == "works again"


WAIT = '[[event]]\nkind = "wait_for"\ncolumn = "suction_pressure_pa"\nbelow = "250 kPa"\n{more}\n'
THEN = '[event.then]\nkind = "load_step"\nto = "10 kW"\n'


def test_a_watch_acts_after_its_time(outside: Make) -> None:
    o = outside(WAIT.format(more='at = "20 s"\nafter = "30 s"') + THEN)
    assert o.to(19).watch_table().shape == (0, 3)
    table = o.to(20).watch_table()
    assert table.tolist() == [[INDEX["suction_pressure_pa"], 250_000.0, -1.0]]
    o.to(40)
    o.world.fire(0, 40_100)
    assert o.world.watch_table().shape == (0, 3)
    assert [o.load_w(t) for t in (70.0, 70.1)] == [BASE_W, 10e3]
    assert o.texts() == ["suction_pressure_pa reached 250000", "load 330 → 10 kW"]
    assert [e.time_ms for e in o.world.noted] == [40_100, 70_100]


def test_a_watch_that_does_not_fire_in_time_gives_up(outside: Make) -> None:
    o = outside(WAIT.format(more='at = "20 s"\nwithin = "60 s"') + THEN)
    assert len(o.to(79).watch_table()) == 1
    assert len(o.to(80).watch_table()) == 0
    assert o.load_w(900) == BASE_W
    assert o.texts() == ["suction_pressure_pa did not reach 250000 in time"]


def test_a_watch_that_fires_in_time_does_not_give_up_later(outside: Make) -> None:
    o = outside(WAIT.format(more='within = "60 s"') + THEN)
    o.to(30)
    o.world.fire(0, 30_000)
    assert o.load_w(100) == 10e3
    assert len([t for t in o.texts() if "in time" in t]) == 0


def test_of_two_watches_the_right_one_fires(outside: Make) -> None:
    second = WAIT.replace("below", "above").format(more="") + THEN.replace("10 kW", "20 kW")
    o = outside(WAIT.format(more="") + THEN + second)
    assert [row[2] for row in o.to(5).watch_table().tolist()] == [-1.0, 1.0]
    o.world.fire(1, 5_000)
    assert o.load_w(6) == 20e3
    assert [row[2] for row in o.world.watch_table().tolist()] == [-1.0]


def test_a_column_is_read_from_the_last_row(outside: Make) -> None:
    o = outside()
    o.values[INDEX["vessel_level_frac"]] = 0.42
    assert o.world.read("vessel_level_frac") == 0.42


@given(
    steps=st.lists(st.tuples(st.integers(1, 600), st.integers(-200, 200)), max_size=6),
    ramps=st.lists(st.tuples(st.integers(1, 600), st.integers(1, 300), st.integers(0, 900)), max_size=3),
)
@settings(max_examples=25, deadline=None)
def test_whatever_overlaps_the_load_is_finite_and_never_negative(
    steps: list[tuple[int, int]], ramps: list[tuple[int, int, int]]
) -> None:
    from tempfile import TemporaryDirectory

    root = Path(__file__).resolve().parents[2]
    events = "".join(event("load_step", at=f"{t} s", change=f"{kw:+d} kW") for t, kw in steps)
    events += "".join(event("load_ramp", at=f"{t} s", over=f"{o} s", to=f"{kw} kW") for t, o, kw in ramps)
    with TemporaryDirectory() as folder:
        path = Path(folder) / "s.toml"
        path.write_text(
            f'title = "t"\npurpose = "p"\nexpects = "e"\nplant = "{root}/scenarios/library/plants/harrow_ness.toml"\n'
            f'controller = "scheduled_pi"\nduration = "20 min"\n[start]\nload = "330 kW"\n{events}'
        )
        prepared = prepare([path])[0]
    o = Outside(prepared.scenario, prepared.operator(), prepared.disturbances())
    for t in range(0, 1000, 50):
        load_w = o.load_w(t)
        assert np.isfinite(load_w)
        assert load_w < 5e6
    assert o.load_w(1000) >= -1e-3  # rounding of the last piece; the plant takes no load below nothing
    # with every ramp over, the load stands still
    assert abs(o.world.disturbances.load_heat_rate_w_s) < 1e-9
