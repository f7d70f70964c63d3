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
from handlap.sim.job.scenario import Scenario
from handlap.sim.lapping import gauge
from handlap.sim.lapping.ensemble import conditions_at
from handlap.sim.lapping.lap import Conditions
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
class Replan:
    """The answer of ``handlap replan``; every Band is over the ensemble, SI units.

    ``first_total`` and ``total``: strokes to the goal on this paper as the first plan and the
    learnt ensemble have it, members that get there only; ``first_reached``, ``reached``: the
    share of members that do.
    """

    scenario: Scenario
    log: JobLog
    learnt: Learnt
    advice: Advice
    reasons: tuple[str, ...]
    ask: tuple[str, ...]
    """What is odd about the log, what to read or weigh again, and what would help."""
    strokes: int
    paper: str
    rhythm: Rhythm
    block: int = said(name="next_block_strokes")
    """Strokes of the next block [-]."""
    now: Standing
    chance_worse: float = said(name="next_block_worse")
    chance_deep: float | None = said(name="next_block_passes_allowance")
    """Chance that the next block takes more than the allowance; None: none stated, or taken already [-]."""
    chance_deep_now: float | None = said(name="over_allowance_now")
    """… that more is off already, and that it is by the time the goal is reached; None: none stated [-]."""
    chance_deep_at_goal: float | None = said(name="over_allowance_at_goal")
    best: BestSoFar = said(name="best_so_far")
    ahead: tuple[LookAhead, ...]
    first_total: Band | None = said(name="strokes_to_goal_without_log")
    total: Band | None = said(name="strokes_to_goal")
    first_reached: float
    reached: float = said(name="goal_in_reach")
    finer: tuple[FinerPaper, ...] = said(name="finer_papers")
    curve: Curve
    """Figures against strokes from the start of the job, as learnt, and on."""
    errors: Errors
    first_curve: Curve
    """… as the first plan has them, before anything was learnt."""
    cautions: tuple[str, ...]
    seed: int


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
    workshop, prior = open_log(
        scenario, log, members=members, seed=seed, cells=cells, executor=executor, tell=tell
    )
    learnt = learn(workshop, prior, tell=tell)
    tell(0.85, "planning the rest")
    first = forecast(workshop, prior, ())
    rest = forecast(workshop, learnt.posterior, workshop.entries)
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
    workshop, part = learnt.workshop, scenario.part
    past = _past(learnt)
    now = where_it_stands(learnt)
    chance_worse = float(np.mean(rest.measured[:, 1] > rest.measured[:, 0]))
    deep = over_now = over_at_goal = None
    if part.allowance is not None:
        if not now.passed:
            deep = float(np.mean(rest.figures.greatest_depth[:, 1] > part.allowance))
        over_now = float(np.mean(rest.figures.greatest_depth[:, 0] > part.allowance))
        over_at_goal = float(np.mean(rest.at_stop("greatest_depth") > part.allowance))
    reached = float(np.mean(rest.reached))
    paper = paper_in_use(scenario, workshop.entries)
    middle = middle_of(learnt)
    found = Replan(
        scenario=scenario,
        log=log,
        learnt=learnt,
        advice="go on",
        reasons=(),
        ask=(),
        strokes=log.strokes,
        paper=paper,
        rhythm=choose_rhythm(scenario, middle, grits.find(paper)),
        block=rest.looks[1] - rest.looks[0],
        now=now,
        chance_worse=chance_worse,
        chance_deep=deep,
        chance_deep_now=over_now,
        chance_deep_at_goal=over_at_goal,
        best=_best(learnt, past),
        ahead=_ahead(scenario, rest),
        first_total=first.to_goal(),
        total=rest.to_goal(),
        first_reached=float(np.mean(first.reached)),
        reached=reached,
        finer=_finer(scenario, middle, paper),
        curve=_curve(learnt, past, rest),
        errors=errors_of_log(workshop.bench, workshop.gauged, workshop.course),
        first_curve=_curve_ahead(first),
        cautions=cautions(part.metal, weight=part.weight, wet=scenario.paper.wet),
        seed=seed,
    )
    outlook = Outlook(
        learnt, now, part.limit, part.allowance, chance_worse, deep, reached, _worsened(learnt), sure
    )
    advice, reasons = advise(outlook)
    return replace(found, advice=advice, reasons=reasons, ask=(*log.damage, *log.notes, *ask_about(learnt)))


def _worsened(learnt: Learnt) -> float | None:
    """Chance that the face got worse between the last two readings."""
    workshop = learnt.workshop
    read = [s for s, e in zip(workshop.course.state, workshop.entries, strict=True) if e.readings]
    if len(read) < 2:
        return None
    limit_by = workshop.scenario.part.limit_by
    earlier, later = (gauge.measured(workshop.gauged, learnt.states[:, k], limit_by) for k in read[-2:])
    return float(np.mean(later > earlier))


def middle_of(learnt: Learnt) -> Conditions:
    """Conditions at the middle of what was learnt."""
    return conditions_at(learnt.workshop.scenario, np.median(learnt.posterior.scores, axis=0))


def _finer(scenario: Scenario, middle: Conditions, paper: str) -> tuple[FinerPaper, ...]:
    names = [grit.name for grit in scenario.paper.grits]
    rest = chain(scenario, middle, names.index(paper)) if paper in names else ()
    return tuple(
        FinerPaper(grit.name, strokes_to_clear(scenario, middle, previous, grit))
        for previous, grit in pairwise(rest)
    )


def _strokes_of(learnt: Learnt) -> list[int]:
    """Strokes done at every state of the log, the start first."""
    course = learnt.workshop.course
    strokes = [0] * course.states
    for state, done in zip(course.state, course.strokes, strict=True):
        strokes[state] = done
    return strokes


def _past(learnt: Learnt) -> list[Figures]:
    """Figures (members,) at every state of the log."""
    gauged, before = learnt.workshop.gauged, learnt.posterior.before
    return [gauge.figures(gauged, before, learnt.states[:, k]) for k in range(learnt.states.shape[1])]


def _best(learnt: Learnt, past: list[Figures]) -> BestSoFar:
    """The best state of the log so far, the start included."""
    measured = np.array([measure(f, learnt.workshop.scenario.part.limit_by) for f in past])
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
