"""`twoslide live`: what it refuses, and a session from its opening to Ctrl-C and --resume, as a user has it."""

from __future__ import annotations

import signal
import subprocess
import sys
import urllib.request
from pathlib import Path

import pytest

from scenarios.errors import InputRefused
from scenarios.preparation import prepare
from tools.live import live

LIBRARY = Path(__file__).resolve().parents[2] / "scenarios" / "library"


def refused(*words: str) -> str:
    with pytest.raises(InputRefused) as caught:
        live.main(list(words), standalone_mode=False)
    return str(caught.value)


def test_what_is_refused(tmp_path: Path) -> None:
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "x").write_text("")
    assert "is not empty" in refused("--out", str(tmp_path / "full"))
    assert "no such file" in refused(str(tmp_path / "none.toml"), "--out", str(tmp_path / "a"))
    assert "is no session" in refused("--resume", str(tmp_path))
    assert "cannot be given with it" in refused("--resume", str(tmp_path), "--seed", "3")
    assert "unknown controller" in refused("--controller", "scheduled", "--out", str(tmp_path / "a"))
    assert not (tmp_path / "a").exists()


def test_from_opening_to_ctrl_c_and_on_again(tmp_path: Path) -> None:
    folder = tmp_path / "session"

    def run(*words: str) -> tuple[str, int, str]:
        process = subprocess.Popen(
            [sys.executable, "-m", "tools.cli", "live", "--port", "0", *words],
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip
        assert process.stdout is not None
        address = process.stdout.readline().split()[1]
        with urllib.request.urlopen(address) as answer:
            page = answer.read().decode()
        process.send_signal(signal.SIGINT)
        _, said = process.communicate(timeout=300)
        return page, process.returncode, said

    page, code, said = run(
        str(LIBRARY / "plants" / "tarn_moss.toml"), "--controller", "three_position", "--out", str(folder)
    )
    assert (code, "three_position" in page) == (0, True)
    assert f"--resume {folder}" in said
    prepared = prepare([folder / "session.toml"])[0]
    assert prepared.named.name == "three_position"
    page, code, said = run("--resume", str(folder))
    assert code == 0
    assert "three_position" in page
