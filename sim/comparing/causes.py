"""Why a face comes out as it does: every cause of error switched off alone, and left on alone.

All laps take the same faces, hands, paper and wobble, as many strokes and the same mean depth of
metal (the rate is scaled where a cause changes it), so that what differs is the shape alone.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from handlap.sim.common.outline import Array, Outline
from handlap.sim.face.face_numbers import bend_components
from handlap.sim.job.overhang import overhang_of
from handlap.sim.job.scenario import LimitBy, Scenario, Uncertain
from handlap.sim.lapping import gauge
from handlap.sim.lapping.conditions import Conditions, Stage
from handlap.sim.lapping.ensemble import run_members
from handlap.sim.lapping.gauge import Gauge
from handlap.sim.lapping.lap import run_stage
from handlap.sim.lapping.long_work import tell_ahead
from handlap.sim.lapping.poses import Layout
from handlap.sim.lapping.rhythm import stage_of
from handlap.sim.lapping.set_up import Rig
from handlap.sim.lapping.sheet import depth_per_stroke
from handlap.sim.planning.crew import Crew, vary
from handlap.sim.planning.leg import Leg, lay_leg, measure
from handlap.sim.planning.papers import chain, strokes_to_clear
from handlap.sim.planning.work import CHUNK, Steps

COMPONENTS = ("crown_along", "crown_across", "twist", "taper_along", "taper_across", "measured")
"""What is taken of a face: crowns (+ = middle proud) and twist of the face, tapers of the removal,
and the figure that the limit is held against [m]."""
SAME_DEPTH = 0.005
"""Mean depths are taken as the same within this share."""
MOST_CORRECTIONS = 3
POWERS = (0.4, 1.5)
"""Of the rate, with which a mean depth grows: what two laps say of it is kept between these."""
AGAIN = 1.5
"""Laps it takes about until a mean depth is met: only for words."""


def _zero(*names: str, at: float = 0.0) -> Callable[[Scenario], Scenario]:
    def off(scenario: Scenario) -> Scenario:
        hands: dict[str, Any] = {
            n: Uncertain.fixed(at, f"hands.{n}") for n in names if not _is(getattr(scenario.hands, n), at)
        }
        return replace(scenario, hands=replace(scenario.hands, **hands)) if hands else scenario

    return off


def _is(quantity: Uncertain, value: float) -> bool:
    return quantity.low == quantity.high == value


def _steady_press(scenario: Scenario) -> Scenario:
    return replace(scenario, hands=replace(scenario.hands, swell=0.0, rocking=0.0, twist=0.0))


def _fresh_paper(scenario: Scenario) -> Scenario:
    return replace(scenario, wear=replace(scenario.wear, ages=False))


def _no_edge(scenario: Scenario) -> Scenario:
    wear = scenario.wear
    off: dict[str, Any] = {
        name: Uncertain.fixed(0.0, f"wear.{name}")
        for name in ("edge_rate", "edge_rise")
        if not _is(getattr(wear, name), 0.0)
    }
    return replace(scenario, wear=replace(wear, **off)) if off else scenario


def _true_plate(scenario: Scenario) -> Scenario:
    plate = replace(
        scenario.plate, grade=None, tolerance=0.0, shape=None, shape_height=0.0, heights=None, glass=None
    )
    return replace(scenario, plate=plate, paper=replace(scenario.paper, lumps=()))


def _reach(outline: Outline, scenario: Scenario) -> float:
    """Furthest that any spot of the part comes from the middle of the plate, about [m]."""
    return float(np.max(np.hypot(*outline.rim.T))) + scenario.strokes.length


def _endless_paper(scenario: Scenario) -> Scenario:
    plate, paper = scenario.plate, replace(scenario.paper, strips=None)
    if plate.heights is None and overhang_of(replace(scenario, paper=paper)):
        side = 2.2 * _reach(scenario.part.outline, scenario)
        plate = replace(plate, length=max(plate.length, side), width=max(plate.width, side))
    return replace(scenario, plate=plate, paper=paper)


def _rigid(scenario: Scenario) -> Scenario:
    return replace(scenario, part=replace(scenario.part, thickness=None, ribbed_as=None))


def _one_metal(scenario: Scenario) -> Scenario:
    return replace(scenario, part=replace(scenario.part, inserts=()))


def _as_it_is(scenario: Scenario) -> Scenario:
    return scenario


START = "starting shape"
OFF: dict[str, Callable[[Scenario], Scenario]] = {
    START: _as_it_is,
    "high hands": _zero("height"),
    "wobble": _zero("wobble_along", "wobble_across"),
    "bias": _zero("bias_along", "bias_across"),
    "push and pull": _zero("push_over_pull", at=1.0),
    "press within a stroke": _steady_press,
    "paper ageing": _fresh_paper,
    "leading edge": _no_edge,
    "plate": _true_plate,
    "overhang and seams": _endless_paper,
    "spring-back": _rigid,
    "inserts": _one_metal,
}
"""Cause → the scenario without it.  The starting shape is switched off by starting flat."""


@dataclass(frozen=True)
class ReadyCauses:
    """What a worker needs to lap members under one set of causes."""

    rig: Rig
    gauged: Gauge
    stages: tuple[tuple[Stage, Layout], ...]
    limit_by: LimitBy
    flat: bool
    """Start from a flat face."""


@dataclass(frozen=True)
class Lapped:
    """What comes back: components (6,) [m], the face (n,), single precision, mean depth [m]."""

    components: Array
    face: NDArray[np.float32]
    mean_depth: float


def components_of(gauged: Gauge, before: Array, face: Array, limit_by: LimitBy) -> Array:
    """Components (6,) of a face (n,) that was ``before`` (n,), in the order of ``COMPONENTS`` [m]."""
    along, across, twist = bend_components(gauged.grid, face[None, :])
    figures = gauge.figures(gauged, before, face, only=limit_by)
    return np.array(
        [
            along[0],
            across[0],
            twist[0],
            figures.taper_along[0],
            figures.taper_across[0],
            measure(figures, limit_by)[0],
        ]
    )


def _run(ready: ReadyCauses, before: Array, conditions: Conditions) -> tuple[Array, float]:
    now, grid = before, ready.rig.grid
    for stage, layout in ready.stages:
        now = run_stage(ready.rig, now, conditions, stage, layout).heights[-1]
    return now, float((before - now) @ grid.area / grid.area.sum())


def _run_to(ready: ReadyCauses, before: Array, conditions: Conditions, depth: float) -> tuple[Array, float]:
    """Lap a face (n,) [m] at the rate that takes off a mean depth [m], about: ``SAME_DEPTH``.

    Fresh paper takes off in proportion to the rate, so on paper that does not age the first lap is at the
    right one already, but for what a leading edge adds.
    """
    scenario = ready.rig.scenario
    fresh = sum(
        stage.strokes * depth_per_stroke(scenario, conditions, stage.grit) for stage, _ in ready.stages
    )
    factor = 1.0 if scenario.wear.ages else depth / fresh
    tried: list[tuple[float, float]] = []
    while True:
        now, reached = _run(ready, before, replace(conditions, rate=factor * conditions.rate))
        met = reached <= 0.0 or abs(reached / depth - 1.0) <= SAME_DEPTH
        if met or len(tried) == MOST_CORRECTIONS:
            return now, reached
        tried.append((factor, reached))
        factor *= (depth / reached) ** (1.0 / _power(tried, fresh))


def _power(tried: Sequence[tuple[float, float]], fresh: float) -> float:
    """Power of the rate with which the mean depth grows, by factors of it tried and what they took off [m].

    By the last two; the first alone tells it by how far it falls short of ``fresh`` paper [m]: where the rate
    falls off as 1/(1 + d/s) with a depth d taken off, d + d²/2s goes with the strokes, and the power is
    F/(2·F − 1), F the share of fresh paper's depth to it.

    >>> round(_power([(1.0, 10e-6)], 20e-6), 3), round(_power([(1.0, 10e-6), (2.0, 16e-6)], 20e-6), 3)
    (0.667, 0.678)
    """
    factor, reached = tried[-1]
    if len(tried) == 1:
        short = max(factor * fresh / reached, 1.0)
        return short / (2.0 * short - 1.0)
    before, there = tried[-2]
    return float(np.clip(np.log(reached / there) / np.log(factor / before), *POWERS))


def lap_chunk(work: tuple[ReadyCauses, Sequence[tuple[Array, Conditions, float | None]]]) -> list[Lapped]:
    """Lap members, given as (face, conditions, mean depth to reach or None) [m]."""
    ready, members = work
    found = []
    for face, conditions, depth in members:
        before = np.zeros_like(face) if ready.flat else face
        run = _run(ready, before, conditions) if depth is None else _run_to(ready, before, conditions, depth)
        now, reached = run
        taken = components_of(ready.gauged, before, now, ready.limit_by)
        found.append(Lapped(taken, now.astype(np.float32), reached))
    return found


def legs_for(crew: Crew, first: int, strokes: int) -> tuple[Leg, ...]:
    """The papers from the first on, laid out once for all sets of causes, with one look at each one's end."""
    scenario, middle = crew.scenario, crew.middle
    grits = chain(scenario, middle, first)
    counts = [strokes, *(strokes_to_clear(scenario, middle, a, b) for a, b in pairwise(grits))]
    found = []
    for number, (grit, count) in enumerate(zip(grits, counts, strict=True)):
        stage = stage_of(scenario, middle, grit, count, count)
        quad = crew.steps_for(stage).quad_strokes
        found.append(lay_leg(crew.rig, stage, quad_strokes=quad, seed=crew.seed + number))
    return tuple(found)


def stages_for(crew: Crew, first: int, strokes: int) -> tuple[tuple[Stage, Layout], ...]:
    """The stages of these papers, and their rows."""
    return stages_of(legs_for(crew, first, strokes))


def stages_of(legs: Sequence[Leg]) -> tuple[tuple[Stage, Layout], ...]:
    """Stages and rows of legs of one look each."""
    return tuple((leg.stage, leg.blocks[0]) for leg in legs)


def lap_variants(
    crew: Crew,
    variants: Sequence[tuple[Scenario, bool, tuple[tuple[Stage, Layout], ...]]],
    depths: Array | None,
    *,
    executor: Executor | None = None,
    finished: Callable[[float], None] | None = None,
    like: Steps | None = None,
) -> list[list[Lapped]]:
    """Lap all members under several sets of causes.

    Parameters
    ----------
    variants : scenario, whether to start flat, stages
    depths : mean depth (members,) that each is to reach [m]; None: whatever the strokes give
    like : work that was laid out, by which it is said beforehand how long these laps take
    """
    if like is not None:
        rows_a_face = sum(layout.x.size for _, _, stages in variants for _, layout in stages)
        laps = 1.0 if depths is None else AGAIN
        seconds = (
            laps * like.seconds_a_spot * crew.rig.grid.points.shape[0] * rows_a_face * crew.members.count
        )
        tell_ahead(crew.tell, seconds, f"lapping {crew.members.count} faces in {len(variants)} ways")
    tasks: list[tuple[ReadyCauses, Sequence[tuple[Array, Conditions, float | None]]]] = []
    count = crew.members.count
    goals: list[float | None] = [None] * count if depths is None else [float(d) for d in depths]
    for scenario, flat, stages in variants:
        other = vary(crew, scenario)
        ready = ReadyCauses(other.rig, other.gauged, stages, scenario.part.limit_by, flat)
        rows = list(zip(other.members.before, other.members.conditions, goals, strict=True))
        tasks += [(ready, rows[at : at + CHUNK]) for at in range(0, count, CHUNK)]
    tell = None if finished is None else lambda n: finished(n / len(tasks))
    chunks = run_members(lap_chunk, tasks, executor=executor, finished=tell)
    each = -(-count // CHUNK)
    return [
        [member for chunk in chunks[i * each : (i + 1) * each] for member in chunk]
        for i in range(len(variants))
    ]


def active_causes(scenario: Scenario) -> tuple[str, ...]:
    """Causes that are at work in a scenario."""
    return tuple(name for name, off in OFF.items() if name == START or off(scenario) != scenario)


def without(scenario: Scenario, causes: Sequence[str]) -> Scenario:
    """The scenario with these causes switched off (the starting shape apart)."""
    for name in causes:
        scenario = OFF[name](scenario)
    return scenario


def only(scenario: Scenario, cause: str | None) -> tuple[Scenario, bool]:
    """The scenario with all causes but one off, and whether it starts flat."""
    return without(scenario, [name for name in OFF if name != cause]), cause != START
