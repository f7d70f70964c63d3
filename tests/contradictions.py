"""Readings that contradict each other flatly, as they are common at a bench, and readings without a leaf."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from handlap.sim.common.outline import Array, Outline, circle
from handlap.sim.face.leaf_readings import read_face
from handlap.sim.face.straightedge import standard_lines
from handlap.sim.job.scenario import Readings, StraightedgeLine

LENGTH, WIDTH = 0.24, 0.14
OUTLINE = Outline.rectangular(LENGTH, WIDTH, (circle(-0.05, 0.0, 0.07), circle(0.05, 0.0, 0.07)))
LEAVES = np.array([20, 30, 40, 50, 60, 80, 100, 120, 150, 200, 250, 300, 400]) * 1e-6

HEAD = """title = "Invented head"
invented = true
[part]
length = 240
width = 140
openings = [{circle = [-50, 0, 70]}, {circle = [50, 0, 70]}]
metal = "A356"
mass = 5
limit = LIMIT
allowance = 200
"""


def hollow_by(height: float) -> Callable[[Array], Array]:
    """A face hollow along by so much [m]."""
    return lambda p: height * (2.0 * p[:, 0] / LENGTH) ** 2


def read(face: Callable[[Array], Array], leaves: Sequence[float] | Array = LEAVES) -> Readings:
    """What somebody reads on a face."""
    return Readings(read_face(OUTLINE, face, standard_lines(OUTLINE), leaves, feel=4e-6, seed=1))


def one_line_of_another_face() -> Readings:
    """A hollow of 135 µm, but one diagonal was read on a hollow of 300 µm."""
    lines = list(read(hollow_by(135e-6)).lines)
    lines[4] = read(hollow_by(300e-6)).lines[4]
    return Readings(tuple(lines))


def all_lines_of_two_faces() -> Readings:
    """Every line twice: once on a hollow of 135 µm, once on one of 300 µm."""
    again = tuple(replace(line, name=line.name + " again") for line in read(hollow_by(300e-6)).lines)
    return Readings(read(hollow_by(135e-6)).lines + again)


def nonsense() -> Readings:
    """Two fifths of the readings of a hollow exchanged for any others."""
    rng = np.random.default_rng(3)
    lines = []
    for line in read(hollow_by(135e-6)).lines:
        stations = list(line.stations)
        for k in range(len(stations)):
            if rng.random() < 0.4:
                i = rng.integers(0, len(LEAVES) - 1)
                stations[k] = replace(stations[k], goes=float(LEAVES[i]), stops=float(LEAVES[i + 1]))
        lines.append(replace(line, stations=tuple(stations)))
    return Readings(tuple(lines))


def no_leaf(thinnest: float) -> Readings:
    """A true face, and leaves from so thick on: none goes [m]."""
    return read(lambda p: 0.0 * p[:, 0], [thinnest, 2.0 * thinnest])


def scenario_text(readings: Readings, limit: float = 50.0) -> str:
    """A scenario file of an invented head with these readings, its limit in µm."""
    return HEAD.replace("LIMIT", f"{limit:g}") + "".join(_line_text(line) for line in readings.lines)


def _line_text(line: StraightedgeLine) -> str:
    ends = [f"[{1e3 * u:g}, {1e3 * v:g}]" for u, v in (line.start, line.end)]
    rows = ", ".join(
        f"[{1e3 * s.at:.4f}, {_leaf(s.goes, 'none')}, {_leaf(s.stops, 'open')}]" for s in line.stations
    )
    return (
        f'[[readings.line]]\nname = "{line.name}"\nfrom = {ends[0]}\nto = {ends[1]}\n'
        f'held = "{line.held}"\nstations = [{rows}]\n'
    )


def _leaf(leaf: float, word: str) -> str:
    return f"{1e6 * leaf:g}" if 0.0 < leaf < 1.0 else f'"{word}"'
