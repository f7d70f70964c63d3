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

from handlap.sim.common.errors import HandlapError, InputError, ScenarioError, TippingError
from handlap.sim.job.scenario import Turning, TurnState, Uncertain
from handlap.sim.job.scenario_file import load
from handlap.sim.job.ways import READERS, Way, apply_way, default_ways, distinct, moved, parse_way
from handlap.sim.planning.crew import Crew, open_crew, vary
from handlap.sim.planning.work import Worked, lay_steps, work, work_chunk, work_member, work_ways

HEAD = "two-cylinder-head"


@pytest.fixture(scope="module")
def head() -> Crew:
    return open_crew(load(HEAD), members=6, seed=3)


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
        "wet": "no",
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


def arrays(done: Worked) -> list[np.ndarray]:
    figures = [getattr(done.outcome.figures, name) for name in done.outcome.figures.__dataclass_fields__]
    efforts = [getattr(done.outcome.effort, name) for name in done.outcome.effort.__dataclass_fields__]
    course = done.first
    return [*figures, *efforts, done.outcome.faces, course.figures.flatness, course.stops, course.strokes]


def all_worked(found: list[Worked | HandlapError]) -> list[Worked]:
    assert all(isinstance(done, Worked) for done in found)
    return [done for done in found if isinstance(done, Worked)]


def same(one: list[Worked], other: list[Worked]) -> bool:
    """The same digits: kernels that a process compiled itself may round otherwise in the last bit than those
    that another found compiled."""
    return all(
        np.allclose(a, b, rtol=1e-11, atol=1e-18, equal_nan=True)
        for x, y in zip(one, other, strict=True)
        for a, b in zip(arrays(x), arrays(y), strict=True)
    )


STOPS = np.array([240.0])


def two_ways(head: Crew, executor: Executor | None) -> list[Worked]:
    crews = [head, vary(head, apply_way(head.scenario, Way("never turned", turning="none")))]
    return all_worked(work_ways(crews, [lay_steps(crew, 2, STOPS) for crew in crews], executor=executor))


def test_the_same_digits_come_back_whatever_the_executor_and_the_number_of_workers(head):
    own = two_ways(head, None)
    with ThreadPoolExecutor(1) as one:
        assert same(own, two_ways(head, one))
    with ProcessPoolExecutor(2, mp_context=multiprocessing.get_context("spawn")) as processes:
        assert same(own, two_ways(head, processes))


def test_the_same_digits_come_back_from_a_local_dask_cluster(head):
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
    steps = lay_steps(head, 2, STOPS)
    back = work_chunk((steps, [(head.members.before[0], head.members.conditions[0])]))
    points = head.rig.grid.u.size
    assert len(pickle.dumps(back)) < 8 * points + 12_000
    assert len(pickle.dumps(steps)) < 3_000_000


def test_who_stops_early_is_not_worked_on_and_who_is_shown_the_way_is(head):
    steps = lay_steps(head, 2, STOPS)
    for before, conditions in zip(head.members.before, head.members.conditions, strict=True):
        (run,) = work_member(replace(steps, legs=steps.legs[:1]), before, conditions)
        assert run.stop.reached
        # Worked to the end of the block in which it stops, and no further.
        ends = [block.end.strokes for block in steps.legs[0].blocks]
        assert run.strokes[-1] == next(end for end in ends if end >= run.stroke)
        shown = replace(steps, legs=steps.legs[:1], shown=(1600,), keep=True)
        (on,) = work_member(shown, before, conditions)
        assert on.strokes[-1] >= 1600
        assert on.stroke == run.stroke and np.array_equal(on.face, run.face)
        looks = run.strokes.size
        assert np.array_equal(on.figures.straightedge[:looks], run.figures.straightedge)
        assert on.faces.shape == (on.strokes.size, before.size) and run.faces.shape[0] == 0


def test_the_stop_lies_between_looks_where_the_goal_is_met(head):
    """With looks four times as often a member stops where it did, though looks fall elsewhere."""
    often = replace(head, scenario=replace(head.scenario, check_every=20))
    seldom = replace(head, scenario=replace(head.scenario, check_every=80))
    a, b = (work(crew, lay_steps(crew, 2, STOPS)) for crew in (often, seldom))
    assert a.first.reached.all()
    # Rows fall elsewhere too, so that members stop elsewhere by their step error over their slope.
    np.testing.assert_allclose(a.first.stops, b.first.stops, rtol=0.1)
    assert np.mean(a.first.stops / b.first.stops) == pytest.approx(1.0, abs=0.04)
    goal = a.steps.goal
    measured = head.measured(a.first.left)
    np.testing.assert_allclose(measured[a.first.stops > 20], goal, atol=0.5 * UM)


def test_the_course_is_the_same_however_far_it_was_thought_to_go(head):
    """Rows and looks are those of the horizon; a member that stops before both horizons ends alike."""
    near, far = (work(head, lay_steps(head, 2, np.array([k]))) for k in (700.0, 2000.0))
    both = (near.first.stops < 700.0) & near.first.reached & far.first.reached
    assert both.any()
    np.testing.assert_allclose(near.first.stops[both], far.first.stops[both], rtol=0.1)


def test_rows_taken_over_stand_for_as_much_metal_and_are_not_measured_anew(head, monkeypatch):
    """Without the press only the weight cuts: a stroke takes off less, and rows are so much longer."""
    pressed = replace(head.scenario, hands=replace(head.scenario.hands, press=Uncertain.fixed(0.0)))
    press, weight = head.middle.grip.press, head.scenario.part.weight
    steps = lay_steps(head, 2, STOPS)
    monkeypatch.setattr(Crew, "steps_for", lambda crew, stage: pytest.fail("rows are measured"))
    light = lay_steps(vary(head, pressed), 2, STOPS, like=steps)
    assert light.error == steps.error
    assert light.legs[0].quad == pytest.approx(steps.legs[0].quad * (press + weight) / weight)
    assert lay_steps(head, 2, STOPS, like=steps).legs[0].quad == pytest.approx(steps.legs[0].quad)


def test_metal_off_lies_on_the_paper_on_every_leg(head):
    """Conservation in laps that stop and go on: what is off the face is on the paper."""
    steps = lay_steps(head, 1, STOPS)
    for before, conditions in zip(head.members.before, head.members.conditions, strict=True):
        for run in work_member(steps, before, conditions):
            assert run.deposited == pytest.approx(run.removed, rel=1e-12)


def test_a_way_that_tips_the_part_is_reported_not_raised():
    tall = job(reach=0.3, face=hollow(60 * UM, 0.12), limit=20 * UM)
    opened = open_crew(tall, members=2, seed=0)
    (done,) = work_ways([opened], [lay_steps(opened, 0, np.array([200.0]))])
    assert isinstance(done, TippingError) and "tips" in str(done)


def pushing(states: tuple[tuple[float, float], ...], every: int) -> Crew:
    """A one-way stroke with high hands on a hollow face, nothing else uneven."""
    scenario = job(
        reach=0.03, pattern="one way", face=hollow(60 * UM, 0.12), limit=20 * UM, rate=0.2e-9, check_every=40
    )
    turning = Turning("of the test", tuple(TurnState(*s) for s in states), every)
    return open_crew(replace(scenario, turning=turning), members=2, seed=0)


def test_one_sided_pushing_tapers_and_half_turns_cure_it():
    stay, turned = pushing(((0.0, 0.0),), 0), pushing(((0.0, 0.0), (math.pi, 0.0)), 20)
    one, other = (work(crew, lay_steps(crew, 0, np.array([200.0]))) for crew in (stay, turned))
    # Pushed always away, the leading end (+u) loses more.
    assert one.outcome.figures.taper_along[0] > 10 * UM
    assert abs(other.outcome.figures.taper_along[0]) < 0.1 * one.outcome.figures.taper_along[0]


def test_a_symmetric_set_up_gives_no_taper():
    """Hands on the paper, no wobble, no bias: nothing tells one end from the other."""
    even = open_crew(job(face=hollow(60 * UM, 0.12), limit=20 * UM, check_every=200), members=2, seed=0)
    done = work(even, lay_steps(even, 0, np.array([400.0])))
    assert np.max(np.abs(done.outcome.figures.taper_along)) < 1e-11
    assert np.max(np.abs(done.outcome.figures.taper_across)) < 1e-11


def test_mirrored_hands_give_the_mirrored_taper():
    """High hands: push and pull act in turn, so either order leaves a trace; the two cancel."""

    def tapers(direction: float) -> np.ndarray:
        scenario = job(
            reach=0.03, bias=(0.01, 0.004), direction=direction, face=hollow(60 * UM, 0.12), limit=20 * UM,
            check_every=200,
        )  # fmt: skip
        crew = open_crew(scenario, members=2, seed=0)
        done = work(crew, lay_steps(crew, 0, np.array([400.0])))
        return np.array([done.outcome.figures.taper_along[0], done.outcome.figures.taper_across[0]])

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


def test_papers_sheets_press_and_wet_or_dry_are_among_the_ways_by_default():
    scenario = load(HEAD)
    ways = default_ways(scenario, first=1, sheet=480, brush=80)
    assert [way.papers[0].name for way in ways if way.papers] == [
        scenario.paper.grits[2].name, scenario.paper.grits[0].name,
    ]  # fmt: skip
    assert [way.sheet for way in ways if way.sheet is not None] == [240, 960]
    assert any(way.press is not None for way in ways)
    assert [way.wet for way in ways if way.wet is not None] == [not scenario.paper.wet]
    assert sum(way.turning is not None for way in ways) <= 2


def test_wet_or_dry_moves_what_was_assumed_of_the_paper_and_nothing_that_was_stated():
    scenario = load(HEAD)
    wet = scenario.paper.wet
    other = apply_way(scenario, parse_way(f"wet={'no' if wet else 'yes'}"))
    metal = scenario.part.metal
    assert other.paper.wet is not wet
    assert other.wear.friction.value == pytest.approx(metal.friction(not wet))
    # The spread is the same factor about another middle.
    assert other.wear.friction.high / other.wear.friction.value == pytest.approx(
        scenario.wear.friction.high / scenario.wear.friction.value
    )
    assert other.wear.rate == scenario.wear.rate
    assert other.hands == scenario.hands
    back = apply_way(other, parse_way(f"wet={'yes' if wet else 'no'}"))
    assert back.wear.loading_floor.value == pytest.approx(scenario.wear.loading_floor.value)
    stated = replace(scenario, wear=replace(scenario.wear, friction=Uncertain.fixed(0.77, "wear.friction")))
    assert apply_way(stated, Way("", wet=not wet)).wear.friction.value == 0.77
