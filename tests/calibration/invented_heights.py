"""Invented faces of 0–60 µm, read as tables of heights; none of the kind the survey fits.

Dishes, bows and twists with powers of their own in place of parabolas, rough faces of random
waves with a squared-exponential spectrum, and dishes that are rough besides.  Points lie on a
raster that stops up to a tenth short of the edges and is off by a little everywhere, as a
raster by hand is; heights are read with a normal error and written to its third.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from invented_faces import SIZES, Face

from handlap.sim.common.grid import make_grid
from handlap.sim.common.outline import Array, Outline
from handlap.sim.face.flatness import minimum_zone_widths
from handlap.sim.job.scenario import HeightTable

RASTERS = ((2, 2), (3, 2), (3, 3), (5, 3), (6, 5), (10, 6))
ERRORS = (1e-6, 2e-6, 3e-6, 5e-6, 10e-6, 20e-6)
"""Standard deviations of one height [m]."""
MOST = 60e-6
"""Flatness is uniform from nought to this [m]."""
ROUGH_SHARE = (0.1, 0.4)


def _power(x: Array, p: float) -> Array:
    return np.asarray(np.sign(x) * np.abs(x) ** p)


def _dish(rng: np.random.Generator, length: float, width: float) -> Face:
    centre, pull = rng.uniform(-0.15, 0.15, 2) * [length, width], rng.uniform(0.5, 2.0)
    sign, p = rng.choice([-1.0, 1.0]), rng.uniform(1.6, 3.0)
    size = np.array([length, width * pull])
    return lambda at: sign * np.hypot(*((at - centre) / size).T) ** p


def _bow(rng: np.random.Generator, length: float, width: float) -> Face:
    turn, p, sign = rng.uniform(-0.5, 0.5) * np.pi, rng.uniform(1.6, 3.0), rng.choice([-1.0, 1.0])
    centre = rng.uniform(-0.1, 0.1) * length
    return lambda at: (
        sign * np.abs((at[:, 0] * np.cos(turn) + at[:, 1] * np.sin(turn) - centre) / length) ** p
    )


def _twist(rng: np.random.Generator, length: float, width: float) -> Face:
    p, sign = rng.uniform(0.8, 1.6), rng.choice([-1.0, 1.0])
    bow = 0.2 * rng.standard_normal()

    def face(at: Array) -> Array:
        u, v = 2.0 * at[:, 0] / length, 2.0 * at[:, 1] / width
        return np.asarray(sign * _power(u, p) * _power(v, p) + bow * u**2)

    return face


def _rough(rng: np.random.Generator, length: float, width: float) -> Face:
    reach = rng.uniform(*ROUGH_SHARE) * np.sqrt(length * width)
    waves = rng.standard_normal((400, 2)) / reach
    phase, size = rng.uniform(0, 2 * np.pi, 400), rng.standard_normal(400) / np.sqrt(200.0)
    return lambda at: np.cos(at @ waves.T + phase) @ size


def _rough_dish(rng: np.random.Generator, length: float, width: float) -> Face:
    dish, rough, share = _dish(rng, length, width), _rough(rng, length, width), rng.uniform(0.02, 0.1)
    return lambda at: dish(at) + share * rough(at)


MAKERS: dict[str, Callable[[np.random.Generator, float, float], Face]] = {
    "dish": _dish,
    "bow": _bow,
    "twist": _twist,
    "rough": _rough,
    "rough dish": _rough_dish,
}


@dataclass(frozen=True)
class HeightCase:
    """One invented face, its table of heights and its true flatness [m]."""

    family: str
    outline: Outline
    table: HeightTable
    flatness: float


def read_heights(
    outline: Outline, face: Face, raster: tuple[int, int], sd: float, rng: np.random.Generator
) -> HeightTable:
    """Heights of a face on a raster by hand, with a normal error of ``sd`` [m]."""
    uu, vv = np.meshgrid(np.linspace(-0.5, 0.5, raster[0]), np.linspace(-0.5, 0.5, raster[1]))
    size = np.array([outline.length, outline.width])
    at = np.column_stack([uu.ravel(), vv.ravel()]) * size * rng.uniform(0.9, 1.0)
    at += 0.02 * size * rng.uniform(-1.0, 1.0, at.shape)
    at = np.clip(at, -0.5 * size, 0.5 * size)
    digit = sd / 3.0
    height = digit * np.round((face(at) + sd * rng.standard_normal(len(at))) / digit)
    return HeightTable(at[:, 0], at[:, 1], height, sd, "invented")


def make_height_case(number: int, seed: int) -> HeightCase:
    """Case ``number``: family, raster, error and size follow in turn, all else from the seed."""
    rng = np.random.default_rng([seed, number])
    family = tuple(MAKERS)[number % len(MAKERS)]
    turn = number // len(MAKERS)
    raster = RASTERS[turn % len(RASTERS)]
    sd = ERRORS[(turn // len(RASTERS) + turn) % len(ERRORS)]
    length, width = SIZES[int(rng.integers(len(SIZES)))]
    outline = Outline.rectangular(length, width)
    raw = MAKERS[family](rng, length, width)
    grid = make_grid(outline, cells=2500)
    span = float(minimum_zone_widths(grid.u, grid.v, np.ascontiguousarray(raw(grid.points)[None, :]))[0])
    flatness = float(rng.uniform(0.0, MOST))

    def face(at: Array) -> Array:
        return np.asarray(flatness / span * raw(at))

    return HeightCase(family, outline, read_heights(outline, face, raster, sd, rng), flatness)
