"""The faults of an instrument that a scenario may name: what each does, and what its size means.

The limits of a size lie wider than what happens on plants; common practice, no source.  The plant's own table of the
faults is plant_model/instruments.py:Fault.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class InstrumentFaultSpec:
    """One fault: what it does; what `size` means ("" for a fault that is there or not), and its limits."""

    text: str
    size: str = ""
    low: float = -1.0
    high: float = 1.0

    @property
    def sized(self) -> bool:
        """True for a fault that has a size."""
        return self.size != ""


INSTRUMENT_FAULTS: dict[str, InstrumentFaultSpec] = {
    "open_circuit": InstrumentFaultSpec("the current loop is open: the card reads under range, and says so"),
    "short_circuit": InstrumentFaultSpec("the current loop is shorted: the card reads over range, and says so"),
    "stuck": InstrumentFaultSpec("the signal stays where it is"),
    "bias": InstrumentFaultSpec("the signal is off by a constant", "share of the span added, negative for less"),
    "drift": InstrumentFaultSpec(
        "the signal wanders off evenly", "share of the span added in an hour, from `at` on", -10.0, 10.0
    ),
    "wrong_span": InstrumentFaultSpec(
        "the transmitter has another span than its card",
        "the transmitter's span over the card's, 250 % for one of 0–25 bar on a card set for 0–10 bar",
        0.01,
        10.0,
    ),
    "over_range": InstrumentFaultSpec("the transmitter is saturated, and the card does not call that a failure"),
}
