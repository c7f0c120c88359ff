"""Somebody else's controller on the bench: a hang or a crash is told, and what the session came to is kept."""

from __future__ import annotations

import time
from pathlib import Path

import polars as pl
import pytest

from scenarios.controllers import Kind
from scenarios.errors import InputRefused
from scenarios.preparation import Prepared, prepare
from tests.tools.live_bench.rig import LIBRARY, page_of, play, serving
from tools.live_bench.plug_in_watch import WORK, Doing, Kept, Watch
from tools.live_bench.session_folder import open_folder

FOREIGN = Path(__file__).resolve().parents[2] / "scenarios" / "foreign"


def prepared_for(folder: Path, controller: str) -> Prepared:
    path = folder / "opening.toml"
    path.write_text(
        'title = "Bench"\npurpose = "for a test"\nexpects = "what the test says"\ncontroller = "scheduled_pi"\n'
        f'plant = "{LIBRARY}/plants/harrow_ness.toml"\nduration = "10 min"\nseed = 4\n[start]\nload = "330 kW"\n',
        encoding="utf-8",
    )
    return prepare([path], controller=controller)[0]


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("plain_steps.py:Hangs", "the controller hung: the scan at 60.0 s did not return within 5 s"),
        ("plain_steps.py:Leaves", "the controller ended its process in the scan at 60.0 s (exit status 3)"),
    ],
)
def test_a_plug_in_that_takes_the_engine_along_is_told_and_its_rows_are_kept(
    tmp_path: Path, name: str, words: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TWOSLIDE_PATIENCE_S", "5")
    folder = tmp_path / "session"
    open_folder(folder, prepared_for(tmp_path, f"{FOREIGN / name}"), open_ended=False)
    with serving(folder) as server:

        async def work() -> None:
            page = await page_of(server)
            assert (await page.do("act", event={"kind": "load_step", "change": "+10 kW"}))["ok"]
            await page.do("speed", factor=100)
            await page.do("run")
            told = await page.hear("engine", within_s=60.0)
            assert told["alive"] is False
            assert told["text"].startswith(words)
            assert "log.csv: 60 rows" in told["text"]
            late = await page_of(server)
            assert (await late.hear("engine"))["text"] == told["text"]

        play(work)
        assert server.failure.startswith(words)
    log, events = pl.read_csv(folder / "log.csv"), pl.read_csv(folder / "events.csv")
    assert log["time_ms"].to_list() == list(range(0, 60_000, 1000))
    assert events["text"].to_list()[-1] == words
    assert "load 330 → 340 kW" in events["text"].to_list()
    assert prepare([folder / "session.toml"])[0].scenario.duration_ms == 60_000
    assert not (folder / WORK).exists()


def test_a_plug_in_that_does_not_load_is_given_up_and_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TWOSLIDE_PATIENCE_S", "2")
    folder = tmp_path / "session"
    open_folder(folder, prepared_for(tmp_path, f"{FOREIGN / 'plain_steps.py'}:NeverLoads"), open_ended=False)
    with pytest.raises(InputRefused, match="hung: it did not load within 2 s"), serving(folder):
        pass
    assert not (folder / WORK).exists()


def test_only_what_is_at_work_can_hang(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TWOSLIDE_PATIENCE_S", "0.05")
    watch = Watch(tmp_path)
    assert watch.hung() == watch.death(-9) == watch.keep_rows("") == ""  # nothing is played yet
    prepared = prepared_for(tmp_path, f"{FOREIGN / 'plain_steps.py'}:Empty")
    kept = Kept(tmp_path, Kind.FILE)
    buffers, _ = kept.buffers(prepared)
    assert watch.hung() == ""
    time.sleep(0.1)
    assert watch.hung() == watch.death(3) == ""  # paused for as long as one likes
    with kept.doing(Doing.PLAYING):
        assert watch.hung() == ""
        time.sleep(0.1)
        buffers.run[0]["scans"], buffers.run[0]["time_ms"] = 7, 700  # late, but alive
        assert watch.hung() == ""
        time.sleep(0.1)
        assert watch.hung() == "the controller hung: the scan at 0.7 s did not return within 0.05 s"
        assert watch.death(-11) == (
            "the controller crashed its process in the scan at 0.7 s (SIGSEGV: memory that is not its own)"
        )
    assert watch.hung() == ""
    again, _ = kept.buffers(prepared)  # gone back to a moment: other files, and the old ones are not looked at
    again.run[0]["time_ms"] = 100
    with kept.doing(Doing.LOADING):
        assert watch.hung() == ""
        time.sleep(0.1)
        assert watch.hung() == "the controller hung: it did not load within 0.05 s"
        assert watch.death(1) == "the controller ended its process while it loaded (exit status 1)"
    assert watch.keep_rows("") == ""  # there is no row
    watch.clear()
    assert not (tmp_path / WORK).exists()


def test_a_shipped_controller_leaves_no_files(tmp_path: Path) -> None:
    kept = Kept(tmp_path, Kind.SHIPPED)
    prepared = prepared_for(tmp_path, "scheduled_pi")
    kept.buffers(prepared)
    with kept.doing(Doing.PLAYING):
        assert sorted(path.name for path in tmp_path.iterdir()) == ["opening.toml"]
