"""500 damaged logs: never a traceback, and never a wrong unit in silence.

A unit is wrong in silence where the mapping asks nothing about a column, and what is read from it is not the truth that
the log was made from.
"""

from __future__ import annotations

import os
import sys
from collections import Counter
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))
from damaged_logs import TRUTH, damaged, fresh

from scenarios.errors import InputRefused
from scenarios.logged_data.mapping import LogMapping, write_mapping
from scenarios.logged_data.proposal import inspect_logs
from scenarios.logged_data.reader import read_log
from scenarios.logged_data.relations import UNCONFIRMED


def answered(mapping: LogMapping) -> LogMapping:
    """The mapping with every column that asks left out, and the rest as proposed."""
    for one in mapping.files:
        for column in one.columns:
            if "?" in (column.signal, column.unit):
                column.signal, column.unit = "-", ""
        one.reading = {k: ("as written" if k == "time_zone" else v) if v == "?" else v for k, v in one.reading.items()}
    return mapping


def verdict(seed: int, folder: Path) -> tuple[str, str]:
    """("refused" | "asked" | "read" | what is wrong in silence, what was done)."""
    log, done = damaged(seed)
    path = folder / f"log{seed}.csv"
    log.write(path)
    before = path.read_bytes()
    try:
        found = inspect_logs([path], folder / f"m{seed}.toml")
    except InputRefused as error:
        words = [str(p) for p in error.problems if p.file]
        return ("refused" if words else "refused without a place"), done
    finally:
        assert path.read_bytes() == before
    asks = found.mapping.questions()
    if any(v == "?" for one in found.mapping.files for v in one.reading.values()):
        return "asked", done
    mapping = answered(found.mapping)
    write_mapping(mapping)
    try:
        data = read_log([], mapping.path)
    except InputRefused:
        return "refused", done
    for name, series in data.series.items():
        if name not in TRUTH:
            continue
        _, values = series.good()
        if len(values) < 20:
            continue
        middle, swing = TRUTH[name]
        if abs(float(np.median(values)) - middle) > 2.0 * swing + 0.02 * abs(middle):
            if UNCONFIRMED in next(c.why for c in mapping.files[0].columns if c.signal == name):
                return (
                    "told",
                    done,
                )  # the header lies, nothing contradicts it, and the table says that nothing confirms it
            return f"WRONG {name} {np.median(values):.4g} for {middle:g} [{log.labels[name]} / {log.units[name]}]", done
    return ("asked" if asks else "read"), done


def hunt(seeds: range, folder: Path) -> Counter[str]:
    """Verdicts over seeds; fails with every wrong one."""
    tally: Counter[str] = Counter()
    wrong = []
    for seed in seeds:
        found, done = verdict(seed, folder)
        tally[found.split(" ")[0]] += 1
        if found.startswith("WRONG") or found == "refused without a place":
            wrong.append((seed, found, done))
    assert wrong == []
    return tally


def test_damaged_logs_end_in_words_and_never_in_a_wrong_unit(tmp_path: Path) -> None:
    tally = hunt(range(60), tmp_path)
    assert tally["refused"] >= 5
    assert tally["read"] + tally["asked"] >= 20


@pytest.mark.slow
def test_five_hundred_and_more_of_them(tmp_path: Path) -> None:
    tally = hunt(range(60, max(500, int(os.environ.get("TWOSLIDE_EXAMPLES", "500")))), tmp_path)
    print(dict(tally))
    assert tally["refused"] >= 50
    assert tally["read"] + tally["asked"] >= 200


def test_a_sound_log_in_any_style_is_read_whole(tmp_path: Path) -> None:
    whole = 0
    for seed in range(12):
        log = fresh(seed)
        log.build()
        path = tmp_path / f"sound{seed}.csv"
        log.write(path)
        found = inspect_logs([path], tmp_path / f"sound{seed}.toml")
        assert {p.signal for p in found.files[0].proposals if p.signal not in ("-", "?")} <= set(TRUTH)
        assert {p.found for p in found.files[0].proposals} == set(TRUTH)  # each column is recognised, asked or not
        whole += found.mapping.questions() == 0
    assert whole >= 9
