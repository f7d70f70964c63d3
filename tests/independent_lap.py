"""A second lap, slow and simple, that shares nothing with the program but the equations.

Pressure p = p0·exp((h + g + c0 + cu·u + cv·v)/λ) on what lies on paper; the pose c is found by a general
minimiser of the convex energy λ·∫p − W·(c0 + cu·eu + cv·ev); wear dh/ds = −k·p by explicit midpoint
steps along every pass; places on the paper remember how much was cut over them.  Own raster, own
strokes, own memory.  Nothing of the program is imported.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from scipy.optimize import minimize

P0 = 1e3
"""Only fixes where the approach is counted from [Pa]."""


def raster(
    length: float, width: float, columns: int, rows: int, holes: Sequence[tuple[float, float, float]] = (),
    fine: int = 24,
) -> tuple[Any, Any, Any]:  # fmt: skip
    """Centres of gravity u, v [m] and areas [m²] of the cells of a rectangle with round holes.

    By counting fine × fine places in each cell; holes as (u, v, diameter) [m].
    """
    at_u = (np.arange(columns * fine) + 0.5) * length / (columns * fine) - length / 2
    at_v = (np.arange(rows * fine) + 0.5) * width / (rows * fine) - width / 2
    u, v = np.meshgrid(at_u, at_v)
    metal = np.ones(u.shape)
    for hu, hv, diameter in holes:
        metal[(u - hu) ** 2 + (v - hv) ** 2 < (diameter / 2) ** 2] = 0.0

    def cells(x: Any) -> Any:
        return x.reshape(rows, fine, columns, fine).sum(axis=(1, 3)).ravel()

    count = cells(metal)
    some = count > 0
    area = count[some] * length * width / (columns * rows * fine**2)
    return cells(u * metal)[some] / count[some], cells(v * metal)[some] / count[some], area


@dataclass
class Sheet:
    """Paper that loads and dulls: nodes on a square raster, each remembering the metal cut over it [m]."""

    x0: float
    y0: float
    step: float
    shape: tuple[int, int]
    floors: tuple[float, float]
    scales: tuple[float, float]
    cut: Any = field(init=False)

    def __post_init__(self) -> None:
        self.new()

    def new(self) -> None:
        self.cut = np.zeros((2, *self.shape))

    def brush(self) -> None:
        self.cut[0] *= 0.2

    def weights(self, x: Any, y: Any) -> list[tuple[Any, Any]]:
        """Nodes about each place and its share of them: bilinear."""
        a, b = (x - self.x0) / self.step, (y - self.y0) / self.step
        i, j = np.floor(a).astype(int), np.floor(b).astype(int)
        assert i.min() >= 0 and j.min() >= 0, "the sheet is too small for this work"
        fa, fb = a - i, b - j
        return [
            ((j, i), (1 - fa) * (1 - fb)),
            ((j, i + 1), fa * (1 - fb)),
            ((j + 1, i), (1 - fa) * fb),
            ((j + 1, i + 1), fa * fb),
        ]

    def power(self, weights: list[tuple[Any, Any]]) -> Any:
        """How well the paper cuts under each place; new paper: 1."""
        left = [
            floor + (1 - floor) * np.exp(-cut / scale)
            for floor, scale, cut in zip(self.floors, self.scales, self.cut, strict=True)
        ]
        whole = left[0] * left[1]
        return sum(share * whole[node] for node, share in weights)

    def deposit(self, weights: list[tuple[Any, Any]], volume: Any) -> None:
        for memory in self.cut:
            for node, share in weights:
                np.add.at(memory, node, share * volume / self.step**2)


@dataclass
class SlowLap:
    """A rigid part on paper, carried on by one short slide after another.

    u, v, area, h : cells of the face (n,) [m, m², m]; rate [m²/N], of all or of each; bedding λ [m]
    strips : rectangles of paper (x0, y0, x1, y1) [m]; None: paper everywhere
    ground : height of the plate at (x, y) [m]; None: flat
    sheet : the paper's memory; None: paper that stays fresh
    """

    u: Any
    v: Any
    area: Any
    h: Any
    rate: Any
    bedding: float
    cell: tuple[float, float] = (0.0, 0.0)
    strips: Sequence[tuple[float, float, float, float]] | None = None
    ground: Callable[[Any, Any], Any] | None = None
    sheet: Sheet | None = None

    def __post_init__(self) -> None:
        self.h = np.array(self.h, dtype=float)
        self.pose: dict[object, Any] = {}
        self.size = np.array([1.0, np.abs(self.u).max(), np.abs(self.v).max()])
        self.places = np.vstack([np.ones_like(self.u), self.u, self.v]) / self.size[:, None]
        self.volume = 0.0

    def pressure(self, over: Any, area: Any, load: float, at: Sequence[float], like: object = None) -> Any:
        """Pressure (n,) [Pa] under a load [N] acting at (eu, ev) [m]; area: what of it lies on paper.

        ``like``: start from the pose found last for a slide of this name.
        """
        target = np.array([1.0, *at]) / self.size
        share = area * P0 / load
        over = over / self.bedding

        def closing(c: Any) -> Any:
            return np.exp(np.minimum(over + c @ self.places, 300.0)) * share

        def energy(c: Any) -> tuple[float, Any]:
            p = closing(c)
            return float(p.sum() - c @ target), self.places @ p - target

        def curvature(c: Any) -> Any:
            return (self.places * closing(c)) @ self.places.T

        loaded = area > 0.0
        cold = np.array([-np.log(share[loaded].sum()) - over[loaded].max(), 0.0, 0.0])
        found = minimize(energy, self.pose.get(like, cold), jac=True, hess=curvature, method="trust-exact",
                         options={"gtol": 1e-10, "maxiter": 500})  # fmt: skip
        left = np.abs(energy(found.x)[1]).max()
        assert left < 1e-7, f"no pose: {left:.1e} of the load is not in balance"
        self.pose[like] = found.x
        return closing(found.x) * load / area.clip(1e-300) * loaded

    def slide(
        self, distance: float, load: float, at: Sequence[float], *, x: float = 0.0, y: float = 0.0,
        turn: float = 0.0, like: object = None,
    ) -> None:  # fmt: skip
        """One explicit midpoint step over a distance [m], part at (x, y), turned by ``turn``."""
        c, s = np.cos(turn), np.sin(turn)
        px, py = x + c * self.u - s * self.v, y + s * self.u + c * self.v
        below = 0.0 if self.ground is None else self.ground(px, py)
        cover = self._cover(px, py, turn)
        weights = None if self.sheet is None else self.sheet.weights(px, py)
        cutting = self.rate if weights is None else self.rate * self.sheet.power(weights)  # type: ignore[union-attr]
        area = self.area * cover
        half = self.pressure(self.h + below, area, load, at, like)
        middle = self.h - 0.5 * distance * cutting * cover * half
        off = distance * cutting * cover * self.pressure(middle + below, area, load, at, like)
        self.h = self.h - off
        self.volume += float(off @ self.area)
        if weights is not None:
            self.sheet.deposit(weights, off * self.area)  # type: ignore[union-attr]

    def _cover(self, px: Any, py: Any, turn: float) -> Any:
        """Share of each cell that lies on paper; the part stands square to it."""
        if self.strips is None:
            return np.ones_like(px)
        wide, deep = self.cell if abs(np.cos(turn)) > 0.5 else self.cell[::-1]
        total = np.zeros_like(px)
        for x0, y0, x1, y1 in self.strips:
            along = np.minimum(px + wide / 2, x1) - np.maximum(px - wide / 2, x0)
            across = np.minimum(py + deep / 2, y1) - np.maximum(py - deep / 2, y0)
            total += along.clip(0.0) * across.clip(0.0) / (wide * deep)
        return total


@dataclass(frozen=True)
class Hold:
    """How the part is held: press of the hands while pushing and pulling [N], its place in the operator's
    frame [m], weight [N] and its place in the part [m], friction times height of the hands [m]."""

    push: float
    pull: float
    bias: tuple[float, float] = (0.0, 0.0)
    weight: float = 0.0
    weight_at: tuple[float, float] = (0.0, 0.0)
    reach: float = 0.0

    def load(self, pushing: bool) -> float:
        return self.weight + (self.push if pushing else self.pull)

    def at(self, pushing: bool, facing: float) -> tuple[float, float]:
        """Where the resultant acts in the part's frame, the operator looking along ``facing`` in it."""
        force = self.push if pushing else self.pull
        ahead = force * self.bias[0] / (force + self.weight) + self.reach * (1.0 if pushing else -1.0)
        left = force * self.bias[1] / (force + self.weight)
        share = self.weight / (force + self.weight)
        c, s = np.cos(facing), np.sin(facing)
        return (
            c * ahead - s * left + share * self.weight_at[0],
            s * ahead + c * left + share * self.weight_at[1],
        )


def strokes(
    lap: SlowLap, hold: Hold, *, count: int, travel: float, direction: float = 0.0, places: int = 1,
    sway: float = 0.0, states: Sequence[tuple[float, float]] = ((0.0, 0.0),), turn_every: int = 0,
    brush_every: int = 0, sheet_every: int = 0,
) -> None:  # fmt: skip
    """So many strokes to and fro about the middle of the plate, [m] and [rad].

    Each begins in the middle of a push and ends there, so that neither end of it comes last.  ``places``
    short slides a half pass, shifted a little from stroke to stroke; ``sway``: strokes run evenly up to so
    far beside their line, one to the left and the next as far to the right.
    """
    golden, silver = 0.6180339887498949, 0.7548776662466927
    bins = np.arange(2 * places)
    passes = [(True, i) for i in bins[places:]] + [(False, i) for i in bins[::-1]]
    passes += [(True, i) for i in bins[:places]]
    for stroke in range(count):
        if lap.sheet is not None and stroke and brush_every and stroke % brush_every == 0:
            lap.sheet.brush()
        if lap.sheet is not None and stroke and sheet_every and stroke % sheet_every == 0:
            lap.sheet.new()
        state = (stroke // turn_every) % len(states) if turn_every else 0
        turn, walked = states[state]
        look = direction + walked
        beside = sway * (2.0 * ((0.5 + stroke // 2 * silver) % 1.0) - 1.0) * (-1.0) ** stroke
        shift = (0.5 + stroke * golden) % 1.0
        for pushing, i in passes:
            along = travel * ((i + shift) / (2 * places) - 0.5)
            lap.slide(
                travel / (2 * places),
                hold.load(pushing),
                hold.at(pushing, look - turn),
                x=np.cos(look) * along - np.sin(look) * beside,
                y=np.sin(look) * along + np.cos(look) * beside,
                turn=turn,
                like=(state, pushing, int(i)),
            )
