"""What a face may be like before its heights are read, and what a table of heights leaves of that.

The face is a plane of any tilt, plus three bends (bow along, bow across, twist), plus a
Matérn-5/2 field for all that is no bend.  How large each bend is, how strong and how long the
field, and how good the readings are, is not fitted but carried: each has a prior, a grid is
laid over all of them, and the faces of an ensemble each take one point of the grid, drawn by
how well it explains the table (restricted likelihood; the plane and the bends are integrated
out in closed form).  One fit would claim to know them: where the warp is near the reading
error, the best fit is no warp at all.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from handlap.sim.common.outline import Array, Outline
from handlap.sim.face.face_prior import distances, matern

BEND = 15e-6
"""Typical size of a bend, at its greatest over the face [m].  Ours, as all sizes and spreads here:
flatness from some 5 to 200 µm, nine times in ten."""
FIELD = 4e-6
"""Typical root mean square of the field, its own plane taken off [m]."""
COMMON_SPREAD = 1.2
"""Spread (ln) that bends and field share: a face is flat or warped as a whole [-]."""
BEND_SPREAD = 1.1
"""Spread (ln) of each bend by itself: no twist does not mean no bow [-]."""
FIELD_SPREAD = 1.0
SHARES = (0.12, 0.2, 0.33, 0.55, 0.9, 1.5)
"""Correlation lengths of the field, over √(length · width) of the face; each as likely [-]."""
ERROR_SPREAD, ASSUMED_SPREAD = 0.3, 0.5
"""Spread (ln) of the reading error, as stated and where it had to be assumed [-]."""
BEND_STEPS = np.linspace(-2.4, 2.4, 7)
ERROR_STEPS = np.linspace(-2.0, 2.0, 5)
"""Points of the grid for bends and reading error, in spreads from the middle [-]."""
LEAST, MOST, STEP = 1e-9, 5e-3, 0.35
"""Root mean squares of the field on the grid: from, to [m], steps (ln)."""
LEAST_ERROR = 1e-9
"""A table taken as exact is weighed with this error: keeps the likelihood finite [m]."""
FIT_POINTS = 500
"""Points that are weighed, picked at random from larger tables."""
NUGGET = 1e-10
"""Least noise variance over the variance of the field: keeps the solution stable [-]."""
NODES = 12
"""Nodes along and across on which the field's own plane is taken off."""


@dataclass(frozen=True)
class Fields:
    """The unknowns behind each face of an ensemble.

    Attributes
    ----------
    length, strength : correlation length and standard deviation (count,) of the field [m]
    error : standard deviation (count,) of one height [m]
    bend : standard deviation (count, 3) of bow along, bow across and twist [m]
    """

    length: Array
    strength: Array
    error: Array
    bend: Array


def plane_and_bends(points: Array, outline: Outline) -> Array:
    """A plane's three terms, then bow along, bow across and twist, (n, 6) at points (n, 2) [m].

    Dimensionless, each bend 1 where it is greatest over the face.
    """
    u, v = 2.0 * points[:, 0] / outline.length, 2.0 * points[:, 1] / outline.width
    return np.column_stack([np.ones(len(points)), u, v, u * u, v * v, u * v])


def _over_plane(outline: Outline, length: float) -> float:
    """Root mean square of a field of unit variance over the face, its own plane taken off [-]."""
    side = np.linspace(-0.5, 0.5, NODES)
    uu, vv = np.meshgrid(side * outline.length, side * outline.width)
    nodes = np.column_stack([uu.ravel(), vv.ravel()])
    cover = matern(distances(nodes, nodes), length)
    q, _ = np.linalg.qr(plane_and_bends(nodes, outline)[:, :3])
    return float(np.sqrt((np.trace(cover) - np.trace(q.T @ cover @ q)) / len(nodes)))


@dataclass(frozen=True)
class _Contrasts:
    """What a table says whatever the plane: its heights in n − 3 directions free of any plane.

    ``free`` (n, n − 3) are the directions; ``weight`` (n,) makes all readings equally good;
    ``y`` (n − 3,) are the heights [m] and ``bends`` (n − 3, 3) the bends in them.
    """

    points: Array
    weight: Array
    free: Array
    y: Array
    bends: Array

    @staticmethod
    def of(points: Array, heights: Array, repeats: Array, outline: Outline) -> _Contrasts:
        if len(points) > FIT_POINTS:
            pick = np.sort(np.random.default_rng(0).permutation(len(points))[:FIT_POINTS])
            points, heights, repeats = points[pick], heights[pick], repeats[pick]
        weight = np.sqrt(repeats)
        terms = weight[:, None] * plane_and_bends(points, outline)
        q, _ = np.linalg.qr(terms[:, :3], mode="complete")
        free = q[:, 3:]
        # The level is taken off first, for it may be thousands of times the warp.
        y = free.T @ (weight * (heights - heights.mean()))
        return _Contrasts(points, weight, free, y, free.T @ terms[:, 3:])

    def likelihood(self, length: float, strength: Array, error: Array, bend: Array) -> Array:
        """Log likelihood (strengths, errors, sets of bends), but for a constant.

        Parameters
        ----------
        length : of the field [m]
        strength, error : standard deviations of the field (a,) and of one height (e,) [m]
        bend : standard deviations (t, 3) of the bends [m]
        """
        cover = self.weight[:, None] * matern(distances(self.points, self.points), length) * self.weight
        value, vector = np.linalg.eigh(self.free.T @ cover @ self.free)
        value = np.maximum(value, 0.0) + NUGGET
        y, bends = vector.T @ self.y, vector.T @ self.bends
        noise = np.maximum(error, LEAST_ERROR) ** 2
        variance = strength[:, None, None] ** 2 * value + noise[:, None]
        without = np.log(variance).sum(axis=-1) + (y**2 / variance).sum(axis=-1)
        between = np.einsum("mi,mj,aem->aeij", bends, bends, 1.0 / variance)
        toward = np.einsum("mi,m,aem->aei", bends, y, 1.0 / variance)
        found: Array = -0.5 * (without[:, :, None] + _bends_free(between, toward, bend))
        return found


def _bends_free(between: Array, toward: Array, bend: Array) -> Array:
    """What bends of given sizes add to −2·log likelihood, (strengths, errors, sets).

    ``between`` (a, e, 3, 3) and ``toward`` (a, e, 3) are products of the bends with themselves
    and with the heights over the variance; ``bend`` (t, 3) their sizes.  Gaussian elimination of
    I + T·G·T written out, for hundreds of thousands of small systems at once.
    """
    size = bend.T
    g = {
        (i, j): between[:, :, None, i, j] * size[i] * size[j]
        for i, j in ((0, 0), (0, 1), (0, 2), (1, 1), (1, 2), (2, 2))
    }
    b = [toward[:, :, None, i] * size[i] for i in range(3)]
    first = 1.0 + g[0, 0]
    down, far = g[0, 1] / first, g[0, 2] / first
    # At least 1 but for rounding, which matters where a table cannot tell one bend from another.
    second = np.maximum(1.0 + g[1, 1] - down * g[0, 1], 1.0)
    cross = (g[1, 2] - far * g[0, 1]) / second
    third = np.maximum(1.0 + g[2, 2] - far * g[0, 2] - cross * cross * second, 1.0)
    x = b[1] - down * b[0]
    z = b[2] - far * b[0] - cross * x
    explained = b[0] ** 2 / first + x**2 / second + z**2 / third
    return np.asarray(np.log(first * second * third) - explained)


def _sizes() -> tuple[Array, Array, Array]:
    """Bends (t, 3) and strengths (a,) of the grid [m], and the log prior (a, t) of their pairs."""
    off = BEND_STEPS * np.hypot(COMMON_SPREAD, BEND_SPREAD)
    bends = np.stack(np.meshgrid(off, off, off, indexing="ij"), axis=-1).reshape(-1, 3)
    field = np.arange(np.log(LEAST), np.log(MOST), STEP)
    apart = np.diag([BEND_SPREAD**2] * 3 + [FIELD_SPREAD**2])
    precision = np.linalg.inv(COMMON_SPREAD**2 + apart)
    x = np.empty((len(field), len(bends), 4))
    x[:, :, :3] = bends
    x[:, :, 3] = (field - np.log(FIELD))[:, None]
    return BEND * np.exp(bends), np.exp(field), -0.5 * np.einsum("ati,ij,atj->at", x, precision, x)


def possible_fields(
    points: Array,
    heights: Array,
    repeats: Array,
    outline: Outline,
    *,
    error: float,
    spread: float,
    count: int,
    seed: int,
    distinct: int | None = None,
) -> Fields:
    """Unknowns that could be behind a table, ``count`` of them, all equally likely.

    Parameters
    ----------
    points, heights, repeats : measured points (n, 2), mean heights (n,) [m], readings of each (n,)
    outline : the face
    error : standard deviation of one height [m]; 0: the table is the face at its points
    spread : how well that is known, as a spread (ln) [-]
    count : how many; 1 gives the likeliest
    seed : same seed, same unknowns
    distinct : how many of them may differ; None: all
    """
    table = _Contrasts.of(points, heights, repeats, outline)
    bends, strengths, prior = _sizes()
    steps = ERROR_STEPS if error > 0.0 else np.zeros(1)
    errors = error * np.exp(spread * steps)
    lengths = np.array(SHARES) * np.sqrt(outline.length * outline.width)
    field = strengths / np.array([[_over_plane(outline, length)] for length in lengths])
    weight = np.stack([table.likelihood(x, a, errors, bends) for x, a in zip(lengths, field, strict=True)])
    weight += prior[:, None, :] - 0.5 * steps[:, None] ** 2
    if count == 1:
        picked = np.array([int(np.argmax(weight))])
    else:
        rng = np.random.default_rng([seed, 2])
        some = min(count, distinct or count)
        total = np.cumsum(np.exp(weight - weight.max()))
        # Evenly through the heap of chances: fewer accidents than drawing each alone.
        picked = np.searchsorted(total, (np.arange(some) + rng.random()) / some * total[-1])
        picked = rng.permutation(np.minimum(picked, total.size - 1)[np.arange(count) * some // count])
    which, strong, wrong, bent = np.unravel_index(picked, weight.shape)
    return Fields(lengths[which], field[which, strong], errors[wrong], bends[bent])
