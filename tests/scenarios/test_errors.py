"""The error tree: exit codes of architecture.md, and a message that names place, value, limit and way out."""

import pickle

import pytest

from scenarios.errors import (
    ControllerFailed,
    ExitCode,
    InputRefused,
    InternalError,
    Problem,
    StorageFailed,
    TwoslideError,
)


@pytest.mark.parametrize(
    ("error", "code"), [(InputRefused, 2), (ControllerFailed, 1), (StorageFailed, 74), (InternalError, 70)]
)
def test_exit_code_of_each_error(error: type[TwoslideError], code: int) -> None:
    assert issubclass(error, TwoslideError)
    assert error.exit_code == code
    assert ExitCode(code) is error.exit_code


def test_a_problem_reads_place_message_limit_way_out() -> None:
    problem = Problem("7 is too much", limit="allowed: at most 5", way_out="write 5").at("a.toml", 3, 9)
    assert str(problem) == "a.toml:3:9: 7 is too much; allowed: at most 5; write 5"


def test_a_problem_without_place_has_no_colon_in_front() -> None:
    assert str(Problem("no scenario was named")) == "no scenario was named"
    assert str(Problem("no such file", file="a.toml")) == "a.toml: no such file"


def test_problems_survive_a_process_boundary() -> None:
    error = InputRefused([Problem("x", "a.toml", 3, 9, way_out="write 5"), Problem("y")])
    again = pickle.loads(pickle.dumps(error))
    assert again.problems == error.problems
    assert str(again) == str(error)


def test_the_same_problem_twice_is_told_once() -> None:
    one = Problem("x", file="a.toml")
    assert InputRefused([one, one, Problem("y")]).problems == (one, Problem("y"))
