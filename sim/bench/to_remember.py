"""What a finished job leaves for the next ones: the entry for the file of the user's own.

Only what the job found by itself is written down.  What was assumed beforehand is taken out of it again, and
so is what earlier jobs had taught: it is learnt from the log once more as if there had been none.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from handlap.sim.bench.job_log import JobLog, part_mark
from handlap.sim.bench.learn import CLIP, Learnt, State
from handlap.sim.bench.log_marks import digest
from handlap.sim.bench.log_place import log_path
from handlap.sim.common.errors import InputError
from handlap.sim.common.outline import Array
from handlap.sim.common.pooling import own_word
from handlap.sim.job.past_jobs import BY_HANDS, BY_PAPER, CUT, FACTOR, IN_MM, OFFSET, PastJob
from handlap.sim.job.scenario import Z95, Scenario
from handlap.sim.lapping.ensemble import SCORES, conditions_at, uncertain_of
from handlap.sim.lapping.first_cut import first_cut
from handlap.sim.materials import grits
from handlap.sim.materials.grits import Grit

WIDEST = 3.0
"""What was found with a spread more than this many times that which is assumed anyway is not written down."""


def main_paper(log: JobLog) -> str:
    """The paper that most strokes were done on."""
    done: dict[str, int] = {}
    for entry in log.standing:
        if entry.paper:
            done[entry.paper] = done.get(entry.paper, 0) + entry.strokes
    return max(done, key=lambda name: done[name])


def job_mark(scenario: Scenario, log: JobLog) -> str:
    """A mark by which the same job is known again, renamed or moved: its face, and when its log was begun."""
    first = next(entry for entry in log.standing if entry.strokes)
    return digest(f"{part_mark(scenario.part)} {first.when} {first.strokes} {first.paper}")


def to_remember(learnt: Learnt, log: JobLog, *, today: str) -> PastJob:
    """What a job has taught, as an entry.

    Parameters
    ----------
    learnt : from the job as its scenario has it, without earlier jobs
    today : the day, for the entry

    Raises
    ------
    InputError : if nothing was learnt that another job could use
    """
    scenario = learnt.ready.scenario
    if scenario.past is not None:
        raise ValueError("learnt with earlier jobs in force")
    paper = main_paper(log)
    found = _found(learnt, grits.find(paper)) if learnt.believed else {}
    if not found:
        why = (
            "the log has told neither of the paper nor of the hands; weigh the part or the swarf, or read "
            "the leaves between blocks"
            if learnt.believed
            else 'what was learnt from the log is not believed (see "Look again" of the record)'
        )
        raise InputError(f"--remember: nothing to remember of {scenario.name}: {why}")
    relevant = {x.key: x for x in uncertain_of(scenario).values()}
    return PastJob(
        job=scenario.name,
        when=today,
        log=str(Path(log_path(scenario)).resolve()),
        mark=job_mark(scenario, log),
        metal=scenario.part.metal.name,
        paper=paper,
        wet=scenario.paper.wet,
        abrasive=scenario.paper.abrasive,
        hands=scenario.hands.whose,
        stated=tuple(key for key, x in relevant.items() if not x.assumed),
        weighed=any(e.swarf is not None or e.part_mass is not None for e in log.standing),
        found=found,
    )


def _found(learnt: Learnt, grit: Grit) -> dict[str, tuple[float, float, float]]:
    """What was found by itself, by name."""
    scenario = learnt.ready.scenario
    cuts = [log_cuts(learnt, state, grit) for state in (learnt.prior, learnt.posterior)]
    found: dict[str, tuple[float, float, float]] = {}
    known = uncertain_of(scenario)
    rate_open = known["rate"].assumed and known["rate"].law != "fixed"
    chance = next((q.by_chance for q in learnt.quantities), 1.0)
    if rate_open and cuts[1].std() < chance * cuts[0].std():
        _keep(found, CUT, own_word(cuts[1].mean(), cuts[1].std(), cuts[0].mean(), cuts[0].std()), 1.0, False)
    for name in (*BY_PAPER, *BY_HANDS):
        quantity = known[name]
        if not quantity.assumed or quantity.law == "fixed" or name == "strokes_per_minute":
            continue
        column = SCORES.index(name)
        # What the cut says is told once: of the rest, what goes beyond it.
        before, after = _beyond(
            cuts, learnt.prior.scores[:, column], learnt.posterior.scores[:, column]
        )  # fmt: skip
        if not before.std() > 0.0 or after.std() > chance * before.std():
            continue
        word = own_word(after.mean(), after.std(), before.mean(), before.std())
        _keep(found, name, word, quantity.deviation, quantity.law == "normal")
    return found


def log_cuts(learnt: Learnt, state: State, grit: Grit) -> Array:
    """Logarithm of the first cut (members,) on a paper, over that at the middle of what was assumed."""
    scenario, middle = learnt.ready.scenario, learnt.ready.middle
    taken = first_cut(scenario, middle, conditions_at(scenario, np.zeros(len(SCORES))), grit)
    cuts = [first_cut(scenario, middle, c, grit) for c in state.conditions(scenario)]
    return np.log(np.array(cuts) / taken)


def _beyond(cuts: list[Array], before: Array, after: Array) -> tuple[Array, Array]:
    """Scores (members,) before and after, without what goes with the cut (by regression before)."""
    spread = float(cuts[0].var())
    slope = float(np.mean((before - before.mean()) * (cuts[0] - cuts[0].mean()))) / spread if spread else 0.0
    return before - slope * cuts[0], after - slope * cuts[1]


def _keep(
    found: dict[str, tuple[float, float, float]],
    name: str,
    word: tuple[float, float] | None,
    unit: float,
    normal: bool,
) -> None:
    """Write down what a job found of one quantity: mean and deviation [units], as low, middle and high."""
    if word is None or word[1] * unit > WIDEST * max(unit, 0.3) or abs(word[0]) > CLIP:
        return
    three = [unit * (word[0] + z * word[1]) for z in (-Z95, 0.0, Z95)]
    three = [1e3 * x for x in three] if normal else [float(np.exp(x)) for x in three]
    least, most = OFFSET if name in IN_MM else FACTOR
    if least <= three[0] and three[2] <= most:
        found[name] = (three[0], three[1], three[2])
