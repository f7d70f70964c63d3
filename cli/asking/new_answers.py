"""How answers at a prompt become what a scenario file holds."""

from __future__ import annotations

import re
from typing import Any

from handlap.cli.asking.laid_questions import one_of
from handlap.cli.asking.new_file import Document
from handlap.cli.asking.questions import Answers
from handlap.cli.asking.readings_text import plain_number
from handlap.sim.common.errors import InputError
from handlap.sim.common.measured_number import Doubted, doubtful, read_measured, split_numbers
from handlap.sim.common.units import System, number_of, unit_of
from handlap.sim.job.key_row import Key
from handlap.sim.job.scenario_numbers import doubt_kind
from handlap.sim.job.scenario_values import SHORT_GASKETS

NONE = "none"
MOST_OPENINGS = 200


def openings_of(answers: Answers) -> list[Document]:
    """Openings up to the first question answered by "none"."""
    found = []
    for i in range(1, MOST_OPENINGS + 1):
        answer = answers.get(f"opening {i}", NONE)
        if answer == NONE:
            break
        found.append(raw_opening(answer))
    return found


def raw_number(typed: str) -> int | float | str:
    """What was typed as a file would hold it: a plain number, or the text with its unit."""
    if re.fullmatch(r"[+-]?\d{1,15}", typed):
        return int(typed)
    if re.fullmatch(r"[+-]?(\d+\.\d*|\.\d+)([eE][+-]?\d{1,3})?|[+-]?\d+[eE][+-]?\d{1,3}", typed):
        value = float(typed)
        return value if abs(value) < 1e300 else typed
    try:
        return plain_number(number_of(typed)) if re.search(r"[,/]", typed) else typed
    except ValueError:
        return typed


DOUBTED = ("part.length", "part.width", "part.mass", "part.limit", "part.allowance")
"""Keys whose bare number is asked back where it makes no sense in its unit."""


def refuse_doubtful(typed: str, row: Key, system: System) -> None:
    """Ask back a bare number that only makes sense in another unit.

    Raises
    ------
    Doubted : with what to put in its place
    """
    try:
        read = read_measured(typed, row.quantity, unit_of(row.quantity, system))
    except ValueError:
        return
    doubt = doubtful(read.number, doubt_kind(row), read.unit, system) if read.bare else None
    if doubt is not None:
        raise Doubted(doubt)


def leaves_typed(typed: str, system: System) -> Document:
    """Leaves as a file holds them, in the unit that they are stamped in.

    Raises
    ------
    Doubted : where plain numbers are no leaves in the unit of the job, but are in another

    >>> leaves_typed("0.03 0.05 0.1 mm", "mm")
    {'leaves_in': 'mm', 'leaves': [0.03, 0.05, 0.1]}
    """
    unit = unit_of("leaf", system)
    try:
        parts = split_numbers(typed)
        found = [read_measured(part, "leaf", unit) for part in parts]
    except ValueError:
        return {"leaves": listed(typed)}
    if found and all(one.bare for one in found):
        doubts = [doubtful(one.number, "leaf", unit, system) for one in found]
        doubt = next((d for d in doubts if d is not None), None)
        if doubt is not None:
            meant = doubt.meant[0].split()[-1]
            raise Doubted(doubt, f"{' '.join(f'{one.number:.7g}' for one in found)} {meant}")
    stamped = {one.unit for one in found}
    if len(stamped) != 1:
        return {"leaves": [raw_number(part) for part in parts]}
    (own,) = stamped
    numbers = {"leaves": [plain_number(one.number) for one in found]}
    return numbers if own == unit else {"leaves_in": own, **numbers}


def listed(typed: str) -> list[Any]:
    """Numbers or words with commas or blanks between them, as a file would hold them."""
    parts = typed.split(",") if "," in typed else typed.split()
    return [raw_number(part.strip()) for part in parts if part.strip()]


def _points(typed: str) -> list[list[Any]]:
    return [listed(corner) for corner in typed.split(";") if corner.strip()]


def raw_value(row: Key, typed: str) -> Any:
    """An answer as the value of a key; what cannot be read so stays text, for the loader to refuse."""
    if row.kind in ("quantity", "whole number"):
        return raw_number(typed)
    if row.kind == "uncertain quantity":
        parts = listed(typed)
        if len(parts) == 3:
            return dict(zip(("value", "low", "high"), parts, strict=True))
        return raw_number(typed)
    if row.kind == "yes or no":
        return {"yes": True, "y": True, "true": True, "no": False, "n": False, "false": False}.get(
            typed.strip().lower(), typed
        )
    if row.kind == "choice":
        try:
            return one_of(typed, row.choices)
        except InputError:
            return typed
    if row.kind == "points":
        return _points(typed)
    if row.kind == "gasket":
        word = typed.strip().lower()
        return typed if typed in row.choices or word in SHORT_GASKETS else listed(typed)
    if row.kind in ("leaves", "grits"):
        return listed(typed)
    return typed


def raw_opening(typed: str) -> Document:
    """An opening as a file would hold it.

    Raises
    ------
    InputError : if it is none of the three kinds
    """
    kind, _, rest = typed.partition(" ")
    if kind not in ("circle", "slot", "polygon"):
        raise InputError(f'"{typed}"; allowed: circle, slot or polygon with its numbers, or {NONE}')
    return {kind: _points(rest) if kind == "polygon" else listed(rest)}
