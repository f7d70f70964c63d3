"""Does the re-plan know what it claims?  Invented jobs with hidden faces, paper and hands, in two worlds.

Each job: a face drawn from the prior, read on six lines; hidden numbers; blocks of strokes with looks
after the second and the eighth (swarf to 0.2 g, leaves, a coarse raster of dye).  The true work is
lapped with other wobble than that the program draws.  Bounds are binomial: with a true coverage of
``CLAIMS`` a run fails by chance less than once in a thousand.

Worlds: *as assumed*, hidden numbers drawn from the spreads that the scenario assumes; *kinder*, paper
that clogs three times and blunts forty times as slowly, keeps six tenths of its rate when it is blunt and
beds as deep as ever, has no leading edge and no more friction when it is clogged, under hands 50 mm high:
what this program took paper to be before, and what no member of its ensembles is like now.
"""

from __future__ import annotations

import functools
import math
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
from bench_truth import NOW, Truth, make_truth, write_log
from scipy.stats import binom

from handlap.sim.bench.forecast import MODEL, forecast
from handlap.sim.bench.job_log import Entry
from handlap.sim.bench.learn import Learnt, first_state, learn, ready_log
from handlap.sim.common.grid import make_grid
from handlap.sim.face.face_ensemble import infer_faces
from handlap.sim.face.face_prior import FaceBasis
from handlap.sim.face.flatness import minimum_zone_widths
from handlap.sim.job.results import Band
from handlap.sim.job.scenario import Scenario
from handlap.sim.job.scenario_file import load, read_text
from handlap.sim.lapping import gauge
from handlap.sim.lapping.conditions import Conditions
from handlap.sim.lapping.ensemble import draw_plate_scores, draw_scores
from handlap.sim.lapping.first_cut import first_cut
from handlap.sim.lapping.rhythm import check_interval, choose_rhythm
from handlap.sim.materials import grits
from handlap.sim.planning.leg import STOP_AT, measure, stops_at

CELLS, MEMBERS, JOBS = 300, 64, 8
WORLDS = ("as assumed", "kinder")
CLAIMS, CHANCE = {"as assumed": 0.85, "kinder": 0.8}, 1e-3
CLOSER = {"as assumed": 0.25, "kinder": 0.35}
"""The re-plan's median miss of ln(strokes to goal) is at most this share of the first plan's: 0.12 and 0.15
over 24 jobs when written, 0.15 and 0.23 over the first eight."""
BLOCKS, BLOCK, SHEET = 8, 75, 3
"""Blocks, strokes of each, and blocks on one sheet."""
KIND_HEIGHT = 50e-3
FLAT_FROM, FLAT_TO = 90e-6, 220e-6
LIMIT_SHARE, LIMIT_LEAST = 0.5, 30e-6
"""The limit, over the widest gap that was read: far enough off to leave work after the log."""


@dataclass(frozen=True)
class Case:
    """What was claimed of a job, and the truth; strokes to goal NaN where the truth never gets there."""

    cut: Band
    true_cut: float
    flatness: Band
    true_flatness: float
    depth: Band
    true_depth: float
    total: Band
    first_total: Band
    true_total: float
    reached: float
    """Share of the members that get to the goal [-]."""
    prior_flatness: Band
    learnt: Learnt


def face_of(seed: int, basis: FaceBasis):
    """A face of the prior, neither flat nor hopeless."""
    grid = make_grid(basis.outline, cells=200)
    shapes = basis.at(grid.points)
    for c in basis.draw(400, 5000 + seed):
        zone = minimum_zone_widths(grid.u, grid.v, np.ascontiguousarray((shapes @ c)[None]))[0]
        if FLAT_FROM < zone < FLAT_TO:
            return lambda points: basis.at(points) @ c
    raise AssertionError("no such face among 400")


def blocks_ahead(
    scenario: Scenario, entries: Sequence[Entry], middle: Conditions, every: int, horizon: int, paper: str
) -> list[Entry]:
    """Blocks still to come on a paper, looked at and brushed every so many strokes, to the horizon.

    A block in which a new sheet falls due is two entries or more: the first strokes on fresh paper count
    for many later ones.
    """
    rhythm = choose_rhythm(scenario, middle, grits.find(paper))
    worn = 0
    for entry in entries:
        worn = 0 if entry.new_sheet or (entry.paper and entry.paper != paper) else worn
        worn += entry.strokes if entry.paper == paper else 0
    brush = rhythm.brush_every if 0 < rhythm.brush_every < every else 0
    found: list[Entry] = []
    for _ in range(max(1, math.ceil(horizon / every))):
        left, looked = every, bool(entries or found)
        while left > 0:
            fresh = bool(rhythm.sheet_every) and worn >= rhythm.sheet_every
            worn = 0 if fresh else worn
            part = min(left, rhythm.sheet_every - worn) if rhythm.sheet_every else left
            found.append(
                Entry(0, 0, "", strokes=part, paper=paper, brushed=looked, new_sheet=fresh, brush_every=brush)
            )
            worn, left, looked = worn + part, left - part, False
    return found


def looks_at(entries: Sequence[Entry], every: int) -> list[int]:
    """Places, in entries still to come, of those after which the part is looked at."""
    done = np.cumsum([entry.strokes for entry in entries])
    return np.flatnonzero(done % every == 0).tolist()


def true_strokes(truth: Truth, entries: list[Entry], ready) -> float:
    """Strokes from the start until the true face is within the goal, going on as the plan says."""
    job, horizon = ready.scenario, 1500
    while True:
        every = check_interval(job, horizon, 48)
        future = blocks_ahead(job, entries, ready.middle, every, horizon, "P80")
        seen = np.array([0, *(1 + k for k in looks_at(future, every))])
        states = truth.carried([*entries, *future], seed=7000 + truth.seed)[len(entries) :]
        figures = gauge.figures(truth.gauged, truth.before, states[seen])
        measured = measure(figures, job.part.limit_by)[None]
        strokes = every * np.arange(measured.size, dtype=float)
        stops, reached = stops_at(strokes, measured, np.array([measured.size]), STOP_AT * job.part.limit)
        if reached[0] or horizon >= 12_000:
            return sum(e.strokes for e in entries) + float(stops[0]) if reached[0] else np.nan
        horizon *= 2


def kinder(truth: Truth) -> Truth:
    """The same face under kind paper and low hands."""
    metal, own = truth.scenario.part.metal, truth.conditions
    soft = replace(metal, dulling=40.0 * metal.dulling, loading_factor=3.0 * metal.loading_factor)
    scenario = replace(truth.scenario, part=replace(truth.scenario.part, metal=soft))
    low = KIND_HEIGHT * own.grip.height / truth.scenario.hands.height.value
    return replace(
        truth,
        scenario=scenario,
        rig=replace(truth.rig, scenario=scenario),
        conditions=replace(
            own,
            # What was lost to ageing at once counted as a slower paper.
            rate=own.rate / 1.5,
            grip=replace(own.grip, height=low),
            traits=replace(
                own.traits, loading_floor=0.6, dulling_floor=0.6, brushing=0.8, blunt_bedding=1.0,
                friction_gain=0.0, edge_rate=0.0, edge_rise=0.0,
            ),
        ),
    )  # fmt: skip


def base_job(world: str):
    """The head; in the kinder world nobody has said how high the hands are, and they are taken as high."""
    if world != "kinder":
        return load("two-cylinder-head")
    text = read_text("two-cylinder-head")
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "head.toml"
        file.write_text(text.replace("height = 45\n", ""), encoding="utf-8")
        job = load(file)
    assert job.hands.height.value > 1.5 * KIND_HEIGHT
    return job


def widest_gap(truth: Truth) -> float:
    """Thickest leaf that went under at any station [m]."""
    return max(s.goes for line in truth.scenario.readings.lines for s in line.stations)


@functools.cache
def worked(world: str, count: int = JOBS, first: int = 0) -> tuple[Case, ...]:
    base = base_job(world)
    basis = FaceBasis(base.part.outline)
    return tuple(work(base, basis, seed, world) for seed in range(first, first + count))


def work(
    base,
    basis: FaceBasis,
    seed: int,
    world: str,
    members: int = MEMBERS,
    photo: tuple[int, int] | None = None,
) -> Case:
    truth = make_truth(base, face_of(seed, basis), seed=seed, cells=CELLS)
    limit = max(LIMIT_SHARE * widest_gap(truth), LIMIT_LEAST)
    job = replace(truth.scenario, part=replace(truth.scenario.part, limit=limit))
    truth = replace(truth, scenario=job, rig=replace(truth.rig, scenario=job))
    if world == "kinder":
        truth = kinder(truth)
    blocks = [
        Entry(i + 1, 0, NOW, strokes=BLOCK, paper="P80", brushed=True, new_sheet=i % SHEET == 0)
        for i in range(BLOCKS)
    ]
    log = write_log(truth, blocks, {1, BLOCKS - 1}, photo=photo)
    faces = infer_faces(job.part, job.readings, count=members, seed=seed)
    ready = ready_log(job, log, faces, cells=CELLS, seed=seed)
    prior = first_state(ready, faces, draw_scores(members, seed), draw_plate_scores(members, seed))
    learnt = learn(ready, prior)
    before, after = (forecast(ready, s, e) for s, e in ((prior, ()), (learnt.posterior, log.standing)))
    now = truth.carried(list(log.standing), seed=7000 + truth.seed)
    n = truth.rig.grid.n_cells
    area = truth.rig.grid.area[:n]
    depth = gauge.figures(ready.gauged, learnt.posterior.before, learnt.now).mean_depth
    flatness = Band.of(gauge.flatness(ready.gauged, learnt.now))
    return Case(
        cut=learnt.quantities[0].after,
        true_cut=first_cut(truth.scenario, ready.middle, truth.conditions, job.paper.grits[0]),
        flatness=Band(flatness.p05 - MODEL, flatness.p50, flatness.p95 + MODEL),
        true_flatness=float(truth.flatness(now[-1])[0]),
        depth=Band.of(depth),
        true_depth=float((now[0] - now[-1])[:n] @ area / area.sum()),
        total=after.to_goal() or Band.of(after.total),
        first_total=before.to_goal() or Band.of(before.total),
        true_total=true_strokes(truth, list(log.standing), ready),
        reached=float(np.mean(after.reached)),
        prior_flatness=Band.of(gauge.flatness(ready.gauged, learnt.prior_states[:, -1])),
        learnt=learnt,
    )


def coverage(cases, name: str) -> tuple[int, int]:
    """How many bands hold the truth, of how many with one; strokes to the goal: where any are left."""
    done = BLOCKS * BLOCK
    pairs = [
        (getattr(c, name), getattr(c, f"true_{name}"))
        for c in cases
        if name != "total" or max(c.true_total, c.total.p95) > done
    ]
    held = [band.p05 <= true <= band.p95 for band, true in pairs if np.isfinite(true)]
    return sum(held), len(held)


def misses(cases) -> tuple[float, float]:
    """Median miss of ln(strokes to goal): the first plan's, the re-plan's."""
    there = [c for c in cases if np.isfinite(c.true_total)]
    return tuple(  # type: ignore[return-value]
        float(np.median([abs(np.log(getattr(c, name).p50 / c.true_total)) for c in there]))
        for name in ("first_total", "total")
    )


TOLD = {
    "cut": "the cut",
    "flatness": "flatness now",
    "depth": "mean depth",
    "total": "strokes to the goal",
}
SOURCES = {
    "as assumed": "jobs with hidden face, paper and hands of the same model",
    "kinder": "jobs with hidden faces on paper that ages as slowly as none is assumed to, under lower hands",
}


@pytest.mark.slow
@pytest.mark.parametrize("world", WORLDS)
@pytest.mark.parametrize("name", list(TOLD))
def test_bands_hold_the_truth(checked, name, world):
    held, of = coverage(worked(world), name)
    # Some never get to the goal, and some are there when the log ends.
    assert of >= (0.6 if name == "total" else 1.0) * JOBS
    checked(
        f"bands of {TOLD[name]} after two looks that hold the truth, of {of} invented jobs, world {world}",
        expected=int(binom.ppf(CHANCE, of, CLAIMS[world])),
        got=held,
        tolerance=0.0,
        sense="at least",
        kind="known truth",
        source=f"{SOURCES[world]}; {100 * CLAIMS[world]:.0f} % claimed of bands called 5–95 %, the bound is "
        "passed 999 times in 1000",
        about="log",
    )


@pytest.mark.slow
@pytest.mark.parametrize("world", WORLDS)
def test_the_replan_comes_closer_to_the_truth_than_the_first_plan(checked, world):
    first, again = misses(worked(world))
    checked(
        f"median miss of ln(strokes to the goal) after two looks over that of the first plan, {JOBS} jobs, "
        f"world {world}",
        expected=CLOSER[world],
        got=again / first,
        tolerance=0.0,
        sense="at most",
        kind="known truth",
        source=SOURCES[world],
        about="log",
    )


@pytest.mark.slow
@pytest.mark.parametrize("world", WORLDS)
def test_bands_are_narrow_enough_to_be_of_use(world):
    """The flatness now is known at least twice as well as without the log."""
    cases = worked(world)
    wide = np.median([c.prior_flatness.p95 - c.prior_flatness.p05 for c in cases])
    narrow = np.median([c.flatness.p95 - c.flatness.p05 - 2 * MODEL for c in cases])
    assert narrow < 0.5 * wide


@pytest.mark.slow
@pytest.mark.parametrize("world", WORLDS)
def test_members_do_not_collapse(world):
    assert np.mean([c.learnt.believed for c in worked(world)]) > 0.9
