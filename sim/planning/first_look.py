"""A first look: a whole plan on little, and what would narrow its answer most.

The faces, the laps, the choice of the first paper and the verdict are those of a plan; there are fewer
members, on coarser cells, and what only a bench needs to know is left out.  Faces cost next to nothing, so
how flat it is now is counted over as many as the survey draws; only the laps are few.  Nothing else is
taken as known, so that bands stay as wide as they are.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from handlap.sim.common.said import record, said
from handlap.sim.face.face_ensemble import FEWEST_DRAWS
from handlap.sim.face.told import FaceDecides
from handlap.sim.job.results import Band, Unknown, Verdict
from handlap.sim.job.scenario import Scenario
from handlap.sim.lapping.ensemble import spread_over
from handlap.sim.lapping.long_work import Quietly
from handlap.sim.planning.crew import Crew, Progress, few_of, open_crew
from handlap.sim.planning.face_first import figures_now, stop_at_face
from handlap.sim.planning.fineness import GLANCED
from handlap.sim.planning.first_paper import choose_first, lay_tried
from handlap.sim.planning.foretold import foretell
from handlap.sim.planning.leg import measure
from handlap.sim.planning.plan_bands import chances_of
from handlap.sim.planning.verdict import NEEDS_WORK_AT, SHOP_AT, doubt_numerics, judge
from handlap.sim.planning.what_decides import what_widens
from handlap.sim.planning.work import Worked, work

MEMBERS = 16


@record()
class FirstLook:
    """What a first look says, SI units; bands over the members.

    Attributes
    ----------
    now, now_zone : the figure under the straightedge, and the minimum zone, before any work
    minutes, strokes, deepest, after : of all work; at the deepest spot; the figure that the limit is held
        against, where each member stops.  None where no lap was worked
    papers : coarse to fine; none where no lap was worked
    sheets : of all papers, middle of the members
    chance_both : to end inside limit and allowance; None where no lap was worked
    unknowns : what explains most of the spread, most first
    """

    scenario: Scenario
    members: int
    seed: int
    verdict: Verdict
    now: Band | None = said("um", "before_straightedge_um")
    now_zone: Band | None = said("um", "before_flatness_um")
    chance_flat: float | None
    chance_both: float | None
    minutes: Band | None
    strokes: Band | None
    deepest: Band | None = said("um")
    after: Band | None = said("um")
    papers: tuple[str, ...]
    sheets: float
    unknowns: tuple[Unknown, ...]


def first_look(
    scenario: Scenario, *, members: int = MEMBERS, seed: int = 0, progress: Progress | None = None
) -> FirstLook:
    """Look at a job for the first time.

    Parameters
    ----------
    scenario : the job; of its face no more than the worst gap need be read
    members : faces, each with hands and paper of its own
    seed : same seed, same answer

    Raises
    ------
    InputError, TippingError : as for a plan
    """
    tell = progress or (lambda done, what: None)
    tell(0.0, "looking for faces that fit the worst gap")
    every = None
    try:
        every = open_crew(
            scenario, members=max(members, FEWEST_DRAWS), seed=seed, fineness=GLANCED, tell=Quietly(tell)
        )
        stop_at_face(every)
    except FaceDecides as decided:
        return _by_face(scenario, decided.verdict, members, seed, every)
    some = spread_over(every.members.count, members)
    places = tuple(every.faces.places[i] for i in some) if every.faces.places else ()
    crew = few_of(replace(every, faces=replace(every.faces, places=places)), members)
    tell(0.2, "trying the papers")
    paper = choose_first(crew)
    tell(0.6, "lapping the faces")
    worked = work(crew, lay_tried(crew, paper.taken))
    tell(1.0, "done")
    return _by_laps(every, crew, worked)


def _by_face(scenario: Scenario, verdict: Verdict, members: int, seed: int, crew: Crew | None) -> FirstLook:
    """What can be said without a lap."""
    zone, edge, flat = None, None, None
    if crew is not None:
        zone_now, edge_now = figures_now(crew)
        zone, edge = Band.of(zone_now), Band.of(edge_now)
        flat = float(np.mean((edge_now if scenario.part.limit_by == "straightedge" else zone_now)
                             <= scenario.part.limit))  # fmt: skip
    return FirstLook(
        scenario=scenario, members=members, seed=seed, verdict=verdict, now=edge, now_zone=zone,
        chance_flat=flat, chance_both=None, minutes=None, strokes=None, deepest=None, after=None, papers=(),
        sheets=0.0, unknowns=(),
    )  # fmt: skip


def _by_laps(every: Crew, crew: Crew, worked: Worked) -> FirstLook:
    """What the laps of a crew come to; ``every``: all faces drawn, which say how flat it is now.

    A machine shop costs money: it is advised only where the chance stays below its line by the error of a
    share counted over so few members.
    """
    scenario, part, done = crew.scenario, crew.scenario.part, worked.outcome.figures
    zone, edge = figures_now(every)
    chances = replace(
        chances_of(crew, worked),
        flat_straightedge=float(np.mean(edge <= part.limit)),
        flat_zone=float(np.mean(zone <= part.limit)),
    )
    after = measure(done, part.limit_by)
    cost = foretell(crew, worked).effort
    verdict = doubt_numerics(
        judge(chances, limit=part.limit, limit_by=part.limit_by, allowance=part.allowance),
        error=worked.steps.error,
        result=float(np.median(after)),
        limit=part.limit,
    )
    error = math.sqrt(chances.both * (1.0 - chances.both) / crew.members.count)
    if verdict.answer == "machine shop" and chances.both + error > SHOP_AT:
        verdict = replace(verdict, answer="cannot tell")
    flat = chances.flat_straightedge if part.limit_by == "straightedge" else chances.flat_zone
    return FirstLook(
        scenario=scenario,
        members=crew.members.count,
        seed=crew.seed,
        verdict=verdict,
        now=Band.of(edge),
        now_zone=Band.of(zone),
        chance_flat=flat,
        chance_both=chances.both,
        minutes=Band.of(cost.minutes),
        strokes=Band.of(cost.strokes),
        deepest=Band.of(done.greatest_depth),
        after=Band.of(after),
        papers=tuple(course.grit.name for course in worked.courses),
        sheets=float(np.median(cost.sheets)),
        unknowns=what_widens(crew, worked, after, settled=not NEEDS_WORK_AT < flat),
    )
