"""From a photo to the face in it: marks that are known on both, the view they make, the face straightened.

Four marks or more, of which no three lie on one line, fix how a plane is seen (a homography; the direct
linear transformation, Hartley and Zisserman 2004, algorithm 4.2): three would leave the perspective open.
Whether a camera can have seen a rectangle so is then asked of the view itself: pixels are square, the lens
looks through the middle of the picture, so its two columns have to stand square to one another and be as
long (the same book, section 8.8).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from handlap.sim.bench.photo_file import Photo
from handlap.sim.common.outline import Array, Outline

CORNERS = ("far left", "far right", "near right", "near left")
"""In the order in which they are given: round the face as the clock goes, seen from above."""
FEWEST = 4
STEEPEST = np.radians(55.0)
"""A view more slanting than this is not read [rad]."""
MOST_SKEW = 0.10
"""What a view may differ from one that a camera can have: cosine and logarithm of lengths together [-].
Taps that miss by a finger's width of a percent or two stay below it."""
LENSES = np.geomspace(0.4, 8.0, 80)
"""Lengths of lenses that are tried, over the diagonal of the picture: from very wide to far cropped [-]."""
LEAST_SHARE = 0.01
"""The face has to fill at least this share of the picture [-]."""
STRAIGHT = 480
"""Pixels along the straightened face."""
MARGIN = 0.06
"""Shown around the face, over its length [-]."""
TRIES = 6


class NoView(ValueError):
    """The marks make no view of the face; says why and what to do."""


@dataclass(frozen=True)
class PhotoMark:
    """A place known on the face and in the picture.

    ``place`` (2,) on the face [m]; ``pixel`` (2,); ``ring``: outline (k, 2) of an opening whose middle is
    meant, for the middle of what is seen of it is not where its middle is seen.
    """

    name: str
    place: Array
    pixel: Array
    ring: Array | None = None


@dataclass(frozen=True)
class PhotoView:
    """How the face is seen.

    ``matrix`` (3, 3): from (u, v, 1) [m] to pixels; ``tilt``: between the line of sight and the normal of
    the face [rad]; ``skew``: what the view differs from one that a camera can have [-].
    """

    matrix: Array
    tilt: float
    skew: float

    def pixels(self, points: Array) -> Array:
        """Pixels (k, 2) of points (k, 2) [m]."""
        return _mapped(self.matrix, points)

    def places(self, pixels: Array) -> Array:
        """Points (k, 2) [m] of pixels (k, 2)."""
        return _mapped(np.asarray(np.linalg.inv(self.matrix), dtype=float), pixels)


@dataclass(frozen=True)
class Straight:
    """The face straightened.

    Attributes
    ----------
    colours : coded colours (rows, columns, 3), 0 … 1, the far side above; NaN where the picture ends
    u, v : places of columns, of rows [m]
    spacing : between them [m]
    """

    colours: Array
    u: Array
    v: Array
    spacing: float

    @property
    def points(self) -> Array:
        """Places (rows·columns, 2) [m]."""
        u, v = np.meshgrid(self.u, self.v)
        return np.column_stack([u.ravel(), v.ravel()])


def corner_places(outline: Outline) -> Array:
    """The corners (4, 2) of a face, in the order of ``CORNERS`` [m].

    Raises
    ------
    NoView : if its rim has no point near one of them
    """
    u, v = 0.5 * outline.length, 0.5 * outline.width
    places = np.array([[-u, v], [u, v], [u, -v], [-u, -v]])
    rim = outline.rim
    away = [float(np.hypot(*(rim - place).T).min()) for place in places]
    if max(away) > 0.01 * max(outline.length, outline.width):
        which = CORNERS[int(np.argmax(away))]
        raise NoView(
            f"the rim of this part has no {which} corner: give the middles of four openings in place of "
            "corners"
        )
    return places


def _mapped(matrix: Array, points: Array) -> Array:
    found = np.column_stack([points, np.ones(len(points))]) @ matrix.T
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(found[:, :2] / found[:, 2:])


def _to_unit(points: Array) -> Array:
    """A similarity (3, 3) that brings points about the origin, at a mean distance of √2."""
    middle = points.mean(axis=0)
    scale = np.sqrt(2.0) / max(float(np.hypot(*(points - middle).T).mean()), 1e-12)
    return np.array([[scale, 0.0, -scale * middle[0]], [0.0, scale, -scale * middle[1]], [0.0, 0.0, 1.0]])


def homography(places: Array, pixels: Array) -> Array:
    """The matrix (3, 3) that takes places (k, 2) nearest to pixels (k, 2), k ≥ 4.

    >>> square = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
    >>> _mapped(homography(square, 10.0 * square + 5.0), np.array([[0.5, 0.25]])).round(9).tolist()
    [[10.0, 7.5]]
    """
    here, there = _to_unit(places), _to_unit(pixels)
    a, b = _mapped(here, places), _mapped(there, pixels)
    rows = []
    for (u, v), (x, y) in zip(a, b, strict=True):
        rows.append([u, v, 1.0, 0.0, 0.0, 0.0, -x * u, -x * v, -x])
        rows.append([0.0, 0.0, 0.0, u, v, 1.0, -y * u, -y * v, -y])
    found = np.linalg.svd(np.array(rows))[2][-1].reshape(3, 3)
    matrix = np.linalg.inv(there) @ found @ here
    return np.asarray(matrix / np.linalg.norm(matrix[:, 2]))


def find_view(outline: Outline, marks: Sequence[PhotoMark], size: tuple[int, int]) -> PhotoView:
    """The view that marks make, if a camera can have seen the face so.

    Parameters
    ----------
    size : columns and rows of the picture

    Raises
    ------
    NoView : if they are too few, on one line, mirrored, in another order, or make no such view
    """
    if len(marks) < FEWEST:
        raise NoView(
            f"{len(marks)} mark{'s' if len(marks) != 1 else ''}; four or more are needed, for three leave "
            "the perspective open"
        )
    for mark in marks:
        if not (0.0 <= mark.pixel[0] <= size[0] and 0.0 <= mark.pixel[1] <= size[1]):
            raise NoView(
                f"{mark.name} at {_at(mark.pixel)} is outside the picture of {size[0]} × {size[1]} pixels"
            )
    places, pixels = (np.array([getattr(m, of) for m in marks]) for of in ("place", "pixel"))
    for of, points in (("on the face", places), ("in the picture", pixels)):
        if _most_spread(points) < 0.03:
            raise NoView(
                f"the marks lie on one line {of}, or two of them at one place: take others, far apart"
            )
    if len(marks) == FEWEST:
        _right_way_round(marks, places, pixels)
    matrix = homography(places, pixels)
    aimed = pixels.copy()
    for _ in range(TRIES):
        # The middle of a ring in the picture is off the middle of the ring by its own size and the slant.
        for k, mark in enumerate(marks):
            if mark.ring is not None:
                seen = _mapped(matrix, mark.ring)
                aimed[k] = mark.pixel - (_centroid(seen) - _mapped(matrix, mark.place[None])[0])
        matrix = homography(places, aimed)
    return _checked_view(outline, matrix, size)


def _checked_view(outline: Outline, matrix: Array, size: tuple[int, int]) -> PhotoView:
    """The view of a matrix, if it is one."""
    depth = np.column_stack([outline.rim, np.ones(len(outline.rim))]) @ matrix[2]
    if depth.min() * depth.max() <= 0.0:
        raise NoView(
            "no camera sees the face so: part of it would lie behind it. Are the marks in the right order?"
        )
    matrix = matrix * np.sign(depth[0])
    if np.linalg.det(matrix) > 0.0:
        raise NoView(
            "the marks run round the other way: the face would be seen from behind, or mirrored. Corners are "
            f"given in the order {', '.join(CORNERS)}"
        )
    tilt, skew = _camera(matrix, size)
    ring = _mapped(matrix, outline.rim)
    if _area(ring) < LEAST_SHARE * size[0] * size[1]:
        raise NoView(
            "the face would fill less than a hundredth of the picture: go nearer, or look at the marks again"
        )
    if tilt > STEEPEST or skew > MOST_SKEW:
        why = (
            f"it would be seen from {np.degrees(tilt):.0f}° off its normal"
            if skew <= MOST_SKEW
            else "its sides would not be square, or not "
            f"{outline.length / outline.width:.3g} times as long as wide"
        )
        raise NoView(
            f"no plausible view of this face: {why}. Is a mark at the wrong place, or are they in another "
            f"order than {', '.join(CORNERS)}? Read well are photos up to 35° off"
        )
    return PhotoView(matrix, tilt, skew)


def _camera(matrix: Array, size: tuple[int, int]) -> tuple[float, float]:
    """Tilt [rad] and skew [-] of the view by the lens that suits it best."""
    middle = np.array([[1.0, 0.0, -0.5 * size[0]], [0.0, 1.0, -0.5 * size[1]], [0.0, 0.0, 1.0]])
    centred = middle @ matrix
    best = (np.inf, 0.0)
    for lens in LENSES * np.hypot(*size):
        a, b, c = (np.diag([1.0 / lens, 1.0 / lens, 1.0]) @ centred).T
        long, wide = np.linalg.norm(a), np.linalg.norm(b)
        skew = float(np.hypot(a @ b / (long * wide), np.log(long / wide)))
        normal = np.cross(a, b)
        tilt = np.arccos(min(1.0, abs(normal @ c) / (np.linalg.norm(normal) * np.linalg.norm(c))))
        best = min(best, (skew, float(tilt)))
    return best[1], best[0]


def _right_way_round(marks: Sequence[PhotoMark], places: Array, pixels: Array) -> None:
    """Four marks that bound a convex figure on the face do so in the picture, the other way of counting y."""
    for k in range(FEWEST):
        three = [i for i in range(FEWEST) if i != k]
        if _turn(places[three]) * _turn(pixels[three]) >= 0.0:
            four = "; ".join(f"{mark.name} {_at(mark.pixel)}" for mark in marks)
            raise NoView(
                f"the marks cross over, run round the other way, or are mirrored: {four}. Corners are given "
                f"in the order {', '.join(CORNERS)}, as they lie when you stand where the job has you stand"
            )


def _turn(three: Array) -> float:
    (a, b), (c, d) = three[1] - three[0], three[2] - three[0]
    return float(a * d - b * c)


def _most_spread(points: Array) -> float:
    """How far the points are from lying on one line but for one of them: 0 is on it [-]."""
    least = np.inf
    scale = float(np.ptp(points, axis=0).max()) ** 2
    if len(points) == FEWEST:
        for k in range(FEWEST):
            least = min(least, abs(_turn(np.delete(points, k, axis=0))) / max(scale, 1e-12))
        return least
    spread = np.linalg.svd(points - points.mean(axis=0), compute_uv=False)
    return float(spread[1] / max(spread[0], 1e-12))


def _centroid(ring: Array) -> Array:
    """Centroid (2,) of a closed polygon (k, 2)."""
    x, y = (ring - ring[0]).T
    cross = x * np.roll(y, -1) - np.roll(x, -1) * y
    area = 0.5 * cross.sum()
    middle = np.array([((x + np.roll(x, -1)) * cross).sum(), ((y + np.roll(y, -1)) * cross).sum()]) / (
        6.0 * area
    )
    return np.asarray(ring[0] + middle)


def _area(ring: Array) -> float:
    x, y = ring.T
    return 0.5 * abs(float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y)))


def _at(pixel: Array) -> str:
    return f"{pixel[0]:g},{pixel[1]:g}"


def straighten(photo: Photo, outline: Outline, view: PhotoView) -> Straight:
    """The face as it would be seen from straight above, the far side above."""
    spacing = max(outline.length, outline.width) / STRAIGHT
    room = MARGIN * max(outline.length, outline.width)
    columns, rows = (int(np.ceil((side + 2.0 * room) / spacing)) for side in (outline.length, outline.width))
    u = np.asarray(spacing * (np.arange(columns) - 0.5 * (columns - 1)), dtype=np.float64)
    v = np.asarray(spacing * (0.5 * (rows - 1) - np.arange(rows)), dtype=np.float64)
    at_u, at_v = np.meshgrid(u, v)
    at = view.pixels(np.column_stack([at_u.ravel(), at_v.ravel()]))
    # Many pixels to one of ours are averaged first, so that noise goes and no fine grain is aliased.
    edges = view.pixels(np.array([[0.0, 0.0], [spacing, 0.0], [0.0, spacing]]))
    times = int(max(1, np.floor(min(np.hypot(*(edges[1] - edges[0])), np.hypot(*(edges[2] - edges[0]))))))
    pixels = _reduced(photo.pixels, times)
    found = _sampled(pixels, at / times - 0.5)
    return Straight(found.reshape(rows, columns, 3), u, v, spacing)


def _reduced(pixels: NDArray[np.uint8], times: int) -> Array:
    """Means of blocks of ``times`` × ``times`` pixels, 0 … 1."""
    if times == 1:
        return np.asarray(pixels, dtype=float) / 255.0
    rows, columns = (n // times for n in pixels.shape[:2])
    total = np.zeros((rows, columns, 3), dtype=np.float32)
    for i in range(times):
        for j in range(times):
            total += pixels[i : rows * times : times, j : columns * times : times][:rows, :columns]
    return np.asarray(total / (255.0 * times * times), dtype=float)


def _sampled(pixels: Array, at: Array) -> Array:
    """Colours (k, 3) between pixels at places (k, 2), x and y from the middle of the first; NaN outside."""
    rows, columns = pixels.shape[:2]
    x, y = at.T
    inside = (x >= -0.5) & (x <= columns - 0.5) & (y >= -0.5) & (y <= rows - 0.5)
    x, y = (np.clip(np.where(inside, c, 0.0), 0.0, n - 1.0) for c, n in ((x, columns), (y, rows)))
    i, j = (np.minimum(c.astype(int), n - 2) for c, n in ((y, rows), (x, columns)))
    a, b = (y - i)[:, None], (x - j)[:, None]
    found = (1.0 - a) * ((1.0 - b) * pixels[i, j] + b * pixels[i, j + 1])
    found += a * ((1.0 - b) * pixels[i + 1, j] + b * pixels[i + 1, j + 1])
    return np.where(inside[:, None], found, np.nan)
