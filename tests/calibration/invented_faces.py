"""Invented warped faces from six families, none of them the one the survey fits.

Every face is a function of points (n, 2) [m] to heights (n,) [m]; sizes, openings, leaves and
warps are drawn at random, flatness log-uniform over 20–400 µm.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from handlap.sim.common.grid import make_grid
from handlap.sim.common.outline import Array, Outline, circle
from handlap.sim.face.face_numbers import depth_to_clear
from handlap.sim.face.flatness import minimum_zone_widths
from handlap.sim.face.leaf_readings import read_face
from handlap.sim.face.straightedge import FaceLine, greatest_gap, sample_lines, standard_lines
from handlap.sim.job.scenario import StraightedgeLine

SIZES = ((0.240, 0.140), (0.440, 0.150), (0.356, 0.060))
THOU = 25.4e-6
LEAVES = (
    np.array([20, 30, 40, 50, 60, 70, 80, 90, 100, 150, 200, 250, 300, 400, 500]) * 1e-6,
    np.array([30, 40, 50, 60, 80, 100, 120, 150, 200, 250, 300, 400, 500, 700]) * 1e-6,
    np.array([50, 100, 150, 200, 250, 300, 400, 500]) * 1e-6,
    np.array([1.5, 2, 2.5, 3, 4, 5, 6, 7, 8, 9, 10, 12, 15, 20]) * THOU,
)
TRUE_FEEL = 4e-6
Face = Callable[[Array], Array]
FAMILIES = ("cosines", "thermal bow", "sag between bores", "roll-off", "random field", "dropped corner")


def _cosines(rng: np.random.Generator, length: float, width: float) -> Face:
    n = int(rng.integers(2, 5))
    waves = rng.uniform(-1.0, 1.0, (n, 2)) * np.pi * np.array([1.6 / length, 1.2 / width])
    phase, size = rng.uniform(0, 2 * np.pi, n), rng.standard_normal(n)
    return lambda p: np.cos(p @ waves.T + phase) @ size


def _thermal_bow(rng: np.random.Generator, length: float, width: float) -> Face:
    sign = rng.choice([-1.0, 1.0])
    spot = rng.uniform(-0.35, 0.35, 2) * [length, width]
    reach = rng.uniform(0.15, 0.4) * length
    local, pull = rng.uniform(0.0, 0.5), rng.uniform(0.3, 1.0)
    return lambda p: (
        sign
        * (
            (2 * p[:, 0] / length) ** 2
            + pull * (2 * p[:, 1] / length) ** 2
            + local * np.exp(-((p - spot) ** 2).sum(axis=1) / (2 * reach**2))
        )
    )


def _bore_centres(length: float, width: float) -> Array:
    n = max(2, round(length / (1.05 * min(width, 0.1))))
    return np.column_stack([(np.arange(n) + 0.5) / n * length * 0.92 - 0.46 * length, np.zeros(n)])


def _sag_between_bores(rng: np.random.Generator, length: float, width: float) -> Face:
    centres = _bore_centres(length, width)[:, 0]
    webs = 0.5 * (centres[1:] + centres[:-1])
    depth = rng.uniform(0.3, 1.0, webs.size)
    bow, reach = rng.uniform(-1.5, 1.5), rng.uniform(0.010, 0.018)
    across = 0.35 * width

    def face(p: Array) -> Array:
        dips = np.exp(-((p[:, :1] - webs) ** 2) / (2 * reach**2)) @ depth
        return bow * (2 * p[:, 0] / length) ** 2 - dips * np.exp(-(p[:, 1] ** 2) / (2 * across**2))

    return face


def _roll_off(rng: np.random.Generator, length: float, width: float) -> Face:
    reach = rng.uniform(5e-3, 12e-3)
    drop = rng.uniform(0.1, 0.6)
    bow, twist = rng.standard_normal(2) * [1.0, 0.4]

    def face(p: Array) -> Array:
        edge = np.minimum(0.5 * length - np.abs(p[:, 0]), 0.5 * width - np.abs(p[:, 1]))
        u, v = 2 * p[:, 0] / length, 2 * p[:, 1] / width
        return bow * u**2 + twist * u * v - drop * np.exp(-np.maximum(edge, 0.0) / reach)

    return face


def _random_field(rng: np.random.Generator, length: float, width: float) -> Face:
    # Squared-exponential, not the Matérn of the fitted family, by 400 random waves.
    reach = rng.uniform(0.25, 0.6) * np.sqrt(length * width)
    waves = rng.standard_normal((400, 2)) / reach
    phase, size = rng.uniform(0, 2 * np.pi, 400), rng.standard_normal(400)
    return lambda p: np.cos(p @ waves.T + phase) @ size


def _dropped_corner(rng: np.random.Generator, length: float, width: float) -> Face:
    su, sv = rng.choice([-1.0, 1.0], 2)
    start, power = rng.uniform(0.0, 0.8), rng.uniform(1.2, 2.0)
    bow = 0.15 * rng.standard_normal()

    def face(p: Array) -> Array:
        toward = su * 2 * p[:, 0] / length + sv * 2 * p[:, 1] / width
        return bow * (2 * p[:, 0] / length) ** 2 - np.maximum(toward - start, 0.0) ** power

    return face


MAKERS = dict(
    zip(
        FAMILIES,
        (_cosines, _thermal_bow, _sag_between_bores, _roll_off, _random_field, _dropped_corner),
        strict=True,
    )
)


@dataclass(frozen=True)
class Case:
    """One invented face with its readings and its true figures [m]."""

    family: str
    outline: Outline
    height_at: Face
    lines: tuple[StraightedgeLine, ...]
    flatness: float
    straightedge: float
    depth_to_clear: float


def make_case(number: int, seed: int, least: float = 20e-6, most: float = 400e-6, lines: int = 8) -> Case:
    """Case ``number``: its family, size and leaves follow in turn, all else from the seed."""
    rng = np.random.default_rng([seed, number])
    family = FAMILIES[number % len(FAMILIES)]
    length, width = SIZES[(number // len(FAMILIES)) % len(SIZES)]
    leaves = LEAVES[int(rng.integers(len(LEAVES)))]
    openings: tuple[Array, ...] = ()
    if family == "sag between bores" or rng.random() < 0.4:
        centres = _bore_centres(length, width)
        bore = 0.75 * min(np.diff(centres[:, 0]).min() - 10e-3, width - 0.02)
        openings = tuple(circle(u, v, bore) for u, v in centres)
    outline = Outline.rectangular(length, width, openings)
    raw = MAKERS[family](rng, length, width)
    grid = make_grid(outline, cells=2500)
    at = np.ascontiguousarray(raw(grid.points)[None, :])
    wanted_flatness = float(np.exp(rng.uniform(np.log(least), np.log(most))))
    scale = wanted_flatness / float(minimum_zone_widths(grid.u, grid.v, at)[0])

    def height_at(points: Array) -> Array:
        return scale * raw(points)

    wanted = standard_lines(outline)
    wanted += [
        FaceLine("along the middle", (-length / 2, 0.0), (length / 2, 0.0)),
        FaceLine("across the middle", (0.0, -width / 2), (0.0, width / 2)),
    ]
    wanted = wanted[:lines]
    heights = scale * at
    under = sample_lines(outline)
    return Case(
        family,
        outline,
        height_at,
        read_face(outline, height_at, wanted, leaves, feel=TRUE_FEEL, seed=int(rng.integers(2**31))),
        float(minimum_zone_widths(grid.u, grid.v, heights)[0]),
        float(greatest_gap(under, height_at(under.points))[0]),
        float(depth_to_clear(grid, heights)[0]),
    )
