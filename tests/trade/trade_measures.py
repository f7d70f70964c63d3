"""What the program gets of the jobs that the trade tells of: laps and plans of them, measured."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from trade_jobs import (
    MM,
    UM,
    Face,
    Laps,
    bow,
    bowl,
    by_strokes,
    by_the_clock,
    end_below_middle,
    ends_low,
    flat,
    gap_along,
    lap_all,
    line_along,
    long_head,
    measured,
    reached,
    small_head,
    sole,
    twisted,
)

from handlap.sim.common.outline import Array
from handlap.sim.job.scenario import Scenario
from handlap.sim.lapping.ensemble import conditions_at, draw_scores, strokes_per_minute
from handlap.sim.lapping.rhythm import choose_rhythm
from handlap.sim.materials import grits
from handlap.sim.planning.crew import open_crew
from handlap.sim.planning.first_paper import choose_first
from handlap.sim.planning.plan import make_plan

SHEET, BRUSHED = 5.0, 2.0
"""Minutes of strokes on a sheet, and between brushings, where a report does not say: the trade's habit."""
SIX = ("P60", "P80", "P120", "P180", "P240", "P400")
"""Papers at hand where the first is asked for."""
SHORT, WIDE = 245.0, 55.0
"""A smoothing plane's sole [mm]."""
INSET = 3 * MM
"""How far in from the ends of a face they are called low [m]."""
NEVER = 1e12


@dataclass(frozen=True)
class Size:
    """How many members laps and plans have, and which seeds: a first paper is chosen once for each."""

    laps: int = 24
    plans: int = 16
    choosing: int = 64
    """Members that choose a paper: as many as a plan has, for with fewer the choice is chance."""
    seeds: tuple[int, ...] = (0,)

    @property
    def seed(self) -> int:
        """Of all that is not a choice of paper."""
        return self.seeds[0]


@dataclass(frozen=True)
class Got:
    """What the program got: low, middle and high, and of how many."""

    low: float
    middle: float
    high: float
    count: int

    @staticmethod
    def of(values: Array) -> Got:
        """5, 50 and 95 % of the members (members,); such as never get there are infinite."""
        found = np.percentile(np.minimum(values, NEVER), [5.0, 50.0, 95.0])
        low, middle, high = np.where(found > NEVER / 1e3, np.inf, found)
        return Got(float(low), float(middle), float(high), int(values.size))


# ---- one sheet


def first_over_fifth(job: Scenario, size: Size) -> Got:
    """Metal of the first minute on a new sheet over that of the fifth."""
    laps = lap_all(
        job, flat, np.zeros((1, 2)), by_the_clock(job, (1, 4, 5)), members=size.laps, seed=size.seed
    )
    return Got.of(laps.depth[:, 0] / (laps.depth[:, 2] - laps.depth[:, 1]))


def minutes_a_sheet(grit: str, size: Size) -> Got:
    """Minutes of strokes after which every member would change its sheet, dry on a head."""
    job = small_head([grit], wet=False, limit=50)
    scores = draw_scores(size.laps, size.seed)
    changes = [choose_rhythm(job, conditions_at(job, z), grits.find(grit)).sheet_every for z in scores]
    return Got.of(np.array(changes) / strokes_per_minute(job, scores))


def middle_lost(size: Size) -> Got:
    """Depth off the middle of a hollow sole in half an hour on one sheet."""
    job = sole(SHORT, WIDE, 1.7, "P60")
    face = bow(60 * UM, 0.5 * SHORT * MM)
    laps = lap_all(job, face, np.zeros((1, 2)), by_the_clock(job, (30,)), members=size.laps, seed=size.seed)
    return Got.of(laps.lost[:, -1, 0] / UM)


# ---- an hour on a sole


@cache
def an_hour(laid: str, size: Size) -> tuple[Laps, Array]:
    """A flat sole on P100 for an hour, followed along its middle line, then across; and where along [m]."""
    job = sole(SHORT, WIDE, 1.7, "P100", **({} if laid == "glued" else {"laid": laid}))
    half = 0.5 * SHORT * MM
    ends = half - np.array([3.0, 6.0, 22.5]) * MM
    along = np.sort(np.concatenate([-ends, ends, np.linspace(-0.7, 0.7, 31) * half]))
    across = np.linspace(-0.5 * WIDE + 3.0, 0.5 * WIDE - 3.0, 3) * MM
    places = np.vstack([line_along(along), np.column_stack([np.zeros(3), across])])
    stage = by_the_clock(job, (60,), sheet=SHEET, brush=BRUSHED)
    return lap_all(job, flat, places, stage, members=size.laps, seed=size.seed), along


def toe_and_heel(size: Size) -> Got:
    """How low both are 3 mm from the ends, under a straightedge held level."""
    laps, along = an_hour("glued", size)
    return Got.of(ends_low(along, laps.after[:, -1, : along.size]) / UM)


def cross_hump(size: Size) -> Got:
    """How much less came off amidships than 3 mm from the long sides."""
    laps, along = an_hour("glued", size)
    side, middle, other = laps.lost[:, -1, along.size :].T
    return Got.of((0.5 * (side + other) - middle) / UM)


def roll_off(laid: str, place: int, size: Size) -> Got:
    """How low the worse end is at a place counted from it: 1 is 6 mm in, 2 is 22.5 mm."""
    laps, along = an_hour(laid, size)
    return Got.of(end_below_middle(along, laps.after[:, -1, : along.size], place) / UM)


# ---- hollow, crown, twist


def minutes_to_38(size: Size) -> Got:
    """Minutes of strokes until a sole hollow by 100 µm reads 38 under a straightedge."""
    job = sole(SHORT, 60.0, 2.0, "P80")
    half = 0.5 * SHORT * MM
    places = line_along(np.linspace(-1.0, 1.0, 41) * (half - 1 * MM))
    looks = (*range(3, 61, 3), *range(66, 121, 6))
    stage = by_the_clock(job, looks, sheet=3.0)
    laps = lap_all(job, bow(100 * UM, half), places, stage, members=size.laps, seed=size.seed)
    left = gap_along(places[:, 0], np.concatenate([laps.before[:, None, :], laps.after], axis=1))
    return Got.of(reached(laps.minutes, left, 38 * UM))


@cache
def crown_left(grit: str, size: Size) -> tuple[Array, Array]:
    """A sole crowned by 60 µm before and after an hour on one sheet (members,) [µm]."""
    job = sole(SHORT, WIDE, 1.7, grit)
    half = 0.5 * SHORT * MM
    places = line_along(np.linspace(-1.0, 1.0, 41) * (half - INSET))
    stage = by_the_clock(job, (60,))
    laps = lap_all(job, bow(-60 * UM, half), places, stage, members=size.laps, seed=size.seed)
    at = places[:, 0]
    return ends_low(at, laps.before) / UM, ends_low(at, laps.after[:, -1]) / UM


def crown_lost(size: Size) -> Got:
    """By how much the crown went down on P80 [µm]."""
    before, after = crown_left("P80", size)
    return Got.of(before - after)


def crown_coarser(size: Size) -> Got:
    """What is left of the crown on P50 over what is left on P80."""
    return Got.of(crown_left("P50", size)[1] / crown_left("P80", size)[1])


@cache
def low_corner(size: Size) -> Array:
    """Depth off the low corners of a twisted head, 15 mm in, after 20 and 200 strokes (members, 2) [µm]."""
    job = small_head(["P80"], wet=False, limit=50)
    half = 0.5 * np.array([job.part.outline.length, job.part.outline.width])
    # Further out the leading edge rolls off, which is held apart.
    corner = (half - 15 * MM) * [-1.0, 1.0]
    face = twisted(200 * UM, *half)
    stage = by_strokes(job, (20, 200))
    laps = lap_all(job, face, np.array([corner, -corner]), stage, members=size.laps, seed=size.seed)
    return laps.lost.mean(axis=2) / UM


def low_corner_lost(look: int, size: Size) -> Got:
    """Of that, one look."""
    return Got.of(low_corner(size)[:, look])


# ---- a long head


LONG_HOLLOW: Face = bowl(200 * UM, 220 * MM, 75 * MM)


def ends_of_head(size: Size) -> Got:
    """How low the ends of the long lines of a head are when 17 g are off."""
    job = long_head(["P60"])
    rows = [line_along(np.linspace(-1.0, 1.0, 89) * (220 * MM - INSET), v * MM) for v in (-60.0, 60.0)]
    stage = by_the_clock(job, range(6, 199, 6), sheet=SHEET, brush=BRUSHED)
    laps = lap_all(job, LONG_HOLLOW, np.vstack(rows), stage, members=size.laps, seed=size.seed)
    grams = 1e3 * laps.depth * job.part.outline.area * job.part.metal.density
    look = np.where(grams[:, -1] >= 17.0, np.argmax(grams >= 17.0, axis=1), grams.shape[1] - 1)
    then = laps.after[np.arange(look.size), look].reshape(look.size, 2, -1)
    return Got.of(ends_low(rows[0][:, 0], then).mean(axis=1) / UM)


def grams_to_goal(size: Size) -> Got:
    """Metal off when a plan's goal is met and P120 has cleared the scratches of P60."""
    job = measured(long_head(["P60", "P120"], start="P60"), LONG_HOLLOW)
    band = make_plan(job, members=size.plans, seed=size.seed).removed.mass.scaled(1e3)
    return Got(band.p05, band.p50, band.p95, size.plans)


# ---- the first paper


def choices(job: Scenario, size: Size) -> list[tuple[float, list[float]]]:
    """P number of the paper a plan starts on, and of those about alike with it, of every seed."""
    found = [choose_first(open_crew(job, members=size.choosing, seed=seed)) for seed in size.seeds]
    return [
        (_number(job.paper.grits[one.taken.first].name), [_number(name) for name in one.alike])
        for one in found
    ]


def first_paper(job: Scenario, size: Size) -> Got:
    """P number of the paper a plan starts on; low and high are those about alike with it, of all seeds."""
    taken, alike = zip(*choices(job, size), strict=True)
    return Got(min(map(min, alike)), float(np.median(taken)), max(map(max, alike)), len(taken))


def _number(paper: str) -> float:
    return float(paper.removeprefix("P"))


def hollow_head(hollow: float, limit: float, *, wet: bool) -> Scenario:
    """A head hollow by so much, to be flat within a limit [µm], with six papers at hand."""
    return measured(small_head(SIX, wet=wet, limit=limit), bowl(hollow * UM, 120 * MM, 70 * MM))


def hollow_sole() -> Scenario:
    """A jack plane's sole, with six papers at hand."""
    return measured(sole(356.0, 60.0, 2.5, *SIX, limit=38.0), bow(130 * UM, 178 * MM))
