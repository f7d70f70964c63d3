"""What a job takes from earlier ones: its unknowns, brought up to date before the first stroke.

What belongs to hands is taken from jobs of the same hands; what belongs to paper, from jobs on the same
metal, with the same kind of paper, wet or dry alike.  How much a hundred strokes take off is a joint matter
of rate, press, ageing and the luck of the grade, so that a job on another grade tells what they have in
common and no more.  What a scenario states, no earlier job overrules.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from handlap.sim.common.outline import Array
from handlap.sim.common.pooling import Pooled, pool
from handlap.sim.job.past_jobs import BY_HANDS, BY_PAPER, CUT, SCRAP, PastJob, known_as
from handlap.sim.job.scenario import Z95, Past, Scenario, Uncertain
from handlap.sim.lapping.ensemble import (
    LUCK_SCORES,
    OWN_SPREADS,
    SCORES,
    TRAIT_SPREADS,
    conditions_at,
    paper_is_exact,
    uncertain_of,
)
from handlap.sim.lapping.first_cut import first_cut
from handlap.sim.materials import grits
from handlap.sim.materials.grits import Grit

MOST_USED = 12
"""Where more jobs match, the latest are taken, this many."""
INFLATED = 1.2
"""Spreads that jobs state count for so much more: a job was learnt from with a model wrong in details."""
CUT_BY = ("rate", "press", "ageing", "loading_floor", "dulling_floor", "brushing")
"""What a cut is made of, beside the luck of its grade."""
PRESS_SHARE = 0.3
"""Standard deviation of the logarithm of a cut that the press makes, where one of two jobs states it."""
TOLD = 0.02
"""What moves or narrows by less than this is left as it was [standard deviations]."""


@dataclass(frozen=True)
class _Unknown:
    """Mean and variance of the score of one unknown, with the jobs that said so by number."""

    mean: float
    variance: float
    jobs: tuple[int, ...]


def same_paper(scenario: Scenario, job: PastJob) -> bool:
    """Whether a job cut the same metal with the same kind of paper, wet or dry alike, of any grade."""
    here = scenario.part.metal.name, scenario.paper.wet, scenario.paper.abrasive.casefold()
    return here == (job.metal, job.wet, job.abrasive.casefold())


def same_hands(scenario: Scenario, job: PastJob) -> bool:
    """Whether a job was done by the same hands."""
    return scenario.hands.whose.casefold() == job.hands.casefold()


def from_past(scenario: Scenario, jobs: Sequence[PastJob], file: str = "") -> Scenario:
    """The job with its unknowns as earlier ones leave them; itself where none of them matches.

    Parameters
    ----------
    jobs : earlier ones, the oldest first
    file : where they were read, for the report
    """
    plain = scenario if scenario.past is None else scenario.past.plain
    used = [job for job in jobs if same_paper(plain, job) or same_hands(plain, job)][-MOST_USED:]
    open_to = {
        name: quantity
        for name, quantity in uncertain_of(plain).items()
        if quantity.assumed and quantity.law != "fixed" and quantity.high > quantity.low
    }
    known, strange = _by_themselves(plain, used, open_to)
    cut = _cut(plain, used, open_to, known)
    if cut is None and not known:
        return plain
    names = cut.names if cut is not None else ()
    changed = dict(known)
    if cut is not None:
        strange |= {cut.jobs[k] for k in cut.pooled.named}
        for name, mean, variance in zip(names, cut.pooled.mean, np.diag(cut.pooled.cov), strict=True):
            said = changed[name].jobs if name in changed else ()
            changed[name] = _Unknown(float(mean), float(variance), tuple(sorted({*cut.jobs, *said})))
    changed = {
        name: x for name, x in changed.items() if abs(x.mean) > TOLD or abs(x.variance**0.5 - 1.0) > TOLD
    }
    taken = sorted({number for x in changed.values() for number in x.jobs})
    if not taken:
        return plain
    told = [used[number] for number in taken]
    past = Past(
        plain=plain,
        file=file,
        jobs=tuple(told),
        names=names,
        factor=np.eye(0) if cut is None else _factor(cut.pooled.cov),
        luck={
            name: moved(_luck(name), x, known_as([used[k] for k in x.jobs]))
            for name, x in changed.items()
            if name in LUCK_SCORES
        },
        strange=tuple(taken.index(number) for number in sorted(strange) if number in taken),
        apart=None if cut is None else math.exp(Z95 * cut.pooled.apart),
    )
    made = {
        name: moved(open_to[name], x, known_as([used[k] for k in x.jobs]))
        for name, x in changed.items()
        if name in open_to
    }
    return _with(plain, made, past)


def moved(quantity: Uncertain, to: _Unknown, basis: str) -> Uncertain:
    """A quantity whose score has a mean and variance of its own; closed form."""
    sd = to.variance**0.5
    value, low, high = (float(quantity.at(to.mean + z * sd)) for z in (0.0, -Z95, Z95))
    return replace(quantity, value=value, low=low, high=high, basis=basis)


def _with(plain: Scenario, made: dict[str, Uncertain], past: Past) -> Scenario:
    """The job with these quantities in place of those assumed."""

    def renewed(record: object) -> dict[str, Any]:
        return {name: x for name, x in made.items() if hasattr(record, name)}

    by_key = {x.key: x for x in made.values()}
    return replace(
        plain,
        wear=replace(plain.wear, **renewed(plain.wear)),
        hands=replace(plain.hands, **renewed(plain.hands)),
        assumed=tuple(by_key.get(x.key, x) for x in plain.assumed),
        warnings=(*plain.warnings, *(_strange_words(past.jobs[k]) for k in past.strange)),
        past=past,
    )


def _strange_words(job: PastJob) -> str:
    return (
        f"what {job.job} taught does not fit your other jobs, and counts for little: another kind of paper "
        f"under the same grade ({job.paper}), another person, a slip in its log? If so, say it in its entry "
        "(abrasive, hands), or take it out: handlap past-jobs"
    )


def _luck(name: str) -> Uncertain:
    spread = OWN_SPREADS[name.partition(" ")[0]]
    return Uncertain(1.0, 1.0 / spread, spread, "lognormal", name, True)


def _factor(cov: Array) -> Array:
    """What makes scores that are each standard normal, but tied, out of independent ones."""
    scale = np.sqrt(np.diag(cov))
    return np.asarray(np.linalg.cholesky(cov / np.outer(scale, scale)))


def _by_themselves(
    plain: Scenario, used: Sequence[PastJob], open_to: dict[str, Uncertain]
) -> tuple[dict[str, _Unknown], set[int]]:
    """What jobs say of single quantities, and which of the jobs do not fit."""
    known: dict[str, _Unknown] = {}
    strange: set[int] = set()
    for names, alike in ((BY_PAPER, same_paper), (BY_HANDS, same_hands)):
        for name in names:
            if name not in open_to:
                continue
            spread = open_to[name].deviation
            rows = [k for k, job in enumerate(used) if name in job.found and alike(plain, job)]
            rows = [k for k in rows if open_to[name].key not in used[k].stated]
            if not rows:
                continue
            said = np.array([used[k].said(name) for k in rows]) / spread
            pooled = pool(
                np.ones((len(rows), 1)), said[:, 0], (INFLATED * said[:, 1]) ** 2, np.zeros(1), np.eye(1)
            )  # fmt: skip
            known[name] = _Unknown(float(pooled.mean[0]), float(pooled.cov[0, 0]), tuple(rows))
            strange |= {rows[k] for k in pooled.named}
    return known, strange


@dataclass(frozen=True)
class _Cut:
    """What the cuts of earlier jobs leave of the unknowns that make it, with those jobs by number."""

    names: tuple[str, ...]
    pooled: Pooled
    jobs: tuple[int, ...]


def _cut(
    plain: Scenario, used: Sequence[PastJob], open_to: dict[str, Uncertain], known: dict[str, _Unknown]
) -> _Cut | None:
    """What the cuts of earlier jobs say together; None where none of them bears on this one."""
    numbers = [k for k, job in enumerate(used) if CUT in job.found and same_paper(plain, job)]
    numbers = [k for k in numbers if "wear.rate" not in used[k].stated]
    if not numbers or "rate" not in open_to or paper_is_exact(plain):
        return None
    grades = {g.name for g in plain.paper.grits} | {used[k].paper for k in numbers}
    names = tuple(name for name in CUT_BY if name in open_to) + tuple(
        name for name in LUCK_SCORES if name.partition(" ")[2] in grades
    )
    mean = np.array([known[n].mean if n in known else 0.0 for n in names])
    cov = np.diag([known[n].variance if n in known else 1.0 for n in names])
    slopes: dict[str, dict[str, float]] = {}
    rows, values, variances = [], [], []
    for k in numbers:
        job = used[k]
        slope = slopes.setdefault(job.paper, cut_slopes(plain, grits.find(job.paper)))
        middle, sd = job.said(CUT)
        own = {name: slope[name] for name in names if not _stated(name, job)}
        variance = (INFLATED * sd) ** 2 + sum(slope[name] ** 2 for name in TRAIT_SPREADS)
        if not same_hands(plain, job):
            variance += own.pop("press", 0.0) ** 2 + PRESS_SHARE**2
        elif "press" not in open_to and "hands.press" not in job.stated:
            variance += PRESS_SHARE**2
        rows.append([own.get(name, 0.0) for name in names])
        values.append(middle)
        variances.append(variance)
    together = _together([used[k] for k in numbers])
    pooled = pool(np.array(rows), np.array(values), np.array(variances), mean, cov, together=together)
    return _Cut(names, pooled, tuple(numbers))


def _together(jobs: Sequence[PastJob]) -> Array:
    """Labels (jobs,) of entries, alike for papers tried on one scrap.

    Jobs may well share place and day of their logs: one scenario, worked twice.
    """
    keys = [(job.when,) if job.log == SCRAP else (number,) for number, job in enumerate(jobs)]
    return np.array([keys.index(key) for key in keys])


def _stated(name: str, job: PastJob) -> bool:
    return f"wear.{name}" in job.stated or f"hands.{name}" in job.stated


def cut_slopes(scenario: Scenario, grit: Grit) -> dict[str, float]:
    """By how much the logarithm of the first cut on a paper moves with each score, about the middle [-].

    A grade that the job does not use is taken as if it did.
    """
    papers = {g.name: g for g in (*scenario.paper.grits, grit)}
    job = replace(scenario, paper=replace(scenario.paper, grits=tuple(papers.values())))
    at_middle = np.zeros(len(SCORES))
    middle = conditions_at(job, at_middle)
    moving = (*CUT_BY, *TRAIT_SPREADS, *(f"{what} {grit.name}" for what in OWN_SPREADS))
    found = dict.fromkeys(SCORES, 0.0)
    for name in moving:
        ends = []
        for z in (-1.0, 1.0):
            scores = at_middle.copy()
            scores[SCORES.index(name)] = z
            ends.append(math.log(first_cut(job, middle, conditions_at(job, scores), grit)))
        found[name] = 0.5 * (ends[1] - ends[0])
    return found
