"""What may be behind an event: each hypothesis with what it would do to the residuals, and whom it looks like.

Signatures of plant faults are computed by playing the log once on a plant with that fault at a reference size; those of
instruments that nothing else in the model reads are one on their own channel.  Hypotheses that a log cannot tell apart
share a group, and the reason stands beside it.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from controller.process_image import Inhibit, Trip
from tools.replay.record import Floats, Record

STEP, QUICK, SLOW, SLOWER = "step", "rise in 5 min", "rise in 15 min", "rise in 25 min"
RAMP, LATE = "ramp to the end", "late rise"
SHAPES = (STEP, QUICK, SLOW, SLOWER, RAMP, LATE)
RISE_S = {QUICK: 300.0, SLOW: 900.0, SLOWER: 1500.0}


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """One supposed cause.

    profile: (name of a playback profile, value at the reference size); shift: instruments that steer the playback, with
    the error at the reference size (SI); channels: residuals moved directly; driven: slide pair whose motion is missing,
    or with the law "slip" its second half's; signed: the size may have either sign.  check: what to look at first.
    """

    key: str
    group: str
    text: str
    check: str
    profile: tuple[str, float] | None = None
    shift: tuple[str, float] | None = None
    channels: dict[str, float] = field(default_factory=dict)
    driven: str = ""
    signed: bool = False
    shapes: tuple[str, ...] = SHAPES
    size: float = 0.0  # the fault's own size at the reference, for people
    size_unit: str = ""
    law: str = ""  # how a profile follows the amount: see `profile_value`


GROUPS: dict[str, str] = {
    "heat rejection": "fans, fouled condenser, air in it and hot weather all ask for the same higher wet bulb; only the "
    "time course differs, and the log has no weather",
    "oil cooling": "fouled cooler, little coolant and warm coolant all leave the same heat in the oil",
    "capacity slide": "stuck, slow and without oil pressure at its valves all leave a drive without its motion",
    "volume-ratio slide": "stuck, slow and without oil pressure at its valves all leave a drive without its motion",
    "filter differential": "a fouled filter and a wrong transmitter on either side of it show the same difference; only "
    "the little heat that less oil leaves in the discharge tells them apart",
    "capacity linkage": "a slipping linkage and a shifted sensor both make the halves disagree",
    "load side": "what the process no longer brings and what another machine takes are one flow to this machine",
    "suction transmitter": "bias, drift, frozen and open loop are one instrument to be checked",
    "hard-wired chain": "the logic sees one contact; which element opened it must be read on the element itself",
}

_BIAS = "bias or drift of the {}"
HYPOTHESES: tuple[Hypothesis, ...] = (
    Hypothesis(
        "heat_rejection", "heat rejection", "the condenser rejects less heat: fans, fouling, air, weather",
        "Look at fans, water, spray and air purge; compare with the weather of that hour.", channels={"wet_bulb": 10.0},
        size=10.0, size_unit="K of wet bulb",
    ),
    Hypothesis(
        "strainer", "suction strainer", "the suction strainer is fouled",
        "Measure the pressure drop over the strainer and pull it.", profile=("strainer_fouling", 0.85), law="square",
        size=0.85, size_unit="of its free area",
    ),
    Hypothesis(
        "oil_filter", "filter differential", "the oil filter is fouled", "Compare both pressures of it; change it.",
        profile=("oil_filter_fouling", 0.88), law="single", size=0.88, size_unit="of its free area",
    ),
    Hypothesis(
        "oil_pump", "oil pump", "the oil pump has lost pressure", "Look at pump, relief valve, suction strainer, rotation.",
        profile=("oil_pump_strength", 0.5), law="left", size=0.5, size_unit="of its pressure rise",
    ),
    Hypothesis(
        "oil_cooler", "oil cooling", "the oil cooler takes less heat", "Look at coolant flow and temperature, then scale.",
        profile=("oil_cooler_fouling", 0.88), law="single", size=0.88, size_unit="of its conductance",
    ),
    Hypothesis(
        "oil_loss", "oil loss", "oil leaves the separator for the plant", "Look at separator, oil return and level glass.",
        profile=("oil_loss_kg_s", 0.0), law="rate", channels={"oil_level": -0.2}, shapes=(RAMP,), size=44.0,
        size_unit="kg of oil",
    ),
    Hypothesis(
        "coupling", "coupling", "the coupling slips or is broken", "Look at the coupling with the motor locked off.",
        profile=("coupling_wear", 1.0), law="linear", shapes=(STEP,), size=1.0, size_unit="of its torque",
    ),
    Hypothesis(
        "other_machine", "load side", "another compressor takes the gas", "Look at what the other machines did then.",
        profile=("other_m3_s", 0.2), law="linear", size=0.2, size_unit="m³/s", shapes=(STEP, RAMP),
    ),
    Hypothesis(
        "load_change", "load side", "the process brought much less or more heat", "Ask what the process did then.",
        channels={"load": 200.0e3}, signed=True, size=200.0, size_unit="kW", shapes=(STEP, RAMP),
    ),
    Hypothesis(
        "liquid", "liquid", "liquid reaches the compressor from the vessel", "Look at level control, floats, defrost order.",
        channels={"suction_temperature": -3.0, "discharge_temperature": -3.0}, size=3.0, size_unit="K of superheat",
        shapes=(STEP, RAMP),
    ),
    Hypothesis(
        "capacity_slide", "capacity slide", "the capacity slide does not follow its drive",
        "Look at solenoids, oil to them, and the slide itself.", driven="capacity", shapes=(STEP,), size=1.0,
        size_unit="of its motion",
    ),
    Hypothesis(
        "volume_ratio_slide", "volume-ratio slide", "the volume-ratio slide does not follow its drive",
        "Look at solenoids, oil to them, and the slide itself.", driven="volume_ratio", shapes=(STEP,), size=1.0,
        size_unit="of its motion",
    ),
    Hypothesis(
        "capacity_linkage", "capacity linkage", "the capacity pair's second half slips behind the first",
        "Look at linkage and both sensors.", driven="capacity", law="slip", signed=True, shapes=(STEP,), size=1.0,
        size_unit="of its motion",
    ),
    Hypothesis(
        "capacity_second_feedback", "capacity linkage", "the capacity pair's halves disagree whatever they move",
        "Look at linkage and both sensors.", channels={"capacity_gap": -0.1}, signed=True, size=0.1, size_unit="of travel",
    ),
    Hypothesis(
        "volume_ratio_linkage", "volume-ratio linkage", "the volume-ratio pair's second half slips behind the first",
        "Look at linkage and both sensors.", driven="volume_ratio", law="slip", signed=True, shapes=(STEP,), size=1.0,
        size_unit="of its motion",
    ),
    Hypothesis(
        "volume_ratio_second_feedback", "volume-ratio linkage",
        "the volume-ratio pair's halves disagree whatever they move", "Look at linkage and both sensors.",
        channels={"volume_ratio_gap": -0.1}, signed=True, size=0.1, size_unit="of travel",
    ),
    Hypothesis(
        "capacity_feedback", "capacity linkage", "the capacity position reads wrong", "Calibrate at both end stops.",
        shift=("capacity_position", 0.08), channels={"capacity_gap": -0.08}, signed=True, size=0.08, size_unit="of travel",
    ),
    Hypothesis(
        "suction_transmitter", "suction transmitter", _BIAS.format("suction pressure transmitter"),
        "Compare with a calibrated gauge at the flange.", shift=("suction_pressure", 20.0e3), signed=True, size=20.0,
        size_unit="kPa",
    ),
    Hypothesis(
        "discharge_transmitter", "discharge transmitter", _BIAS.format("discharge pressure transmitter"),
        "Compare with a calibrated gauge.", shift=("discharge_pressure", 60.0e3), signed=True, size=60.0, size_unit="kPa",
    ),
    Hypothesis(
        "discharge_thermometer", "discharge thermometer", _BIAS.format("discharge thermometer"),
        "Compare with a second thermometer in the well.", channels={"discharge_temperature": 10.0}, signed=True, size=10.0,
        size_unit="K",
    ),
    Hypothesis(
        "oil_thermometer", "oil thermometer", _BIAS.format("oil thermometer"), "Compare with a second thermometer.",
        channels={"oil_temperature": 10.0}, signed=True, size=10.0, size_unit="K",
    ),
    Hypothesis(
        "oil_transmitter", "filter differential", _BIAS.format("oil transmitter after the filter"),
        "Compare both oil gauges with the machine at rest and the pump off.", channels={"filter_drop": 50.0e3},
        signed=True, size=-50.0, size_unit="kPa",
    ),
    Hypothesis(
        "oil_transmitter_before", "filter differential", _BIAS.format("oil transmitter before the filter"),
        "Compare both oil gauges with the machine at rest and the pump off.",
        channels={"filter_drop": 50.0e3, "oil_pressure_before_filter": 50.0e3}, signed=True, size=50.0, size_unit="kPa",
    ),
    Hypothesis(
        "process_thermometer", "process thermometer", _BIAS.format("room or process thermometer"), "Compare with another.",
        channels={"process_temperature": 3.0}, signed=True, size=3.0, size_unit="K",
    ),
    Hypothesis(
        "current_transducer", "current transducer", _BIAS.format("motor current transducer"), "Clamp meter on the phase.",
        channels={"motor_current": 30.0}, signed=True, size=30.0, size_unit="A",
    ),
)  # fmt: skip


def profile_value(hypothesis: Hypothesis, amount: Floats) -> Floats:
    """The playback profile of a fault at so many reference sizes.

    Where an effect goes with an opening, the amount counts in effect and not in lost area: the strainer's drop with the
    inverse square of what is open, the filter's and the cooler's resistance with the inverse.
    """
    assert hypothesis.profile is not None
    reference = hypothesis.profile[1]
    sized = np.maximum(0.0, amount)
    if hypothesis.law == "square":
        return np.asarray(1.0 - 1.0 / np.sqrt(1.0 + sized * (1.0 / (1.0 - reference) ** 2 - 1.0)))
    if hypothesis.law == "single":
        return np.asarray(1.0 - 1.0 / (1.0 + sized * (1.0 / (1.0 - reference) - 1.0)))
    if hypothesis.law == "left":
        return np.asarray(np.maximum(0.0, 1.0 - (1.0 - reference) * sized))
    return np.asarray(reference * sized if hypothesis.key != "coupling" else np.minimum(1.0, sized))


def own_size(hypothesis: Hypothesis, amount: float) -> float:
    """An amount in the hypothesis' own unit, as people say it."""
    if hypothesis.law in ("square", "single"):
        return float(profile_value(hypothesis, np.array([amount]))[0])
    return amount * hypothesis.size


# Without a mark of their own in the residuals: they live by what the log says in words.
SILENT: dict[str, tuple[str, str]] = {
    "settings": ("a limit stands inside what this plant does in ordinary service", "Compare the limit with its range."),
    "operator": ("somebody stopped it or held it by hand", "Ask who was at the cabinet."),
    "hard-wired chain": ("the hard-wired chain opened, whose inside no logic sees", "Read the flags of its elements."),
    "supply": ("the supply went", "Look at the feeder and the other machines."),
    "contactor": ("the motor contactor did not open", "Lock off and look at its contacts."),
    "none of these": ("nothing on this list explains the log", "Look at what this list does not have."),
}  # fmt: skip

# How much a first-out speaks for each group before the residuals are looked at: common practice, no source.
_A_PRIORI: dict[Trip, dict[str, float]] = {
    Trip.NONE: {},
    Trip.STOP_BUTTON: {"operator": 60.0},
    Trip.SAFETY_CHAIN: {"hard-wired chain": 60.0},
    Trip.HIGH_DISCHARGE_PRESSURE: {"heat rejection": 10.0, "discharge transmitter": 3.0, "settings": 1.0},
    Trip.LOW_SUCTION_PRESSURE: {
        "suction strainer": 6.0, "suction transmitter": 3.0, "load side": 5.0, "capacity slide": 3.0, "operator": 1.0,
        "settings": 1.0, "capacity linkage": 2.0,
    },
    Trip.HIGH_DISCHARGE_TEMPERATURE: {
        "discharge thermometer": 4.0, "oil cooling": 6.0, "heat rejection": 2.0, "oil pump": 1.5, "filter differential": 1.5,
        "settings": 1.0, "volume-ratio slide": 1.5, "suction strainer": 1.0,
    },
    Trip.LOW_DISCHARGE_SUPERHEAT: {
        "liquid": 10.0, "discharge thermometer": 3.0, "discharge transmitter": 2.0, "settings": 1.0,
    },
    Trip.LOW_OIL_DIFFERENTIAL: {
        "oil pump": 8.0, "filter differential": 9.0, "oil loss": 5.0, "discharge transmitter": 3.0,
        "settings": 1.0, "oil cooling": 0.5,
    },
    Trip.HIGH_FILTER_DIFFERENTIAL: {"filter differential": 14.0, "settings": 1.0},
    Trip.HIGH_OIL_TEMPERATURE: {"oil cooling": 10.0, "oil thermometer": 4.0, "settings": 1.0},
    Trip.VESSEL_HIGH_LEVEL: {"liquid": 20.0},
    Trip.MOTOR_OVERLOAD: {"current transducer": 4.0, "settings": 2.0, "heat rejection": 2.0},
    Trip.FAILED_START: {"coupling": 2.0, "supply": 4.0},
    Trip.FAILED_STOP: {"contactor": 20.0, "coupling": 1.0},
    Trip.SLIDE_LOST: {"capacity slide": 10.0, "volume-ratio slide": 10.0, "oil pump": 2.0, "capacity linkage": 2.0},
    Trip.HALVES_DISAGREE: {"capacity linkage": 12.0, "volume-ratio linkage": 10.0},
    Trip.UNLOAD_TIMEOUT: {"capacity slide": 8.0, "volume-ratio slide": 5.0, "oil pump": 2.0},
    Trip.SIGNAL_LOST: {},
}  # fmt: skip


_INHIBITED = {  # where no trip came, the limit that held the load back says which one was near
    Inhibit.SUCTION_HOLD: Trip.LOW_SUCTION_PRESSURE,
    Inhibit.SUCTION_UNLOAD: Trip.LOW_SUCTION_PRESSURE,
    Inhibit.DISCHARGE_PRESSURE_HOLD: Trip.HIGH_DISCHARGE_PRESSURE,
    Inhibit.DISCHARGE_PRESSURE_UNLOAD: Trip.HIGH_DISCHARGE_PRESSURE,
    Inhibit.DISCHARGE_TEMPERATURE_HOLD: Trip.HIGH_DISCHARGE_TEMPERATURE,
    Inhibit.DISCHARGE_TEMPERATURE_UNLOAD: Trip.HIGH_DISCHARGE_TEMPERATURE,
    Inhibit.CURRENT_HOLD: Trip.MOTOR_OVERLOAD,
    Inhibit.CURRENT_UNLOAD: Trip.MOTOR_OVERLOAD,
}
INHIBITED_SHARE = 0.05  # of the time


def near_trip(record: Record) -> Trip:
    """The trip, or where there was none the one whose inhibit held the load back for long."""
    words = record.words.get("inhibit")
    if record.trip is not Trip.NONE or words is None:
        return record.trip
    shares = dict.fromkeys(_INHIBITED.values(), 0.0)
    for inhibit, trip in _INHIBITED.items():
        shares[trip] += float(np.mean(words == int(inhibit)))
    most = max(shares, key=lambda trip: shares[trip])
    return most if shares[most] > INHIBITED_SHARE else Trip.NONE


def a_priori(trip: Trip, group: str) -> float:
    """Weight of a group before the residuals are looked at: 0.15 where the first-out does not speak for it, and less for
    an instrument that nothing acts on, which may be wrong but stops no machine."""
    if group in ("process thermometer", "current transducer"):
        return _A_PRIORI.get(trip, {}).get(group, 0.01)
    return _A_PRIORI.get(trip, {}).get(group, 0.15)
