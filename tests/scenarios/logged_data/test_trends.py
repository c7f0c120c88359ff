"""Whole files of every layout into raw files."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import polars as pl
import pytest

from scenarios.errors import InputRefused
from scenarios.logged_data.records import RawFile
from scenarios.logged_data.trends import read_raw


def raw(tmp_path: Path, text: str, encoding: str = "utf-8", **given: str | int) -> RawFile:
    path = tmp_path / "log.csv"
    path.write_bytes(text.encode(encoding))
    return read_raw(path, given)


UGLY = """\
Anlage: Halle 3;;;
Exportiert: 27.11.2026;;;

Zeit;Saugdruck;Druckgastemp.;Lauf
;barü;°C;
27.11.2026 02:13:07;1,92;75,3;1
27.11.2026 02:13:08;1,93;---;1
27.11.2026 02:13:09;;75,4;0
"""


def test_preamble_header_and_unit_row(tmp_path: Path) -> None:
    file = raw(tmp_path, UGLY, "cp1252")
    assert [(c.name, c.unit) for c in file.columns] == [("Saugdruck", "barü"), ("Druckgastemp.", "°C"), ("Lauf", "")]
    assert file.columns[0].values is not None
    assert file.columns[0].values.tolist()[:2] == [1.92, 1.93]
    assert np.isnan(file.columns[0].values[2])
    assert file.columns[0].empty == 1
    assert file.columns[1].bad_words == {"---": 1}
    assert file.line.tolist() == [6, 7, 8]
    assert file.settings["header_line"] == 4


def test_date_and_time_in_two_columns(tmp_path: Path) -> None:
    file = raw(tmp_path, "Date\tTime\tPs [kPa abs]\n27/11/2026\t02:13:07\t291\n27/11/2026\t02:13:08\t292\n")
    assert file.time_ms.tolist() == [1_795_745_587_000, 1_795_745_588_000]
    assert [c.name for c in file.columns] == ["Ps"]


LONG = "time,tag,value,unit\n" + "".join(
    f"2026-11-27T02:00:{s:02d}Z,{tag},{v},{unit}\n"
    for s in range(10)
    for tag, v, unit in (("PT_SUC", 2.9 + s / 100, "bar(a)"), ("TT_DIS", 75 if s != 4 else "Bad", "degC"))
    if not (tag == "TT_DIS" and s % 2)
)


def test_long_layout_gives_each_tag_its_own_clock(tmp_path: Path) -> None:
    file = raw(tmp_path, LONG)
    assert file.layout == "long"
    suction, discharge = file.columns
    assert (suction.name, suction.unit, discharge.unit) == ("PT_SUC", "bar(a)", "degC")
    assert suction.rows is not None
    assert discharge.rows is not None
    assert np.diff(file.time_ms[suction.rows]).tolist() == [1000] * 9
    assert np.diff(file.time_ms[discharge.rows]).tolist() == [2000] * 4
    assert discharge.bad_words == {"Bad": 1}


def test_long_layout_tag_by_tag(tmp_path: Path) -> None:
    lines = LONG.splitlines()
    together = raw(tmp_path, "\n".join([lines[0], *sorted(lines[1:], key=lambda x: x.split(",")[1])]) + "\n")
    assert together.columns[0].values is not None
    assert together.columns[0].values.tolist() == pytest.approx([2.9 + s / 100 for s in range(10)])
    assert any("start again" in i.text for i in together.issues)


def test_an_event_list_is_seen(tmp_path: Path) -> None:
    text = "Date/Time;State;Source;Message;Prio\n" + "".join(
        f"27/11/2026 02:0{k}:00;{s};K1;Suction pressure low alarm {k % 2};2\n"
        for k, s in enumerate(["ACT", "RTN", "ACT", "ACK"])
    )
    file = raw(tmp_path, text)
    assert (file.kind, file.settings["text_column"], file.settings["state_column"]) == ("events", "Message", "State")


def test_parquet_wide_long_and_with_a_zone(tmp_path: Path) -> None:
    stamps = pl.datetime_range(pl.datetime(2026, 11, 27), pl.datetime(2026, 11, 27, 0, 0, 9), "1s", eager=True)
    wide = pl.DataFrame(
        {"time": stamps.dt.replace_time_zone("UTC"), "Suction pressure [kPa abs]": [290.0 + k for k in range(10)]}
    )
    wide.write_parquet(tmp_path / "w.parquet")
    file = read_raw(tmp_path / "w.parquet")
    assert (file.settings["time_zone"], file.columns[0].unit) == ("UTC", "kPa abs")
    long = pl.DataFrame(
        {"t": ["a"] * 0, "tag": [], "value": []}, schema={"t": pl.String, "tag": pl.String, "value": pl.Float64}
    )
    long = pl.DataFrame(
        {"time": pl.concat([stamps, stamps]), "tag": ["A"] * 10 + ["B"] * 10, "value": [float(k) for k in range(20)]}
    )
    long.write_parquet(tmp_path / "l.parquet")
    file = read_raw(tmp_path / "l.parquet")
    assert [c.name for c in file.columns] == ["A", "B"]


def test_broken_parquet_is_refused(tmp_path: Path) -> None:
    (tmp_path / "x.parquet").write_bytes(b"PAR1 and no more")
    with pytest.raises(InputRefused, match="cannot be read as Parquet"):
        read_raw(tmp_path / "x.parquet")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("only words\nand more\n", "no columns"),
        ("a;b;c\n1;2;3\n2;3;4\n", "no column of times"),
        (
            "Zeit,Ps [bar],Pd [bar],T [°C]\n2026-11-27 02:00:00,2,91,12,3,75,1\n2026-11-27 02:00:01,2,92,12,3,75,1\n",
            "commas part",
        ),
        (";".join(f"c{k}" for k in range(20_000)) + "\n" + "2026-11-27 02:00:00" + ";1" * 19_999 + "\n", "columns"),
        (
            "time;a\n2026-11-27 02:00:00;1;5\n2026-11-27 02:00:01;1;5\n2026-11-27 02:00:02;1;5\n",
            "the header has 2 columns",
        ),
    ],
)
def test_what_is_refused(tmp_path: Path, text: str, words: str) -> None:
    with pytest.raises(InputRefused, match=words):
        raw(tmp_path, text)


def test_a_guessed_format_may_be_overruled(tmp_path: Path) -> None:
    text = "Time;Ps [kPa abs]\n03/04/2026 01:00:00;290\n03/04/2026 01:00:01;291\n"
    assert raw(tmp_path, text).settings["time_format"] == "?"
    file = raw(tmp_path, text, time_format="%m/%d/%Y %H:%M:%S")
    assert pl.from_epoch(pl.Series(file.time_ms), "ms").dt.month().to_list() == [3, 3]


def test_blocks_do_not_show(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    rows = "".join(f"27.11.2026 "
                   f"02:{k // 60:02d}:{k % 60:02d};{k / 100:.2f};{'Bad' if k == 700 else k}\n".replace(".",
                       ",").replace("27,11,", "27.11.")
                   for k in range(3000))  # fmt: skip
    text = "Zeit;a [bar];b\n" + rows
    whole = raw(tmp_path, text)
    monkeypatch.setattr("scenarios.logged_data.text_source.TextSource.blocks.__defaults__", (5000,))
    parts = raw(tmp_path, text)
    for a, b in zip(whole.columns, parts.columns, strict=True):
        assert a.values is not None
        assert b.values is not None
        assert np.array_equal(a.values, b.values, equal_nan=True)
        assert a.bad_words == b.bad_words
    assert np.array_equal(whole.time_ms, parts.time_ms)
    assert np.array_equal(whole.line, parts.line)
