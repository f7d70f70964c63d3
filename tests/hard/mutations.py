"""Files that somebody could hand over by mistake or by malice: made from sound ones, from a number.

The same kind and number always give the same bytes, so a file that does harm can be had again.
"""

from __future__ import annotations

import copy
import datetime
import json
import math
import random
import re
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Any

from bad_scenarios import SHORT, WHOLE

from handlap.sim.job.key_row import Key
from handlap.sim.job.scenario_file import builtin_names, read_text
from handlap.sim.job.scenario_keys import KEYS


@dataclass(frozen=True)
class Raw:
    """Letters that stand in a file as they are."""

    text: str


@dataclass(frozen=True)
class Mutant:
    """A mutated file; ``label`` says how it was made."""

    label: str
    data: bytes


ODD_NUMBERS: tuple[Any, ...] = (
    0, -1, 1, 2, 0.5, -0.0, 1e-320, 1e-9, 1e15, 1e300, -1e300, 2**31, 2**63, 2**64, -(2**63), 10**400, True, False,
    Raw("nan"), Raw("inf"), Raw("-inf"), Raw("+nan"), Raw("0xdeadbeef"), Raw("0x" + "f" * 500), Raw("1_000"),
    Raw("9" * 5000), Raw("1e999"), Raw("-1e-999"), Raw("1e99999999"), Raw("0o7"), Raw("1."), Raw("1,5"), Raw("１２"),
)  # fmt: skip
ODD_TEXTS = (
    "", " ", "\t", "x", "none", "nan", "inf", "1e999 mm", "-5 mm", "1,5 mm", "１２ mm", "٣ mm", "5 parsecs", "²",
    "P²", "P80\n", "a\nb", "\0", "\x1b[2J", "\x1b]0;x\x07", "\x7f", "\x85", "\u2028", "\u202eabc", "\ufeff", "\ufffe",
    "é", "e\u0301", "İ", "ſ", "\U0001f600", "\U000e0041", "x" * 301, "x" * 5000, "<script>alert(1)</script>",
    "'; DROP", "%s%n", "{0}", "../../etc/passwd", "/etc/passwd", "heights/../../x.csv", "C:\\x", "~", "a\0b", ".",
    "NaN µm", "1 µm" * 50, "turning=half every=40", "turning=" * 50, "every=9" + "9" * 400,
)  # fmt: skip
DATES = (
    datetime.date(1979, 5, 27),
    datetime.time(7, 32),
    datetime.datetime(1979, 5, 27, 7, 32, tzinfo=datetime.UTC),
    datetime.datetime(1, 1, 1),
)


def _nested(depth: int) -> Any:
    value: Any = 1
    for _ in range(depth):
        value = [value]
    return value


def _nested_tables(depth: int) -> Any:
    value: Any = {"a": 1}
    for _ in range(depth):
        value = {"a": value}
    return value


def odd_value(rng: random.Random) -> Any:
    """Anything that TOML or JSON may hold, and some things they may not."""
    kind = rng.randrange(9)
    if kind <= 2:
        return rng.choice(ODD_NUMBERS)
    if kind <= 4:
        return rng.choice(ODD_TEXTS)
    if kind == 5:
        return rng.choice(DATES)
    if kind == 6:
        return rng.choice(
            ([], [[]], {}, [{}], {"value": 1}, {"": ""}, [None], _nested(30), _nested_tables(30))
        )
    if kind == 7:
        return [odd_value(rng) for _ in range(rng.choice((1, 2, 3, 4, 7)))]
    return rng.choice(([1.5] * 2500, ["x"] * 2001, [[0, 0]] * 500, [{}] * 201, "y" * 20_000))


def fitting_value(row: Key, rng: random.Random) -> Any:
    """Something a key may well hold, often at the very end of its range."""
    low, high = row.low, row.high
    number = rng.choice((low, high, rng.uniform(low, high), low + (high - low) * rng.random() ** 6, 10.0))
    far = [rng.uniform(max(low, -300.0), min(high, 300.0)) for _ in range(8)]
    width = {"point": 2, "circle": 3, "slot": 5}
    if row.kind in width:
        return far[: width[row.kind]]
    if row.kind in ("points", "turns"):
        return [[rng.uniform(-200, 200), rng.uniform(-100, 100)] for _ in range(rng.choice((1, 3, 4, 6)))]
    if row.kind == "strips":
        return [[-rng.uniform(0, 400), -200, rng.uniform(0, 400), 200] for _ in range(rng.choice((1, 2, 5)))]
    if row.kind == "lumps":
        return [[*far[:2], abs(far[2]), far[3]] for _ in range(rng.choice((1, 3)))]
    if row.kind == "leaves":
        return [abs(far[0]), abs(far[1])]
    if row.kind == "stations":
        return [[abs(x), rng.choice(("none", 30, 50)), rng.choice(("open", 60, 200))] for x in far]
    if row.kind == "depths":
        return [[abs(far[0]), rng.choice(("start", "end", "middle")), abs(far[1])]]
    if row.kind == "uncertain quantity":
        a, b, c = sorted((number, *far[:2]))
        return rng.choice((number, {"value": b, "low": a, "high": c}))
    if row.kind == "whole number":
        return rng.choice((int(low), int(high), int(number)))
    if row.kind == "yes or no":
        return rng.random() < 0.5
    if row.kind == "grits":
        return rng.choice((["P40", "P80"], ["P2500"], ["P80"] * 3, [80], ["P12", "P5000"], ["80 US", "P240"]))
    if row.kind == "ways":
        return [rng.choice(("turning=half every=40", "press=30 N", "papers=P80", "name=x"))] * rng.choice(
            (1, 2, 40)
        )
    if row.choices:
        return rng.choice(row.choices)
    if row.kind in ("text", "file"):
        return rng.choice(("a plain text", "grey iron", "h.csv", "DIN 876 1", "<b>bold</b> & co"))
    return number


# ---- scenarios


@cache
def sound_scenarios() -> tuple[str, ...]:
    """Texts to start from: a short file, one with every key, the built-in ones."""
    return (SHORT, SHORT, WHOLE, WHOLE, *(read_text(name) for name, _ in builtin_names()))


def written(value: Any) -> str:
    """A value as TOML on one line; what TOML cannot hold is written as somebody might."""
    if isinstance(value, Raw):
        return value.text
    if value is None:
        return "null"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, float):
        return repr(value) if math.isfinite(value) else str(value)
    if isinstance(value, datetime.date | datetime.time):
        return value.isoformat()
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(written, value)) + "]"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(k)} = {written(v)}" for k, v in value.items()) + "}"
    if isinstance(value, int):
        return hex(value) if abs(value) > 10**1000 else str(value)
    raise TypeError(type(value).__name__)


def as_toml(document: dict[str, Any]) -> str:
    """A document with a header for every table of the first level."""
    lines = [f"{json.dumps(k)} = {written(v)}" for k, v in document.items() if not isinstance(v, dict)]
    for name, table in document.items():
        if isinstance(table, dict):
            lines.append(f"[{json.dumps(name)}]")
            lines += [f"{json.dumps(k)} = {written(v)}" for k, v in table.items()]
    return "\n".join(lines) + "\n"


def _places(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Paths to everything inside a value."""
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    found = []
    for key, item in inner:
        found.append((*path, key))
        found += _places(item, (*path, key))
    return found


def _at(value: Any, path: tuple[Any, ...]) -> Any:
    for key in path:
        value = value[key]
    return value


def _change_values(document: dict[str, Any], rng: random.Random) -> str:
    """Replace, drop, double or wrap a few values anywhere in a document."""
    done = []
    for _ in range(rng.choice((1, 1, 1, 2, 4))):
        places = _places(document)
        if not places:
            break
        path = rng.choice(places)
        holder, key = _at(document, path[:-1]), path[-1]
        how = rng.randrange(6)
        if how <= 2:
            holder[key] = odd_value(rng)
        elif how == 3:
            del holder[key]
        elif how == 4:
            holder[key] = [copy.deepcopy(holder[key]) for _ in range(rng.choice((1, 2, 30, 250)))]
        elif isinstance(holder, list):
            holder.extend(copy.deepcopy(holder[key]) for _ in range(rng.choice((1, 20, 300))))
        else:
            holder[rng.choice(("", "x", str(key) + "s", "limit", "a b", "é"))] = odd_value(rng)
        done.append(".".join(map(str, path)))
    return "values at " + ", ".join(done)


def _set_keys(document: dict[str, Any], rng: random.Random, make: Callable[[Key, random.Random], Any]) -> str:
    """Give a few known keys another value."""
    names = []
    for _ in range(rng.choice((1, 1, 2, 3))):
        row = rng.choice(KEYS)
        *outer, last = row.name.split(".")
        node: Any = document
        for name in outer:
            if name.endswith("[]"):
                node = node.setdefault(name[:-2], [{}])
                node = rng.choice(node) if isinstance(node, list) and node else {}
            else:
                node = node.setdefault(name, {})
            if not isinstance(node, dict):
                break
        if isinstance(node, dict):
            node[last] = make(row, rng)
            names.append(row.name)
    return "keys " + ", ".join(names)


def _structured(make: Callable[[dict[str, Any], random.Random], str]) -> Callable[[random.Random], Mutant]:
    def mutate(rng: random.Random) -> Mutant:
        document = tomllib.loads(rng.choice(sound_scenarios()))
        label = make(document, rng)
        return Mutant(label, as_toml(document).encode("utf-8", "surrogatepass"))

    return mutate


def _edit_text(text: str, rng: random.Random) -> tuple[str, str]:
    """Lines and characters swapped, doubled, dropped, cut short, or something odd put in."""
    lines = text.splitlines(keepends=True) or [""]
    i, j = rng.randrange(len(lines)), rng.randrange(len(lines))
    at = rng.randrange(len(text) + 1)
    how = rng.randrange(9)
    if how == 0:
        lines[i], lines[j] = lines[j], lines[i]
    elif how == 1:
        lines[i:i] = lines[min(i, j) : max(i, j) + 1] * rng.choice((1, 1, 5, 40))
    elif how == 2:
        del lines[min(i, j) : max(i, j) + 1]
    elif how == 3:
        return "cut short", text[:at]
    elif how == 4:
        letters = "[]{}=\"'#,.\n\r\t\0\\\x1b-+eé￿" + "0123456789"
        return "letters put in", text[:at] + "".join(rng.choices(letters, k=rng.choice((1, 1, 3, 9)))) + text[
            at:
        ]
    elif how == 5:
        return "letters left out", text[:at] + text[at + rng.choice((1, 1, 2, 10)) :]
    elif how == 6:
        numbers = list(re.finditer(r"-?\d+(?:\.\d+)?", text))
        if numbers:
            found = rng.choice(numbers)
            new = written(rng.choice(ODD_NUMBERS))
            return "a number exchanged", text[: found.start()] + new + text[found.end() :]
    elif how == 7:
        deep = rng.choice(
            ("[" * 3000, "{a=" * 2000, "a." * 3000 + "a=1\n", "[[a.a.a]]\n" * 300, "[" + "a." * 2000 + "a]\n")
        )
        return "deeply nested", text[:at] + "\n" + deep
    else:
        return "line ends", text.replace("\n", rng.choice(("\r\n", "\r", "\n\n", "\u2028", "\x0b")))
    return "lines moved", "".join(lines)


def _edit_bytes(data: bytes, rng: random.Random) -> tuple[str, bytes]:
    """Other encodings, marks, bytes of no text at all."""
    text = data.decode("utf-8", "replace")
    at = rng.randrange(len(data) + 1)
    how = rng.randrange(9)
    made: tuple[str, bytes]
    if how <= 2:
        coding = rng.choice(
            ("utf-16", "utf-16-le", "utf-32", "latin-1", "cp1252", "cp037", "utf-8-sig", "utf-7")
        )
        made = coding, text.encode(coding, "replace")
    elif how == 3:
        made = "bytes changed", bytes(b ^ (rng.random() < 0.01) * rng.randrange(256) for b in data)
    elif how == 4:
        made = "bytes of no text", rng.randbytes(rng.choice((0, 1, 100, 5000)))
    elif how == 5:
        made = (
            "bytes put in",
            data[:at] + rng.choice((b"\0", b"\xff", b"\xc3", b"\xed\xa0\x80", b"\x1b[2J")) + data[at:],
        )
    elif how == 6:
        made = "one end only", data[:at] if rng.random() < 0.5 else data[at:]
    elif how == 7:
        made = (
            "a picture or a program",
            rng.choice((b"\x89PNG\r\n\x1a\n", b"\x7fELF", b"PK\x03\x04", b"%PDF-1.7\n")) + data,
        )
    else:
        made = "nothing", rng.choice((b"", b"\n" * 1000, b" ", b"#", b"\0" * 100))
    return made


def _text_mutant(rng: random.Random) -> Mutant:
    text = rng.choice(sound_scenarios())
    label = ""
    for _ in range(rng.choice((1, 1, 2, 5))):
        label, text = _edit_text(text, rng)
    return Mutant(label, text.encode("utf-8", "surrogatepass"))


def _byte_mutant(rng: random.Random) -> Mutant:
    return Mutant(*_edit_bytes(rng.choice(sound_scenarios()).encode(), rng))


SCENARIO_WAYS = (
    _structured(_change_values),
    _structured(_change_values),
    _structured(lambda document, rng: _set_keys(document, rng, lambda row, rng: odd_value(rng))),
    _structured(lambda document, rng: _set_keys(document, rng, fitting_value)),
    _structured(lambda document, rng: _set_keys(document, rng, fitting_value)),
    _text_mutant,
    _byte_mutant,
)


def scenario(number: int) -> Mutant:
    """The mutated scenario of that number."""
    rng = random.Random(f"scenario {number}")
    return rng.choice(SCENARIO_WAYS)(rng)


# ---- logs


def log(number: int, sound: list[dict[str, Any]]) -> Mutant:
    """The mutated log of that number; ``sound`` are the objects of a log that can be read."""
    rng = random.Random(f"log {number}")
    objects = copy.deepcopy(sound)
    how = rng.randrange(7)
    label = "as it was"
    if how <= 2:
        label = _change_values({"log": objects}, rng)
    elif how == 3:
        rng.shuffle(objects)
        label = "shuffled"
    elif how == 4:
        objects += objects[1:] * rng.choice((1, 30, 300))
        if rng.random() < 0.7:
            for n, entry in enumerate(objects[1:], 1):
                entry["n"] = n
        label = "doubled"
    lines = [_json(entry) for entry in (objects if isinstance(objects, list) else [objects])]
    text = "\n".join(lines) + "\n"
    if how == 5:
        for _ in range(rng.choice((1, 2, 4))):
            label, text = _edit_text(text, rng)
    data = text.encode("utf-8", "surrogatepass")
    return Mutant(*_edit_bytes(data, rng)) if how == 6 else Mutant(label, data)


def _json(value: Any) -> str:
    if isinstance(value, Raw):
        return {"nan": "NaN", "inf": "Infinity", "-inf": "-Infinity"}.get(value.text, value.text)
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(str(k))}: {_json(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(_json, value)) + "]"
    if isinstance(value, datetime.date | datetime.time):
        return json.dumps(value.isoformat())
    if isinstance(value, int) and not isinstance(value, bool) and abs(value) > 10**1000:
        return "9" * 3000
    return json.dumps(value)


# ---- tables of heights

SOUND_TABLE = "u_mm,v_mm,height_um\n" + "".join(
    f"{u},{v},{(u * u / 500 - v * v / 300):.1f}\n" for u in (-90, -45, 0, 45, 90) for v in (-40, 0, 40)
)
CELLS = ("", "nan", "inf", "1e999", "-1e300", "1,5", "1 000", '"', '"a', "0x10", "１", "²", "None", "1e-320", "x" * 3000, "\x1b[2J", "=1+1", "1_0", "\0")  # fmt: skip
HEADS = ("u_mm", "v_mm", "height_um", "height_thou", "x_in", "h_m", "z_um", "point", "note", "U_MM", "u_parsec", "_", "", "u", "u_mm;", "İ_mm", "ß", "mm_u")  # fmt: skip


def table(number: int) -> Mutant:
    """The mutated table of heights of that number."""
    rng = random.Random(f"table {number}")
    rows = [line.split(",") for line in SOUND_TABLE.splitlines()]
    comma, label = ",", "cells"
    how = rng.randrange(8)
    if how <= 1:
        for _ in range(rng.choice((1, 3))):
            row = rng.choice(rows)
            row[rng.randrange(len(row))] = rng.choice(CELLS)
    elif how == 2:
        rows[0] = [rng.choice(HEADS) for _ in range(rng.choice((1, 2, 3, 3, 3, 4, 40)))]
        label = "heads"
    elif how == 3:
        comma = rng.choice((";", "\t", "|", " ", ";;"))
        label = "separator"
    elif how == 4:
        rows += rows[rng.randrange(2) :] * rng.choice((1, 20, 200))
        label = "rows doubled"
    elif how == 5:
        factor = rng.choice((0.0, 1e-9, 1e-3, 25.4, 1e3, 1e9, 1e305))
        column = rng.randrange(3)
        for row in rows[1:]:
            row[column] = repr(float(row[column]) * factor)
        label = f"column {column} times {factor}"
    text = "\n".join(comma.join(row) for row in rows) + "\n"
    if how == 6:
        label, text = _edit_text(text, rng)
    data = text.encode("utf-8", "surrogatepass")
    return Mutant(*_edit_bytes(data, rng)) if how == 7 else Mutant(label, data)


# ---- answers typed or piped

TYPED = (
    "", "", "", "none", "?", "<", "end", "yes", "no", "usual", "guess", "inch", "mm", "rectangle", "polygon",
    "two-cylinder-head", "0 0; 100 0; 100 50; 0 50", "circle 0 0 20", "slot 0 0 40 10 30", "circle 0 0", "240", "140",
    "P80, P120", "35 20 60", "light", "40 50", "none 30", "300 open", "skip", "level", "3,5", "1e400", "nan", "-1",
)  # fmt: skip


def answers(number: int, sound: list[str]) -> Mutant:
    """Mutated answers of that number, to be piped in."""
    rng = random.Random(f"answers {number}")
    lines = list(sound)
    for _ in range(rng.choice((1, 2, 5, 12))):
        i = rng.randrange(len(lines) + 1)
        what = rng.choice((*TYPED, *ODD_TEXTS, *map(written, ODD_NUMBERS[:20])))
        if rng.random() < 0.6 and i < len(lines):
            lines[i] = what
        else:
            lines.insert(i, what)
    data = "".join(f"{line}\n" for line in lines).encode("utf-8", "surrogatepass")
    return Mutant(*_edit_bytes(data, rng)) if rng.random() < 0.2 else Mutant("answers", data)
