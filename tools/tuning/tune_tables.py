"""What the terminal shows after a tuning run."""

from __future__ import annotations

import math
from collections.abc import Iterator

from rich.table import Table

from tools.tuning.tuning_result import Between, FailureBound, SettingRow, TuningResult


def _ms(value: float) -> str:
    return "unstable" if math.isinf(value) else "–" if math.isnan(value) else f"{value:.2f}"


def rule_table(result: TuningResult) -> Table | None:
    """Published rules over the map, as they are."""
    if not result.rules:
        return None
    p = result.provenance
    table = Table(
        caption=f"over the whole map, as each rule says; limits: Ms {p.ms_limit:g}, {p.ms_spread_limit:g} with the spread",
        caption_justify="left",
    )
    for name in ("rule", "band kPa", "integral s", "Ms", "Ms spread", "gain margin", "phase margin °", "holds"):
        table.add_column(name, justify="left" if name == "rule" else "right")
    for row in result.rules:
        table.add_row(
            row.name, f"{row.proportional_band_kpa:.3g}", f"{row.integral_s:.3g}", _ms(row.ms), _ms(row.ms_spread),
            f"{row.gain_margin:.2f}", f"{row.phase_margin_deg:.0f}", "yes" if row.holds else "no",
        )  # fmt: skip
    return table


def settings_table(result: TuningResult) -> Table:
    """What was tuned."""
    table = Table(caption="settings that were tuned; every other one is as before", caption_justify="left")
    for name in ("setting", "unit", "range", "before", "now"):
        table.add_column(name, justify="left" if name in ("setting", "unit") else "right", overflow="fold")
    for row in result.settings:
        if row.tuned and row.value != row.previous:
            table.add_row(row.key, row.unit, _range(row), _value(row.previous), _value(row.value))
    return table


def _range(row: SettingRow) -> str:
    return f"{row.low:g} … {row.high:g}" if row.low is not None and row.high is not None else ""


def _value(value: float | str | tuple[float, ...]) -> str:
    if isinstance(value, tuple):
        return " ".join(f"{v:g}" for v in value)
    return value if isinstance(value, str) else f"{value:g}"


def proof_table(result: TuningResult) -> Table:
    """The chosen settings on unseen cases, against each rival."""
    proof = result.proof
    table = Table(
        caption=f"{proof.cases} unseen cases; ratios chosen over rival with 95 % intervals, below 1 is better",
        caption_justify="left",
    )
    for name in ("against", "pressure RMS", "reversals", "operations", "wear", "energy %", "rival's trips"):
        table.add_column(name, justify="left" if name == "against" else "right", overflow="fold")
    for row in proof.rows:
        trips = next((b for b in row.rival_bounds if b.name == "trip"), None)
        table.add_row(
            row.rival, *(_ratio(b) for b in (row.rms_ratio, row.reversals_ratio, row.operations_ratio, row.wear_ratio)),
            f"{row.energy_difference_pct.value:+.2f}\n({row.energy_difference_pct.low:+.2f} … "
            f"{row.energy_difference_pct.high:+.2f})",
            str(trips.failures) if trips else "–",
        )  # fmt: skip
    return table


def _ratio(b: Between) -> str:
    return "–" if math.isnan(b.value) else f"{b.value:.2f}\n({b.low:.2f} … {b.high:.2f})"


def bound_words(bound: FailureBound) -> str:
    """A bound in words."""
    return (
        f"{bound.failures} of {bound.cases} with a {bound.name}, so at most {100 * bound.at_most_frac:.2g} % of such cases "
        f"({100 * bound.confidence:g} %)"
    )


def answer_lines(result: TuningResult) -> Iterator[str]:
    """What was found, in words."""
    search = result.search
    chosen = search.chosen_trial
    yield f"Chosen: trial {chosen.number} of {len(search.trials)} ({chosen.origin}); {search.reason}."
    points = [row for row in result.map_points if not math.isnan(row.ms)]
    if points:
        worst = max(points, key=lambda row: row.ms)
        spread = max(points, key=lambda row: row.ms_spread)
        yield (
            f"Over {len(points)} points of the map Ms is at most {worst.ms:.2f} ({worst.where}), with gain, dead time and "
            f"lag ± {100 * result.provenance.spread['gain_frac']:.0f} % at most {spread.ms_spread:.2f} ({spread.where})."
        )
    agree = [row for row in result.map_points if row.bump is not None and not row.bump.why_not]
    if agree:
        flagged = sum(bool(row.bump and row.bump.flagged) for row in agree)
        good = len(agree) - flagged
        yield f"Bump tests on the simulated plant agree with the map within 10 % at {good} of {len(agree)} points."
    yield "On unseen cases: " + "; ".join(bound_words(b) for b in result.proof.bounds) + "."
