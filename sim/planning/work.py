"""The whole work of a job, done by an ensemble: faces drawn, papers tried, lapped, finished.

Faces and numbers are drawn; each paper that could be the first is tried on a few members; the
chosen one is worked by all of them until each, looking every block, stops at its goal or its
best point; the finer papers follow, each until the scratches of the one before are gone.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

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
from handlap.sim.lapping.rhythm import SETTLED, check_interval, choose_rhythm, depth_per_stroke, stage_of
from handlap.sim.materials.grits import Grit
from handlap.sim.planning.course import STOP_AT, Course, Members, Stops, find_stops, measure, run_course
from handlap.sim.planning.outcome import Finish, Outcome, find_outcome

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
TRIAL_MEMBERS = 8
TRIAL_QUADS = 4.0
"""Trials are laps of rows so many times as long: they only rank papers and find the last stop."""
MOST_STROKES = 12_000
"""Longest course considered on the first paper: some five hours of strokes."""
MOST_LOOKS = 48
CLEAR_SHARE = 0.33
"""Mean depth that clears a hollow face, over its flatness: where the search for the end begins."""
SHEET_MINUTES = 3.0
"""What a change of paper is taken to cost, when papers are compared: common practice [min]."""
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


@dataclass(frozen=True)
class Coarse:
    """The course on the first paper and where each member leaves it."""

    first: int
    """Place of the first paper in the scenario's list."""
    course: Course
    stops: Stops
    check_every: int
    chance_both: float
    quad_strokes: float


def work_out(job: Job, *, first: int | None = None) -> Worked:
    """Work all members through all papers, from the best first paper or the given one."""
    trials: tuple[PaperTrial, ...] = ()
    if first is None:
        first, trials, coarse_from = _choose_first(job)
    else:
        coarse_from = _trial(job, first)
    coarse = _work_first(job, coarse_from)
    finish = _finish(job, coarse)
    return Worked(coarse, finish, find_outcome(job.members, coarse.course, coarse.stops, finish), trials)


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
) -> Job:
    """Set the bench up; ``like``: a job on the same face, whose grid and faces are taken over."""
    outline = scenario.part.outline
    if like is not None and like.scenario.part.outline is outline:
        bench = set_up(scenario, like=like.bench)
        gauged, before = like.gauged, like.members.before
    else:
        lines, follow = gauge.lines_to_follow(outline)
        rigid = scenario.part.thickness is None and scenario.part.ribbed_as is None
        bench = set_up(scenario, cells=CELLS if rigid else CELLS_FLEXIBLE, follow=follow)
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


def _first_guess(job: Job, members: Members, grit: Grit) -> int:
    """Strokes after which half of the members could have cleared their faces, were they hollow."""
    flatness = gauge.flatness(job.gauged, members.before)
    fresh = np.array([depth_per_stroke(job.scenario, c, grit) for c in members.conditions])
    return int(np.clip(np.median(CLEAR_SHARE * flatness / (SETTLED * fresh)), 1, MOST_STROKES))


def _step(job: Job, grit: Grit, strokes: int, check_every: int) -> float:
    """Strokes of a group of rows that keep the tolerance."""
    stage = stage_of(job.scenario, job.middle, grit, strokes, check_every)
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
    limit, allowance = scenario.part.limit, scenario.part.allowance
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
    row = np.arange(members.count)
    inside = measured[row, stops.look] <= limit
    if allowance is not None:
        inside &= course.figures.greatest_depth[row, stops.look] <= allowance
    return Coarse(first, course, stops, every, float(np.mean(inside)), quad)


def _minutes(job: Job, trial: Coarse) -> float:
    """Minutes of strokes and paper changes, finer papers included, at the middle of a trial [min]."""
    scenario = job.scenario
    pace = scenario.hands.strokes_per_minute.value
    grits = scenario.paper.grits[trial.first :]
    strokes = [float(np.median(trial.course.strokes[trial.stops.look]))]
    strokes += [float(strokes_to_clear(job, a, b)) for a, b in pairwise(grits)]
    minutes = 0.0
    for grit, count in zip(grits, strokes, strict=True):
        rhythm = choose_rhythm(scenario, job.middle, grit)
        sheets = 1.0 + (count // rhythm.sheet_every if rhythm.sheet_every else 0.0)
        minutes += count / pace + SHEET_MINUTES * sheets
    return minutes


def strokes_to_clear(job: Job, previous: Grit, grit: Grit) -> int:
    """Strokes on a paper, in tens, that take off the scratches of the one before."""
    need = float(np.mean(previous.scratch_stock(job.scenario.part.metal)))
    fresh = depth_per_stroke(job.scenario, job.middle, grit)
    return int(np.clip(10 * np.ceil(need / (SETTLED * fresh) / 10.0), 10, MOST_STROKES))


def _trial(job: Job, first: int) -> Coarse:
    """Try one paper as the first on a few members, which also shows how long the course has to be."""
    grit = job.scenario.paper.grits[first]
    members = job.members.some(spread_over(job.members.count, TRIAL_MEMBERS))
    guess = _first_guess(job, members, grit)
    quad = _step(job, grit, guess, check_interval(job.scenario, guess, MOST_LOOKS))
    return _coarse(job, members, first, guess, TRIAL_QUADS * quad)


def _choose_first(job: Job) -> tuple[int, tuple[PaperTrial, ...], Coarse]:
    """Try every paper as the first; the one taken, what the trials said, and its trial."""
    grits = job.scenario.paper.grits
    trials, told = [], []
    for first, grit in enumerate(grits):
        job.tell(0.1 + 0.2 * first / len(grits), f"trying {grit.name} as the first paper")
        trial = _trial(job, first)
        trials.append(trial)
        told.append(PaperTrial(grit.name, trial.chance_both, _minutes(job, trial)))
    # An eighth of the members is noise: only a clear gain in chance outweighs the time.
    best = max(range(len(grits)), key=lambda i: (round(4.0 * told[i].chance_both) / 4.0, -told[i].minutes))
    return best, tuple(told), trials[best]


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


def _finish(job: Job, coarse: Coarse) -> tuple[Finish, ...]:
    """Work the finer papers, each until the scratches of the one before are gone."""
    scenario = job.scenario
    grits = scenario.paper.grits[coarse.first :]
    rows = np.arange(job.members.count)
    now = coarse.course.heights[rows, coarse.stops.look].astype(float)
    found: list[Finish] = []
    for previous, grit in pairwise(grits):
        job.tell(0.8 + 0.15 * len(found) / max(1, len(grits) - 1), f"finishing on {grit.name}")
        strokes = strokes_to_clear(job, previous, grit)
        every = check_interval(scenario, strokes, 6)
        quad = _step(job, grit, strokes, every)
        stage = stage_of(scenario, job.middle, grit, strokes, every)
        course = run_course(
            job.bench, job.gauged, job.members, now, stage,
            quad_strokes=quad, seed=job.seed + 1, executor=job.executor,
        )  # fmt: skip
        found.append(Finish(stage, course, now))
        now = course.heights[:, -1].astype(float)
    return tuple(found)


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
