"""The report that defends a tuned settings sheet: one HTML file that needs nothing from outside."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tools.charts import CAUTION, write_page
from tools.tuning.result_words import (
    CAUTIONS,
    EFFECT_METHOD,
    SCORE_NAMES,
    WEAR,
    between_text,
    changed,
    ms_text,
    name_of,
    number,
    quantity,
    range_text,
    signed,
)
from tools.tuning.sheet_for_people import effect_lines, origin_lines
from tools.tuning.slide_zones import AT_REST_KPA
from tools.tuning.tune_summary import summary
from tools.tuning.tuning_result import OBJECTIVES, CycleRow, FailureBound, MapRow, Search, Trial, TuningResult

REPORT_NAME = "report.html"


@dataclass(frozen=True, slots=True)
class Grid:
    """A table of the page: heads, rows of cells; first_texts, last_texts: how many columns there are text and no figures;
    bold, bad: row numbers."""

    caption: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    first_texts: int = 1
    bold: frozenset[int] = frozenset()
    bad: frozenset[int] = frozenset()
    last_texts: int = 0

    @property
    def figures(self) -> range:
        """The columns that are figures."""
        return range(self.first_texts, len(self.heads) - self.last_texts)


def _scores(objectives: tuple[float, ...]) -> tuple[str, ...]:
    """Objectives as cells; energy to five digits, because a tenth of a per cent of it counts."""
    *first, energy = objectives
    return (*(number(v, 4) for v in first), f"{energy:#.5g}")


def _trial_cells(trial: Trial) -> tuple[str, ...]:
    figures = _scores(trial.objectives) if trial.objectives else ("–",) * len(OBJECTIVES)
    ms = ["–" if v is None else ms_text(v) for v in (trial.ms, trial.ms_spread)]
    note = {"finished": "", "pruned": "stopped early, an estimate"}.get(trial.status, trial.reason)
    return (*figures, *ms, note)


def points_table(result: TuningResult) -> Grid:
    """Chosen, rivals, sheets and rules as the search scored them; what broke a limit says which."""
    rows: list[tuple[str, ...]] = []
    bold: set[int] = set()
    searches = [result.search] if result.baseline == result.search else [result.search, result.baseline]
    for k, search in enumerate(searches):
        for trial in search.trials:
            if trial.number == search.chosen:
                bold |= {len(rows)} if k == 0 else set()
                rows.append((f"chosen ({trial.origin})", search.controller, *_trial_cells(trial)))
        for trial in search.trials:
            if trial.origin != "search" and trial.number != search.chosen:
                rows.append((trial.origin, search.controller, *_trial_cells(trial)))
    heads = ("what", "controller", *_score_heads(), "Ms", "Ms with spread", "note")
    caption = (
        "On the search's own cases; every row has the same plants, noise and events. A rule stands here with its "
        "proportional band and integral time on the search's gain schedule, not with a schedule of its own as further down."
    )
    return Grid(caption, heads, tuple(rows), 2,
                frozenset(bold), last_texts=1)  # fmt: skip


def _score_heads() -> tuple[str, ...]:
    return tuple(f"{name_of(score)}, {SCORE_NAMES[score][1]}" for score in OBJECTIVES)


def weights_table(search: Search) -> Grid:
    """What each weighting would choose."""
    rows = tuple(
        (row.name, " : ".join(f"{w:g}" for w in row.weights), str(row.trial), *_scores(row.objectives))
        for row in search.weights
    )
    chosen = frozenset(k for k, row in enumerate(search.weights) if row.trial == search.chosen)
    heads = ("what counts", "weights", "trial", *_score_heads())
    caption = "Weights of relative changes in pressure RMS : wear : starts : energy. Bold: the trial that was taken."
    return Grid(caption, heads, rows, 3, chosen)


def _apart(frac: float, flagged: bool) -> str:
    return "–" if math.isnan(frac) else f"{100.0 * frac:+.0f} %".replace("-", "−") + (" !" if flagged else "")


def _bump_cells(row: MapRow) -> tuple[str, ...]:
    bump = row.bump
    if bump is None:
        return ("no bump", *[""] * 5)
    if bump.why_not:
        return (bump.why_not, *[""] * 5)
    words = ", ".join(bump.flagged)
    whole = _apart(bump.response_apart_frac, "response" in words)
    parts = (("gain", bump.gain_apart_frac), ("lag", bump.lag_apart_frac), ("slope", bump.slope_apart_frac))
    dead = "–" if math.isnan(bump.dead_time_apart_s) else f"{signed(bump.dead_time_apart_s, 2)} s"
    return (whole, *(_apart(frac, name in words) for name, frac in parts), dead, ", ".join(bump.flagged_form) or "–")


def map_table(result: TuningResult) -> Grid:
    """Every point of the map: process, margins, and the bump test made there."""
    rows = []
    for row in result.map_points:
        lags = " + ".join(number(v) for v in row.lags_s) or "–"
        form = "integrating" if row.integrating else "settles"
        rows.append(
            (
                row.where + (" (measured)" if row.measured else ""), form,
                "–" if row.gain_kpa_pct is None else number(row.gain_kpa_pct), number(row.slope_kpa_s_pct),
                number(row.dead_time_s), lags, number(100.0 * row.fit_error_frac, 2), ms_text(row.ms),
                ms_text(row.ms_spread), _margin(row.gain_margin), _margin(row.phase_margin_deg), *_bump_cells(row),
            )
        )  # fmt: skip
    bad = frozenset(k for k, row in enumerate(result.map_points) if row.bump is not None and row.bump.flagged)
    heads = ("point", "form", "gain, kPa/%", "slope, kPa/s/%", "dead time, s", "lag, s", "fit error, %", "Ms",
             "Ms with spread", "gain margin", "phase margin, °", "bump: response", "gain", "lag", "slope", "dead time",
             "form misses by over 10 %")  # fmt: skip
    caption = (
        "Margins are from the unreduced response, not from the fitted form. Bump: what a bump on the whole simulated plant "
        "finds against the same bump on its linearisation; more than 10 % apart is flagged with “!”. Form: figures in which "
        "the fitted first order is more than 10 % off the bump."
    )
    return Grid(caption, heads, tuple(rows), 2, bad=bad, last_texts=1)


def _margin(value: float) -> str:
    return "–" if math.isnan(value) else number(value)


def by_travel_table(result: TuningResult) -> Grid:
    """The map in short: at each travel the range of what the loop meets."""
    travels = sorted({round(100.0 * row.capacity_travel_frac) for row in result.map_points})
    rows = []
    for travel in travels:
        here = [row for row in result.map_points if round(100.0 * row.capacity_travel_frac) == travel]

        def span(values: list[float]) -> str:
            known = [v for v in values if not math.isnan(v)]
            return f"{number(min(known), 2)} to {number(max(known), 2)}" if known else "–"

        flagged = sum(bool(row.bump and row.bump.flagged) for row in here)
        tried = sum(bool(row.bump and not row.bump.why_not) for row in here)
        rows.append(
            (
                f"{travel} %", str(len(here)), str(sum(row.integrating for row in here)),
                span([row.slope_kpa_s_pct for row in here]), span([row.dead_time_s for row in here]),
                span([max(row.lags_s) for row in here if row.lags_s]), span([row.ms for row in here]),
                span([row.ms_spread for row in here]), f"{tried - flagged} of {tried}",
            )
        )  # fmt: skip
    heads = ("travel", "points", "integrating", "slope, kPa/s/%", "dead time, s", "lag, s", "Ms", "Ms with spread",
             "bumps within 10 %")  # fmt: skip
    return Grid("Over pressure ratios, fills, suction temperatures and both ways of the pressure.", heads, tuple(rows))


def rules_table(result: TuningResult) -> Grid:
    """Published rules on this map, as they are."""
    rows = tuple(
        (
            row.name, number(row.proportional_band_kpa), number(row.integral_s), ms_text(row.ms), ms_text(row.ms_spread),
            _margin(row.gain_margin), _margin(row.phase_margin_deg), "yes" if row.holds else "no",
            "–" if row.trial is None else str(row.trial), row.note,
        )
        for row in result.rules
    )  # fmt: skip
    heads = ("rule", "proportional band, kPa", "integral time, s", "Ms", "Ms with spread", "gain margin",
             "phase margin, °", "holds both limits", "trial", "note")  # fmt: skip
    bad = frozenset(k for k, row in enumerate(result.rules) if not row.holds)
    caption = "Worst figures over the map, of each rule's own schedule, without regard to the limits on Ms."
    return Grid(caption, heads, rows, 1, bad=bad, last_texts=1)


def coupling_table(result: TuningResult) -> Grid:
    """The two slides at each point."""
    rows = tuple(
        (
            row.where, number(row.relative_gain, 4), number(row.relative_gain_at_crossover, 4),
            number(row.through_path_kg_s, 2), ms_text(row.ms_alone), ms_text(row.ms_coupled), ms_text(row.ms_shared_oil),
        )
        for row in result.coupling
    )  # fmt: skip
    heads = ("point", "relative gain at rest", "where the loop works", "through-path, kg/s", "Ms alone", "Ms coupled",
             "Ms with shared oil")  # fmt: skip
    return Grid("Ms of the capacity loop with the other slide still, and with it following.", heads, rows)


def _swing(amplitude_kpa: float, period_s: float) -> str:
    if math.isnan(amplitude_kpa):
        return "not predicted"
    if amplitude_kpa <= AT_REST_KPA:
        return "none"
    return f"{number(amplitude_kpa)} kPa" + (f", {number(period_s)} s" if period_s > 0.0 else ", no period")


def _prediction_error(row: CycleRow) -> str:
    """How far off the prediction was; in words where there is no ratio, because one of the two has no cycle."""
    if not math.isnan(row.error_frac) or math.isnan(row.predicted_amplitude_kpa):
        return _apart(row.error_frac, False)
    expected = not row.dies_out and row.predicted_amplitude_kpa > AT_REST_KPA
    if row.seen_period_s > 0.0:
        return f"a cycle of {number(row.seen_amplitude_kpa)} kPa was not predicted"
    return "a cycle was predicted, none came" if expected else "right: no cycle came"


def cycle_table(result: TuningResult) -> Grid:
    """Limit cycles predicted and seen."""
    rows = tuple(
        (
            row.where, "none" if row.dies_out else _swing(row.predicted_amplitude_kpa, row.predicted_period_s),
            _swing(row.seen_amplitude_kpa, row.seen_period_s),
            row.simulated_on, _prediction_error(row), row.why,
        )
        for row in result.cycles
    )  # fmt: skip
    heads = ("where", "predicted", "simulated", "on", "prediction too large by", "why")
    caption = (
        f"Half of peak to peak, and period; none: within {AT_REST_KPA:g} kPa. A describing function is no bound: see the "
        "error. The whole plant also carries noise and load."
    )
    return Grid(caption, heads, rows, 6)


def relay_table(result: TuningResult) -> Grid:
    """Relay experiments against the map."""
    rows = tuple(
        (
            row.where, _margin(row.ultimate_gain_pct_kpa), _margin(row.map_ultimate_gain_pct_kpa),
            _margin(row.describing_function_gain_pct_kpa), _margin(row.ultimate_period_s),
            _margin(row.map_ultimate_period_s), row.why_not,
        )
        for row in result.relays
    )  # fmt: skip
    heads = ("where", "ultimate gain, %/kPa", "of the map", "by describing function", "period, s", "of the map", "note")
    return Grid(
        "A relay experiment on the simulated plant, its bias corrected, against the map.", heads, rows, last_texts=1
    )


def measured_table(result: TuningResult) -> Grid:
    """Logged tests with their intervals against the model."""

    def three(values: tuple[float, float, float] | None) -> str:
        return "–" if values is None else f"{number(values[0])} ({number(values[1])} to {number(values[2])})"

    rows = tuple(
        (
            row.file, row.where, row.form, three(row.slope_kpa_s_pct), number(row.model_slope_kpa_s_pct),
            three(row.dead_time_s), number(row.model_dead_time_s), three(row.lag_s), "; ".join(row.lines),
        )
        for row in result.measured
    )  # fmt: skip
    heads = ("log", "stands for", "form", "slope, kPa/s/%", "model's", "dead time, s", "model's", "lag, s", "more")
    return Grid(
        "Measured on the plant, with 95 % intervals; it replaces the model's process at its point.", heads, rows, 3
    )


def proof_table(result: TuningResult) -> Grid:
    """Ratios and energy against each rival."""
    rows = tuple(
        (
            row.rival, between_text(row.rms_ratio), between_text(row.reversals_ratio), between_text(row.operations_ratio),
            between_text(row.wear_ratio), between_text(row.energy_difference_pct, 2),
        )
        for row in result.proof.rows
    )  # fmt: skip
    heads = ("against", "pressure RMS", "reversals", "operations", "slide wear", "energy per cooling, % difference")
    caption = (
        f"{result.proof.cases} unseen cases in pairs; chosen over rival, below 1 is better; bootstrap intervals, 95 %."
    )
    return Grid(caption, heads, rows)


def means_table(result: TuningResult) -> Grid:
    """Mean of each score over the unseen cases, chosen and rivals."""
    rivals = result.proof.rows
    if not rivals:
        return Grid("", (), ())
    rows = tuple(
        (key.replace("_", " "), number(value, 4), *(number(r.rival_means.get(key, math.nan), 4) for r in rivals))
        for key, value in rivals[0].means.items()
    )
    return Grid("Means over the cases that could be scored.", ("score", "chosen", *(r.rival for r in rivals)), rows)


def bounds_table(result: TuningResult) -> Grid:
    """Failures with their exact bounds, of the chosen settings and of each rival."""

    def lines(who: str, bounds: tuple[FailureBound, ...]) -> list[tuple[str, ...]]:
        return [
            (
                who,
                b.name,
                f"{b.failures} of {b.cases}",
                f"{number(100.0 * b.at_most_frac, 3)} %",
                f"{100 * b.confidence:g} %",
            )
            for b in bounds
        ]

    rows = lines("chosen", result.proof.bounds)
    for row in result.proof.rows:
        rows += lines(row.rival, row.rival_bounds)
    heads = ("settings", "failure", "cases with one", "at most", "confidence")
    caption = (
        "Exact one-sided bound on the share of such cases (Clopper and Pearson 1934); of other cases it says nothing."
    )
    return Grid(caption, heads, tuple(rows), 2, frozenset(range(len(result.proof.bounds))))


def settings_table(result: TuningResult) -> Grid:
    """What was searched or changed, with its sensitivities where they were worked out; bold: changed."""
    shown = [row for row in result.settings if row.tuned or changed(row)]
    tried = any(row.effects for row in shown)
    rows = tuple(
        (
            row.key, range_text(row), quantity(row.previous, row.unit), quantity(row.value, row.unit),
            *(("; ".join(effect_lines(row)) or "no figure",) if tried else ()), row.why, row.because,
        )
        for row in shown
    )  # fmt: skip
    heads = ("setting", "range", "previous", "value", *(("10 % more of it",) if tried else ()), "why",
             "where the value comes from")  # fmt: skip
    caption = "Bold: changed. Every other setting is as before; all of them are in settings.html and settings.csv." + (
        "" if tried else " Sensitivities were not worked out in this run."
    )
    return Grid(caption, heads, rows, len(heads), frozenset(k for k, row in enumerate(shown) if changed(row)))


def write_tune_report(result: TuningResult, folder: Path) -> Path:
    """Write report.html into a folder; a file that stood there is replaced whole or not at all.  Raises OSError."""
    from tools.tuning.tune_pictures import all_pictures

    folder.mkdir(parents=True, exist_ok=True)
    pictures = all_pictures(result)
    same = result.baseline == result.search
    grids: dict[str, Grid] = {
        "points": points_table(result), "weights": weights_table(result.search), "map": map_table(result),
        "by_travel": by_travel_table(result), "rules": rules_table(result), "coupling": coupling_table(result),
        "cycles": cycle_table(result), "relays": relay_table(result), "measured": measured_table(result),
        "proof": proof_table(result), "means": means_table(result), "bounds": bounds_table(result),
        "settings": settings_table(result),
    }  # fmt: skip
    if not same:
        grids["rival_weights"] = weights_table(result.baseline)
    content: dict[str, Any] = {
        "result": result, "caution": CAUTION, "cautions": CAUTIONS, "summary": summary(result), "pictures": pictures,
        "grids": {name: grid for name, grid in grids.items() if grid.rows}, "wear": WEAR, "method": EFFECT_METHOD,
        "origin": origin_lines(result),
    }  # fmt: skip
    path = folder / REPORT_NAME
    write_page(
        path, Path(__file__).with_name("tune_report.html"), {p.name: p.plot for p in pictures.values()}, **content
    )  # fmt: skip
    return path
