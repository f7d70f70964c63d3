"""What a warped face may look like before anything is measured.

A face is h = Σ c_k·φ_k(u, v) over 93 shapes: low Legendre products (bow, twist, cubic and
quartic bends), a middling and a short random field (sag between bores), and roll-off along
the four sides.  Each coefficient is normal, times log-normal factors that let one shape, or
one family of shapes, dominate.  A plane is not among the shapes: tilt is not a property of a
face.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.polynomial import legendre
from numpy.typing import ArrayLike

from handlap.sim.common.outline import Array, Outline

SCALE = 60e-6
"""Typical size of a coefficient [m]; its own spread is log-normal, sd 0.9."""
SCALE_SPREAD = 0.9
FIELDS = ((0.40, 20, 0.40), (0.16, 45, 0.15))
"""Length over √(L·B), number of shapes and strength of the two random fields [-]."""
FIELD_SPREAD = 0.7
DIGITS = 7
"""Decimals of a shape's value: 1e-7 of 60 µm is far below anything real."""
ROLL_WIDTHS = (10e-3, 20e-3)
ROLL_SCALE = 0.04
ROLL_SPREAD = 1.4
ROLL_MEAN = -0.7
"""Mean of the constant roll-off, in its own sd: edges go down rather than up [-]."""


def low_orders() -> list[tuple[int, int]]:
    """Orders (i, j) of the Legendre products, 2 <= i + j <= 4."""
    return [(n - j, j) for n in (2, 3, 4) for j in range(n + 1)]


def matern(distance: Array, length: float) -> Array:
    """Matérn-5/2 correlation at distances of any shape [m], unit variance."""
    r = np.sqrt(5.0) * distance / length
    found: Array = (1.0 + r + r * r / 3.0) * np.exp(-r)
    return found


def distances(a: Array, b: Array) -> Array:
    """Distances (n, m) between points (n, 2) and (m, 2) [m]."""
    return np.hypot(a[:, None, 0] - b[None, :, 0], a[:, None, 1] - b[None, :, 1])


def legendre_value(order: int, x: Array) -> Array:
    """Legendre polynomial of one order at x (n,), 1 at x = 1."""
    return np.asarray(legendre.legval(x, np.eye(order + 1)[order]))


@dataclass(frozen=True)
class _Field:
    """Leading shapes of a random field, tilt removed, carried from an inner grid to any point."""

    nodes: Array
    length: float
    carry: Array
    plane: Array

    @staticmethod
    def build(outline: Outline, length: float, count: int) -> _Field:
        spacing = min(0.45 * length, 0.2 * min(outline.length, outline.width))
        spacing = max(spacing, np.sqrt(outline.length * outline.width / 500.0))
        nu = max(4, int(np.ceil(outline.length / spacing)) + 1)
        nv = max(4, int(np.ceil(outline.width / spacing)) + 1)
        uu, vv = np.meshgrid(
            np.linspace(-0.5, 0.5, nu) * outline.length, np.linspace(-0.5, 0.5, nv) * outline.width
        )
        nodes = np.column_stack([uu.ravel(), vv.ravel()])
        cover = matern(distances(nodes, nodes), length)
        flat = np.column_stack([np.ones(len(nodes)), nodes])
        q, _ = np.linalg.qr(flat)
        tiltless = cover - q @ (q.T @ cover)
        tiltless = tiltless - (tiltless @ q) @ q.T
        value, vector = np.linalg.eigh(0.5 * (tiltless + tiltless.T))
        count = min(count, len(nodes) - 4)
        value, vector = value[::-1][:count], vector[:, ::-1][:, :count]
        # The sign of an eigenvector is arbitrary: fix it by a direction that has no symmetry.
        vector = vector * np.sign(np.cos(1.7 * np.arange(len(nodes)) + 0.3) @ vector)
        carry = vector / np.sqrt(np.maximum(value, 1e-12))
        plane = np.linalg.lstsq(flat, cover @ carry, rcond=None)[0]
        return _Field(nodes, length, carry, plane)

    def at(self, points: Array) -> Array:
        near = matern(distances(points, self.nodes), self.length) @ self.carry
        return near - np.column_stack([np.ones(len(points)), points]) @ self.plane


def _side_distances(outline: Outline, points: Array) -> Array:
    """Distance (n, 4) of points to the parts of the rim that face −u, +u, −v, +v [m]."""
    found = np.full((len(points), 4), np.inf)
    rim = outline.rim
    for a, b in zip(rim, np.roll(rim, -1, axis=0), strict=True):
        along = b - a
        square = float(along @ along)
        if square == 0.0:
            continue
        out = np.array([along[1], -along[0]])
        side = int(out[0] > 0.0) if abs(out[0]) > abs(out[1]) else 2 + int(out[1] > 0.0)
        t = np.clip((points - a) @ along / square, 0.0, 1.0)
        gap = points - a - t[:, None] * along
        found[:, side] = np.minimum(found[:, side], np.hypot(gap[:, 0], gap[:, 1]))
    return found


@dataclass(frozen=True)
class FaceBasis:
    """The shapes of a face, and how large each may be.

    ``log_scale`` (shapes,), ``spread`` (shapes, amplitudes) and ``mean`` (shapes,) say that
    c_k = exp(log_scale_k + Σ_h spread_kh·w_h)·(z_k + mean_k) [m] with w, z standard normal.
    """

    outline: Outline

    @cached_property
    def _fields(self) -> tuple[_Field, ...]:
        size = np.sqrt(self.outline.length * self.outline.width)
        return tuple(_Field.build(self.outline, share * size, count) for share, count, _ in FIELDS)

    @cached_property
    def _roll_widths(self) -> tuple[float, ...]:
        most = 0.3 * min(self.outline.length, self.outline.width)
        return tuple(min(w, most * w / ROLL_WIDTHS[-1]) for w in ROLL_WIDTHS)

    @cached_property
    def _laws(self) -> tuple[Array, Array, Array]:
        sizes: list[float] = []
        means: list[float] = []
        owners: list[tuple[int, float] | None] = []
        amplitude = 1
        for i, j in low_orders():
            sizes.append(1.2 * (2.0 / (i + 1.15 * j)) ** 2 * (0.75 if j > 0 else 1.0))
            means.append(0.0)
            own = i + j <= 3
            owners.append((amplitude, 0.7) if own else None)
            amplitude += int(own)
        for field, (_, _, strength) in zip(self._fields, FIELDS, strict=True):
            count = field.carry.shape[1]
            sizes += [strength] * count
            means += [0.0] * count
            owners += [(amplitude, FIELD_SPREAD)] * count
            amplitude += 1
        for _ in range(4):
            for _ in self._roll_widths:
                sizes += [ROLL_SCALE * 0.70, ROLL_SCALE * 0.35]
                means += [ROLL_MEAN, 0.0]
                owners += [(amplitude, ROLL_SPREAD)] * 2
        spread = np.zeros((len(sizes), amplitude + 1))
        spread[:, 0] = SCALE_SPREAD
        for k, owner in enumerate(owners):
            if owner is not None:
                spread[k, owner[0]] = owner[1]
        return np.log(SCALE * np.array(sizes)), spread, np.array(means)

    @property
    def log_scale(self) -> Array:
        """ln of the median size of every coefficient (shapes,) [ln m]."""
        return self._laws[0]

    @property
    def spread(self) -> Array:
        """Loading (shapes, amplitudes) of every coefficient on the log-amplitudes [-]."""
        return self._laws[1]

    @property
    def mean(self) -> Array:
        """Mean of z (shapes,) [-]."""
        return self._laws[2]

    @property
    def count(self) -> int:
        """Number of shapes [-]."""
        return int(self.mean.size)

    def at(self, points: ArrayLike) -> Array:
        """Values (n, shapes) of all shapes at points (n, 2) [m], dimensionless."""
        p = np.ascontiguousarray(points, dtype=float).reshape(-1, 2)
        u = 2.0 * p[:, 0] / self.outline.length
        v = 2.0 * p[:, 1] / self.outline.width
        columns = [legendre_value(i, u) * legendre_value(j, v) for i, j in low_orders()]
        blocks = [np.column_stack(columns), *(field.at(p) for field in self._fields)]
        rolls = []
        for side, d in enumerate(_side_distances(self.outline, p).T):
            along = v if side < 2 else u
            for width in self._roll_widths:
                roll = np.maximum(1.0 - d / width, 0.0) ** 2
                rolls += [roll, roll * along]
        # Rounded so that the last bits of one linear algebra library or another, which chains
        # of draws would blow up, do not reach the faces: same seed, same faces.
        return np.ascontiguousarray(np.hstack([*blocks, np.column_stack(rolls)]).round(DIGITS))

    def draw(self, count: int, seed: int) -> Array:
        """Coefficients (count, shapes) of faces as they are before any reading [m]."""
        rng = np.random.default_rng(seed)
        w = rng.standard_normal((count, self.spread.shape[1]))
        z = rng.standard_normal((count, self.count))
        return np.exp(self.log_scale + w @ self.spread.T) * (z + self.mean)
