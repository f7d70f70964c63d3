"""Ways of working: how they are written, what they change, and that working them is sound."""

from __future__ import annotations

import math
import multiprocessing
import pickle
from concurrent.futures import Executor, ProcessPoolExecutor, ThreadPoolExecutor
from dataclasses import replace
from importlib import resources

import numpy as np
import pytest
from jobs import UM, hollow, job

from handlap.sim.common.errors import InputError, ScenarioError
from handlap.sim.comparing.way_work import Done, prepare, work_chunk, work_member, work_ways
from handlap.sim.job.scenario import Turning, TurnState, Uncertain
from handlap.sim.job.scenario_file import load
from handlap.sim.job.ways import READERS, Way, apply_way, default_ways, distinct, moved, parse_way
from handlap.sim.planning.work import Job, open_job, vary

HEAD = "two-cylinder-head"


@pytest.fixture(scope="module")
def head() -> Job:
    return open_job(load(HEAD), members=6, seed=3)


@pytest.mark.parametrize(
    ("text", "key", "value"),
    [
        ("turning=half and walk", "turning", "half and walk"),
        ("every=40", "every", 40),
        ("every=never", "every", 0),
        ("pattern=one way", "pattern", "one way"),
        ("direction=across", "direction", math.pi / 2),
        ("direction=30", "direction", math.pi / 6),
        ("length=120", "length", 0.12),
        ("height=1.5 in", "height", 0.0381),
        ("press=firm", "press", 40.0),
        ("press=10 lbf", "press", 44.482216152605),
        ("brush=60", "brush", 60),
        ("sheet=never", "sheet", 0),
        ("name=my own way", "name", "my own way"),
    ],
)
def test_each_key_is_read(text, key, value):
    expected = pytest.approx(value) if isinstance(value, float) else value
    assert getattr(parse_way(text), key) == expected


def test_papers_are_read_coarse_to_fine():
    assert [g.name for g in parse_way("papers=P80,120 US,P240").papers or ()] == ["P80", "P120", "P240"]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "says nothing"),
        ("half", "key=value"),
        ("speed=3", "allowed: turning, every"),
        ("turning=twice", "none, half, quarter"),
        ("every=0", "1 to 100000"),
        ("every=2.5", "whole number"),
        ("height=-5", "0 mm to 500 mm"),
        ("height=nan", "0 mm to 500 mm"),
        ("height=5 lbf", "units mm"),
        ("press=1e9", "light, firm, heavy"),
        ("papers=P240,P80", "coarse to fine"),
        ("papers=P81", "no grade P81"),
        ("direction=up", "degrees"),
        ("every=20 every=30", "twice"),
        (f"name={'x' * 60}", "40 characters"),
    ],
)
def test_what_cannot_be_read_is_refused_in_words(text, says):
    with pytest.raises(InputError, match=says):
        parse_way(text)


def test_all_faults_of_a_way_are_told_at_once():
    with pytest.raises(InputError) as refused:
        parse_way("speed=3 every=x press=1e9")
    assert all(word in str(refused.value) for word in ("speed", "every=x", "press=1e9"))


def test_every_key_that_is_read_changes_the_scenario():
    scenario = load(HEAD)
    said = {
        "turning": "quarter", "every": "33", "pattern": "circle", "direction": "across", "length": "77",
        "height": "11", "press": "13", "papers": "P150", "brush": "17", "sheet": "19",
    }  # fmt: skip
    assert set(said) | {"name"} == set(READERS)
    for key, value in said.items():
        assert apply_way(scenario, parse_way(f"{key}={value}")) != scenario, key


def test_a_way_that_says_nothing_changes_nothing():
    scenario = load(HEAD)
    assert apply_way(scenario, Way("as it stands")) == scenario


@pytest.mark.parametrize("law", ["lognormal", "normal"])
def test_a_moved_quantity_keeps_its_spread(law):
    was = Uncertain(
        40.0, 20.0 if law == "lognormal" else 30.0, 80.0 if law == "lognormal" else 50.0, law, "k"
    )
    now = moved(was, 10.0)
    z = np.array([-1.0, 0.0, 2.0])
    if law == "lognormal":
        assert now.at(z) == pytest.approx(np.asarray(was.at(z)) / 4.0)
    else:
        assert now.at(z) == pytest.approx(np.asarray(was.at(z)) - 30.0)


@pytest.mark.parametrize("name", [HEAD, "plane-sole"])
def test_some_eight_ways_are_compared_by_default_and_all_differ(name):
    scenario = load(name)
    ways = default_ways(scenario)
    assert len(ways) == 8
    assert ways[0] == Way("as it stands")
    made = [apply_way(scenario, way) for way in ways]
    assert all(a != b for i, a in enumerate(made) for b in made[:i])
    assert len({way.name for way in distinct([*ways, ways[1]])}) == 9


def arrays(done: Done) -> list[np.ndarray]:
    figures = [getattr(done.figures, name) for name in done.figures.__dataclass_fields__]
    efforts = [getattr(done.effort, name) for name in done.effort.__dataclass_fields__]
    return [*figures, *efforts, done.faces, done.curve, done.first_strokes, done.looks]


def same(one: list[Done], other: list[Done]) -> bool:
    return all(
        a.tobytes() == b.tobytes()
        for x, y in zip(one, other, strict=True)
        for a, b in zip(arrays(x), arrays(y), strict=True)
    )


def two_ways(head: Job, executor: Executor | None) -> list[Done]:
    jobs = [head, vary(head, apply_way(head.scenario, Way("never turned", turning="none")))]
    return work_ways(jobs, [2, 2], 240, executor=executor)


def test_the_same_bits_come_back_whatever_the_executor_and_the_number_of_workers(head):
    own = two_ways(head, None)
    with ThreadPoolExecutor(1) as one:
        assert same(own, two_ways(head, one))
    with ProcessPoolExecutor(2, mp_context=multiprocessing.get_context("spawn")) as processes:
        assert same(own, two_ways(head, processes))


def test_the_same_bits_come_back_from_a_local_dask_cluster(head):
    distributed = pytest.importorskip("distributed", reason="the test extra for clusters is not installed")
    own = two_ways(head, None)
    with (
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, processes=False, dashboard_address=None
        ) as cluster,
        distributed.Client(cluster) as client,
    ):
        assert same(own, two_ways(head, client.get_executor()))


def test_what_comes_back_of_a_member_is_slim(head):
    steps = prepare(head, 2, 240)
    back = work_chunk((steps, [(head.members.before[0], head.members.conditions[0])]))
    points = head.bench.grid.u.size
    assert len(pickle.dumps(back)) < 4 * points + 6000
    assert len(pickle.dumps(steps)) < 2_000_000


def test_how_long_a_course_is_tried_first_does_not_change_where_members_end(head):
    short = prepare(head, 2, 240)
    assert short.courses[1][0].strokes == 480
    long = replace(short, courses=short.courses[1:])
    ended = 0
    for before, conditions in zip(head.members.before, head.members.conditions, strict=True):
        a, b = (work_member(steps, before, conditions) for steps in (short, long))
        if a.strokes[0] <= 480:
            ended += 1
            assert b.strokes == a.strokes
            assert np.array_equal(a.face, b.face)
    assert ended > 0


def test_a_way_that_tips_the_part_is_reported_not_raised():
    tall = job(reach=0.3, face=hollow(60 * UM, 0.12), limit=20 * UM)
    opened = open_job(tall, members=2, seed=0)
    (done,) = work_ways([opened], [0], 200)
    assert done.failure is not None and "tips" in done.failure


def pushing(states: tuple[tuple[float, float], ...], every: int) -> Job:
    """A one-way stroke with high hands on a hollow face, nothing else uneven."""
    scenario = job(
        reach=0.03, pattern="one way", face=hollow(60 * UM, 0.12), limit=20 * UM, rate=0.2e-9, check_every=40
    )
    turning = Turning("of the test", tuple(TurnState(*s) for s in states), every)
    return open_job(replace(scenario, turning=turning), members=2, seed=0)


def test_one_sided_pushing_tapers_and_half_turns_cure_it():
    stay, turned = pushing(((0.0, 0.0),), 0), pushing(((0.0, 0.0), (math.pi, 0.0)), 20)
    one, other = work_ways([stay, turned], [0, 0], 200)
    # Pushed always away, the leading end (+u) loses more.
    assert one.figures.taper_along[0] > 10 * UM
    assert abs(other.figures.taper_along[0]) < 0.1 * one.figures.taper_along[0]


def test_a_symmetric_set_up_gives_no_taper():
    """Hands on the paper, no wobble, no bias: nothing tells one end from the other."""
    even = open_job(job(face=hollow(60 * UM, 0.12), limit=20 * UM, check_every=200), members=2, seed=0)
    (done,) = work_ways([even], [0], 400)
    assert np.max(np.abs(done.figures.taper_along)) < 1e-11
    assert np.max(np.abs(done.figures.taper_across)) < 1e-11


def test_mirrored_hands_give_the_mirrored_taper():
    """High hands: push and pull act in turn, so either order leaves a trace; the two cancel."""

    def tapers(direction: float) -> np.ndarray:
        scenario = job(
            reach=0.03, bias=(0.01, 0.004), direction=direction, face=hollow(60 * UM, 0.12), limit=20 * UM,
            check_every=200,
        )  # fmt: skip
        (done,) = work_ways([open_job(scenario, members=2, seed=0)], [0], 400)
        return np.array([done.figures.taper_along[0], done.figures.taper_across[0]])

    there, back = tapers(0.0), tapers(math.pi)
    assert np.min(np.abs(there)) > 0.5 * UM
    assert there + back == pytest.approx([0.0, 0.0], abs=1e-3 * UM)


def test_a_scenario_may_name_its_ways(tmp_path):
    text = (resources.files("handlap.scenarios") / f"{HEAD}.toml").read_text(encoding="utf-8")
    file = tmp_path / "head.toml"
    file.write_text(
        text + '\n[compare]\nways = ["name=as it stands", "turning=half every=40"]\n', encoding="utf-8"
    )
    assert [parse_way(way).name for way in load(str(file)).ways] == ["as it stands", "half turn every 40"]
    file.write_text(text + '\n[compare]\nways = ["every=x", 3, "speed=1"]\n', encoding="utf-8")
    with pytest.raises(ScenarioError) as refused:
        load(str(file))
    assert [fault.key for fault in refused.value.faults] == [f"compare.ways[{i}]" for i in (1, 2, 3)]
