"""An interrupted replay goes on with the ensembles that it had finished, and leaves nothing half-written."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest

from controller.process_image import Trip
from scenarios.errors import InputRefused
from scenarios.preparation import prepare
from tests.tools.replay.nights import night
from tests.tools.replay.truth import LIBRARY
from tools.replay import what_if
from tools.replay.study import Alternative, Study, study
from tools.replay.what_if import Variant
from tools.replay_command import WORK, _check_place
from tools.tuning.stage_files import StageFiles

ROOT = Path(__file__).resolve().parents[3]
SHEET = LIBRARY / "sheets" / "demo_scheduled_pi.toml"
PLANT = LIBRARY / "plants" / "harrow_ness.toml"
LOGS = LIBRARY / "logs"


def study_of(folder: Path, keep: Any, ensemble: int = 3, alternative: str = "Other") -> Study:
    one = night("tight discharge", 5004)
    folder.mkdir(exist_ok=True)
    return study(
        one.record, one.parameters, one.settings, "scheduled_pi", PLANT, SHEET, folder,
        [Alternative(alternative, one.settings)], ensemble, keep=keep,
    )  # fmt: skip


def test_a_finished_ensemble_is_not_run_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The runs themselves are stood in for: what is looked at is which of them are asked for."""
    ran: list[str] = []
    dies = [True]

    def fake(name: str, prepared: Any, settings: Any, controller: str, *rest: Any) -> Variant:
        if dies[0] and len(ran) == 1:
            raise KeyboardInterrupt
        ran.append(name)
        count = len(rest[2])
        logged, trip_s = night("tight discharge", 5004).record.trip, [float("nan")] * count
        monkeypatch.setattr(what_if, "judge", lambda *_: True)
        return Variant(name, [logged] * count, trip_s, 7.5, "kPa")

    monkeypatch.setattr(what_if, "run_variant", fake)
    keep = StageFiles(tmp_path / WORK).have
    with pytest.raises(KeyboardInterrupt):
        study_of(tmp_path / "a", keep)
    assert ran == ["As it was"]
    dies[0] = False
    made = study_of(tmp_path / "b", keep)  # another scratch folder, as another process has
    assert made.what_if is not None
    assert ran == ["As it was", "Other"] + [v.name for v in made.what_if.variants[1:]]
    assert made.what_if.original.trips == [Trip.HIGH_DISCHARGE_PRESSURE] * 3
    assert made.what_if.original.nearest == 7.5
    before = len(ran)
    study_of(tmp_path / "c", keep, ensemble=4)  # asked otherwise, nothing of it counts
    assert len(ran) - before == 1 + len(made.what_if.variants)
    (tmp_path / "far").mkdir()
    moved = (tmp_path / "b").rename(tmp_path / "far" / "moved")  # the saved event needs nothing from where it was made
    assert {p.name for p in moved.iterdir()} == {"scenario.toml", "load.csv", "plant.toml", "settings.toml"}
    event = prepare([moved / "scenario.toml"])[0]
    assert event.scenario.plant.path.resolve() == (moved / "plant.toml").resolve()
    assert (moved / "settings.toml").read_bytes() == SHEET.read_bytes()


def test_the_kept_stages_do_not_make_the_folder_a_strange_one(tmp_path: Path) -> None:
    (tmp_path / WORK).mkdir()
    _check_place(tmp_path)
    (tmp_path / "mine.txt").write_text("x")
    with pytest.raises(InputRefused, match=r"mine\.txt"):
        _check_place(tmp_path)


def start(out: Path, *more: str) -> subprocess.Popen[bytes]:
    code = "import sys; from tools.cli import main; sys.exit(main())"
    words = [
        sys.executable, "-c", code, "replay", str(LOGS / "nordkai_night.csv"), str(LOGS / "nordkai_alarms.csv"),
        "--mapping", str(LOGS / "nordkai.mapping.toml"), "--settings", str(LOGS / "nordkai_evening.toml"),
        "--settings", f"{LOGS / 'nordkai_raised.toml'}@2026-10-25 01:41", "--plant", str(PLANT),
        "--alternative", str(LOGS / "nordkai_evening.toml"), "--ensemble", "6", "--out", str(out), *more,
    ]  # fmt: skip
    quiet = subprocess.DEVNULL
    return subprocess.Popen(words, cwd=ROOT, env={**os.environ, "PYTHONPATH": str(ROOT)}, stdout=quiet, stderr=quiet)


def twoslide(*words: str, folder: Path) -> int:
    code = "import sys; from tools.cli import main; sys.exit(main())"
    found = subprocess.run(
        [sys.executable, "-c", code, *words],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True,
    )
    return found.returncode


def wait_for(path: Path, process: subprocess.Popen[bytes]) -> None:
    while not path.is_file():
        assert process.poll() is None
        time.sleep(0.02)


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="POSIX signals")
@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGINT])
def test_a_killed_replay_of_the_demo_night_goes_on(tmp_path: Path, how: signal.Signals) -> None:
    out = tmp_path / "why"
    first = start(out)
    kept = out / WORK / "what_if_0.json"
    wait_for(kept, first)
    first.send_signal(how)
    assert first.wait(60) == (-9 if how is signal.SIGKILL else 130)
    assert {p.name for p in out.iterdir()} == {WORK}
    data = json.loads(kept.read_text())
    assert [Trip(t) for t in data["rows"]["trips"]] == [Trip.HIGH_DISCHARGE_PRESSURE] * 6
    data["rows"]["nearest"] = 12.5  # a figure that no run gives: it comes out only if the kept runs are taken
    kept.write_text(json.dumps(data))
    second = start(out)
    assert second.wait(600) == 0
    found = json.loads((out / "findings.json").read_text())
    assert found["plant"]["what_if"][0]["room"] == "12.5 kPa"
    assert found["plant"]["what_if"][1]["tripped"] == "0 of 6"
    assert not (out / WORK).exists()
    assert [p.name for p in tmp_path.iterdir()] == ["why"]  # no partial folder is left
    if how is signal.SIGINT:
        return
    moved = out.rename(tmp_path / "elsewhere")
    assert twoslide("run", "scenario.toml", "--out", "run", folder=moved) == 0
    assert "HIGH_DISCHARGE_PRESSURE" in (moved / "run" / "events.csv").read_text()
    assert twoslide("verify", "--scenarios", "scenario.toml", "--jobs", "1", "--out", "record", folder=moved) in (0, 1)
    assert (moved / "record" / "acceptance.html").is_file()
