"""The blind table: nights whose causes replay is not told, one line of figures a night, kept so that a run goes on.

    TWOSLIDE_NIGHTS_FILE=nights.jsonl python -m tests.tools.replay.blind_table --first 10000 --seeds 20 --what-if 5

Lines are kept under a hash of the sources that they follow from; those of other sources are not looked at.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import tempfile
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from controller.process_image import Trip
from scenarios.chance import generator
from scenarios.logged_data.records import LoggedData
from scenarios.row import INDEX
from tests.tools.replay.nights import BY_NAME, SHEET, NotReplayed, Prepared, night
from tests.tools.replay.truth import LIBRARY, Night, play
from tools.replay.as_scenario import AFTER_S
from tools.replay.first_out import Stop
from tools.replay.study import Alternative, Study, study

ROOT = Path(__file__).resolve().parents[3]
FULL_LOAD_W = 600.0e3  # of the demo machine at −10/35 °C, as plant_model/rotor_geometry.py has it
ENSEMBLE = 8  # of a what-if in the table: what a report runs a hundred times
TWENTY = (  # causes of which the reported table has twenty seeds; the others are told by a contact or in words
    "condenser fouling", "strainer", "oil filter", "oil pump", "oil cooler", "oil loss", "capacity stuck",
    "capacity linkage", "suction drift", "discharge drift", "other compressor", "tight discharge",
)  # fmt: skip
SOURCES = ("tools/replay", "plant_model", "controller", "tests/tools/replay/truth.py", "tests/tools/replay/causes.py",
           "tests/tools/replay/logged_night.py", "tests/tools/replay/nights.py",
           "tests/tools/replay/blind_table.py")  # fmt: skip


WHAT_IF_ONLY = ("as_scenario.py", "what_if.py", "study.py")  # the diagnosis does not follow from these


@cache
def sources(what_if: bool = False) -> str:
    """A hash of what the figures follow from, without or with those of the what-if."""
    digest = hashlib.sha256()
    for name in SOURCES:
        place = ROOT / name
        for path in sorted(place.rglob("*.py")) if place.is_dir() else [place]:
            if what_if or path.name not in WHAT_IF_ONLY:
                digest.update(path.read_bytes())
    return digest.hexdigest()[:12]


def first_out(truth: Night, log: LoggedData, stops: Sequence[Stop]) -> str:
    """ "right", "tie", "not resolved" or what was said instead, of the first stop of the night.

    The truth is the controller's own first-out and the scan at which the motor fell.
    """
    end_ms = log.end_ms
    changes = [row for row in truth.edges.tolist() if row[0] <= end_ms]
    falls = [row[0] for row in changes if int(row[1]) == INDEX["motor_running"] and row[3] == 0.0]
    firsts = [Trip(int(row[3])) for row in changes if int(row[1]) == INDEX["trip_first_out"] and row[3] > 0.0]
    if not falls:
        return "no stop" if not stops else f"a stop that was none: {stops[0].text[:60]}"
    if not stops or not stops[0].earliest_ms <= falls[0] <= stops[0].latest_ms:
        return f"stop not found at {falls[0]}"
    stop = stops[0]
    names = [cause.name for cause in stop.causes]
    if not firsts:
        return "right" if stop.verdict == "logic" else f"{stop.verdict} for the logic's own stop"
    wanted = firsts[0].name
    if stop.verdict == "tie" and wanted in names:
        return "tie"
    if stop.verdict == "unexplained" and not stop.sure:
        return "not resolved"
    return "right" if stop.verdict == "trip" and names == [wanted] else f"{stop.verdict} {names} for {wanted}"


def alternative_of(settings: Any, chance: Any) -> Alternative:
    """Other settings as somebody might propose them: earlier unloading, limits eased, or limits drawn in."""
    kind, share = int(chance.integers(3)), float(chance.uniform(0.2, 1.0))
    common = settings.common
    if kind == 0:
        old = common.inhibit
        inhibit = replace(
            old,
            discharge_pressure_hold_kpa_abs=old.discharge_pressure_hold_kpa_abs - 150.0 * share,
            discharge_pressure_unload_kpa_abs=old.discharge_pressure_unload_kpa_abs - 150.0 * share,
            suction_hold_kpa_abs=old.suction_hold_kpa_abs + 25.0 * share,
            suction_unload_kpa_abs=old.suction_unload_kpa_abs + 25.0 * share,
            discharge_temperature_hold_c=old.discharge_temperature_hold_c - 12.0 * share,
            discharge_temperature_unload_c=old.discharge_temperature_unload_c - 12.0 * share,
        )
        return Alternative(
            f"earlier unloading, {share:.2f}", replace(settings, common=replace(common, inhibit=inhibit))
        )
    old, sign = common.protection, 1.0 if kind == 1 else -1.0
    moved = {
        "high_discharge_pressure": ("kpa_abs", 120.0), "low_suction_pressure": ("kpa_abs", -40.0),
        "high_discharge_temperature": ("c", 15.0), "low_oil_differential": ("kpa", -50.0),
        "high_filter_differential": ("kpa", 100.0), "high_oil_temperature": ("c", 12.0),
    }  # fmt: skip
    changed = {
        f"{name}_{which}_{unit}": getattr(old, f"{name}_{which}_{unit}") + sign * share * by
        for name, (unit, by) in moved.items()
        for which in ("trip", "alarm")
    }
    word = "eased" if kind == 1 else "drawn in"
    return Alternative(
        f"limits {word}, {share:.2f}", replace(settings, common=replace(common, protection=replace(old, **changed)))
    )


def counterfactuals(one: Prepared, made: Study, other: Alternative) -> list[dict[str, Any]]:
    """Each verdict of the what-if beside what the true plant did with the same; a night that tripped before the story begins
    is left out."""
    if made.story is None or made.story.problem or made.what_if is None or not made.what_if.reproduced:
        return []
    start_ms = one.record.start_ms + 1000 * (made.first + made.story.first)
    until_ms = start_ms + int(1000 * (made.story.trip_s + AFTER_S))
    cause = BY_NAME[one.night.cause.name]
    out = []
    for variant in made.what_if.variants:
        if variant.name == other.name:
            truth: Night = play(cause, one.night.seed, settings=other.settings, logged=False)
        elif made.diagnosis is not None and made.diagnosis.verdict == cause.group:
            truth = play(cause, one.night.seed, sound=True, logged=False)
        else:
            truth = one.night  # another part than the guilty one made sound changes nothing
        if 0 <= truth.trip_ms < start_ms:
            continue
        trips = 0 <= truth.trip_ms <= until_ms
        out.append(
            {"what": variant.name.split(",")[0] if variant.name == other.name else "part sound", "said": variant.verdict,
             "true": "trips" if trips else "rides through", "tripped": variant.tripped, "of": variant.count}
        )  # fmt: skip
    return out


def judged(name: str, seed: int, what_if: bool) -> dict[str, Any]:
    """Figures of one night."""
    began = time.process_time()
    told: dict[str, Any] = {
        "sources": sources(),
        "what_if_sources": sources(True) if what_if else "",
        "name": name,
        "seed": seed,
        "group": BY_NAME[name].group,
    }
    try:
        one = night(name, seed)
    except NotReplayed as short:
        _, played, log, stops = short.args
        return {
            **told, "sampling": played.sampling, "trip": played.trip.name, "first_out": first_out(played, log, stops),
            "ranked": [("not replayed", 0.0)], "best": {}, "load_rms": None,
        } | ({"counterfactual": [], "reproduced": False} if what_if else {})  # fmt: skip
    night.cache_clear()
    other = alternative_of(one.settings, generator(seed, f"alternative for {name}"))
    plant = LIBRARY / "plants" / f"{BY_NAME[name].plant}.toml"
    ready = time.process_time()
    with tempfile.TemporaryDirectory() as folder:
        made = study(
            one.record, one.parameters, one.settings, "scheduled_pi", plant, SHEET if what_if else None, Path(folder),
            [other] if what_if else [], ENSEMBLE,
        )  # fmt: skip
    studied = time.process_time()
    assert made.diagnosis is not None
    assert made.load is not None
    load, true_w, good = made.load, one.true_load_w, made.load.good
    inside = (true_w >= load.low_w) & (true_w <= load.high_w)
    width = (load.high_w - load.low_w)[good]
    row: dict[str, Any] = {
        **told, "sampling": one.night.sampling, "trip": one.night.trip.name,
        "first_out": first_out(one.night, one.log, one.stops),
        "ranked": [(r.group, round(r.probability, 4)) for r in made.diagnosis.ranked[:5]], "verdict": made.diagnosis.verdict,
        "best": {r.group: [(f := r.fits[0]).hypothesis.key, round(f.size, 3), round(f.onset_s), round(f.chi2, 1)]
                 for r in made.diagnosis.ranked[:4] if r.fits},
        "chi2": [round(made.diagnosis.null_chi2, 1), made.diagnosis.count],
        "load_rms": float(np.sqrt(np.mean((load.load_w - true_w)[good] ** 2))) / FULL_LOAD_W,
        "load_bias": float(np.mean((load.load_w - true_w)[good])) / FULL_LOAD_W,
        "cover": float(np.mean(inside[good])), "width": float(np.mean(width)) / FULL_LOAD_W,
        "made_s": round(ready - began, 2), "studied_s": round(studied - ready, 2),
    }  # fmt: skip
    if what_if:
        row["reproduced"] = made.what_if.reproduced if made.what_if is not None else None
        row["original"] = (
            [made.what_if.original.tripped, made.what_if.original.count] if made.what_if is not None else made.words[-1]
        )
        row["counterfactual"] = counterfactuals(one, made, other)
    return row


def rows_of(names: Sequence[str], seeds: Sequence[int], what_if: int, file: Path | None) -> Iterator[dict[str, Any]]:
    """Every night, from the file where it is there; `what_if`: on so many seeds of each cause."""
    known: dict[tuple[str, int], dict[str, Any]] = {}
    if file is not None and file.is_file():
        for line in file.read_text(encoding="utf-8").splitlines():
            row = json.loads(line)
            if row["sources"] == sources():
                known[row["name"], row["seed"]] = row
    for k, seed in enumerate(seeds):
        for name in names:
            kept = known.get((name, seed))
            if kept is not None and (k >= what_if or kept.get("what_if_sources") == sources(True)):
                yield kept
                continue
            row = judged(name, seed, k < what_if)
            if file is not None:
                with file.open("a", encoding="utf-8") as out:
                    out.write(json.dumps(row) + "\n")
            yield json.loads(json.dumps(row))


def summary(rows: Sequence[dict[str, Any]]) -> dict[str, float]:
    """The figures that are promised, as shares."""
    n = len(rows)
    groups = [[group for group, _ in row["ranked"]] for row in rows]
    said = [row["first_out"] for row in rows if row["first_out"] != "not resolved"]
    loads = [row for row in rows if row["load_rms"] is not None]
    verdicts = [one for row in rows for one in row.get("counterfactual", [])]
    given = [one for one in verdicts if one["said"] != "open"]
    return {
        "nights": n,
        "first": sum(g[0] == row["group"] for g, row in zip(groups, rows, strict=True)) / n,
        "first two": sum(row["group"] in g[:2] for g, row in zip(groups, rows, strict=True)) / n,
        "wrong and over 90 %": sum(
            g[0] != row["group"] and row["ranked"][0][1] > 0.9 for g, row in zip(groups, rows, strict=True)
        ) / n,
        "first-out": sum(one in ("right", "tie", "no stop") for one in said) / max(1, len(said)),
        "first-out ties": sum(one == "tie" for one in said), "first-out not resolved": n - len(said),
        "load RMS, worst": max((row["load_rms"] for row in loads), default=0.0),
        "load RMS over 5 %": sum(row["load_rms"] > 0.05 for row in loads),
        "load RMS, all": float(np.sqrt(np.mean([row["load_rms"] ** 2 for row in loads]))) if loads else 0.0,
        "cover": float(np.mean([row["cover"] for row in loads])) if loads else 0.0,
        "half width": 0.5 * float(np.mean([row["width"] for row in loads])) if loads else 0.0,
        "what-if nights": sum("counterfactual" in row for row in rows),
        "reproduced": sum(bool(row.get("reproduced")) for row in rows),
        "verdicts": len(verdicts), "verdicts given": len(given),
        "verdicts right": sum(one["said"] == one["true"] for one in given) / max(1, len(given)),
    }  # fmt: skip


def show(rows: Sequence[dict[str, Any]]) -> None:
    """Confusion matrix and figures by cause and by sampling on the output."""
    for name in BY_NAME:
        mine = [row for row in rows if row["name"] == name]
        if not mine:
            continue
        counts = Counter(row["ranked"][0][0] for row in mine)
        told = ", ".join(f"{group} {count}" for group, count in counts.most_common())
        rms, cover = (
            np.array([row[key] for row in mine if row["load_rms"] is not None] or [0.0])
            for key in ("load_rms", "cover")
        )
        print(
            f"{name:18s} {BY_NAME[name].group:22s} {told:60s} load {rms.mean():.3f} ≤ {rms.max():.3f} in {cover.mean():.2f}"
        )
    for name in dict.fromkeys(row["name"] for row in rows):
        outs = Counter(row["first_out"] for row in rows if row["name"] == name)
        trips = Counter(row["trip"] for row in rows if row["name"] == name)
        ifs = Counter(f"{v['what']}: {v['said']} / {v['true']}" for r in rows if r["name"] == name
                      for v in r.get("counterfactual", []))  # fmt: skip
        print(f"{name:18s} first-out {dict(outs)} of {dict(trips)} what-if {dict(ifs)}")
    for sampling in sorted({row["sampling"] for row in rows}):
        found = summary([row for row in rows if row["sampling"] == sampling])
        print(f"{sampling:18s}", {key: round(value, 3) for key, value in found.items()})
    print("all               ", {key: round(value, 3) for key, value in summary(rows).items()})
    for row in rows:
        if row["ranked"][0][0] != row["group"] or (row["load_rms"] or 0.0) > 0.05:
            print(
                "look at", {key: row[key] for key in ("name", "seed", "sampling", "trip", "ranked", "best", "load_rms")}
            )


def kept_file() -> Path | None:
    """The file of `TWOSLIDE_NIGHTS_FILE`, None for none."""
    return Path(os.environ["TWOSLIDE_NIGHTS_FILE"]) if os.environ.get("TWOSLIDE_NIGHTS_FILE") else None


def main() -> None:
    """Command line; it may be stopped and started again."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--first", type=int, default=1000)
    parser.add_argument("--seeds", type=int, default=1)
    parser.add_argument("--what-if", type=int, default=0)
    parser.add_argument("--cause", action="append")
    parser.add_argument(
        "--twenty", action="store_true", help="only the twelve causes that are reported with twenty seeds"
    )
    chosen = parser.parse_args()
    seeds = range(chosen.first, chosen.first + chosen.seeds)
    rows = []
    for row in rows_of(
        chosen.cause or (list(TWENTY) if chosen.twenty else list(BY_NAME)), seeds, chosen.what_if, kept_file()
    ):
        rows.append(row)
        mark = " " if row["ranked"][0][0] == row["group"] else "×"
        print(
            f"{mark} {row['name']:18s} {row['seed']} {row['sampling']:15s} {row['trip']:24s} {row['ranked'][0]} "
            f"load {row['load_rms'] or 0.0:.3f} in {row.get('cover', 0.0):.2f} {row['first_out']} {row.get('studied_s')} s",
            flush=True,
        )  # fmt: skip
    show(rows)


if __name__ == "__main__":
    main()
