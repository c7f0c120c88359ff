"""Load records as loggers write them."""

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scenarios.errors import InputRefused
from scenarios.load_log import LoadLog, load_log

SHIPPED = Path("scenarios/library/loads/fish_freezing_hall.csv")


def read(folder: Path, text: str | bytes) -> LoadLog:
    (folder / "load.csv").write_bytes(text if isinstance(text, bytes) else text.encode())
    return load_log(folder / "load.csv")


@pytest.mark.parametrize(
    "text",
    [
        "time,kW\n0,100\n60,120.5\n120,110\n",
        "time [s];load [kW]\n0;100\n60;120,5\n120;110\n",
        "\ufefftime (min);load (W)\r\n0;100000\r\n1;120500\r\n2;110000\r\n",
        "0\t100\n60\t120.5\n120\t110\n",
        "# note\n\ntime;load [kW]\n08:00:00;100,0\n08:01:00;120,5\n# note\n08:02:00;110,0\n",
        "time;kW\n23:59;100\n00:00;120.5\n00:01;110\n",
        "time,load [kW]\n2024-05-01T10:00:00,100\n2024-05-01 10:01:00,120.5\n2024-05-01T10:02:00,110\n",
        "time,load [kW]\n2024-05-01T10:00:00+02:00,100\n2024-05-01T08:01:00Z,120.5\n2024-05-01T10:02:00+02:00,110\n",
        "time;kW\n01.05.2024 10:00;100\n01.05.2024 10:01;120,5\n01.05.2024 10:02:00;110\n",
        'time,kW\n"0,0","100,0"\n"60,0","120,5"\n"120,0","110,0"\n',
        "date;room;load_kW\n0;-20;100\n60;-21;120,5\n120;-20;110\n",
        "time [h];load [MW]\n0;0.1\n0.016666666666667;0.1205\n0.033333333333333;0.11\n",
    ],
)
def test_one_record_in_many_dresses(tmp_path: Path, text: str) -> None:
    log = read(tmp_path, text)
    assert log.time_ms == (0, 60_000, 120_000)
    assert log.load_w == pytest.approx((100e3, 120.5e3, 110e3), rel=1e-12)


def test_refrigeration_tons(tmp_path: Path) -> None:
    # 1 TR = 3.516853 kW (NIST SP 811, from memory)
    assert read(tmp_path, "time;load [TR]\n0;10\n60;20\n").load_w == pytest.approx((35168.53, 70337.06), rel=1e-6)


def test_thousands_and_decimal_comma(tmp_path: Path) -> None:
    assert read(tmp_path, "t;load [W]\n0;1.234,5\n60;2.000\n").load_w == (1234.5, 2000.0)


def test_what_is_left_out_is_counted_and_told(tmp_path: Path) -> None:
    rows = "time;load [kW]\n0;100\n60;Bad\n60;101\n60;102\n30;99\n120;---\n120;\nnoon;100\n180;-1\n"
    rows += "240;103\n300;100\n360;100\n3600;99\n"
    log = read(tmp_path, rows)
    assert log.time_ms == (0, 60_000, 180_000, 240_000, 300_000, 360_000, 3_600_000)
    assert log.load_w == (100e3, 101e3, 0.0, 103e3, 100e3, 100e3, 99e3)
    notes = "\n".join(log.notes)
    for words in (
        '1 row left out, first in line 3: no number for the load ("Bad")',
        "1 row left out, first in line 5: the same time as the row before",
        "1 row left out, first in line 6: a time before the row above",
        "1 row left out, first in line 8: an empty load",
        "1 row left out, first in line 9: no readable time",
        "1 small negative loads taken as 0",
        "gap of 3240 s before line 14",
    ):
        assert words in notes


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "holds no rows"),
        ("# only\n\n", "holds no rows"),
        ("time;kW\n", "load.csv:1: holds a header and no rows"),
        ("time\n1\n2\n", "load.csv:1: one column only"),
        ("time;kW\n0;a\n60;b\n", "load.csv:2: 2 of 2 rows are unusable"),
        ("time;kW\n0;100\n60;-900\n120;100\n", "load.csv:3: load -900 kW is negative"),
        ("time;kW\n0;100\n60;1e9\n", "load.csv:3: load 1e+09 kW is more than"),
        ("time;load [bar]\n0;1\n", 'load.csv:1: "bar" in the header is no unit of power'),
        (
            "time,kW\n0,5,100,5\n1,5,100,5\n",
            "load.csv:2: four values where time and load are expected; with decimal commas",
        ),
        ("a;b;c\n1;2;3\n", "cannot tell which column"),
        ("time;kW\n0;nan\n60;inf\n", "unusable"),
        (b"time;kW\n0;1\xe90\n", "load.csv:2:4: is not UTF-8"),
        ("just prose, of the usual kind\nand more, of it\n", "unusable"),
        ('time;kW\n"0;1\n', "unusable"),
    ],
)
def test_what_is_refused_and_where(tmp_path: Path, text: str | bytes, words: str) -> None:
    with pytest.raises(InputRefused) as caught:
        read(tmp_path, text)
    assert words in str(caught.value)


def test_the_shipped_record_is_ugly_and_is_read() -> None:
    log = load_log(SHIPPED)
    assert 2 * 3_600_000 <= log.time_ms[-1] <= 3 * 3_600_000
    assert all(60e3 <= load <= 520e3 for load in log.load_w)
    told = "\n".join(log.notes)
    assert all(words in told for words in ("Bad", "---", "same time", "before the row above", "empty", "gap"))


@given(st.binary(max_size=120) | st.text(max_size=120).map(str.encode))
@settings(max_examples=300)
def test_any_bytes_are_read_or_refused(tmp_path_factory: pytest.TempPathFactory, content: bytes) -> None:
    path = tmp_path_factory.getbasetemp() / "any.csv"
    path.write_bytes(content)
    try:
        log = load_log(path)
    except InputRefused:
        return
    assert list(log.time_ms) == sorted(set(log.time_ms))
    assert min(log.load_w) >= 0.0


cells = st.sampled_from(
    ["0", "1,5", "2.5", "Bad", "", "08:00", "99:99", "1e400", "-3", "2024-13-45 00:00", "1.2.3", '"', "٣"]
)


@given(st.lists(st.tuples(cells, cells), max_size=12), st.sampled_from([";", ",", "\t"]))
def test_any_rows_are_read_or_refused(
    tmp_path_factory: pytest.TempPathFactory, rows: list[tuple[str, str]], delimiter: str
) -> None:
    path = tmp_path_factory.getbasetemp() / "rows.csv"
    path.write_text("time;kW\n".replace(";", delimiter) + "\n".join(delimiter.join(row) for row in rows))
    try:
        log = load_log(path)
    except InputRefused:
        return
    assert all(a < b for a, b in zip(log.time_ms, log.time_ms[1:], strict=False))
