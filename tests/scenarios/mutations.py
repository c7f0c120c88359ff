"""Damage for the files that a run is made from: every mutation is reproducible from the random source it is given.

A mutation takes text and gives text (or bytes where no text would come out of it), so that several can follow each other.
"""

from __future__ import annotations

import random
import re
from collections.abc import Callable

VALUES = (
    "nan", "-nan", "inf", "-inf", "1e999", "-1e308", "1e400", "0", "-0.0", "-1", "3", "0.5", "1e-320", "true", "false",
    "1979-05-27", "07:32:00", "1979-05-27T07:32:00Z", "[]", "[[]]", "{}", "{ kind = 1 }", "[1, 2]", '""', "''", '"0"',
    '"nan kPa"', '"inf s"', '"1e999 kW"', '"5 m"', '"-5 s"', '"1e300 kPa"', '"9**9**9"', '" °C sat"', '"-10 °C sat"',
    '"900 °C sat"', '"-400 °C"', '"1,5 s"', '"1.5.2 s"', '"0x10 s"', '"١٢ s"', '"12 ｋPa"', '"5 psi"', '"22 psig"',
    '"-3 bar(g)"', '"1_0 s"', '"10 %"', '"-60 %"', '"1e17 ms"', '"0.1 ms"', '"1 fortnight"', '"1 kPa*kPa"', '"5 kg"',
    "99999999999999999999", "-99999999999999999999999", "9" * 5000, "0b11", "0xffffffffffffffff", '"\\u0000"',
    '"../../../etc/passwd"', '"/dev/zero"', '"."', '"nul\\u0000byte"', '"a" # "', "'''x\ny'''", '"R134a"', '"running"',
    '"' + "x" * 70000 + '"', "[" * 3000 + "]" * 3000, "{a=" * 500 + "1" + "}" * 500, '"on"', '"é"', '"\U0001f9ca"',
)  # fmt: skip
UNITS = (
    "kPa", "Pa", "MPa", "bar", "bar(g)", "bar(a)", "psi", "psig", "psia", "mbar", "°C", "°F", "K", "°C sat", "K sat",
    "s", "ms", "min", "h", "d", "kW", "W", "MW", "TR", "%", "", "m³", "L", "m³/h", "m³/s", "kg", "kg/s", "kg/h", "kW/K",
    "W/K", "MJ/K", "1/s", "rpm", "A", "V", "Torr", "ft", "BTU/h", "hp", "furlong", "inHg", "°", "ohm",
)  # fmt: skip
LETTERS = "\x00\x7f\t\r\n\"'[]{}=#.,;:-+_\\ eE0159aZé°²µ−\u00a0\u200b\u202e\ufeff\U0001f600٣"
HEADERS = (
    "[start]", "[[event]]", "[event]", "[settings]", "[site]", "[machine]", "[[start]]", "[a.b.c]", "[]", "[[settings]]",
    "[settings.common.capacity]", "[uncertainty]", "[event.then]", "[[machine]]", '["start"]',
)  # fmt: skip
SEPARATORS = (
    (";", ","), (";", "\t"), (",", "."), (":", "."), ("\n", "\r"), ("\n", "\r\n"), (";", ";;"), (":", ""),
    (";", ' ; "'), ("13:", "25:"), ("kW", "MW"), ("kW", "s"), ("hh:mm:ss", "s"),
)  # fmt: skip
_NUMBER = re.compile(r"[+-]?\d+(?:[.,]\d+)?")
_QUANTITY = re.compile(r'"([+-]?[\d.]+) ?([^"\n]*)"')

Mutation = Callable[[random.Random, str], str]


def _lines(text: str) -> list[str]:
    return text.splitlines(keepends=True) or [""]


def change_letter(rng: random.Random, text: str) -> str:
    """One character becomes another, goes, or gets a neighbour."""
    at = rng.randrange(len(text) + 1)
    return text[:at] + rng.choice(("", rng.choice(LETTERS))) + text[at + rng.randrange(2) :]


def delete_lines(rng: random.Random, text: str) -> str:
    lines = _lines(text)
    at = rng.randrange(len(lines))
    del lines[at : at + rng.choice((1, 1, 1, 2, 5, 40))]
    return "".join(lines)


def double_lines(rng: random.Random, text: str) -> str:
    lines = _lines(text)
    at, count = rng.randrange(len(lines)), rng.choice((1, 1, 2, 6))
    to = rng.choice((at, rng.randrange(len(lines) + 1)))
    lines[to:to] = lines[at : at + count]
    return "".join(lines)


def move_line(rng: random.Random, text: str) -> str:
    lines = _lines(text)
    line = lines.pop(rng.randrange(len(lines)))
    lines.insert(rng.randrange(len(lines) + 1), line)
    return "".join(lines)


def cut_off(rng: random.Random, text: str) -> str:
    return text[: rng.randrange(len(text) + 1)]


def swap_values(rng: random.Random, text: str) -> str:
    """Two keys exchange their values."""
    lines = _lines(text)
    places = [i for i, line in enumerate(lines) if " = " in line]
    if len(places) < 2:
        return text
    a, b = rng.sample(places, 2)
    (key_a, value_a), (key_b, value_b) = lines[a].split(" = ", 1), lines[b].split(" = ", 1)
    lines[a], lines[b] = f"{key_a} = {value_b}", f"{key_b} = {value_a}"
    return "".join(lines)


def swap_keys(rng: random.Random, text: str) -> str:
    """A value is given to a key that stands elsewhere in the file."""
    lines = _lines(text)
    places = [i for i, line in enumerate(lines) if " = " in line]
    if len(places) < 2:
        return text
    a, b = rng.sample(places, 2)
    lines[a] = f"{lines[b].split(' = ', 1)[0]} = {lines[a].split(' = ', 1)[1]}"
    return "".join(lines)


def wrong_value(rng: random.Random, text: str) -> str:
    lines = _lines(text)
    places = [i for i, line in enumerate(lines) if " = " in line]
    if places:
        at = rng.choice(places)
        lines[at] = f"{lines[at].split(' = ', 1)[0]} = {rng.choice(VALUES)}\n"
    return "".join(lines)


def other_unit(rng: random.Random, text: str) -> str:
    found = list(_QUANTITY.finditer(text))
    if not found:
        return text
    match = rng.choice(found)
    return text[: match.start()] + f'"{match[1]} {rng.choice(UNITS)}"' + text[match.end() :]


def other_number(rng: random.Random, text: str) -> str:
    """A number is scaled by powers of ten or factors near one, negated, or replaced by an extreme."""
    found = list(_NUMBER.finditer(text))
    if not found:
        return text
    match = rng.choice(found)
    value = float(match[0].replace(",", "."))
    new = rng.choice((
        f"{value * 10.0 ** rng.randint(-12, 12):.12g}", f"{value * rng.uniform(0.5, 2.0):.6f}", f"{-value:g}", "0",
        f"{value * rng.uniform(0.9, 1.1):.4g}", "1e308", "1e-308", "nan", "inf", "9007199254740993", f"{value:.1f}.0",
    ))  # fmt: skip
    return text[: match.start()] + new + text[match.end() :]


def key_typo(rng: random.Random, text: str) -> str:
    lines = _lines(text)
    places = [i for i, line in enumerate(lines) if " = " in line or line.startswith("[")]
    if not places:
        return text
    at = rng.choice(places)
    key, mark, rest = lines[at].partition(" = ")
    spot = rng.randrange(max(1, len(key)))
    kind = rng.randrange(4)
    if kind == 0:
        key = key[:spot] + key[spot + 1 :]
    elif kind == 1:
        key = key[:spot] + key[spot : spot + 1] * 2 + key[spot + 1 :]
    elif kind == 2:
        key = key[:spot] + key[spot : spot + 2][::-1] + key[spot + 2 :]
    else:
        key = rng.choice((key.upper(), key + "_kpa", key.replace("_", "-"), key.replace("_", "."), key.title()))
    lines[at] = key + mark + rest
    return "".join(lines)


def other_header(rng: random.Random, text: str) -> str:
    lines = _lines(text)
    places = [i for i, line in enumerate(lines) if line.startswith("[")]
    at = rng.choice(places) if places and rng.randrange(2) else None
    if at is None:
        lines.insert(rng.randrange(len(lines) + 1), rng.choice(HEADERS) + "\n")
    else:
        lines[at] = rng.choice(HEADERS) + "\n"
    return "".join(lines)


def deep_nesting(rng: random.Random, text: str) -> str:
    depth = rng.choice((3, 60, 400, 3000))
    piece = rng.choice((
        f"x = {'[' * depth}{']' * depth}\n", f"[{'.'.join('a' * depth)}]\n", f"{'.'.join('a' * depth)} = 1\n",
        f"y = {'{a=' * depth}1{'}' * depth}\n",
    ))  # fmt: skip
    lines = _lines(text)
    lines.insert(rng.randrange(len(lines) + 1), piece)
    return "".join(lines)


def other_separator(rng: random.Random, text: str) -> str:
    """Delimiters, decimal marks and line ends as another logger would write them."""
    old, new = rng.choice(SEPARATORS)
    return text.replace(old, new) if rng.randrange(2) else text.replace(old, new, rng.randint(1, 30))


MUTATIONS: tuple[Mutation, ...] = (
    change_letter, change_letter, delete_lines, double_lines, move_line, cut_off, swap_values, swap_keys, wrong_value,
    wrong_value, other_unit, other_unit, other_number, other_number, other_number, key_typo, other_header, deep_nesting,
)  # fmt: skip
CSV_MUTATIONS: tuple[Mutation, ...] = (
    change_letter, change_letter, delete_lines, double_lines, move_line, cut_off, other_number, other_number,
    other_number, other_separator, other_separator,
)  # fmt: skip


def damaged(rng: random.Random, text: str, of_csv: bool = False) -> bytes:
    """The text after one to three mutations, as bytes; now and then the bytes themselves are damaged."""
    for _ in range(rng.choice((1, 1, 1, 2, 3))):
        text = rng.choice(CSV_MUTATIONS if of_csv else MUTATIONS)(rng, text)
    raw = text.encode("utf-8", "surrogatepass")
    dice = rng.randrange(20)
    if dice == 0 and raw:  # a flipped bit or a byte that is no UTF-8
        at = rng.randrange(len(raw))
        raw = raw[:at] + bytes([raw[at] ^ (1 << rng.randrange(8))]) + raw[at + 1 :]
    elif dice == 1:
        raw = rng.choice((b"\xef\xbb\xbf" + raw, text.encode("utf-16"), text.encode("latin-1", "replace"), b""))
    return raw
