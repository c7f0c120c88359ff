"""An invented tuning result for the tests of what people see: nothing in it was computed by the tuner."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from controller.registry import SHIPPED
from scenarios.record_fields import field_rules
from tools.tuning.space import knobs_of, rule_at
from tools.tuning.tuning_result import (
    OBJECTIVES,
    Between,
    Bump,
    CouplingRow,
    CycleRow,
    Effect,
    FailureBound,
    KnobRow,
    MapRow,
    MeasuredRow,
    ProofOutcome,
    ProofRow,
    Provenance,
    RelayRow,
    RuleRow,
    ScheduleRow,
    Search,
    SettingRow,
    SkippedRow,
    SourceFile,
    Trial,
    TuningResult,
    WeightRow,
)

NAN = math.nan


def invented(seed: int = 4, **changes: Any) -> TuningResult:
    """A result with something of everything; `changes` replace fields."""
    rng = np.random.default_rng(seed)
    made: dict[str, Any] = {
        "title": "Tuning of Harrow Ness <fish hall>",
        "plant_title": "Harrow Ness <fish hall>",
        "refrigerant": "R717",
        "controller": "scheduled_pi",
        "map_points": tuple(_points(rng)),
        "skipped_points": (SkippedRow(0.05, 5.5, 0.4, 255.15, "the condenser cannot reject the heat & <stalls>"),),
        "relays": (
            RelayRow("travel 30 %, falling", 3.1, 11.2, 3.3, 10.9, 2.5, 11.2),
            RelayRow("travel 97 %, rising", NAN, NAN, 2.2, 8.0, NAN, NAN, "the slide reached its stop"),
        ),
        "measured": (
            MeasuredRow(
                "bump_travel_45.csv", "ab" * 32, "travel 45 %, falling", "integrator and dead time", (0.11, 0.09, 0.13),
                (1.9, 1.2, 2.6), None, 0.118, 1.4, ("speed up 2.02 %/s, down 4.1 %/s", "backlash 0.4 %"),
            ),
        ),
        "rules": (
            RuleRow("SIMC", 48.0, 24.0, tuple(_multiplier()), 1.78, 2.4, 3.2, 42.0, False, 2, "Ms over its limit at 80 %"),
            RuleRow("Lambda", 80.0, 15.0, tuple(_multiplier()), 1.5, 1.9, 4.5, 55.0, True, 3),
            RuleRow("AMIGO", 70.0, 20.0, tuple(_multiplier()), 1.52, 1.95, 4.2, 53.0, True, 4),
            RuleRow("Tyreus-Luyben", 62.0, 28.0, tuple(_multiplier()), 1.6, 2.05, 3.9, 50.0, False),
            RuleRow("Ziegler-Nichols", 26.0, 9.0, tuple(_multiplier()), 4.1, math.inf, 1.5, 18.0, False, None, "to compare"),
        ),
        "schedule": tuple(_schedule()),
        "coupling": tuple(_coupling()),
        "coupling_words": "volume-ratio filter at least 2000 ms; rise of Ms 0.014 at travel 45 %, falling",
        "cycles": (
            CycleRow("travel 30 %", 0.9, 41.0, True, "one turning step settles within the rest zone", "small loop", 0.0,
                     0.0, NAN),
            CycleRow("travel 80 %", 1.9, 38.0, False, "one turning step settles across the rest zone", "whole plant", 2.1,
                     44.0, 1.9 / 2.1 - 1.0),
        ),
        "search": _search("scheduled_pi", rng, 4.2, 17.0),
        "baseline": _search("three_position", rng, 5.6, 16.0),
        "proof": _proof(),
        "settings": tuple(_settings("scheduled_pi")),
        "provenance": Provenance(
            "twoslide tune harrow_ness.toml --budget '160 trials'",
            (
                SourceFile("plant", "Harrow Ness fish hall", "plants/harrow_ness.toml", "12" * 32),
                SourceFile("scenario", "Batches", "work/search_4.toml", "34" * 32),
                SourceFile("unseen scenario", "Unseen hour 1", "work/unseen_001.toml", "56" * 32),
            ),
            7,
            {"twoslide": "0.1.0", "pymoo": "0.6.2"},
            "0123456789abcdef",
            {"gain_frac": 0.2, "dead_time_frac": 0.2, "lag_frac": 0.2},
            1.75,
            2.0,
            "demo_scheduled_pi.toml",
            "sha256:" + "0f" * 32,
            "sha256:" + "a1" * 32,
            "2026-11-27T07:00:00Z",
        ),
        "warnings": ("2 of 14 points differ from the bump test by more than 10 %", "the dead band <holds> a cycle"),
        "not_tested": ("defrost by hot gas", "a second compressor on the same header", "loads below 20 % of capacity"),
    }  # fmt: skip
    return TuningResult(**{**made, **changes})


def _multiplier() -> list[float]:
    return [1.23, 1.01, 0.86, 0.86, 0.82, 0.81, 0.84, 0.95, 1.24, 1.3, 1.35]


def _points(rng: np.random.Generator) -> list[MapRow]:
    out = []
    for ratio in (2.8, 3.7, 4.6, 5.5):
        for travel in (0.05, 0.15, 0.30, 0.45, 0.60, 0.80, 0.97):
            for direction in ("falling", "rising"):
                ms = 1.2 + 0.3 * travel + 0.08 * (direction == "rising") + 0.02 * float(rng.normal())
                flagged = ("lag",) if (ratio, travel, direction) == (2.8, 0.97, "rising") else ()
                bump = Bump(
                    3.0, 0.09, 2.7, 9.0, False, 0.02, 0.13 if flagged else 0.03, 0.02, 0.04, 0.1, 0.02, flagged, flagged
                )
                if (ratio, travel) == (5.5, 0.05):
                    bump = Bump(0.0, 0.0, 0.0, 0.0, False, NAN, NAN, NAN, NAN, NAN, NAN, (), (), "a stop is too near")
                integrating = travel > 0.9
                out.append(
                    MapRow(
                        f"travel {100 * travel:.0f} %, pressure ratio {ratio}, {direction}", travel, ratio, 0.4, 263.15,
                        direction, 290e3, 290e3 * ratio, 6e5 * travel, integrating, None if integrating else 0.9, 0.1, 2.6,
                        () if integrating else (9.0,), 0.03, 38.0, (ratio, travel) == (3.7, 0.45), 1.8, 30.0, ms,
                        ms + 0.3, 4.2 - travel, 55.0, bump if ratio in (2.8, 5.5) else None,
                    )
                )  # fmt: skip
    return out


def _schedule() -> list[ScheduleRow]:
    return [ScheduleRow(10.0 * k, 1.8 * m, 0.1, 2.4 * m) for k, m in enumerate(_multiplier())]


def _coupling() -> list[CouplingRow]:
    def row(t: float) -> CouplingRow:
        gas = 0.02 if t < 0.2 else 0.0
        return CouplingRow(f"travel {100 * t:.0f} %", t, 0.5, 3.7, "falling", 1.0 + 0.1 * t, 1.01, gas, 1.5, 1.51, 1.53)

    return [row(t) for t in (0.15, 0.45, 0.8)]


def _search(controller: str, rng: np.random.Generator, rms: float, wear: float) -> Search:
    knobs = knobs_of(controller)
    trials = []
    for k in range(60):
        share = float(rng.uniform(0.6, 1.9))
        objectives = (rms * share, wear / share + float(rng.exponential(3.0)), 0.12, 0.31 + 0.001 * float(rng.normal()))
        origin = {0: "sheet given", 1: "defaults", 2: "SIMC", 3: "Lambda", 4: "AMIGO"}.get(k, "search")
        status = "infeasible" if k % 7 == 6 else "pruned" if k % 5 == 4 and k > 5 else "finished"
        values = {knob.name: knob.value(float(rng.uniform())) for knob in knobs}
        means = {"suction_deviation_rms_kpa": objectives[0], "capacity_reversals_per_h": 3.0}
        trials.append(
            Trial(k, origin, status, False, () if status == "infeasible" else objectives, values, means, 1.5, 1.9, 64,
                  "Ms 2.4 nominal, 3.1 with the spread" if status == "infeasible" else "")
        )  # fmt: skip
    done = sorted((t for t in trials if t.feasible), key=lambda t: t.objectives[0])
    front, best = [], math.inf
    for t in done:
        if t.objectives[1] < best:
            front.append(t.number)
            best = t.objectives[1]
    chosen = front[len(front) // 2]
    trials = [Trial(*(getattr(t, f) for f in ("number", "origin", "status")), t.number in front,
                    *(getattr(t, f) for f in ("objectives", "values", "means", "ms", "ms_spread", "cases_done", "reason")))
              for t in trials]  # fmt: skip
    weights = tuple(
        WeightRow(name, w, n, next(t.objectives for t in trials if t.number == n))
        for name, w, n in (
            ("pressure above all", (1.0, 0.1, 0.1, 0.1), front[0]),
            ("all alike", (0.25, 0.25, 0.25, 0.25), chosen),
            ("wear above all", (0.1, 1.0, 0.1, 0.1), front[-1]),
        )
    )
    return Search(
        controller, tuple(trials), tuple(KnobRow(k.name, k.low, k.high, k.log, k.why) for k in knobs), chosen,
        "the point of the front nearest to the best of both, pressure and wear weighed alike", weights, "160 trials", 612.0,
        8, 8, 64.0,
    )  # fmt: skip


def _bounds() -> tuple[FailureBound, ...]:
    names = ("trip", "start beyond the motor's limit", "broken requirement")
    return tuple(FailureBound(name, 0, 304, 0.95, 0.0098) for name in names)


def _proof() -> ProofOutcome:
    means = {"suction_deviation_rms_kpa": 4.1, "capacity_reversals_per_h": 3.2}
    rivals = {"suction_deviation_rms_kpa": 5.6, "capacity_reversals_per_h": 3.25}
    rows = tuple(
        ProofRow(
            name, controller, Between(0.73, 0.71, 0.76), Between(0.99, 0.95, 1.04), Between(0.9, 0.88, 0.92),
            Between(0.95, 0.93, 0.97), Between(-0.15, -0.2, -0.1), means, rivals, _bounds(),
        )
        for name, controller in (
            ("tuned three_position", "three_position"),
            ("three_position, default sheet", "three_position"),
            ("sheet given", "scheduled_pi"),
        )
    )  # fmt: skip
    return ProofOutcome(304, True, 38, _bounds(), rows, ())


def _effects(knob: int) -> tuple[Effect, ...]:
    return tuple(
        Effect(score, Between(1.5 - knob, 1.0 - knob, 2.0 - knob) if k != 2 else Between(0.0, 0.0, 0.0), k < 2)
        for k, score in enumerate(OBJECTIVES)
    )


def _settings(controller: str) -> list[SettingRow]:
    kind = SHIPPED[controller].settings_type
    knobs = {knob.name: k for k, knob in enumerate(knobs_of(controller))}
    out: list[SettingRow] = []

    def walk(record: Any, path: str, key: str) -> None:
        for rule in field_rules(type(record)):
            value = getattr(record, rule.name)
            here, shown = f"{path}{rule.name}", f"{key}{rule.key}"
            if rule.is_record and not rule.length:
                walk(value, f"{here}.", f"{shown}.")
                continue
            tuned = here in knobs
            if rule.length:
                now: Any = tuple(float(v) for v in value)
            elif rule.is_enum:
                now = value.name.lower()
            else:
                now = float(value)
            previous = now * 1.25 if tuned else now
            unit = "" if rule.unit == "1" else rule.unit
            low, high = (None if v is None else float(v) for v in (rule.low, rule.high))
            out.append(
                SettingRow(
                    here, shown, unit, low, high, now, previous, " ".join(rule.why.split()),
                    "searched" if tuned else "as in the sheet given", tuned, _effects(knobs[here]) if tuned else (),
                )
            )  # fmt: skip

    walk(kind(), "", "")
    assert {row.path for row in out if row.tuned} == set(knobs)
    assert rule_at(kind, next(iter(knobs)).split("."))
    return out
