"""A laying of the straightedge as a row of plain characters."""

from __future__ import annotations

import numpy as np

from handlap.sim.common.outline import Outline
from handlap.sim.face.stations import MeasuringLine
from handlap.sim.face.straightedge import on_metal

METAL, OPENING, OPEN, READ, NOW = "-", " ", "o", "x", "#"
KEY = f"{NOW} this one, {READ} read, {OPEN} not yet; gaps are openings"


def line_drawing(
    outline: Outline, line: MeasuringLine, width: int, *, read: set[int] | None = None, now: int | None = None
) -> list[str]:
    """A line with its stations in at most ``width`` columns, and their numbers below.

    Parameters
    ----------
    read : stations already read, counted from 0
    now : the station asked for

    >>> from handlap.sim.face.stations import measuring_lines
    >>> face = Outline.rectangular(0.24, 0.14)
    >>> print(line_drawing(face, measuring_lines(face)[2], 40, read={0}, now=1)[0])
    C |-x-------#-------o-------o-------o-|
    """
    lead = f"{line.letter} |"
    cells = max(8, width - len(lead) - 2)
    share = (np.arange(cells) + 0.5) / cells
    start, end = np.array(line.start), np.array(line.end)
    metal = on_metal(outline, start + np.outer(share, end - start))
    row = [METAL if there else OPENING for there in metal]
    numbers = [" "] * (cells + 3)
    last = -2
    for i, at in enumerate(line.at):
        place = min(cells - 1, int(cells * at / line.length))
        row[place] = NOW if i == now else READ if read and i in read else OPEN
        name = str(i + 1)
        if place > last + 1 or i == now:
            numbers[place : place + len(name)] = name
            last = place + len(name) - 1
    return [f"{lead}{''.join(row)}|", " " * len(lead) + "".join(numbers)[: width - len(lead)]]
