"""Exceptions cross to another process whole, as they would have to from a pool of workers."""

from __future__ import annotations

import copy
import pickle
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from typing import Any

import pytest

from handlap.sim.bench.job_log import Entry, EntryFaults
from handlap.sim.bench.log_import import Clash
from handlap.sim.bench.log_lines import from_json
from handlap.sim.common.errors import (
    Fault,
    HandlapError,
    InputError,
    ScenarioError,
    SolverError,
    TippingError,
)
from handlap.sim.common.measured_number import Doubted, NumberDoubt
from handlap.sim.face.told import FaceDecides
from handlap.sim.job.results import Verdict
from handlap.sim.job.scenario_file import load, load_text

FAULTS = (Fault("head.toml", "part.limit", "-5", "a height from 1 to 5000 µm"), Fault("a.toml", "", "", "?"))
RAISED = (
    HandlapError("the disk is full"),
    InputError("--members 3: allowed is 16 to 1024"),
    ScenarioError(FAULTS),
    TippingError("the part tips"),
    SolverError("no pose found", {"rows": 400, "tilt": [0.1, 0.2]}),
    EntryFaults(FAULTS),
    Clash([Entry(1, 40, "", strokes=40)], []),
    Doubted(NumberDoubt("0.05 µm", "thinner than any leaf", ("0.05 mm",), (5e-5,))),
    FaceDecides(
        load("formula-check"), Verdict("cannot tell", ("the readings contradict each other",), {}, ("read",))
    ),
)


@pytest.fixture(scope="module")
def pool() -> Iterator[ProcessPoolExecutor]:
    """One worker in a process of its own, which shares nothing with this one."""
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as found:
        yield found


def told(function, *args) -> Any:
    with pytest.raises((HandlapError, EntryFaults)) as caught:
        function(*args)
    return caught.value


@pytest.mark.parametrize(
    ("function", "args"),
    [
        (load_text, ("[part]\nlimit = -5\nlength = 'x'\nnonsense = 1", "head.toml")),
        (load_text, ("not toml at all", "head.toml")),
        (from_json, ({"strokes": -1, "note": 3}, "head.log.jsonl", "line 2")),
    ],
    ids=["many faults", "no TOML", "a line of a log"],
)
def test_what_a_worker_raises_says_here_what_it_said_there(pool, function, args):
    here = told(function, *args)
    there = told(lambda: pool.submit(function, *args).result(60))
    assert type(there) is type(here)
    assert str(there) == str(here)
    assert there.faults == here.faults
    assert all(len(line) > 1 for line in str(there).splitlines()), "not a character a line"


@pytest.mark.parametrize("error", RAISED, ids=lambda error: type(error).__name__)
@pytest.mark.parametrize("other", [lambda e: pickle.loads(pickle.dumps(e)), copy.copy, copy.deepcopy])
def test_every_one_of_them_comes_through(error, other):
    error.add_note("seen at the bench")
    found = other(error)
    assert found is not error
    assert (type(found), str(found), found.args) == (type(error), str(error), error.args)
    # Told apart by what they print: arrays in a scenario have no single answer to ==.
    assert repr(vars(found)) == repr(vars(error))


def test_none_is_left_out():
    """Every error of the tree is among those tried."""

    def below(kind: type[BaseException]) -> set[type[BaseException]]:
        found: list[type[BaseException]] = kind.__subclasses__()
        return {kind}.union(*map(below, found))

    ours = {kind for kind in below(HandlapError) if kind.__module__.startswith("handlap.sim")}
    assert ours <= {type(error) for error in RAISED}
