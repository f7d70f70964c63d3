"""Same seed, same bytes: what a command prints as JSON does not depend on the number of threads.

How threads share the work of one ensemble is held by ``test_ensemble.py`` and ``test_ways.py``; here
the whole of each command's answer is compared, on one thread and on three.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Executor, ThreadPoolExecutor
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from bench_truth import NOW, make_truth, write_log
from test_compare import uneven_job

from handlap.cli.reports.as_json import dumps
from handlap.cli.reports.compare_report import compare_json
from handlap.cli.reports.improve_report import improve_json
from handlap.cli.reports.lesson_report import lesson_json
from handlap.cli.reports.plan_report import plan_json
from handlap.cli.reports.replan_report import replan_json
from handlap.cli.reports.why_report import why_json
from handlap.sim.bench.job_log import Entry
from handlap.sim.bench.replan import make_replan
from handlap.sim.comparing.compare import compare
from handlap.sim.comparing.improve import improve
from handlap.sim.comparing.why import find_causes
from handlap.sim.job.scenario import Exact
from handlap.sim.job.scenario_file import load
from handlap.sim.job.ways import parse_way
from handlap.sim.planning.plan import make_plan
from handlap.sim.teaching.lesson_file import load_lesson
from handlap.sim.teaching.lesson_work import work_lesson

JOB = "two-cylinder-head"
LESSON = load_lesson("dead-paper")


def replanned(executor: Executor) -> dict[str, Any]:
    """A face known to the test, one block done and looked at."""
    scenario = load(JOB)
    hollow = make_truth(
        scenario, lambda p: 60e-6 * (np.asarray(p)[:, 0] / 0.12) ** 2, seed=1, cells=150
    )  # fmt: skip
    log = write_log(hollow, [Entry(1, 0, NOW, strokes=75, paper="P80", brushed=True)], {0})
    return replan_json(make_replan(hollow.scenario, log, members=16, cells=150, executor=executor))


ANSWERS: dict[str, Callable[[Executor], dict[str, Any]]] = {
    "plan": lambda pool: plan_json(make_plan(uneven_job(), members=6, executor=pool)),
    "plan, from leaves": lambda pool: plan_json(
        make_plan(replace(load(JOB), exact=Exact(cell=16e-3)), members=4, executor=pool)
    ),
    "compare": lambda pool: compare_json(
        compare(uneven_job(), [parse_way("name=own"), parse_way("height=0")], members=6, executor=pool)
    ),
    "improve": lambda pool: improve_json(improve(uneven_job(), budget=4, members=6, executor=pool)),
    "why": lambda pool: why_json(find_causes(uneven_job(), members=4, strokes=60, executor=pool)),
    "replan": replanned,
    "lesson": lambda pool: lesson_json(
        work_lesson(replace(LESSON, strokes=LESSON.strokes // 4), members=3, executor=pool), None
    ),
}


@pytest.mark.parametrize("name", ANSWERS)
def test_the_number_of_threads_changes_no_byte(name, drawn_anew):
    texts = []
    for threads in (1, 3):
        with ThreadPoolExecutor(threads) as pool:
            texts.append(dumps(ANSWERS[name](pool)))
    assert len(texts[0]) > 500
    assert texts[0] == texts[1]
