"""The cause-and-effect matrix: every cause done at a signal simulator, every effect as it was seen.

Nothing is read out of a program or a sheet: the controller is run, and a limit is the first count of the input card at
which its effect shows.  So the matrix is of anyone's controller, and two of them can be laid over each other.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from scenarios.chosen_controller import Taken, take_up
from scenarios.errors import ControllerFailed
from scenarios.isolated import Heart
from scenarios.wiring import Wiring
from tools.verification.box_bench import BoxBench, Mark, NeverRuns
from tools.verification.cause_list import all_causes
from tools.verification.causes import GROUPS, REST, SEQUENCE, SERVICE, START, STOP, Cause
from tools.verification.observed import COLUMNS, Watch, find_limit, observe, restarts
from tools.verification.signal_box import Box, healthy_of, usual_ranges

SETTLED_S = 400.0  # after the start, where no setting tells a longer bypass
_BEYOND_BYPASS_S = 20.0


@dataclass(frozen=True, slots=True)
class Row:
    """One cause and its effects, by column; a column that is not there is empty."""

    key: str
    group: str
    text: str
    at: str
    cells: dict[str, str]


@dataclass(frozen=True, slots=True)
class Matrix:
    """All rows, and what they are of."""

    controller: str
    sheet: str
    stamp: str
    notes: tuple[str, ...]
    rows: tuple[Row, ...]


@dataclass(frozen=True, slots=True)
class CellDifference:
    """One cell in which two matrices differ; "" is an empty cell, and a row that only one has differs in all of them."""

    key: str
    text: str
    column: str
    one: str
    other: str


def settled_s(settings: Any) -> float:
    """How long after the start every bypass is over."""
    common = getattr(settings, "common", None)
    if common is None:
        return SETTLED_S
    trip = common.protection
    longest_ms = max(trip.low_superheat_bypass_ms, trip.low_suction_bypass_ms, trip.low_oil_bypass_ms)
    return max(SETTLED_S, 0.001 * float(longest_ms) + _BEYOND_BYPASS_S)


def make_bench(job: dict[str, Any], heart: Heart) -> tuple[BoxBench, Taken]:
    """The bench of a chosen controller, and what was taken up; `ranges` of the job are the site's transmitters."""
    taken = take_up(job, heart)
    maker = taken.maker()
    heart.phase("scanning")
    healthy = healthy_of(taken.settings)
    given = job.get("ranges")
    ranges = usual_ranges() if given is None else Wiring(tuple(given["low"]), tuple(given["high"]))
    return BoxBench(maker, Box(ranges, healthy), heart), taken


def matrix_of(bench: BoxBench, settings: Any, heart: Heart) -> list[Row]:
    """Every row.  Raises NeverRuns, or ControllerFailed for a scan that failed."""
    rest = bench.to_rest()
    service = bench.to_service(settled_s(settings))
    marks: dict[str, Mark] = {REST: rest, START: rest, SERVICE: service, STOP: service}
    nothing = Cause("", "", "nothing", act=lambda box: None)
    _, usual = observe(bench, service, nothing, None, None)
    rows, causes = [], all_causes(settings)
    for k, cause in enumerate(causes):
        mark = marks[cause.at]
        count = find_limit(bench, mark, cause)
        as_usual: Watch | None = usual if cause.at in (SERVICE, STOP) else None
        cells, _ = observe(bench, mark, cause, as_usual, count, settings)
        rows.append(Row(cause.key, cause.group, cause.text, cause.at, cells))
        heart.come((k + 1) / (len(causes) + 1))
    rows.append(Row("stop.again", SEQUENCE, "switched off and on again, over and over", STOP, restarts(bench, service)))
    return sorted(rows, key=lambda row: GROUPS.index(row.group))


def in_child(job: dict[str, Any], heart: Heart) -> dict[str, Any]:
    """The part that runs in the child process: the matrix as plain data, or why there is none."""
    bench, taken = make_bench(job, heart)
    try:
        rows = matrix_of(bench, taken.settings, heart)
    except NeverRuns as error:
        return {"failed": str(error)}
    except ControllerFailed as error:
        return {"failed": str(error)}
    return {"rows": [asdict(row) for row in rows], "stamp": taken.stamp, "notes": list(taken.notes)}


def read_matrix(answer: dict[str, Any], controller: str, sheet: str) -> Matrix:
    """What the child gave back."""
    rows = tuple(Row(**row) for row in answer["rows"])
    return Matrix(controller, sheet, answer["stamp"], tuple(answer["notes"]), rows)


def differences(one: Matrix, other: Matrix) -> list[CellDifference]:
    """Cell by cell, in the order of the first matrix; rows that only the second has come last."""
    found, mine, theirs = [], {r.key: r for r in one.rows}, {r.key: r for r in other.rows}
    for key in [*mine, *(key for key in theirs if key not in mine)]:
        a, b = mine.get(key), theirs.get(key)
        text = (a or b).text  # type: ignore[union-attr]  # one of the two has it
        for column in COLUMNS:
            left, right = (row.cells.get(column, "") if row else "no such row" for row in (a, b))
            if left != right:
                found.append(CellDifference(key, text, column, left, right))
    return found
