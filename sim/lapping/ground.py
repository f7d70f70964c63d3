"""Height of plate and paper under the part: a raster over the papered area, in the plate frame.

Arrays are [y, x], lengths and heights in metres, positive = proud.  A level or a tilt common to
all of it means nothing, since the part follows it.

What adds up:

- the plate's own form: random smooth shapes within its tolerance (:func:`random_plate`), or a
  known shape (:func:`simple_shape`), or measured heights (:func:`measured`);
- float glass over a gap, bent by its weight and by the part (:func:`glass_sag`);
- one thickness of paper more wherever strips overlap (:func:`overlap_steps`);
- lumps under the paper (:func:`lump_heights`).

Left out: paper drapes over the edge of the strip below it within about a millimetre, here within
a cell; the sag of glass does not move with the part.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr

from handlap.sim.common.outline import Array
from handlap.sim.common.units import GRAVITY
from handlap.sim.face.flatness import minimum_zone_widths
from handlap.sim.job.paper_area import overlap, papered_area
from handlap.sim.job.scenario import Glass, HeightTable, Lump, Paper, Plate, PlateShape, Scenario

GLASS_MODULUS = 70e9
"""Young's modulus of float glass [Pa] (handbook value, from memory)."""
GLASS_DENSITY = 2500.0
"""[kg/m³] (handbook value, from memory)"""

DEGREES = (2, 3, 4)
"""Degrees of the polynomials that a random plate is made of."""
_TERMS = tuple((i, n - i) for n in DEGREES for i in range(n + 1))
N_PLATE_SCORES = len(_TERMS) + 1
"""Standard normal numbers that fix a random plate: one for each polynomial, one for its flatness."""
LEAST_SHARE = 0.3
"""A plate within its grade uses from this share of the tolerance to all of it (ours)."""
SUBSTEPS = 4
"""A node of the raster stands for this many by this many places about it."""


def is_flat(scenario: Scenario) -> bool:
    """Whether plate and paper are the same height all over, whatever the load and the member."""
    plate, paper = scenario.plate, scenario.paper
    return (
        plate.tolerance <= 0.0
        and (plate.shape is None or plate.shape_height == 0.0)
        and plate.heights is None
        and (plate.glass is None or plate.glass.gap <= 0.0)
        and not paper.lumps
        and not overlap(papered_area(plate, paper.strips))
    )


def ground_of(
    scenario: Scenario,
    *,
    x0: float,
    y0: float,
    step: float,
    nx: int,
    ny: int,
    score: Array | None,
    load: float,
) -> Array:
    """Heights of plate and paper of one member of an ensemble, on a raster.

    Parameters
    ----------
    scenario : the job
    x0, y0 : first node on the plate [m]
    step : distance of the nodes [m]
    nx, ny : how many of them
    score : standard normal numbers (N_PLATE_SCORES,) of the random plate; None: no random part
    load : force of face on paper, which bends glass [N]

    Returns
    -------
    (ny, nx) [m], positive = proud.  Beyond the paper the value of the nearest paper, so that
    what lies off it is never asked of a plate measured only under it.

    Raises
    ------
    ValueError : if measured heights do not reach all the paper
    """
    plate, paper = scenario.plate, scenario.paper
    x = np.asarray(x0 + step * np.arange(nx), dtype=float)
    y = np.asarray(y0 + step * np.arange(ny), dtype=float)
    strips = papered_area(plate, paper.strips)
    over_x, over_y = np.meshgrid(x, y)
    at_x, at_y = _onto_paper(over_x, over_y, strips)
    heights = plate_heights(plate, at_x, at_y, score)
    if plate.glass is not None and plate.glass.gap > 0.0:
        span = scenario.part.outline.length
        heights += glass_sag(at_x, plate.glass, plate.width, load=load, spread=span)
    return np.asarray(heights + paper_heights(paper, strips, x, y, step))


# ---- the plate's own form


def plate_heights(plate: Plate, x: Array, y: Array, score: ArrayLike | None) -> Array:
    """Form of the bare plate at places of any shape [m]; glass lies on it and adds its sag.

    ``score`` (N_PLATE_SCORES,) draws the random part, None leaves it out.
    """
    heights = np.zeros(np.broadcast_shapes(x.shape, y.shape))
    if plate.heights is not None:
        heights += measured(plate.heights, x, y)
    if plate.shape is not None:
        heights += simple_shape(plate.shape, plate.shape_height, plate.length, plate.width, x, y)
    if score is not None and plate.tolerance > 0.0:
        heights += random_plate(plate.length, plate.width, plate.tolerance, score, x, y)
    return heights


def random_plate(
    length: float, width: float, tolerance: float, score: ArrayLike, x: Array, y: Array
) -> Array:
    """One smooth plate out of all those within a tolerance.

    Products of Legendre polynomials of total degree 2 to 4, with normal amplitudes that fall as
    1/degree², are added up and scaled so that the minimum zone over the whole plate is the share
    of the tolerance that the last score asks for, evenly spread from ``LEAST_SHARE`` to 1 over
    an ensemble.  So every draw keeps the grade, and the tolerance is the amplitude across the
    ensemble.  Shorter waves, which a repeat-reading gauge would find, are left out.

    Parameters
    ----------
    length, width : sides of the plate [m]
    tolerance : flatness it keeps [m]
    score : standard normal numbers (N_PLATE_SCORES,); all zeros but the last give a flat
    x, y : places on the plate, of any shape [m]

    Returns
    -------
    Heights at the places [m], positive = proud.
    """
    z = np.asarray(score, dtype=float)
    if z.shape != (N_PLATE_SCORES,):
        raise ValueError(f"a random plate takes {N_PLATE_SCORES} scores; got shape {z.shape}")
    coefficients = np.zeros((DEGREES[-1] + 1, DEGREES[-1] + 1))
    for (i, j), a in zip(_TERMS, z[:-1], strict=True):
        coefficients[i, j] = a / (i + j) ** 2
    across_x, across_y = (g.ravel() for g in np.meshgrid(np.linspace(-1, 1, 25), np.linspace(-1, 1, 17)))
    form = np.polynomial.legendre.legval2d(across_x, across_y, coefficients)
    zone = float(minimum_zone_widths(across_x, across_y, form[None, :])[0])
    if zone <= 0.0:
        return np.zeros(np.broadcast_shapes(x.shape, y.shape))
    share = LEAST_SHARE + (1.0 - LEAST_SHARE) * float(ndtr(z[-1]))
    heights = np.polynomial.legendre.legval2d(2.0 * x / length, 2.0 * y / width, coefficients)
    return np.asarray(tolerance * share / zone * heights)


def simple_shape(shape: PlateShape, height: float, length: float, width: float, x: Array, y: Array) -> Array:
    """A dish (hollow), a hump (crowned) or a twist whose minimum zone over the plate is ``height`` [m].

    The dish rises with the square of the distance along and across alike, to zero at the
    corners; the twist is proud at the corners where x and y have the same sign.

    >>> corner, middle = np.array(0.2), np.array(0.0)
    >>> [float(simple_shape("dish", 1e-5, 0.4, 0.4, at, at)) for at in (corner, middle)]
    [0.0, -1e-05]
    """
    a, b = 2.0 * x / length, 2.0 * y / width
    if shape == "twist":
        return np.asarray(0.5 * height * a * b)
    dish = np.asarray(height * (0.5 * (a * a + b * b) - 1.0))
    return dish if shape == "dish" else -dish


def measured(table: HeightTable, x: Array, y: Array) -> Array:
    """Measured heights between the places where they were taken, less their best plane [m].

    Straight between readings: a plane over each triangle of the Delaunay net of the readings.  So
    nothing is ever higher or lower than what was read; a plate read on lines alone may do between
    them what it likes, and here does nothing.

    Raises
    ------
    ValueError : if a place lies outside the convex hull of the readings by more than rounding
    """
    middle = np.array([table.u.mean(), table.v.mean()])
    size = max(float(np.ptp(table.u)), float(np.ptp(table.v)))
    places = (np.column_stack([table.u, table.v]) - middle) / size
    design = np.column_stack([np.ones(len(places)), places])
    rest = table.height - design @ np.linalg.lstsq(design, table.height, rcond=None)[0]
    # A fifth of a second to load, for the few plates that were measured.
    from scipy.interpolate import LinearNDInterpolator

    between = LinearNDInterpolator(places, rest)
    at = (np.stack([x, y], axis=-1) - middle) / size
    heights = np.asarray(between(at))
    missing = np.isnan(heights)
    if missing.any():
        # A place on the very edge may fall outside by rounding: ask a millionth further in.
        heights[missing] = between(at[missing] * (1.0 - 1e-6))
    if np.isnan(heights).any():
        raise ValueError(
            f"{table.source}: heights of the plate are asked for outside the area measured; "
            "the paper must lie within it"
        )
    return heights


# ---- glass


def glass_sag(x: Array, glass: Glass, width: float, *, load: float, spread: float = 0.0) -> Array:
    """Sag of float glass that bridges a gap about x = 0, under its own weight and a load in the middle.

    A beam of the glass's width on two knife edges at ±gap/2; the load is spread evenly over
    ``spread`` about the middle, what of it reaches past the supports bends nothing.  Past them the
    glass is taken to lie flat.

    The part moves, and the sag with it: this is the shape for mid-stroke, the deepest, so what
    the gap does to the face is somewhat overstated towards the ends of the stroke.  Left out too:
    that a wide strip is up to 5 % stiffer than a beam (1 − ν², ν 0.22) and sags a little across.

    Parameters
    ----------
    x : places along the gap, of any shape [m]
    glass : its thickness and the gap [m]
    width : of the glass, along the supports [m]
    load : force on it [N]
    spread : length over which the load acts [m]; 0: a line load in the middle

    Returns
    -------
    Heights [m], zero or below.

    >>> bridge = Glass(thickness=0.010, gap=0.3)
    >>> both = glass_sag(np.array([0.0]), bridge, 0.3, load=100.0)
    >>> own = glass_sag(np.array([0.0]), bridge, 0.3, load=0.0)
    >>> round(1e6 * float(own[0] - both[0]), 1)
    32.1
    """
    gap = glass.gap
    rigidity = GLASS_MODULUS * width * glass.thickness**3 / 12.0
    weight = GRAVITY * GLASS_DENSITY * width * glass.thickness * gap
    sag = weight * _patch_deflection(x, gap, gap)
    if load > 0.0:
        held = min(1.0, gap / spread) if spread > 0.0 else 1.0
        sag += held * load * _patch_deflection(x, gap, min(spread, gap))
    return -sag / rigidity


def _patch_deflection(x: Array, gap: float, patch: float) -> Array:
    """Deflection times E·I [N·m³] of a beam on two supports under 1 N spread over ``patch`` in the middle.

    Past the supports zero.  The bending moment at s from the middle is half/2 − c/4 − s²/(4c) under
    the patch (of half-length c) and half/2 − s/2 beyond it; it is integrated twice from the middle.
    """
    half, c = gap / 2.0, patch / 2.0

    def below_middle(s: Array) -> Array:
        under = np.minimum(s, c)
        beyond = s - under
        bent = (half / 2.0 - c / 4.0) * s**2 / 2.0 - c * beyond**2 / 8.0 - beyond**3 / 12.0
        if c > 0.0:
            bent = bent - under**4 / (48.0 * c) - under**3 / (12.0 * c) * beyond
        return np.asarray(bent)

    at = np.minimum(np.abs(x), half)
    return below_middle(np.full_like(at, half)) - below_middle(at)


# ---- the paper


def paper_heights(paper: Paper, strips: Array, x: Array, y: Array, step: float) -> Array:
    """What the paper adds at the nodes of a raster (ny, nx) [m]: steps of overlaps, and lumps."""
    heights = np.zeros((y.size, x.size))
    if overlap(strips):
        heights += overlap_steps(strips, paper.thickness, x, y, step)
    if paper.lumps:
        heights += lump_heights(paper.lumps, x, y, step)
    return heights


def overlap_steps(strips: Array, thickness: float, x: Array, y: Array, step: float) -> Array:
    """One thickness more for every further strip that lies on a place, mean over a node's cell.

    Parameters
    ----------
    strips : (s, 4) x0, y0, x1, y1 [m]
    thickness : of one layer [m]
    x (nx,), y (ny,) : nodes [m]
    step : their distance [m]

    Returns
    -------
    (ny, nx) [m]: mean over those places of the cell that are on paper.
    """
    fine_x, fine_y = _fine(x, step), _fine(y, step)
    layers = np.zeros((fine_y.size, fine_x.size))
    for a, b, c, d in strips:
        in_x = (fine_x >= a) & (fine_x < c)
        in_y = (fine_y >= b) & (fine_y < d)
        layers += np.outer(in_y, in_x)
    on_paper = _mean(layers > 0.0)
    more = _mean(np.maximum(layers - 1.0, 0.0))
    return thickness * np.divide(more, on_paper, out=np.zeros_like(more), where=on_paper > 0.0)


def lump_heights(lumps: Sequence[Lump], x: Array, y: Array, step: float) -> Array:
    """Round smooth caps h·(1 − (r/R)²)², mean over the cell of every node (ny, nx) [m]."""
    fine_x, fine_y = np.meshgrid(_fine(x, step), _fine(y, step))
    heights = np.zeros_like(fine_x)
    for lump in lumps:
        r2 = ((fine_x - lump.x) ** 2 + (fine_y - lump.y) ** 2) / (lump.diameter / 2.0) ** 2
        heights += lump.height * np.maximum(1.0 - r2, 0.0) ** 2
    return _mean(heights)


def _onto_paper(x: Array, y: Array, strips: Array) -> tuple[Array, Array]:
    """The nearest place on paper of every place (ny, nx) [m]; of two as near, the one listed first."""
    best_x, best_y = x.copy(), y.copy()
    nearest = np.full(x.shape, math.inf)
    for a, b, c, d in strips:
        at_x, at_y = np.clip(x, a, c), np.clip(y, b, d)
        away = np.hypot(x - at_x, y - at_y)
        # Rounding must not choose between two strips in the middle of their gap.
        closer = away < nearest - 1e-9
        best_x[closer], best_y[closer], nearest[closer] = at_x[closer], at_y[closer], away[closer]
    return best_x, best_y


def _fine(nodes: Array, step: float) -> Array:
    """Places evenly spread over the cells of the nodes (n·SUBSTEPS,)."""
    offsets = step * ((np.arange(SUBSTEPS) + 0.5) / SUBSTEPS - 0.5)
    return (nodes[:, None] + offsets).ravel()


def _mean(fine: ArrayLike) -> Array:
    """Mean over the places of each node."""
    values = np.asarray(fine, dtype=float)
    ny, nx = values.shape[0] // SUBSTEPS, values.shape[1] // SUBSTEPS
    return np.asarray(values.reshape(ny, SUBSTEPS, nx, SUBSTEPS).mean(axis=(1, 3)))
