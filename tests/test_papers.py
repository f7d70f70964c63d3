"""Which papers: the chain of finer ones, when scratches are gone, the one to start on, what it costs."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations, pairwise

import numpy as np
import pytest
from jobs import UM
from scipy.special import ndtri

from handlap.sim.common.errors import InputError
from handlap.sim.common.sobol import scrambled_sobol
from handlap.sim.job.scenario import Scenario
from handlap.sim.job.scenario_file import load, load_text
from handlap.sim.lapping.ensemble import SCORES, conditions_at, spread_over
from handlap.sim.lapping.simulate import starting_on
from handlap.sim.materials import grits
from handlap.sim.planning.crew import open_crew
from handlap.sim.planning.effort import TURN_MINUTES, count_effort, times
from handlap.sim.planning.first_paper import (
    choose_first,
    foreseen,
    rough_minutes,
    still_open,
    trial_crew,
    try_paper,
)
from handlap.sim.planning.papers import (
    ALIKE,
    CLEARLY,
    NOT_TOLD_APART,
    chain,
    choose_paper,
    clearing_looks,
    clearly_better,
    finish_wanted,
    gone_at,
    price,
    quicker,
    strokes_to_clear,
    to_clear,
)
from handlap.sim.planning.work import first_guess

HEAD = load("two-cylinder-head")
ALL = tuple(grits.find(name) for name in ("P60", "P80", "P120", "P180", "P240", "P400"))


def head(papers=ALL, *, wet: bool = False, ra: float | None = None, start: str | None = None) -> Scenario:
    """The head with other papers, and a finish that the gasket asks for [m]."""
    paper = replace(HEAD.paper, grits=tuple(papers), wet=wet, start=grits.find(start) if start else None)
    return replace(HEAD, paper=paper, part=replace(HEAD.part, gasket_ra=None if ra is None else (0.0, ra)))


def middle(scenario: Scenario):
    return conditions_at(scenario, np.zeros(len(SCORES)))


def cost(scenario: Scenario, papers) -> float:
    """Minutes on the finer of some papers, one after the other."""
    return sum(to_clear(scenario, middle(scenario), a, b)[1] for a, b in pairwise(papers))


@pytest.mark.parametrize("wet", [False, True])
@pytest.mark.parametrize("ra", [0.3 * UM, 0.8 * UM, None])
@pytest.mark.parametrize("first", [0, 1, 2])
def test_the_chain_is_the_quickest_of_all_there_are(first, ra, wet):
    scenario = head(wet=wet, ra=ra)
    found = chain(scenario, middle(scenario), first)
    wanted, metal = finish_wanted(scenario), scenario.part.metal
    assert found[0] is ALL[first]
    fine = [i for i, g in enumerate(ALL) if g.worn_roughness(metal) <= wanted]
    last = max(first, fine[0] if fine else len(ALL) - 1)
    assert found[-1] is ALL[last]
    # By hand over every subset of the papers between: none is quicker, going through all of them neither.
    between = range(first + 1, last)
    ways = [
        [ALL[first], *(ALL[i] for i in some), ALL[last]]
        for count in range(len(between) + 1)
        for some in combinations(between, count)
        if last > first
    ] or [[ALL[first]]]
    allowed = [
        way for way in ways
        if all(b.diameter >= 0.25 * a.diameter or ALL.index(b) == ALL.index(a) + 1 for a, b in pairwise(way))
    ]  # fmt: skip
    assert cost(scenario, found) == pytest.approx(min(cost(scenario, way) for way in allowed))


def test_one_paper_that_is_fine_enough_needs_no_other():
    scenario = head([grits.find("P120")])
    assert chain(scenario, middle(scenario), 0) == (grits.find("P120"),)
    # Nor are finer ones used than the finish needs: Ra 1.5 µm where nothing is stated, common practice.
    assert [g.name for g in chain(head(), middle(head()), 2)] == ["P120"]


def test_a_paper_too_coarse_for_the_finish_is_followed_by_the_finest_there_is():
    scenario = head([grits.find("P60"), grits.find("P80")], ra=0.2 * UM)
    assert [g.name for g in chain(scenario, middle(scenario), 0)] == ["P60", "P80"]


def test_scratches_take_their_stock_on_fresh_paper_and_more_strokes_on_worn():
    scenario = head()
    p80, p120 = grits.find("P80"), grits.find("P120")
    strokes, minutes = to_clear(scenario, middle(scenario), p80, p120)
    assert strokes_to_clear(scenario, middle(scenario), p80, p120) == 10 * np.ceil(strokes / 10)
    assert minutes > 3.0 + strokes / scenario.hands.strokes_per_minute.value - 1e-9
    coarser = to_clear(scenario, middle(scenario), grits.find("P60"), p120)
    assert coarser[0] > strokes and coarser[1] > minutes


def test_scratches_are_gone_where_they_were_made_not_where_no_paper_cut():
    """Closed form: a face cut evenly loses them at its stock; what was left alone before does not count."""
    stock = 4 * UM
    area = np.array([1.0, 1.0, 2.0])
    before = np.array([10.0, 10.0, 0.0]) * UM
    start = np.array([5.0, 5.0, 0.0]) * UM
    depths = np.array([[1.0, 1.0, 0.0], [3.9, 3.9, 0.0], [4.0, 4.0, 0.0], [6.0, 6.0, 0.0]]) * UM
    assert gone_at(before, start, start - depths, area, stock) == 2
    # One of two scratched halves lags behind: not gone until it has lost them too.
    depths[:3, 1] = 0.0
    assert gone_at(before, start, start - depths, area, stock) == 3
    assert gone_at(before, start, start - 0.1 * depths, area, stock) is None


def test_looks_at_a_finer_paper_go_on_well_beyond_what_it_should_take():
    for expected in (10, 70, 400, 3000):
        looks = clearing_looks(expected)
        assert list(looks) == sorted(set(looks)) and len(set(np.diff([0, *looks]))) == 1
        assert looks[-1] >= 2.0 * expected and looks[0] <= max(10, expected)


# ---- the first paper


def test_quicker_is_a_chance_of_one_against_the_other():
    rng = np.random.default_rng(3)
    one, other = rng.integers(0, 5, (2, 40)).astype(float)
    assert quicker(one, other) + quicker(other, one) == pytest.approx(1.0)
    assert quicker(one, one) == 0.5


def test_a_paper_listed_twice_is_about_alike_with_itself():
    minutes = np.random.default_rng(4).uniform(10.0, 50.0, 64)
    inside = np.ones((3, 64), dtype=bool)
    taken, alike = choose_paper(inside, np.array([minutes, minutes, 3.0 * minutes]))
    assert taken == 0 and alike == (0, 1)


def test_of_what_is_about_alike_the_coarsest_is_taken_and_what_is_slower_is_out():
    rng = np.random.default_rng(5)
    base = rng.uniform(20.0, 40.0, 64)
    noise = rng.normal(0.0, 5.0, (2, 64))
    minutes = np.array([base + 30.0, base + noise[0], base + noise[1]])
    taken, alike = choose_paper(np.ones((3, 64), dtype=bool), minutes)
    assert taken == 1 and alike == (1, 2)
    assert 1.0 - ALIKE < quicker(minutes[2], minutes[1]) < ALIKE


def test_a_price_is_minutes_for_each_face_that_comes_right():
    """Closed form: 99 tries of which 49 come right, all of 20 minutes: two goes a face, 40 minutes."""
    inside = np.arange(99) < 49
    assert price(inside, np.full(99, 20.0)) == pytest.approx(20.0 / 0.495)
    # Members that differ by factors: half at 10, half at 40 are 20 in the geometric middle.
    assert price(np.ones(100, dtype=bool), np.repeat([10.0, 40.0], 50)) == pytest.approx(20.0 * 101 / 100.5)
    assert np.isfinite(price(np.zeros(8, dtype=bool), np.full(8, 20.0)))


def test_chance_and_minutes_weigh_against_each_other():
    n = 64
    inside, minutes = np.ones((2, n), dtype=bool), np.array([np.full(n, 30.0), np.full(n, 60.0)])
    inside[0, n // 4 :] = False
    assert choose_paper(inside, minutes)[0] == 1
    # Right in three cases of four for half the minutes is not: a second go costs less than the other paper.
    inside[0] = np.arange(n) < 48
    assert choose_paper(inside, minutes)[0] == 0
    # None meets the limits: minutes alone decide.
    assert choose_paper(np.zeros((2, n), dtype=bool), minutes[::-1])[0] == 1


@pytest.mark.parametrize("ratio, taken", [(0.98, 0), (1.02, 1)])
def test_the_coarser_is_taken_until_it_is_dearer_than_luck_of_two_grades(ratio, taken):
    """×/÷ 1.25 each (common practice), so the ratio of two is ×/÷ 1.25^√2 = 1.371."""
    assert pytest.approx(1.371, abs=1e-3) == NOT_TOLD_APART
    minutes = np.array([np.full(64, 20.0 * NOT_TOLD_APART * ratio), np.full(64, 20.0)])
    # Quicker in a quarter of the members, and so much slower in the others that the price is as wanted.
    minutes[0, :16] /= 4.0
    minutes[0, 16:] *= 4.0 ** (1 / 3)
    assert choose_paper(np.ones((2, 64), dtype=bool), minutes)[0] == taken


def test_a_coarser_paper_that_is_plainly_slower_is_not_taken_however_near_its_price():
    minutes = np.array([np.full(64, 22.0), np.full(64, 20.0)])
    assert choose_paper(np.ones((2, 64), dtype=bool), minutes) == (1, (1,))
    minutes[0, :7] = 19.0
    assert choose_paper(np.ones((2, 64), dtype=bool), minutes) == (0, (0,))
    # Alike to whoever reads it are only those of which neither is quicker in more than four cases of five.
    minutes[0, :13] = 19.0
    assert choose_paper(np.ones((2, 64), dtype=bool), minutes) == (0, (0, 1))


MADE_UP = {
    "wide": ((29, 28, 16, 20, 26, 39), (0.21, 0.23, 0.58, 0.73, 0.84, 0.90), 2),
    "level": ((72, 71, 65, 88, 120, 190), (0.85, 0.91, 0.94, 0.97, 0.98, 0.98), 0),
    "iron": ((76, 86, 115, 155, 211, 330), (0.63, 0.72, 0.90, 0.94, 0.95, 0.82), 0),
}
"""Middle minutes and chances of six papers coarse to fine, and which is to be taken: made up after three
of the trade's jobs."""


def made_up_trials(name: str, seed: int):
    """Trials of 64 members: faces and hands in common, drawn as evenly as the program draws hands, and what
    each paper has of its own, drawn at random."""
    middles, chances, _ = MADE_UP[name]
    rng = np.random.default_rng(seed)
    hands, faces = ndtri(scrambled_sobol(2, 6, seed)).T
    own, ends = rng.standard_normal((2, len(middles), 64))
    minutes = np.array(middles)[:, None] * np.exp(0.6 * hands + 0.14 * own)
    inside = 0.9 * faces + np.sqrt(0.19) * ends < ndtri(np.array(chances))[:, None]
    return inside, minutes


@pytest.mark.parametrize("name", list(MADE_UP))
def test_the_choice_hardly_depends_on_the_draw(name):
    """In 95 draws of 100 the same paper, sixteen members first."""
    want = MADE_UP[name][2]
    first = spread_over(64, 16)
    found = []
    for seed in range(200):
        inside, minutes = made_up_trials(name, seed)
        left = still_open(list(inside[:, first]), list(minutes[:, first]))
        found.append(left[choose_paper(inside[left], minutes[left])[0]])
    assert np.mean(np.array(found) == want) >= 0.95


def test_what_is_clearly_better_depends_on_how_many_were_worked():
    """By hand: chances of 0.9 and 0.6 differ by 0.3, two deviations are 0.14 on 64 members and 0.40 on 8."""
    assert clearly_better(0.9, 0.6, 64) and not clearly_better(0.9, 0.6, 8)
    assert not clearly_better(0.6, 0.9, 64)
    assert not clearly_better(0.49 + CLEARLY, 0.5, 10_000) and clearly_better(0.51 + CLEARLY, 0.5, 10_000)


def test_trials_say_what_was_tried_and_the_start_can_be_stated():
    crew = open_crew(head(ALL[1:5]), members=8, seed=0)
    found = choose_first(crew)
    told, alike, trial = found.trials, found.alike, found.taken
    assert [t.paper for t in told] == ["P80", "P120", "P180", "P240"]
    taken = crew.scenario.paper.grits[trial.first].name
    assert taken in alike
    (own,) = [t for t in told if t.paper == taken]
    assert own.quicker == 0.5 and own.minutes.p50 == pytest.approx(np.median(trial.minutes))
    assert all(t.tried == 0 or 0.0 <= (t.quicker or 0.0) <= 1.0 for t in told)
    stated = open_crew(starting_on(crew.scenario, "p240"), members=8, seed=0)
    found = choose_first(stated)
    told, alike, trial = found.trials, found.alike, found.taken
    assert alike == ("P240",) and stated.scenario.paper.grits[trial.first].name == "P240"
    assert len(told) == 4
    with pytest.raises(InputError, match="--start P500: the scenario has P80, P120, P180, P240"):
        starting_on(crew.scenario, "P500")


@pytest.mark.parametrize("name", ["two-cylinder-head", "inlet-flange", "thin-pump-cover"])
def test_a_paper_is_tried_about_as_far_as_most_take(name):
    """Not several times as far, where its rows would have to keep their error."""
    scenario = load(name)
    crew = trial_crew(open_crew(scenario, members=16, seed=0), 16)
    for first, grit in enumerate(scenario.paper.grits):
        stops = try_paper(crew, first).stops
        assert np.median(stops) <= foreseen(crew, grit) <= 2.0 * np.percentile(stops, 90)


def test_a_paper_on_which_nobody_comes_down_is_tried_as_far_as_flatness_says():
    scenario = replace(HEAD, part=replace(HEAD.part, limit=0.1 * UM))
    crew = trial_crew(open_crew(scenario, members=8, seed=0), 8)
    grit = scenario.paper.grits[0]
    assert foreseen(crew, grit) == first_guess(crew, grit)


def test_a_paper_far_slower_is_only_estimated():
    crew = open_crew(head([grits.find("P120"), grits.find("P1200")]), members=8, seed=0)
    rough = [rough_minutes(crew, i) for i in range(2)]
    assert rough[1] > 4.0 * rough[0]
    told = choose_first(crew).trials
    assert told[1].tried == 0 and told[1].chance_both is None and told[1].minutes.p50 == rough[1]


def test_the_start_in_a_file_is_one_of_its_papers():
    text = 'title = "x"\ninvented = true\n[part]\nlength = 100\nwidth = 50\nmetal = "A356"\nlimit = 50\n'
    text += "mass = 1\n[paper]\n"
    found = load_text(text + 'grits = ["P80", "P120"]\nstart = "P120"\n', "x", require_readings=False)
    assert found.paper.start == grits.find("P120")
    with pytest.raises(Exception, match=r"one of paper\.grits: P80, P120"):
        load_text(text + 'grits = ["P80", "P120"]\nstart = "P240"\n', "x", require_readings=False)


# ---- what it costs


def test_minutes_are_strokes_turns_brushings_and_sheets():
    scenario = replace(
        head(), paper=replace(head().paper, brush_every=40, sheet_every=100),
        turning=replace(HEAD.turning, every=50),
    )  # fmt: skip
    pace = np.array([40.0, 20.0])
    papers = [(grits.find("P80"), np.array([200.0, 201.0])), (grits.find("P120"), np.array([30.0, 30.0]))]
    found = count_effort(scenario, middle(scenario), papers, pace)
    assert found.strokes.tolist() == [230.0, 231.0]
    assert found.turns.tolist() == [3.0, 4.0] and found.brushings.tolist() == [4.0, 5.0]
    assert found.sheets.tolist() == [3.0, 4.0]
    want = found.strokes / pace + TURN_MINUTES * found.turns + 0.25 * found.brushings + 3.0 * found.sheets
    assert found.minutes == pytest.approx(want)
    assert found.stroke_minutes == pytest.approx(found.strokes / pace)
    assert times([0, 1], 0).tolist() == [0.0, 0.0]
