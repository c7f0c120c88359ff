"""500 damaged logs: never a traceback, and never a wrong unit in silence.

A unit is wrong in silence where the mapping asks nothing about a column, and what is read from it is not the truth that
the log was made from.
"""

from __future__ import annotations

import os
import sys
from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))
from damaged_bytes import AFTER_BYTES
from damaged_logs import AFTER_CELLS, BEFORE, TRUTH, Log, damaged, fresh

from scenarios.errors import InputRefused
from scenarios.logged_data.mapping import LogMapping, write_mapping
from scenarios.logged_data.proposal import Inspection, inspect_logs
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
                # the header lies, nothing contradicts it, and the table says that nothing confirms it
                return "told", done
            if name in log.swapped:  # the unit is right, and each can be the other
                return "swapped", done
            return f"WRONG {name} {np.median(values):.4g} for {middle:g} [{log.labels[name]} / {log.units[name]}]", done
    return ("asked" if asks else "read"), done


def hunt(seeds: range, folder: Path) -> Counter[str]:
    """Verdicts over seeds, and by each kind of damage; fails with every wrong one."""
    tally: Counter[str] = Counter()
    wrong = []
    for seed in seeds:
        found, done = verdict(seed, folder)
        word = found.split(" ")[0]
        tally[word] += 1
        tally.update(f"{kind}: {word}" for kind in done.split(", "))
        if found.startswith("WRONG") or found == "refused without a place":
            wrong.append((seed, found, done))
    assert wrong == []
    return tally


def test_damaged_logs_end_in_words_and_never_in_a_wrong_unit(tmp_path: Path) -> None:
    tally = hunt(range(60), tmp_path)
    assert tally["refused"] >= 5
    assert tally["read"] + tally["asked"] >= 20


@pytest.mark.slow
@pytest.mark.parametrize("first", [60, 10_000])
def test_five_hundred_and_more_of_them(tmp_path: Path, first: int) -> None:
    tally = hunt(range(first, first + max(500, int(os.environ.get("TWOSLIDE_EXAMPLES", "500")))), tmp_path)
    print(*(f"{word:40s} {count}" for word, count in sorted(tally.items())), sep="\n")
    assert tally["refused"] >= 50
    assert tally["read"] + tally["asked"] >= 200


STYLE = {"thousands", "old_line_ends", "preamble"}  # not wrong, only another way to write a log


def is_told(found: Inspection) -> bool:
    """Whether there is a question, an issue, a line of the quality table or a reason that a sound log has not."""
    facts = [f for one in found.files for f in one.columns]
    reasons = [p.reasons for one in found.files for p in one.proposals]
    return bool(
        found.mapping.questions()
        or any(one.issues for one in found.files)
        or any(f.gaps or f.stuck or f.out_of_range or f.bad or f.empty for f in facts)
        or any(reasons)
    )


def harmed(kind: str, seed: int) -> Log:
    """A sound log with one kind of damage."""
    change: Any = next(f for f in (*BEFORE, *AFTER_CELLS, *AFTER_BYTES) if f.__name__ == kind)
    log, draw = fresh(seed), np.random.default_rng([seed, 9])
    if change in BEFORE:
        change(log, draw)
        log.build()
    else:
        log.build()
        if change in AFTER_CELLS:
            change(log, draw)
        else:
            log.raw = change(log.text().encode(log.encoding, "replace"), draw)
    return log


@pytest.mark.parametrize("kind", [f.__name__ for f in (*BEFORE, *AFTER_CELLS, *AFTER_BYTES) if f.__name__ not in STYLE])
def test_each_kind_of_damage_is_refused_or_told(kind: str, tmp_path: Path) -> None:
    """No damage passes without a word; a swap of two columns that can each be the other is the one that nobody sees."""
    refused: list[InputRefused] = []
    told = 0
    for seed in range(4):
        sound, log = fresh(seed), harmed(kind, seed)
        sound.build()
        path = tmp_path / f"{seed}.csv"
        log.write(path)
        if log.raw == sound.text().encode(sound.encoding, "replace"):
            continue  # this seed left nothing to harm
        try:
            found = inspect_logs([path], tmp_path / "m.toml")
        except InputRefused as error:
            refused.append(error)
            continue
        told += is_told(found)
        assert is_told(found) or kind == "swapped_columns", (kind, seed)
    assert all(p.file and p.message and "schema" not in p.message for e in refused for p in e.problems)
    assert told + len(refused) >= 2


def test_a_sound_log_in_any_style_is_read_whole(tmp_path: Path) -> None:
    whole = quiet = 0
    for seed in range(12):
        log = fresh(seed)
        log.build()
        path = tmp_path / f"sound{seed}.csv"
        log.write(path)
        found = inspect_logs([path], tmp_path / f"sound{seed}.toml")
        assert {p.signal for p in found.files[0].proposals if p.signal not in ("-", "?")} <= set(TRUTH)
        assert {p.found for p in found.files[0].proposals} == set(TRUTH)  # each column is recognised, asked or not
        whole += found.mapping.questions() == 0
        quiet += not is_told(found)
    assert whole >= 9
    assert quiet >= 6
