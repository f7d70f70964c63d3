"""The whole work of a job, done by an ensemble: faces drawn, papers tried, lapped, finished.

Faces and numbers are drawn; each paper that could be the first is tried on a few members; the
chosen one is worked by all of them until each, looking every block, stops at its goal or its
best point; the finer papers follow, each until the scratches of the one before are gone.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from handlap.sim.common.errors import InputError, TippingError
from handlap.sim.common.outline import Array
from handlap.sim.face.face_ensemble import FaceEnsemble, infer_faces
from handlap.sim.face.proud import refuse_proud
from handlap.sim.job.results import Band, Errors, PaperTrial, PlateEffect
from handlap.sim.job.scenario import Plate, Scenario
from handlap.sim.lapping import gauge
from handlap.sim.lapping.dye import draw_dyes
from handlap.sim.lapping.ensemble import (
    SCORES,
    conditions_at,
    draw_plate_scores,
    draw_scores,
    most_typical,
    spread_over,
    strokes_per_minute,
)
from handlap.sim.lapping.gauge import Gauge
from handlap.sim.lapping.lap import (
    Bench,
    Conditions,
    LapRun,
    Stage,
    run_stage,
    set_up,
    stage_layout,
    tipping_words,
)
from handlap.sim.lapping.poses import ROWS_PER_QUAD
from handlap.sim.lapping.resolution import choose_resolution, grid_error
from handlap.sim.lapping.rhythm import SETTLED, check_interval, choose_rhythm, stage_of
from handlap.sim.lapping.sheet import depth_per_stroke, one_sheet
from handlap.sim.materials.grits import Grit
from handlap.sim.planning.course import STOP_AT, Course, Members, Stops, find_stops, measure, run_course
from handlap.sim.planning.outcome import Finish, Outcome, find_outcome
from handlap.sim.planning.papers import (
    chain,
    choose_paper,
    clearing_looks,
    clearly_better,
    looks_when_gone,
    quicker,
    strokes_to_clear,
    to_clear,
)

CELLS = 3000
CELLS_FLEXIBLE = 1500
"""Cells where the part bends: each costs several times as much there."""
TOLERANCE = 0.5e-6
"""Step error asked of the laps of an ensemble [m]."""
MOST_MEMBERS = 4096
MOST_ROWS = 3000
MOST_ROWS_FLEXIBLE = 1200
"""Rows that one lap of an ensemble may have (each costs several times as much where the part
bends); where more would be needed, the step error says so."""
EFFECT_MEMBERS = 24
"""Members on which the effect of the plate is measured."""
FIRST_TRIAL, TRIAL_MEMBERS = 16, 64
"""Members that try every paper, and those that then try what is left: with fewer than these the choice
changes from seed to seed."""
OUT_AT_ONCE = 0.9
"""Share of the first members in which a paper must be slower than another to be out at once."""
TRIAL_CELLS, TRIAL_CELLS_FLEXIBLE = 800, 600
TRIAL_QUADS = 2.0
"""Trials are laps of fewer cells and of rows so many times as long: they only rank papers and find the last
stop."""
FAR_SLOWER = 4.0
"""A paper that should take so many times as long as the quickest, by one number for each sheet, is not
tried."""
MOST_STROKES = 12_000
"""Longest course considered on the first paper: some five hours of strokes."""
MOST_LOOKS = 48
CLEAR_SHARE = 0.33
"""Mean depth that clears a hollow face, over its flatness: where the search for the end begins."""
SPARE = 1.3
"""The course goes this much beyond the last stop of the members that were tried."""
TIP_REFUSED = 0.5
"""Share of the work with the press off the face from which a plan is refused."""
DONE_SHARE = 0.9
"""The course is long enough when this share of the members has stopped."""

Progress = Callable[[float, str], None]


@dataclass(frozen=True)
class Job:
    """What all steps of a plan share."""

    scenario: Scenario
    bench: Bench
    gauged: Gauge
    faces: FaceEnsemble
    scores: Array
    """Standard normal scores of the parameters (members, 12), see :mod:`handlap.sim.lapping.ensemble`."""
    plate_scores: Array
    """Standard normal scores of the plate's own shape (members, k)."""
    members: Members
    middle: Conditions
    seed: int
    executor: Executor | None
    tell: Progress


@dataclass(frozen=True)
class Worked:
    """All papers worked by all members."""

    coarse: Coarse
    finish: tuple[Finish, ...]
    outcome: Outcome
    trials: tuple[PaperTrial, ...]
    alike: tuple[str, ...]


@dataclass(frozen=True)
class Coarse:
    """The course on the first paper and where each member leaves it."""

    first: int
    """Place of the first paper in the scenario's list."""
    course: Course
    stops: Stops
    check_every: int
    quad_strokes: float


@dataclass(frozen=True)
class Trial:
    """A paper worked as the first one by a few members, and the finer ones after it."""

    coarse: Coarse
    outcome: Outcome
    inside: NDArray[np.bool_]
    """Who (members,) ends inside all limits."""

    @property
    def minutes(self) -> Array:
        """Minutes of all work of every member (members,) [min]."""
        return self.outcome.effort.minutes


def work_out(job: Job, *, first: int | None = None) -> Worked:
    """Work all members through all papers, from the best first paper or the given one."""
    trials: tuple[PaperTrial, ...] = ()
    alike: tuple[str, ...] = ()
    if first is None:
        trials, alike, trial = choose_first(job)
    else:
        trial = try_paper(few_of(job), first)
    coarse = _work_first(job, trial.coarse)
    finish = _finish(job, coarse)
    return Worked(coarse, finish, _outcome(job, coarse, finish), trials, alike)


def _outcome(job: Job, coarse: Coarse, finish: tuple[Finish, ...]) -> Outcome:
    first = job.scenario.paper.grits[coarse.first]
    return find_outcome(job.scenario, job.middle, job.members, first, coarse.course, coarse.stops, finish)


def open_job(
    scenario: Scenario,
    *,
    members: int,
    seed: int,
    executor: Executor | None = None,
    tell: Progress | None = None,
) -> Job:
    """Draw the faces and the numbers of an ensemble, and set the bench up.

    Raises
    ------
    InputError : for an ensemble size out of range, or for something that stands proud of the face
    """
    if not 2 <= members <= MOST_MEMBERS:
        raise InputError(f"--members {members}: allowed is 2 to {MOST_MEMBERS}")
    refuse_proud(scenario.part)
    faces = infer_faces(scenario.part, scenario.readings, count=members, seed=seed)
    scores = draw_scores(members, seed)
    plates = draw_plate_scores(members, seed)
    return _job(scenario, faces, scores, plates, seed, executor, tell or (lambda done, what: None))


def vary(job: Job, scenario: Scenario) -> Job:
    """The same faces, hands, paper and plate (common random numbers) on a changed scenario."""
    return _job(scenario, job.faces, job.scores, job.plate_scores, job.seed, job.executor, job.tell, job)


def _job(
    scenario: Scenario,
    faces: FaceEnsemble,
    scores: Array,
    plate_scores: Array,
    seed: int,
    executor: Executor | None,
    tell: Progress,
    like: Job | None = None,
    cells: tuple[int, int] = (CELLS, CELLS_FLEXIBLE),
) -> Job:
    """Set the bench up, with so many cells for a rigid part and for one that bends.

    ``like``: a job on the same face, whose grid and faces are taken over.
    """
    outline = scenario.part.outline
    if like is not None and like.scenario.part.outline is outline:
        bench = set_up(scenario, like=like.bench)
        gauged, before = like.gauged, like.members.before
    else:
        lines, follow = gauge.lines_to_follow(outline)
        rigid = scenario.part.thickness is None and scenario.part.ribbed_as is None
        bench = set_up(scenario, cells=cells[0] if rigid else cells[1], follow=follow)
        gauged = gauge.make_gauge(outline, bench.grid, lines)
        before = np.array(faces.heights_at(bench.grid.points))
        if before.shape[0] < scores.shape[0]:
            before = np.resize(before, (scores.shape[0], before.shape[1]))
    conditions = tuple(
        replace(conditions_at(scenario, z), plate=plate, dye=dye)
        for z, plate, dye in zip(scores, plate_scores, draw_dyes(len(scores), seed), strict=True)
    )
    return Job(
        scenario=scenario,
        bench=bench,
        gauged=gauged,
        faces=faces,
        scores=scores,
        plate_scores=plate_scores,
        members=Members(before, conditions, strokes_per_minute(scenario, scores)),
        middle=conditions_at(scenario, np.zeros(len(SCORES))),
        seed=seed,
        executor=executor,
        tell=tell,
    )


def few_of(job: Job, members: int = TRIAL_MEMBERS) -> Job:
    """The job with fewer cells, and no more than so many members, to try papers with."""
    few = _job(
        job.scenario, job.faces, job.scores, job.plate_scores, job.seed, job.executor, job.tell,
        cells=(TRIAL_CELLS, TRIAL_CELLS_FLEXIBLE),
    )  # fmt: skip
    some = few.members.some(spread_over(job.members.count, members))
    # What is tried tells its own share, not that of the whole work.
    return replace(few, members=some, tell=lambda done, what: None)


def _first_guess(job: Job, members: Members, grit: Grit) -> int:
    """Strokes after which half of the members could have cleared their faces, were they hollow."""
    flatness = gauge.flatness(job.gauged, members.before)
    fresh = np.array([depth_per_stroke(job.scenario, c, grit) for c in members.conditions])
    return int(np.clip(np.median(CLEAR_SHARE * flatness / (SETTLED * fresh)), 1, MOST_STROKES))


def _step(job: Job, grit: Grit, strokes: int, check_every: int) -> float:
    """Strokes of a group of rows that keep the tolerance."""
    return _quad(job, stage_of(job.scenario, job.middle, grit, strokes, check_every))


def _quad(job: Job, stage: Stage) -> float:
    """The same for a stage."""
    face = job.members.before[most_typical(job.members.before)]
    found = choose_resolution(
        job.bench, face, job.middle, stage, tolerance=TOLERANCE, seed=job.seed, most_rows=_most_rows(job) // 2
    )
    return found.quad_strokes


def _most_rows(job: Job) -> int:
    return MOST_ROWS if job.bench.bending is None else MOST_ROWS_FLEXIBLE


def _coarse(
    job: Job,
    members: Members,
    first: int,
    horizon: int,
    quad_strokes: float,
    tell: Callable[[int], None] | None = None,
) -> Coarse:
    """Work on one paper as the first until nearly all members have stopped.

    ``horizon``: strokes to begin with, doubled until enough members have stopped;
    ``quad_strokes``: strokes of a group of rows, more where the rows are bounded.
    """
    scenario = job.scenario
    grit = scenario.paper.grits[first]
    limit = scenario.part.limit
    while True:
        every = check_interval(scenario, horizon, MOST_LOOKS)
        horizon = every * max(3, int(np.ceil(horizon / every)))
        stage = stage_of(scenario, job.middle, grit, horizon, every)
        quad = max(quad_strokes, ROWS_PER_QUAD * horizon / _most_rows(job))
        course = run_course(
            job.bench, job.gauged, members, members.before, stage,
            quad_strokes=quad, seed=job.seed, executor=job.executor, finished=tell,
        )  # fmt: skip
        measured = measure(course.figures, scenario.part.limit_by)
        stops = find_stops(measured, STOP_AT * limit)
        if horizon >= MOST_STROKES or np.mean(stops.reached | stops.at_best) >= DONE_SHARE:
            break
        horizon = min(2 * horizon, MOST_STROKES)
    return Coarse(first, course, stops, every, quad)


def rough_minutes(job: Job, first: int) -> float:
    """Minutes that a paper and the finer ones after it should take, by one number for each sheet [min]."""
    scenario, middle = job.scenario, job.middle
    grits = chain(scenario, middle, first)
    pace = float(scenario.hands.strokes_per_minute.value)
    warp = measure_of(job, job.members.before)
    need = CLEAR_SHARE * max(float(np.median(warp)) - STOP_AT * scenario.part.limit, 0.0)
    rhythm = choose_rhythm(scenario, middle, grits[0])
    sheet = one_sheet(scenario, middle, grits[0], brush_every=rhythm.brush_every, pace=pace)
    minutes = sheet.to_take(need + middle.bedding_of(grits[0]), rhythm.sheet_every)[1]
    return minutes + sum(to_clear(scenario, middle, a, b)[1] for a, b in pairwise(grits))


def measure_of(job: Job, faces: Array) -> Array:
    """The figure that the limit is held against, of faces (members, n) [m]."""
    if job.scenario.part.limit_by == "straightedge":
        return gauge.straightedge(job.gauged, faces)
    return gauge.flatness(job.gauged, faces)


def try_paper(job: Job, first: int) -> Trial:
    """Work one paper as the first, and the finer ones after it, with a job of few members."""
    grit, part = job.scenario.paper.grits[first], job.scenario.part
    guess = _first_guess(job, job.members, grit)
    quad = _step(job, grit, guess, check_interval(job.scenario, guess, MOST_LOOKS))
    coarse = _coarse(job, job.members, first, guess, TRIAL_QUADS * quad)
    outcome = _outcome(job, coarse, _finish(job, coarse, quads=TRIAL_QUADS))
    inside = measure(outcome.figures, part.limit_by) <= part.limit
    if part.allowance is not None:
        inside = inside & (outcome.figures.greatest_depth <= part.allowance)
    return Trial(coarse, outcome, inside)


def _try_all(job: Job, papers: Sequence[int]) -> dict[int, Trial]:
    """Trials of papers, by their place in the list; what is clearly beaten has few members."""
    grits = job.scenario.paper.grits
    few = few_of(job)
    first = few_of(job, FIRST_TRIAL) if len(papers) > 1 else few
    tried: dict[int, Trial] = {}
    for done, paper in enumerate(papers):
        job.tell(0.1 + 0.1 * done / len(papers), f"trying {grits[paper].name} as the first paper")
        tried[paper] = try_paper(first, paper)
    if first.members.count == few.members.count:
        return tried

    def beaten(i: int, j: int) -> bool:
        slower = quicker(tried[j].minutes, tried[i].minutes) >= OUT_AT_ONCE
        return slower and not clearly_better(tried[i].inside, tried[j].inside)

    left = [i for i in papers if not any(beaten(i, j) for j in papers if j != i)]
    for done, paper in enumerate(left):
        job.tell(0.2 + 0.1 * done / len(left), f"trying {grits[paper].name} on all faces")
        tried[paper] = try_paper(few, paper)
    return tried


def choose_first(job: Job) -> tuple[tuple[PaperTrial, ...], tuple[str, ...], Trial]:
    """Try the papers as the first one: what the trials said, which are about alike, the one taken.

    All are worked by the same members.
    """
    scenario, grits = job.scenario, job.scenario.paper.grits
    rough = np.array([rough_minutes(job, first) for first in range(len(grits))])
    start = None if scenario.paper.start is None else grits.index(scenario.paper.start)
    worth = [i for i in range(len(grits)) if rough[i] <= FAR_SLOWER * rough.min() or i == start]
    tried = _try_all(job, worth)
    if start is not None and tried[start].minutes.size < max(t.minutes.size for t in tried.values()):
        tried[start] = try_paper(few_of(job), start)
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
        finer = tuple(g.name for g in chain(scenario, job.middle, i)[1:])
        if i not in tried:
            told.append(PaperTrial(grit.name, finer, 0, Band.of([rough[i]]), 0.0, None, None, None))
            continue
        told.append(_told(scenario, grit, finer, tried[i], best.minutes))
    return tuple(told), tuple(grits[full[i]].name for i in alike), best


def _told(scenario: Scenario, grit: Grit, finer: tuple[str, ...], trial: Trial, best: Array) -> PaperTrial:
    """What a trial said; ``best``: minutes (members,) on the paper taken."""
    part, effort = scenario.part, trial.outcome.effort
    same = spread_over(best.size, trial.minutes.size)
    return PaperTrial(
        paper=grit.name,
        finer=finer,
        tried=trial.minutes.size,
        minutes=Band.of(trial.minutes),
        sheets=float(np.median(effort.sheets)),
        metal=Band.of(part.metal.density * part.outline.area * trial.outcome.figures.mean_depth),
        chance_both=float(np.mean(trial.inside)),
        quicker=quicker(trial.minutes, best[same]),
    )


def _work_first(job: Job, trial: Coarse) -> Coarse:
    """Work the first paper with all members, as far as its trial says.

    Raises
    ------
    TippingError : if the press lies off the face for most of the members
    """
    count = job.members.count
    name = job.scenario.paper.grits[trial.first].name

    def finished(done: int) -> None:
        job.tell(0.3 + 0.5 * done / count, f"lapping {count} faces on {name}")

    stops = trial.course.strokes[trial.stops.look]
    horizon = int(min(SPARE * float(np.max(stops)), MOST_STROKES))
    middle = int(np.median(stops))
    quad = _step(job, job.scenario.paper.grits[trial.first], middle, trial.check_every)
    coarse = _coarse(job, job.members, trial.first, horizon, quad, finished)
    if np.mean(coarse.course.tipped) > TIP_REFUSED:
        raise TippingError(tipping_words(job.middle, float(np.mean(coarse.course.tipped))))
    return coarse


def _finish(job: Job, coarse: Coarse, *, quads: float = 1.0) -> tuple[Finish, ...]:
    """Work the finer papers; every member goes on until its scratches of the one before are gone.

    ``quads``: rows so many times as long as the tolerance asks.
    """
    scenario, members = job.scenario, job.members
    grits = chain(scenario, job.middle, coarse.first)
    area = job.bench.grid.area[: job.bench.grid.n_cells]
    before = members.before
    now = coarse.course.heights[np.arange(members.count), coarse.stops.look].astype(float)
    found: list[Finish] = []
    for previous, grit in pairwise(grits):
        job.tell(0.8 + 0.15 * len(found) / max(1, len(grits) - 1), f"finishing on {grit.name}")
        stage = clearing_stage(scenario, job.middle, previous, grit)
        quad = quads * _quad(job, stage)
        course = run_course(
            job.bench, job.gauged, members, now, stage,
            quad_strokes=quad, seed=job.seed + 1, executor=job.executor,
        )  # fmt: skip
        look = looks_when_gone(
            scenario, members.conditions, previous,
            before=before, start=now, looks=course.heights, area=area,
        )  # fmt: skip
        found.append(Finish(stage, course, now, look))
        before, now = now, found[-1].faces
    return tuple(found)


def clearing_stage(scenario: Scenario, middle: Conditions, previous: Grit, grit: Grit) -> Stage:
    """A finer paper, with looks at whether the scratches of the one before are gone."""
    looks = clearing_looks(strokes_to_clear(scenario, middle, previous, grit))
    return replace(stage_of(scenario, middle, grit, looks[-1], looks[-1]), snapshots=looks)


def lap_typical(
    job: Job, coarse: Coarse, scenario: Scenario | None = None, *, quad_strokes: float | None = None
) -> tuple[LapRun, Job]:
    """The most typical member lapped to the middle stop with middle numbers, and the job it was lapped in.

    ``scenario``: a changed one to lap it in; ``quad_strokes``: other than those of the course.
    """
    changed = job if scenario is None else vary(job, scenario)
    stage = _to_middle_stop(changed, coarse)
    layout = stage_layout(
        changed.bench, stage, quad_strokes=quad_strokes or coarse.quad_strokes, seed=job.seed
    )
    face = changed.members.before[most_typical(job.members.before)]
    return run_stage(changed.bench, face, changed.middle, stage, layout), changed


def _to_middle_stop(job: Job, coarse: Coarse) -> Stage:
    """The first paper up to the look at which the middle of the members stops."""
    strokes = int(coarse.course.strokes[int(np.median(coarse.stops.look))])
    grit = job.scenario.paper.grits[coarse.first]
    return stage_of(job.scenario, job.middle, grit, strokes, coarse.check_every)


def measure_errors(job: Job, coarse: Coarse, lapped: LapRun | None = None) -> Errors:
    """Step and grid errors of the chosen course, measured on the most typical member.

    ``lapped``: its lap by :func:`lap_typical`, where the caller has it already.
    """
    run = lapped or lap_typical(job, coarse)[0]
    finer, _ = lap_typical(job, coarse, quad_strokes=0.5 * coarse.quad_strokes)
    step = float(np.max(np.abs(run.heights[-1] - finer.heights[-1])))
    face = most_typical(job.members.before) % job.faces.count
    grid = grid_error(
        job.bench, job.gauged, lambda points: np.asarray(job.faces.heights_at(points))[face],
        job.middle, _to_middle_stop(job, coarse), quad_strokes=coarse.quad_strokes, seed=job.seed,
        lapped=run.heights[-1],
    )  # fmt: skip
    return Errors(TOLERANCE, step, grid, job.bench.grid.n_cells, coarse.course.rows)


def _plate_errs(plate: Plate) -> bool:
    """Whether anything is stated that makes the plate other than flat."""
    bent = plate.glass is not None and plate.glass.gap > 0.0
    return bool(plate.tolerance or (plate.shape and plate.shape_height) or plate.heights is not None or bent)


def plate_effect(job: Job, worked: Worked) -> PlateEffect | None:
    """What the plate does to the flatness: the same work on it and on a true one, member by member.

    None where the plate is taken as flat.
    """
    scenario = job.scenario
    if not _plate_errs(scenario.plate):
        return None
    job.tell(0.97, "lapping again on a true plate")
    true = replace(
        scenario.plate, grade=None, tolerance=0.0, shape=None, shape_height=0.0, heights=None, glass=None
    )
    flat = vary(job, replace(scenario, plate=true))
    coarse = worked.coarse
    stage = stage_of(
        scenario,
        job.middle,
        scenario.paper.grits[coarse.first],
        int(coarse.course.strokes[-1]),
        coarse.check_every,
    )
    some = spread_over(job.members.count, EFFECT_MEMBERS)
    members = flat.members.some(some)
    course = run_course(
        flat.bench, flat.gauged, members, members.before, stage,
        quad_strokes=coarse.quad_strokes, seed=job.seed, executor=job.executor,
    )  # fmt: skip
    row = np.arange(some.size)
    on_true = measure(course.figures, scenario.part.limit_by)
    on_own = measure(coarse.course.figures, scenario.part.limit_by)[some]
    stopped = find_stops(on_true, STOP_AT * scenario.part.limit)
    look = coarse.stops.look[some]
    return PlateEffect(
        added=Band.of(on_own[row, look] - on_true[row, look]),
        floor=Band.of(on_own.min(axis=1)),
        floor_true=Band.of(on_true.min(axis=1)),
        chance_goal=float(np.mean(on_own[row, look] <= scenario.part.limit)),
        chance_goal_true=float(np.mean(on_true[row, stopped.look] <= scenario.part.limit)),
    )
