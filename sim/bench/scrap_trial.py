"""A trial on a scrap: one block of strokes on every paper at hand, weighed; the quickest lesson there is.

A scrap is small, so that few strokes weigh; same metal, same papers, same hands.  What it tells of single
papers is half theirs and half the scrap's, the hands' and the day's; what it tells of one paper against
another is theirs, and that decides which to start on.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from scipy.optimize import brentq

from handlap.sim.bench.bench_trial import mass_to_weigh
from handlap.sim.bench.log_evidence import CLEANING, MASS_SHARE, ROUNDING
from handlap.sim.bench.log_marks import digest
from handlap.sim.common.errors import InputError
from handlap.sim.common.outline import Outline
from handlap.sim.common.said import record, said, unsaid
from handlap.sim.common.units import GRAVITY
from handlap.sim.job.past_jobs import CUT, SCRAP, PastJob
from handlap.sim.job.results import Band
from handlap.sim.job.scenario import Z95, Scenario
from handlap.sim.job.surroundings import Surroundings
from handlap.sim.lapping.conditions import Conditions
from handlap.sim.lapping.ensemble import SCORES, conditions_at, scores_for, uncertain_of
from handlap.sim.lapping.first_cut import first_cut
from handlap.sim.lapping.rhythm import choose_rhythm
from handlap.sim.lapping.sheet import Sheet, one_sheet
from handlap.sim.materials.grits import Grit

SIDE, THICK = 0.06, 0.02
"""Side and thickness of a scrap where nobody says [m]."""
WITHIN = 0.07
"""Relative standard error that a block is long enough for [-]."""
FEWEST, MOST = 40, 500
"""Strokes of a block at least, to see the paper in use and not its first touch, and at most."""
MEMBERS = 64
NAME = "scrap on"


@record()
class ScrapBlock:
    """One block; ``expected``: metal off in it [kg]; ``within``: what its weighing tells the rate by [-]."""

    paper: str
    strokes: int
    brush_every: int
    expected: Band = said("g", "off_g")
    within: float = said(name="tells_within")


@record()
class ScrapTrial:
    """The blocks in the order in which they are worked, on a scrap of this side [m] and mass [kg].

    ``scenario``: the job; ``on_scrap``: the same with the scrap in place of its part.
    """

    scenario: Scenario = unsaid()
    on_scrap: Scenario = unsaid()
    side: float = said("mm", "scrap_side_mm")
    mass: float = said("g", "scrap_g")
    division: float = said("g", "scale_g")
    blocks: tuple[ScrapBlock, ...]

    def block(self, paper: str) -> ScrapBlock:
        """The block on a paper of this name.

        Raises
        ------
        InputError : if there is none
        """
        for block in self.blocks:
            if block.paper.casefold() == paper.strip().casefold():
                return block
        known = ", ".join(block.paper for block in self.blocks)
        raise InputError(f"--off {paper}: allowed is a paper of the scenario: {known}")


@record()
class PaperFound:
    """What the trial says of one paper; ``cut``: depth that a hundred strokes take off the job's face [m],
    as it was taken to be and as it is now."""

    paper: str
    off: float = said("g")
    entry: PastJob
    before: Band = said("um", "cut_um_per_100_before")
    after: Band = said("um", "cut_um_per_100")


def scrap_of(scenario: Scenario, side: float) -> tuple[Scenario, float]:
    """The job with a square block of its metal in place of its part, and the mass of that [kg]."""
    mass = scenario.part.metal.density * side**2 * THICK
    part = replace(
        scenario.part, name="scrap", outline=Outline.rectangular(side, side), weight=mass * GRAVITY,
        weight_at=(0.0, 0.0), thickness=None, ribbed_as=None, proud=(), inserts=(), after=Surroundings(),
    )  # fmt: skip
    return replace(scenario, part=part), mass


def plan_scrap(scenario: Scenario, *, side: float = SIDE, division: float = 0.01e-3) -> ScrapTrial:
    """One block on every paper of a scenario, long enough to weigh on a scale of this least division [kg]."""
    job, mass = scrap_of(scenario, side)
    middle = conditions_at(job, np.zeros(len(SCORES)))
    face = job.part.metal.density * job.part.outline.area
    need = mass_to_weigh(division, within=WITHIN) / face
    drawn = [conditions_at(job, z) for z in scores_for(job, MEMBERS, 0)]
    blocks = []
    for grit in job.paper.grits:
        sheet = _sheet(job, middle, middle, grit)
        strokes = min(max(10 * math.ceil(0.1 * sheet.to_take(need, 0.0)[0]), FEWEST), MOST)
        taken = [face * _depth(_sheet(job, middle, c, grit), strokes) for c in drawn]
        expected = Band.of(taken)
        blocks.append(
            ScrapBlock(grit.name, strokes, sheet.brush_every, expected, _error(expected.p50, division))
        )
    return ScrapTrial(scenario, job, side, mass, division, tuple(blocks))


def _sheet(job: Scenario, middle: Conditions, conditions: Conditions, grit: Grit) -> Sheet:
    pace = float(job.hands.strokes_per_minute.value)
    brush_every = choose_rhythm(job, middle, grit).brush_every
    return one_sheet(job, conditions, grit, brush_every=brush_every, pace=pace)


def _depth(sheet: Sheet, strokes: int) -> float:
    return float(np.interp(strokes, sheet.strokes, sheet.depth))


def _error(mass: float, division: float) -> float:
    """Relative standard error of a mass off [kg] as the difference of two weighings of the scrap [-]."""
    return math.hypot(math.hypot(ROUNDING * division, CLEANING) / mass, MASS_SHARE)


def entries_of(trial: ScrapTrial, off: Mapping[str, float], *, today: str) -> tuple[PastJob, ...]:
    """What the trial found, an entry a paper.

    Parameters
    ----------
    off : mass [kg] that came off in the block on each paper, by its name

    Raises
    ------
    InputError : for a mass that no such block can take off
    """
    job = trial.on_scrap
    middle = conditions_at(job, np.zeros(len(SCORES)))
    face = job.part.metal.density * job.part.outline.area
    stated = tuple(x.key for x in uncertain_of(job).values() if not x.assumed)
    found = []
    for name, mass in off.items():
        block = trial.block(name)
        grit = next(g for g in job.paper.grits if g.name == block.paper)

        def taken(log_rate: float, grit: Grit = grit, strokes: int = block.strokes) -> float:
            conditions = replace(middle, rate=middle.rate * math.exp(log_rate))
            return face * _depth(_sheet(job, middle, conditions, grit), strokes)

        low, high = taken(-4.0), taken(4.0)
        if not low < mass < high:
            raise InputError(
                f"--off {name}: that cannot come off in {block.strokes} strokes on {name}: "
                f"{1e3 * low:.2g} to {1e3 * high:.2g} g can"
            )
        rate = float(brentq(lambda x, m=mass, f=taken: f(x) - m, -4.0, 4.0, xtol=1e-4))
        there = replace(middle, rate=middle.rate * math.exp(rate))
        cut = first_cut(job, middle, there, grit) / first_cut(job, middle, middle, grit)
        steep = (taken(rate + 0.1) - taken(rate - 0.1)) / (0.2 * mass)
        spread = math.exp(Z95 * _error(mass, trial.division) / max(steep, 0.3))
        found.append(
            PastJob(
                job=f"{NAME} {block.paper}", when=today, metal=job.part.metal.name, paper=block.paper,
                wet=job.paper.wet, abrasive=job.paper.abrasive, hands=job.hands.whose, stated=stated,
                weighed=True, log=SCRAP, mark=digest(f"{NAME} {today} {block.paper}"),
                found={CUT: (cut / spread, cut, cut * spread)},
            )
        )  # fmt: skip
    return tuple(found)


def papers_found(
    trial: ScrapTrial, known: Scenario, off: Mapping[str, float], entries: tuple[PastJob, ...]
) -> tuple[PaperFound, ...]:
    """What each paper cuts of the job's own face, before and after the trial; ``known``: with its entries."""
    by_name = {entry.paper: entry for entry in entries}
    bands = [_cuts(scenario, tuple(by_name)) for scenario in (trial.scenario, known)]
    masses = {trial.block(name).paper: mass for name, mass in off.items()}
    return tuple(
        PaperFound(name, masses[name], entry, bands[0][name], bands[1][name])
        for name, entry in by_name.items()
    )


def _cuts(scenario: Scenario, papers: tuple[str, ...]) -> dict[str, Band]:
    middle = conditions_at(scenario, np.zeros(len(SCORES)))
    drawn = [conditions_at(scenario, z) for z in scores_for(scenario, MEMBERS, 0)]
    return {
        grit.name: Band.of([first_cut(scenario, middle, c, grit) for c in drawn])
        for grit in scenario.paper.grits
        if grit.name in papers
    }
