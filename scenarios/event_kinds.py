"""What a scenario may let happen from outside: the kinds of [[event]], each with its own keys.

Every kind is a frozen model; attribute names end in their unit, keys in the file do not.  Times count from the start
of the run.  Validation needs `context={"site": Site}` for quantities.  Load and weather are in load_and_weather_kinds.
"""

from __future__ import annotations

import difflib
from enum import StrEnum
from typing import Annotated, Any, ClassVar, Literal, Self

from pydantic import Field, model_validator

from scenarios.event_fields import (
    DemandPct,
    DriftK,
    EventBase,
    Group,
    HeatChangeW,
    MassFlowKgS,
    SettingValue,
    SpanFrac,
    TimeMs,
    VolumeFlowM3S,
    until_after_from,
)
from scenarios.event_fields import DurationMs as DurationMs
from scenarios.event_fields import Frac as Frac
from scenarios.event_fields import HeatW as HeatW
from scenarios.event_fields import quantity as quantity
from scenarios.fault_table import FAULTS
from scenarios.load_and_weather_kinds import BatchArrivals as BatchArrivals
from scenarios.load_and_weather_kinds import DoorTraffic as DoorTraffic
from scenarios.load_and_weather_kinds import LoadLogPlayed as LoadLogPlayed
from scenarios.load_and_weather_kinds import LoadLoss as LoadLoss
from scenarios.load_and_weather_kinds import LoadRamp as LoadRamp
from scenarios.load_and_weather_kinds import LoadStep as LoadStep
from scenarios.load_and_weather_kinds import WeatherLogPlayed as WeatherLogPlayed
from scenarios.load_and_weather_kinds import WetBulbDrift as WetBulbDrift
from scenarios.load_and_weather_kinds import WetBulbStep as WetBulbStep


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


class Operator(EventBase):
    """Somebody acts on the cabinet.  `demand` belongs to the two manual modes, remote_demand and announce_load."""

    WITH_DEMAND: ClassVar[frozenset[Action]] = frozenset(
        {Action.REMOTE_DEMAND, Action.ANNOUNCE_LOAD, Action.CAPACITY_MANUAL_ON, Action.VOLUME_RATIO_MANUAL_ON}
    )
    kind: Literal["operator"]
    at_ms: TimeMs = Field(alias="at")
    action: Action
    demand_pct: DemandPct | None = Field(None, alias="demand")

    @model_validator(mode="after")
    def _demand_where_it_belongs(self) -> Self:
        if self.action in self.WITH_DEMAND and self.demand_pct is None:
            raise ValueError(f'"{self.action}" needs a demand, for example demand = "60 %"')
        if self.action not in self.WITH_DEMAND and self.demand_pct is not None:
            raise ValueError(f'"{self.action}" takes no demand')
        if self.action is not Action.ANNOUNCE_LOAD and self.demand_pct is not None and self.demand_pct < 0.0:
            raise ValueError("a demand is 0 % to 100 %")
        return self


class InstrumentFault(EventBase):
    """An instrument fails for the time `lasting`, or for good.

    `size` belongs to a bias (of span, signed), a drift (of span per hour) and a wrong_span (true span over configured).
    """

    kind: Literal["instrument_fault"]
    at_ms: TimeMs = Field(alias="at")
    instrument: str
    fault: Literal["open_circuit", "short_circuit", "stuck", "bias", "drift", "wrong_span", "over_range"]
    size_frac: SpanFrac | None = Field(None, alias="size")
    lasting_ms: DurationMs | None = Field(None, alias="lasting")

    @model_validator(mode="after")
    def _size_where_it_belongs(self) -> Self:
        if (self.fault in ("bias", "drift", "wrong_span")) != (self.size_frac is not None):
            raise ValueError(
                '"size" belongs to a bias (of span), a drift (of span per hour) and a wrong_span (true span over the '
                'configured one), for example "5 %", and to nothing else'
            )
        return self


class CondenserFans(EventBase):
    """From now on this share of the condenser's fans is `running`."""

    kind: Literal["condenser_fans"]
    at_ms: TimeMs = Field(alias="at")
    running_frac: Frac = Field(alias="running")


class SafetyChain(EventBase):
    """The hard-wired safety chain opens; it closes after `lasting`, or stays open."""

    kind: Literal["safety_chain"]
    at_ms: TimeMs = Field(alias="at")
    lasting_ms: DurationMs | None = Field(None, alias="lasting")


class PlantFault(EventBase):
    """A part of machine or plant fails: at once, or growing evenly `over` a time; for the time `lasting`, or for good.

    `size` is how much of it is lost (a share, "60 %"); a fault that is there or not takes none.  See scenarios/fault_table.
    """

    kind: Literal["plant_fault"]
    at_ms: TimeMs = Field(alias="at")
    fault: str
    size_frac: SpanFrac | None = Field(None, alias="size")
    over_ms: DurationMs | None = Field(None, alias="over")
    lasting_ms: DurationMs | None = Field(None, alias="lasting")

    @model_validator(mode="after")
    def _known_and_sized(self) -> Self:
        spec = FAULTS.get(self.fault)
        if spec is None:
            close = difflib.get_close_matches(self.fault, FAULTS, 1)
            hint = f'did you mean "{close[0]}"? ' if close else ""
            raise ValueError(f'unknown fault "{self.fault}"; {hint}known are {", ".join(FAULTS)}')
        if spec.sized != (self.size_frac is not None):
            raise ValueError(f'"{self.fault}" {"needs a size" if spec.sized else "is there or not: it takes no size"}')
        if not spec.sized and self.over_ms is not None:
            raise ValueError(f'"{self.fault}" is there or not: it cannot grow over a time')
        if self.size_frac is not None and not spec.low <= self.size_frac <= spec.high:
            raise ValueError(f'the size of "{self.fault}" is {spec.low:g} to {spec.high:g}')
        return self


class EvaporatorGroup(EventBase):
    """One evaporator group opens or closes (`open`, a share), and may get a load of its own on top (`load`)."""

    kind: Literal["evaporator_group"]
    at_ms: TimeMs = Field(alias="at")
    group: Group
    open_frac: Frac | None = Field(None, alias="open")
    load_w: HeatChangeW | None = Field(None, alias="load")
    lasting_ms: DurationMs | None = Field(None, alias="lasting")

    @model_validator(mode="after")
    def _something(self) -> Self:
        if self.open_frac is None and self.load_w is None:
            raise ValueError('give "open", "load" or both')
        return self


class Defrost(EventBase):
    """One group is defrosted: hot gas for a time, then its pressure is bled down to suction."""

    kind: Literal["defrost"]
    at_ms: TimeMs = Field(alias="at")
    group: Group
    hot_gas_ms: DurationMs = Field(alias="hot_gas")
    bleed_down_ms: DurationMs = Field(alias="bleed_down")


class LiquidSurge(EventBase):
    """The evaporators throw liquid back to the suction vessel, `flow` for the time `lasting`."""

    kind: Literal["liquid_surge"]
    at_ms: TimeMs = Field(alias="at")
    flow_kg_s: MassFlowKgS = Field(alias="flow")
    lasting_ms: DurationMs = Field(alias="lasting")


class OilLoss(EventBase):
    """Oil is carried over into the plant; a negative flow brings it back."""

    kind: Literal["oil_loss"]
    at_ms: TimeMs = Field(alias="at")
    flow_kg_s: MassFlowKgS = Field(alias="flow")
    lasting_ms: DurationMs | None = Field(None, alias="lasting")


class OtherCompressor(EventBase):
    """Another compressor on the header takes this swept `flow` from now on; 0 m³/s: it has stopped or tripped."""

    kind: Literal["other_compressor"]
    at_ms: TimeMs = Field(alias="at")
    flow_m3_s: VolumeFlowM3S = Field(alias="flow")


class CoolantDrift(EventBase):
    """The oil cooler's coolant moves evenly `by` a difference between `from` and `until`, and stays there."""

    kind: Literal["coolant_drift"]
    from_ms: TimeMs = Field(alias="from")
    until_ms: TimeMs = Field(alias="until")
    by_k: DriftK = Field(alias="by")

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        until_after_from(self.from_ms, self.until_ms)
        return self


class PowerDip(EventBase):
    """The supply is away for the time `lasting`: motor, solenoids and the controller itself."""

    kind: Literal["power_dip"]
    at_ms: TimeMs = Field(alias="at")
    lasting_ms: DurationMs = Field(alias="lasting")


class ValvesClosed(EventBase):
    """The suction and discharge valves' contact says closed, for the time `lasting` or for good."""

    kind: Literal["valves_closed"]
    at_ms: TimeMs = Field(alias="at")
    lasting_ms: DurationMs | None = Field(None, alias="lasting")


class SettingsChange(EventBase):
    """Somebody changes one setting of the running controller, from the next scan on.

    setting: its key under [settings] in the sheet, with dots (see `twoslide describe CONTROLLER`); value: written as
    there.  What a controller remembers stays as it is.  Changes of one moment are checked against each other together.
    """

    kind: Literal["settings_change"]
    at_ms: TimeMs = Field(alias="at")
    setting: str = Field(min_length=1)
    value: SettingValue


SimpleEvent = Annotated[
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
    | ValvesClosed,
    Field(discriminator="kind"),
]


class WaitFor(EventBase):
    """A watch: from `at` on, when a trace column first goes `above` or `below` a value, `then` happens.

    The event under `then` has no `at` of its own (its at_ms is 0); it acts `after` the watch fired.  A watch that has
    not fired `within` a time gives up.
    above_value, below_value: in the unit of the column's name.
    """

    kind: Literal["wait_for"]
    at_ms: TimeMs = Field(0, alias="at")
    column: str
    above: float | str | None = None
    below: float | str | None = None
    then: SimpleEvent
    after_ms: TimeMs = Field(0, alias="after")
    within_ms: DurationMs | None = Field(None, alias="within")

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
    LoadStep
    | LoadRamp
    | BatchArrivals
    | DoorTraffic
    | LoadLoss
    | LoadLogPlayed
    | WeatherLogPlayed
    | WetBulbDrift
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
    | CoolantDrift
    | PowerDip
    | ValvesClosed
    | SettingsChange
    | WaitFor
)
AnyEvent = Annotated[Event, Field(discriminator="kind")]

_ALL: tuple[type[EventBase], ...] = (
    LoadStep, LoadRamp, BatchArrivals, DoorTraffic, LoadLoss, LoadLogPlayed, WeatherLogPlayed, WetBulbDrift,
    WetBulbStep, Operator, InstrumentFault, CondenserFans, SafetyChain, PlantFault, EvaporatorGroup, Defrost,
    LiquidSurge, OilLoss, OtherCompressor, CoolantDrift, PowerDip, ValvesClosed, SettingsChange,
    WaitFor,
)  # fmt: skip
EVENT_KINDS: dict[str, type[EventBase]] = {model.model_fields["kind"].annotation.__args__[0]: model for model in _ALL}  # type: ignore[union-attr]
