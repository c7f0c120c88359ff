"""What a person can do to the machine from the page: each form is an event of a scenario, with a field for each key."""

from __future__ import annotations

from dataclasses import dataclass, field

from plant_model.instruments import Channel
from scenarios.fault_table import FAULTS
from scenarios.instrument_fault_table import INSTRUMENT_FAULTS


@dataclass(frozen=True, slots=True)
class Field:
    """One key of the event.  choices: (value, label) pairs of a list; without any, a text; "" leaves the key out."""

    key: str
    label: str
    default: str = ""
    choices: tuple[tuple[str, str], ...] = ()
    whole: bool = False  # a whole number and no text
    hint: str = ""


@dataclass(frozen=True, slots=True)
class Form:
    """A form: its heading, the keys that it always sends, its fields, and what its button says."""

    id: str
    title: str
    event: dict[str, str]
    fields: tuple[Field, ...]
    button: str
    group: str = field(default="load and weather")


LASTING = Field("lasting", "for", hint='a time as "5 min"; empty: until further notice')
ALWAYS = Field("lasting", "for", "5 min", hint='a time as "90 s"')


def _words(names: tuple[str, ...] | dict[str, object]) -> tuple[tuple[str, str], ...]:
    return tuple((name, name.replace("_", " ")) for name in names)


_SLIDES = ("capacity_slide_stuck", "volume_ratio_slide_stuck")
_SHOWN_ALONE = (*_SLIDES, "oil_cooler_fouling")
_OTHERS = tuple((name, f"{name.replace('_', ' ')}: {s.text}") for name, s in FAULTS.items() if name not in _SHOWN_ALONE)
_INSTRUMENT_FAULTS = tuple((name, f"{name.replace('_', ' ')}: {s.text}") for name, s in INSTRUMENT_FAULTS.items())
_INSTRUMENTS = _words(tuple(channel.name.lower() for channel in Channel))
_LOAD, _FAULT, _HAND = "load and weather", "faults", "at the cabinet"

FORMS: tuple[Form, ...] = (
    Form("load-step", "Step the load", {"kind": "load_step"}, (Field("change", "by", "+100 kW"),), "step the load", _LOAD),
    Form(
        "load-ramp", "Ramp the load", {"kind": "load_ramp"},
        (Field("to", "to", "450 kW"), Field("over", "over", "10 min")), "ramp the load", _LOAD,
    ),
    Form("load-loss", "Lose all load", {"kind": "load_loss"}, (ALWAYS,), "close all evaporators", _LOAD),
    Form(
        "defrost", "Defrost a group", {"kind": "defrost"},
        (
            Field("group", "group", "1", tuple((str(k), str(k)) for k in range(1, 5)), whole=True),
            Field("hot_gas", "hot gas for", "10 min"),
            Field("bleed_down", "bleed down for", "2 min"),
        ),
        "start the defrost", _LOAD,
    ),
    Form(
        "wet-bulb", "Change the weather", {"kind": "wet_bulb_step"},
        (Field("to", "wet bulb", "26 °C"),), "change it", _LOAD,
    ),
    Form(
        "surge", "Throw liquid back", {"kind": "liquid_surge"},
        (Field("flow", "flow", "0.5 kg/s"), Field("lasting", "for", "60 s")), "start the surge", _LOAD,
    ),
    Form(
        "other", "Another compressor", {"kind": "other_compressor"},
        (Field("flow", "takes", "300 m³/h"),), "change it", _LOAD,
    ),
    Form(
        "instrument", "Fail an instrument", {"kind": "instrument_fault"},
        (
            Field("instrument", "instrument", "suction_pressure", _INSTRUMENTS),
            Field("fault", "fault", "stuck", _INSTRUMENT_FAULTS),
            Field("size", "size", hint="for a bias, a drift or a wrong span only, of span"),
            LASTING,
        ),
        "fail it", _FAULT,
    ),
    Form(
        "cooler", "Foul the oil cooler", {"kind": "plant_fault", "fault": "oil_cooler_fouling"},
        (Field("size", "conductance lost", "60 %"), Field("over", "over", "5 min", hint="empty: at once"), LASTING),
        "foul it", _FAULT,
    ),
    Form(
        "stick", "Stick a slide", {"kind": "plant_fault"},
        (
            Field("fault", "slide", _SLIDES[0], ((_SLIDES[0], "capacity"), (_SLIDES[1], "volume ratio"))),
            ALWAYS,
        ),
        "stick it", _FAULT,
    ),
    Form(
        "fault", "Another fault", {"kind": "plant_fault"},
        (
            Field("fault", "fault", "condenser_fouling", _OTHERS),
            Field("size", "size", "50 %", hint="empty for a fault that is there or not"),
            LASTING,
        ),
        "let it happen", _FAULT,
    ),
    Form(
        "fans", "Condenser fans", {"kind": "condenser_fans"},
        (Field("running", "running", "50 %"),), "change them", _FAULT,
    ),
    Form("dip", "Lose the supply", {"kind": "power_dip"}, (Field("lasting", "for", "2 s"),), "lose it", _FAULT),
    Form("late", "Hold the scans back", {"kind": "late_scan"}, (Field("lasting", "for", "500 ms"),), "hold them", _FAULT),
    Form("chain", "Open the safety chain", {"kind": "safety_chain"}, (Field("lasting", "for", "5 s"),), "open it", _FAULT),
    Form(
        "operate", "Switch or button", {"kind": "operator"},
        (
            Field(
                "action", "action", "reset",
                _words((
                    "reset", "select_off", "select_local", "select_remote", "remote_run_on", "remote_run_off",
                    "second_set_point_on", "second_set_point_off", "capacity_manual_off", "volume_ratio_manual_off",
                )),
            ),
        ),
        "do it", _HAND,
    ),
    Form(
        "by-hand", "Demand by hand", {"kind": "operator"},
        (
            Field(
                "action", "of", "capacity_manual_on",
                (
                    ("capacity_manual_on", "capacity slide"), ("volume_ratio_manual_on", "volume-ratio slide"),
                    ("remote_demand", "remote demand"), ("announce_load", "announced load"),
                ),
            ),
            Field("demand", "demand", "60 %"),
        ),
        "set it", _HAND,
    ),
)  # fmt: skip
GROUPS = (_LOAD, _FAULT, _HAND)
