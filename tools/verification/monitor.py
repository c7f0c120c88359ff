"""A formula over a run: where it holds, by what margin, and which part of it decides.

A run is its trace with a row at every scan.  Whether a formula holds is worked out exactly, beside its margin, so that
a margin of 0 is settled by the comparison itself: >= and <= hold at their limit, > and < do not.

Margins are differences divided by the scale of their dimension (sorts.py), so that min and max compare pressures with
times; what is reported is the margin of the comparison that decides, in its own unit.  Truths without a number (drives,
states, edges, latches) have an endless margin, either way.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from scenarios.errors import InternalError
from tools.verification import signals
from tools.verification.late_scans import late_spells
from tools.verification.signals import Bools, Floats
from tools.verification.sorts import Setting, Sort
from tools.verification.term import Term

if TYPE_CHECKING:
    from scenarios.trace import Trace

# +, −, *, / and comparisons of numbers in trace units round: nearer to a limit than this share of it is at it
ROUNDING = 1e-12
Compare = Callable[[Any, Any], NDArray[np.bool_]]


class NotApplicable(Exception):
    """Why a formula cannot be judged on a run: a setting that the controller does not tell, a window that is longer."""


@dataclass(frozen=True, slots=True)
class Truth:
    """Where something holds, and by what margin (divided by its scale); None where it has no number.

    Both have a value for each scan whose windows lie in the run, so they may be shorter than the run.
    """

    holds: Bools
    margin: Floats | None

    def margins(self) -> Floats:
        """The margins, endless where there is no number."""
        return np.where(self.holds, np.inf, -np.inf) if self.margin is None else self.margin


class Monitor:
    """Judges formulas on one trace under one set of settings; parts that several formulas share are worked out once."""

    def __init__(self, trace: Trace, settings: Any) -> None:
        times_ms = trace["time_ms"]
        if len(times_ms) < 2:
            raise NotApplicable("the run has fewer than two rows")
        steps = np.diff(times_ms)
        self.scan_ms = float(steps[0])
        if self.scan_ms <= 0.0 or not np.all(steps == self.scan_ms):
            raise NotApplicable("the rows of the run are not evenly spaced")
        self.trace, self.settings = trace, settings
        self.n = len(times_ms)
        self.first_ms = float(times_ms[0])
        self.late = late_spells(trace)
        self._truths: dict[str, Truth] = {}
        self._numbers: dict[str, Any] = {}

    def truth(self, term: Term) -> Truth:
        """Where a term holds.  NotApplicable where it cannot be judged."""
        found = self._truths.get(term.key)
        if found is None:
            found = self._truths[term.key] = getattr(self, f"_{_NAMES.get(term.op, term.op)}")(term)
        return found

    def number(self, term: Term) -> Any:
        """A term's values in trace units: an array, or one number where it is constant."""
        found = self._numbers.get(term.key)
        if found is None:
            found = self._numbers[term.key] = getattr(self, f"_{_NAMES.get(term.op, term.op)}")(term)
        return found

    def value(self, term: Term) -> Any:
        """A number, or a truth as 0 and 1."""
        return self.truth(term).holds.astype(np.float64) if term.sort.kind == "truth" else self.number(term)

    def scans(self, term: Term, up: bool) -> int:
        """A constant time in scans: up to the next whole one, or down."""
        ratio = float(self.number(term)) / self.scan_ms
        near = round(ratio)
        if abs(ratio - near) < 1e-9 * max(1.0, abs(ratio)):
            return near
        return math.ceil(ratio) if up else math.floor(ratio)

    def window(self, term: Term) -> tuple[int, int]:
        """A window's bounds in scans, both of which count."""
        low, high = self.scans(term.parts[0], True), self.scans(term.parts[1], False)
        if low < 0:
            raise NotApplicable("a window begins before its own scan")
        if high < low:
            raise NotApplicable(f"a window from {low} to {high} scans holds no scan")
        return low, high

    def _ahead(self, scans: int, length: int) -> None:
        if scans >= length:
            raise NotApplicable(
                f"it looks {(self.n - length + scans) * self.scan_ms / 1000.0:g} s ahead, and the run lasts "
                f"{(self.n - 1) * self.scan_ms / 1000.0:g} s"
            )

    # truths

    def _truth(self, term: Term) -> Truth:
        return Truth(np.full(self.n, bool(term.value)), None)

    def _column(self, term: Term) -> Any:
        data = self.trace[term.value]
        return Truth(data != 0.0, None) if term.sort.kind == "truth" else data

    def _defined(self, term: Term) -> Any:
        return self.truth(term.parts[0]) if term.sort.kind == "truth" else self.number(term.parts[0])

    def _compare(self, term: Term) -> Truth:
        a, b = _cut(self.number(term.parts[0]), self.number(term.parts[1]))
        with np.errstate(invalid="ignore"):
            difference = np.atleast_1d(np.asarray(a - b, dtype=np.float64))
            if not math.isfinite(difference.sum()):
                difference[np.isnan(difference)] = 0.0  # endless against endless: both never happened
            # numbers this near have both about the size of the second
            difference[np.abs(difference) <= np.minimum(np.abs(b) * ROUNDING, 1e300)] = 0.0
        if len(difference) == 1 and self.n > 1:
            difference = np.full(self.n, difference[0])
        holds: Bools = _COMPARE[term.value](difference)
        margin = difference.copy() if term.value in (">", ">=") else -difference
        if term.value in ("==", "!="):
            margin = -np.abs(difference) if term.value == "==" else np.abs(difference)
        margin *= 1.0 / term.parts[0].sort.scale
        return Truth(holds, margin)

    def _equal(self, term: Term) -> Truth:
        a, b = _cut(self.number(term.parts[0]), self.number(term.parts[1]))
        holds = np.atleast_1d(np.asarray(a == b))
        return Truth(np.full(self.n, holds[0]) if len(holds) == 1 else holds, None)

    def _bit(self, term: Term) -> Truth:
        word = self.number(term.parts[0]).astype(np.int64)
        return Truth((word >> term.value) & 1 == 1, None)

    def _event(self, term: Term) -> Truth:
        source, text = term.value
        holds = np.zeros(self.n, dtype=np.bool_)
        for event in self.trace.events:
            if event.source == source and text in event.text and event.kind in _OUTSIDE:
                place = math.ceil((event.time_ms - self.first_ms) / self.scan_ms - 1e-9)
                if event.kind == "run":
                    place = min(place, self.n - 1)  # what ended the run is seen in its last row
                if 0 <= place < self.n:
                    holds[place] = True
        return Truth(holds, None)

    def _not(self, term: Term) -> Truth:
        inner = self.truth(term.parts[0])
        return Truth(~inner.holds, None if inner.margin is None else -inner.margin)

    def _and(self, term: Term) -> Truth:
        return self._join(term, np.logical_and, np.minimum)

    def _or(self, term: Term) -> Truth:
        return self._join(term, np.logical_or, np.maximum)

    def _join(self, term: Term, of_truths: Any, of_margins: Any) -> Truth:
        parts = [self.truth(part) for part in term.parts]
        n = min(len(part.holds) for part in parts)
        holds = parts[0].holds[:n]
        margin = None if all(part.margin is None for part in parts) else parts[0].margins()[:n]
        for part in parts[1:]:
            holds = of_truths(holds, part.holds[:n])
            if margin is not None:
                margin = of_margins(margin, part.margins()[:n])
        return Truth(holds, margin)

    def _future(self, term: Term, any_of: bool) -> Truth:
        low, high = self.window(term)
        inner = self.truth(term.parts[2])
        self._ahead(high, len(inner.holds))
        margin = None if inner.margin is None else signals.future_margin(inner.margin, low, high, any_of)
        return Truth(signals.future(inner.holds, low, high, any_of), margin)

    def _past(self, term: Term, any_of: bool) -> Truth:
        low, high = self.window(term)
        inner = self.truth(term.parts[2])
        margin = None if inner.margin is None else signals.past_margin(inner.margin, low, high, any_of)
        return Truth(signals.past(inner.holds, low, high, any_of), margin)

    def _always(self, term: Term) -> Truth:
        return self._future(term, False)

    def _eventually(self, term: Term) -> Truth:
        return self._future(term, True)

    def _historically(self, term: Term) -> Truth:
        return self._past(term, False)

    def _once(self, term: Term) -> Truth:
        return self._past(term, True)

    def _until(self, term: Term) -> Truth:
        low, high = self.window(term)
        first, second = self.truth(term.parts[2]), self.truth(term.parts[3])
        n = min(len(first.holds), len(second.holds))
        self._ahead(high, n)
        holds = signals.until(first.holds[:n], second.holds[:n], low, high)
        if first.margin is None and second.margin is None:
            return Truth(holds, None)
        return Truth(holds, signals.until_margin(first.margins()[:n], second.margins()[:n], low, high))

    def _rise(self, term: Term) -> Truth:
        return Truth(signals.rises(self.truth(term.parts[0]).holds), None)

    def _fall(self, term: Term) -> Truth:
        return Truth(signals.rises(~self.truth(term.parts[0]).holds), None)

    def _latched(self, term: Term) -> Truth:
        on, off = _cut(self.truth(term.parts[0]).holds, self.truth(term.parts[1]).holds)
        return Truth(signals.latched(on, off), None)

    # numbers

    def _constant(self, term: Term) -> float:
        return float(term.value)

    def _setting(self, term: Term) -> float:
        setting: Setting = term.value
        if self.settings is None:
            raise NotApplicable(f"the controller does not tell {'.'.join(setting.path[:-1])}.{setting.rule.key}")
        return setting.value(self.settings)

    def _saturation(self, term: Term) -> float:
        from plant_model.properties import load_refrigerant, saturation_pressure_pa

        return float(saturation_pressure_pa(load_refrigerant(self._refrigerant()), term.value))

    def _refrigerant(self) -> str:
        name = self.trace.metadata.get("refrigerant")
        if not name:
            raise NotApplicable("the run does not say its refrigerant")
        return name

    def _saturated(self, term: Term) -> Any:
        pressures_pa, temperatures_k = _saturation_curve(self._refrigerant())
        return np.interp(self.number(term.parts[0]), pressures_pa, temperatures_k)

    def _add(self, term: Term) -> Any:
        a, b = _cut(self.number(term.parts[0]), self.number(term.parts[1]))
        return a + b

    def _subtract(self, term: Term) -> Any:
        a, b = _cut(self.number(term.parts[0]), self.number(term.parts[1]))
        return a - b

    def _multiply(self, term: Term) -> Any:
        a, b = _cut(self.number(term.parts[0]), self.number(term.parts[1]))
        return a * b

    def _divide(self, term: Term) -> Any:
        a, b = _cut(self.number(term.parts[0]), self.number(term.parts[1]))
        if np.any(np.asarray(b) == 0.0):
            raise NotApplicable("it divides by something that is zero in this run")
        return a / b

    def _neg(self, term: Term) -> Any:
        return -self.number(term.parts[0])

    def _abs(self, term: Term) -> Any:
        return np.abs(self.number(term.parts[0]))

    def _min(self, term: Term) -> Any:
        return self._fold(term, np.minimum)

    def _max(self, term: Term) -> Any:
        return self._fold(term, np.maximum)

    def _fold(self, term: Term, of: Any) -> Any:
        found = self.number(term.parts[0])
        for part in term.parts[1:]:
            a, b = _cut(found, self.number(part))
            found = of(a, b)
        return found

    def _previous(self, term: Term) -> Any:
        if term.sort.kind == "truth":
            inner = self.truth(term.parts[0])
            margin = None if inner.margin is None else _shifted(inner.margin)
            return Truth(_shifted(inner.holds), margin)
        found = self.number(term.parts[0])
        return found if np.ndim(found) == 0 else _shifted(found)

    def _duration(self, term: Term) -> Any:
        return signals.duration(self.truth(term.parts[0]).holds) * self.scan_ms

    def _age(self, term: Term) -> Any:
        return signals.age(self.truth(term.parts[0]).holds) * self.scan_ms

    def _wait(self, term: Term) -> Any:
        inner, most = self.truth(term.parts[0]), self.scans(term.parts[1], False)
        self._ahead(most, len(inner.holds))
        return signals.wait(inner.holds, most) * self.scan_ms

    def _count(self, term: Term) -> Any:
        return signals.count(self.truth(term.parts[0]).holds, self.scans(term.parts[1], False)).astype(np.float64)

    def _sampled(self, term: Term) -> Floats:
        values, at = self.number(term.parts[0]), self.truth(term.parts[1]).holds
        if np.ndim(values) == 0:
            values = np.full(len(at), values)
        values, at = _cut(values, at)
        return signals.sampled(values, at)


_NAMES = {"+": "add", "-": "subtract", "*": "multiply", "/": "divide"}
_OUTSIDE = ("operator", "disturbance", "instrument", "run")  # kinds of events that no column shows
_COMPARE: dict[str, Callable[[Floats], Bools]] = {
    ">": lambda d: d > 0.0,
    ">=": lambda d: d >= 0.0,
    "<": lambda d: d < 0.0,
    "<=": lambda d: d <= 0.0,
    "==": lambda d: d == 0.0,
    "!=": lambda d: d != 0.0,
}


def _cut(a: Any, b: Any) -> tuple[Any, Any]:
    """Both to the shorter one's length; a constant stays one."""
    if np.ndim(a) == 0 or np.ndim(b) == 0 or len(a) == len(b):
        return a, b
    n = min(len(a), len(b))
    return a[:n], b[:n]


def _shifted(values: Any) -> Any:
    return np.concatenate((values[:1], values[:-1]))


@cache
def _saturation_curve(refrigerant: str) -> tuple[Floats, Floats]:
    """Pressures and saturation temperatures, close enough for linear interpolation: within 1 mK."""
    from plant_model.properties import load_refrigerant, saturation_pressure_pa

    tables = load_refrigerant(refrigerant)
    kelvin = np.linspace(tables.temperature_low_k, tables.temperature_high_k, 2000)
    return np.array([saturation_pressure_pa(tables, t) for t in kelvin]), kelvin


def shown(sort: Sort, difference: float) -> tuple[float, str]:
    """A difference in people's unit.  InternalError for what is no number."""
    if sort.kind != "number":
        raise InternalError(f"a margin of {sort}")
    return sort.shown(difference)
