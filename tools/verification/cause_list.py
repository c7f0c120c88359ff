"""Every cause of a cause-and-effect matrix, in its order."""

from __future__ import annotations

from typing import Any

from controller.process_image import Inhibit, Selection
from tools.verification.causes import (
    ANALOG_TRIPS,
    COMMANDS,
    GROUPS,
    INHIBITS,
    INSTRUMENTS,
    OIL,
    PERMISSIVES,
    PRE_ALARMS,
    REST,
    SEQUENCE,
    START,
    STOP,
    TRIPS,
    Cause,
    Signal,
    alarmed,
    delay_s,
    inhibited,
    plain,
    tripped,
)
from tools.verification.signal_box import COUNT_MA, INDEX, OPEN_MA, SHORT_MA, Act, Box, milliamp_of

_INHIBITED = (
    (Signal("motor_current", 1), "motor current rises", Inhibit.CURRENT_HOLD, Inhibit.CURRENT_UNLOAD),
    (
        Signal("discharge_pressure", 1, OIL),
        "discharge pressure rises",
        Inhibit.DISCHARGE_PRESSURE_HOLD,
        Inhibit.DISCHARGE_PRESSURE_UNLOAD,
    ),
    (Signal("suction_pressure", -1), "suction pressure falls", Inhibit.SUCTION_HOLD, Inhibit.SUCTION_UNLOAD),
    (
        Signal("discharge_temperature", 1),
        "discharge temperature rises",
        Inhibit.DISCHARGE_TEMPERATURE_HOLD,
        Inhibit.DISCHARGE_TEMPERATURE_UNLOAD,
    ),
)


def _operator(**changes: Any) -> Act:
    def act(box: Box) -> None:
        for name, value in changes.items():
            setattr(box.operator, name, value)

    return act


def _box(**changes: Any) -> Act:
    def act(box: Box) -> None:
        for name, value in changes.items():
            setattr(box, name, value)

    return act


def _failed(name: str, milliamp: float) -> Act:
    return lambda box: box.force(name, milliamp)


def _both(*acts: Act) -> Act:
    def act(box: Box) -> None:
        for one in acts:
            one(box)

    return act


def _dip(box: Box) -> None:
    """Two seconds without supply: nothing is scanned, the contactor drops out."""
    box.time_ms += DIP_MS
    box.interrupted_ms = DIP_MS
    box.motor_running, box.motor_changes_ms = False, 0


DIP_MS = 2_000
_RUN = _operator(selection=Selection.LOCAL)


def _analog_causes(settings: Any) -> list[Cause]:
    found = []
    for signal, text, trip, delay in ANALOG_TRIPS:
        found.append(
            Cause(
                f"trip.{plain(trip)}",
                TRIPS,
                text,
                signal=signal,
                wanted=tripped(trip),
                hold_s=delay_s(settings, delay) + 2.0,
                watch_s=delay_s(settings, delay),
            )
        )
        found.append(Cause(f"alarm.{plain(trip)}", PRE_ALARMS, text, signal=signal, wanted=alarmed(trip), hold_s=1.0))
    for signal, text, hold, unload in _INHIBITED:
        held, unloaded = inhibited(hold, unload)
        for state, wanted, words in ((hold, held, "capacity held"), (unload, unloaded, "forced unload")):
            found.append(
                Cause(f"inhibit.{plain(state)}", INHIBITS, f"{text}: {words}", signal=signal, wanted=wanted, hold_s=1.0)
            )
    return found


def _contact_causes() -> list[Cause]:
    chain = _operator(safety_chain_closed=True)
    return [
        Cause(
            "trip.stop button",
            TRIPS,
            "stop button pressed",
            act=_operator(stop_button_pressed=True),
            undo=_operator(stop_button_pressed=False),
        ),
        Cause("trip.safety chain", TRIPS, "safety chain opens", act=_operator(safety_chain_closed=False), undo=chain),
        Cause("trip.vessel high level", TRIPS, "vessel high-high level", act=_box(high_high_level=True)),
        Cause("trip.running feedback", TRIPS, "running feedback lost", act=_box(feedback=False)),
        Cause(
            "trip.capacity stuck",
            TRIPS,
            "capacity slide does not follow its drive",
            act=_box(capacity_stuck=True),
            watch_s=120.0,
        ),
        Cause(
            "trip.volume ratio stuck",
            TRIPS,
            "volume-ratio slide does not follow, by hand to 5 %",
            act=_both(
                _box(volume_ratio_stuck=True), _operator(volume_ratio_manual=True, volume_ratio_manual_demand_pct=5.0)
            ),
            undo=_both(Box.release, _operator(volume_ratio_manual=False)),
            watch_s=60.0,
        ),
        Cause(
            "trip.capacity halves",
            TRIPS,
            "capacity halves 15 % apart",
            act=_box(capacity_apart_pct=-15.0),
            watch_s=40.0,
        ),
        Cause(
            "trip.volume ratio halves",
            TRIPS,
            "volume-ratio halves 15 % apart",
            act=_box(volume_ratio_apart_pct=-15.0),
            watch_s=40.0,
        ),
    ]


def _instrument_causes() -> list[Cause]:
    found = []
    for name in INDEX:
        words = name.replace("_", " ")
        for milliamp, what in ((OPEN_MA, "open circuit"), (SHORT_MA, "short circuit")):
            found.append(
                Cause(
                    f"instrument.{words}.{what}",
                    INSTRUMENTS,
                    f"{words}: {what}, {milliamp:g} mA",
                    act=_failed(name, milliamp),
                    watch_s=45.0,
                )
            )
    below = Signal("discharge_pressure", -1, OIL)
    found.append(
        Cause(
            "instrument.discharge below suction",
            INSTRUMENTS,
            "discharge pressure reads 150 kPa abs: below suction",
            act=lambda box: below.force(box, round(milliamp_of(box.ranges, "discharge_pressure", 150.0) / COUNT_MA)),
            watch_s=45.0,
        )
    )
    return found


def _permissive_causes() -> list[Cause]:
    def at_rest(key: str, text: str, act: Act, undo: Act = Box.release) -> Cause:
        return Cause(f"permissive.{key}", PERMISSIVES, text, REST, _both(act, _RUN), undo, watch_s=60.0)

    def reads(name: str, share: float) -> Act:
        """A reading at a share of its span."""

        def act(box: Box) -> None:
            low, high = box.ranges.low[INDEX[name]], box.ranges.high[INDEX[name]]
            box.force(name, milliamp_of(box.ranges, name, low + share * (high - low)))

        return act

    found = [
        at_rest("nothing", "nothing is wrong", lambda box: None),
        at_rest(
            "safety chain",
            "safety chain open",
            _operator(safety_chain_closed=False),
            _operator(safety_chain_closed=True),
        ),
        at_rest("valves", "valves closed", _operator(valves_open=False), _operator(valves_open=True)),
        at_rest(
            "oil cold",
            "oil at 10 °C",
            lambda box: box.force("oil_temperature", milliamp_of(box.ranges, "oil_temperature", 10.0)),
        ),
        at_rest("oil level", "oil level at 5 %", reads("oil_level", 0.05)),
        at_rest("vessel level", "vessel high-high level", _box(high_high_level=True)),
        at_rest("suction low", "suction pressure at 10 % of its span", reads("suction_pressure", 0.1)),
        at_rest("turning", "running feedback on", _box(feedback=True)),
        at_rest(
            "stop button", "stop button held", _operator(stop_button_pressed=True), _operator(stop_button_pressed=False)
        ),
    ]
    for name in INDEX:
        words = name.replace("_", " ")
        found.append(at_rest(f"{words}.open circuit", f"{words}: open circuit", _failed(name, OPEN_MA)))
    return found


def _sequence_causes() -> list[Cause]:
    off = _operator(selection=Selection.OFF)
    on = _both(_RUN, Box.release)
    return [
        Cause(
            "start.no feedback",
            SEQUENCE,
            "started, and no running feedback comes",
            START,
            _both(_box(feedback=False), _RUN),
            watch_s=120.0,
        ),
        Cause(
            "start.loaded",
            SEQUENCE,
            "asked to start with the capacity slide at 60 %",
            START,
            _both(_box(capacity_pct=60.0), _RUN),
            watch_s=90.0,
        ),
        Cause(
            "start.slide stuck",
            SEQUENCE,
            "asked to start, capacity slide stuck at 60 %",
            START,
            _both(_box(capacity_pct=60.0, capacity_stuck=True), _RUN),
            watch_s=200.0,
        ),
        Cause("stop.selected off", SEQUENCE, "switched off", STOP, off, on, watch_s=30.0),
        Cause(
            "stop.remote",
            SEQUENCE,
            "switched to remote, where nobody asks",
            STOP,
            _operator(selection=Selection.REMOTE),
            on,
            watch_s=30.0,
        ),
        Cause(
            "stop.contactor",
            SEQUENCE,
            "switched off, contactor does not open",
            STOP,
            _both(off, _box(feedback=True)),
            on,
            watch_s=120.0,
        ),
        Cause(
            "stop.slide stuck",
            SEQUENCE,
            "switched off, capacity slide stuck",
            STOP,
            _both(off, _box(capacity_stuck=True)),
            on,
            watch_s=120.0,
        ),
    ]


def _command_causes() -> list[Cause]:
    def manual(slide: str, demand_pct: float, text: str) -> Cause:
        return Cause(
            f"command.{text}",
            COMMANDS,
            text,
            act=_operator(**{f"{slide}_manual": True, f"{slide}_manual_demand_pct": demand_pct}),
            undo=_operator(**{f"{slide}_manual": False}),
            watch_s=30.0,
        )

    return [
        Cause("command.none", COMMANDS, "nothing is done", act=lambda box: None),
        Cause(
            "command.reset",
            COMMANDS,
            "reset pressed",
            act=_operator(reset_pressed=True),
            undo=_operator(reset_pressed=False),
        ),
        Cause(
            "command.second set point",
            COMMANDS,
            "second set point chosen",
            act=_operator(second_set_point=True),
            undo=_operator(second_set_point=False),
            watch_s=30.0,
        ),
        manual("capacity", 90.0, "capacity by hand to 90 %"),
        manual("capacity", 10.0, "capacity by hand to 10 %"),
        manual("volume_ratio", 90.0, "volume ratio by hand to 90 %"),
        manual("volume_ratio", 10.0, "volume ratio by hand to 10 %"),
        Cause(
            "command.valves",
            COMMANDS,
            "valves close in service",
            act=_operator(valves_open=False),
            undo=_operator(valves_open=True),
            watch_s=30.0,
        ),
        Cause(
            "command.dip", COMMANDS, f"supply away for {DIP_MS / 1000:g} s", act=_dip, undo=Box.release, watch_s=30.0
        ),
    ]


def all_causes(settings: Any) -> list[Cause]:
    """Every cause, in the order of the matrix.  settings: a shipped controller's, or None."""
    found = [
        *_contact_causes(),
        *_analog_causes(settings),
        *_instrument_causes(),
        *_permissive_causes(),
        *_sequence_causes(),
        *_command_causes(),
    ]
    return sorted(found, key=lambda cause: GROUPS.index(cause.group))
