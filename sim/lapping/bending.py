"""Thin parts bend: shapes of a free plate, their stiffness, and what the hands do to them.

A part that is not rigid moves towards the paper by the pose and by ``w = Σ q·φ``:

    x = h + g + c0 + cu·u + cv·v + Σ q·φ(u, v)        (all positive = towards the paper)
    energy of the whole = contact − W·(c0 + cu·eu + cv·ev) + ½·qᵀBq − q·(F·press + G·weight)

with W = F + G, the hands' force F [N] and the weight G [N].  Rigid is the case of no shapes.

**Shapes.**  Products of Legendre polynomials P_i(2u/L)·P_j(2v/B) over the bounding box, of total
degree up to ``degree``, are combined into the shapes in which the free plate would vibrate (Ritz):
orthogonal over the *metal* to each other and to rigid motion, root mean square 1, softest first.
So the stiffness B is diagonal, and a pressure that is even or linear over the metal bends nothing.

**Force and moments are counted once.**  The pose carries W and the moments W·eu, W·ev exactly as of
a rigid part: offset of the hands, their wobble, friction against high hands, centre of weight.
``press`` is ∫φ·(pressure of one newton of hands), the pads centred on the part.  Whatever moment
the pose has beyond that of the centred pads enters as a pressure linear over the metal, which does
no work on the shapes: the split leaves nothing out and counts nothing twice.  What it neglects
is that a hand 10 mm off the middle also bends the part 10 mm off the middle.

**Openings** weaken the plate by the metal they take away: energy is integrated over the metal alone
(exactly, whatever the outline).  A smooth shape cannot bulge right beside an opening, so the
stiffness is a little over-estimated (as always with Ritz); more degrees close the gap.

**A backing block** is bedded on the back of the part as it lies free, say on putty or wax that
sets, and slides on it: it adds its own stiffness as a plate over the whole rim, openings bridged,
no more (glued, it would add more still).  The hands press a pad in the middle of the block; that
it spreads their press over the part follows from its stiffness.  A part as warped as before comes
off it: the block does not press the warp out.  Its weight belongs to that of the part.

Kirchhoff's plate: D = E·t³/(12(1 − ν²)), no shear; good where the span is some ten thicknesses,
too stiff by a little in thicker parts, which hardly bend anyway.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.linalg import eigh

from handlap.sim.common import spoken
from handlap.sim.common.errors import InputError
from handlap.sim.common.grid import Grid, make_grid
from handlap.sim.common.outline import Array, Outline
from handlap.sim.job.scenario import Part, Pressing

DEGREE = 10
"""Highest total degree of the polynomials."""
KEEP = 9
"""Shapes kept, the softest.  Against all shapes of degree 14 the bend of plates of 120 to 200 mm under
60 N differs by some 1 % at most and the depth removed by 0.05 µm; of a very slender one (356 × 60 × 4 mm,
bent by 180 µm) by 1.9 µm and 0.2 µm; of one with four large bores by 4 % of the bend, 0.07 µm."""
BACKING_THICKNESS = 0.025
"""Thickness of a backing block where none is stated [m] (our choice)."""
BACKING_MODULUS = 70e9
"""Young's modulus of a backing block where none is stated: aluminium [Pa]."""
BACKING_POISSON = 0.33
RIM_BAND = 0.02
"""Width of the band under fingers along the rim [m] (our choice: a finger's breadth) …"""
RIM_SHARE = 0.25
"""… but no more than this share of the narrow side."""
LEAST_METAL = 0.05
"""A pad that finds metal under less than this share of itself has nothing to press on."""
LOAD_CELLS = 20_000
"""Cells over which the pressure of the hands is summed."""
RULE_BLOCK = 1024
"""Points of a rule that are summed at one go: their products then stay in the processor's own memory, where
those of a face with round openings, some 80,000, fill tens of megabytes the system has to clear."""
TOLD_APART = 1e-12
"""Sums of products whose mean square over the metal is under this share of the greatest are left out: on arms
so slender that products look alike there, what is left of such a sum is rounding."""
SAME_STIFFNESS = 1e-3
"""Shapes whose stiffness differs by less than this share are kept or dropped together."""


def terms_of(degree: int) -> list[tuple[int, int]]:
    """Degrees (i, j) along u and v of the products of total degree 0 … ``degree``, low ones first.

    >>> terms_of(2)
    [(0, 0), (1, 0), (0, 1), (2, 0), (1, 1), (0, 2)]
    """
    return [(total - j, j) for total in range(degree + 1) for j in range(total + 1)]


def _legendre(x: Array, degree: int) -> tuple[Array, Array, Array]:
    """Legendre polynomials 0 … degree and two derivatives at x (n,), each (degree + 1, n)."""
    value, slope, curve = (np.zeros((degree + 1, x.size)) for _ in range(3))
    value[0] = 1.0
    if degree > 0:
        value[1], slope[1] = x, 1.0
    for i in range(1, degree):
        value[i + 1] = ((2 * i + 1) * x * value[i] - i * value[i - 1]) / (i + 1)
        slope[i + 1] = slope[i - 1] + (2 * i + 1) * value[i]
        curve[i + 1] = curve[i - 1] + (2 * i + 1) * slope[i]
    return value, slope, curve


def products(points: Array, size: tuple[float, float], degree: int) -> Array:
    """Products of Legendre polynomials at points.

    Parameters
    ----------
    points : (n, 2) [m]
    size : length and width of the bounding box about the origin [m]
    degree : highest total degree [-]

    Returns
    -------
    (n, terms) [-], in the order of :func:`terms_of`
    """
    along, across = (_legendre(2.0 * np.asarray(points)[:, axis] / size[axis], degree)[0] for axis in (0, 1))
    i, j = np.array(terms_of(degree)).T
    found: Array = (along[i] * across[j]).T
    return found


def _curvatures(points: Array, size: tuple[float, float], degree: int) -> tuple[Array, Array, Array]:
    """Second derivatives uu, vv, uv of the products at points, each (n, terms) [1/m²]."""
    to_u, to_v = 2.0 / size[0], 2.0 / size[1]
    pu, du, cu = _legendre(to_u * points[:, 0], degree)
    pv, dv, cv = _legendre(to_v * points[:, 1], degree)
    i, j = np.array(terms_of(degree)).T
    uu = (cu[i] * pv[j]).T * to_u**2
    vv = (pu[i] * cv[j]).T * to_v**2
    uv = (du[i] * dv[j]).T * to_u * to_v
    return uu, vv, uv


def polygon_rule(polygon: Array, degree: int) -> tuple[Array, Array]:
    """Points (n, 2) and signed weights (n,) that integrate polynomials over a polygon exactly.

    By Green's theorem from Gauss points on each edge and between edge and the v axis, after
    Sommariva & Vianello, "Product Gauss cubature over polygons", BIT 2007.  Exact up to the total
    degree 2·degree; points may lie outside the polygon, so this is for polynomials only.

    >>> points, weights = polygon_rule(np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]), 1)
    >>> round(float(weights @ points[:, 0] ** 2), 15) == round(1.0 / 12.0, 15)
    True
    """
    nodes, share = np.polynomial.legendre.leggauss(degree + 1)
    nodes, share = 0.5 * (nodes + 1.0), 0.5 * share
    start, step = polygon, np.roll(polygon, -1, axis=0) - polygon
    kept = step[:, 1] != 0.0
    start, step = start[kept], step[kept]
    edge = start[:, None, :] + nodes[None, :, None] * step[:, None, :]
    u = edge[:, :, None, 0] * nodes
    v = np.broadcast_to(edge[:, :, None, 1], u.shape)
    weight = step[:, None, None, 1] * share[None, :, None] * edge[:, :, None, 0] * share
    return np.column_stack([u.ravel(), v.ravel()]), weight.ravel()


def metal_rule(outline: Outline, degree: int) -> tuple[Array, Array]:
    """As :func:`polygon_rule`, over the metal: points (n, 2) [m], weights (n,) [m²], negative in openings."""
    rules = [polygon_rule(outline.rim, degree)]
    for opening in outline.openings:
        points, weights = polygon_rule(opening, degree)
        rules.append((points, -weights))
    return np.vstack([r[0] for r in rules]), np.concatenate([r[1] for r in rules])


def _in_blocks(points: Array, weights: Array) -> Iterator[tuple[Array, Array]]:
    """A rule's points (n, 2) [m] and weights (n, 1) [m²], a block at a time."""
    for at in range(0, weights.size, RULE_BLOCK):
        yield points[at : at + RULE_BLOCK], weights[at : at + RULE_BLOCK, None]


def energy_matrix(outline: Outline, degree: int, poisson: float) -> Array:
    """Bending energy of the products over the metal for D = 1: energy = ½·qᵀ(D·matrix)·q.

    Returns
    -------
    (terms, terms) [1/m²]; rows and columns of the first three terms, rigid motion, are zero

    Notes
    -----
    Kirchhoff: ½·D·∫[(w_uu + w_vv)² − 2(1 − ν)(w_uu·w_vv − w_uv²)]; Timoshenko &
    Woinowsky-Krieger, Theory of Plates and Shells.
    """
    size, terms = (outline.length, outline.width), len(terms_of(degree))
    matrix = np.zeros((terms, terms))
    for points, w in _in_blocks(*metal_rule(outline, degree)):
        uu, vv, uv = _curvatures(points, size, degree)
        both = uu + vv
        cross = uu.T @ (w * vv)
        matrix += both.T @ (w * both) - (1.0 - poisson) * (cross + cross.T - 2.0 * uv.T @ (w * uv))
    return 0.5 * (matrix + matrix.T)


def overlap_matrix(outline: Outline, degree: int) -> Array:
    """Mean over the metal of the products of any two terms (terms, terms) [-]."""
    size, terms = (outline.length, outline.width), len(terms_of(degree))
    matrix = np.zeros((terms, terms))
    for points, w in _in_blocks(*metal_rule(outline, degree)):
        values = products(points, size, degree)
        matrix += values.T @ (w * values) / outline.area
    return 0.5 * (matrix + matrix.T)


def _rings(outline: Outline) -> tuple[bytes, ...]:
    """Rim and openings, as what the sums over the metal can be kept under."""
    return tuple(ring.tobytes() for ring in (outline.rim, *outline.openings))


def _outline_of(rings: tuple[bytes, ...]) -> Outline:
    rim, *openings = (np.frombuffer(ring).reshape(-1, 2) for ring in rings)
    return Outline(rim, tuple(openings))


@lru_cache(maxsize=8)
def _energy_known(rings: tuple[bytes, ...], degree: int, poisson: float) -> Array:
    """:func:`energy_matrix`, summed once for all grids and presses of a part; not to be changed in place."""
    return energy_matrix(_outline_of(rings), degree, poisson)


@lru_cache(maxsize=8)
def _overlap_known(rings: tuple[bytes, ...], degree: int) -> Array:
    """:func:`overlap_matrix`, likewise."""
    return overlap_matrix(_outline_of(rings), degree)


def plate_rigidity(modulus: float, thickness: float, poisson: float) -> float:
    """D = E·t³/(12(1 − ν²)) of a plate [N·m].

    >>> round(plate_rigidity(70e9, 0.006, 0.33), 1)
    1414.0
    """
    return modulus * thickness**3 / (12.0 * (1.0 - poisson**2))


@dataclass(frozen=True)
class Bending:
    """How a part that is not rigid bends.

    Attributes
    ----------
    degree : highest total degree of the polynomials [-]
    size : length and width of the bounding box [m]
    mix : the shapes as sums of Legendre products, (terms, m) [-]
    stiffness : bending stiffness B (m, m), diagonal, softest first [N/m]
    press : work of one newton of the hands on each shape, (m,) [-]
    weight : work of one newton of weight, spread evenly over the metal, (m,) [-]; zero but for
        rounding, as the shapes are orthogonal to even pressure
    rigidity : D of part and backing together [N·m]
    pressing : where the hands press
    """

    degree: int
    size: tuple[float, float]
    mix: Array
    stiffness: Array
    press: Array
    weight: Array
    rigidity: float
    pressing: Pressing

    def shapes_at(self, points: Array) -> Array:
        """The shapes at points (n, 2) [m]: (n, m) [-], root mean square 1 over the metal."""
        return products(points, self.size, self.degree) @ self.mix

    @property
    def count(self) -> int:
        """Number of shapes m."""
        return int(self.mix.shape[1])


def _free_shapes(outline: Outline, degree: int, energy: Array) -> tuple[Array, Array]:
    """Shapes that make energy and overlap diagonal: mix (terms, m), stiffness (m,) as ``energy``.

    There are fewer of them than products where some of these cannot be told apart on the metal.
    """
    overlap = _overlap_known(_rings(outline), degree)
    # Take the plane that fits each product best over the metal off it; bending stays the same.
    terms = overlap.shape[0]
    mix = np.vstack([-np.linalg.solve(overlap[:3, :3], overlap[:3, 3:]), np.eye(terms - 3)])
    squares, sums = eigh(mix.T @ overlap @ mix)
    told = squares > TOLD_APART * squares[-1]
    even = sums[:, told] / np.sqrt(squares[told])
    stiffness, vectors = eigh(even.T @ energy[3:, 3:] @ even)
    mix = mix @ even @ vectors
    largest = np.argmax(np.abs(mix), axis=0)
    return mix * np.sign(mix[largest, np.arange(mix.shape[1])]), stiffness


def _softest(stiffness: Array, keep: int | None) -> int:
    """How many shapes to keep: ``keep``, or one more where that would part a pair of equals."""
    if keep is None or keep >= stiffness.size:
        return stiffness.size
    while keep < stiffness.size and stiffness[keep] < (1.0 + SAME_STIFFNESS) * stiffness[keep - 1]:
        keep += 1
    return keep


def _on_disc(grid: Grid, middle: tuple[float, float], diameter: float) -> Array:
    """Shares (n,) of one newton on each cell under a round pad, even over the metal there."""
    away = np.hypot(grid.u - middle[0], grid.v - middle[1])
    under = np.clip((0.5 * diameter - away) / grid.cell_size + 0.5, 0.0, 1.0) * grid.area
    if under.sum() < LEAST_METAL * 0.25 * np.pi * diameter**2:
        raise InputError(
            f"the hands have no metal to press on: the pad of {spoken.position(diameter)} at "
            f"u {spoken.position(middle[0])}, v {spoken.position(middle[1])} lies over an opening or off the "
            "part; take a larger pad, or press on two pads, along the rim or through a backing block"
        )
    share: Array = under / under.sum()
    return share


def _along_rim(grid: Grid, outline: Outline) -> Array:
    """Shares (n,) of one newton on each cell in the band along the rim, even over its metal."""
    band = min(RIM_BAND, RIM_SHARE * min(outline.length, outline.width))
    away = np.full(grid.u.size, np.inf)
    for start, end in zip(outline.rim, np.roll(outline.rim, -1, axis=0), strict=True):
        along = end - start
        length = float(along @ along)
        if length > 0.0:
            at = np.clip(((grid.u - start[0]) * along[0] + (grid.v - start[1]) * along[1]) / length, 0, 1)
            off = np.hypot(grid.u - start[0] - at * along[0], grid.v - start[1] - at * along[1])
            away = np.minimum(away, off)
    under = np.clip((band - away) / grid.cell_size + 0.5, 0.0, 1.0) * grid.area
    if under.sum() <= 0.0:
        raise InputError("the hands have no metal to press on along the rim: its band lies in openings")
    share: Array = under / under.sum()
    return share


def pressed_cells(outline: Outline, pressing: Pressing, pad: float) -> tuple[Array, Array]:
    """Where one newton of the hands acts.

    Parameters
    ----------
    outline : the part [m]
    pressing : "middle": a pad about the origin; "two pads": half on each of two pads at a quarter
        of the length either side of it along u; "rim": a band along the rim, a finger wide;
        "backing": a pad in the middle of a block that bridges all openings
    pad : diameter of a pad [m]

    Returns
    -------
    places (n, 2) [m]; share of the force at each (n,), together 1 [-]

    Raises
    ------
    InputError : if there is no metal where the hands press
    """
    behind = Outline(outline.rim) if pressing == "backing" else outline
    grid = make_grid(behind, cells=LOAD_CELLS, rim=False)
    if pressing in ("middle", "backing"):
        share = _on_disc(grid, (0.0, 0.0), pad)
    elif pressing == "two pads":
        quarter = 0.25 * outline.length
        share = 0.5 * (_on_disc(grid, (-quarter, 0.0), pad) + _on_disc(grid, (quarter, 0.0), pad))
    else:
        share = _along_rim(grid, outline)
    return grid.points, share


def make_bending(
    part: Part,
    *,
    grid: Grid | None = None,
    degree: int = DEGREE,
    keep: int | None = KEEP,
    backing: float = BACKING_THICKNESS,
    backing_modulus: float = BACKING_MODULUS,
) -> Bending | None:
    """Bending of a part; None where it is rigid (neither thickness nor equivalent thickness stated).

    Parameters
    ----------
    part : outline, metal, thickness (``ribbed_as`` goes before ``thickness``), pressing and pad
    grid : cells over which the face is summed; the shapes are then orthogonal to rigid motion over
        these cells, to rounding, and not only over the metal itself (the difference is some
        0.4 % of the bend at 1,500 cells)
    degree : highest total degree of the shapes, at least 2 [-]
    keep : number of the softest shapes that are kept [-]; None: all; of two equally stiff ones (a
        square part) both are kept
    backing, backing_modulus : thickness [m] and Young's modulus [Pa] of the block behind the
        part; only for the pressing "backing"

    Raises
    ------
    InputError : if there is no metal where the hands press
    ValueError : if a degree below 2 or no shape is asked for
    """
    thickness = part.ribbed_as or part.thickness
    if thickness is None:
        return None
    if degree < 2 or (keep is not None and keep < 1):
        raise ValueError(f"degree {degree}, keep {keep}: bending needs a degree of 2 and a shape at least")
    outline, poisson = part.outline, part.metal.poisson
    rigidity = plate_rigidity(part.metal.youngs_modulus, thickness, poisson)
    energy = rigidity * _energy_known(_rings(outline), degree, poisson)
    if part.pressing == "backing":
        block = plate_rigidity(backing_modulus, backing, BACKING_POISSON)
        rigidity += block
        energy += block * _energy_known(_rings(outline)[:1], degree, BACKING_POISSON)
    mix, stiffness = _free_shapes(outline, degree, energy)
    count = _softest(stiffness, keep)
    mix, stiffness = np.ascontiguousarray(mix[:, :count]), stiffness[:count]
    size = (outline.length, outline.width)
    if grid is None:
        points, weights = metal_rule(outline, degree)
        even = weights @ products(points, size, degree) / outline.area
    else:
        values = products(grid.points[: grid.n_cells], size, degree)
        area = grid.area[: grid.n_cells, None]
        rigid = values[:, :3].T @ (area * values)
        mix[:3] -= np.linalg.solve(rigid[:, :3], rigid @ mix)
        even = area[:, 0] @ values / area.sum()
    places, share = pressed_cells(outline, part.pressing, part.pad)
    return Bending(
        degree=degree,
        size=size,
        mix=mix,
        stiffness=np.diag(stiffness),
        press=share @ products(places, size, degree) @ mix,
        weight=even @ mix,
        rigidity=rigidity,
        pressing=part.pressing,
    )
