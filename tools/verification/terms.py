"""Trees of words → terms whose columns, settings, units and states have been checked.

A bare quantity takes its meaning from what it stands beside: 5 K is a temperature difference beside a superheat and a
temperature beside a temperature.  FormulaError points at the part that does not fit.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from scenarios.errors import InputRefused
from scenarios.quantities import parse_quantity
from tools.verification.sorts import (
    PURE,
    TIME,
    TRUTH,
    Sort,
    close,
    column_sort,
    columns,
    find_setting,
)
from tools.verification.syntax import FormulaError, Node, parse
from tools.verification.term import Term, term_of
from tools.verification.words import FUNCTION_TABLE, FUNCTIONS, quantity_sort

Known = Mapping[str, Term]
WORDS = ("trip_word", "alarm_word")  # columns of bits: a difference of two means nothing
_ANY_NUMBER = Sort("number")


def check_truth(text: str, known: Known) -> Term:
    """A formula.  known: the definitions that its names may stand for.  FormulaError for what does not fit."""
    node = parse(text)
    term = _Checker(known, text).any(node)
    if term.sort.kind != "truth":
        raise FormulaError(f"this is {term.sort}; something that holds or does not is expected", node.at)
    return term


def check_definition(name: str, text: str, known: Known) -> Term:
    """A definition: a truth or a number that other formulas may call by `name`.  FormulaError as for a formula."""
    node = parse(text)
    if name in columns() or name in FUNCTIONS:
        raise FormulaError(f"\"{name}\" is a column's or function's name already", 0)
    term = _Checker(known, text).any(node)
    return Term("defined", term.sort, (term,), name, node.at, node.end, f"defined:{name}")


class _Checker:
    def __init__(self, known: Known, text: str) -> None:
        self.known, self.text = known, text

    def any(self, node: Node) -> Term:
        """A truth, a number or a state, whichever it is."""
        if node.kind not in _FORMS:
            return self.number(node, self.sort_of(node))
        term: Term = getattr(self, f"_{node.kind}")(node)
        return term

    def truth(self, node: Node) -> Term:
        term = self.any(node)
        if term.sort.kind != "truth":
            raise FormulaError(f"this is {term.sort}; something that holds or does not is expected", node.at)
        return term

    def _not(self, node: Node) -> Term:
        return term_of("not", TRUTH, node, self.truth(node.parts[0]))

    def _and(self, node: Node) -> Term:
        return term_of("and", TRUTH, node, *(self.truth(part) for part in node.parts))

    def _or(self, node: Node) -> Term:
        return term_of("or", TRUTH, node, *(self.truth(part) for part in node.parts))

    def _implies(self, node: Node) -> Term:
        first, second = (self.truth(part) for part in node.parts)
        return term_of("or", TRUTH, node, term_of("not", TRUTH, node.parts[0], first), second)

    def _temporal(self, node: Node) -> Term:
        low, high, inner = node.parts
        return term_of(node.word, TRUTH, node, *self._window(low, high), self.truth(inner))

    def _until(self, node: Node) -> Term:
        low, high, first, second = node.parts
        return term_of("until", TRUTH, node, *self._window(low, high), self.truth(first), self.truth(second))

    def _window(self, low: Node, high: Node) -> tuple[Term, Term]:
        first, last = self.time(low), self.time(high)
        if first.op == "constant" and first.value < 0.0:
            raise FormulaError("a window begins before its own scan; once and historically look back", low.at)
        if first.op == last.op == "constant" and last.value < first.value:
            raise FormulaError("a window ends before it begins", high.at)
        return first, last

    def time(self, node: Node) -> Term:
        """A constant time, as the bounds of a window are."""
        term = self.number(node, TIME)
        if not term.constant:
            raise FormulaError("a window's bound must be a quantity or a setting", node.at)
        return term

    def _compare(self, node: Node) -> Term:
        first, second = node.parts
        a, b = self._side(first), self._side(second)
        if "state" in (a.kind, b.kind):
            return self._states(node, a if a.kind == "state" and a.form else b)
        for part, sort in ((first, a), (second, b)):
            if sort.kind != "number":
                raise FormulaError(f"this is {sort} and cannot be compared with a number", part.at)
        sort = self.fitting(a, b, node, "compares")
        if any(part.kind == "name" and part.word in WORDS for part in node.parts):
            if node.word not in ("==", "!="):
                raise FormulaError(f"words of causes have no order: == or != is expected, not {node.word}", node.at)
            equal = term_of("equal", TRUTH, node, self.number(first, sort), self.number(second, sort))
            return equal if node.word == "==" else term_of("not", TRUTH, node, equal)
        term = term_of("compare", TRUTH, node, self.number(first, sort), self.number(second, sort), value=node.word)
        return replace(term, said=" ".join(self.text[node.at : node.end].split()))

    def _side(self, node: Node) -> Sort:
        """The sort of one side of a comparison; a name that is no column may be a state's, which the other side knows."""
        if node.kind == "name" and node.word not in columns() and node.word not in self.known:
            return Sort("state")
        return self.sort_of(node)

    def _states(self, node: Node, sort: Sort) -> Term:
        if sort.form is None:
            self._name(next(part for part in node.parts if self._side(part).form is None))  # says what it may be
        if node.word not in ("==", "!="):
            raise FormulaError(f"states have no order: == or != is expected, not {node.word}", node.at)
        parts = [self.state(part, sort.form) for part in node.parts]
        equal = term_of("equal", TRUTH, node, *parts)
        return equal if node.word == "==" else term_of("not", TRUTH, node, equal)

    def state(self, node: Node, form: Any) -> Term:
        """A column or setting of states, or the name of one state of `form`."""
        if node.kind == "name" and node.word.upper() in form.__members__ and node.word not in columns():
            return term_of("constant", Sort("state", form=form), node, value=float(form[node.word.upper()]))
        if node.kind == "name" and node.word not in columns() and node.word not in self.known:
            raise FormulaError(
                f'"{node.word}" is no state of {form.__name__}{close(node.word.upper(), form.__members__)}',
                node.at,
                f"known are {', '.join(form.__members__)}",
            )
        term = self.any(node)
        if term.sort.kind != "state" or term.sort.form is not form:
            raise FormulaError(f"this is {term.sort}; a state of {form.__name__} is expected", node.at)
        return term

    def _one_of(self, node: Node) -> Term:
        term = self.any(node.parts[0])
        if term.sort.kind != "state":
            raise FormulaError(f"this is {term.sort}; only states are one of several", node.at)
        names = [Node("name", word, (), node.at, node.end) for word in node.word.split(",")]
        equal = [term_of("equal", TRUTH, node, term, self.state(name, term.sort.form)) for name in names]
        return equal[0] if len(equal) == 1 else term_of("or", TRUTH, node, *equal)

    def _has_bit(self, node: Node) -> Term:
        from controller.process_image import Trip

        word, cause = node.word, node.parts[0]
        if word not in WORDS:
            raise FormulaError(f'"{word}" is no word of causes; {" and ".join(WORDS)} are', node.at)
        column = term_of("column", PURE, node, value=word)
        if cause.kind != "name" or cause.word in columns() or cause.word.upper() not in Trip.__members__:
            raise FormulaError(
                "the name of a trip's cause is expected before in", cause.at, f"known are {_names(Trip)}"
            )
        return term_of("bit", TRUTH, node, column, value=int(Trip[cause.word.upper()]))

    def _name(self, node: Node) -> Term:
        if node.word in self.known:
            found = self.known[node.word]
            return Term("defined", found.sort, found.parts, found.value, node.at, node.end, found.key)
        if node.word in ("true", "false"):
            return term_of("truth", TRUTH, node, value=node.word == "true")
        column = columns().get(node.word)
        if column is None:
            hint = close(node.word, [*columns(), *self.known, *FUNCTION_TABLE])
            raise FormulaError(
                f'there is no column "{node.word}"{hint}', node.at, "`twoslide verify --describe` lists them"
            )
        return term_of("column", column_sort(column), node, value=column)

    def _setting(self, node: Node) -> Term:
        try:
            setting = find_setting(node.word)
        except KeyError as error:
            raise FormulaError(str(error.args[0]), node.at) from error
        return term_of("setting", setting.sort, node, value=setting, tag=node.word)

    def _call(self, node: Node) -> Term:
        known = FUNCTION_TABLE.get(node.word)
        if known is None:
            raise FormulaError(f'there is no function "{node.word}"{close(node.word, FUNCTION_TABLE)}', node.at)
        least, most, _ = known
        if not least <= len(node.parts) <= most:
            wanted = str(least) if least == most else f"{least} to {most}"
            raise FormulaError(f"{node.word} takes {wanted} parts, not {len(node.parts)}", node.at)
        term: Term = getattr(self, f"_call_{node.word}")(node)
        return term

    def _of_truths(self, node: Node, sort: Sort) -> Term:
        return term_of(node.word, sort, node, *(self.truth(part) for part in node.parts))

    def _call_rise(self, node: Node) -> Term:
        return self._of_truths(node, TRUTH)

    def _call_fall(self, node: Node) -> Term:
        return self._of_truths(node, TRUTH)

    def _call_latched(self, node: Node) -> Term:
        return self._of_truths(node, TRUTH)

    def _call_duration(self, node: Node) -> Term:
        return self._of_truths(node, TIME)

    def _call_age(self, node: Node) -> Term:
        return self._of_truths(node, TIME)

    def _call_previous(self, node: Node) -> Term:
        term = self.any(node.parts[0])
        return term_of("previous", term.sort, node, term)

    def _call_wait(self, node: Node) -> Term:
        return term_of("wait", TIME, node, self.truth(node.parts[0]), self.time(node.parts[1]))

    def _call_count(self, node: Node) -> Term:
        return term_of("count", PURE, node, self.truth(node.parts[0]), self.time(node.parts[1]))

    def _call_event(self, node: Node) -> Term:
        source, *text = node.parts
        if source.kind != "name" or any(part.kind != "string" for part in text):
            raise FormulaError('event takes the name of what happens, and a "text" in its words where wanted', node.at)
        return term_of("event", TRUTH, node, value=(source.word, text[0].word if text else ""))

    def _call_saturated(self, node: Node) -> Term:
        pressure = self.number(node.parts[0], Sort("number", "pressure", "absolute"))
        return term_of("saturated", Sort("number", "temperature", "absolute"), node, pressure)

    def sort_of(self, node: Node) -> Sort:
        """What a part is, before its bare quantities are settled."""
        if node.kind == "quantity":
            return quantity_sort(node)
        if node.kind == "signed":
            return self.sort_of(node.parts[0])
        if node.kind in ("sum", "product"):
            return self._sum_sort(node) if node.kind == "sum" else self._product_sort(node)
        if node.kind == "call" and node.word in ("abs", "min", "max", "sampled"):
            parts = node.parts[:1] if node.word in ("abs", "sampled") else node.parts
            sorts = [self.sort_of(part) for part in parts] or [_ANY_NUMBER]
            for sort, part in zip(sorts, parts, strict=False):
                if sort.kind != "number":
                    raise FormulaError(f"this is {sort}; a number is expected", part.at)
            found = sorts[0]
            for sort in sorts[1:]:
                found = self.fitting(found, sort, node, f"{node.word} mixes")
            return found
        return self.any(node).sort

    def _sum_sort(self, node: Node) -> Sort:
        a, b = (self.sort_of(part) for part in node.parts)
        for part, sort in zip(node.parts, (a, b), strict=True):
            if sort.kind != "number":
                raise FormulaError(f"this is {sort}; a number is expected", part.at)
        if a.dimension != b.dimension:
            raise FormulaError(f"{node.word} mixes {a} and {b}", node.at)
        if a.dimension not in ("pressure", "temperature"):
            return a
        if node.word == "-" and b.of == "absolute":
            if a.of == "difference":
                raise FormulaError(f"{a} less {b} means nothing", node.at)
            return Sort("number", a.dimension, "difference")
        if a.of == "absolute" and b.of == "absolute":
            raise FormulaError(f"the sum of two {a.dimension}s means nothing; add a difference", node.at)
        return Sort("number", a.dimension, "absolute" if "absolute" in (a.of, b.of) else a.of or b.of)

    def _product_sort(self, node: Node) -> Sort:
        a, b = (self.sort_of(part) for part in node.parts)
        for part, sort in zip(node.parts, (a, b), strict=True):
            if sort.kind != "number":
                raise FormulaError(f"this is {sort}; a number is expected", part.at)
        if b.dimension == "number":
            return a
        if node.word == "*" and a.dimension == "number":
            return b
        if node.word == "/" and a.dimension == b.dimension:
            return PURE
        raise FormulaError(f"{a} {node.word} {b} has a unit that formulas do not know", node.at)

    def fitting(self, a: Sort, b: Sort, node: Node, what: str) -> Sort:
        """The one sort of two numbers that stand beside each other."""
        if a.dimension != b.dimension:
            raise FormulaError(f"{what} {a} with {b}" if what == "compares" else f"{what} {a} and {b}", node.at)
        if a.of and b.of and a.of != b.of:
            raise FormulaError(f"{what} a {a.dimension} with a {a.dimension} difference", node.at)
        return Sort(
            "number", a.dimension, a.of or b.of or ("absolute" if a.dimension in ("pressure", "temperature") else "")
        )

    def number(self, node: Node, want: Sort) -> Term:
        """A number of this sort."""
        if node.kind == "quantity":
            return _quantity(node, want)
        if node.kind == "signed":
            return term_of("neg", want, node, self.number(node.parts[0], want))
        if node.kind == "sum":
            return self._sum(node, want)
        if node.kind == "product":
            return self._product(node, want)
        if node.kind == "call" and node.word in ("abs", "min", "max"):
            return term_of(node.word, want, node, *(self.number(part, want) for part in node.parts))
        if node.kind == "call" and node.word == "sampled":
            return term_of("sampled", want, node, self.number(node.parts[0], want), self.truth(node.parts[1]))
        term = self.any(node)
        if term.sort.kind != "number":
            raise FormulaError(f"this is {term.sort}; a number is expected", node.at)
        self.fitting(term.sort, want, node, "compares")
        return term

    def _sum(self, node: Node, want: Sort) -> Term:
        a, b = (self.sort_of(part) for part in node.parts)
        if a.dimension != want.dimension:
            raise FormulaError(f"this is {a}; {want} is expected", node.at)
        if a.dimension in ("pressure", "temperature"):
            of_a, of_b = a.of, b.of
            if node.word == "-":
                # what is wanted and what is said leave one reading: absolute = absolute − difference, and so on
                if want.of == "absolute":
                    of_a, of_b = of_a or "absolute", of_b or "difference"
                else:
                    of_a = of_a or of_b or "difference"
                    of_b = of_b or of_a
            elif want.of == "absolute":
                of_a = of_a or ("difference" if of_b == "absolute" else "absolute")
                of_b = of_b or ("difference" if of_a == "absolute" else "absolute")
            else:
                of_a, of_b = of_a or "difference", of_b or "difference"
            a, b = Sort("number", a.dimension, of_a), Sort("number", b.dimension, of_b)
        return term_of(node.word, want, node, self.number(node.parts[0], a), self.number(node.parts[1], b))

    def _product(self, node: Node, want: Sort) -> Term:
        a, b = (self.sort_of(part) for part in node.parts)
        if b.dimension == "number" and a.dimension == want.dimension:
            a = Sort("number", a.dimension, a.of or want.of)
        elif node.word == "*" and a.dimension == "number":
            b = Sort("number", b.dimension, b.of or want.of)
        elif a.dimension == b.dimension:
            a = b = self.fitting(a, b, node, "divides")
        return term_of(node.word, want, node, self.number(node.parts[0], a), self.number(node.parts[1], b))


_FORMS = ("not", "and", "or", "implies", "temporal", "until", "compare", "one_of", "has_bit", "name", "setting", "call")


def _names(form: Any) -> str:
    return ", ".join(name for name in form.__members__ if name != "NONE")


def _call_numbers(self: _Checker, node: Node) -> Term:
    return self.number(node, self.sort_of(node))


for _name in ("abs", "min", "max", "sampled"):
    setattr(_Checker, f"_call_{_name}", _call_numbers)


def _quantity(node: Node, want: Sort) -> Term:
    read: Callable[..., float] = parse_quantity
    text = node.word
    try:
        if text.rstrip().endswith("sat") and want.dimension == "pressure" and want.of == "absolute":
            kelvin = read(text.rstrip().removesuffix("sat").strip(), "K", "absolute")
            return term_of("saturation", want, node, value=kelvin)
        return term_of("constant", want, node, value=read(text, want.unit, want.of))
    except InputRefused as error:
        problem = error.problems[0]
        raise FormulaError(problem.message, node.at, problem.way_out) from error
