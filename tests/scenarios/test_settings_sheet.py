"""The settings sheet and its checksum."""

import os
import stat
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scenarios.errors import InputRefused, StorageFailed
from scenarios.quantities import Site
from scenarios.settings_sheet import Sheet, load_sheet, restamp_sheet, sheet_controller, write_sheet
from tests.scenarios.example_files import SHEET, Band, Capacity, Cooler, Settings, settings_check

SITE = Site(101325.0, lambda t_k: 290_000.0 + 11_800.0 * (t_k - 263.15), "Ammonia")


def load(path: Path, controller: str = "plain") -> Sheet[Settings]:
    return load_sheet(path, controller, Settings, SITE, settings_check)


@pytest.fixture
def sheet(tmp_path: Path) -> Path:
    path = tmp_path / "sheet.toml"
    path.write_text(SHEET)
    return path


def test_a_sheet_is_read_in_any_unit(sheet: Path) -> None:
    found = load(sheet)
    assert found.settings.capacity.suction_set_point_kpa_abs == 290.0
    # 1 psi = 6.894757 kPa (NIST SP 811, from memory)
    assert found.settings.capacity.neutral_zone_kpa == pytest.approx(0.5 * 6.894757, rel=1e-6)
    assert found.settings.trip_c == 100.0
    assert found.settings.retries == 3
    assert sheet_controller(sheet) == "plain"


def test_without_checksum_there_is_a_note(sheet: Path) -> None:
    assert "no checksum" in load(sheet).notes[0]


def test_restamped_sheet_is_accepted_and_otherwise_untouched(sheet: Path) -> None:
    stamp = restamp_sheet(sheet, Settings, SITE)
    assert load(sheet).notes == ()
    assert load(sheet).stamp == stamp
    assert sheet.read_text().replace(f'checksum = "{stamp}"\n', "") == SHEET
    sheet.write_text(sheet.read_text().replace("100 °C", "99 °C"))
    again = restamp_sheet(sheet, Settings, SITE)
    assert again != stamp
    assert sheet.read_text().replace(f'checksum = "{again}"\n', "") == SHEET.replace("100 °C", "99 °C")


def test_spelling_order_and_comments_do_not_touch_the_checksum(sheet: Path) -> None:
    stamp = restamp_sheet(sheet, Settings, SITE)
    sheet.write_text(
        f'checksum = "{stamp}"  # kept\ncontroller = "plain"\n[settings]\n'
        'capacity = { neutral_zone = "0.5 psi", suction_set_point = "290 kPa" } # the same\ntrip = "212 °F"\n'
    )
    assert load(sheet).stamp == stamp


@pytest.mark.parametrize(("old", "new"), [("0.5 psi", "0.6 psi"), ("100 °C", "100.1 °C"), ("-10 °C sat", "290.1 kPa")])
def test_a_changed_value_is_refused_with_the_way_out(sheet: Path, old: str, new: str) -> None:
    restamp_sheet(sheet, Settings, SITE)
    assert old in sheet.read_text()
    sheet.write_text(sheet.read_text().replace(old, new))
    with pytest.raises(InputRefused) as caught:
        load(sheet)
    message = str(caught.value)
    assert "sheet.toml:1:12: the checksum does not match" in message
    offered = message.split('checksum = "')[1].split('"')[0]
    assert restamp_sheet(sheet, Settings, SITE) == offered


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('"plain"', '"other"', 'sheet.toml:1:14: this sheet is for the controller "other", not for "plain"'),
        ('controller = "plain"', "", 'key "controller" is missing'),
        ("trip", "tripp", 'sheet.toml:4:1: unknown key "tripp"; did you mean "trip"?'),
        (
            '"100 °C"',
            '"180 °C"',
            'sheet.toml:4:8: trip: "180 °C" is out of range; allowed: at least 40 °C, at most 130 °C; default',
        ),
        ('"100 °C"', '"100 K"', "out of range"),
        (SHEET[SHEET.index("[settings]") :], "settings = 3", "sheet.toml:3:12: settings must be a table"),
        ('"0.5 psi"', '"0.5 psig"', "a pressure difference is expected"),
        ("[settings]", "[settings]\ngain = 0", "sheet.toml:3:2: capacity.load_ramp: a ramp needs a gain"),
        ("[settings]", "[setings]", "did you mean"),
    ],
)
def test_what_is_refused_and_where(sheet: Path, old: str, new: str, words: str) -> None:
    assert old in SHEET
    text = SHEET.replace(old, new, 1)
    sheet.write_text(text)
    with pytest.raises(InputRefused) as caught:
        load(sheet)
    message = str(caught.value)
    if "load_ramp" in words:
        # the key itself is not in the file: placed at the nearest table, which is [settings.capacity]
        words = words.replace("3:2", "7:11")
    assert words in message


def test_gauge_needs_the_site(sheet: Path) -> None:
    sheet.write_text(SHEET.replace("-10 °C sat", "1.9 bar(g)"))
    assert load(sheet).settings.capacity.suction_set_point_kpa_abs == pytest.approx(291.325)
    with pytest.raises(InputRefused, match="barometric pressure is not known"):
        load_sheet(sheet, "plain", Settings, Site())


settings = st.builds(
    Settings,
    st.builds(
        Capacity, st.floats(50, 1500), st.floats(0, 100), st.integers(0, 3_600_000), st.just((0.0, 1.5, 99.0)),
        st.sampled_from(Cooler),
    ),
    st.tuples(*[st.builds(Band, st.floats(0, 100), st.floats(0, 50))] * 2),
    st.floats(40, 130),
    st.integers(0, 9),
    st.booleans(),
    st.floats(0.1, 10),
)  # fmt: skip


@given(settings)
def test_a_written_sheet_reads_back_exactly(tmp_path_factory: pytest.TempPathFactory, values: Settings) -> None:
    path = tmp_path_factory.mktemp("sheets") / "sheet.toml"
    stamp = write_sheet(path, "plain", values, 'a "title"', "why\nnot")
    found = load(path)
    assert found.settings == values
    assert (found.stamp, found.notes) == (stamp, ())


def test_every_written_line_says_range_and_reason(tmp_path: Path) -> None:
    write_sheet(tmp_path / "s.toml", "plain", Settings())
    lines = (tmp_path / "s.toml").read_text().splitlines()
    assert 'suction_set_point = "290.6 kPa" # 50 kPa to 1500 kPa; -10 °C ammonia' in lines
    assert 'fan = "air" # one of water, air' in lines
    assert 'load_ramp = "300 s" # 0 ms to 3600 s; common practice, no source' in lines


def test_writing_is_whole_or_not_at_all(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "s.toml"
    write_sheet(path, "plain", Settings())
    before = path.read_bytes()
    assert stat.S_IMODE(path.stat().st_mode) == 0o644

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(StorageFailed, match="No space left"):
        write_sheet(path, "plain", replace(Settings(), retries=5))
    assert path.read_bytes() == before
    assert list(tmp_path.iterdir()) == [path]


def test_a_sheet_without_checksum_says_how_many_defaults_it_takes(sheet: Path) -> None:
    whole = load(sheet).notes
    sheet.write_text('controller = "plain"\n[settings]\ntrip = "100 °C"\n')
    notes = load(sheet).notes
    assert len(notes) == 2
    assert "take their defaults: " in notes[1]
    assert "capacity.suction_set_point" in notes[1]
    assert "trip" not in notes[1].split("defaults: ")[1].split(", ")
    lacking = int(notes[1].split(": ")[1].split(" of ")[0])
    before = int(whole[1].split(": ")[1].split(" of ")[0]) if len(whole) > 1 else 0
    assert lacking == before + 2  # the two of [capacity] that are no longer there
    restamp_sheet(sheet, Settings, SITE)  # a checksum is over what is given, so nothing was lost
    assert load(sheet).notes == ()
