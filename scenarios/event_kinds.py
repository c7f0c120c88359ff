"""What a scenario may let happen from outside: the kinds of [[event]], each with its own keys.

Every kind is a frozen model; attribute names end in their unit, keys in the file do not.  Times count from the start
of the run.  Validation needs `context={"site": Site}` for quantities.  Load and weather are in load_and_weather_kinds.
"""

from __future__ import annotations

import difflib
from enum import StrEnum
from typing import Annotated, Any, ClassVar, Literal, Self, get_args

from pydantic import Field, ValidationInfo, field_validator, model_validator

from scenarios.errors import shortened
from scenarios.event_fields import (
    FOR_GOOD,
    At,
    Between,
    DemandPct,
    DriftK,
    EventBase,
    Group,
    HeatChangeW,
    MassFlowKgS,
    SettingValue,
    SizeFrac,
    TimeMs,
    VolumeFlowM3S,
)
from scenarios.event_fields import DurationMs as DurationMs
from scenarios.event_fields import Frac as Frac
from scenarios.event_fields import HeatW as HeatW
from scenarios.event_fields import quantity as quantity
from scenarios.fault_table import FAULTS, FaultSpec
from scenarios.instrument_fault_table import INSTRUMENT_FAULTS, InstrumentFaultSpec
from scenarios.load_and_weather_kinds import BatchArrivals as BatchArrivals
from scenarios.load_and_weather_kinds import DoorTraffic as DoorTraffic
from scenarios.load_and_weather_kinds import LoadLogPlayed as LoadLogPlayed
from scenarios.load_and_weather_kinds import LoadLoss as LoadLoss
from scenarios.load_and_weather_kinds import LoadRamp as LoadRamp
from scenarios.load_and_weather_kinds import LoadStep as LoadStep
from scenarios.load_and_weather_kinds import WeatherLogPlayed as WeatherLogPlayed
from scenarios.load_and_weather_kinds import WetBulbDrift as WetBulbDrift
from scenarios.load_and_weather_kinds import WetBulbStep as WetBulbStep
from scenarios.record_tables import range_problem


class Action(StrEnum):
    """What an operator, or the remote system, may do."""

    STOP_BUTTON = "stop_button"
    RESET = "reset"
    SELECT_OFF = "select_off"
    SELECT_LOCAL = "select_local"
    SELECT_REMOTE = "select_remote"
    REMOTE_RUN_ON = "remote_run_on"
    REMOTE_RUN_OFF = "remote_run_off"
    REMOTE_DEMAND = "remote_demand"
    ANNOUNCE_LOAD = "announce_load"
    SECOND_SET_POINT_ON = "second_set_point_on"
    SECOND_SET_POINT_OFF = "second_set_point_off"
    CAPACITY_MANUAL_ON = "capacity_manual_on"
    CAPACITY_MANUAL_OFF = "capacity_manual_off"
    VOLUME_RATIO_MANUAL_ON = "volume_ratio_manual_on"
    VOLUME_RATIO_MANUAL_OFF = "volume_ratio_manual_off"


class Operator(At):
    """Somebody acts on the cabinet.  `demand` belongs to the two manual modes, remote_demand and announce_load."""

    WITH_DEMAND: ClassVar[frozenset[Action]] = frozenset(
        {Action.REMOTE_DEMAND, Action.ANNOUNCE_LOAD, Action.CAPACITY_MANUAL_ON, Action.VOLUME_RATIO_MANUAL_ON}
    )
    kind: Literal["operator"]
    action: Action = Field(description="what is done")
    demand_pct: DemandPct | None = Field(
        None,
        alias="demand",
        description="capacity demand; that slide's place for volume_ratio_manual_on; the change to come for announce_load",
    )

    @model_validator(mode="after")
    def _demand_where_it_belongs(self) -> Self:
        if self.action in self.WITH_DEMAND and self.demand_pct is None:
            raise ValueError(f'"{self.action}" needs a demand, for example demand = "60 %"')
        if self.action not in self.WITH_DEMAND and self.demand_pct is not None:
            raise ValueError(f'"{self.action}" takes no demand')
        if self.action is not Action.ANNOUNCE_LOAD and self.demand_pct is not None and self.demand_pct < 0.0:
            raise ValueError("a demand is 0 % to 100 %")
        return self


def _sized(spec: FaultSpec | InstrumentFaultSpec | None, given: Any, size_frac: float | None) -> float | None:
    """A fault's size, as it was; ValueError outside the fault's own limits, told in the unit of what was given."""
    if spec is not None and spec.sized and size_frac is not None:
        bad = range_problem(size_frac, "1", spec.low, spec.high, "", given)
        if bad is not None:
            raise ValueError(str(bad))
    return size_frac


class InstrumentFault(At):
    """An instrument fails for the time `lasting`, or for good.

    `size` belongs to a bias, a drift and a wrong_span; scenarios/instrument_fault_table.py has its meaning and limits.
    """

    kind: Literal["instrument_fault"]
    instrument: str = Field(description="which transmitter")
    fault: Literal["open_circuit", "short_circuit", "stuck", "bias", "drift", "wrong_span", "over_range"] = Field(
        description="what is wrong with it"
    )
    size_frac: SizeFrac | None = Field(None, alias="size", description="how wrong it is")
    lasting_ms: DurationMs | None = Field(None, alias="lasting", description=FOR_GOOD)

    @field_validator("size_frac", mode="wrap")
    @classmethod
    def _in_its_limits(cls, given: Any, read: Any, info: ValidationInfo) -> Any:
        return _sized(INSTRUMENT_FAULTS.get(info.data.get("fault", "")), given, read(given))

    @model_validator(mode="after")
    def _size_where_it_belongs(self) -> Self:
        if INSTRUMENT_FAULTS[self.fault].sized != (self.size_frac is not None):
            raise ValueError(
                '"size" belongs to a bias (of span), a drift (of span per hour) and a wrong_span (true span over the '
                'configured one), for example "5 %", and to nothing else'
            )
        return self


class CondenserFans(At):
    """From now on this share of the condenser's fans is `running`."""

    kind: Literal["condenser_fans"]
    running_frac: Frac = Field(alias="running", description="share of the fans that may run")


class SafetyChain(At):
    """The hard-wired safety chain opens; it closes after `lasting`, or stays open."""

    kind: Literal["safety_chain"]
    lasting_ms: DurationMs | None = Field(None, alias="lasting", description=FOR_GOOD)


class PlantFault(At):
    """A part of machine or plant fails: at once, or growing evenly `over` a time; for the time `lasting`, or for good.

    `size` is how much of it is lost (a share, "60 %"); a fault that is there or not takes none.  See scenarios/fault_table.
    """

    kind: Literal["plant_fault"]
    fault: str = Field(description="what fails")
    size_frac: SizeFrac | None = Field(None, alias="size", description="how much of it is lost")
    over_ms: DurationMs | None = Field(
        None, alias="over", description="time in which it grows evenly to its size; at once where it is left out"
    )
    lasting_ms: DurationMs | None = Field(None, alias="lasting", description=FOR_GOOD)

    @field_validator("fault")
    @classmethod
    def _known(cls, fault: str) -> str:
        if fault not in FAULTS:
            close = difflib.get_close_matches(fault[:200], FAULTS, 1)
            hint = f'did you mean "{close[0]}"? ' if close else ""
            raise ValueError(f'unknown fault "{shortened(fault)}"; {hint}known are {", ".join(FAULTS)}')
        return fault

    @field_validator("size_frac", mode="wrap")
    @classmethod
    def _in_its_limits(cls, given: Any, read: Any, info: ValidationInfo) -> Any:
        return _sized(FAULTS.get(info.data.get("fault", "")), given, read(given))

    @model_validator(mode="after")
    def _size_where_it_belongs(self) -> Self:
        spec = FAULTS[self.fault]
        if spec.sized != (self.size_frac is not None):
            raise ValueError(f'"{self.fault}" {"needs a size" if spec.sized else "is there or not: it takes no size"}')
        if not spec.sized and self.over_ms is not None:
            raise ValueError(f'"{self.fault}" is there or not: it cannot grow over a time')
        return self


class EvaporatorGroup(At):
    """One evaporator group opens or closes (`open`, a share), and may get a load of its own on top (`load`)."""

    kind: Literal["evaporator_group"]
    group: Group = Field(description="which group")
    open_frac: Frac | None = Field(
        None, alias="open", description="how far it is open from now on; left as it is where it is left out"
    )
    load_w: HeatChangeW | None = Field(None, alias="load", description="heat on top of its share of the load")
    lasting_ms: DurationMs | None = Field(None, alias="lasting", description=FOR_GOOD)

    @model_validator(mode="after")
    def _something(self) -> Self:
        if self.open_frac is None and self.load_w is None:
            raise ValueError('give "open", "load" or both')
        return self


class Defrost(At):
    """One group is defrosted: hot gas for a time, then its pressure is bled down to suction."""

    kind: Literal["defrost"]
    group: Group = Field(description="which group")
    hot_gas_ms: DurationMs = Field(alias="hot_gas", description="how long it gets hot gas")
    bleed_down_ms: DurationMs = Field(alias="bleed_down", description="how long its pressure is bled down afterwards")


class LiquidSurge(At):
    """The evaporators throw liquid back to the suction vessel, `flow` for the time `lasting`."""

    kind: Literal["liquid_surge"]
    flow_kg_s: MassFlowKgS = Field(alias="flow", description="liquid that comes back to the suction vessel")
    lasting_ms: DurationMs = Field(alias="lasting", description="how long it lasts")


class OilLoss(At):
    """Oil is carried over into the plant; a negative flow brings it back."""

    kind: Literal["oil_loss"]
    flow_kg_s: MassFlowKgS = Field(alias="flow", description="oil that leaves the separator; negative: that comes back")
    lasting_ms: DurationMs | None = Field(None, alias="lasting", description=FOR_GOOD)


class OtherCompressor(At):
    """Another compressor on the header takes this swept `flow` from now on; 0 m³/s: it has stopped or tripped."""

    kind: Literal["other_compressor"]
    flow_m3_s: VolumeFlowM3S = Field(alias="flow", description="swept flow that it takes from the header from now on")


class CoolantDrift(Between):
    """The oil cooler's coolant moves evenly `by` a difference between `from` and `until`, and stays there."""

    kind: Literal["coolant_drift"]
    by_k: DriftK = Field(alias="by", description="change of the coolant's temperature")


class PowerDip(At):
    """The supply is away for the time `lasting`: motor, solenoids and the controller itself."""

    kind: Literal["power_dip"]
    lasting_ms: DurationMs = Field(alias="lasting", description="how long the supply is away")


class LateScan(At):
    """The controller's program is late: for the time `lasting` no scan begins, and its outputs stay as they were."""

    kind: Literal["late_scan"]
    lasting_ms: DurationMs = Field(alias="lasting", description="how long no scan begins")


class ValvesClosed(At):
    """The suction and discharge valves' contact says closed, for the time `lasting` or for good."""

    kind: Literal["valves_closed"]
    lasting_ms: DurationMs | None = Field(None, alias="lasting", description=FOR_GOOD)


class SettingsChange(At):
    """Somebody changes one setting of the running controller, from the next scan on.

    setting: its key under [settings] in the sheet, with dots (see `twoslide describe CONTROLLER`); value: written as
    there.  What a controller remembers stays as it is.  Changes of one moment are checked against each other together.
    """

    kind: Literal["settings_change"]
    setting: str = Field(min_length=1, description="its key under [settings] in the sheet, with dots")
    value: SettingValue = Field(description="its new value, written as in the sheet")


_Waiting = (
    LoadStep
    | LoadRamp
    | LoadLoss
    | WetBulbStep
    | Operator
    | InstrumentFault
    | CondenserFans
    | SafetyChain
    | PlantFault
    | EvaporatorGroup
    | Defrost
    | LiquidSurge
    | OilLoss
    | OtherCompressor
    | PowerDip
    | LateScan
    | ValvesClosed
)
SimpleEvent = Annotated[_Waiting, Field(discriminator="kind")]


class WaitFor(EventBase):
    """A watch: from `at` on, when a trace column first goes `above` or `below` a value, `then` happens.

    The event under `then` has no `at` of its own (its at_ms is 0); it acts `after` the watch fired.  A watch that has
    not fired `within` a time gives up.
    above_value, below_value: in the unit of the column's name.
    """

    kind: Literal["wait_for"]
    at_ms: TimeMs = Field(0, alias="at", description="from when on it watches")
    column: str = Field(description="what it watches")
    above: float | str | None = Field(None, description="value at or over which it fires")
    below: float | str | None = Field(None, description="value at or under which it fires")
    then: SimpleEvent = Field(description="what happens when it fires")
    after_ms: TimeMs = Field(0, alias="after", description="delay from firing to what happens")
    within_ms: DurationMs | None = Field(
        None, alias="within", description="how long it watches before it gives up; to the end where it is left out"
    )

    @model_validator(mode="before")
    @classmethod
    def _then_has_no_time(cls, data: Any) -> Any:
        then = data.get("then") if isinstance(data, dict) else None
        if not isinstance(then, dict):
            return data
        if "at" in then:
            raise ValueError('the event under "then" takes no "at"; write after = "10 s" beside "then"')
        return {**data, "then": {**then, "at": "0 ms"}}

    @model_validator(mode="after")
    def _one_threshold(self) -> Self:
        if (self.above is None) == (self.below is None):
            raise ValueError('give either "above" or "below"')
        return self


Event = (
    _Waiting
    | BatchArrivals
    | DoorTraffic
    | LoadLogPlayed
    | WeatherLogPlayed
    | WetBulbDrift
    | CoolantDrift
    | SettingsChange
    | WaitFor
)
AnyEvent = Annotated[Event, Field(discriminator="kind")]

EVENT_KINDS: dict[str, type[EventBase]] = {
    get_args(model.model_fields["kind"].annotation)[0]: model for model in get_args(Event)
}
