"""Readings of a line as a table of a scenario file."""

from __future__ import annotations

import math

from handlap.sim.common.units import UNITS, System, from_si, show_leaf
from handlap.sim.face.stations import MeasuringLine
from handlap.sim.job.scenario import Held, Station
from handlap.sim.job.toml_edit import value_text


def plain_number(value: float) -> int | float:
    """A number as a person would write it."""
    short = float(f"{value:.6g}")
    return int(short) if short == int(short) and abs(short) < 1e9 else short


def length_of(value: float, system: System) -> int | float:
    """A length [m] in the file's unit."""
    return plain_number(round(from_si(value, "length", system), 6))


def leaf_of(value: float, unit: str) -> int | float:
    """A leaf [m] as the plain number stamped on it."""
    multiplier, divisor = UNITS["length"][unit]
    return plain_number(value * divisor / multiplier)


def leaf_words(value: float, unit: str) -> str:
    """A leaf [m] as it is stamped, with its unit."""
    return show_leaf(value, unit)


def line_text(
    line: MeasuringLine,
    held: Held,
    stations: tuple[Station, ...],
    system: System,
    middle: tuple[float, float],
    stamped: str,
) -> str:
    """``[[readings.line]]`` of a file.

    Parameters
    ----------
    middle : where the middle of the face lies in the frame of the file [m]
    stamped : what plain numbers of leaves stand in
    """
    ends = [
        [length_of(p + m, system) for p, m in zip(end, middle, strict=True)] for end in (line.start, line.end)
    ]
    rows = [
        [
            length_of(s.at, system),
            leaf_of(s.goes, stamped) if s.goes > 0.0 else "none",
            leaf_of(s.stops, stamped) if math.isfinite(s.stops) else "open",
        ]
        for s in stations
    ]
    body = "".join(f"    {value_text(row)},\n" for row in rows)
    return (
        "[[readings.line]]\n"
        f"name = {value_text(line.name)}\n"
        f"from = {value_text(ends[0])}\nto = {value_text(ends[1])}\n"
        f"held = {value_text(held)}\n"
        f"stations = [\n{body}]\n"
    )
