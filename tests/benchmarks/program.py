"""Benchmarks of the program as it is used: a plan, threads, start-up, the survey."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
from benchmarks.timing import Figure, held

from handlap.sim.face.face_ensemble import infer_from_lines
from handlap.sim.job.given_file import builtin_paths
from handlap.sim.job.results import Plan
from handlap.sim.job.scenario_file import load
from handlap.sim.planning.plan import make_plan

JOB = "two-cylinder-head"
ROUNDS = 0.06
"""Diameter of the rounds in which the head is lapped as well [m]."""
COMMANDS = (
    ("plan thin-pump-cover", 4.0),
    ("plan long-part-short-plate", 4.0),
    ("plan inlet-flange", None),
    ("plan plane-sole", None),
    ("plan ROUNDS", None),
    (f"why {JOB}", None),
    (f"compare {JOB}", None),
)
"""Whole commands, and how many plans of the head they may cost."""
STEADY = 10.0
"""Most by which the middle values of a plan may differ from seed to seed, over their middle [%]."""


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


def processor_seconds(command: list[str], *, times: int) -> float:
    """Processor time of a whole command, start-up and system included, the least of some runs [s]."""
    found = []
    for _ in range(times):
        before = os.times()
        subprocess.run(command, check=True, capture_output=True)
        after = os.times()
        found.append(sum(after[2:4]) - sum(before[2:4]))
    return min(found)


def in_rounds(folder: Path) -> Path:
    """The head as a file in which the strokes are rounds."""
    text = builtin_paths()[JOB].read_text(encoding="utf-8")
    rounds = f'[strokes]\npattern = "circle"\nlength = {1e3 * ROUNDS:g}'
    text, changed = re.subn(r"\[strokes\](\n\w+ = .*)+", rounds, text)
    assert changed == 1
    path = folder / "rounds.toml"
    path.write_text(text, encoding="utf-8")
    return path


def commands(*, quick: bool) -> Iterator[Figure]:
    """Whole commands, by the processor time of all their threads, and how many plans of the head that is."""
    program = str(Path(sys.executable).with_name("handlap"))
    more = ["--members", "8"] if quick else []
    times = 1 if quick else 2
    with tempfile.TemporaryDirectory() as folder:
        rounds = str(in_rounds(Path(folder)))
        head = processor_seconds([program, "plan", JOB, *more], times=times)
        yield Figure(f"plan {JOB}", head, "s")
        for command, most in COMMANDS[:1] if quick else COMMANDS:
            words = [rounds if word == "ROUNDS" else word for word in command.split()]
            took = processor_seconds([program, *words, *more], times=times)
            yield Figure(command.replace("ROUNDS", f"{JOB} in rounds"), took, "s")
            if most is None or quick:
                yield Figure("  … in plans of the head", took / head, "")
            else:
                yield held("  … in plans of the head", took / head, "", "at most", most)


def steadiness(*, quick: bool) -> Iterator[Figure]:
    """Greatest less least of the middle values that plans of ten seeds come to, over their middle."""
    jobs = (
        JOB, "thin-pump-cover", "inlet-flange", "pump-face-heights", "glass-over-gap", "valve-chest-cover",
        "plane-sole",
    )  # fmt: skip
    seeds, members = (3, 8) if quick else (10, 64)
    for job in jobs[:1] if quick else jobs:
        plans = [make_plan(load(job), members=members, seed=seed) for seed in range(seeds)]
        for name, values in (
            ("strokes", [plan.stages[0].strokes_band.p50 for plan in plans]),
            ("minutes", [plan.effort.minutes.p50 for plan in plans]),
        ):
            spread = 100.0 * float(np.ptp(values) / np.median(values))
            yield held(f"{job}: {name} from seed to seed", spread, "%", "at most", STEADY)
