"""What a stint came to by the true face, and what a plain plan of the same hands would have got."""

from __future__ import annotations

from concurrent.futures import Executor
from dataclasses import replace

import numpy as np

from handlap.sim.common.errors import TippingError
from handlap.sim.common.outline import Array
from handlap.sim.common.said import record, said
from handlap.sim.job.results import Figures
from handlap.sim.job.ways import Way, apply_way
from handlap.sim.planning.crew import vary
from handlap.sim.planning.leg import inside_limits, measure
from handlap.sim.planning.work import first_guess, lay_steps, work
from handlap.sim.teaching.stint import Costs, StintRig, StintState

PLAIN_TURNING, PLAIN_EVERY = "half and walk", 50


@record()
class PlainPlan:
    """One paper, turned all round at one interval, with a look every two minutes, by the same hands.

    ``measured``, ``deepest`` at its end [m]; ``mass`` off [kg].
    """

    paper: str
    strokes: int
    minutes: float
    sheets: int
    measured: float = said("um")
    deepest: float = said("um")
    mass: float = said("g")
    inside: bool = said(name="inside_limit")
    kept: bool = said(name="inside_allowance")


@record()
class Debrief:
    """A stint at its end.

    Attributes
    ----------
    costs : minutes, sheets, strokes
    mass : metal off the face [kg]
    before, measured : the figure the limit is held against, at the start and at the end [m]
    flatness, deepest, mean_depth : at the end [m]
    inside, kept : it came inside the limit; no more came off at the deepest spot than there is to spare
    best : the measured figure where it was least after a block of strokes [m], and strokes done then
    plain : the best plain plan
    first, last : the face before and after (n,) [m]
    """

    costs: Costs
    mass: float = said("g")
    before: float = said("um")
    measured: float = said("um")
    flatness: float = said("um")
    deepest: float = said("um")
    mean_depth: float = said("um")
    inside: bool = said(name="inside_limit")
    kept: bool = said(name="inside_allowance")
    best: tuple[float, int]
    plain: PlainPlan | None
    first: Array
    last: Array

    @property
    def past_best(self) -> bool:
        """Whether it was worse at the end than before, by more than a leaf tells (a tenth)."""
        return self.measured > 1.1 * self.best[0]


def debrief(rig: StintRig, states: list[StintState], *, executor: Executor | None = None) -> Debrief:
    """What a stint came to.

    Parameters
    ----------
    states : after every order, the one before the first included
    """
    part, end = rig.exercise.scenario.part, states[-1]
    figures = rig.figures(end.heights)
    inside, kept = inside_limits(part, figures)
    seen = {state.costs.strokes: state for state in states}
    best = min((rig.measured(state.heights), strokes) for strokes, state in seen.items())
    return Debrief(
        costs=end.costs,
        mass=rig.mass_off(end.heights),
        before=rig.measured(rig.before),
        measured=float(measure(figures, part.limit_by)[0]),
        flatness=float(figures.flatness[0]),
        deepest=float(figures.greatest_depth[0]),
        mean_depth=float(figures.mean_depth[0]),
        inside=bool(inside[0]),
        kept=bool(kept[0]),
        best=best,
        plain=best_plain(rig, executor=executor),
        first=rig.before,
        last=end.heights,
    )


def best_plain(rig: StintRig, *, executor: Executor | None = None) -> PlainPlan | None:
    """The best plain plan: inside both limits in the fewest minutes; failing that, the flattest that spares
    the metal; None where none can be worked."""
    found = []
    way = Way("", turning=PLAIN_TURNING, every=PLAIN_EVERY)
    crew = replace(vary(rig.crew, apply_way(rig.crew.scenario, way)), executor=executor)
    part = crew.scenario.part
    for grit in crew.scenario.paper.grits:
        try:
            guess = first_guess(crew, grit)
            done = work(crew, lay_steps(crew, 0, np.array([guess]), grits=(grit,)))
        except TippingError:
            continue
        end: Figures = done.outcome.figures
        inside, kept = inside_limits(part, end)
        found.append(
            PlainPlan(
                paper=grit.name,
                strokes=round(float(done.outcome.effort.strokes[0])),
                minutes=float(done.outcome.effort.minutes[0]),
                sheets=int(done.outcome.effort.sheets[0]),
                measured=float(measure(end, part.limit_by)[0]),
                deepest=float(end.greatest_depth[0]),
                mass=float(part.metal.density * part.outline.area * end.mean_depth[0]),
                inside=bool(inside[0]),
                kept=bool(kept[0]),
            )
        )
    return min(found, key=_rank) if found else None


def _rank(plan: PlainPlan) -> tuple[bool, bool, float]:
    good = plan.inside and plan.kept
    return not good, not plan.kept, plan.minutes if good else plan.measured
