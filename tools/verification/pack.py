"""Packs: requirements in TOML, with their formulas read and checked before anything runs.

    title = "Start"
    [definitions]
    commanded = "mode in (STARTING, RUN_UP, AUTOMATIC, UNLOADING)"
    [[requirement]]
    id = "ST-01"
    text = "The motor starts only after {common.sequence.pre_lubrication} of oil at the bearings."
    severity = "damage"
    when = "rise(motor_run)"                     # it is exercised in these scans; without it, in every scan
    if = "{common.calibration.low_stop} == ON"   # of the sheet alone: else it does not apply
    scenarios = ["*"]                            # file names it applies to, see made_from of a scenario
    formula = "previous(duration(oil_pump)) >= {common.sequence.pre_lubrication} - 100 ms"
    source = "common practice, no source"
    shown_by = "normal_stop_and_restart"         # the scenario that brings it about

A [[sequence]] is turned into requirements by sequence.py.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from fnmatch import fnmatch
from pathlib import Path
from typing import Any

from scenarios.errors import InputRefused, Problem
from scenarios.quantities import format_quantity
from scenarios.record_fields import field_rules
from scenarios.record_tables import unknown_keys
from scenarios.toml_source import KeyPath, TomlSource, read_toml
from tools.verification.sorts import find_setting
from tools.verification.syntax import FormulaError
from tools.verification.term import Term
from tools.verification.terms import check_definition, check_truth

PACKS = Path(__file__).parent / "packs"
_DAY = ("start", "running", "stop", "trips", "instruments", "sequences")
_PLACEHOLDER = re.compile(r"\{\s*(?:settings\.)?([\w.]+)\s*\}")
_KEYS = ("id", "text", "severity", "when", "if", "scenarios", "formula", "source", "shown_by")
_ID = re.compile(r"[A-Za-z0-9][\w.-]{0,40}")


class Severity(StrEnum):
    """What a breach may cost: people, the machine, or the plant's service.  A classification of this project's own."""

    PEOPLE = "people"
    DAMAGE = "damage"
    SERVICE = "service"


@dataclass(frozen=True, slots=True)
class Requirement:
    """One requirement.  when: the scans in which it counts, None for all; only_if: a condition on the sheet;
    scenarios: patterns of file names; source: where it comes from; shown_by: the library's scenario that brings it about,
    which the program's own tests play; file, line: where it stands."""

    id: str
    text: str
    severity: Severity
    formula: Term
    formula_text: str
    when: Term | None = None
    when_text: str = ""
    only_if: Term | None = None
    scenarios: tuple[str, ...] = ("*",)
    source: str = ""
    shown_by: str = ""
    file: str = ""
    line: int = 0

    @property
    def for_all(self) -> bool:
        """Whether it is meant for every scenario."""
        return "*" in self.scenarios

    def applies_to(self, *scenarios: str) -> bool:
        """Whether it is meant for a scenario of one of these file names, its own and that of what it was made from; ""
        is none, and without any it applies."""
        names = [name for name in scenarios if name]
        return not names or any(fnmatch(name, pattern) for name in names for pattern in self.scenarios)

    def settings(self) -> set[str]:
        """The settings that its formulas ask for."""
        terms = [term for term in (self.formula, self.when, self.only_if) if term is not None]
        return set[str]().union(*(term.settings() for term in terms))

    def columns(self) -> list[str]:
        """The trace columns that it looks at."""
        return list(dict.fromkeys([*self.formula.columns(), *(self.when.columns() if self.when else [])]))

    def sentence(self, settings: Any) -> str:
        """The sentence for people, with the sheet's values in it where they are known."""
        return _PLACEHOLDER.sub(lambda match: _value_text(match[1], settings), self.text)


@dataclass(frozen=True, slots=True)
class Pack:
    """Requirements in the order of their files.  sha256: over the files as read."""

    requirements: tuple[Requirement, ...]
    titles: tuple[str, ...]
    files: tuple[Path, ...]
    sha256: str

    def __getitem__(self, name: str) -> Requirement:
        return next(r for r in self.requirements if r.id == name)


def shipped_packs() -> list[Path]:
    """The packs that come with the program, in the order of a machine's day."""
    found = sorted(PACKS.glob("*.toml"))
    return sorted(found, key=lambda path: _DAY.index(path.stem) if path.stem in _DAY else len(_DAY))


def load_pack(paths: Sequence[Path] | None = None) -> Pack:
    """Read packs; without paths, the shipped ones.  InputRefused with every problem, each at its line and column.

    Ids must differ over all files; a definition holds for its own file.
    """
    files = list(paths) if paths else shipped_packs()
    problems: list[Problem] = []
    found: list[Requirement] = []
    titles, stamps = [], []
    for path in files:
        try:
            source = read_toml(path)
        except InputRefused as error:
            problems.extend(error.problems)
            continue
        stamps.append(source.sha256)
        reader = PackReader(source, problems)
        found += reader.read()
        titles.append(reader.text(("title",)) or path.stem)
    first: dict[str, Requirement] = {}
    for one in found:
        if one.id in first:
            where = f"{first[one.id].file}:{first[one.id].line}"
            problems.append(
                Problem(f'a second requirement with the id "{one.id}"; the first is {where}', one.file, one.line)
            )
        first.setdefault(one.id, one)
    if problems:
        raise InputRefused(problems)
    if not found:
        raise InputRefused(Problem("no requirement in it", file=", ".join(map(str, files))))
    return Pack(tuple(found), tuple(titles), tuple(files), hashlib.sha256("".join(stamps).encode()).hexdigest())


def _value_text(path: str, settings: Any) -> str:
    setting = find_setting(path)
    if settings is None:
        return f"{{{path}}}"
    node = settings
    for name in setting.path:
        node = getattr(node, name)
    if setting.rule.is_enum:
        return str(node.name).lower()
    return format_quantity(node, setting.rule.unit)


class PackReader:
    """One pack file being read; problems go to the list shared by all."""

    def __init__(self, source: TomlSource, problems: list[Problem]) -> None:
        self.source, self.problems = source, problems
        self.known: dict[str, Term] = {}

    def read(self) -> list[Requirement]:
        unknown_keys(self.source, (), ("title", "purpose", "definitions", "requirement", "sequence"), self.problems)
        self.text(("title",), required=True)
        self.text(("purpose",))
        self.definitions()
        out = []
        for k in range(self.tables("requirement")):
            requirement = self.requirement(("requirement", k))
            if requirement is not None:
                out.append(requirement)
        if self.tables("sequence"):
            from tools.verification.sequence import read_sequence

            for k in range(self.tables("sequence")):
                out += read_sequence(self, ("sequence", k))
        return out

    def refuse(self, key: KeyPath, text: str, of_value: bool = True) -> None:
        self.problems.append(self.source.problem(key, text, of_value))

    def tables(self, name: str) -> int:
        """How many [[name]] there are."""
        value = self.source.get((name,))
        if value is None:
            return 0
        if not isinstance(value, list) or not all(isinstance(one, dict) for one in value):
            self.refuse((name,), f"write [[{name}]] for each", False)
            return 0
        return len(value)

    def text(self, key: KeyPath, required: bool = False) -> str:
        """A text; "" where it is not given, or is none."""
        value = self.source.get(key)
        if value is None:
            if required:
                self.refuse(key, f'"{key[-1]}" is missing', False)
            return ""
        if not isinstance(value, str) or not value.strip():
            self.refuse(key, f'"{key[-1]}" must be a text')
            return ""
        return value

    def definitions(self) -> None:
        table = self.source.get(("definitions",))
        if table is None:
            return
        if not isinstance(table, dict):
            self.refuse(("definitions",), "must be a table of name = formula")
            return
        for name in table:
            key: KeyPath = ("definitions", name)
            text = self.text(key, required=True)
            if text and not re.fullmatch(r"[A-Za-z_]\w*", name):
                self.refuse(key, f'"{name}" is no name: letters, digits and _ are', False)
            elif text:
                found = self.attempt(key, text, lambda name=name, text=text: check_definition(name, text, self.known))
                if found is not None:
                    self.known[name] = found

    def attempt(self, key: KeyPath, text: str, check: Any) -> Term | None:
        """check(); its error is placed in the file."""
        try:
            found: Term = check()
        except FormulaError as error:
            line, column = self.first_letter(key, text)
            self.problems.append(error.problem(text, str(self.source.path), line, column))
            return None
        return found

    def first_letter(self, key: KeyPath, text: str) -> tuple[int, int]:
        """Where a text value's first character stands: after its quotes, or on the next line."""
        line, column = self.source.place(key, of_value=True)
        raw = self.source.path.read_text(encoding="utf-8-sig").split("\n")[line - 1][column - 1 :]
        if raw[:3] in ('"""', "'''"):
            return (line + 1, 1) if not raw[3:].strip() else (line, column + 3)
        return line, column + 1

    def formula(self, key: KeyPath, required: bool = False) -> tuple[Term | None, str]:
        """A formula and its text."""
        text = self.text(key, required)
        if not text:
            return None, ""
        return self.attempt(key, text, lambda: check_truth(text, self.known)), text

    def requirement(self, key: KeyPath) -> Requirement | None:
        unknown_keys(self.source, key, _KEYS, self.problems)
        before = len(self.problems)
        head = self.head(key)
        formula, formula_text = self.formula((*key, "formula"), required=True)
        when, when_text = self.formula((*key, "when"))
        only_if, _ = self.formula((*key, "if"))
        if only_if is not None and not only_if.constant:
            self.refuse((*key, "if"), '"if" is decided before the run: it may ask for settings only; see "when"')
        if len(self.problems) > before or formula is None:
            return None
        return Requirement(
            formula=formula, formula_text=formula_text, when=when, when_text=when_text, only_if=only_if, **head
        )

    def head(self, key: KeyPath) -> dict[str, Any]:
        """Id, text, severity, source and place of a requirement or sequence."""
        name = self.text((*key, "id"), required=True)
        if name and not _ID.fullmatch(name):
            self.refuse((*key, "id"), f'"{name}" is no id: letters, digits, -, _ and . are')
        severity = self.text((*key, "severity"), required=True)
        if severity and severity not in list(Severity):
            self.refuse((*key, "severity"), f'"{severity}" is no severity: {", ".join(Severity)} are')
            severity = ""
        text = self.text((*key, "text"), required=True)
        self.placeholders((*key, "text"), text)
        patterns = self.source.get((*key, "scenarios"))
        if patterns is None:
            patterns = ["*"]
        if not isinstance(patterns, list) or not patterns or not all(isinstance(p, str) for p in patterns):
            self.refuse((*key, "scenarios"), 'must be a list of file names or patterns, for example ["*stop*"]')
            patterns = ["*"]
        return {
            "id": name,
            "text": " ".join(text.split()),
            "severity": Severity(severity or "service"),
            "scenarios": tuple(patterns),
            "source": self.text((*key, "source")),
            "shown_by": self.text((*key, "shown_by")),
            "file": str(self.source.path),
            "line": self.source.place(key)[0],
        }

    def placeholders(self, key: KeyPath, text: str) -> None:
        """Every {setting} in a sentence must be one."""
        for match in _PLACEHOLDER.finditer(text):
            try:
                find_setting(match[1])
            except KeyError as error:
                self.refuse(key, str(error.args[0]))


def every_setting() -> Iterable[str]:
    """Every setting that formulas may name, as sheets write it."""
    from controller.settings import CommonSettings

    def below(cls: Any, path: str) -> Iterable[str]:
        for rule in field_rules(cls):
            if rule.is_record and not rule.length:
                yield from below(rule.kind, f"{path}.{rule.key}")
            elif not rule.length:
                yield f"{path}.{rule.key}"

    return below(CommonSettings, "common")
