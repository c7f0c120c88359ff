"""The text of a formula → a tree of plain nodes, each with the place where it stands.

    always[0 s, 60 s] suction_pressure > 150 kPa
    rise(motor_run) implies duration(oil_pump) >= {common.sequence.pre_lubrication}
    trip_first_out == HIGH_DISCHARGE_PRESSURE or HIGH_DISCHARGE_PRESSURE in trip_word

The grammar is grammar.lark, read by lark's LALR parser.  What the words mean is in terms.py.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from scenarios.errors import InputRefused, Problem, shortened

if TYPE_CHECKING:
    from lark import Lark, Token

LONGEST_FORMULA = 20_000  # characters
DEEPEST = 200  # nodes inside each other: more than anybody writes, less than Python's recursion bears
_WORDS = {
    "IMPLIES": "implies", "OR": "or", "AND": "and", "NOT": "not", "UNTIL": "until", "IN": "in", "ALWAYS": "always",
    "EVENTUALLY": "eventually", "HISTORICALLY": "historically", "ONCE": "once",
    "COMPARE": "a comparison such as >=", "SIGN": "+ or -", "TIMES": "* or /", "NAME": "a column or function",
    "SETTING": "a {setting}", "QUANTITY": "a quantity such as 150 kPa", "STRING": "a text", "LPAR": "(", "RPAR": ")",
    "LSQB": "[", "RSQB": "]", "COMMA": "a comma", "$END": "the end",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Node:
    """One part of a formula.

    kind: quantity, name, setting, string, call, signed, sum, product, compare, has_bit, one_of, not, temporal, until,
    and, or, implies; word: its operator, name or text; parts: what stands in it; at, end: its place in the text.
    """

    kind: str
    word: str
    parts: tuple[Node, ...] = ()
    at: int = field(default=0, compare=False)
    end: int = field(default=0, compare=False)

    def walk(self) -> Iterator[Node]:
        """This node and all in it."""
        yield self
        for part in self.parts:
            yield from part.walk()


class FormulaError(Exception):
    """Something wrong at a place (an offset) in a formula."""

    def __init__(self, message: str, at: int, way_out: str = "") -> None:
        super().__init__(message)
        self.message, self.at, self.way_out = message, at, way_out

    def problem(self, text: str, file: str = "", line: int = 0, column: int = 0) -> Problem:
        """As a problem of a file.  line, column: where the formula's first character stands; 0 where it is in no file,
        and then both count from 1 in the formula itself."""
        before = text[: self.at]
        down = before.count("\n")
        right = self.at - (before.rfind("\n") + 1)
        place_line, place_column = (line or 1) + down, right + 1 + (max(column, 1) - 1 if not down else 0)
        near = shortened(text[self.at :].split("\n", 1)[0].strip(), 40)
        what = f'{self.message}, at "{near}"' if near else f"{self.message}, at the end of the formula"
        return Problem(what, file or "formula", place_line, place_column, value=near, way_out=self.way_out)


@cache
def _parser() -> Lark:
    from lark import Lark

    grammar = (Path(__file__).parent / "grammar.lark").read_text(encoding="utf-8")
    return Lark(grammar, parser="lalr", propagate_positions=True, maybe_placeholders=False, cache=False)


def parse(text: str) -> Node:
    """The tree of a formula.  FormulaError with the place of the first thing that cannot be read."""
    from lark.exceptions import UnexpectedCharacters, UnexpectedInput, UnexpectedToken

    if len(text) > LONGEST_FORMULA:
        raise FormulaError(f"a formula of {len(text)} characters; at most {LONGEST_FORMULA} are read", LONGEST_FORMULA)
    depth = 0
    for at, letter in enumerate(text):
        depth += (letter in "([") - (letter in ")]")
        if depth > DEEPEST:
            raise FormulaError("brackets are nested too deep", at)
    try:
        return _node(_parser().parse(text))
    except UnexpectedToken as error:
        at = len(text) if error.token.type == "$END" else int(getattr(error.token, "start_pos", 0) or 0)
        raise FormulaError(f"expected {_expected(error.accepts or error.expected)}", at) from error
    except UnexpectedCharacters as error:
        raise FormulaError("this character means nothing here", int(error.pos_in_stream or 0)) from error
    except UnexpectedInput as error:
        raise FormulaError("cannot be read", len(text)) from error
    except RecursionError as error:
        raise FormulaError("is nested too deep", 0) from error


def _expected(names: Any) -> str:
    found = sorted({_WORDS.get(str(name), str(name)) for name in names})
    return found[0] if len(found) == 1 else f"{', '.join(found[:-1])} or {found[-1]}"


def _node(tree: Any, depth: int = 0) -> Node:
    from lark import Token

    if depth > DEEPEST:
        raise RecursionError
    at, end = int(tree.meta.start_pos), int(tree.meta.end_pos)
    rule = str(tree.data)
    tokens: list[Token] = [child for child in tree.children if isinstance(child, Token)]
    parts = tuple(_node(child, depth + 1) for child in tree.children if not isinstance(child, Token))
    if rule in ("quantity", "name", "setting", "string"):
        return Node(rule, _stripped(rule, str(tokens[0])), (), at, end)
    if rule == "call":
        return Node("call", str(tokens[0]), parts, at, end)
    if rule == "one_of":
        return Node("one_of", ",".join(str(token) for token in tokens[1:]), parts, at, end)
    if rule == "has_bit":
        return Node("has_bit", str(tokens[1]), parts, at, end)
    if rule == "signed":
        return _signed(str(tokens[0]), parts[0], at, end)
    if rule == "window":
        return Node("window", "", parts, at, end)
    if rule in ("disjunction", "conjunction", "implies"):
        return Node({"disjunction": "or", "conjunction": "and"}.get(rule, rule), rule, parts, at, end)
    if rule == "negation":
        word = str(tokens[0])
        if word == "not":
            return Node("not", word, parts, at, end)
        return Node("temporal", word, (*parts[0].parts, parts[1]), at, end)
    if rule == "until":
        return Node("until", "until", (*parts[1].parts, parts[0], parts[2]), at, end)
    return Node({"comparison": "compare"}.get(rule, rule), str(tokens[0]), parts, at, end)


def _stripped(rule: str, text: str) -> str:
    if rule == "setting":
        return text.strip("{} \t").removeprefix("settings.")
    return text[1:-1] if rule == "string" else text


def _signed(sign: str, part: Node, at: int, end: int) -> Node:
    """A sign before a number belongs to it: −10 °C is a temperature, and not the negative of another one."""
    if part.kind == "quantity":
        return Node("quantity", part.word if sign == "+" else f"-{part.word}", (), at, end)
    return part if sign == "+" else Node("signed", sign, (part,), at, end)


def refuse(error: FormulaError, text: str, file: str = "", line: int = 0, column: int = 0) -> InputRefused:
    """The refusal that a formula's error is, placed in its file."""
    return InputRefused(error.problem(text, file, line, column))
