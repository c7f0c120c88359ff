"""The functions of the formula language, and what a bare quantity says of itself."""

from __future__ import annotations

from collections.abc import Mapping

from scenarios.errors import InputRefused
from scenarios.quantities import number_and_unit
from scenarios.units import find_unit
from tools.verification.sorts import Sort, of_unit
from tools.verification.syntax import FormulaError, Node

FUNCTION_TABLE: dict[str, tuple[int, int, str]] = {  # least and most parts, and what it is
    "rise": (1, 1, "holds in the scan in which its part begins to hold; never in the first row"),
    "fall": (1, 1, "holds in the scan in which its part ceases to hold; never in the first row"),
    "previous": (1, 1, "its part one scan ago; in the first row, now"),
    "latched": (2, 2, "from the scan in which the first holds to the one in which the second holds, which wins"),
    "duration": (
        1,
        1,
        "how long its part has held without a break; 0 in the scan in which it begins, and where it does not",
    ),
    "age": (1, 1, "how long ago its part last held, this scan not counted; endless if it never did"),
    "wait": (
        2,
        2,
        "how long until its part first holds, now counted as 0; a scan more than the second part if not within it",
    ),
    "count": (2, 2, "in how many scans its part held within the last time given, this scan counted"),
    "sampled": (2, 2, "the first part's value in the last scan in which the second held; its own value before"),
    "event": (1, 2, "in the first scan after something happened from outside, by its name and words in events.csv"),
    "saturated": (1, 1, "saturation temperature at a pressure, of the plant's refrigerant"),
    "abs": (1, 1, "without its sign"),
    "min": (2, 9, "the least"),
    "max": (2, 9, "the greatest"),
}
FUNCTIONS: Mapping[str, str] = {name: text for name, (_, _, text) in FUNCTION_TABLE.items()}


def quantity_sort(node: Node) -> Sort:
    """What a bare quantity is; `of` is open where its unit leaves it open.  FormulaError for an unknown unit."""
    found = number_and_unit(node.word)
    if found is None:
        raise FormulaError(f'"{node.word}" is no quantity', node.at)
    unit = found[1]
    saturated = unit.endswith("sat")
    gauge = unit.endswith((")", "g", "a")) and unit not in ("kg", "Pa", "kPa", "MPa", "hPa")
    if saturated or (gauge and unit[:3] in ("psi", "bar", "kPa", "MPa")):
        return Sort("number", "pressure", "absolute")
    try:
        sort = of_unit(unit, "")
        offset = find_unit(unit).offset
    except InputRefused as error:
        raise FormulaError(error.problems[0].message, node.at) from error
    if sort is None:
        raise FormulaError(f'formulas do not know the unit "{unit}"', node.at)
    return Sort("number", sort.dimension, "absolute") if offset else sort
