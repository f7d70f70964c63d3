"""What a page for the bench goes by: papers with what falls due, looks with what to expect at each.

From the plan where nothing was worked yet; from the log by way of ``replan`` where work goes on.  SI;
strokes of a paper are counted from where the page begins.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from handlap.sim.bench.bench_blocks import StopMarks, mass_at_depth, paper_stages, stop_marks
from handlap.sim.bench.forecast import worn_strokes
from handlap.sim.bench.job_log import Entry, JobLog
from handlap.sim.bench.replan import Replan, middle_of
from handlap.sim.bench.stop_rules import DEEP, WORSE
from handlap.sim.common.outline import Array
from handlap.sim.job.results import Band, Plan
from handlap.sim.job.scenario import Scenario
from handlap.sim.lapping.dye_picture import zone_shares
from handlap.sim.lapping.poses import START, Place
from handlap.sim.lapping.rhythm import choose_rhythm
from handlap.sim.materials import grits
from handlap.sim.planning.leg import STOP_AT


@dataclass(frozen=True)
class PageLook:
    """What to expect when the work is stopped for a look.

    Attributes
    ----------
    at : strokes of this paper since the page began [-]
    mass : metal off since the start of the job [kg]
    straightedge, greatest_depth : [m]
    dye_gone, dye_faded : share of the face where dye put on at the last look is gone, and where it is
        fading or gone [-]; None: not known
    zones : chance (15,) that it is gone in each zone, row by row from the far left one, NaN without metal
    reached : share of the cases that have met the goal by then [-]
    spare : only worked if the goal is not met by then
    """

    at: int
    mass: Band
    straightedge: Band
    greatest_depth: Band
    dye_gone: Band | None
    dye_faded: Band | None
    zones: Array | None
    reached: float
    spare: bool


@dataclass(frozen=True)
class PageStage:
    """One paper; intervals in strokes, 0: never.

    ``strokes`` planned on it; ``on_sheet``: done before on the sheet that is laid; ``since_turn``: done
    since the part was turned last.
    """

    paper: str
    purpose: str
    strokes: int
    turn_every: int
    brush_every: int
    sheet_every: int
    on_sheet: int
    since_turn: int
    looks: tuple[PageLook, ...]


@dataclass(frozen=True)
class PagePlan:
    """What a page goes by.

    Attributes
    ----------
    stages : the papers in their order
    marks : where the rules for stopping bite, in strokes of the whole job
    turned : place in the turning round at which the page begins [-]
    laid : name of the paper that is on the plate already; ""
    advice, reasons : what plan or replan say, in words
    log : the log when the page was made
    """

    scenario: Scenario
    stages: tuple[PageStage, ...]
    marks: StopMarks
    turned: int
    laid: str
    advice: str
    reasons: tuple[str, ...]
    log: JobLog


def page_of_plan(plan: Plan, log: JobLog) -> PagePlan:
    """What a page goes by where nothing was worked yet."""
    stages = []
    for stage in paper_stages(plan) if plan.verdict.answer != "leave" else ():
        own = stage.plan
        looks = tuple(
            PageLook(
                at=block.last,
                mass=block.check.mass,
                straightedge=block.check.straightedge,
                greatest_depth=block.check.greatest_depth,
                dye_gone=block.check.dye_gone,
                dye_faded=block.check.dye_faded,
                zones=zone_shares(plan.grid, np.asarray(block.check.dye_gone_map)),
                reached=block.check.reached,
                spare=block.spare,
            )
            for block in stage.blocks
        )
        stages.append(
            PageStage(
                own.paper, own.purpose, own.strokes, own.turn_every, own.brush_every, own.sheet_every,
                0, 0, looks,
            )
        )  # fmt: skip
    return PagePlan(
        plan.scenario, tuple(stages), stop_marks(plan), 0, "", plan.verdict.answer, plan.verdict.reasons, log
    )


def page_of_replan(found: Replan) -> PagePlan:
    """What a page goes by where work goes on from a log."""
    scenario, entries = found.scenario, found.learnt.ready.entries
    looks = _looks_ahead(found)
    blocks = found.learnt.ready.course.blocks
    place = blocks[-1].layout.end if blocks else START
    planned = next(
        (look.at for look in looks if look.reached >= 0.5), looks[-1].at if looks else found.next.strokes
    )
    looks = tuple(replace(look, spare=look.at > planned) for look in looks)
    rhythm = found.next.rhythm
    first = PageStage(
        found.next.paper, "as replanned from the log", planned, rhythm.turn_every, rhythm.brush_every,
        rhythm.sheet_every, worn_strokes(entries, found.next.paper), _since(place, rhythm.turn_every), looks,
    )  # fmt: skip
    stages = [first]
    middle = middle_of(found.learnt)
    for finer in found.finer:
        own = choose_rhythm(scenario, middle, grits.find(finer.paper))
        stages.append(
            PageStage(
                finer.paper, "until the scratches are gone", finer.strokes, own.turn_every, own.brush_every,
                own.sheet_every, 0, 0, (),
            )
        )  # fmt: skip
    laid = next((entry.paper for entry in reversed(entries) if entry.paper), "")
    return PagePlan(
        scenario, tuple(stages), _marks_ahead(found, looks), place.state, laid, found.verdict.answer,
        found.verdict.reasons, found.log,
    )  # fmt: skip


def _since(place: Place, turn_every: int) -> int:
    """Strokes that count towards the next turn."""
    return min(place.since, turn_every)


def _looks_ahead(found: Replan) -> tuple[PageLook, ...]:
    """The looks to come; metal from the mean depth, as everywhere."""
    part = found.scenario.part
    grams = part.metal.density * part.outline.area
    curve, count = found.rest.curve, len(found.ahead)
    looks = []
    for k, ahead in enumerate(found.ahead):
        row = k - count
        looks.append(
            PageLook(
                at=ahead.strokes - found.log.strokes,
                mass=Band(*(grams * curve.mean_depth[row])),
                straightedge=Band(*curve.straightedge[row]),
                greatest_depth=ahead.greatest_depth,
                dye_gone=None,
                dye_faded=None,
                zones=None,
                reached=ahead.reached,
                spare=False,
            )
        )
    return tuple(looks)


def _marks_ahead(found: Replan, looks: Sequence[PageLook]) -> StopMarks:
    """Where the rules for stopping bite from here on, as :func:`stop_marks` has it for a plan."""
    part = found.scenario.part
    over = mass = None
    if part.allowance is not None:
        deep = [look.at for look in looks if look.greatest_depth.p95 > part.allowance]
        if found.risks.deep_now is not None and found.risks.deep_now > DEEP:
            deep = [0]
        over = found.log.strokes + deep[0] if deep else None
        mass = mass_at_depth(looks, part.allowance)
    before = [0, *(look.at for look in looks)]
    worse = [at for at, ahead in zip(before, found.ahead, strict=False) if ahead.worse > WORSE]
    return StopMarks(STOP_AT * part.limit, over, mass, found.log.strokes + worse[0] if worse else None)


def page_mark(told: str, entries: Sequence[Entry]) -> str:
    """A mark of a page: the same data and the same log make the same page."""
    log = ";".join(f"{entry.number} {entry.when} {entry.id}" for entry in entries)
    return hashlib.sha256(f"{told}\n{log}".encode()).hexdigest()[:12]


def zone_chances(zones: Array | None) -> list[float | None] | None:
    """Chances by zone for data, None where no metal is."""
    if zones is None:
        return None
    return [None if math.isnan(chance) else round(float(chance), 3) for chance in zones]
