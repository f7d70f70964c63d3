"""Benchmarks of the program as it is used: a plan, threads, start-up, the survey."""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from benchmarks.timing import Figure

from handlap.sim.face.face_ensemble import infer_from_lines
from handlap.sim.job.results import Plan
from handlap.sim.job.scenario_file import load
from handlap.sim.planning.plan import make_plan

JOB = "two-cylinder-head"


def plan_on(threads: int, members: int) -> tuple[Plan, float]:
    """A plan of a built-in job on so many threads, and what it took by the clock [s]."""
    with ThreadPoolExecutor(threads) as pool:
        start = time.perf_counter()
        plan = make_plan(load(JOB), members=members, executor=pool)
        return plan, time.perf_counter() - start


def plans(*, quick: bool) -> Iterator[Figure]:
    """A whole plan, on one thread and on several."""
    members = 8 if quick else 64
    plan_on(1, 4)
    took = {}
    for threads in (1, 2) if quick else (1, 2, 4):
        took[threads] = min(plan_on(threads, members)[1] for _ in range(1 if quick else 3))
        yield Figure(f"plan of {members} members, {threads} thread(s)", took[threads], "s")
    if not quick:
        yield Figure("two threads against one", took[1] / took[2], "times")
        yield Figure("four threads against one", took[1] / took[4], "times")


def start_up(*, quick: bool) -> Iterator[Figure]:
    """From the shell to the help and back."""
    program = Path(sys.executable).with_name("handlap")
    times = []
    for _ in range(2 if quick else 10):
        start = time.perf_counter()
        subprocess.run([program, "--help"], check=True, capture_output=True)
        times.append(time.perf_counter() - start)
    yield Figure("handlap --help", 1e3 * min(times), "ms")
    times.clear()
    for _ in range(2 if quick else 10):
        start = time.perf_counter()
        subprocess.run([sys.executable, "-c", "pass"], check=True, capture_output=True)
        times.append(time.perf_counter() - start)
    yield Figure("of that, Python itself", 1e3 * min(times), "ms")


def survey_draws(*, quick: bool) -> Iterator[Figure]:
    """Faces drawn given the readings of a built-in job."""
    scenario = load(JOB)
    count = 100 if quick else 1000
    infer_from_lines(scenario.part.outline, scenario.readings, count=50, seed=0)
    start, clock = time.process_time(), time.perf_counter()
    _, _, draws = infer_from_lines(scenario.part.outline, scenario.readings, count=count, seed=0)
    took, clock = time.process_time() - start, time.perf_counter() - clock
    yield Figure("faces kept per second of processor time", len(draws.coefficients) / took, "1/s")
    yield Figure("faces kept per second by the clock", len(draws.coefficients) / clock, "1/s")
