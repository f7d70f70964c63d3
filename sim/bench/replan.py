"""The rest of the work, planned anew from what the log has taught; and whether to stop.

Heights, depths [m]; strokes counted from the start of the job unless said otherwise.
"""

from __future__ import annotations

from concurrent.futures import Executor
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from handlap.sim.bench.forecast import Forecast, forecast, paper_in_use
from handlap.sim.bench.job_log import JobLog
from handlap.sim.bench.learn import CELLS, Learnt, learn
from handlap.sim.bench.replay import errors_of_log
from handlap.sim.bench.standing import Standing, open_log, where_it_stands, widened
from handlap.sim.bench.stop_rules import Advice, Outlook, advise, ask_about
from handlap.sim.common.outline import Array
from handlap.sim.common.said import record, said, unsaid
from handlap.sim.job.results import Band, Curve, Errors, Figures
from handlap.sim.job.scenario import Part, Scenario
from handlap.sim.lapping import gauge
from handlap.sim.lapping.conditions import Conditions
from handlap.sim.lapping.ensemble import conditions_at
from handlap.sim.lapping.rhythm import Rhythm, choose_rhythm
from handlap.sim.materials import grits
from handlap.sim.planning.cautions import cautions
from handlap.sim.planning.crew import Progress
from handlap.sim.planning.leg import measure
from handlap.sim.planning.papers import chain, strokes_to_clear


@record()
class LookAhead:
    """What to expect at a look to come; ``strokes`` from the start of the job [-], heights [m]."""

    strokes: int
    measured: Band = said("um")
    flatness: Band = unsaid()
    greatest_depth: Band = said("um")
    reached: float = said(name="chance_goal_met")
    worse: float = said(name="chance_worse")
    """Chance that this block makes it worse than the look before [-]."""


@dataclass(frozen=True)
class FinerPaper:
    """A paper that follows, only until the scratches of the one before are gone."""

    paper: str
    strokes: int


@record()
class BestSoFar:
    """The face as it was when it was flattest so far: after how many strokes, and how flat."""

    strokes: int
    measured: Band = said("um")
    worse_now: float = said(name="chance_worse_now")
    """Chance that the face is worse now than it was then [-]."""


@record()
class WhatNow:
    """Stop or go on, and why.

    ``ask``: what is odd about the log, what to read or weigh again, and what would help.
    """

    answer: Advice
    reasons: tuple[str, ...]
    ask: tuple[str, ...] = said(name="look_again")


@record()
class BlockAhead:
    """Strokes until the next look [-], on which paper, and how often to turn, brush and change it."""

    paper: str
    strokes: int = said(name="next_block_strokes")
    rhythm: Rhythm = unsaid()


@record()
class Risks:
    """Chances of what the next block does, and the goal [-].

    Attributes
    ----------
    worse : that it leaves the face worse
    deep_now, deep, deep_at_goal : that more than the allowance is off now, after the next block, and by the
        time the goal is reached; None: none stated, ``deep``: or taken already
    reached : share of the members that get to the goal
    """

    worse: float = said(name="next_block_worse")
    deep_now: float | None = said(name="over_allowance_now")
    deep: float | None = said(name="next_block_passes_allowance")
    deep_at_goal: float | None = said(name="over_allowance_at_goal")
    reached: float = said(name="goal_in_reach")


@record()
class Prospect:
    """What a forecast comes to.

    ``total``: strokes from the start of the job to the goal, of the members that get there;
    ``reached``: their share [-]; ``curve``: figures against strokes from the start of the job.
    """

    total: Band | None
    reached: float
    curve: Curve


@record(kw_only=True)
class Replan:
    """The answer of ``handlap replan``; every Band is over the ensemble, SI units.

    ``first``: what was to be expected before anything was learnt; ``rest``: as learnt, and on.
    """

    scenario: Scenario = unsaid()
    log: JobLog = unsaid()
    learnt: Learnt = unsaid()
    seed: int
    verdict: WhatNow
    next: BlockAhead = unsaid()
    now: Standing = unsaid()
    risks: Risks = unsaid()
    best: BestSoFar = said(name="best_so_far")
    rest: Prospect = unsaid()
    first: Prospect = unsaid()
    ahead: tuple[LookAhead, ...]
    errors: Errors
    finer: tuple[FinerPaper, ...] = said(name="finer_papers")
    cautions: tuple[str, ...]


def make_replan(
    scenario: Scenario,
    log: JobLog,
    *,
    members: int = 64,
    seed: int = 0,
    sure: float | None = None,
    cells: int = CELLS,
    progress: Progress | None = None,
    executor: Executor | None = None,
) -> Replan:
    """Learn from a log and plan the rest.

    Parameters
    ----------
    sure : chance of the true face being inside its limit that is asked for besides the check [-]

    Raises
    ------
    InputError : for a log without strokes, or an ensemble size out of range
    TippingError : if the press lies off the face
    FaceDecides : if the readings cannot tell of the face what the log could be held against
    """
    tell = progress or (lambda done, what: None)
    tell(0.0, "inferring the face from the readings")
    ready, prior = open_log(
        scenario, log, members=members, seed=seed, cells=cells, executor=executor, tell=tell
    )
    learnt = learn(ready, prior, tell=tell)
    tell(0.85, "planning the rest")
    first = forecast(ready, prior, ())
    rest = forecast(ready, learnt.posterior, ready.entries)
    tell(1.0, "done")
    return _replan(scenario, log, learnt, first, rest, seed, sure)


def _replan(
    scenario: Scenario,
    log: JobLog,
    learnt: Learnt,
    first: Forecast,
    rest: Forecast,
    seed: int,
    sure: float | None,
) -> Replan:
    ready, part = learnt.ready, scenario.part
    past, paper, middle = _past(learnt), paper_in_use(scenario, ready.entries), middle_of(learnt)
    now, risks = where_it_stands(learnt), _risks(part, rest)
    if now.passed:
        risks = replace(risks, deep=None)
    outlook = Outlook(
        learnt,
        now,
        part.limit,
        part.allowance,
        risks.worse,
        risks.deep,
        risks.reached,
        _worsened(learnt),
        sure,
    )
    return Replan(
        scenario=scenario,
        log=log,
        learnt=learnt,
        seed=seed,
        verdict=WhatNow(*advise(outlook), (*log.damage, *log.notes, *ask_about(learnt))),
        next=BlockAhead(
            paper, rest.looks[1] - rest.looks[0], choose_rhythm(scenario, middle, grits.find(paper))
        ),
        now=now,
        risks=risks,
        best=_best(learnt, past),
        rest=Prospect(rest.to_goal(), risks.reached, _curve(learnt, past, rest)),
        first=Prospect(first.to_goal(), float(np.mean(first.reached)), _curve_ahead(first)),
        ahead=_ahead(scenario, rest),
        errors=errors_of_log(ready.rig, ready.gauged, ready.course),
        finer=_finer(scenario, middle, paper),
        cautions=cautions(part.metal, weight=part.weight, wet=scenario.paper.wet),
    )


def _risks(part: Part, rest: Forecast) -> Risks:
    deep: tuple[float | None, float | None, float | None] = (None, None, None)
    if part.allowance is not None:
        now, soon = (float(np.mean(rest.figures.greatest_depth[:, k] > part.allowance)) for k in (0, 1))
        deep = now, soon, float(np.mean(rest.at_stop("greatest_depth") > part.allowance))
    worse = float(np.mean(rest.measured[:, 1] > rest.measured[:, 0]))
    return Risks(worse, *deep, float(np.mean(rest.reached)))


def _worsened(learnt: Learnt) -> float | None:
    """Chance that the face got worse between the last two readings."""
    ready = learnt.ready
    read = [s for s, e in zip(ready.course.state, ready.entries, strict=True) if e.readings]
    if len(read) < 2:
        return None
    limit_by = ready.scenario.part.limit_by
    earlier, later = (gauge.measured(ready.gauged, learnt.states[:, k], limit_by) for k in read[-2:])
    return float(np.mean(later > earlier))


def middle_of(learnt: Learnt) -> Conditions:
    """Conditions at the middle of what was learnt."""
    return conditions_at(learnt.ready.scenario, np.median(learnt.posterior.scores, axis=0))


def _finer(scenario: Scenario, middle: Conditions, paper: str) -> tuple[FinerPaper, ...]:
    names = [grit.name for grit in scenario.paper.grits]
    rest = chain(scenario, middle, names.index(paper)) if paper in names else ()
    return tuple(
        FinerPaper(grit.name, strokes_to_clear(scenario, middle, previous, grit))
        for previous, grit in pairwise(rest)
    )


def _strokes_of(learnt: Learnt) -> list[int]:
    """Strokes done at every state of the log, the start first."""
    course = learnt.ready.course
    strokes = [0] * course.states
    for state, done in zip(course.state, course.strokes, strict=True):
        strokes[state] = done
    return strokes


def _past(learnt: Learnt) -> list[Figures]:
    """Figures (members,) at every state of the log."""
    gauged, before = learnt.ready.gauged, learnt.posterior.before
    return [gauge.figures(gauged, before, learnt.states[:, k]) for k in range(learnt.states.shape[1])]


def _best(learnt: Learnt, past: list[Figures]) -> BestSoFar:
    """The best state of the log so far, the start included."""
    measured = np.array([measure(f, learnt.ready.scenario.part.limit_by) for f in past])
    best = int(np.argmin(np.median(measured, axis=1)))
    worse = 0.0 if best == len(measured) - 1 else float(np.mean(measured[-1] > measured[best]))
    return BestSoFar(_strokes_of(learnt)[best], widened(measured[best]), worse)


def _curve(learnt: Learnt, past: list[Figures], rest: Forecast) -> Curve:
    """What was, as learnt, and what is to come, as bands (k, 3)."""

    looks = len(rest.looks)

    def bands(name: str) -> Array:
        before = np.array([getattr(f, name) for f in past[:-1]]).reshape(len(past) - 1, -1)
        ahead = getattr(rest.figures, name)[:, :looks].T
        found: Array = np.percentile(np.vstack([before, ahead]), [5.0, 50.0, 95.0], axis=1).T
        return found

    strokes = np.array([*_strokes_of(learnt)[:-1], *rest.looks], dtype=float)
    return Curve(strokes, *(bands(n) for n in ("flatness", "straightedge", "greatest_depth", "mean_depth")))


def _curve_ahead(found: Forecast) -> Curve:
    """What a forecast says from where it begins, as bands (k, 3)."""
    looks = len(found.looks)

    def bands(name: str) -> Array:
        rows: Array = np.percentile(getattr(found.figures, name)[:, :looks].T, [5.0, 50.0, 95.0], axis=1).T
        return rows

    names = ("flatness", "straightedge", "greatest_depth", "mean_depth")
    return Curve(np.array(found.looks, dtype=float), *(bands(name) for name in names))


def _ahead(scenario: Scenario, rest: Forecast) -> tuple[LookAhead, ...]:
    goal = rest.measured <= scenario.part.limit
    return tuple(
        LookAhead(
            strokes=rest.looks[k],
            measured=widened(rest.measured[:, k]),
            flatness=widened(rest.figures.flatness[:, k]),
            greatest_depth=Band.of(rest.figures.greatest_depth[:, k]),
            reached=float(np.mean(goal[:, : k + 1].any(axis=1))),
            worse=float(np.mean(rest.measured[:, k] > rest.measured[:, k - 1])),
        )
        for k in range(1, len(rest.looks))
    )
