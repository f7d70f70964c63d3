"""Ways of working compared over the same faces, hands, paper and metal.

Each way is worked by every member of one ensemble, drawn once (common random numbers), so that
small differences are real: they are taken member by member.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from functools import partial
from itertools import combinations
from typing import Any

import numpy as np

from handlap.sim.common.errors import HandlapError, InputError
from handlap.sim.common.grid import Grid
from handlap.sim.common.outline import Array
from handlap.sim.comparing.paired import Difference, WayOrder, chance_difference, difference, order_ways
from handlap.sim.comparing.turn_interval import TurnCurve, turn_curve
from handlap.sim.job.results import Band, Errors
from handlap.sim.job.scenario import Scenario
from handlap.sim.job.ways import Way, apply_way, default_ways, distinct, parse_way
from handlap.sim.lapping.ensemble import SCORES, conditions_at
from handlap.sim.lapping.long_work import Quietly
from handlap.sim.lapping.rhythm import choose_rhythm
from handlap.sim.planning.crew import Crew, Progress, open_crew, vary
from handlap.sim.planning.effort import MINUTES_OF
from handlap.sim.planning.face_first import stop_at_face
from handlap.sim.planning.fineness import PLANNED
from handlap.sim.planning.first_paper import (
    FirstPaper,
    PaperTried,
    choose_to_work,
    lay_tried,
    trial_crew,
    try_paper,
)
from handlap.sim.planning.foretold import foretell
from handlap.sim.planning.leg import inside_limits, measure
from handlap.sim.planning.papers import chain
from handlap.sim.planning.typical import measure_errors
from handlap.sim.planning.work import Steps, Worked, lay_side_by_side, work_ways

MOST_WAYS = 24
TRIED = 8
"""Members on which the first paper is chosen and the length of the courses is found."""
DEPTHS = 25
"""Points of a curve against metal removed."""
COVER = 0.5
"""A curve goes as far as this share of the members does."""
LENGTHS = ("flatness", "straightedge", "greatest_depth", "taper_along", "taper_across")
"""Figures in metres that are compared; the others are chances and counts."""
EFFORTS = ("strokes", "minutes", *MINUTES_OF, "sheets")
"""What it costs, by the names of :class:`handlap.sim.planning.effort.Effort`."""


@dataclass(frozen=True)
class WayResult:
    """How one way comes out; bands over the ensemble [SI], chances [-].

    ``failure``: why it cannot be done; then all figures are None.  ``curve``: bands (k, 3) of the
    figure that the limit is held against, at the comparison's ``depths``; NaN where too few
    members get there.  ``removed``: mean depth removed (n,) over the members, all papers [m].
    """

    way: Way
    scenario: Scenario
    failure: str | None
    bands: dict[str, Band]
    chance_goal: float
    chance_allowance: float | None
    chance_both: float
    over_stock: float | None
    """Chance that it takes more sheets than there are; None: the stock is not stated."""
    papers: tuple[str, ...]
    removed: Array | None
    curve: Array
    step_error: float


@dataclass(frozen=True)
class PairResult:
    """Two ways held against each other: second less first, by figure."""

    first: int
    second: int
    differences: dict[str, Difference]


@dataclass(frozen=True)
class Comparison:
    """The answer of ``handlap compare``.

    ``shrunk``: how much the common members shrink the spread of differences in minutes, middle of all
    pairs [-].
    """

    scenario: Scenario
    members: int
    seed: int
    results: tuple[WayResult, ...]
    order: WayOrder
    """Of the ways that can be done; indices into ``results``."""
    pairs: tuple[PairResult, ...]
    depths: Array
    turns: TurnCurve | None
    shrunk: float | None
    grid: Grid
    errors: Errors
    notes: tuple[str, ...]


def lay_way(crew: Crew, first: int, tried: PaperTried | None, same: bool) -> Steps:
    """Lay out a way of working.

    Parameters
    ----------
    first : place of its first paper in its list
    tried : a trial of the same papers, where there was one, and whether it was the ``same`` work: then it
        tells where this ends, else a few members find that, in rows that take off as much as those did
    """
    if tried is None or not same:
        rows = None if tried is None else tried.worked.steps
        tried = try_paper(trial_crew(crew, TRIED), first, rows)
    return lay_tried(crew, tried)


def _trial_of(crew: Crew, first: int, plan: Crew, paper: FirstPaper) -> tuple[PaperTried | None, bool]:
    """The plan's own trial of the papers of a way, and whether that way differs in nothing else from it."""
    grits = chain(crew.scenario, crew.middle, first)
    trials = (t for t in paper.tried if chain(plan.scenario, plan.middle, t.first) == grits)
    tried, listed = next(trials, None), plan.scenario.paper
    bare = replace(crew.scenario.paper, grits=listed.grits, start=listed.start)
    same = replace(crew.scenario, paper=bare) == plan.scenario
    # At another place in the way's own list.
    return None if tried is None else replace(tried, first=first), same


def compare(
    scenario: Scenario,
    ways: Sequence[Way] = (),
    *,
    members: int = 64,
    seed: int = 0,
    executor: Executor | None = None,
    progress: Progress | None = None,
    with_turns: bool = True,
) -> Comparison:
    """Compare ways of working.

    Parameters
    ----------
    ways : without any, those the scenario names, or else some eight that suit most parts, the
        scenario as it stands among them
    executor : where the members run; without one, threads of this process; the answer is the same
    with_turns : also find how often to turn

    Raises
    ------
    InputError : if none of the ways can be done
    FaceDecides : if the face is flat enough already, or the readings cannot tell
    """
    tell = progress or (lambda done, what: None)
    ways = ways or tuple(parse_way(text) for text in scenario.ways)
    own = not ways
    ways = distinct(ways)
    if len(ways) > MOST_WAYS:
        raise InputError(f"{len(ways)} ways of working: at most {MOST_WAYS} are compared at once")
    tell(0.0, "inferring the face from the readings")
    crew = open_crew(scenario, members=members, seed=seed, executor=executor, tell=Quietly(tell))
    stop_at_face(crew)
    tell(0.1, "choosing the first paper")
    crew, paper = choose_to_work(crew)
    taken = paper.taken
    tell(0.2, "setting up")
    if own:
        conditions = conditions_at(scenario, np.zeros(len(SCORES)))
        rhythm = choose_rhythm(scenario, conditions, scenario.paper.grits[taken.first])
        ways = default_ways(scenario, taken.first, rhythm.sheet_every, rhythm.brush_every)
        ways = _differing(crew, ways, taken.first)
    crews = [vary(crew, apply_way(scenario, way)) for way in ways]
    first = [0 if way.papers else taken.first for way in ways]
    # As it stands it is the plan, to the last digit.
    steps = lay_side_by_side(
        [
            partial(lay_way, replace(other, tell=Quietly(None)), start, *_trial_of(other, start, crew, paper))
            for other, start in zip(crews, first, strict=True)
        ]
    )  # fmt: skip
    done = work_ways(
        crews, steps, executor=executor,
        finished=lambda share: tell(0.2 + 0.5 * share, f"lapping {members} faces in {len(ways)} ways"),
    )  # fmt: skip
    able = {i: d for i, d in enumerate(done) if isinstance(d, Worked)}
    if not able:
        raise InputError(f"none of the ways can be done; the first: {done[0]}")
    depths = _depths(able.values())
    results = tuple(
        _result(j, way, start, d, depths) for j, way, start, d in zip(crews, ways, first, done, strict=True)
    )
    tell(0.7, "finding how often to turn")
    turns = _turns(crew, taken.first, float(np.median(taken.stops))) if with_turns else None
    tell(0.95, "measuring the error of the grid")
    # Of the work as it stands, which is the plan's, where it is among the ways that can be done.
    plan = next((i for i in able if crews[i].scenario == scenario and first[i] == taken.first), min(able))
    errors = measure_errors(crews[plan], able[plan])
    errors = replace(errors, step=max(d.steps.error for d in able.values()))
    samples = {i: _samples(crews[i], d) for i, d in able.items()}
    pairs = tuple(_pair(i, j, samples) for i, j in combinations(able, 2))
    order = _order(tuple(able), samples, seed)
    tell(1.0, "done")
    return Comparison(
        scenario=scenario,
        members=members,
        seed=seed,
        results=results,
        order=order,
        pairs=pairs,
        depths=depths,
        turns=turns,
        shrunk=_shrunk(pairs),
        grid=crew.rig.grid,
        errors=errors,
        notes=tuple(crew.faces.notes),
    )


def _differing(crew: Crew, ways: Sequence[Way], first: int) -> tuple[Way, ...]:
    """The ways without those that come to the same as an earlier one once all intervals are chosen."""
    seen: list[tuple[Scenario, int]] = []
    found = []
    for way in ways:
        scenario = apply_way(crew.scenario, way)
        conditions = conditions_at(scenario, np.zeros(len(SCORES)))
        begun = 0 if way.papers else first
        rhythm = choose_rhythm(scenario, conditions, scenario.paper.grits[begun])
        turning = replace(scenario.turning, name="", every=rhythm.turn_every, assumed=False)
        bare = replace(scenario, turning=turning), begun
        if bare not in seen:
            seen.append(bare)
            found.append(way)
    return tuple(found)


def _depths(done: Iterable[Worked]) -> Array:
    """Mean depths (k,) at which curves are given: as far as half of the members of a way go [m]."""
    reach = [float(np.median(np.nanmax(d.first.figures.mean_depth, axis=1))) for d in done]
    return np.linspace(0.0, max(reach), DEPTHS)


def _curve(before: Array, done: Worked, depths: Array) -> Array:
    """Bands (k, 3) of the measured figure at mean depths (k,), as far as each of the members was worked.

    ``before``: the figure of each before the work (members,) [m].
    """
    course = done.first
    measured = measure(course.figures, done.scenario.part.limit_by)
    at = np.full((before.size, depths.size), np.nan)
    for m, looks in enumerate(course.worked):
        depth = np.concatenate([[0.0], course.figures.mean_depth[m, :looks]])
        shown = np.concatenate([[before[m]], measured[m, :looks]])
        at[m] = np.interp(depths, depth, shown, right=np.nan)
    found = np.full((depths.size, 3), np.nan)
    for k in range(depths.size):
        there = at[np.isfinite(at[:, k]), k]
        if there.size >= COVER * before.size:
            band = Band.of(there)
            found[k] = band.p05, band.p50, band.p95
    return found


def _samples(crew: Crew, done: Worked) -> dict[str, Array]:
    """What is compared, by name: figures (members,), and who ends inside which limit."""
    ends = done.outcome.figures
    goal, inside = inside_limits(crew.scenario.part, ends)
    found: dict[str, Any] = {name: getattr(ends, name) for name in (*LENGTHS, "mean_depth")}
    found["taper"] = np.maximum(np.abs(ends.taper_along), np.abs(ends.taper_across))
    found |= {"goal": goal, "allowance": inside, "both": goal & inside}
    found |= {name: getattr(done.outcome.effort, name) for name in EFFORTS}
    return found | {"work": done.outcome.work}


def _result(crew: Crew, way: Way, first: int, done: Worked | HandlapError, depths: Array) -> WayResult:
    part, stock = crew.scenario.part, crew.scenario.paper.sheets
    papers = tuple(grit.name for grit in chain(crew.scenario, crew.middle, first))
    nowhere = np.full((depths.size, 3), np.nan)
    if not isinstance(done, Worked):
        return WayResult(way, crew.scenario, str(done), {}, 0.0, None, 0.0, None, papers, None, nowhere, 0.0)
    sample = _samples(crew, done)
    cost = foretell(crew, done).effort
    bands = {name: Band.of(values) for name, values in sample.items() if values.dtype != bool}
    # As the plan has them.
    bands |= {name: Band.of(getattr(cost, name)) for name in EFFORTS}
    before = crew.members.before
    return WayResult(
        way=way,
        scenario=crew.scenario,
        failure=None,
        bands=bands,
        chance_goal=float(sample["goal"].mean()),
        chance_allowance=None if part.allowance is None else float(sample["allowance"].mean()),
        chance_both=float(sample["both"].mean()),
        over_stock=None if stock is None else float(np.mean(sample["sheets"] > stock)),
        papers=papers,
        removed=np.mean(before - done.outcome.faces, axis=0),
        curve=_curve(crew.measured(before), done, depths),
        step_error=done.steps.error,
    )


def _pair(i: int, j: int, samples: dict[int, dict[str, Array]]) -> PairResult:
    first, second = samples[i], samples[j]
    found = {}
    for name, values in first.items():
        if values.dtype == bool:
            found[name] = chance_difference(values.astype(bool), second[name].astype(bool))
        else:
            least = PLANNED.tolerance if name in (*LENGTHS, "taper") else 0.0
            found[name] = difference(values, second[name], least)
    return PairResult(i, j, found)


def _order(able: Sequence[int], samples: dict[int, dict[str, Array]], seed: int) -> WayOrder:
    both = np.array([samples[i]["both"] for i in able])
    minutes = np.array([samples[i]["minutes"] for i in able])
    found = order_ways(both, minutes, seed=seed)
    count = max(able) + 1
    groups, above = [0] * count, np.full((count, count), np.nan)
    for k, i in enumerate(able):
        groups[i] = found.groups[k]
    above[np.ix_(able, able)] = found.above
    return WayOrder(tuple(able[k] for k in found.places), tuple(groups), above)


def _shrunk(pairs: Sequence[PairResult]) -> float | None:
    # Of minutes: the figure held to the limit is the goal itself for all who come to it, whichever way.
    factors = [pair.differences["minutes"].shrunk for pair in pairs]
    known = [f for f in factors if np.isfinite(f)]
    return float(np.median(known)) if known else None


def _turns(crew: Crew, first: int, strokes: float) -> TurnCurve:
    """How often to turn, on the scenario's own schedule, or on half turns where it has none."""
    if len(crew.scenario.turning.states) < 2:
        crew = vary(crew, apply_way(crew.scenario, Way("", turning="half")))
    return turn_curve(crew, first=first, strokes=int(strokes))
