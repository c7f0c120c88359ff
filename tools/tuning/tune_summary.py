"""What a tuning run came to, in plain words: the first thing that its report says."""

from __future__ import annotations

import math

from tools.tuning.result_words import changed, ms_text, number, signed
from tools.tuning.tuning_result import Between, FailureBound, MapRow, ProofRow, TuningResult


def compared(ratio: Between, what: str) -> str:
    """A ratio to a rival in words; an interval across 1 is no difference shown.

    >>> compared(Between(0.73, 0.71, 0.76), "pressure RMS")
    'pressure RMS 27 % less (24 to 29)'
    >>> compared(Between(0.99, 0.95, 1.04), "reversals")
    'reversals: no difference shown (between 5 % less and 4 % more)'
    >>> compared(Between(1.2, 1.1, 1.3), "wear")
    'wear 20 % more (10 to 30)'
    """
    if math.isnan(ratio.value):
        return f"{what}: cannot be compared"
    percent = [100.0 * (v - 1.0) for v in (ratio.value, ratio.low, ratio.high)]
    if not (math.isfinite(ratio.low) and math.isfinite(ratio.high)):
        return f"{what} {signed(percent[0], 0)} %, without an interval"
    if ratio.low <= 1.0 <= ratio.high:
        return f"{what}: no difference shown (between {abs(percent[1]):.0f} % less and {percent[2]:.0f} % more)"
    word = "less" if ratio.value < 1.0 else "more"
    low, high = sorted(abs(p) for p in percent[1:])
    return f"{what} {abs(percent[0]):.0f} % {word} ({low:.0f} to {high:.0f})"


def energy_compared(difference_pct: Between) -> str:
    """The difference of energy per cooling in words.

    >>> energy_compared(Between(-0.15, -0.2, -0.1))
    'energy per cooling 0.15 % less (0.10 to 0.20)'
    """
    d = difference_pct
    if math.isnan(d.value):
        return "energy per cooling: cannot be compared"
    if not (math.isfinite(d.low) and math.isfinite(d.high)):
        return f"energy per cooling {signed(d.value, 2)} %, without an interval"
    if d.low <= 0.0 <= d.high:
        return f"energy per cooling: no difference shown ({signed(d.low, 2)} to {signed(d.high, 2)} %)"
    low, high = sorted(abs(v) for v in (d.low, d.high))
    return f"energy per cooling {abs(d.value):.2f} % {'less' if d.value < 0.0 else 'more'} ({low:.2f} to {high:.2f})"


def row_words(row: ProofRow) -> str:
    """The chosen settings against one rival, in one sentence."""
    parts = [
        compared(row.rms_ratio, "pressure RMS"),
        compared(row.reversals_ratio, "reversals of the capacity slide"),
        compared(row.wear_ratio, "slide wear"),
        energy_compared(row.energy_difference_pct),
    ]
    return f"Against {row.rival}: {'; '.join(parts)}."


def bound_words(bound: FailureBound) -> str:
    """How often something happened, and at most how often it would.

    >>> bound_words(FailureBound("trip", 0, 299, 0.95, 0.00997))
    'no trip in 299 cases, so at 95 % confidence at most 1 % of such cases have one'
    """
    at_most = number(100.0 * bound.at_most_frac, 2)
    seen = f"no {bound.name}" if not bound.failures else f"{bound.failures} with a {bound.name}"
    return (
        f"{seen} in {bound.cases} cases, so at {100 * bound.confidence:g} % confidence at most {at_most} % of such cases "
        "have one"
    )


def worst_rows(result: TuningResult) -> tuple[MapRow, MapRow] | None:
    """The points of the greatest Ms, nominal and with the spread; None without a linear loop."""
    rows = [row for row in result.map_points if not math.isnan(row.ms)]
    return (max(rows, key=lambda r: r.ms), max(rows, key=lambda r: r.ms_spread)) if rows else None


def _margins(result: TuningResult) -> str:
    worst, p = worst_rows(result), result.provenance
    if worst is None:
        return f"{result.controller} has no linear loop: no margins are told, and its stability is shown by simulation only."
    nominal, spread = worst[0].ms, worst[1].ms_spread
    held = nominal <= p.ms_limit and spread <= p.ms_spread_limit
    verdict = "both limits hold at every point" if held else "NOT within the limits"
    return (
        f"Over {len(result.map_points)} points of the operating map the sensitivity peak Ms is at most {ms_text(nominal)} "
        f"(limit {p.ms_limit:g}), with gain, dead time and lag off by the spread {ms_text(spread)} (limit "
        f"{p.ms_spread_limit:g}): {verdict}."
    )


def equal_terms(result: TuningResult) -> list[str]:
    """Both fronts at what the baseline's choice takes, on the search's cases: two choices may lie at different places.

    Nothing where the controller is its own baseline or the baseline found nothing.
    """
    if result.baseline == result.search or not result.baseline.chosen_trial.feasible:
        return []
    rms_kpa, wear_per_h, *_ = result.baseline.chosen_trial.objectives
    mine = [t.objectives for t in result.search.trials if t.feasible]
    quiet = [o for o in mine if o[1] <= wear_per_h]
    tight = [o for o in mine if o[0] <= rms_kpa]
    who = f"the tuned {result.baseline.controller}'s choice"
    one = f"with no more slide wear than {who} ({number(wear_per_h)}/h, {number(rms_kpa)} kPa) "
    one += (
        f"{result.controller} gets pressure RMS down to {number(min(o[0] for o in quiet))} kPa"
        if quiet
        else f"no trial of {result.controller} was found"
    )
    other = (
        f"with no more pressure RMS it gets wear down to {number(min(o[1] for o in tight))}/h"
        if tight
        else f"with no more pressure RMS no trial of {result.controller} was found"
    )
    return [f"The two choices lie at different places of their fronts. On the search's cases, {one}; {other}."]


def summary(result: TuningResult) -> list[str]:
    """The answer in a few sentences: what to set, how it did on unseen cases, how far it is from trouble."""
    search, proof = result.search, result.proof
    count = sum(changed(row) for row in result.settings)
    lines = [
        f"{count} of {len(result.settings)} settings of {result.controller} change for {result.plant_title}. They are trial "
        f"{search.chosen} of {len(search.trials)}, {search.reason}.",
        _margins(result),
    ]
    lines += [row_words(row) for row in proof.rows]
    lines += equal_terms(result)
    lines.append("Safety on the unseen cases: " + "; ".join(bound_words(b) for b in proof.bounds) + ".")
    if not proof.new_scenarios:
        lines.append(
            "Scenarios of the search are among the unseen cases: only their plants and chance are new, so that nothing is "
            "shown about other kinds of day."
        )
    flagged = [row for row in result.map_points if row.bump is not None and row.bump.flagged]
    tried = [row for row in result.map_points if row.bump is not None and not row.bump.why_not]
    if tried:
        lines.append(
            f"A bump on the simulated plant agrees with the map's linearisation within 10 % at {len(tried) - len(flagged)} "
            f"of {len(tried)} points where one was made; the fitted first order, from which no margin is taken, at "
            f"{len(tried) - sum(bool(row.bump and row.bump.flagged_form) for row in tried)}."
        )
    return lines
