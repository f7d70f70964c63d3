"""Laps drawn at random: outlines, faces, hands, strokes and paper of every sort."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from hypothesis import strategies as st
from jobs import CONCAVE, HALF_TURNS, QUARTER_TURNS, STAY, UM, WALK_ROUND, Lapped, concave, job, lap

from handlap.sim.common.outline import Array, Outline, circle, slot
from handlap.sim.job.scenario import PlateShape

CELL = 0.01
"""Sides of parts, plates and papers are whole numbers of it [m]."""
OUTLINES = ("rectangle", "bores", "disc", "corner off", "ring")
PATTERNS = ("straight", "one way", "diagonal", "circle", "eight")
STATES = (STAY, HALF_TURNS, QUARTER_TURNS, WALK_ROUND)
PAPERS = ("endless", "short", "two pieces")


def outline_of(kind: str, length: float, width: float) -> Outline:
    """An outline that fills its bounding box, whose middle is the origin."""
    if kind == "disc":
        return Outline(circle(0.0, 0.0, width))
    if kind == "ring":
        return Outline(circle(0.0, 0.0, width), (circle(0.0, 0.0, 0.4 * width),))
    if kind == "bores":
        openings = (
            circle(-0.2 * length, 0.05 * width, 0.4 * width),
            slot(0.25 * length, 0.0, 0.3 * width, 0.15 * width, 0.5),
        )
        return Outline.rectangular(length, width, openings)
    if kind == "corner off":
        a, b = length / 2, width / 2
        return Outline(np.array([(-a, -b), (a, -b), (a, 0.3 * b), (0.4 * a, b), (-a, b)]))
    if kind in CONCAVE:
        return concave(kind, length, width)
    return Outline.rectangular(length, width)


@dataclass(frozen=True)
class Drawn:
    """A lap to be worked; ``shape``: coefficients of the face [m], ``given``: what :func:`jobs.job` takes."""

    kind: str
    length: float
    width: float
    shape: tuple[float, ...]
    strokes: int
    rows: int
    given: dict[str, Any]
    dish: float = 0.0
    cell: float = CELL

    @property
    def outline(self) -> Outline:
        return outline_of(self.kind, self.length, self.width)

    def face(self, u: Array, v: Array) -> Array:
        a, b = 2 * u / self.length, 2 * v / self.width
        terms = (a, b, a * a, a * b, b * b, a**3, a * a * b, a * b * b, b**3)
        return sum((c * t for c, t in zip(self.shape, terms, strict=True)), 0.0 * u)

    def with_(self, **changes: Any) -> Drawn:
        """The same lap with other arguments of the job."""
        return replace(self, given={**self.given, **changes})

    def run(self, *, outline: Outline | None = None, face: Any = None, **more: Any) -> Lapped:
        scenario = job(outline or self.outline, **self.given)
        if self.dish:
            shape: PlateShape = "dish"
            plate = replace(scenario.plate, shape=shape, shape_height=self.dish)
            scenario = replace(scenario, plate=plate)
        return lap(scenario, face or self.face, self.strokes, rows=self.rows, cell=self.cell, **more)


@st.composite
def laps(
    draw: st.DrawFn,
    *,
    kinds: tuple[str, ...] = OUTLINES,
    patterns: tuple[str, ...] = PATTERNS,
    papers: tuple[str, ...] = PAPERS,
    ages: bool | None = None,
    wobbles: bool | None = None,
    dishes: bool | None = None,
    edges: bool | None = None,
    states: tuple[Any, ...] = STATES,
) -> Drawn:
    """Any lap; what is given is not left to chance."""

    def whether(told: bool | None) -> bool:
        return draw(st.booleans()) if told is None else told

    kind = draw(st.sampled_from(kinds))
    columns, rows = draw(st.integers(8, 20)), draw(st.integers(6, 12))
    if kind in ("disc", "ring"):
        columns = rows
    length, width = columns * CELL, rows * CELL
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    bedding = float(np.exp(rng.uniform(np.log(2e-6), np.log(40e-6))))
    size = float(np.exp(rng.uniform(np.log(0.1), np.log(10.0)))) * bedding
    pattern = draw(st.sampled_from(patterns))
    travel = float(rng.uniform(0.3, 0.9)) * min(length, width)
    strokes = draw(st.integers(20, 200))
    press, weight = float(rng.uniform(10, 150)), float(rng.uniform(0, 100))
    depth = float(rng.uniform(0.3, 5.0)) * bedding
    span = min(length, width)
    given: dict[str, Any] = dict(
        press=press,
        weight=weight,
        weight_at=tuple(0.1 * rng.uniform(-1, 1, 2) * [length, width]),
        bias=tuple(0.1 * rng.uniform(-1, 1, 2) * span),
        reach=float(rng.uniform(0.0, 0.1)) * span,
        push_over_pull=float(rng.uniform(0.5, 2.0)),
        bedding=bedding,
        rate=depth * length * width / ((press + weight) * 2 * travel * strokes),
        pattern=pattern,
        travel=travel,
        direction=draw(st.sampled_from((0.0, np.pi / 2, 0.4))),
        states=draw(st.sampled_from(states)),
        turn_every=int(rng.integers(3, 30)),
        plate=(60 * CELL, 60 * CELL),
    )
    paper = draw(st.sampled_from(papers))
    if paper == "short":
        given["strips"] = [(-0.3, -0.3, length / 2 + int(rng.integers(-1, 3)) * CELL, 0.3)]
    if paper == "two pieces":
        gap = int(rng.integers(1, 3)) * CELL
        given["strips"] = [(-0.3, -0.3, 0.0, 0.3), (gap, -0.3, 0.3, 0.3)]
    if whether(ages):
        given |= dict(ages=True, ageing=float(rng.uniform(0.3, 5.0)))
        given |= dict(brush_every=int(rng.integers(10, 60)), sheet_every=int(rng.integers(10, 120)))
        given |= dict(floors=tuple(rng.uniform(0.05, 1.0, 2)), brushing=float(rng.uniform(0.0, 1.0)))
        given |= dict(blunt_bedding=float(rng.uniform(0.3, 1.0)), friction_gain=float(rng.uniform(0.0, 0.8)))
        given["sway"] = float(rng.uniform(0.0, 0.1)) * span
    if whether(wobbles):
        given["wobble"] = tuple(0.1 * rng.uniform(0, 1, 2) * span)
    if whether(edges):
        given |= dict(
            edge_rate=float(rng.uniform(0.0, 4.0)), edge_rise=float(rng.uniform(0.0, 3.0)) * bedding
        )
    dish = float(rng.uniform(0.2, 2.0)) * bedding if whether(dishes) else 0.0
    shape = tuple(float(x) for x in size * rng.uniform(-1, 1, 9))
    return Drawn(kind, length, width, shape, strokes, draw(st.integers(16, 64)), given, dish)


def um(x: Any) -> Any:
    """In µm."""
    return np.asarray(x) / UM
