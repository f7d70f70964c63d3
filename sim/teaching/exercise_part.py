"""Invented parts for exercises: outline, metal, mass and bench as keys of a scenario file.

Sizes, limits and leaves are such as occur in practice (common practice, from memory); no part
of a real maker is meant.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from handlap.sim.materials import metals

PartKeys = dict[str, Any]
Openings = list[dict[str, Any]]


@dataclass(frozen=True)
class PartKind:
    """One kind of part: name, metals it is made of, mean thickness of its metal [m], its outline [mm]."""

    name: str
    metals: tuple[str, ...]
    thick: tuple[float, float]
    outline: Callable[[np.random.Generator], tuple[int, int, Openings]]
    grits: tuple[str, ...] = ("P80", "P120", "P240")


def _step(rng: np.random.Generator, low: int, high: int, step: int) -> int:
    """A multiple of ``step`` from ``low`` to ``high``."""
    return int(low + step * rng.integers(0, (high - low) // step + 1))


def _circle(u: float, v: float, diameter: float) -> dict[str, Any]:
    return {"circle": [round(x, 1) for x in (float(u), float(v), float(diameter))]}


def _corners(length: int, width: int, inset: float, diameter: float) -> Openings:
    u, v = 0.5 * length - inset, 0.5 * width - inset
    return [_circle(a * u, b * v, diameter) for a in (-1, 1) for b in (-1, 1)]


def _head(rng: np.random.Generator) -> tuple[int, int, Openings]:
    width, bores = _step(rng, 120, 150, 5), int(rng.integers(2, 5))
    diameter = round(0.5 * width)
    pitch = diameter + _step(rng, 10, 16, 2)
    length = bores * pitch + 56
    at = [(i - 0.5 * (bores - 1)) * pitch for i in range(bores)]
    holes = [_circle(u, 0.0, diameter) for u in at]
    between = [0.5 * (a + b) for a, b in pairwise(at)]
    holes += [_circle(u, side * (0.5 * width - 14), 10) for u in between for side in (-1, 1)]
    return length, width, holes + _corners(length, width, 13, 10)


def _pump_cover(rng: np.random.Generator) -> tuple[int, int, Openings]:
    length, width = _step(rng, 140, 190, 10), _step(rng, 95, 130, 5)
    holes = [_circle(0, 0, round(0.42 * width)), *_corners(length, width, 11, 8)]
    return length, width, holes + [_circle(0, side * (0.5 * width - 10), 8) for side in (-1, 1)]


def _long_flange(rng: np.random.Generator) -> tuple[int, int, Openings]:
    ports, width = int(rng.integers(3, 5)), _step(rng, 62, 80, 2)
    pitch = _step(rng, 78, 92, 2)
    length = ports * pitch + 24
    at = [(i - 0.5 * (ports - 1)) * pitch for i in range(ports)]
    holes = [_circle(u, 0.0, 34) for u in at]
    studs = [0.5 * (a + b) for a, b in pairwise(at)]
    holes += [_circle(u, side * (0.5 * width - 12), 9) for u in studs for side in (-1, 1)]
    return length, width, holes


def _gearbox_cover(rng: np.random.Generator) -> tuple[int, int, Openings]:
    length, width = _step(rng, 200, 290, 10), _step(rng, 130, 180, 10)
    a, b = round(0.26 * length), round(0.2 * width)
    window = {"polygon": [[-a, -b], [a, -b], [a, b], [-a, b]]}
    holes = _corners(length, width, 12, 9)
    return length, width, [window, *holes, *(_circle(0, side * (0.5 * width - 11), 9) for side in (-1, 1))]


def _sole(rng: np.random.Generator) -> tuple[int, int, Openings]:
    length, width = _step(rng, 240, 350, 10), _step(rng, 56, 70, 2)
    u, v = round(0.2 * length), round(0.38 * width)
    return length, width, [{"polygon": [[u, -v], [u + 5, -v], [u + 5, v], [u, v]]}]


KINDS: tuple[PartKind, ...] = (
    PartKind("engine head", ("A356", "A319", "grey iron"), (0.030, 0.045), _head),
    PartKind("pump cover", ("A380", "A356", "bronze"), (0.012, 0.020), _pump_cover),
    PartKind("inlet flange", ("A356", "6061"), (0.012, 0.016), _long_flange),
    PartKind("gearbox cover", ("A380", "grey iron"), (0.014, 0.022), _gearbox_cover),
    PartKind(
        "plane sole", ("grey iron", "ductile iron"), (0.010, 0.014), _sole, grits=("P80", "P120", "P180")
    ),
)  # fmt: skip


def invent_part(rng: np.random.Generator) -> PartKeys:
    """An invented part with its bench, as nested keys of a scenario file in mm, µm, kg.

    Limit, allowance and leaves are left to the exercise.
    """
    kind = KINDS[int(rng.integers(len(KINDS)))]
    length, width, openings = kind.outline(rng)
    metal = kind.metals[int(rng.integers(len(kind.metals)))]
    solid = length * width - sum(_area(opening) for opening in openings)
    mass = 1e-6 * solid * rng.uniform(*kind.thick) * metals.find(metal).density
    return {
        "part": {
            "name": kind.name,
            "length": length,
            "width": width,
            "metal": metal,
            "mass": float(f"{mass:.2g}"),
            "openings": openings,
        },
        "plate": {"length": max(450, 30 * math.ceil((length + 150) / 30)), "width": 300},
        "paper": {"grits": list(kind.grits), "wet": bool(rng.integers(2))},
        "hands": {"press": ("firm", "firm", "heavy")[int(rng.integers(3))], "height": _step(rng, 20, 50, 5)},
        "strokes": {"pattern": "straight", "direction": "along", "length": _step(rng, 100, 150, 10)},
    }


def _area(opening: dict[str, Any]) -> float:
    """Area of an opening [mm²]."""
    if "circle" in opening:
        return float(0.25 * math.pi * opening["circle"][2] ** 2)
    (left, low), _, (right, high), _ = opening["polygon"]
    return float((right - left) * (high - low))
