"""A second lap, slow and simple, that shares nothing with the program but the equations.

Pressure p = p0·exp((h + g + r + c0 + cu·u + cv·v)/λ) on what lies on paper; the pose c is found by a general
minimiser of the convex energy λ·∫p − W·(c0 + cu·eu + cv·ev); wear dh/ds = −k·p by explicit midpoint steps
along every pass.  Paper remembers how much was cut over each place; a spot feels its mean over many places
of the stroke and of a normal sway, every one of them looked up by itself, and what it cuts lies there by
how well each of them cut.  λ falls as tips blunt, friction grows as paper clogs, a leading edge is cut
faster and meets a wave.  Own raster, own strokes, own memory.  Nothing of the program is imported.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from scipy.optimize import minimize
from scipy.sparse import csr_matrix
from scipy.special import ndtri

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
    """Paper that loads and dulls: nodes on a square raster, each remembering the metal cut over it [m].

    floors, scales : of loading and dulling [-, m]; leaves : share of the loading that brushing leaves
    blunt : share of the bedding length that blunt paper keeps; gain : of friction on clogged paper
    strips : where there is paper (x0, y0, x1, y1) [m]; None: everywhere
    """

    x0: float
    y0: float
    step: float
    shape: tuple[int, int]
    floors: tuple[float, float]
    scales: tuple[float, float]
    leaves: float = 0.4
    blunt: float = 1.0
    gain: float = 0.0
    strips: Sequence[tuple[float, float, float, float]] | None = None
    cut: Any = field(init=False)

    def __post_init__(self) -> None:
        self.known: dict[object, Any] = {}
        # How much of every node's square is paper.
        self.paper = np.ones(self.shape).ravel()
        if self.strips is not None:
            j, i = np.indices(self.shape)
            x, y = self.x0 + self.step * i, self.y0 + self.step * j
            half = self.step / 2
            self.paper = (
                sum(
                    (np.minimum(x + half, x1) - np.maximum(x - half, x0)).clip(0.0)
                    * (np.minimum(y + half, y1) - np.maximum(y - half, y0)).clip(0.0)
                    for x0, y0, x1, y1 in self.strips
                ).ravel()
                / self.step**2
            )  # type: ignore[union-attr]
        self.new()

    def new(self) -> None:
        self.cut = np.zeros((2, self.shape[0] * self.shape[1]))

    def brush(self) -> None:
        self.cut[0] *= self.leaves

    def places(self, x: Any, y: Any, over: Any, like: object = None) -> Any:
        """Shares (n, nodes) of all nodes in what spots at (x, y) feel over places (m, 3), (dx, dy, share).

        Bilinear between the nodes.  Places without paper count for nothing: the mean is over what was met.
        ``like``: kept under that name.
        """
        if like is not None and like in self.known:
            return self.known[like]
        found = csr_matrix((x.size, self.paper.size))
        for start in range(0, len(over), 400):
            found = found + self._looked_up(x, y, over[start : start + 400])
        found = found.multiply(self.paper[None, :]).tocsr()
        met = np.asarray(found.sum(axis=1)).ravel()
        found = csr_matrix(found.multiply(1.0 / np.maximum(met, 1e-300)[:, None]))
        if like is not None:
            self.known[like] = found
        return found

    def _looked_up(self, x: Any, y: Any, over: Any) -> Any:
        rows, columns, shares = [], [], []
        spots = np.arange(x.size)
        for dx, dy, share in over:
            a, b = (x + dx - self.x0) / self.step, (y + dy - self.y0) / self.step
            i, j = np.floor(a).astype(int), np.floor(b).astype(int)
            assert i.min() >= 0 and j.min() >= 0, "the sheet is too small for this work"
            assert i.max() < self.shape[1] - 1 and j.max() < self.shape[0] - 1, "the sheet is too small"
            fa, fb = a - i, b - j
            for di, along in ((0, 1 - fa), (1, fa)):
                for dj, across in ((0, 1 - fb), (1, fb)):
                    rows.append(spots)
                    columns.append((j + dj) * self.shape[1] + i + di)
                    shares.append(share * along * across)
        entries = np.concatenate(shares), (np.concatenate(rows), np.concatenate(columns))
        return csr_matrix(entries, shape=(x.size, self.paper.size))

    def left(self, cut: Any) -> Any:
        """How clean and how sharp every node is, new: 1 (2, nodes)."""
        return np.exp(-cut / np.array(self.scales)[:, None])

    def power(self, left: Any) -> Any:
        """How well every node cuts, new: 1, of how clean and how sharp it is (2, nodes)."""
        loaded, blunt = (f + (1 - f) * part for f, part in zip(self.floors, left, strict=True))
        return loaded * blunt

    def laid(self, places: Any, volume: Any, power: Any) -> Any:
        """Metal per area of paper [m] that volumes (n,) come to: each place has its share by how it cut."""
        felt = places @ power
        return power * (places.T @ (volume / felt)) / (self.step**2 * np.maximum(self.paper, 1e-300))


@dataclass(frozen=True)
class Edge:
    """What a leading edge does: cut faster by ``rate`` over ``length`` [m], on paper that rises by ``rise``
    over ``wave`` [m].  ``ways``: way to the rim along a direction (cu, cv) from spots u, v (n,) [m]."""

    rate: float
    length: float
    rise: float
    ways: Callable[[Any, Any, float, float], Any]
    wave: float = 12e-3


@dataclass
class SlowLap:
    """A rigid part on paper, carried on by one short slide after another.

    u, v, area, h : cells of the face (n,) [m, m², m]; rate [m²/N], of all or of each; bedding λ [m]
    strips : rectangles of paper (x0, y0, x1, y1) [m]; None: paper everywhere
    ground : height of the plate at (x, y) [m]; None: flat
    sheet : the paper's memory; None: paper that stays fresh
    edge : what the leading edge does; None: nothing
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
    edge: Edge | None = None

    def __post_init__(self) -> None:
        self.h = np.array(self.h, dtype=float)
        self.pose: dict[object, Any] = {}
        self.size = np.array([1.0, np.abs(self.u).max(), np.abs(self.v).max()])
        self.places = np.vstack([np.ones_like(self.u), self.u, self.v]) / self.size[:, None]
        self.volume = 0.0

    def pressure(
        self, over: Any, area: Any, load: float, at: Sequence[float], bedding: float, like: object = None
    ) -> Any:
        """Pressure (n,) [Pa] under a load [N] acting at (eu, ev) [m]; area: what of it lies on paper.

        ``like``: start from the pose found last for a slide of this name.
        """
        target = np.array([1.0, *at]) / self.size
        share = area * P0 / load
        over = over / bedding

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
        turn: float = 0.0, like: object = None, ahead: tuple[float, float] = (0.0, 0.0), reach: float = 0.0,
        over: Any = ((0.0, 0.0, 1.0),), about: tuple[float, float] | None = None, stand: object = None,
    ) -> None:  # fmt: skip
        """One explicit midpoint step over a distance [m], part at (x, y), turned by ``turn``.

        at, reach, ahead : where the load acts without friction [m], friction times height of the hands on
            fresh paper [m], direction of motion in the part
        over, about, stand : places (m, 3) that the paper's wear is felt over, from ``about`` (None: from
            where the part is); the name to keep them under
        """
        c, s = np.cos(turn), np.sin(turn)
        away_x, away_y = c * self.u - s * self.v, s * self.u + c * self.v
        px, py = x + away_x, y + away_y
        below = 0.0 if self.ground is None else self.ground(px, py)
        rate = self.rate
        if self.edge is not None:
            way = self.edge.ways(self.u, self.v, *ahead)
            rate = rate * (1.0 + self.edge.rate * np.exp(-way / self.edge.length))
            below = below + self.edge.rise * np.exp(-way / self.edge.wave)
        cover = self._cover(px, py, turn)
        places = None
        if self.sheet is not None:
            mx, my = (x, y) if about is None else about
            places = self.sheet.places(mx + away_x, my + away_y, over, stand)

        def off(h: Any, cut: Any, length: float) -> tuple[Any, Any]:
            """Removal over a length from heights h on paper that has cut so much, and that paper's power."""
            k, bedding, forward, power = rate, self.bedding, reach, None
            if places is not None:
                left = self.sheet.left(cut)  # type: ignore[union-attr]
                power = self.sheet.power(left)  # type: ignore[union-attr]
                clean, sharp = (float(self.area @ (places @ part)) / self.area.sum() for part in left)
                k = rate * (places @ power)
                bedding *= self.sheet.blunt + (1.0 - self.sheet.blunt) * sharp  # type: ignore[union-attr]
                forward *= 1.0 + self.sheet.gain * (1.0 - clean)  # type: ignore[union-attr]
            acts = (at[0] + forward * ahead[0], at[1] + forward * ahead[1])
            p = self.pressure(h + below, self.area * cover, load, acts, bedding, like)
            return length * k * cover * p, power

        cut = None if places is None else self.sheet.cut  # type: ignore[union-attr]
        half, power = off(self.h, cut, 0.5 * distance)
        then = cut if places is None else cut + self.sheet.laid(places, half * self.area, power)  # type: ignore[union-attr]
        whole, power = off(self.h - half, then, distance)
        self.h = self.h - whole
        self.volume += float(whole @ self.area)
        if places is not None:
            self.sheet.cut = cut + self.sheet.laid(places, whole * self.area, power)  # type: ignore[union-attr]

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
        """Where the resultant acts but for friction, in the part's frame; hands look along ``facing``."""
        force = self.push if pushing else self.pull
        ahead = force * self.bias[0] / (force + self.weight)
        left = force * self.bias[1] / (force + self.weight)
        share = self.weight / (force + self.weight)
        c, s = np.cos(facing), np.sin(facing)
        return (
            c * ahead - s * left + share * self.weight_at[0],
            s * ahead + c * left + share * self.weight_at[1],
        )


def swaying(sway: float, *, spacing: float = 0.4, out: float = 3.6) -> list[tuple[float, float, float]]:
    """Places (dx, dy, share) of a normal sway in both directions, a square of them to ``out`` deviations."""
    at = np.arange(-out, out + 1e-9, spacing)
    weights = np.exp(-0.5 * at**2)
    weights /= weights.sum()
    one = list(zip(sway * at, weights, strict=True))
    return [(a, b, p * q) for a, p in one for b, q in one]


def felt_over(path: Sequence[tuple[float, float]], sway: float) -> list[tuple[float, float, float]]:
    """Places (dx, dy, share) of a whole stroke along a path of places, each with the sway about it."""
    return [(x + dx, y + dy, share / len(path)) for x, y in path for dx, dy, share in swaying(sway)]


def line(travel: float, angle: float, count: int = 12) -> list[tuple[float, float]]:
    """Places of a straight stroke about its middle [m]."""
    along = travel * ((np.arange(count) + 0.5) / count - 0.5)
    return [(float(a * np.cos(angle)), float(a * np.sin(angle))) for a in along]


def ring(travel: float, count: int = 24) -> list[tuple[float, float]]:
    """Places of a round of this diameter about its middle [m]."""
    turns = 2 * np.pi * (np.arange(count) + 0.5) / count
    return [(float(0.5 * travel * np.sin(a)), float(-0.5 * travel * np.cos(a))) for a in turns]


def strokes(
    lap: SlowLap, hold: Hold, *, count: int, travel: float, direction: float = 0.0, places: int = 1,
    sway: float = 0.0, states: Sequence[tuple[float, float]] = ((0.0, 0.0),), turn_every: int = 0,
    brush_every: int = 0, sheet_every: int = 0, one_way: bool = False, slants: Sequence[float] = (0.0,),
    round_in: int = 0, place_by_place: bool = False,
) -> None:  # fmt: skip
    """So many strokes to and fro about the middle of the plate, [m] and [rad].

    Each begins in the middle of a push and ends there, so that neither end of it comes last.  ``places``
    short slides a half pass, shifted a little from stroke to stroke.  ``sway``: deviation of strokes beside
    their line; ``slants``: angles that strokes take in turn besides the direction.  ``round_in``: instead,
    rounds of diameter ``travel`` in so many slides each.  ``place_by_place``: paper is felt where the part
    is, every stroke swaying as one to its own place, instead of over all strokes.
    """
    golden, silver, bronze = 0.6180339887498949, 0.7548776662466927, 0.5698402909980532
    bins = np.arange(2 * places)
    passes = [(True, int(i)) for i in bins[places:]]
    if not one_way:
        passes += [(False, int(i)) for i in bins[::-1]]
    passes += [(True, int(i)) for i in bins[:places]]
    slides = [(True, i) for i in range(round_in)] or passes
    for stroke in range(count):
        if lap.sheet is not None and stroke and brush_every and stroke % brush_every == 0:
            lap.sheet.brush()
        if lap.sheet is not None and stroke and sheet_every and stroke % sheet_every == 0:
            lap.sheet.new()
        state = (stroke // turn_every) % len(states) if turn_every else 0
        turn, walked = states[state]
        slant = slants[stroke % len(slants)]
        look = direction + walked
        # One stroke as far to the left as the next to the right.
        pair, side = stroke // 2, (-1.0) ** stroke
        beside, beyond = (side * sway * float(ndtri((0.5 + pair * step) % 1.0)) for step in (silver, bronze))
        shift = (0.5 + stroke * golden) % 1.0
        stand: Any = (round(turn, 9), round((look + slant) % np.pi, 9))
        over: Any = ((0.0, 0.0, 1.0),)
        if place_by_place:
            stand = None
        elif lap.sheet is not None and stand not in lap.sheet.known:
            over = felt_over(ring(travel) if round_in else line(travel, look + slant), sway)
        for pushing, i in slides:
            if round_in:
                way = 2 * np.pi * (i + shift) / round_in
                x, y = 0.5 * travel * np.sin(way), -0.5 * travel * np.cos(way)
                length, facing = np.pi * travel / round_in, way
            else:
                along = travel * ((i + shift) / (2 * places) - 0.5)
                x, y = along * np.cos(slant), along * np.sin(slant)
                length, facing = travel / (2 * places), slant + (0.0 if pushing else np.pi)
            y, x = y + beside, x + (beyond if place_by_place else 0.0)
            lap.slide(
                length,
                hold.load(pushing),
                hold.at(pushing, look - turn),
                x=np.cos(look) * x - np.sin(look) * y,
                y=np.sin(look) * x + np.cos(look) * y,
                turn=turn,
                like=(state, slant, pushing, i),
                ahead=(np.cos(look - turn + facing), np.sin(look - turn + facing)),
                reach=hold.reach,
                over=over,
                about=None if place_by_place else (0.0, 0.0),
                stand=stand,
            )
