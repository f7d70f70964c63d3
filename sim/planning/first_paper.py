"""Which paper to start on: each that could be is worked as the first, by the same few members.

Sixteen of them try all papers; where more than one may still be taken, those are tried by sixty-four.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from handlap.sim.common.outline import Array
from handlap.sim.job.results import Band, PaperTrial
from handlap.sim.job.scenario import Scenario
from handlap.sim.lapping.ensemble import spread_over
from handlap.sim.lapping.lap import run_stage, stage_layout
from handlap.sim.lapping.resolution import first_quad
from handlap.sim.lapping.rhythm import check_interval, choose_rhythm, stage_of
from handlap.sim.lapping.sheet import one_sheet
from handlap.sim.materials.grits import Grit
from handlap.sim.planning.crew import Crew, Progress, few_of, open_crew
from handlap.sim.planning.fineness import TRIED
from handlap.sim.planning.leg import STOP_AT, inside_limits
from handlap.sim.planning.papers import NOT_TOLD_APART, chain, choose_paper, price, quicker, to_clear
from handlap.sim.planning.typical import cells_asked
from handlap.sim.planning.work import (
    CLEAR_SHARE,
    MOST_LOOKS,
    Steps,
    Worked,
    first_guess,
    giving_up,
    lay_steps,
    work,
    work_rest,
)

FIRST_TRIAL, TRIAL_MEMBERS = 16, 64
"""Members that try every paper, and those that then try what is left.  Prices of two papers from seed to
seed differ by factors of 1.1 with the fewer, of 1.04 with the more (1.09 where the limit is as near as the
face is uncertain), one deviation."""
UNSURE = 1.2
"""Factor by which a ratio of two prices may be wrong on the first members: two deviations."""
FURTHER = 1.5
"""Times the strokes of the most typical face that most others take, about."""
FAR_SLOWER = 4.0
"""A paper is not tried that should take this many times as long as the quickest, estimated from a single
evenly used sheet of each."""


@dataclass(frozen=True)
class PaperTried:
    """A paper worked as the first one by a few members, and the finer ones after it.

    ``first``: its place in the scenario's list; ``inside``: who (members,) ends inside all limits.
    """

    first: int
    worked: Worked
    inside: NDArray[np.bool_]

    @property
    def minutes(self) -> Array:
        """Minutes of all work of every member (members,) [min]."""
        return self.worked.outcome.effort.minutes

    @property
    def stops(self) -> Array:
        """Strokes on it (members,) [-]."""
        return self.worked.first.stops

    @property
    def nobody(self) -> bool:
        """Whether nobody comes down to the goal on it, nor inside the limit."""
        goal, _ = inside_limits(self.worked.scenario.part, self.worked.outcome.figures)
        return not (goal.any() or self.worked.first.reached.any())


@dataclass(frozen=True)
class FirstPaper:
    """The paper to start on: what the trials said, papers about alike with it, its own trial, all trials."""

    trials: tuple[PaperTrial, ...]
    alike: tuple[str, ...]
    taken: PaperTried
    tried: tuple[PaperTried, ...]


def rough_minutes(crew: Crew, first: int) -> float:
    """Minutes that a paper and the finer ones after it should take, by one number for each sheet [min]."""
    scenario, middle = crew.scenario, crew.middle
    grits = chain(scenario, middle, first)
    pace = float(scenario.hands.strokes_per_minute.value)
    warp = crew.measured(crew.members.before)
    need = CLEAR_SHARE * max(float(np.median(warp)) - STOP_AT * scenario.part.limit, 0.0)
    rhythm = choose_rhythm(scenario, middle, grits[0])
    sheet = one_sheet(scenario, middle, grits[0], brush_every=rhythm.brush_every, pace=pace)
    minutes = sheet.to_take(need + middle.bedding_of(grits[0]), rhythm.sheet_every)[1]
    return minutes + sum(to_clear(scenario, middle, a, b)[1] for a, b in pairwise(grits))


def trial_crew(crew: Crew, members: int = TRIAL_MEMBERS) -> Crew:
    """The few that try papers, in longer rows than those of a plan; a crew that has such rows keeps them."""
    return few_of(crew, members, TRIED if crew.fineness.longer < TRIED.longer else None)


def try_paper(crew: Crew, first: int, like: Steps | None = None) -> PaperTried:
    """Work one paper as the first, and the finer ones after it, with a crew of few members.

    ``like``: a trial of the same papers, laid out, whose rows it takes over for what they take off.
    """
    grit = crew.scenario.paper.grits[first]
    stops = foreseen(crew, grit)
    steps = lay_steps(crew, first, np.array([stops]), like=like)
    if stops == first_guess(crew, grit):
        # The most typical face does not get there: perhaps nobody does, which is plain long before the end.
        soon = _tried(crew, first, work(crew, giving_up(crew, steps)))
        if soon.nobody:
            return soon
    return _tried(crew, first, work(crew, steps))


def foreseen(crew: Crew, grit: Grit) -> int:
    """Strokes after which most faces should leave a paper, by one lap of the most typical one in long rows.

    Without such a lap there is only a guess to go by that is three to ten times too long on most built-in
    jobs, and rows that keep their error up to there are shorter than they have to be.
    """
    scenario, middle = crew.scenario, crew.middle
    guess = first_guess(crew, grit)
    every = check_interval(scenario, guess, MOST_LOOKS)
    stage = stage_of(scenario, middle, grit, guess, every)
    layout = stage_layout(crew.rig, stage, quad_strokes=first_quad(crew.rig, middle, stage), seed=crew.seed)
    run = run_stage(crew.rig, crew.members.before[crew.typical], middle, stage, layout)
    under = np.flatnonzero(crew.measured(run.heights) <= STOP_AT * scenario.part.limit)
    return int(min(guess, FURTHER * run.strokes[under[0]])) if under.size else guess


def lay_tried(crew: Crew, trial: PaperTried, *, keep: bool = False) -> Steps:
    """Lay out work on a paper that was tried as the first one; where nobody got there, faces are given up.

    ``keep``: as of :func:`handlap.sim.planning.work.lay_steps`.
    """
    steps = lay_steps(crew, trial.first, trial.stops, keep=keep)
    return giving_up(crew, steps) if trial.nobody else steps


def _until_plain(crew: Crew, trial: PaperTried) -> PaperTried:
    """The same trial, by members that give up who come down too slowly."""
    steps = trial.worked.steps
    return trial if steps.never else _tried(crew, trial.first, work(crew, giving_up(crew, steps)))


def _tried(crew: Crew, first: int, worked: Worked) -> PaperTried:
    goal, kept = inside_limits(crew.scenario.part, worked.outcome.figures)
    return PaperTried(first, worked, goal & kept)


def still_open(inside: Sequence[NDArray[np.bool_]], minutes: Sequence[Array]) -> list[int]:
    """Places of the papers, coarse to fine, that may still be taken by what the first members said.

    A coarser one than the cheapest is taken while it is neither told apart from that nor slower in all, a
    finer one only if it is the cheapest after all.

    Parameters
    ----------
    inside, minutes : as of :func:`handlap.sim.planning.papers.choose_paper`
    """
    prices = [price(*one) for one in zip(inside, minutes, strict=True)]
    best = int(np.argmin(prices))

    def open_still(place: int) -> bool:
        dearer = prices[place] / prices[best]
        if place >= best:
            return dearer <= UNSURE
        ever_quicker = quicker(minutes[place], minutes[best]) > 0.0
        return dearer <= UNSURE * NOT_TOLD_APART and ever_quicker

    return [place for place in range(len(prices)) if open_still(place)]


def _try_all(crew: Crew, papers: Sequence[int], start: int | None) -> dict[int, PaperTried]:
    """Trials of papers, by their place in the list; what will not be taken has few members.

    ``start``: place of the paper that is taken whatever the trials say.
    """
    grits = crew.scenario.paper.grits
    few = trial_crew(crew)
    some = spread_over(few.members.count, FIRST_TRIAL)
    first = few_of(few, FIRST_TRIAL)
    tried: dict[int, PaperTried] = {}
    for done, paper in enumerate(papers):
        crew.tell(0.1 + 0.1 * done / len(papers), f"trying {grits[paper].name} as the first paper")
        tried[paper] = try_paper(first, paper)
    if all(trial.nobody for trial in tried.values()):
        # More members would choose between papers of which none does; what each costs is until that is plain.
        return {paper: _until_plain(first, trial) for paper, trial in tried.items()}
    if first.members.count == few.members.count:
        return tried

    left = still_open([tried[i].inside for i in papers], [tried[i].minutes for i in papers])
    left = [papers[place] for place in left]
    if len(left) == 1 or start is not None:
        # Nothing is left to choose, and the plan itself is worked by all.
        return tried
    for done, paper in enumerate(left):
        crew.tell(0.2 + 0.1 * done / len(left), f"trying {grits[paper].name} on all faces")
        tried[paper] = _tried(few, paper, work_rest(few, tried[paper].worked, some))
    return tried


def choose_first(crew: Crew) -> FirstPaper:
    """Try the papers as the first one, all by the same members, and take one; for work on it there is
    :func:`choose_to_work`."""
    scenario, grits = crew.scenario, crew.scenario.paper.grits
    rough = np.array([rough_minutes(crew, first) for first in range(len(grits))])
    start = None if scenario.paper.start is None else grits.index(scenario.paper.start)
    worth = [i for i in range(len(grits)) if rough[i] <= FAR_SLOWER * rough.min() or i == start]
    tried = _try_all(crew, worth, start)
    most = max(trial.minutes.size for trial in tried.values())
    full = [i for i in worth if tried[i].minutes.size == most]
    taken, alike = choose_paper(
        np.array([tried[i].inside for i in full]), np.array([tried[i].minutes for i in full])
    )
    if start is not None:
        taken, alike = full.index(start), (full.index(start),)
    best = tried[full[taken]]
    told = []
    for i, grit in enumerate(grits):
        finer = tuple(g.name for g in chain(scenario, crew.middle, i)[1:])
        if i not in tried:
            told.append(PaperTrial(grit.name, finer, 0, Band.of([rough[i]]), 0.0, None, None, None))
            continue
        told.append(_told(scenario, grit, finer, tried[i], best.minutes))
    return FirstPaper(tuple(told), tuple(grits[full[i]].name for i in alike), best, tuple(tried.values()))


def choose_to_work(crew: Crew) -> tuple[Crew, FirstPaper]:
    """The paper to start on, and the crew on the cells that work on it asks for."""
    found = choose_first(crew)
    return cells_asked(crew, found.taken.worked), found


def starts_on(
    scenario: Scenario, *, seed: int = 0, members: int = TRIAL_MEMBERS, tell: Progress | None = None
) -> Grit:
    """The paper that a plan of a job starts on, without the plan; with as many members as that has by itself
    it is the same choice.

    Raises
    ------
    InputError, TippingError, FaceDecides : as :func:`handlap.sim.planning.crew.open_crew` and the trials
    """
    crew = open_crew(scenario, members=members, seed=seed, tell=tell)
    return scenario.paper.grits[choose_first(crew).taken.first]


def _told(
    scenario: Scenario, grit: Grit, finer: tuple[str, ...], trial: PaperTried, best: Array
) -> PaperTrial:
    """What a trial said; ``best``: minutes (members,) on the paper taken."""
    part, outcome = scenario.part, trial.worked.outcome
    same = spread_over(best.size, trial.minutes.size)
    return PaperTrial(
        paper=grit.name,
        finer=finer,
        tried=trial.minutes.size,
        minutes=Band.of(trial.minutes),
        sheets=float(np.median(outcome.effort.sheets)),
        metal=Band.of(part.metal.density * part.outline.area * outcome.figures.mean_depth),
        chance_both=float(np.mean(trial.inside)),
        quicker=quicker(trial.minutes, best[same]),
    )
