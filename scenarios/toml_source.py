"""A TOML file with the place of every key and value, so that an error can point at its line and column.

The standard library reads the values; tree-sitter's TOML grammar gives the places.
"""

from __future__ import annotations

import hashlib
import re
import tomllib
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

import tree_sitter
import tree_sitter_toml

from scenarios.errors import InputRefused, Problem

KeyPath = tuple[str | int, ...]
Place = tuple[int, int]  # line and column, both from 1, the column in characters

LARGEST_FILE_BYTES = 8_000_000
NESTED_AT_MOST = 64  # levels: far more than anybody writes, far less than a parser's recursion bears
# A key of very many parts: the parser's time grows with the square of their number, so it must not see it.
_ENDLESS_KEY = re.compile(rf"(?<![\w-])(?:(?:[\w-]++|\"[^\"\n]*+\"|'[^'\n]*+')[ \t]*+\.[ \t]*+){{{NESTED_AT_MOST}}}")


@dataclass(frozen=True, slots=True)
class TomlSource:
    """A file's values and where they stand."""

    path: Path
    data: dict[str, Any]
    sha256: str
    key_places: dict[KeyPath, Place] = field(repr=False)
    value_places: dict[KeyPath, Place] = field(repr=False)

    def place(self, path: KeyPath, of_value: bool = False) -> Place:
        """Line and column of a key (or of its value); of the nearest table above if the key is not in the file."""
        for end in range(len(path), 0, -1):
            part = path[:end]
            found = self.value_places.get(part) if of_value and end == len(path) else None
            found = found or self.key_places.get(part) or self.value_places.get(part)
            if found:
                return found
        return (1, 1)

    def problem(self, path: KeyPath, found: Problem | str, of_value: bool = False) -> Problem:
        """`found` placed at a key, or at its value."""
        line, column = self.place(path, of_value)
        problem = Problem(found) if isinstance(found, str) else found
        return problem.at(str(self.path), line, column)

    def get(self, path: KeyPath) -> Any:
        """The value at `path`, or None."""
        node: Any = self.data
        for part in path:
            try:
                node = node[part]
            except (KeyError, IndexError, TypeError):
                return None
        return node


def read_bytes(path: Path, largest_bytes: int = LARGEST_FILE_BYTES) -> bytes:
    """A file's content; InputRefused in plain words if there is no readable file of sensible size."""
    name = str(path)
    try:
        if path.is_dir():
            raise InputRefused(Problem("is a folder, a file is expected", file=name))
        if not path.is_file():
            kind = "is not an ordinary file" if path.exists() else "no such file"
            raise InputRefused(Problem(kind, file=name))
        if path.stat().st_size > largest_bytes:
            raise InputRefused(
                Problem(f"is larger than {largest_bytes / 1e6:g} MB: not a file of this kind", file=name)
            )
        return path.read_bytes()
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name
        reason = getattr(error, "strerror", None) or str(error)
        raise InputRefused(Problem(f"cannot be read ({reason})", file=name)) from error


def decode(raw: bytes, path: Path) -> str:
    """UTF-8 text, with or without byte-order mark; InputRefused names the first line and column that is not."""
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        before = raw[: error.start]
        line = before.count(b"\n") + 1
        column = len(before[before.rfind(b"\n") + 1 :].decode("utf-8", "replace").lstrip("\ufeff")) + 1
        problem = Problem(f"is not UTF-8 text (byte 0x{raw[error.start]:02x})", way_out="save the file as UTF-8")
        raise InputRefused(problem.at(str(path), line, column)) from error


def read_toml(path: Path) -> TomlSource:
    """Read a TOML file.  InputRefused for a missing, empty, non-UTF-8 or malformed one."""
    raw = read_bytes(path)
    text = decode(raw, path)
    if not text.strip():
        raise InputRefused(Problem("is empty", file=str(path)))
    return parse_toml(text, path, hashlib.sha256(raw).hexdigest())


def parse_toml(text: str, path: Path, sha256: str = "") -> TomlSource:
    """TOML text as a TomlSource; `path` is for messages."""
    endless = _ENDLESS_KEY.search(text)
    if endless:
        line = text.count("\n", 0, endless.start()) + 1
        raise InputRefused(_nested_problem().at(str(path), line))
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputRefused(_syntax_problem(str(error), text, path)) from error
    except (RecursionError, ValueError) as error:  # nested too deep; an integer of thousands of digits
        raise InputRefused(Problem(f"TOML that cannot be read ({type(error).__name__})", file=str(path))) from error
    if _depth(data) > NESTED_AT_MOST:
        raise InputRefused(_nested_problem().at(str(path), 1))
    keys: dict[KeyPath, Place] = {}
    values: dict[KeyPath, Place] = {}
    _Places(text.encode(), keys, values).document()
    return TomlSource(path, data, sha256, keys, values)


def _nested_problem() -> Problem:
    return Problem("tables or arrays are nested too deep", limit=f"allowed: {NESTED_AT_MOST} levels")


def _depth(data: dict[str, Any]) -> int:
    """Levels of tables and arrays inside each other, found without recursion."""
    level: list[Any] = [data]
    depth = 0
    while level:
        depth += 1
        parts = [item.values() if isinstance(item, dict) else item for item in level]
        level = [item for part in parts for item in part if isinstance(item, (dict, list))]
    return depth


def _syntax_problem(message: str, text: str, path: Path) -> Problem:
    match = re.search(r"\s*\(at (?:line (\d+), column (\d+)|end of document)\)$", message)
    words = message[: match.start()] if match else message
    if match and match[1]:
        line, column = int(match[1]), int(match[2])
    else:
        lines = text.split("\n")
        line, column = len(lines), len(lines[-1]) + 1
    return Problem(f"not valid TOML: {words}").at(str(path), line, column)


@cache
def _language() -> tree_sitter.Language:
    return tree_sitter.Language(tree_sitter_toml.language())


class _Places:
    """Walks the syntax tree once and notes the place of every key and value."""

    def __init__(self, raw: bytes, keys: dict[KeyPath, Place], values: dict[KeyPath, Place]) -> None:
        self.raw, self.keys, self.values = raw, keys, values
        self.lines = raw.split(b"\n")
        self.array_lengths: dict[KeyPath, int] = {}

    def document(self) -> None:
        root = tree_sitter.Parser(_language()).parse(self.raw).root_node
        for node in root.named_children:
            if node.type == "pair":
                self.pair(node, ())
            elif node.type in ("table", "table_array_element"):
                self.table(node)

    def table(self, node: tree_sitter.Node) -> None:
        header, *rest = [child for child in node.named_children if child.type != "comment"]
        path: KeyPath = ()
        parts = self.key_parts(header)
        for index, (name, place) in enumerate(parts):
            path = (*path, name)
            self.keys.setdefault(path, place)
            last = index == len(parts) - 1
            if node.type == "table_array_element" and last:
                self.array_lengths[path] = self.array_lengths.get(path, 0) + 1
            if path in self.array_lengths:
                path = (*path, self.array_lengths[path] - 1)
                if last:
                    self.keys.setdefault(path, self.where(node))
        for child in rest:
            if child.type == "pair":
                self.pair(child, path)

    def pair(self, node: tree_sitter.Node, above: KeyPath) -> None:
        children = [child for child in node.named_children if child.type != "comment"]
        if len(children) < 2:
            return
        path = above
        for name, place in self.key_parts(children[0]):
            path = (*path, name)
            self.keys.setdefault(path, place)
        self.value(children[-1], path)

    def value(self, node: tree_sitter.Node, path: KeyPath) -> None:
        self.values[path] = self.where(node)
        if node.type == "inline_table":
            for child in node.named_children:
                if child.type == "pair":
                    self.pair(child, path)
        elif node.type == "array":
            items = [child for child in node.named_children if child.type != "comment"]
            for index, child in enumerate(items):
                self.value(child, (*path, index))

    def key_parts(self, node: tree_sitter.Node) -> list[tuple[str, Place]]:
        if node.type == "dotted_key":
            return [part for child in node.named_children for part in self.key_parts(child)]
        text = self.raw[node.start_byte : node.end_byte].decode()
        if node.type == "quoted_key":
            text = next(iter(tomllib.loads(f"{text} = 0")))
        return [(text, self.where(node))]

    def where(self, node: tree_sitter.Node) -> Place:
        row, byte_column = node.start_point
        return row + 1, len(self.lines[row][:byte_column].decode("utf-8", "replace")) + 1
