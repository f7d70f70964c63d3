"""What a person saw of the dye, as one record however it was told, and what a worked face would show.

Zones are a grid of rows across the face, the far side first, and columns along it, the left end first:
three by five where a person tells them, finer where a photo does.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from handlap.sim.common.grid import Grid
from handlap.sim.common.outline import Array
from handlap.sim.lapping.dye import Map, beyond

ROWS, COLUMNS = 3, 5
"""The grid that words and letters speak of."""
ZONES = ROWS * COLUMNS
MOST_ROWS, MOST_COLUMNS = 12, 20
"""The finest grid: finer zones hold less than a cell or two of the faces that they are compared with."""
WORDS_SD, ZONE_SD, FACE_SD, MAP_SD = 0.25, 0.15, 0.07, 0.10
"""Standard errors of a share: of a zone told in words, of one told as a share, of the whole face; of a zone
that is measured without error, for the map that a model draws [-].  All for zones of three by five."""
WORDS_LEVELS, SHARE_LEVELS = 3, 11
"""Shares that are told apart: none, half and all in words; tenths as shares."""
FADING_VAGUER = 1.5
"""Standard error of a share that is fading or gone over that of one gone [-]: thinner dye has no edge (our
choice)."""


@dataclass(frozen=True)
class DyePicture:
    """Shares of the dye gone, and fading or gone, as a person saw them; NaN where nothing was said.

    Attributes
    ----------
    gone, faded : by zone (rows·columns,), row by row from the far left one, or of the whole face (1,) [-]
    sd : standard error of a share gone, one for all or by zone (rows·columns,) [-]
    levels : shares that the person told apart, from none to all
    shape : rows and columns of the zones; (1, 1): the whole face
    """

    gone: Array
    faded: Array
    sd: float | Array
    levels: int
    shape: tuple[int, int] = (ROWS, COLUMNS)

    @property
    def zoned(self) -> bool:
        """Whether it tells zones apart."""
        return self.gone.size > 1

    @property
    def seen(self) -> Array:
        """What it is evidence of: shares gone, then shares fading or gone (2·zones,), NaN for no evidence.

        Where all is gone all has faded, and where nothing has faded nothing is gone: what follows
        from the other is no second witness.
        """
        return np.concatenate(
            [np.where(self.faded == 0.0, np.nan, self.gone), np.where(self.gone == 1.0, np.nan, self.faded)]
        )

    @property
    def errors(self) -> Array:
        """Standard errors (2·zones,) of :attr:`seen` [-]."""
        sd = np.broadcast_to(np.asarray(self.sd, dtype=float), self.gone.shape)
        return np.concatenate([sd, FADING_VAGUER * sd])

    @property
    def chance_by_luck(self) -> float:
        """Log chance of the picture if every level of every share were as likely."""
        return -float(np.log(self.levels) * np.isfinite(self.seen).sum())

    def on_metal(self, grid: Grid) -> DyePicture:
        """The picture without the zones in which there is no metal."""
        if not self.zoned:
            return self
        metal = zones_of(grid, self.shape)[1] > 0.0
        gone, faded = (np.where(metal, told, np.nan) for told in (self.gone, self.faded))
        return replace(self, gone=gone, faded=faded)

    def shown(self, grid: Grid, removed: Array, gone_at: Array | float, faded_at: Array | float) -> Array:
        """The same shares on faces with a removal (…, cells) since they were dyed [m]: (…, 2·zones).

        Parameters
        ----------
        gone_at, faded_at : depths after which dye is gone, and fading or gone, one or (…, 1) [m]

        Returns
        -------
        shares [-], in the order of :attr:`seen`; NaN for a zone without metal
        """
        states = (beyond(removed, gone_at), beyond(removed, faded_at))
        if self.zoned:
            return np.concatenate([zone_shares(grid, state, self.shape) for state in states], axis=-1)
        area = grid.area[: grid.n_cells]
        return np.stack([(state @ area) / area.sum() for state in states], axis=-1)

    def log_likelihood(self, shares: Array) -> Array:
        """Log likelihood (…,) of the picture, from the shares a face shows (…, 2·zones).

        A person calls a zone by one of the levels; the nearer its share, the likelier the call.
        """
        seen, steps = self.seen, np.linspace(0.0, 1.0, self.levels)
        away = -0.5 * ((shares[..., None] - steps) / self.errors[:, None]) ** 2
        away = away - np.log(np.sum(np.exp(away), axis=-1, keepdims=True))
        level = np.rint(np.nan_to_num(seen) * (self.levels - 1)).astype(int)
        picked = np.take_along_axis(
            away, np.broadcast_to(level[:, None], (*shares.shape, 1)), axis=-1
        )[..., 0]  # fmt: skip
        found: Array = np.where(np.isfinite(seen) & np.isfinite(shares), picked, 0.0).sum(axis=-1)
        return found


def of_face(left: float | None, faded: float | None) -> DyePicture:
    """The picture of one who saw on what share of the face dye is left, or fading or gone; None: not said."""
    gone, fading = np.nan if left is None else 1.0 - left, np.nan if faded is None else faded
    return DyePicture(np.array([gone]), np.array([fading]), FACE_SD, SHARE_LEVELS, (1, 1))


def of_shares(left: NDArray[np.floating], sd: NDArray[np.floating] | None = None) -> DyePicture:
    """The picture of one who saw what share of each zone (rows, columns) dye is left on; NaN: not seen.

    Parameters
    ----------
    sd : standard errors (rows, columns) of what was measured, from a photo say; None: judged by eye

    A finer grid is no host of independent witnesses: what a model gets wrong about where dye goes it gets
    wrong over whole stretches of the face.  So each zone errs by more the more there are of them, such that
    all together tell as much of such a stretch as fifteen do, and besides that where in it the dye ends.

    >>> float(of_shares(np.full((6, 10), 0.5)).errors[0] / of_shares(np.full((3, 5), 0.5)).errors[0])
    2.0
    """
    told: Array = np.asarray(left, dtype=np.float64)
    rows, columns = told.shape
    finer = float(np.sqrt(told.size / ZONES))
    errors: Array = np.full(told.size, ZONE_SD * finer)
    if sd is not None:
        errors = np.hypot(MAP_SD * finer, np.nan_to_num(np.asarray(sd, dtype=float).ravel(), nan=1.0))
    unseen = np.full(told.size, np.nan)
    return DyePicture(1.0 - told.ravel(), unseen, errors, SHARE_LEVELS, (rows, columns))


def zones_of(grid: Grid, shape: tuple[int, int] = (ROWS, COLUMNS)) -> tuple[NDArray[np.int64], Array]:
    """Zone (cells,) of every cell, row by row from the far left one, and the metal in each (zones,) [m²]."""
    cells = slice(0, grid.n_cells)
    rows, columns = shape

    def part(at: Array, edges: Array, count: int) -> NDArray[np.int64]:
        share = (at - edges[0]) / (edges[-1] - edges[0])
        zone: NDArray[np.int64] = np.clip(count * share, 0, count - 1).astype(np.int64)
        return zone

    column = part(grid.u[cells], grid.u_edges, columns)
    row = rows - 1 - part(grid.v[cells], grid.v_edges, rows)
    zone: NDArray[np.int64] = (row * columns + column).astype(np.int64)
    return zone, np.bincount(zone, grid.area[cells], rows * columns).astype(float)


def zone_shares(grid: Grid, where: Map, shape: tuple[int, int] = (ROWS, COLUMNS)) -> Array:
    """Share (…, zones) of every zone that maps (…, cells) of 0 and 1 mark; NaN where no metal is."""
    zone, metal = zones_of(grid, shape)
    weights = np.zeros((grid.n_cells, metal.size))
    weights[np.arange(grid.n_cells), zone] = grid.area[: grid.n_cells]
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(metal > 0.0, (where @ weights) / metal, np.nan)
