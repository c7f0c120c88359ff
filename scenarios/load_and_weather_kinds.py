"""Kinds of events that change the cooling load or the weather."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from scenarios.event_fields import (
    FOR_GOOD,
    At,
    Between,
    DriftK,
    DurationMs,
    EventBase,
    HeatChangeW,
    HeatW,
    RatePerS,
    TimeMs,
    WetBulbK,
    quantity,
)
from scenarios.weather_log import day_of_year


class LoadStep(At):
    """The load heat changes at once, by `change` or `to` a value."""

    kind: Literal["load_step"]
    change_w: HeatChangeW | None = Field(None, alias="change", description="change of the load heat")
    to_w: HeatW | None = Field(None, alias="to", description="load heat after it")

    @model_validator(mode="after")
    def _one_of_two(self) -> Self:
        if (self.change_w is None) == (self.to_w is None):
            raise ValueError('give either "change" or "to"')
        return self


class LoadRamp(At):
    """The load heat goes evenly `to` a value in the time `over`."""

    kind: Literal["load_ramp"]
    to_w: HeatW = Field(alias="to", description="load heat at its end")
    over_ms: DurationMs = Field(alias="over", description="how long it takes")


class BatchArrivals(Between):
    """Batches arrive by chance (Poisson, mean interval `every`); each adds `heat` for the time `lasting`."""

    kind: Literal["batch_arrivals"]
    every_ms: DurationMs = Field(alias="every", description="mean time from one arrival to the next")
    heat_w: HeatW = Field(alias="heat", description="load heat of one batch")
    lasting_ms: DurationMs = Field(alias="lasting", description="how long one batch adds it")


class DoorTraffic(Between):
    """Doors open by chance (Poisson, `rate` a time at `from`, going evenly to `rate_until` at `until` where given).

    Each opening adds `heat` for a time drawn from an exponential distribution of mean `lasting` (an opening lasts as
    long as it does, whatever came before: common practice, no source).  Openings that overlap add up.
    """

    kind: Literal["door_traffic"]
    rate_1_s: RatePerS = Field(alias="rate", description="openings an hour at the beginning")
    rate_until_1_s: RatePerS | None = Field(
        None, alias="rate_until", description="openings an hour at the end; as at the beginning where it is left out"
    )
    heat_w: HeatW = Field(alias="heat", description="load heat of one open door")
    lasting_ms: DurationMs = Field(alias="lasting", description="mean time that a door stays open")

    def rate_at_1_s(self, time_ms: float) -> float:
        """Openings a second at a time between `from` and `until`."""
        last_1_s = self.rate_1_s if self.rate_until_1_s is None else self.rate_until_1_s
        gone = (time_ms - self.from_ms) / (self.until_ms - self.from_ms)
        return self.rate_1_s + (last_1_s - self.rate_1_s) * gone


class LoadLoss(At):
    """All evaporator groups close; they open again after `lasting`, or never."""

    kind: Literal["load_loss"]
    lasting_ms: DurationMs | None = Field(None, alias="lasting", description=FOR_GOOD)


class LoadLogPlayed(EventBase):
    """The load heat follows a CSV record from `at` on, times `scale`; `file` is relative to the scenario."""

    kind: Literal["load_log"]
    file: str = Field(min_length=1, description="load record (CSV), relative to the scenario")
    at_ms: TimeMs = Field(0, alias="at", description="when the record begins")
    scale: Annotated[float, *quantity("1", low=0.0, high=1000.0)] = Field(1.0, description="factor on its load")


class WetBulbDrift(Between):
    """The wet bulb moves evenly `by` a difference between `from` and `until`, and stays there."""

    kind: Literal["wet_bulb_drift"]
    by_k: DriftK = Field(alias="by", description="change of the wet bulb's temperature")


class WetBulbStep(At):
    """The wet bulb changes at once `to` a temperature."""

    kind: Literal["wet_bulb_step"]
    to_k: WetBulbK = Field(alias="to", description="wet bulb after it")


class WeatherLogPlayed(EventBase):
    """From `at` on the wet bulb follows a weather file (TMY3 or EPW), from `clock` of `day` on, local standard time.

    day: month and day, "07-14"; clock: "00:00" to "23:59"; `file` is relative to the scenario.  It goes on over midnight
    into the next days, and over New Year's Eve into the file's January.
    """

    kind: Literal["weather_log"]
    file: str = Field(min_length=1, description="weather file (TMY3 or EPW), relative to the scenario")
    day: str = Field(description='month and day of the file to begin with, for example "07-14"')
    clock: str = Field("00:00", pattern=r"^([01]?\d|2[0-3]):[0-5]\d$", description="local standard time to begin with")
    at_ms: TimeMs = Field(0, alias="at", description="when the weather begins")

    @model_validator(mode="after")
    def _a_day(self) -> Self:
        day_of_year(self.day)
        return self

    @property
    def start_h(self) -> float:
        """Hour of the year at `at`."""
        hours, minutes = self.clock.split(":")
        return 24.0 * day_of_year(self.day) + int(hours) + int(minutes) / 60.0
