"""Is one run better than another, group by group of its scores?

A figure differs when it differs by more than its tolerance: what ten seeds of one scenario spread by, or what nobody could
measure on a plant.  A group is better when some figure is better and none is worse, and the other way round.  Where figures
speak for both sides, the first that differs in the order below decides, which is the order of consequence (common
practice, no source), and the others stand under `contrary`; `dominant` asks for none of them.  Figures of both slide pairs
are added, because they wear the same kind of part.

Nothing is said where nothing was seen: a controller that tells no limits has no margins, and what it must hold was not
checked, so its safety is not comparable, and neither is a group of which both runs have no figure in common.
Engineering aid: verdicts on a simulated plant.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from scenarios.score_records import CYCLING, ENERGY, GROUPS, HIGHER, PRESSURE, SAFETY, Scores, number_text

BETTER, EQUAL, WORSE, NOT_COMPARABLE = "better", "equal", "worse", "not comparable"
VERDICTS = (BETTER, EQUAL, WORSE, NOT_COMPARABLE)


@dataclass(frozen=True, slots=True)
class Figure:
    """A score, or the sum of some, that counts in its group; it differs by more than the greater tolerance.

    scores: names in scenarios/scoring.py, of one unit and direction; least: in their unit; frac: of the baseline's value.
    """

    label: str
    scores: tuple[str, ...]
    least: float
    frac: float
    why: str

    def value(self, scores: Scores) -> float | None:
        """The figure of a run; None where one of its scores does not apply."""
        found = [scores.value(name) for name in self.scores]
        known = [value for value in found if value is not None]
        return sum(known) if len(known) == len(found) else None


# The spreads are standard deviations of scheduled PI less step control over ten seeds of each scenario of the library.
FIGURES: dict[str, tuple[Figure, ...]] = {
    PRESSURE: (
        Figure("RMS deviation", ("suction_deviation_rms_k",), 0.05, 0.03, "spread 0.01–0.06 K; 0.6 kPa at −10 °C"),
        Figure("peak deviation", ("suction_deviation_peak_k",), 0.1, 0.03, "spread 0.01–0.11 K"),
        Figure("time within ± 1 K", ("time_within_1_k_pct",), 0.5, 0.0, "spread 0.05–0.5 %, 1 % with arrivals"),
        Figure("settling", ("settling_worst_s",), 30.0, 0.05, "spread to 16 s; twice that"),
        Figure("disturbances not settled", ("unsettled_count",), 0.5, 0.0, "a whole number"),
    ),
    CYCLING: (
        Figure("motor starts", ("starts_per_h",), 1e-6, 0.0, "a start is a start"),
        Figure(
            "margin to the start wait", ("start_to_start_margin_s",), 10.0, 0.05, "spread 0.5 s; seconds cost nothing"
        ),
        Figure(
            "slide reversals",
            ("capacity_reversals_per_h", "volume_ratio_reversals_per_h"),
            1.0,
            0.05,
            "spread 0.2–1.3 /h: one reversal more or less in a run",
        ),
        Figure(
            "solenoid operations",
            ("capacity_operations_per_h", "volume_ratio_operations_per_h"),
            3.0,
            0.1,
            "spread 1–3 /h, 8 /h with arrivals; a tenth of a valve's life is not seen in service",
        ),
        Figure(
            "slide travel",
            ("capacity_strokes_per_h", "volume_ratio_strokes_per_h"),
            0.05,
            0.05,
            "spread 0.01–0.1 strokes/h",
        ),
        Figure("time at minimum load", ("minimum_load_time_pct",), 2.0, 0.05, "spread under 1 %"),
    ),
    ENERGY: (
        Figure(
            "energy per cooling",
            ("specific_energy_kwh_per_kwh",),
            0.0,
            0.005,
            "spread 0.3 %; a plant's own meters do not tell half a per cent",
        ),
    ),
    SAFETY: (
        Figure("trips", ("trips_count",), 0.5, 0.0, "a whole number"),
        Figure("invariant violations", ("violations_count",), 0.5, 0.0, "a whole number"),
        Figure("forced unload", ("forced_unload_min",), 0.1, 0.05, "spread 0.01 min"),
        Figure("load inhibit", ("load_inhibit_min",), 1.0, 0.05, "spread to 1.1 min in a pull-down"),
        Figure("alarms", ("alarms_per_h",), 0.5, 0.05, "none to half an alarm an hour"),
        *(
            Figure(f"margin to {words}", (f"{name}_margin_pct",), 1.0, 0.0, "1 % of span: the checks' own tolerance")
            for words, name in (
                ("high discharge pressure", "high_discharge_pressure"),
                ("low suction pressure", "low_suction_pressure"),
                ("high discharge temperature", "high_discharge_temperature"),
                ("motor overload", "motor_overload"),
            )
        ),
    ),
}


@dataclass(frozen=True, slots=True)
class GroupVerdict:
    """What one group of scores says of a run against a baseline.

    verdict: one of VERDICTS; reason: the figures that say so, that none differs, or what was not seen; contrary: figures
    that say the opposite of the verdict.
    """

    group: str
    verdict: str
    reason: str
    contrary: tuple[str, ...] = ()

    @property
    def holds(self) -> bool:
        """Better or equal."""
        return self.verdict in (BETTER, EQUAL)

    @property
    def dominant(self) -> bool:
        """Better or equal, and no figure says otherwise."""
        return self.holds and not self.contrary

    def __str__(self) -> str:
        against = f"; but {', '.join(self.contrary)}" if self.contrary else ""
        return f"{self.group}: {self.verdict} ({self.reason}{against})"


def _difference(figure: Figure, baseline: Scores, candidate: Scores) -> tuple[int, str] | None:
    """+1 better, −1 worse, 0 equal, with its words; None where the figure does not apply to both."""
    before, after = figure.value(baseline), figure.value(candidate)
    if before is None or after is None:
        return None
    head = baseline[figure.scores[0]]
    unit = "" if head.unit == "1" else f" {head.unit}"
    words = f"{figure.label} {number_text(after)}{unit} against {number_text(before)}"
    if abs(after - before) <= max(figure.least, figure.frac * abs(before)):
        return 0, words
    return (1 if (after > before) == (head.direction == HIGHER) else -1), words


def group_verdicts(baseline: Scores, candidate: Scores) -> tuple[GroupVerdict, ...]:
    """One verdict a group, in the order of GROUPS; a run's scores are `RunResult.scores` or `read_scores(folder)`."""
    return tuple(_verdict(group, baseline, candidate) for group in GROUPS)


def _verdict(group: str, baseline: Scores, candidate: Scores) -> GroupVerdict:
    found = [_difference(figure, baseline, candidate) for figure in FIGURES[group]]
    differing = [pair for pair in found if pair is not None and pair[0]]
    blind = _not_checked(baseline, candidate) if group == SAFETY else ""
    if blind:
        seen = f"; seen all the same: {', '.join(words for _, words in differing)}" if differing else ""
        return GroupVerdict(group, NOT_COMPARABLE, blind + seen)
    if not any(pair is not None for pair in found):
        return GroupVerdict(group, NOT_COMPARABLE, "no figure is known of both")
    if not differing:
        return GroupVerdict(group, EQUAL, "no figure differs by more than its spread")
    sign = differing[0][0]
    reason = ", ".join(words for side, words in differing if side == sign)
    contrary = tuple(words for side, words in differing if side != sign)
    return GroupVerdict(group, BETTER if sign > 0 else WORSE, reason, contrary)


def _not_checked(baseline: Scores, candidate: Scores) -> str:
    """What keeps the safety of two runs from being compared, in words; "" if both told all limits."""
    whose = [name for name, run in (("the first run's", baseline), ("this run's", candidate)) if run.skipped]
    if not whose:
        return ""
    count = max(len(baseline.skipped), len(candidate.skipped))
    who = "neither controller tells limits" if len(whose) == 2 else f"{whose[0]} controller tells no limits"
    return f"{who}, so there are no margins to compare and {count} requirements were not checked"


def share_holding(verdicts: Iterable[Sequence[GroupVerdict]], dominant: bool = False) -> dict[str, float]:
    """Share of scenarios, 0 to 1, on which each group is better or equal; `dominant`: with no figure against it.

    A scenario on which a group is not comparable is not held, and is not left out either.
    """
    rows = list(verdicts)
    return {
        group: sum(v.dominant if dominant else v.holds for row in rows for v in row if v.group == group)
        / max(1, len(rows))
        for group in GROUPS
    }
