"""Many jobs, one question, whatever works them."""

from __future__ import annotations

import multiprocessing
from concurrent.futures import Executor, ProcessPoolExecutor, ThreadPoolExecutor
from dataclasses import replace

import pytest
from click.testing import CliRunner
from jobs import UM, hollow, job

from handlap.cli.main import main
from handlap.sim.common.errors import HandlapError, InputError
from handlap.sim.comparing.study import study
from handlap.sim.job.scenario import Scenario
from handlap.sim.planning.plan import make_plan


def strokes(one: Scenario) -> float:
    return make_plan(one, members=2).effort.strokes.p50


def jobs() -> list[Scenario]:
    known = job(face=hollow(60 * UM, 0.12), ages=True, cell=0.02)
    tips = job(face=hollow(60 * UM, 0.12), reach=0.3, limit=20 * UM)
    return [replace(known, part=replace(known.part, limit=k * UM)) for k in (20, 30)] + [tips]


def told(executor: Executor | None) -> list[object]:
    found = list(study(jobs(), strokes, executor=executor))
    return [str(answer) if isinstance(answer, HandlapError) else answer for answer in found]


def test_answers_come_in_the_order_of_the_jobs_whatever_works_them():
    own = told(None)
    assert len(own) == 3 and own[0] != own[1]
    assert isinstance(own[2], str) and "the part tips over" in own[2]
    with ThreadPoolExecutor(2) as threads:
        assert told(threads) == own
    with ProcessPoolExecutor(2, mp_context=multiprocessing.get_context("spawn")) as processes:
        spread = told(processes)
    assert spread[2] == own[2]
    # What a process compiled itself may round otherwise in the last bit.
    assert spread[:2] == pytest.approx(own[:2], rel=1e-11)


def test_jobs_are_drawn_when_there_is_room(monkeypatch):
    monkeypatch.setattr("handlap.sim.comparing.study.AHEAD", 2)
    drawn = []

    def endless():
        while True:
            drawn.append(1)
            yield jobs()[0]

    with ThreadPoolExecutor(1) as one:
        answers = study(endless(), lambda job: job.name, executor=one)
        assert [next(answers) for _ in range(3)] == ["test"] * 3 or next(answers)
        assert len(drawn) <= 6


def test_a_command_spread_over_processes_says_the_same():
    asked = ["plan", "two-cylinder-head", "--members", "8", "--json"]
    own = CliRunner().invoke(main, asked)
    spread = CliRunner().invoke(main, [*asked, "--workers", "2"])
    assert own.exit_code == spread.exit_code == 0
    assert own.stdout == spread.stdout


@pytest.mark.parametrize(
    ("given", "words"),
    [
        (["--workers", "0"], "--workers"),
        (["--workers", "2", "--cluster", "tcp://localhost:1"], "give one of them"),
    ],
)
def test_wrong_use_is_refused(given, words):
    done = CliRunner().invoke(main, ["plan", "two-cylinder-head", *given])
    assert done.exit_code == 2 and words in done.output


def test_a_cluster_that_is_not_there_is_said_so():
    done = CliRunner().invoke(main, ["plan", "two-cylinder-head", "--cluster", "tcp://localhost:1"])
    assert done.exit_code == 2 and "--cluster" in done.output
    assert isinstance(done.exception, InputError | SystemExit)
