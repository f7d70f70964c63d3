"""The scenario file of an exercise: an invented part, its bench, and the readings that were written down."""

from __future__ import annotations

import math
from collections.abc import Sequence

from handlap.sim.common.units import from_si
from handlap.sim.job.scenario import StraightedgeLine
from handlap.sim.job.toml_edit import key_text, value_text
from handlap.sim.teaching.exercise_levels import LEVELS
from handlap.sim.teaching.exercise_part import PartKeys

HEADER = """\
# Exercise: level {level}, number {seed}.  Made by handlap exercise; everything in it is invented.
# {words}.
#
# {first}, enter your answers (handlap exercise FOLDER, or answers.toml by hand), then
# have them marked: handlap exercise FOLDER --mark.  Lengths mm, heights and leaves µm, masses kg.
"""


READ, TO_FEEL = "Look at the readings", "Feel the face on feel.html"


def exercise_text(
    title: str,
    level: int,
    seed: int,
    document: PartKeys,
    read: Sequence[StraightedgeLine] = (),
    *,
    feel: bool = False,
) -> str:
    """The scenario file of an exercise; ``feel``: the face is still to be felt."""
    words = LEVELS[level].felt if feel else LEVELS[level].words
    first = TO_FEEL if feel else READ
    lines = [HEADER.format(level=level, seed=seed, words=words[:1].upper() + words[1:], first=first)]
    lines += [f"title = {value_text(title)}", "invented = true", 'units = "mm"']
    for table, keys in document.items():
        lines += ["", f"[{table}]", *(f"{key_text(k)} = {value_text(v)}" for k, v in keys.items())]
    return "\n".join(lines) + "\n" + readings_text(read)


def readings_text(read: Sequence[StraightedgeLine]) -> str:
    """Lines that were read, as tables of the scenario file."""
    lines: list[str] = []
    for line in read:
        ends = [[_plain(from_si(x, "length")) for x in end] for end in (line.start, line.end)]
        rows = [
            [
                _plain(from_si(s.at, "length")),
                _plain(from_si(s.goes, "height")) if s.goes > 0.0 else "none",
                _plain(from_si(s.stops, "height")) if math.isfinite(s.stops) else "open",
            ]
            for s in line.stations
        ]
        lines += [
            "",
            "[[readings.line]]",
            f"name = {value_text(line.name)}",
            f"from = {value_text(ends[0])}",
            f"to = {value_text(ends[1])}",
            f"held = {value_text(line.held)}",
            f"stations = {value_text(rows)}",
        ]
    return "".join(f"{line}\n" for line in lines)


def _plain(value: float) -> int | float:
    short = round(value, 3)
    return int(short) if short == int(short) else short
