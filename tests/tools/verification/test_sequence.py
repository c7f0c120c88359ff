"""The sequence recorder: steps become requirements that say when each came, and in which order."""

from __future__ import annotations

from pathlib import Path

import pytest

from scenarios.errors import InputRefused
from scenarios.trace import Trace
from tests.tools.verification.bench import SETTINGS, trace
from tools.verification.findings import Finding, evaluate
from tools.verification.pack import load_pack

PACK = """title = "Stop"
[[sequence]]
id = "S"
text = "A stop"
severity = "damage"
begins = "rise(capacity_unload)"
[[sequence.step]]
what = "slide down"
see = "capacity_travel_measured <= 5 %"
within = "2 s"
tolerance = "500 ms"
[[sequence.step]]
what = "motor off"
see = "not motor_run"
within = "1 s"
not_before = "300 ms"
[[sequence.step]]
what = "pump off"
see = "not oil_pump"
within = "5 s"
not_before = "2 s"
tolerance = "100 ms"
after = "slide down"
"""


def _run(down: int, off: int, pump_off: int) -> Trace:
    """The unload drive comes on in scan 10; scans at which the slide is down, the motor off, the pump off."""
    scans = range(140)
    return trace(
        140, capacity_unload=[k >= 10 for k in scans],
        capacity_travel_measured_frac=[0.5 if k < down else 0.0 for k in scans],
        motor_run=[k < off for k in scans], oil_pump=[k < pump_off for k in scans],
    )  # fmt: skip


def _found(tmp_path: Path, run: Trace) -> list[Finding]:
    path = tmp_path / "s.toml"
    path.write_text(PACK, encoding="utf-8")
    return evaluate(load_pack([path]), run, SETTINGS)


def test_a_stop_as_written(tmp_path: Path) -> None:
    found = _found(tmp_path, _run(30, 34, 60))
    assert [(one.id, str(one.verdict), one.margin, one.unit) for one in found] == [
        ("S-1", "held", 0.5, "s"),
        ("S-2", "held", 0.1, "s"),
        ("S-3", "held", 1.1, "s"),
    ]


@pytest.mark.parametrize(
    ("down", "off", "pump_off", "margins"),
    [
        (36, 40, 60, [-0.1, 0.1, 0.5]),  # slide 2.6 s, allowed 2.5
        (30, 41, 60, [0.5, -0.1, 1.1]),  # motor off 1.1 s after it
        (30, 32, 60, [0.5, -0.1, 1.1]),  # and 0.2 s, too early
        (30, 28, 60, [0.5, -0.5, 1.1]),  # out of order
        (30, 34, 48, [0.5, 0.1, -0.1]),  # pump 1.8 s after the slide, at least 1.9
        (30, 34, 139, [0.5, 0.1, -0.6]),  # never off: told as one scan after the last moment from the begin
        (139, 34, 60, []),  # the slide never came down
    ],
)
def test_each_fault_breaks_its_own_step(
    tmp_path: Path, down: int, off: int, pump_off: int, margins: list[float]
) -> None:
    found = _found(tmp_path, _run(down, off, pump_off))
    if down == 139:
        assert str(found[0].verdict) == "failed"
        assert found[0].margin == -0.1, "a scan more than it may take: it was not waited for longer"
        return
    assert [one.margin for one in found] == margins
    assert [str(one.verdict) for one in found] == ["held" if margin >= 0.0 else "failed" for margin in margins]


def test_sentences_say_what_is_expected(tmp_path: Path) -> None:
    path = tmp_path / "s.toml"
    path.write_text(PACK, encoding="utf-8")
    texts = [one.text for one in load_pack([path]).requirements]
    assert texts[0] == "A stop, step 1: slide down within 2 s (± 500 ms) after the begin."
    assert texts[2] == 'A stop, step 3: pump off within 5 s and not before 2 s (± 100 ms) after "slide down".'


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('after = "slide down"', 'after = "slide up"', 's.toml:23:9: "slide up" is no earlier step'),
        ('what = "motor off"', 'what = "slide down"', "a second step"),
        ('see = "not motor_run"', 'see = "not motor_ran"', "s.toml:14:12: there is no column"),
        ('within = "1 s"', 'within = "1 kPa"', "s.toml:15:"),
        ('within = "1 s"', "", '"within" is missing'),
        ('begins = "rise(capacity_unload)"', "", '"begins" is missing'),
        ('what = "motor off"', 'what = "motor off"\nsees = "x"', "sees"),
    ],
)
def test_a_slip_is_told_with_its_place(tmp_path: Path, old: str, new: str, words: str) -> None:
    path = tmp_path / "s.toml"
    path.write_text(PACK.replace(old, new), encoding="utf-8")
    with pytest.raises(InputRefused) as caught:
        load_pack([path])
    assert words in str(caught.value)


def test_a_sequence_without_steps_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "s.toml"
    path.write_text(PACK[: PACK.index("[[sequence.step]]")], encoding="utf-8")
    with pytest.raises(InputRefused, match="at least one"):
        load_pack([path])
