"""Benchmarks of the lap: against the plain march, against cells, rows and strokes, and in memory."""

from __future__ import annotations

import json
import resource
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from benchmarks.plain_march import PlainJob, plain_march
from benchmarks.timing import Figure, held, least, vector_bits
from jobs import P80, UM, hollow, job, middle

from handlap.sim.common.jit import kernel, widest_vectors
from handlap.sim.common.outline import Array, Outline, circle
from handlap.sim.job.scenario import Pattern
from handlap.sim.lapping import pressure_kernels
from handlap.sim.lapping.conditions import Conditions, Stage
from handlap.sim.lapping.lap import LapRun, run_stage, stage_layout
from handlap.sim.lapping.poses import Layout
from handlap.sim.lapping.resolution import choose_resolution
from handlap.sim.lapping.set_up import Rig, set_up

LENGTH, WIDTH = 0.44, 0.15
BORES = tuple(circle(x, 0.0, 0.08) for x in (-0.15, -0.05, 0.05, 0.15))
CELL = 2e-3
RATE, BEDDING, LOAD, LEAD = 0.0125e-9, 15e-6, 150.0, 0.048
DEEP = 200 * UM
SLIDING, TRAVEL = 1800.0, 0.1
TOLERANCE = 0.1 * UM


@dataclass(frozen=True)
class Head:
    """A long head with four bores, hollow by 0.2 mm, with its load 48 mm before and behind the middle."""

    rig: Rig
    before: Array
    conditions: Conditions
    travel: float

    @property
    def strokes(self) -> int:
        """Strokes that slide 1,800 m."""
        return round(SLIDING / (2.0 * self.travel))

    @property
    def stage(self) -> Stage:
        return Stage(P80, self.strokes, 0, 0, 0)

    def quad(self, tolerance: float = TOLERANCE) -> float:
        """Strokes of a group of rows at which the program's own error is within the tolerance."""
        return choose_resolution(
            self.rig, self.before, self.conditions, self.stage, tolerance=tolerance, seed=0
        ).quad_strokes

    def lap(self, quad_strokes: float) -> LapRun:
        """The whole lap, its rows laid out anew."""
        return self.lap_rows(stage_layout(self.rig, self.stage, quad_strokes=quad_strokes, seed=0))

    def lap_rows(self, layout: Layout) -> LapRun:
        """The whole lap in rows laid out before."""
        return run_stage(self.rig, self.before, self.conditions, self.stage, layout)


def head(cell: float = CELL, travel: float = TRAVEL) -> Head:
    """The head on cells of this size [m]."""
    outline = Outline.rectangular(LENGTH, WIDTH, BORES)
    scenario = job(
        outline,
        rate=RATE,
        bedding=BEDDING,
        press=LOAD,
        reach=LEAD,
        travel=travel,
        plate=(LENGTH + travel + 0.1, 0.3),
    )
    rig = set_up(scenario, cell=cell)
    before = hollow(DEEP, LENGTH / 2)(rig.grid.u, rig.grid.v)
    return Head(rig, before, middle(scenario), travel)


def whole_lap(*, quick: bool) -> Iterator[Figure]:
    """A whole lap against the plain march of the same, both run to the end here and now."""
    it = head(cell=5e-3 if quick else CELL)
    grid = it.rig.grid
    quad = it.quad()
    run = it.lap(quad)
    ours = least(lambda: it.lap(quad))
    yield Figure("cells of the head", grid.n_cells, "")
    yield Figure("whole lap, rows laid out and worked", 1e3 * ours, "ms")
    yield Figure("evaluations of all cells in it", run.evaluations, "")
    yield Figure("ns per cell and evaluation, all told", 1e9 * ours / grid.n_cells / run.evaluations, "ns")
    u, v, area = (x[: grid.n_cells] for x in (grid.u, grid.v, grid.area))
    plain = PlainJob(u, v, area, RATE, BEDDING, LOAD, LEAD, TRAVEL)
    passes = 600 if quick else 2 * it.strokes
    wall, start = time.perf_counter(), time.thread_time()
    after, evaluations = plain_march(plain, it.before[: grid.n_cells], passes)
    theirs, wall = time.thread_time() - start, time.perf_counter() - wall
    yield Figure("passes of the plain march", passes, "")
    yield Figure("evaluations of all cells in it", evaluations, "")
    yield Figure("plain march, processor time", theirs, "s")
    yield Figure("plain march, by the clock", wall, "s")
    if quick:
        # Part of the march says nothing of the whole; no ratio.
        return
    apart = np.abs(after - run.heights[-1, : grid.n_cells]).max() / UM
    yield held("largest difference of the two maps", apart, "µm", "at most", 0.1)
    # 1.5 times as many with searches in single precision and on samples, which no plan was quicker by.
    aim = 1000.0 if vector_bits() == 512 else 400.0
    yield held("times faster than the plain march", theirs / ours, "", "at least", aim)


def evaluation(*, quick: bool) -> Iterator[Figure]:
    """One evaluation of all cells beside exponentials on the same machine."""
    n = 12_000
    rng = np.random.default_rng(0)
    base, u, v = rng.uniform(-3.0, 3.0, (3, n))
    weight, soft, logistic = np.full(n, 1.0 / n), np.empty(n), np.empty(n)
    pose, reaction, stiffness = np.array([0.1, 0.2, 0.3]), np.empty(3), np.empty((3, 3))
    seconds = 0.1 if quick else 1.5

    def per_cell(work: Any) -> float:
        return 1e9 * least(work, seconds=seconds, fewest=50) / n

    took = per_cell(
        lambda: pressure_kernels.evaluate(base, u, v, weight, pose, soft, logistic, reaction, stiffness)
    )
    loop = per_cell(lambda: library_exponentials(base, soft))
    vector = per_cell(lambda: np.exp(base, out=soft))
    aim = 2.5 if vector_bits() == 512 else 5.0
    yield held("one evaluation of a cell", took, "ns", "at most", aim)
    yield Figure("one exponential, numpy.exp", vector, "ns")
    yield Figure("one exponential, compiled loop over numpy.exp", loop, "ns")
    yield Figure("evaluation over one numpy.exp", took / vector, "")


@kernel(fastmath=True)
def library_exponentials(x, out):
    """exp of every number, at the vector width that the kernels ask for, if the library has vectors."""
    widest_vectors()
    for i in range(x.shape[0]):
        out[i] = np.exp(x[i])


def against_cells(*, quick: bool) -> Iterator[Figure]:
    """Cost of a lap against the number of cells: a thousand rows, laid out before, so that cells cost."""
    sizes = (1000, 3000, 10_000) if quick else (3000, 10_000, 30_000, 100_000, 300_000, 1_000_000)
    area = Outline.rectangular(LENGTH, WIDTH, BORES).area
    per = []
    for size in sizes:
        it = head(cell=float(np.sqrt(area / size)))
        layout = stage_layout(it.rig, it.stage, quad_strokes=it.strokes / 256.0, seed=0)
        run = it.lap_rows(layout)
        took = least(
            lambda it=it, layout=layout: it.lap_rows(layout),
            seconds=0.1 if quick else 1.5,
            fewest=3 if quick else 10,
        )
        per.append(1e9 * took / it.rig.grid.u.size / layout.x.size)
        yield Figure(f"{it.rig.grid.n_cells:,} cells: per point and row, all told", per[-1], "ns")
        yield Figure("evaluations a row", run.evaluations / layout.x.size, "")
    yield held("dearest over cheapest", max(per) / min(per), "", "at most", 1.2)


def ageing_paper(*, quick: bool) -> Iterator[Figure]:
    """Cost of a row on paper that ages, brushed and changed, against cells and by the way the stroke goes."""
    for pattern, travel, sizes in PATHS:
        for size in sizes[:1] if quick else sizes:
            scenario = job(
                length=LENGTH, width=WIDTH, rate=RATE, press=LOAD, reach=LEAD, travel=travel, pattern=pattern,
                plate=(2.0, 2.0), bedding=BEDDING, ages=True, blunt_bedding=0.6, friction_gain=0.4,
                edge_rate=1.5, edge_rise=6 * UM,
            )  # fmt: skip
            rig = set_up(scenario, cell=float(np.sqrt(LENGTH * WIDTH / size)))
            before = hollow(DEEP, LENGTH / 2)(rig.grid.u, rig.grid.v)
            stage = Stage(P80, 600, 0, 50, 300)
            layout = stage_layout(rig, stage, quad_strokes=5.0 if size < 50_000 else 50.0, seed=0)
            took = least(
                partial(run_stage, rig, before, middle(scenario), stage, layout),
                seconds=0.1 if quick else 1.5,
                fewest=1 if quick else 3,
            )
            per = 1e9 * took / rig.grid.u.size / layout.x.size
            yield Figure(f"{rig.grid.n_cells:,} cells, {pattern}: per point and row, all told", per, "ns")


PATHS: tuple[tuple[Pattern, float, tuple[int, ...]], ...] = (
    ("straight", 0.1, (1000, 3000, 10_000, 30_000, 100_000)),
    ("diagonal", 0.1, (3000, 10_000)),
    ("circle", 0.08, (3000, 10_000)),
    ("eight", 0.14, (3000, 10_000)),
)
"""Strokes, their length [m], and cells of the face on which they are timed."""


def against_rows(*, quick: bool) -> Iterator[Figure]:
    """Cost of a lap against its number of rows (poses), the metal the same."""
    it = head(cell=5e-3 if quick else CELL)
    for groups in (2, 8, 32) if quick else (2, 8, 32, 128, 512):
        quad = it.strokes / groups
        run = it.lap(quad)
        took = least(lambda quad=quad: it.lap(quad), seconds=0.1 if quick else 1.0, fewest=3)
        yield Figure(f"{4 * groups} rows: per row", 1e6 * took / (4 * groups), "µs")
        yield Figure(f"{4 * groups} rows: evaluations per row", run.evaluations / (4 * groups), "")


def against_strokes(*, quick: bool) -> Iterator[Figure]:
    """The same metal in ten times as many strokes, each a tenth as long, errors held alike."""
    took = []
    for travel in (TRAVEL, TRAVEL / 10.0):
        it = head(cell=5e-3 if quick else CELL, travel=travel)
        quad = it.quad()
        took.append(least(lambda it=it, quad=quad: it.lap(quad), seconds=0.1 if quick else 1.0))
        yield Figure(f"{it.strokes:,} strokes of {1e3 * travel:g} mm", 1e3 * took[-1], "ms")
    yield held("ten times as many strokes cost", took[1] / took[0], "times", "at most", 2.0)


def memory(*, quick: bool) -> Iterator[Figure]:
    """Peak memory of a process that laps a face of a million cells and does nothing else."""
    cells = 10_000 if quick else 1_000_000
    here = Path(__file__).resolve()
    code = (
        f"import sys; sys.path.insert(0, {str(here.parents[1])!r})\n"
        f"from benchmarks.laps import lap_and_weigh; lap_and_weigh({cells})"
    )
    told = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True).stdout
    found = json.loads(told)
    yield Figure("cells", found["cells"], "")
    yield Figure("memory before the face is set up", found["before"] / 1e6, "MB")
    yield held("most memory", found["peak"] / 1e6, "MB", "at most", 1000.0)


def most_memory() -> int:
    """Most memory that this process has had so far [byte]."""
    try:
        # What getrusage says may be left over from the process that started this one.
        status = Path("/proc/self/status").read_text(encoding="utf-8")
        return 1024 * int(next(x for x in status.splitlines() if x.startswith("VmHWM")).split()[1])
    except (OSError, StopIteration):
        unit = 1 if sys.platform == "darwin" else 1024
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit


def lap_and_weigh(cells: int) -> None:
    """Lap a face of about so many cells and print the memory it took, as JSON."""
    before = most_memory()
    it = head(cell=float(np.sqrt(Outline.rectangular(LENGTH, WIDTH, BORES).area / cells)))
    it.lap(it.strokes / 5.0)
    print(json.dumps({"cells": it.rig.grid.n_cells, "before": before, "peak": most_memory()}))
