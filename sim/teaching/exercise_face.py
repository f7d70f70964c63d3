"""The true face of an exercise: bows, twist, rolled ends and ripple in closed form, and its figures.

Heights are positive where proud.  With U = 2u/L and V = 2v/B from -1 to 1::

    h = along·(1 - U²) + across·(1 - V²) + twist·U·V/2
        - ends·roll(U) - sides·roll(V) + Σ ripple·cos(a·U + b·V + c)

where roll(x) = ((|x| - 0.85)/0.15)² over the outer fifteen hundredths and 0 elsewhere.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from handlap.sim.common.grid import make_grid
from handlap.sim.common.outline import Array, Outline
from handlap.sim.face.face_numbers import Word, face_numbers, name_shapes
from handlap.sim.face.straightedge import sample_lines
from handlap.sim.job.scenario import LimitBy

CELLS = 1500
GREATEST_HEIGHT, MOST_WAVES, MOST_RIPPLE = 5e-3, 12, 100.0
"""Heights of a face kept in a file [m], its waves, and the numbers of one: far more than any invented."""
ROLL_FROM = 0.85
"""Share of the half length beyond which ends roll off [-]."""


@dataclass(frozen=True)
class TrueFace:
    """A face known exactly.

    Attributes
    ----------
    length, width : of the face [m]
    along, across : middle over both ends (both sides), + crowned, - hollow [m]
    twist : minimum zone of the twist, + = corners (+u, +v) and (-u, -v) proud [m]
    ends, sides : how far ends and sides are rolled off at the very edge [m]
    ripple : waves as (height [m], a, b, c), see the module
    """

    length: float
    width: float
    along: float = 0.0
    across: float = 0.0
    twist: float = 0.0
    ends: float = 0.0
    sides: float = 0.0
    ripple: tuple[tuple[float, float, float, float], ...] = ()

    def heights_at(self, points: ArrayLike) -> Array:
        """Heights (n,) at points (n, 2) [m].

        >>> TrueFace(0.2, 0.1, along=-1e-4).heights_at([[0.0, 0.0], [0.1, 0.0]]).tolist()
        [-0.0001, 0.0]
        """
        p = np.asarray(points, dtype=float).reshape(-1, 2)
        u, v = 2.0 * p[:, 0] / self.length, 2.0 * p[:, 1] / self.width
        h = self.along * (1.0 - u * u) + self.across * (1.0 - v * v) + 0.5 * self.twist * u * v
        h -= self.ends * _roll(u) + self.sides * _roll(v)
        for height, a, b, c in self.ripple:
            h += height * np.cos(a * u + b * v + c)
        return h

    def scaled(self, factor: float) -> TrueFace:
        """The same face with all heights times ``factor``."""
        names = ("along", "across", "twist", "ends", "sides")
        ripple = tuple((height * factor, a, b, c) for height, a, b, c in self.ripple)
        return replace(self, ripple=ripple, **{name: factor * getattr(self, name) for name in names})

    def as_mapping(self) -> dict[str, Any]:
        """All numbers, for a file."""
        return asdict(self)

    @staticmethod
    def of(mapping: Mapping[str, Any]) -> TrueFace:
        """The face that :meth:`as_mapping` wrote down.

        Raises
        ------
        KeyError, TypeError, ValueError : for what it would never write
        """
        ripple = tuple((float(h), float(a), float(b), float(c)) for h, a, b, c in mapping["ripple"])
        numbers = {k: float(x) for k, x in mapping.items() if k != "ripple"}
        face = TrueFace(**numbers, ripple=ripple)
        heights = (face.along, face.across, face.twist, face.ends, face.sides, *(wave[0] for wave in ripple))
        waves = (x for wave in ripple for x in wave[1:])
        sound = face.length > 0.0 and face.width > 0.0 and len(ripple) <= MOST_WAVES
        sound = sound and all(abs(h) <= GREATEST_HEIGHT for h in heights)
        if not sound or not all(abs(x) <= MOST_RIPPLE for x in (*waves, face.length, face.width)):
            raise ValueError("no face of an exercise")
        return face


def _roll(x: Array) -> Array:
    return np.maximum((np.abs(x) - ROLL_FROM) / (1.0 - ROLL_FROM), 0.0) ** 2


@dataclass(frozen=True)
class TrueNumbers:
    """Figures of a face known exactly [m].

    Attributes
    ----------
    flatness : minimum zone
    straightedge : worst gap over the six standard lines
    least_cut : mean depth that has to come off, at the best tilt, before the lowest spot is reached
    bow_along, bow_across, twist : + crowned, + crowned, + far right and near left corners proud
    word : the shape in a word
    """

    flatness: float
    straightedge: float
    least_cut: float
    bow_along: float
    bow_across: float
    twist: float
    word: Word

    def measure(self, limit_by: LimitBy) -> float:
        """The figure that a limit is held against [m]."""
        return self.straightedge if limit_by == "straightedge" else self.flatness


def true_numbers(outline: Outline, face: TrueFace) -> TrueNumbers:
    """Figures of a true face on an outline, on some 1500 cells with the very edge among the points."""
    grid = make_grid(outline, cells=CELLS)
    on_lines = face.heights_at(sample_lines(outline).points)[np.newaxis]
    found = face_numbers(outline, grid, face.heights_at(grid.points)[np.newaxis], on_lines)
    return TrueNumbers(
        flatness=float(found.flatness[0]),
        straightedge=float(found.straightedge[0]),
        least_cut=float(found.depth_to_clear[0]),
        bow_along=float(found.bow_along[0]),
        bow_across=float(found.bow_across[0]),
        twist=float(found.twist[0]),
        word=name_shapes(found.bow_along, found.bow_across, found.twist)[0],
    )
