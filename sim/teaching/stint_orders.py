"""The orders of a stint at the bench: a word a line, read and checked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from handlap.sim.face.stations import MeasuringLine
from handlap.sim.teaching.exercise import ExerciseTask

OrderKind = Literal["sheet", "lap", "brush", "turn", "check", "weigh"]
TURNS = ("half", "quarter", "walk")
MOST_BLOCK, MOST_STROKES, MOST_ORDERS = 1000, 12_000, 500
"""Strokes of a block and of a stint, and orders of a stint [-]."""
ORDERS: tuple[tuple[str, str], ...] = (
    ("sheet P120", "a fresh sheet of that paper; 3 minutes"),
    ("lap 100", f"so many strokes, there and back, 1 to {MOST_BLOCK}"),
    ("brush", "brush the paper out; a quarter of a minute"),
    ("turn half", "turn the part by half or quarter, or walk: to the other side of the plate"),
    ("check", "straightedge and leaves on all lines; a minute a line. check A: on one; check A D: on two"),
    ("weigh", "the swarf so far, on a letter scale; a minute"),
    ("state", "minutes, strokes and sheets so far"),
    ("later", "stop for now; all is kept"),
    ("end", "the stint is over and the face is shown"),
)
"""Every order as it is typed, and what it does."""


@dataclass(frozen=True)
class Order:
    """One order: what, and with what."""

    kind: OrderKind
    paper: str = ""
    strokes: int = 0
    turn: str = ""
    lines: tuple[str, ...] = ()

    def words(self) -> str:
        """As it is typed.

        >>> Order("check", lines=("A", "D")).words()
        'check A D'
        """
        more = [self.paper, str(self.strokes or ""), self.turn, *self.lines]
        return " ".join(word for word in (self.kind, *more) if word)


def letters_of(lines: Sequence[MeasuringLine]) -> dict[str, MeasuringLine]:
    """Lines by the letter that their stations have on the sheet."""
    return {line.label(0).rstrip("0123456789"): line for line in lines if line.at}


def read_order(text: str, task: ExerciseTask) -> Order:
    """One order.

    Raises
    ------
    ValueError : with what is allowed
    """
    words = text.split()
    kind, rest = (words[0].lower(), words[1:]) if words else ("", [])
    if kind == "sheet":
        papers = {grit.name.lower(): grit.name for grit in task.scenario.paper.grits}
        if len(rest) == 1 and rest[0].lower() in papers:
            return Order("sheet", paper=papers[rest[0].lower()])
        raise ValueError(f"sheet with one of {', '.join(papers.values())}")
    if kind == "lap":
        count = rest[0] if len(rest) == 1 and rest[0].isascii() and rest[0].isdigit() else "0"
        if len(count) <= 9 and 1 <= int(count) <= MOST_BLOCK:
            return Order("lap", strokes=int(count))
        raise ValueError(f"lap with a whole number of strokes from 1 to {MOST_BLOCK}")
    if kind == "turn":
        if len(rest) == 1 and rest[0].lower() in TURNS:
            return Order("turn", turn=rest[0].lower())
        raise ValueError(f"turn with one of {', '.join(TURNS)}")
    if kind == "check":
        known = letters_of(task.lines)
        lines = tuple(dict.fromkeys(word.upper() for word in rest))
        if all(line in known for line in lines):
            return Order("check", lines=lines)
        raise ValueError(f"check alone, or with letters of lines: {', '.join(known)}")
    if kind == "brush" and not rest:
        return Order("brush")
    if kind == "weigh" and not rest:
        return Order("weigh")
    raise ValueError(f"{', '.join(order for order, _ in ORDERS)}")
