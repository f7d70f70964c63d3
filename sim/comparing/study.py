"""Many jobs put the same question, side by side: a shop's parts, a limit tried at several values.

The natural unit is a whole answer: each job goes to a worker with its question, and the answer
comes back, in whatever order the jobs were given and however many workers there are.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Executor, Future
from itertools import islice
from typing import TypeVar

from handlap.sim.common.errors import HandlapError
from handlap.sim.job.scenario import Scenario

R = TypeVar("R")

AHEAD = 256
"""Jobs that wait in an executor at a time: a study of a hundred thousand parts fits in memory."""


def study(
    jobs: Iterable[Scenario], ask: Callable[[Scenario], R], *, executor: Executor | None = None
) -> Iterator[R | HandlapError]:
    """Ask every job the same, and give the answers in the order of the jobs.

    Parameters
    ----------
    jobs : any number of them, drawn when there is room
    ask : what is asked of each; a function of a module, where the executor is one of processes
    executor : any of ``concurrent.futures``, or of a cluster; without one, this thread, one by one

    Returns
    -------
    The answers; where a job cannot be answered, the error that says why, in its place.
    """
    if executor is None:
        for job in jobs:
            yield _answer(job, ask)
        return
    left = iter(jobs)
    waiting: list[Future[R | HandlapError]] = []
    waiting += [executor.submit(_answer, job, ask) for job in islice(left, AHEAD)]
    while waiting:
        yield waiting.pop(0).result()
        waiting += [executor.submit(_answer, job, ask) for job in islice(left, 1)]


def _answer(job: Scenario, ask: Callable[[Scenario], R]) -> R | HandlapError:
    try:
        return ask(job)
    except HandlapError as fault:
        return fault
