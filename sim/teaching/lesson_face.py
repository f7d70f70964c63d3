"""The plain starting faces of lessons, evaluated at any points."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from handlap.sim.common.outline import Array, Outline
from handlap.sim.teaching.lesson import StartFace

ROLL_FROM = 0.9
"""Share of the half length beyond which ends and sides roll off [-]."""
WAVES = 12
MOST_TURNS = 1.5
"""Most waves of an uneven face over its length [-]."""


def start_faces(face: StartFace, outline: Outline, points: ArrayLike, *, members: int, seed: int) -> Array:
    """Heights (members, n) of the starting faces of all members at points (n, 2) [m].

    The formula stands at :class:`handlap.sim.teaching.lesson.StartFace`.  Waves depend on the seed
    and on the member only, so all cases of a lesson have the same.

    >>> square = Outline.rectangular(0.2, 0.1)
    >>> start_faces(StartFace(along=-1e-4), square, [[0.0, 0.0], [0.1, 0.0]], members=1, seed=0).tolist()
    [[-0.0001, 0.0]]
    """
    p = np.asarray(points, dtype=float).reshape(-1, 2)
    u, v = 2.0 * p[:, 0] / outline.length, 2.0 * p[:, 1] / outline.width
    h = face.along * (1.0 - u * u) + face.across * (1.0 - v * v) + 0.5 * face.twist * u * v
    h = h - face.corner * np.maximum(0.0, 0.5 * (u + v)) ** 2 - face.rolled * (_roll(u) + _roll(v))
    heights = np.repeat(h[np.newaxis], members, axis=0)
    if face.uneven:
        for member in range(members):
            heights[member] += _waves(face.uneven, u, v, seed, member)
    return heights


def start_face(face: StartFace, outline: Outline, points: ArrayLike, *, seed: int) -> Array:
    """The starting face (n,) of the first member [m]."""
    return np.asarray(start_faces(face, outline, points, members=1, seed=seed)[0])


def _roll(x: Array) -> Array:
    return np.maximum((np.abs(x) - ROLL_FROM) / (1.0 - ROLL_FROM), 0.0) ** 2


def _waves(height: float, u: Array, v: Array, seed: int, member: int) -> Array:
    """Waves (n,) of about this height between crest and trough [m]: four standard deviations."""
    rng = np.random.default_rng([seed, 13, member])
    numbers = np.pi * MOST_TURNS * rng.uniform(-1.0, 1.0, (2, WAVES))
    phases = 2.0 * np.pi * rng.random(WAVES)
    sum_of = np.cos(np.outer(u, numbers[0]) + np.outer(v, numbers[1]) + phases).sum(axis=1)
    found: Array = height / 4.0 * sum_of / np.sqrt(WAVES / 2.0)
    return found
