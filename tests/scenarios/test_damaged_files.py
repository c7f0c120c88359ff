"""Files damaged at random: read or refused with a place, never a traceback."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scenarios.errors import InputRefused
from scenarios.loader import load_scenarios
from tests.scenarios.example_files import KNOWN, PLANT, SCENARIO, SHEET, write_all

TEXTS = {"plant": PLANT, "sheet": SHEET, "scenario": SCENARIO}
PIECES = [
    '"',
    "[",
    "]",
    "{",
    "}",
    "=",
    "\n",
    "[[event]]\n",
    "-",
    "1e999",
    "nan",
    "true",
    "1979-05-27",
    "''",
    ".",
    ",",
    "\\",
    "é",
]
PIECES += [
    "[start]\n",
    '"5 m"',
    "[]",
    "{}",
    "[1, 2]",
    "99999999999999999999",
    "kind",
    "at",
    "\x00",
    '"9**9**9"',
    '" °C sat"',
]


@given(st.data())
@settings(max_examples=400, deadline=None)
def test_a_mutated_file_is_read_or_refused(tmp_path_factory: pytest.TempPathFactory, data: st.DataObject) -> None:
    which = data.draw(st.sampled_from(sorted(TEXTS)))
    text = TEXTS[which]
    for _ in range(data.draw(st.integers(1, 3))):
        start = data.draw(st.integers(0, len(text)))
        end = data.draw(st.integers(start, min(start + 25, len(text))))
        text = text[:start] + data.draw(st.sampled_from(["", *PIECES]) | st.text(max_size=4)) + text[end:]
    path = write_all(tmp_path_factory.getbasetemp() / "damaged", **{which: text})
    try:
        scenarios = load_scenarios([path], KNOWN)
    except InputRefused as error:
        # either outcome is right, but a refusal says where and why
        assert all(problem.message and problem.file for problem in error.problems)  # noqa: PT017
        return
    assert len(scenarios) == 1


@given(st.sampled_from(sorted(TEXTS)), st.data())
@settings(max_examples=300, deadline=None)
def test_a_replaced_value_is_read_or_refused(
    tmp_path_factory: pytest.TempPathFactory, which: str, data: st.DataObject
) -> None:
    lines = TEXTS[which].splitlines()
    index = data.draw(st.sampled_from([i for i, line in enumerate(lines) if " = " in line]))
    key = lines[index].split(" = ")[0]
    value = data.draw(
        st.sampled_from(PIECES) | st.floats().map(repr) | st.integers().map(str) | st.text(max_size=8).map(repr)
    )
    lines[index] = f"{key} = {value}"
    path = write_all(tmp_path_factory.getbasetemp() / "replaced", **{which: "\n".join(lines)})
    try:
        load_scenarios([path], KNOWN)
    except InputRefused as error:
        assert all(problem.message and problem.file for problem in error.problems)  # noqa: PT017 - as above
