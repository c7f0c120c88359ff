"""A checked part of a formula, as terms.py makes it and the monitor works it out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from tools.verification.sorts import Sort
from tools.verification.syntax import Node


@dataclass(frozen=True, slots=True, eq=False)
class Term:
    """A checked part of a formula.  op: what it does; value: its constant (a number in trace units, a column, a Setting,
    a bit, …); key: equal for terms that mean the same, so that each is worked out once."""

    op: str
    sort: Sort
    parts: tuple[Term, ...] = ()
    value: Any = None
    at: int = 0
    end: int = 0
    key: str = ""
    said: str = ""  # of a comparison, its text

    @property
    def constant(self) -> bool:
        """Whether it is the same in every scan: quantities and settings only."""
        return self.op in ("constant", "setting", "saturation") or (
            self.op
            in ("+", "-", "*", "/", "neg", "abs", "min", "max", "compare", "equal", "and", "or", "not", "defined")
            and all(part.constant for part in self.parts)
        )

    def settings(self) -> set[str]:
        """The settings it asks for, as a sheet writes them."""
        own = {".".join([*self.value.path[:-1], self.value.rule.key])} if self.op == "setting" else set[str]()
        return own.union(*(part.settings() for part in self.parts))

    def columns(self) -> list[str]:
        """The trace columns it looks at, in the order of the text."""
        own = [self.value] if self.op == "column" else []
        return list(dict.fromkeys(own + [name for part in self.parts for name in part.columns()]))


def term_of(op: str, sort: Sort, node: Node, *parts: Term, value: Any = None, tag: str = "") -> Term:
    """A term at a node's place.  tag: what stands for a value in the key, where its own text would not do."""
    text = tag or ("" if value is None else repr(value))
    key = f"{op}:{text}({','.join(part.key for part in parts)})"
    return Term(op, sort, parts, value, node.at, node.end, key)
