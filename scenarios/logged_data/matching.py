"""Which column is which signal: by its words, its unit and its values; and in which unit, where the header says too little.

Confidence is a number for sorting and for asking: from 0.8 on a proposal stands, below it the mapping asks.  It is no
probability.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from scenarios.logged_data.header_units import (
    PRESSURES,
    READINGS,
    difference_line,
    dimension_of,
    plain_line,
    pressure_line,
    spelled,
)
from scenarios.logged_data.records import Floats, RawColumn, RawFile
from scenarios.logged_data.signals import Signal, is_own_column, own_signal, signals
from scenarios.logged_data.words import concepts_in, plain_header

STANDS = 0.8  # from here on a proposal is taken as it is
WORTH_ASKING = 0.45
LEAST_TRAVEL_PCT = 15.0  # a slide that never was farther may be scaled wrongly; common practice, no source
_ON = frozenset(
    {
        "1", "on", "true", "yes", "ein", "an", "ja", "oui", "marche", "si", "aan", "closed", "start", "run", "running", "in",
        "betrieb", "high", "till", "pa", "active", "aktiv", "actif",
    }
)  # fmt: skip
_OFF = frozenset(
    {
        "0", "off", "false", "no", "aus", "nein", "non", "arret", "uit", "open", "stop", "stopped", "low", "fra",
        "av", "inactive",
        "inaktiv", "inactif",
    }
)  # fmt: skip


@dataclass(slots=True)
class Proposal:
    """What a column is proposed to be.

    signal: a name, "-" (not used) or "?" (asked); unit: a spelling that says all, "?" (asked) or ""; scale: of the raw
    value before the unit; reasons: in words; candidates: signals and units to choose from where it is asked.
    """

    column: RawColumn
    signal: str
    unit: str
    confidence: float
    scale: float = 1.0
    reasons: list[str] = field(default_factory=list)
    candidates: list[str] = field(default_factory=list)
    units: list[str] = field(default_factory=list)
    found: str = ""  # the signal that the words fit best, where `signal` asks

    @property
    def asks(self) -> bool:
        """Whether somebody must decide before it can be used."""
        return "?" in (self.signal, self.unit)


def name_score(signal: Signal, concepts: frozenset[str]) -> float:
    """How well a header's concepts fit a signal, 0 to 1."""
    if not signal.needs or concepts & signal.never:
        return 0.0
    best = 0.0
    for need in signal.needs:
        if need <= concepts:
            strange = concepts - need - signal.may
            best = max(best, 0.96 + 0.01 * len(need) - 0.14 * len(strange) - (0.12 if len(need) == 1 else 0.0))
    return max(0.0, min(1.0, best))


def dimension_fits(signal: Signal, unit: str) -> bool | None:
    """Whether a unit can belong to a signal; None if it says nothing."""
    if not unit:
        return None
    dimension = dimension_of(unit)
    if signal.kind in ("contact", "state", "word"):
        return dimension in ("share",) if unit == "1" else False
    allowed = {
        "kPa": ("pressure",) if signal.of == "difference" else ("pressure", "saturation", "milliamp", "temperature"),
        "°C": ("temperature", "milliamp"), "%": ("share", "milliamp"), "A": ("current", "milliamp", "share of full load"),
        "kW": ("power", "milliamp"), "ms": ("time",), "h": ("time",), "1": ("share",), "1/min": ("speed",),
    }.get(signal.unit, ())  # fmt: skip
    return dimension in allowed


def line_to(signal: Signal, unit: str, barometric_pa: float) -> tuple[float, float] | None:
    """(factor, offset) from a fully said unit to the signal's; None if they do not fit."""
    try:
        if signal.unit == "kPa":
            if signal.of == "difference":
                return difference_line(unit) if dimension_of(unit) == "pressure" else None
            return pressure_line(unit, barometric_pa)
    except KeyError:
        return None
    return plain_line(unit, signal.unit)


def readings_of(signal: Signal, unit: str) -> tuple[str, ...]:
    """Fully said units that a header's spelling may stand for on this signal; all usual ones if there is no unit."""
    if signal.unit == "kPa" and signal.of == "absolute":
        if not unit:
            return (*PRESSURES, "°C sat")
        if dimension_of(unit) == "temperature":
            return (f"{unit} sat",)
        return READINGS.get(unit, (unit,))
    if signal.unit == "kPa":
        return (unit,) if unit else ("bar", "kPa", "psi")
    if unit:
        return (unit,)
    return {
        "°C": ("°C", "°F", "K"),
        "%": ("%", "1"),
        "A": ("A",),
        "kW": ("kW", "W", "hp"),
        "h": ("h",),
        "ms": ("ms",),
    }.get(signal.unit, ("1",))


def fits_values(signal: Signal, unit: str, values: Floats, running: Floats, barometric_pa: float) -> tuple[bool, bool]:
    """(possible, usual): whether the values in this unit can be such a signal, and whether they are usual ones.

    values: some of all samples; running: some while the machine runs (may be empty, then all count).
    """
    if unit.endswith(" sat"):
        line = plain_line(unit.removesuffix(" sat"), "°C")
        if line is None or not len(values):
            return line is not None, True
        low, high = (-70.0, 30.0) if signal.name.startswith("suction") else (-10.0, 70.0)
        got = values * line[0] + line[1]
        return bool(np.mean((got > -90.0) & (got < 100.0)) > 0.9), low <= float(np.median(got)) <= high
    line = line_to(signal, unit, barometric_pa)
    if line is None:
        return False, False
    if not len(values):
        return True, True
    got = values * line[0] + line[1]
    possible = bool(np.mean((got >= signal.low) & (got <= signal.high)) > 0.9)
    if signal.unit == "%" and signal.kind != "count" and np.percentile(np.abs(values), 98) > 1.5 and unit == "1":
        possible = False
    top = float(np.percentile(np.abs(values), 98))  # a damaged cell or two are no reach
    usual = True
    if signal.usual is not None:
        some = (running if len(running) else values) * line[0] + line[1]
        usual = signal.usual[0] <= float(np.median(some)) <= signal.usual[1]
    if signal.unit == "%" and unit == "%" and 0.0 < top <= 1.05 and len(set(values.tolist())) > 3:
        usual = False  # a share of one in a column that says per cent
    if "position" in signal.name and unit == "%" and len(values) > 100 and top < LEAST_TRAVEL_PCT:
        usual = False
    return possible, usual


def words_fit(signal: Signal, column: RawColumn) -> bool:
    """Whether a column of words can be this contact or state."""
    words = {word.strip().lower() for word in column.words}
    if signal.kind == "contact":
        return bool(words) and words <= (_ON | _OFF) and len(words) <= 4
    return signal.kind == "state"


def on_off(word: str) -> float:
    """1 for a word that means on, 0 for off, NaN else."""
    text = word.strip().lower()
    return 1.0 if text in _ON else 0.0 if text in _OFF else float("nan")


def sample(column: RawColumn, most: int = 4000) -> Floats:
    """Some of a column's numbers, spread over the whole."""
    if column.values is None:
        return np.empty(0)
    some = column.values[:: max(1, len(column.values) // most)]
    return some[np.isfinite(some)]


def propose_columns(file: RawFile, barometric_pa: float) -> list[Proposal]:
    """A proposal for every column of one trend file, by itself: relations between columns come after."""
    running = _running_rows(file)
    out = [_propose(column, running, barometric_pa) for column in file.columns]
    _settle_rivals(out)
    return out


def running_level(values: Floats) -> float:
    """What a current or power must exceed for a running machine: a fifth of what it reaches, single peaks left out."""
    some = values[np.isfinite(values)]
    return 0.2 * float(np.percentile(some[:: max(1, len(some) // 50_000)], 98)) if len(some) else 0.0


def _running_rows(file: RawFile) -> np.ndarray[tuple[int], np.dtype[np.bool_]] | None:
    """Where the machine runs, by the first column that tells: a running contact, or a current well above nothing."""
    for column in file.columns:
        if column.rows is not None or column.values is None or not len(column.values):
            continue
        concepts = concepts_in(column.label)
        if (
            name_score(signals()["motor_current_a"], concepts) > 0.7
            and dimension_fits(signals()["motor_current_a"], spelled(column.unit)) is not False
        ):
            top = running_level(column.values)
            return np.nan_to_num(column.values) > top if top > 0.0 else None
    return None


def _propose(
    column: RawColumn, running: np.ndarray[tuple[int], np.dtype[np.bool_]] | None, barometric_pa: float
) -> Proposal:
    own = own_signal(column.name)
    if not own and is_own_column(column.name):
        return Proposal(column, "-", "", 0.9, reasons=["a column of this project's traces that no instrument gives"])
    unit = spelled(column.unit) or ("unknown" if column.unit else "")
    if own:
        return _own(column, own, unit, barometric_pa)
    concepts = concepts_in(f"{column.name} {column.description}")
    values = sample(column)
    with_running = np.empty(0)
    if running is not None and column.values is not None and column.rows is None and len(running) == len(column.values):
        with_running = column.values[running]
        with_running = with_running[np.isfinite(with_running)][:: max(1, len(with_running) // 4000)]
    scored = []
    for signal in signals().values():
        score = name_score(signal, concepts)
        if score <= 0.3:
            continue
        fit = dimension_fits(signal, unit) if unit != "unknown" else None
        if fit is False:
            continue
        if column.codes is not None and not words_fit(signal, column):
            continue
        if (
            column.codes is None
            and signal.kind == "contact"
            and len(values)
            and not set(np.unique(values).tolist()) <= {0.0, 1.0, -1.0, 255.0}
        ):
            continue
        scored.append((score + (0.04 if fit else 0.0), signal))
    scored.sort(key=lambda pair: -pair[0])
    if not scored:
        reason = "its words name no signal" if not concepts else "words and unit together fit no signal"
        return Proposal(column, "-", "", 0.0, reasons=[reason])
    score, signal = scored[0]
    made = Proposal(column, signal.name, "", min(score, 0.99), found=signal.name)
    made.candidates = [s.name for _, s in scored[:4]]
    if (
        len(scored) > 1
        and scored[1][0] > score - 0.03
        and scored[1][1].unit == signal.unit
        and scored[1][1].kind == signal.kind
    ):
        made.confidence = min(made.confidence, 0.6)
        made.reasons.append(f"its words fit {scored[1][1].name} as well")
    _settle_unit(made, signal, unit, values, with_running, barometric_pa)
    _doubts(made, column)
    if made.confidence < STANDS and made.signal != "-":
        if made.confidence < WORTH_ASKING and made.unit != "?":
            made.signal = "-"
            made.reasons.append(f"might be {signal.name}")
        elif made.unit != "?" and not column.doubt:
            made.signal = "?"
    return made


def _own(column: RawColumn, name: str, unit: str, barometric_pa: float) -> Proposal:
    """A column that is named as this project names it: its name says the unit."""
    signal = signals()[name]
    made = Proposal(column, name, "", 0.99, found=name)
    suffix = column.name.rsplit("_", 1)[-1]
    said = {"pa": "Pa", "abs": "kPa(a)", "kpa": "kPa", "k": "K", "c": "°C", "frac": "1", "pct": "%", "a": "A",
        "w": "W", "kw": "kW",
            "ms": "ms", "h": "h"}  # fmt: skip
    by_name = said.get(suffix, "") if signal.kind in ("analog", "set", "count") and signal.unit != "1" else ""
    if (
        by_name
        and unit
        and unit not in (by_name, "unknown")
        and line_to(signal, unit, barometric_pa) != line_to(signal, by_name, barometric_pa)
    ):
        made.unit, made.confidence, made.units = "?", 0.3, [by_name, unit]
        made.reasons.append(f'its name says {by_name}, its unit "{column.unit}"')
        return made
    made.unit = by_name
    values = sample(column)
    if by_name and len(values):
        possible, usual = fits_values(signal, by_name, values, np.empty(0), barometric_pa)
        if not possible or (not usual and signal.name.startswith(("suction_p", "discharge_p"))):
            made.unit, made.confidence = "?", 0.3
            made.units = [by_name, *fitting_units(signal, values, np.empty(0), barometric_pa)]
            made.reasons.append(f"values about {float(np.median(values)):.4g} are no {signal.name} in {by_name}")
    _doubts(made, column)
    return made


def _doubts(made: Proposal, column: RawColumn) -> None:
    """What the numbers themselves leave open; of decimals or thousands the file as a whole is asked."""
    if column.doubt:
        made.confidence = min(made.confidence, 0.5)
        made.reasons.append(column.doubt)
    if column.unit_doubt:
        made.unit, made.confidence = "?", min(made.confidence, 0.3)
        made.units = ['none: write signal = "-"']
        made.reasons.append(column.unit_doubt)


def fitting_units(signal: Signal, values: Floats, running: Floats, barometric_pa: float) -> list[str]:
    """Every unit in which the values would be usual ones of this signal."""
    out = []
    for unit in readings_of(signal, ""):
        possible, usual = fits_values(signal, unit, values, running, barometric_pa)
        if possible and usual:
            out.append(unit)
    return out


def _settle_unit(
    made: Proposal, signal: Signal, unit: str, values: Floats, running: Floats, barometric_pa: float
) -> None:
    """The unit, or a question where the header or the values leave one."""
    if signal.kind in ("contact", "state", "word") or signal.unit == "1":
        return
    if unit == "unknown":
        made.unit, made.confidence = "?", min(made.confidence, 0.4)
        made.units = fitting_units(signal, values, running, barometric_pa)
        made.reasons.append(f'unit "{made.column.unit[:20]}" is not known here')
        return
    if unit in ("mA", "%FLA") and signal.unit != "mA":
        made.unit, made.confidence = "?", min(made.confidence, 0.4)
        what = "the span at 4 and 20 mA" if unit == "mA" else "the full-load current"
        made.units = ["mA: low..high unit"] if unit == "mA" else ["A with scale = full-load current / 100"]
        made.reasons.append(f"{unit} needs {what}")
        return
    choices = readings_of(signal, unit)
    verdicts = {u: fits_values(signal, u, values, running, barometric_pa) for u in choices}
    good = [u for u in choices if verdicts[u][0] and verdicts[u][1]]
    possible = [u for u in choices if verdicts[u][0]]
    if not unit:
        made.reasons.append("no unit in the header")
        if signal.unit in ("%", "A", "h", "ms") and len(good) == 1 and len(values):
            made.unit, made.confidence = good[0], min(made.confidence, 0.85)
            made.reasons.append(f"only {good[0]} fits the values")
        else:
            made.unit, made.confidence = "?", min(made.confidence, 0.4)
            made.units = good or possible or list(choices)
        return
    if len(choices) == 1 and good:
        made.unit = good[0]
        return
    if len(choices) == 1 and possible:
        made.unit, made.confidence = "?", min(made.confidence, 0.5)
        made.units = [
            choices[0],
            *(u for u in fitting_units(signal, values, running, barometric_pa) if u != choices[0]),
        ]
        made.reasons.append(
            f"in {choices[0]} the values, about {float(np.median(values)):.4g}, would be unusual for it"
        )
        return
    if not possible:
        made.unit, made.confidence = "?", min(made.confidence, 0.3)
        made.units = fitting_units(signal, values, running, barometric_pa)
        text = (
            f"values about {float(np.median(values)):.4g} cannot be {signal.name} in {unit}"
            if len(values)
            else "no values"
        )
        made.reasons.append(text)
        return
    made.unit, made.confidence = "?", min(made.confidence, 0.6)
    made.units = good or possible
    made.reasons.append(f'"{made.column.unit}" does not say gauge or absolute')


def _settle_rivals(proposals: list[Proposal]) -> None:
    """Of several columns that would be one signal the clearly best stands; equals are asked about."""
    by_signal: dict[str, list[Proposal]] = {}
    for one in proposals:
        if one.found and one.signal != "-":
            by_signal.setdefault(one.found, []).append(one)
    for name, rivals in by_signal.items():
        if len(rivals) < 2:
            continue
        rivals.sort(key=lambda p: (-p.confidence, len(plain_header(p.column.label))))
        best, second = rivals[0], rivals[1]
        if best.confidence < second.confidence + 0.03:
            for one in rivals:
                one.signal = "?"
                one.confidence = min(one.confidence, 0.5)
                one.reasons.append(f'{len(rivals)} columns fit {name}: give it to one, and write "-" for the others')
        else:
            for one in rivals[1:]:
                one.signal, one.unit = "-", ""
                one.reasons.append(f'"{best.column.name}" fits {name} better')
