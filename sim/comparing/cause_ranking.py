"""Backwards: which cause would leave the dye, or the readings, that a person has before them.

Each cause is taken to be at work alone on every member of the ensemble.  What it would leave is
held against what is seen; the likelihood is the mean over the members (and, for dye, over the
strokes since it was put on), and all causes are as likely beforehand as one another and as a
picture that comes of none of them.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from functools import partial

import numpy as np

from handlap.sim.common.errors import InputError
from handlap.sim.common.outline import Array
from handlap.sim.comparing.causes import COMPONENTS, active_causes, lap_variants, only, stages_for
from handlap.sim.face.face_numbers import bend_components
from handlap.sim.face.told import faces_to_work_on
from handlap.sim.job.scenario import Scenario
from handlap.sim.lapping import dye
from handlap.sim.lapping.conditions import Conditions, Stage
from handlap.sim.lapping.dye_picture import DyePicture
from handlap.sim.lapping.ensemble import run_members
from handlap.sim.lapping.lap import run_stage, stage_layout
from handlap.sim.lapping.long_work import Quietly
from handlap.sim.lapping.poses import Layout
from handlap.sim.lapping.rhythm import SETTLED, stage_of
from handlap.sim.lapping.set_up import Rig
from handlap.sim.lapping.sheet import depth_per_stroke
from handlap.sim.planning.crew import Crew, Progress, open_crew, vary
from handlap.sim.planning.first_paper import choose_to_work

LOOKS = 40
DEEPEST = 2.0
"""Dye is followed until this many times the depth that clears it has come off on average."""
GOING = 0.03
"""Dye is going while more than this share is gone, and more than this is left [-]."""
HEIGHT_SD = 4e-6
"""What leaves leave open of a crown or a twist apart from what the survey says: feel [m]."""
RATIO = 3.0
"""The first cause is named where it is this many times as likely as the second."""
NONE = "none of these"
BENDS = 3


@dataclass(frozen=True)
class Likely:
    """One cause and its chance given what is seen [-]."""

    cause: str
    chance: float


@dataclass(frozen=True)
class Ranking:
    """Causes from likely to unlikely; ``answer``: the first, or "cannot tell"."""

    seen: str
    causes: tuple[Likely, ...]
    answer: str
    ratio: float
    """Chance of the first over that of the second [-]."""
    members: int


def _ranking(seen: str, names: Sequence[str], logs: Sequence[float], members: int) -> Ranking:
    log = np.array(logs)
    weights = np.exp(log - log.max())
    chances = weights / weights.sum()
    order = np.argsort(-chances, kind="stable")
    found = tuple(Likely(names[i], float(chances[i])) for i in order)
    ratio = found[0].chance / max(found[1].chance, 1e-300)
    return Ranking(seen, found, found[0].cause if ratio >= RATIO else "cannot tell", ratio, members)


def _log_mean_exp(values: Array) -> float:
    top = float(values.max())
    return top + float(np.log(np.mean(np.exp(values - top))))


def _picture_log_likelihood(seen: DyePicture, shares: Array) -> float:
    """Log likelihood of a picture, from the shares (members, looks, 2·zones) that one cause leaves.

    A picture in which some dye is gone and some left was seen while the dye was going, one in which
    some is fading and some full while it was fading: then only looks at such a time count.
    """
    each = seen.log_likelihood(shares)
    now = np.ones(each.shape, dtype=bool)
    for told, share in zip((seen.gone, seen.faded), np.split(shares, 2, axis=-1), strict=True):
        if np.isfinite(told).any() and np.nanmin(told) < np.nanmax(told):
            whole = np.nanmean(share, axis=-1)
            now &= (whole > GOING) & (whole < 1.0 - GOING)
    members = []
    for likelihood, at in zip(each, now, strict=True):
        members.append(_log_mean_exp(likelihood[at] if at.any() else likelihood))
    return _log_mean_exp(np.array(members))


def _dyed(
    rig: Rig,
    stage: Stage,
    layout: Layout,
    seen: DyePicture,
    roughness: float,
    flat: bool,
    member: tuple[Array, Conditions],
) -> Array:
    """What one member would show (looks, 2·zones) of what is seen."""
    face, conditions = member
    before = np.zeros_like(face) if flat else face
    run = run_stage(rig, before, conditions, stage, layout)
    cells, drawn = slice(0, rig.grid.n_cells), conditions.dye
    off = before[cells] - run.heights[:, cells]
    return seen.shown(rig.grid, off, drawn.gone_at(roughness), drawn.faded_at(roughness))


def _dye_stage(crew: Crew, first: int, strokes: int | None, roughness: float) -> Stage:
    """A stage looked at often while the dye goes, or once if the strokes since it was put on are known."""
    scenario, middle = crew.scenario, crew.middle
    grit = scenario.paper.grits[first]
    if strokes is not None:
        return stage_of(scenario, middle, grit, strokes, strokes)
    clears = middle.dye.gone_at(roughness)
    # Fresh paper would take this long; paper that ages takes longer, and is followed less far.
    last = int(np.clip(DEEPEST * clears / (SETTLED * depth_per_stroke(scenario, middle, grit)), LOOKS, 5000))
    every = max(1, last // LOOKS)
    return stage_of(scenario, middle, grit, every * LOOKS, every)


def rank_by_dye(
    scenario: Scenario,
    seen: DyePicture,
    words: str,
    *,
    strokes: int | None = None,
    worked: bool = False,
    members: int = 32,
    seed: int = 0,
    executor: Executor | None = None,
    progress: Progress | None = None,
) -> Ranking:
    """Rank causes by the dye picture they would leave on a face that is flat but for them.

    Parameters
    ----------
    seen : picture by zones, as :func:`handlap.sim.lapping.dye_words.read_dye` reads it
    strokes : since the dye was put on; None: not known, and every count while it goes is as likely
    worked : whether the face had been lapped when it was dyed, which leaves its scratches shallower
    """
    tell = progress or (lambda done, what: None)
    tell(0.0, "inferring the face from the readings")
    crew = open_crew(scenario, members=members, seed=seed, executor=executor, tell=Quietly(tell))
    crew, paper = choose_to_work(crew)
    picked = paper.taken
    first = picked.first
    roughness = dye.roughness_dyed(scenario.paper.grits[first], scenario.part.metal, worked=worked)
    stage = _dye_stage(crew, first, strokes, roughness)
    quad = crew.steps_for(stage).quad_strokes
    layout = stage_layout(crew.rig, stage, quad_strokes=quad, seed=seed)
    told = seen.on_metal(crew.rig.grid)
    if not np.isfinite(told.seen).any():
        raise InputError("--dye: there is no metal in the zones that were seen")
    names = active_causes(scenario)
    logs = []
    for k, name in enumerate(names):
        tell(0.2 + 0.8 * k / len(names), f"the dye that {name} alone would leave")
        changed, flat = only(scenario, name)
        other = vary(crew, changed)
        work = partial(_dyed, other.rig, stage, layout, told, roughness, flat)
        pairs = list(zip(other.members.before, other.members.conditions, strict=True))
        shares = np.array(run_members(work, pairs, executor=executor))
        logs.append(_picture_log_likelihood(told, shares))
    logs.append(told.chance_by_luck)
    return _ranking(words, [*names, NONE], logs, members)


def rank_by_readings(
    scenario: Scenario,
    after: Scenario,
    *,
    strokes: int | None = None,
    members: int = 64,
    seed: int = 0,
    executor: Executor | None = None,
    progress: Progress | None = None,
) -> Ranking:
    """Rank causes by the crowns and the twist they would leave, held against readings after the work.

    Parameters
    ----------
    after : the same part, with the readings taken after the work
    strokes : done on the first paper; None: where half of the faces would stop
    """
    tell = progress or (lambda done, what: None)
    tell(0.0, "inferring the face from both sets of readings")
    crew = open_crew(scenario, members=members, seed=seed, executor=executor, tell=Quietly(tell))
    grid = crew.rig.grid
    now = faces_to_work_on(after, count=members, seed=seed, above=False)
    measured = np.array(bend_components(grid, np.array(now.heights_at(grid.points)))).T
    crew, paper = choose_to_work(crew)
    picked = paper.taken
    strokes = strokes or picked.worked.middle_stop
    stages = stages_for(crew, picked.first, strokes)
    names = active_causes(scenario)
    tell(0.3, f"lapping with each of {len(names)} causes alone")
    laps = lap_variants(
        crew, [(*only(scenario, name), stages) for name in names], None, executor=executor,
        like=picked.worked.steps,
    )  # fmt: skip
    middle = measured.mean(axis=0)
    spread = np.cov(measured.T) + HEIGHT_SD**2 * np.eye(BENDS)
    logs = []
    for rows in laps:
        left = np.array([lap.components[:BENDS] for lap in rows])
        logs.append(_log_mean_exp(_log_normal(middle - left, spread)))
    # A face of none of these: any crown or twist up to the size of the warp before the work.
    before = np.array(bend_components(grid, crew.members.before)).T
    wide = spread + np.diag(np.mean(before**2, axis=0).max() * np.ones(BENDS))
    logs.append(float(_log_normal(middle[None, :], wide)[0]))
    assert COMPONENTS[:BENDS] == ("crown_along", "crown_across", "twist")
    return _ranking(after.source, [*names, NONE], logs, members)


def _log_normal(off: Array, cov: Array) -> Array:
    """Log density (k,) of deviations (k, n) under a normal law."""
    root = np.linalg.cholesky(cov)
    z = np.linalg.solve(root, off.T)
    found: Array = (
        -0.5 * np.sum(z**2, axis=0) - np.sum(np.log(np.diag(root))) - 0.5 * len(cov) * np.log(2 * np.pi)
    )
    return found
