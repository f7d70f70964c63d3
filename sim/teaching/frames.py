"""One lap of the typical face in steps to look at: faces, pressure and dye after so many strokes.

The lap is that of :func:`handlap.sim.lapping.simulate.simulate`, row for row: only more of its faces
are kept, so that its figures come out the same to the last bit.  A frame between two groups of rows
is interpolated between them in proportion to the strokes; the lap itself never is.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from handlap.sim.common.errors import InputError, ScenarioError, TippingError
from handlap.sim.common.outline import Array
from handlap.sim.job.results import FIGURE_NAMES, Figures, LapResult
from handlap.sim.job.scenario import Scenario
from handlap.sim.job.ways import Way, apply_way, distinct
from handlap.sim.lapping import column_kernels, dye, gauge
from handlap.sim.lapping.conditions import Conditions, Stage, law_of, load_of
from handlap.sim.lapping.lap import run_stage
from handlap.sim.lapping.poses import ROWS_PER_QUAD, Layout
from handlap.sim.lapping.simulate import (
    ReadyLap,
    follow_dye,
    lap_result,
    ready_lap,
)
from handlap.sim.materials.paper_law import rate_factor
from handlap.sim.teaching.strokes_to_follow import strokes_to_limit

FRAMES = 60
FEWEST_FRAMES, MOST_FRAMES = 4, 200
MOST_WAYS = 2
AS_IT_STANDS = Way("as it stands")

STEPS_SHOWN = 8
"""Groups of rows over which the pressure of a moment is taken: hands wander from one to the next,
and a single one would show where they happened to be."""
SLIGHT = 1e-5
"""Bedding lengths of metal that are taken off to weigh the pressure: so little that no spot gives way."""


@dataclass(frozen=True)
class Frames:
    """A lap at rising numbers of strokes, the first of them 0.

    Attributes
    ----------
    strokes : strokes done (frames,) [-]
    heights : face (frames, n) [m]
    pressure : of the paper on each cell, mean of push and pull about that moment (frames, cells) [Pa]
    dye : the dye on each cell (frames, cells): 1 full, ½ fading, 0 gone
    dye_share : share of the face on which dye is left, full or fading (frames,) [-]
    dye_faded : share on which it is fading or gone (frames,) [-]
    dyed_again : whether dye is put on again right after this frame (frames,)
    figures : arrays (frames,)
    mass : metal off (frames,) [kg]
    away : where away from the operator points, in the frame of the part (frames,) [rad]
    """

    strokes: NDArray[np.int64]
    heights: Array
    pressure: Array
    dye: Array
    dye_share: Array
    dye_faded: Array
    dyed_again: NDArray[np.bool_]
    figures: Figures
    mass: Array
    away: Array


@dataclass(frozen=True)
class FollowedWay:
    """One way of working, followed: its name, the lap as ``simulate`` has it, and its frames."""

    name: str
    lap: LapResult
    frames: Frames


@dataclass(frozen=True)
class Followed:
    """One face followed through one or two ways of working, in step.

    Attributes
    ----------
    scenario : the job as it stands
    strokes : strokes followed [-]
    chosen : how their number was come by, in words; empty where it was given
    seed : of face and rows
    ways : one or two, on the same face and with frames at the same strokes
    """

    scenario: Scenario
    strokes: int
    chosen: str
    seed: int
    ways: tuple[FollowedWay, ...]


def follow(
    scenario: Scenario,
    ways: Sequence[Way] = (),
    *,
    strokes: int | None = None,
    paper: str | None = None,
    seed: int = 0,
    frames: int = FRAMES,
    progress: Callable[[float, str], None] | None = None,
) -> Followed:
    """Follow one lap of the typical face, or two ways of working it in step.

    Parameters
    ----------
    ways : none: the job as it stands; one: that beside the job as it stands; two: those two
    strokes : to follow; without them the scenario's own, or as many as the limit takes and some more
    paper : name of a paper of the scenario; without it the one it starts on, or the first of each way
    frames : how many to make, about; those at the looks of ``simulate`` are always among them, if
        there are not more looks than frames

    Raises
    ------
    InputError : for a number of frames or ways out of range, and all that ``simulate`` refuses
    TippingError : if the press lies off the face
    """
    if not FEWEST_FRAMES <= frames <= MOST_FRAMES:
        raise InputError(f"--frames {frames}: allowed is {FEWEST_FRAMES} to {MOST_FRAMES}")
    if len(ways) > MOST_WAYS:
        raise InputError(f"--way is there {len(ways)} times: allowed is once or twice")
    tell = progress or (lambda done, what: None)
    named = distinct((AS_IT_STANDS, *ways) if len(ways) < MOST_WAYS else ways)
    jobs = [apply_way(scenario, way) for way in named]
    chosen, count = "", strokes if strokes is not None else scenario.exact.strokes
    if count is None:
        tell(0.0, "finding how many strokes it takes")
        needs = []
        for way, job in zip(named, jobs, strict=True):
            with _named(way, ways):
                needs.append(strokes_to_limit(job, paper=_asked(way, paper), seed=seed))
        count, chosen = max(needs, key=lambda need: need[0])
    found = []
    for i, (way, job) in enumerate(zip(named, jobs, strict=True)):
        start, part = 0.2 + 0.8 * i / len(jobs), 0.8 / len(jobs)

        def along(done: float, what: str, start: float = start, part: float = part) -> None:
            tell(start + part * done, what)

        with _named(way, ways):
            ready = ready_lap(job, strokes=count, paper=_asked(way, paper), seed=seed, progress=along)
            along(0.8, "lapping")
            lap, made = follow_lap(ready, frames)
        found.append(FollowedWay(way.name, lap, made))
    tell(1.0, "done")
    return Followed(scenario, count, chosen, seed, tuple(found))


def _asked(way: Way, paper: str | None) -> str | None:
    """The paper asked for, by name, or by the way of working, whose papers are all to be used."""
    return paper or (way.papers[0].name if way.papers else None)


@contextmanager
def _named(way: Way, ways: Sequence[Way]) -> Iterator[None]:
    """What cannot be worked says in which way, where ways were asked for."""
    try:
        yield
    except TippingError as fault:
        raise TippingError(f'the way "{way.name}": {fault}' if ways else str(fault)) from fault
    except InputError as fault:
        if not ways or isinstance(fault, ScenarioError):
            raise
        raise InputError(f'the way "{way.name}": {fault}') from fault


def follow_lap(ready: ReadyLap, frames: int) -> tuple[LapResult, Frames]:
    """Work a lap and keep frames of it; the result is that of ``simulate``."""
    stage, layout = ready.stage, ready.layout
    wanted = frame_strokes(stage, frames)
    ends = layout.ends[ROWS_PER_QUAD - 1 :: ROWS_PER_QUAD]
    shown = _between(ends, np.union1d(wanted[1:], stage.snapshots))
    keeps = np.union1d(shown.before[shown.before >= 0], shown.after)
    run = run_stage(ready.rig, ready.before, ready.conditions, stage, _with_snapshots(layout, keeps))
    faces = shown.mix(ready.before, run.heights, keeps)
    paper = shown.mix(np.ones(2), np.column_stack([run.clean, run.sharp]), keeps)
    at_looks = np.isin(shown.strokes, stage.snapshots)
    lap = lap_result(
        ready,
        replace(run, heights=faces[at_looks], strokes=tuple(int(s) for s in shown.strokes[at_looks])),
    )
    return lap, _with_figures_of(lap, _frames(ready, wanted, shown.strokes, faces, paper, at_looks))


def frame_strokes(stage: Stage, frames: int) -> NDArray[np.int64]:
    """Strokes at which some ``frames`` frames are shown, 0 and the last included.

    All looks of the stage are among them and those between are spread evenly; where there are more
    looks than frames, as many of these as fit.
    """
    looks = np.array([0, *stage.snapshots])
    gaps = frames - 1
    if looks.size - 1 > gaps:
        return np.unique(looks[np.round(np.linspace(0, looks.size - 1, frames)).astype(int)])
    between = max(1, round(gaps / (looks.size - 1)))
    steps = [np.round(np.linspace(a, b, between + 1)).astype(int) for a, b in pairwise(looks)]
    return np.unique(np.concatenate(steps))


@dataclass(frozen=True)
class _Between:
    """Where strokes lie between the ends of groups of rows; ``before`` is −1 at the very start."""

    strokes: NDArray[np.int64]
    before: NDArray[np.int64]
    after: NDArray[np.int64]
    share: Array

    def mix(self, start: Array, kept: Array, keeps: NDArray[np.int64]) -> Array:
        """Faces (strokes, n) from those kept at groups ``keeps``; exact where a group ends there."""
        faces = np.empty((self.strokes.size, start.size))
        for i, (a, b, share) in enumerate(zip(self.before, self.after, self.share, strict=True)):
            after = kept[np.searchsorted(keeps, b)]
            if share == 1.0:
                faces[i] = after
            else:
                earlier = start if a < 0 else kept[np.searchsorted(keeps, a)]
                faces[i] = earlier + share * (after - earlier)
        return faces


def _between(ends: Array, strokes: NDArray[np.int64]) -> _Between:
    after = np.minimum(np.searchsorted(ends, strokes - 1e-6), ends.size - 1)
    begins = np.concatenate([[0.0], ends])[after]
    share = np.clip((strokes - begins) / (ends[after] - begins), 0.0, 1.0)
    share[np.abs(ends[after] - strokes) < 1e-6] = 1.0
    return _Between(strokes, after - 1, after, share)


def _with_snapshots(layout: Layout, quads: NDArray[np.int64]) -> Layout:
    """The same rows, with the face kept after each of these groups of rows instead."""
    events = layout.events & ~column_kernels.EVENT_SNAPSHOT
    last = ROWS_PER_QUAD * quads + ROWS_PER_QUAD - 1
    events[last] |= column_kernels.EVENT_SNAPSHOT
    return replace(layout, events=events, snapshot_strokes=tuple(round(float(s)) for s in layout.ends[last]))


def _with_figures_of(lap: LapResult, frames: Frames) -> Frames:
    """The frames with the figures of the lap where it was looked at: the same but for rounding errors
    in the sixteenth digit, which depend on how many faces are measured at once."""
    looks = lap.looks
    at, look = np.isin(frames.strokes, looks.strokes), np.isin(looks.strokes, frames.strokes)
    columns = {name: getattr(frames.figures, name).copy() for name in FIGURE_NAMES}
    for name in FIGURE_NAMES:
        columns[name][at] = getattr(looks.figures, name)[look]
    mass = frames.mass.copy()
    mass[at] = looks.mass[look]
    return replace(frames, figures=Figures(**columns), mass=mass)


def _frames(
    ready: ReadyLap,
    wanted: NDArray[np.int64],
    strokes: NDArray[np.int64],
    faces: Array,
    paper: Array,
    at_looks: NDArray[np.bool_],
) -> Frames:
    """Frames at ``wanted`` strokes, from faces (strokes, n) at all strokes that were kept.

    ``paper``: how clean and how sharp it is then (strokes, 2), new = 1.
    """
    rig, grid = ready.rig, ready.rig.grid
    part = rig.scenario.part
    dyed = follow_dye(ready, faces, at_looks)
    pick = np.flatnonzero(np.isin(strokes, wanted))
    heights = np.vstack([ready.before, faces[pick]])
    figures = gauge.figures(ready.gauged, ready.before, heights)
    then = np.vstack([np.ones(2), paper[pick]])
    pressure, away = zip(
        *(
            pressure_at(ready, face, int(s), clean=clean, sharp=sharp)
            for face, s, (clean, sharp) in zip(heights, wanted, then, strict=True)
        ),
        strict=True,
    )
    return Frames(
        strokes=wanted,
        heights=heights,
        pressure=np.array(pressure),
        dye=np.vstack([np.ones((1, grid.n_cells)), dye.tone(dyed.gone[pick], dyed.faded[pick])]),
        dye_share=np.concatenate([[1.0], dyed.left[pick]]),
        dye_faded=np.concatenate([[0.0], dyed.faded_share[pick]]),
        dyed_again=np.concatenate([[False], (at_looks & (dyed.left < dye.RENEW_BELOW))[pick]]),
        figures=figures,
        mass=part.metal.density * part.outline.area * figures.mean_depth,
        away=np.array(away),
    )


def pressure_at(
    ready: ReadyLap, heights: Array, strokes: int, *, clean: float = 1.0, sharp: float = 1.0
) -> tuple[Array, float]:
    """Pressure of the paper on each cell about a moment of the lap, and which way the hands work.

    The poses about that moment, all with the part turned one way, are solved anew on the face as it
    is, each for a slide so short that no spot gives way; what would come off is then in proportion
    to the pressure.

    Parameters
    ----------
    heights : the face then (n,) [m]
    strokes : strokes done [-]
    clean, sharp : how clean and sharp the paper is then, new = 1 [-]: clogged paper rubs harder, so that
        high hands tip the part further, and blunt paper is harder underfoot

    Returns
    -------
    pressure (cells,) [Pa], and where away from the operator points in the frame of the part [rad]
    """
    rig, layout = ready.rig, ready.layout
    conditions = _on_paper(ready, clean, sharp)
    rows = _rows_about(layout, strokes)
    load = load_of(rig.scenario, conditions)
    area = rig.scenario.part.outline.area
    rate = conditions.rate * rate_factor(ready.stage.grit, conditions.traits)
    slide = SLIGHT * conditions.bedding_of(ready.stage.grit) * area / (rate * load)
    events = np.zeros(rows.size, dtype=np.int64)
    events[-1] = column_kernels.EVENT_SNAPSHOT
    taken = {
        name: getattr(layout, name)[rows]
        for name in (
            "x",
            "y",
            "turn",
            "facing",
            "heading",
            "lean",
            "progress",
            "z_along",
            "z_across",
            "kinds",
            "standing",
        )
    }
    moment = replace(
        layout,
        **taken,
        spin=np.zeros(rows.size),
        slide=np.full(rows.size, slide),
        events=events,
        ends=layout.ends[rows],
        snapshot_strokes=(strokes,),
    )
    # What the paper still cuts does not change how hard it presses.
    fresh = replace(rig, scenario=replace(rig.scenario, wear=replace(rig.scenario.wear, ages=False)))
    after = run_stage(fresh, heights, conditions, ready.stage, moment).heights[-1]
    cells = slice(0, rig.grid.n_cells)
    pressure = (heights - after)[cells] / (rows.size * rate * slide * rig.scale[cells])
    away = layout.facing[rows]
    return np.maximum(pressure, 0.0), float(np.arctan2(np.mean(np.sin(away)), np.mean(np.cos(away))))


def _on_paper(ready: ReadyLap, clean: float, sharp: float) -> Conditions:
    """The conditions of a lap on its paper as it is then, without what is no matter of pressure."""
    conditions = ready.conditions
    law = law_of(ready.rig.scenario, conditions, ready.stage.grit)
    return replace(
        conditions,
        friction=conditions.friction * (1.0 + law.friction_gain * (1.0 - clean)),
        bedding=conditions.bedding * (law.blunt_bedding + (1.0 - law.blunt_bedding) * sharp),
        # The leading edge is cut faster under the same pressure.
        traits=replace(conditions.traits, edge_rate=0.0),
    )


def _rows_about(layout: Layout, strokes: int) -> NDArray[np.int64]:
    """Rows of the groups nearest to a moment, :data:`STEPS_SHOWN` at most, all with the part turned alike.

    The nearest is the one that holds the stroke, or ends with it.
    """
    ends = layout.ends[ROWS_PER_QUAD - 1 :: ROWS_PER_QUAD]
    now = min(int(np.searchsorted(ends, strokes - 1e-6)), ends.size - 1)
    kinds = layout.kinds[::ROWS_PER_QUAD]
    alike = np.flatnonzero(kinds == kinds[now])
    nearest = alike[np.argsort(np.abs(alike - now), kind="stable")][:STEPS_SHOWN]
    return (ROWS_PER_QUAD * np.sort(nearest)[:, None] + np.arange(ROWS_PER_QUAD)).ravel()
