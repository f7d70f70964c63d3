"""A crew works a job: on the first paper until each member has stopped, then on the finer ones.

One way of working, or several on the same crew: a plan is the one, a comparison the other, and both
come to the same figures, for all that either of them does is done here.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from handlap.sim.common.errors import HandlapError, InputError, SolverError, TippingError
from handlap.sim.common.outline import Array
from handlap.sim.job.scenario import LimitBy, Scenario
from handlap.sim.lapping import gauge
from handlap.sim.lapping.conditions import Conditions, Stage, law_of, tipping_words
from handlap.sim.lapping.ensemble import SCORES, conditions_at, run_members
from handlap.sim.lapping.gauge import Gauge
from handlap.sim.lapping.long_work import tell_ahead
from handlap.sim.lapping.resolution import quad_within
from handlap.sim.lapping.rhythm import SETTLED, check_interval, stage_of
from handlap.sim.lapping.set_up import Rig
from handlap.sim.lapping.sheet import depth_per_stroke
from handlap.sim.materials.grits import Grit
from handlap.sim.planning.course import Course, Outcome, gather_course, outcome_of
from handlap.sim.planning.crew import Crew
from handlap.sim.planning.leg import (
    STOP_AT,
    Leg,
    LegRun,
    ToGoal,
    TooSlow,
    ToScratchesGone,
    lay_leg,
    work_leg,
)
from handlap.sim.planning.papers import chain, clearing_looks, strokes_to_clear

T = TypeVar("T")

MOST_STROKES = 12_000
"""Longest course considered on the first paper: some five hours of strokes."""
MOST_LOOKS = 32
"""Looks up to the horizon: each has the face measured once."""
CLEAR_SHARE = 0.33
"""Mean depth that clears a hollow face, over its flatness: where the search for the end begins."""
FAR, SHOWN_TO = 90, 80
"""Per cent of the members tried that have stopped where the horizon is, and to where all are worked for what
a plan shows of the way."""
LOOKS_PAST = 2
"""Looks beyond these to which they are worked: with one, a face that is flattest just there shows no best
point."""
GIVE_UP_FROM = 0.25
"""Share of the strokes in which half of the members could have cleared hollow faces, from which on a face is
given up that comes down too slowly: by then a twelfth of its flatness has come off all over."""
TIP_REFUSED = 0.5
"""Share of the work with the press off the face from which a plan is refused."""
CHUNK = 4
"""Members that go to a worker together, with all that it has to know: few, so that no worker waits long for
the last of the others (24 members are six chunks for two workers; by eights they would be two and one)."""


class RowsFound(NamedTuple):
    """Strokes of a group of rows [-], the error that makes [m], and seconds that a row takes, about."""

    quad_strokes: float
    error: float
    seconds_a_row: float


@dataclass(frozen=True)
class Steps:
    """One way of working, laid out: all that a worker needs to know to work a member.

    Attributes
    ----------
    legs : the papers, coarse to fine
    least : strokes on the first before which nobody stops for a face that gets worse
    never : when a face is given up besides; None where some get there
    shown : strokes on each up to which a member is worked in any case
    keep : keep the faces at the looks
    error : step error of the rows, measured on the most typical member [m]
    seconds : of processor time that a member takes to the horizon, about: for words about what is to come
    check_every : strokes between looks on the first paper
    """

    rig: Rig
    gauged: Gauge
    legs: tuple[Leg, ...]
    limit_by: LimitBy
    goal: float
    least: int
    never: TooSlow | None
    shown: tuple[int, ...]
    keep: bool
    error: float
    seconds: float
    check_every: int

    @property
    def seconds_a_spot(self) -> float:
        """Of processor time that a row takes for each point of the face, about [s]."""
        rows = sum(leg.rows for leg in self.legs)
        return float(self.seconds / (rows * self.rig.grid.points.shape[0]))


@dataclass(frozen=True)
class Worked:
    """A crew that has worked a job in one way.

    Attributes
    ----------
    steps : as it was laid out
    courses : one for each paper
    outcome : how everybody came out
    runs : of every member on all papers; none where the faces at the looks are kept, which are large
    """

    scenario: Scenario
    steps: Steps
    courses: tuple[Course, ...]
    outcome: Outcome
    runs: tuple[tuple[LegRun, ...], ...] = ()

    @property
    def first(self) -> Course:
        """The course on the first paper."""
        return self.courses[0]

    @property
    def middle_stop(self) -> int:
        """Strokes on the first paper at which the middle of the members stops [-]."""
        return int(np.ceil(np.median(self.first.stops)))


def clearing_stage(scenario: Scenario, middle: Conditions, previous: Grit, grit: Grit) -> Stage:
    """A finer paper, with looks at whether the scratches of the one before are gone."""
    looks = clearing_looks(strokes_to_clear(scenario, middle, previous, grit))
    return replace(stage_of(scenario, middle, grit, looks[-1], looks[-1]), snapshots=looks)


def _rows_for(crew: Crew, stage: Stage, like: Steps | None, number: int) -> RowsFound:
    """How long rows are on the paper of a number: as is measured, or else to take off as much metal as those
    of work laid out ``like`` it."""
    if like is None:
        found = crew.steps_for(stage)
        return RowsFound(found.quad_strokes, found.error, found.seconds_a_row)
    leg, middle = like.legs[number], conditions_at(like.rig.scenario, np.zeros(len(SCORES)))
    longer = depth_per_stroke(like.rig.scenario, middle, leg.grit)
    longer /= depth_per_stroke(crew.scenario, crew.middle, stage.grit)
    return RowsFound(longer * leg.quad, like.error, like.seconds / sum(leg.rows for leg in like.legs))


def lay_steps(
    crew: Crew,
    first: int,
    stops: Array,
    *,
    keep: bool = False,
    like: Steps | None = None,
    grits: Sequence[Grit] | None = None,
) -> Steps:
    """Lay out the papers from the ``first`` on.

    Parameters
    ----------
    like : work on the same papers whose rows are taken over for what they take off, and not measured anew
    grits : the papers; without them those that the finish wanted asks for after the first
    stops : strokes after which members (k,) are expected to leave the first paper
    keep : for a report: keep the faces, and work everybody to where most stop
    """
    scenario, middle = crew.scenario, crew.middle
    grits = grits or chain(scenario, middle, first)
    far = float(np.percentile(np.minimum(stops, MOST_STROKES), FAR))
    every = check_interval(scenario, int(far), MOST_LOOKS)
    horizon = every * max(3, int(np.ceil(far / every)))
    typical = every * max(1, int(np.ceil(np.median(stops) / every)))
    ahead = stage_of(scenario, middle, grits[0], min(typical, horizon), every)
    found = _rows_for(crew, ahead, like, 0)
    stage = stage_of(scenario, middle, grits[0], horizon, every)
    quad = quad_within(found.quad_strokes, horizon, crew.most_rows)
    most = every * (max(MOST_STROKES, horizon) // every)
    legs = [lay_leg(crew.rig, stage, quad_strokes=quad, seed=crew.seed, most=most)]
    seconds = found.seconds_a_row * legs[0].rows
    # Some looks beyond where most stop, for a report.
    shown = float(np.percentile(np.minimum(stops, MOST_STROKES), SHOWN_TO))
    error, to_show = found.error, [every * (int(np.ceil(shown / every)) + LOOKS_PAST)]
    for number, (previous, grit) in enumerate(pairwise(grits), start=1):
        clearing = clearing_stage(scenario, middle, previous, grit)
        found = _rows_for(crew, clearing, like, number)
        error = max(error, found.error)
        legs.append(lay_leg(crew.rig, clearing, quad_strokes=found.quad_strokes, seed=crew.seed + 1))
        seconds += found.seconds_a_row * legs[-1].rows
        expected = strokes_to_clear(scenario, middle, previous, grit)
        to_show.append(expected + LOOKS_PAST * clearing.snapshots[0])
    part = scenario.part
    return Steps(
        rig=crew.rig,
        gauged=crew.gauged,
        legs=tuple(legs),
        limit_by=part.limit_by,
        goal=STOP_AT * part.limit,
        least=horizon,
        never=None,
        shown=tuple(to_show) if keep else (0,) * len(legs),
        keep=keep,
        error=error,
        seconds=seconds,
        check_every=every,
    )


def giving_up(crew: Crew, steps: Steps) -> Steps:
    """The same work by the same rows, but a face is given up that comes down too slowly ever to get there."""
    leg = steps.legs[0]
    after = min(int(np.ceil(GIVE_UP_FROM * first_guess(crew, leg.grit))), leg.most)
    never = TooSlow(crew.scenario.part.limit, after, leg.most)
    return replace(steps, never=never)


def work_member(steps: Steps, before: Array, conditions: Conditions) -> tuple[LegRun, ...]:
    """Work one face (n,) [m] through all papers."""
    rig, gauged = steps.rig, steps.gauged
    rule = ToGoal(steps.goal, steps.least, never=steps.never)
    done = [
        work_leg(
            rig, gauged, steps.legs[0], conditions, rule,
            before=before, start=before, limit_by=steps.limit_by,
            shown=steps.shown[0], keep=steps.keep, figures=steps.keep,
        )
    ]  # fmt: skip
    area = rig.grid.area[: rig.grid.n_cells]
    earlier = before
    for previous, leg, shown in zip(steps.legs, steps.legs[1:], steps.shown[1:], strict=False):
        start = done[-1].face
        stock = law_of(rig.scenario, conditions, previous.grit).stock
        gone = ToScratchesGone(earlier, start, area, stock)
        done.append(
            work_leg(
                rig, gauged, leg, conditions, gone, before=before, start=start, limit_by=steps.limit_by,
                shown=shown, keep=steps.keep, figures=steps.keep,
            )
        )  # fmt: skip
        earlier = start
    return tuple(done)


Chunk = tuple[Steps, Sequence[tuple[Array, Conditions]]]


def work_chunk(task: Chunk) -> list[tuple[LegRun, ...]] | HandlapError:
    """Work several faces (n,) [m] in one way; an error in words comes back instead of being raised."""
    steps, members = task
    return or_fault(lambda: [work_member(steps, before, conditions) for before, conditions in members])


def or_fault(ask: Callable[[], T]) -> T | HandlapError:
    """What is asked for, or why it cannot be done."""
    try:
        return ask()
    except (InputError, SolverError) as fault:
        return fault


def lay_side_by_side(asks: Sequence[Callable[[], Steps]]) -> list[Steps | HandlapError]:
    """Several ways laid out, or why they cannot be.

    In threads of this process whatever the executor: to find how long rows may be takes a few laps of one
    member each, in which the workers would wait.
    """
    laid: list[Steps | HandlapError] = run_members(or_fault, asks)
    return laid


def work_ways(
    crews: Sequence[Crew],
    steps: Sequence[Steps | HandlapError],
    *,
    executor: Executor | None = None,
    finished: Callable[[float], None] | None = None,
    times: int = 1,
) -> list[Worked | HandlapError]:
    """Work the members of all crews, side by side; what takes long is said before.

    Parameters
    ----------
    crews : one for each way of working
    steps : as it is laid out, or why it cannot be
    finished : called with the share done
    times : how many pieces of work like this one are to come, this one included: only for words

    Returns
    -------
    What came of each way, or why it cannot be done; the same whatever the executor.
    """
    say_ahead(crews, steps, times)
    tasks: list[Chunk] = []
    owner: list[int] = []
    for i, (crew, laid) in enumerate(zip(crews, steps, strict=True)):
        if isinstance(laid, Steps):
            pairs = list(zip(crew.members.before, crew.members.conditions, strict=True))
            tasks += [(laid, pairs[at : at + CHUNK]) for at in range(0, len(pairs), CHUNK)]
            owner += [i] * (len(tasks) - len(owner))
    tell = None if finished is None else lambda n: finished(n / len(tasks))
    results = run_members(work_chunk, tasks, executor=executor, finished=tell)
    found: list[Worked | HandlapError] = []
    for i, (crew, laid) in enumerate(zip(crews, steps, strict=True)):
        mine = [r for r, o in zip(results, owner, strict=True) if o == i]
        faults = [r for r in mine if isinstance(r, HandlapError)]
        if isinstance(laid, HandlapError):
            found.append(laid)
        elif faults:
            found.append(faults[0])
        else:
            found.append(_gather(crew, laid, [m for r in mine if isinstance(r, list) for m in r]))
    return found


def _gather(crew: Crew, steps: Steps, members: Sequence[tuple[LegRun, ...]]) -> Worked | HandlapError:
    courses = []
    start = crew.members.before
    for leg, runs in zip(steps.legs, zip(*members, strict=True), strict=True):
        courses.append(gather_course(leg.stage, start, runs))
        start = courses[-1].left
    tipped = float(np.mean(courses[0].tipped))
    if tipped > TIP_REFUSED:
        return TippingError(tipping_words(crew.middle, tipped))
    outcome = outcome_of(crew.scenario, crew.middle, crew.members.pace, courses)
    return Worked(crew.scenario, steps, tuple(courses), outcome, () if steps.keep else tuple(members))


def say_ahead(crews: Sequence[Crew], steps: Sequence[Steps | HandlapError], times: int = 1) -> None:
    """Say how long work in all ways that can be laid out takes, ``times`` over, where it takes long."""
    laid = [(c, s) for c, s in zip(crews, steps, strict=True) if isinstance(s, Steps)]
    if not laid:
        return
    crew, first = laid[0]
    ways = len(laid) * times
    how = f"on {first.legs[0].grit.name}" if ways == 1 else f"in {ways} ways"
    seconds = times * sum(s.seconds * c.members.count for c, s in laid)
    tell_ahead(crew.tell, seconds, f"lapping {crew.members.count} faces {how}")


def work(crew: Crew, steps: Steps, *, finished: Callable[[float], None] | None = None) -> Worked:
    """Work a crew in one way.

    Raises
    ------
    InputError, TippingError, SolverError : if it cannot be done
    """
    (found,) = work_ways([crew], [steps], executor=crew.executor, finished=finished)
    if isinstance(found, HandlapError):
        raise found
    return found


def work_rest(crew: Crew, few: Worked, some: NDArray[np.int64]) -> Worked:
    """Work the members of a crew that have not been yet, as those few were with these indices (k,).

    Raises
    ------
    InputError, TippingError, SolverError : if it cannot be done
    """
    done = dict(zip(some.tolist(), few.runs, strict=True))
    left = np.array([i for i in range(crew.members.count) if i not in done], dtype=np.int64)
    if left.size:
        rest = work(replace(crew, members=crew.members.some(left)), few.steps)
        done |= dict(zip(left.tolist(), rest.runs, strict=True))
    whole = _gather(crew, few.steps, [done[i] for i in range(crew.members.count)])
    if isinstance(whole, HandlapError):
        raise whole
    return whole


def first_guess(crew: Crew, grit: Grit) -> int:
    """Strokes after which half of the members could have cleared their faces, were they hollow."""
    flatness = gauge.flatness(crew.gauged, crew.members.before)
    fresh = np.array([depth_per_stroke(crew.scenario, c, grit) for c in crew.members.conditions])
    return int(np.clip(np.median(CLEAR_SHARE * flatness / (SETTLED * fresh)), 1, MOST_STROKES))
