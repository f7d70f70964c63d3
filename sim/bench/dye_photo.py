"""The dye read from a photo of the face: marks, openings held against the picture, cells, zones.

The openings of the outline are looked for where the marks say they are: that shows whether marks and part
are the right ones, and where taps of a finger were a little off it mends the view.  What is then seen pixel
by pixel is told in cells (dyed, bare, cannot tell) and in zones, as shares with their standard errors, which
is what a log keeps of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import binary_dilation, binary_erosion
from scipy.signal import fftconvolve

from handlap.sim.bench.photo_dye import Film, Mask, OneColour, read_film
from handlap.sim.bench.photo_file import Photo
from handlap.sim.bench.photo_view import (
    FEWEST,
    NoView,
    PhotoMark,
    PhotoView,
    Straight,
    find_view,
    straighten,
)
from handlap.sim.common.outline import Array, Outline, middle_of, polygon_moments

CELLS = 40
"""Cells along the face in which it is told what is dyed."""
TOLD = 0.75
"""A cell is called dyed from this chance on, and bare below the rest of it to one [-]."""
SEEN_SHARE = 0.4
"""… where so much of it can be seen [-]."""
EDGE = 0.008
"""Metal this near to an edge is left out, for the edge may be off by as much; over the length [-]."""
BAND = 0.010
"""Bands on either side of the edge of an opening that are compared; over the length [-]."""
SEARCH = 0.06
"""An opening is looked for this far from where it should be; over the length [-]."""
SMALLEST = 0.022
"""Openings smaller than this say nothing; over the length [-]."""
CONTRAST = 0.12
"""Least difference of logarithms of coded grey inside and outside the edge of an opening that is seen [-]."""
DARK = 0.03
"""Added to coded grey before logarithms are taken [-]."""
SECTORS = 8
TAP = 0.04
"""A mark is where it should be within this; over the length [-]."""
NEAR = 0.015
"""An opening is where it should be within this; over the length [-]."""
FOUND_SHARE = 0.6
"""Share of the openings that have to be where they should be [-]."""
MENDED = 4
"""Times the view is mended by the openings found."""
WEIGHT = 3
"""What an opening found counts for beside a tap [-]."""
READING_SD = 0.04
"""Standard error of a share from the reading itself: the edge of the dye, and the view [-]."""


class NotThisFace(ValueError):
    """The picture does not show this face where the marks say; says why and what to do."""


@dataclass(frozen=True)
class FoundOpening:
    """An opening looked for: its number from 1, how far off it is seen (2,) [m],
    whether one is seen, and where it should be."""

    number: int
    off: Array
    seen: bool
    here: bool


@dataclass(frozen=True)
class DyePhoto:
    """What was seen.

    Attributes
    ----------
    photo, view, straight, film : the picture, how it is seen, straightened, and pixel by pixel
    openings : those that were looked for
    off : root mean square distance of openings from where they should be, after mending [m]; NaN: none
    chance : that dye is left, by cell (rows, columns), the far side first [-]; NaN where it cannot be told
    metal : share of each cell that is metal (rows, columns) [-]
    turnable : whether the openings would fit as well with the face turned half round
    """

    photo: Photo
    view: PhotoView
    straight: Straight
    film: Film
    openings: tuple[FoundOpening, ...]
    off: float
    chance: Array
    metal: Array
    outline: Outline
    turnable: bool

    @property
    def dyed(self) -> Mask:
        """Cells that are called dyed."""
        return np.asarray(np.nan_to_num(self.chance, nan=0.5) >= TOLD)

    @property
    def bare(self) -> Mask:
        """Cells that are called bare."""
        return np.asarray(np.nan_to_num(self.chance, nan=0.5) <= 1.0 - TOLD)

    @property
    def told(self) -> float:
        """Share of the metal of which it is told whether it is dyed [-]."""
        return float(self.metal[self.dyed | self.bare].sum() / self.metal.sum())

    @property
    def left(self) -> float:
        """Share of the face seen on which dye is left [-]."""
        return float(np.nanmean(self.film.chance))

    def metal_of(self, rows: int, columns: int) -> Array:
        """Share of each zone (rows, columns) that is metal [-]."""
        return _binned(self.straight, self.outline, self.film.chance, rows, columns)[2]

    def zones(self, rows: int, columns: int) -> tuple[Array, Array]:
        """Shares of zones (rows, columns) on which dye is left, far side first, and their standard errors
        [-]; NaN where there is no metal, or too little of it can be told."""
        share, seen, metal = _binned(self.straight, self.outline, self.film.chance, rows, columns)
        unclear = _binned(self.straight, self.outline, _unclear(self.film.chance), rows, columns)[0]
        with np.errstate(invalid="ignore"):
            unseen = 1.0 - seen / np.maximum(metal, 1e-12)
            # What is not seen may be either, with the share seen as a guide; what is unclear errs together.
            sd = np.sqrt(READING_SD**2 + (0.5 * unseen) ** 2 + (0.5 * unclear) ** 2)
            told = (metal > 0.04) & (seen >= SEEN_SHARE * metal)
        return np.where(told, share, np.nan), np.where(told, sd, np.nan)


def _unclear(chance: Array) -> Array:
    return np.minimum(chance, 1.0 - chance)


def read_dye_photo(
    photo: Photo,
    outline: Outline,
    marks: Sequence[PhotoMark],
    *,
    dyed: Array | None = None,
    bare: Array | None = None,
) -> DyePhoto:
    """Read the dye of a face from a photo.

    Parameters
    ----------
    marks : four or more, known on the face and in the picture
    dyed, bare : pixels (k, 2) of spots that somebody knows to be dyed, or bare

    Raises
    ------
    NoView, NotThisFace, OneColour : where nothing can be read; each says why and what to do
    """
    view = find_view(outline, marks, photo.size)
    straight = straighten(photo, outline, view)
    openings = look_for_openings(straight, outline)
    for _ in range(MENDED):
        mended = _mended(outline, marks, view, openings, photo.size)
        if mended is None:
            break
        again = straighten(photo, outline, mended)
        found = look_for_openings(again, outline, 0.6 * SEARCH)
        better = _share_here(found), -_off(found)
        if better <= (_share_here(openings), -_off(openings)):
            break
        view, straight, openings = mended, again, found
    _same_face(straight, outline, openings, marks, view)
    metal = _metal(straight, outline)
    spots = [None if at is None or not len(at) else view.places(at) for at in (dyed, bare)]
    film = read_film(straight, metal, dyed=spots[0], bare=spots[1])
    rows = max(1, round(CELLS * outline.width / max(outline.length, outline.width)))
    columns = max(1, round(CELLS * outline.length / max(outline.length, outline.width)))
    share, seen, area = _binned(straight, outline, film.chance, rows, columns)
    chance = np.where((area > 0.04) & (seen >= SEEN_SHARE * area), share, np.nan)
    return DyePhoto(photo, view, straight, film, openings, _off(openings), chance, area, outline,
                    _turnable(outline))  # fmt: skip


def _metal(straight: Straight, outline: Outline) -> Mask:
    """Pixels that are surely metal, away from its edges."""
    shape = straight.v.size, straight.u.size
    metal = outline.contains(straight.points).reshape(shape)
    steps = max(1, round(EDGE * max(outline.length, outline.width) / straight.spacing))
    return np.asarray(binary_erosion(metal, iterations=steps))


def _binned(
    straight: Straight, outline: Outline, chance: Array, rows: int, columns: int
) -> tuple[Array, Array, Array]:
    """By bin of a raster over the face (rows, columns), far side first: mean of what is told, share of the
    bin that is told, share that is metal [-]."""
    column = np.floor(columns * (straight.u / outline.length + 0.5)).astype(int)
    row = np.floor(rows * (0.5 - straight.v / outline.width)).astype(int)
    across, down = np.meshgrid(column, row)
    inside = (across >= 0) & (across < columns) & (down >= 0) & (down < rows)
    bins = np.where(inside, down * columns + across, rows * columns)
    told = np.isfinite(chance)
    metal = outline.contains(straight.points).reshape(chance.shape)

    def total(weights: Array) -> Array:
        found = np.bincount(bins.ravel(), weights.ravel(), rows * columns + 1)[:-1]
        return np.asarray(found.reshape(rows, columns), dtype=float)

    count, seen = total(np.ones_like(chance)), total(told.astype(float))
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = total(np.where(told, chance, 0.0)) / seen
    # Edges that are left out for safety are metal that is seen.
    sure = _metal(straight, outline)
    grown = total(metal.astype(float)) / np.maximum(total(sure.astype(float)), 1.0)
    return (
        mean,
        np.minimum(seen * grown, total(metal.astype(float))) / count,
        total(metal.astype(float)) / count,
    )


# ---- openings


def look_for_openings(
    straight: Straight, outline: Outline, search: float = SEARCH
) -> tuple[FoundOpening, ...]:
    """Every opening large enough, where its edge is seen clearest around where it should be.

    Parameters
    ----------
    search : how far it is looked for; over the length [-]
    """
    longest = max(outline.length, outline.width)
    shape = straight.v.size, straight.u.size
    rim = Outline(outline.rim).contains(straight.points).reshape(shape)
    whole = outline.contains(straight.points).reshape(shape)
    band = max(2, round(BAND * longest / straight.spacing))
    reach = round(search * longest / straight.spacing)
    # In logarithms black dye beside a dark hole is seen as well as bare metal is.
    tone = np.log(np.nan_to_num(straight.colours, nan=0.5).mean(axis=2) + DARK)
    found = []
    for number, opening in enumerate(outline.openings, 1):
        if min(np.ptp(opening, axis=0)) < SMALLEST * longest:
            continue
        box = _box(straight, opening, band + 1)
        own = np.zeros(shape, dtype=bool)
        points = np.column_stack([c.ravel() for c in np.meshgrid(straight.u[box[1]], straight.v[box[0]])])
        own[box] = Outline(opening).contains(points).reshape(own[box].shape)
        own &= rim
        if own.sum() < 12:
            continue
        inner = own[box] & ~binary_erosion(own[box], iterations=band)
        outer = binary_dilation(own[box], iterations=band) & whole[box]
        response = _responses(tone, box, _sectors(inner, outer), reach)
        k, j = np.unravel_index(int(np.argmax(response)), response.shape)
        off = straight.spacing * np.array([j - reach, reach - k], dtype=float)
        seen = bool(response[k, j] >= CONTRAST)
        here = seen and float(np.hypot(*off)) <= NEAR * longest
        found.append(FoundOpening(number, off, seen, here))
    return tuple(found)


def _box(straight: Straight, ring: Array, room: int) -> tuple[slice, slice]:
    """Rows and columns of the picture around a ring, with some room."""
    u, v = ring.T
    columns = np.flatnonzero((straight.u >= u.min()) & (straight.u <= u.max()))
    rows = np.flatnonzero((straight.v >= v.min()) & (straight.v <= v.max()))
    return (
        slice(max(0, rows[0] - room), rows[-1] + 1 + room),
        slice(max(0, columns[0] - room), columns[-1] + 1 + room),
    )


def _sectors(inner: Mask, outer: Mask) -> list[Array]:
    """For each sector of a ring, weights whose sum over a picture is inside less outside."""
    y, x = np.nonzero(inner)
    rows, columns = np.mgrid[0 : inner.shape[0], 0 : inner.shape[1]]
    part = np.floor(SECTORS * (np.arctan2(rows - y.mean(), columns - x.mean()) / (2.0 * np.pi) + 0.5))
    found = []
    for k in range(SECTORS):
        here = np.minimum(part, SECTORS - 1) == k
        if (inner & here).sum() > 2 and (outer & here).sum() > 2:
            found.append((inner & here) / (inner & here).sum() - (outer & here) / (outer & here).sum())
    return found


def _responses(tone: Array, box: tuple[slice, slice], kernels: Sequence[Array], reach: int) -> Array:
    """How clearly an edge runs all round (2·reach + 1, 2·reach + 1), for every shift.

    The edge of the dye crosses a ring; that of an opening runs round it, and is dark or light on the same
    side everywhere: what the lower quarter of the sectors shows counts.
    """
    wide = [
        np.clip(np.arange(s.start - reach, s.stop + reach), 0, n - 1)
        for s, n in zip(box, tone.shape, strict=True)
    ]
    window = tone[np.ix_(*wide)]
    parts = np.array([fftconvolve(window, kernel[::-1, ::-1], mode="valid") for kernel in kernels])
    signed = parts * np.sign(parts.mean(axis=0))
    low = np.sort(signed, axis=0)[len(kernels) // 4]
    return np.asarray(np.where(low > 0.0, np.sqrt(np.maximum(low, 0.0) * np.abs(parts.mean(axis=0))), 0.0))


def _off(openings: Sequence[FoundOpening]) -> float:
    """Root mean square distance of the openings found [m]; NaN without any."""
    off = [found.off for found in openings if found.here]
    return float(np.sqrt(np.mean(np.sum(np.square(off), axis=1)))) if off else float("nan")


def _same_face(
    straight: Straight,
    outline: Outline,
    openings: Sequence[FoundOpening],
    marks: Sequence[PhotoMark],
    view: PhotoView,
) -> None:
    """Refuse a picture in which openings or marks are not where they should be.

    Raises
    ------
    NotThisFace
    """
    if not openings:
        return
    if _share_here(openings) < FOUND_SHARE:
        turned = Outline(-outline.rim, tuple(-opening for opening in outline.openings))
        if _share_here(look_for_openings(straight, turned)) >= FOUND_SHARE:
            raise NotThisFace(
                "the openings would be where they should be if the face lay the other way round: begin with "
                "the corner that is given third now"
            )
        here = sum(found.here for found in openings)
        raise NotThisFace(
            f"of {len(openings)} openings looked for, {here or 'none'} {'is' if here == 1 else 'are'} where "
            "the marks put them: either a mark is at the wrong place, or this is another part, or the "
            "openings cannot be told from the face (lay a sheet of another colour under it)"
        )
    longest = max(outline.length, outline.width)
    away = [float(np.hypot(*(view.places(mark.pixel[None])[0] - mark.place))) for mark in marks]
    worst = int(np.argmax(away))
    if away[worst] > TAP * longest and marks[worst].ring is None:
        raise NotThisFace(
            f"the {marks[worst].name} mark is some {100.0 * away[worst] / longest:.0f} % of the length off "
            f"from where the openings put it: look at it again; it should be near "
            f"{','.join(f'{c:.0f}' for c in view.pixels(marks[worst].place[None])[0])}"
        )


def _turnable(outline: Outline) -> bool:
    """Whether every opening has one of its size in its place when the face is turned half round."""
    found = [polygon_moments(opening) for opening in outline.openings]
    slack = NEAR * max(outline.length, outline.width)
    return all(
        any(
            np.hypot(u / a + x / b, v / a + y / b) < slack and abs(np.sqrt(a) - np.sqrt(b)) < slack
            for b, x, y in found
        )
        for a, u, v in found
    )


def _share_here(openings: Sequence[FoundOpening]) -> float:
    return float(np.mean([found.here for found in openings])) if openings else 0.0


def _mended(
    outline: Outline,
    marks: Sequence[PhotoMark],
    view: PhotoView,
    openings: Sequence[FoundOpening],
    size: tuple[int, int],
) -> PhotoView | None:
    """The view by the marks and the openings seen, one mark left out where that is far better; None where
    too few openings are seen to say so, or it is none."""
    more = []
    for found in openings:
        if found.seen:
            place = middle_of(outline.openings[found.number - 1])
            more.append(
                PhotoMark(f"opening {found.number}", place, view.pixels((place + found.off)[None])[0])
            )
    if len(more) < FEWEST - 1:
        return None
    longest = max(outline.length, outline.width)
    best: tuple[float, PhotoView | None] = (np.inf, None)
    for left_out in (None, *range(len(marks))):
        kept = [mark for k, mark in enumerate(marks) if k != left_out]
        try:
            tried = find_view(outline, [*kept, *more * WEIGHT], size)
        except NoView:
            continue
        away = np.array([np.hypot(*(tried.places(m.pixel[None])[0] - m.place)) for m in [*marks, *more]])
        # An opening that is taken for another thing is far off, and counts no more than that.
        cost = float(np.minimum(away / (NEAR * longest), 1.0) @ ([1.0] * len(marks) + [WEIGHT] * len(more)))
        if cost < best[0] - (0.0 if left_out is None else 0.5):
            best = (cost, tried)
    return best[1]


__all__ = [
    "DyePhoto",
    "FoundOpening",
    "NoView",
    "NotThisFace",
    "OneColour",
    "look_for_openings",
    "read_dye_photo",
]
