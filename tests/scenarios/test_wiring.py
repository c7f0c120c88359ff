"""The wires: fifteen loops from plant to process image, and the chain that no controller can bridge."""

from __future__ import annotations

from dataclasses import fields
from itertools import product
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.process_image import Health, Inputs, Outputs, Selection
from controller.scaling import to_milliampere
from plant_model.derived import derive
from plant_model.instruments import Channel, measure
from plant_model.parameters import PlantParameters
from plant_model.state import Actuators, Disturbances, PlantState, Readings
from scenarios.preparation import wiring_of
from scenarios.wiring import Operator, Wiring, wire_inputs, wire_outputs

PLANT = PlantParameters()
WIRING = wiring_of(PLANT.instruments)
NAMES = [f.name for f in fields(Inputs)]
# plant side → cabinet side: unit of the plant's instrument, of the process image, factor and offset (SI definitions)
UNITS = {"pa": ("kpa_abs", 1e-3, 0.0), "k": ("c", 1.0, -273.15), "frac": ("pct", 100.0, 0.0), "a": ("a", 1.0, 0.0),
         "w": ("kw", 1e-3, 0.0)}  # fmt: skip


def _span(channel: Channel) -> tuple[str, float, float]:
    """Unit and span of a transmitter in the plant's own units."""
    instrument = getattr(PLANT.instruments, channel.name.lower())
    unit = next(f.name.removeprefix("low_") for f in fields(instrument) if f.name.startswith("low_"))
    return unit, getattr(instrument, f"low_{unit}"), getattr(instrument, f"high_{unit}")


def test_channels_stand_in_the_process_images_order() -> None:
    assert len(Channel) == 15
    for channel in Channel:
        unit = _span(channel)[0]
        assert NAMES[channel] == f"{channel.name.lower()}_{UNITS[unit][0]}"
        assert NAMES[15 + channel] == f"{channel.name.lower()}_health"


@pytest.mark.parametrize("channel", Channel)
@given(share=st.floats(0.0, 1.0))
def test_a_true_value_comes_through_in_the_cabinets_unit(channel: Channel, share: float) -> None:
    unit, low, high = _span(channel)
    true = low + share * (high - low)
    readings, inputs = Readings(), Inputs()
    readings.milliamp[channel] = to_milliampere(true, low, high)
    wire_inputs(WIRING, Operator(), readings, inputs)
    _, factor, offset = UNITS[unit]
    span = abs(high - low) * factor
    assert getattr(inputs, NAMES[channel]) == pytest.approx(true * factor + offset, abs=1e-12 * max(span, 300.0))


@pytest.mark.parametrize("channel", Channel)
@pytest.mark.parametrize(
    ("milliamp", "health"),  # NAMUR NE 43: 3.8 to 20.5 mA is a measurement, ≤ 3.6 and ≥ 21 mA is a failure
    [(3.5, Health.UNDER), (3.6, Health.UNDER), (3.8, Health.GOOD), (12.0, Health.GOOD), (20.5, Health.GOOD),
     (21.0, Health.OVER), (21.5, Health.OVER)],
)  # fmt: skip
def test_one_failed_loop_is_one_bad_health(channel: Channel, milliamp: float, health: Health) -> None:
    readings, inputs = Readings(milliamp=[12.0] * 15), Inputs()
    readings.milliamp[channel] = milliamp
    wire_inputs(WIRING, Operator(), readings, inputs)
    for other in Channel:
        expected = health if other == channel else Health.GOOD
        assert getattr(inputs, f"{other.name.lower()}_health") == expected


def test_the_plants_own_loops_read_as_the_plant_is() -> None:
    """Settled sensors without noise: what the image shows is the state, to the resolution of the input card."""
    p = derive(PLANT, "R717")
    state, readings, inputs = PlantState(), Readings(), Inputs()
    state.lagged = [0.1 + 0.05 * k for k in range(15)]
    measure(p, state, Disturbances(), readings)
    wire_inputs(WIRING, Operator(), readings, inputs)
    for channel in Channel:
        unit, low, high = _span(channel)
        _, factor, offset = UNITS[unit]
        count = (high - low) * factor / 16.0 / PLANT.instruments.counts_per_milliamp
        expected = (low + state.lagged[channel] * (high - low)) * factor + offset
        assert abs(getattr(inputs, NAMES[channel]) - expected) <= 0.5001 * count


def test_contacts_and_switches_come_through_one_by_one() -> None:
    quiet = Inputs()
    wire_inputs(WIRING, Operator(), Readings(), quiet)
    for name, value in (
        ("stop_button_pressed", True), ("reset_pressed", True), ("valves_open", False), ("remote_run", True),
        ("second_set_point", True), ("capacity_manual", True), ("volume_ratio_manual", True),
        ("safety_chain_closed", False), ("selection", Selection.REMOTE), ("remote_demand_pct", 11.0),
        ("capacity_manual_demand_pct", 12.0), ("volume_ratio_manual_demand_pct", 13.0), ("announced_load_pct", 14.0),
    ):  # fmt: skip
        inputs = Inputs()
        wire_inputs(WIRING, Operator(**{name: value}), Readings(), inputs)
        assert [n for n in NAMES if getattr(inputs, n) != getattr(quiet, n)] == [name]
        assert getattr(inputs, name) == value
    for name in ("motor_running", "vessel_high_high_level"):
        inputs = Inputs()
        wire_inputs(WIRING, Operator(), Readings(**{name: True}), inputs)
        assert [n for n in NAMES if getattr(inputs, n) != getattr(quiet, n)] == [name]


def test_every_input_is_written() -> None:
    """A field that nobody wires would keep what it was."""
    strange = Inputs(**dict.fromkeys(NAMES, -77))
    wire_inputs(WIRING, Operator(), Readings(), strange)
    # how long the supply was away is known to the engine, which writes it itself
    assert [name for name in NAMES if getattr(strange, name) == -77] == ["supply_interrupted_ms"]


@pytest.mark.parametrize(("run", "chain", "button"), list(product([True, False], repeat=3)))
def test_chain_and_stop_button_break_the_contactor_whatever_the_controller_says(
    run: bool, chain: bool, button: bool
) -> None:
    actuators = Actuators()
    operator = Operator(safety_chain_closed=chain, stop_button_pressed=button)
    wire_outputs(Outputs(motor_run=run, oil_pump=True), operator, actuators)
    assert actuators.motor_run == (run and chain and not button)
    assert actuators.oil_pump  # the chain breaks the motor, and nothing else


def test_each_command_reaches_its_own_actuator() -> None:
    names = [f.name for f in fields(Actuators)]
    for name in names:
        actuators = Actuators()
        wire_outputs(Outputs(**{name: True}), Operator(), actuators)
        assert [n for n in names if getattr(actuators, n)] == [name]


def test_the_hard_wired_chain_holds_against_a_deaf_controller(scenario: object, tmp_path: Path) -> None:
    """A whole run: a controller that commands the motor for ever does not keep it from stopping."""
    from scenarios.entries import PythonEntry
    from scenarios.preparation import prepare
    from scenarios.row import INDEX
    from scenarios.session import Session, memory_buffers

    events = '[[event]]\nkind = "safety_chain"\nat = "100 s"\nlasting = "20 s"\n'
    events += '[[event]]\nkind = "operator"\nat = "150 s"\naction = "stop_button"\n'
    prepared = prepare([scenario(events)], log_ms=100)[0]  # type: ignore[operator]

    def deaf(_inputs: Inputs, outputs: Outputs, _now_ms: int) -> None:
        outputs.motor_run = outputs.oil_pump = True

    session = Session(prepared, PythonEntry(deaf), memory_buffers(180_000, 100, 100))
    session.play()
    rows = session.buffers.rows[: session.run.row_count]
    current_a, commanded = rows[:, INDEX["motor_current_a"]], rows[:, INDEX["motor_run"]]
    assert commanded.all()
    assert current_a[999] > 50.0
    assert current_a[1005:1195].max() == 0.0
    assert current_a[1205:1495].min() > 0.0  # closed again: the contactor of this plant does not latch out
    assert current_a[1502:1504].max() == 0.0


def test_wiring_takes_its_scale_from_the_plants_transmitters() -> None:
    assert isinstance(WIRING, Wiring)
    for channel in Channel:
        unit, low, high = _span(channel)
        _, factor, offset = UNITS[unit]
        assert WIRING.low[channel] == pytest.approx(low * factor + offset, abs=1e-9)
        assert WIRING.high[channel] == pytest.approx(high * factor + offset, abs=1e-9)
