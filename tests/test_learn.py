"""Learning from a log: replay, evidence, and what the smoother does with them."""

from __future__ import annotations

import functools
from dataclasses import replace

import numpy as np
import pytest
from bench_truth import NOW, make_truth, write_log
from jobs import QUARTER_TURNS, hollow, job, middle
from scipy.stats import norm, truncnorm

from handlap.sim.bench.job_log import Entry, JobLog, part_mark
from handlap.sim.bench.learn import State, first_state, learn, ready_log
from handlap.sim.bench.log_evidence import DyeLook, Leaves, Weighing, compare, gather_looks, shown
from handlap.sim.bench.replay import lay_out_log, replay
from handlap.sim.face.face_ensemble import infer_faces
from handlap.sim.job.scenario import Uncertain
from handlap.sim.job.scenario_file import load
from handlap.sim.lapping import gauge
from handlap.sim.lapping.conditions import Stage
from handlap.sim.lapping.dye import DyeDraw
from handlap.sim.lapping.dye_picture import of_face, of_shares, zones_of
from handlap.sim.lapping.ensemble import (
    HAND_SCORES,
    SCORES,
    conditions_at,
    draw_plate_scores,
    draw_scores,
)
from handlap.sim.lapping.lap import run_stage, stage_layout
from handlap.sim.lapping.set_up import set_up
from handlap.sim.materials.grits import find
from handlap.sim.materials.mass import SWARF_LOST

UM = 1e-6
MEMBERS = 48
"""Where 640 strokes are carried again and again [-]."""


def block(number: int, strokes: int = 100, **more) -> Entry:
    return Entry(number, 0, NOW, strokes=strokes, paper="P80", **more)


# ---- replay


@pytest.mark.parametrize("turns", [{}, {"states": QUARTER_TURNS, "turn_every": 50}])
def test_blocks_on_one_sheet_are_one_stage(turns):
    """A log of four blocks is the stage of 400 strokes with looks, brushings and sheets in it."""
    face = hollow(60 * UM, 0.12)
    scenario = job(ages=True, brush_every=100, sheet_every=200, reach=0.02, face=face, **turns)
    rig = set_up(scenario, cells=300)
    before = face(rig.grid.u, rig.grid.v)
    entries = [
        block(1),
        block(2, brushed=True),
        block(3, brushed=True, new_sheet=True),
        block(4, brushed=True),
    ]
    course = lay_out_log(rig, entries, middle(scenario), before, seed=3)
    states = replay(rig, course, before, middle(scenario))
    stage = Stage(scenario.paper.grits[0], 400, turns.get("turn_every", 0), 100, 200, (100, 200, 300, 400))
    rows = sum(block.layout.x.size for block in course.blocks)
    quad = 4.0 * 400 / rows
    layout = stage_layout(rig, stage, quad_strokes=quad + 1e-9, seed=3)
    assert layout.x.size == rows
    run = run_stage(rig, before, middle(scenario), stage, layout)
    np.testing.assert_array_equal(states[1:], run.heights)


def test_brushing_inside_a_block_is_that_between_two():
    scenario = job(ages=True, face=hollow(60 * UM, 0.12))
    rig = set_up(scenario, cells=300)
    before = np.zeros(rig.grid.u.size)
    one = [block(1, 200, brush_every=100, turn_every=0)]
    two = [block(1, turn_every=0), block(2, brushed=True, turn_every=0)]
    ends = []
    for entries in (one, two):
        course = lay_out_log(rig, entries, middle(scenario), before, seed=0)
        ends.append(replay(rig, course, before, middle(scenario))[-1])
    np.testing.assert_allclose(ends[0], ends[1], atol=0.3 * UM)


def test_a_change_of_paper_is_a_new_run_and_a_note_changes_nothing():
    scenario = job(ages=True, face=hollow(60 * UM, 0.12))
    rig = set_up(scenario, cells=200)
    before = np.zeros(rig.grid.u.size)
    entries = [block(1), Entry(2, 0, NOW, note="tea"), Entry(3, 0, NOW, strokes=50, paper="P120"), block(4)]
    course = lay_out_log(rig, entries, middle(scenario), before, seed=0)
    assert [grit.name for grit in course.papers] == ["P80", "P120", "P80"]
    assert course.state == (1, 1, 2, 3)
    assert course.strokes == (100, 100, 150, 250)
    assert replay(rig, course, before, middle(scenario)).shape[0] == course.states == 4


# ---- evidence


@functools.cache
def head():
    return load("two-cylinder-head")


@functools.cache
def setting():
    """A known face worked in three blocks, its log with every kind of look, and the workshop."""
    scenario = head()
    faces = infer_faces(scenario.part, scenario.readings, count=16, seed=5)
    truth = make_truth(scenario, lambda p: np.asarray(faces.heights_at(p))[3], seed=1, cells=250)
    entries = [block(i + 1, 75, brushed=True) for i in range(3)]
    log = write_log(truth, entries, {0, 2})
    own = infer_faces(scenario.part, truth.scenario.readings, count=24, seed=2)
    ready = ready_log(truth.scenario, log, own, cells=250, seed=0)
    prior = first_state(ready, own, draw_scores(24, 0), draw_plate_scores(24, 0))
    return truth, log, ready, prior


def test_looks_are_gathered_between_the_right_states():
    part = head().part
    rig = set_up(head(), cells=250)
    entries = [
        Entry(1, 0, NOW, part_mass=3.4, scale=1e-5, dyed=True),
        block(2, swarf=0.5e-3, scale=1e-5, dye_left=0.4),
        block(3),
        block(4, part_mass=3.398, swarf=1.0e-3, scale=1e-5, dye_left=0.1),
    ]
    course = lay_out_log(rig, entries, middle(head()), np.zeros(rig.grid.u.size), seed=0)
    looks = gather_looks(part, entries, course, {})
    weighed = [(k.words, k.first, k.last) for k in looks if isinstance(k, Weighing)]
    assert weighed == [("swarf", 0, 1), ("swarf", 1, 3), ("weight of the part", 0, 3)]
    assert [(k.first, k.last) for k in looks if isinstance(k, DyeLook)] == [(0, 1), (0, 3)], (
        "as long as it is not renewed"
    )


def test_dye_is_judged_by_the_face_it_was_put_on():
    """Before the first stroke the whole Ra of the paper; on a face that worn paper left, 0.6 of it."""
    part = head().part
    rig = set_up(head(), cells=250)
    entries = [block(1, dye_left=0.4, dye_faded=0.9, dyed=True), block(2, dye_seen="fading everywhere")]
    course = lay_out_log(rig, entries, middle(head()), np.zeros(rig.grid.u.size), seed=0)
    looks = [look for look in gather_looks(part, entries, course, {}) if isinstance(look, DyeLook)]
    rough = find("P80").roughness_median(part.metal)
    assert [look.roughness / rough for look in looks] == pytest.approx([1.0, 0.6])
    assert looks[0].picture.seen.tolist() == pytest.approx([0.6, 0.9])
    assert looks[1].picture.seen.tolist() == [0.0] * 15 + [1.0] * 15


def test_what_a_look_shows_is_the_closed_form():
    """A layer of 20 µm: its mass is density · area · depth, all dye is gone; of 1 µm, all is there."""
    part = head().part
    rig = set_up(head(), cells=250)
    n = rig.grid.u.size
    states = np.zeros((2, 2, n))
    states[0, 1], states[1, 1] = -20 * UM, -1 * UM
    dyes = (
        DyeDraw(fades=2 * UM, film=4 * UM, valleys=3.0),
        DyeDraw(fades=0.5 * UM, film=4 * UM, valleys=0.0),
    )
    weighing = Weighing(1, "swarf", 0, 1, 1e-3, 1e-5, 0.9)
    mass = shown(weighing, rig.grid, part, states, dyes)[:, 0]
    assert mass == pytest.approx(0.9 * 2680 * part.outline.area * np.array([20, 1]) * UM)
    share = DyeLook(1, "dye", 0, 1, of_face(0.0, None), 2 * UM)
    np.testing.assert_allclose(shown(share, rig.grid, part, states, dyes), [[1.0, 1.0], [0.0, 1.0]])
    raster = DyeLook(1, "dye", 0, 1, of_shares(np.full((3, 5), 0.5)), 2 * UM)
    zones = shown(raster, rig.grid, part, states, dyes)
    assert zones.shape == (2, 30)
    np.testing.assert_allclose(zones[0], 1.0)
    np.testing.assert_allclose(zones[1], np.repeat([0.0, 1.0], 15))


def test_the_raster_counts_rows_from_far_and_columns_from_left():
    rig = set_up(head(), cells=250)
    where, _ = zones_of(rig.grid)
    u, v = rig.grid.u[: rig.grid.n_cells], rig.grid.v[: rig.grid.n_cells]
    far_left = np.argmin(u - v)
    near_right = np.argmax(u - v)
    assert where[far_left] == 0
    assert where[near_right] == 14


@pytest.mark.parametrize(("low", "high"), [(30, 40), (0, 30), (80, np.inf), (10, 20)])
def test_an_interval_moves_a_gap_as_its_own_truncation_does(low, high):
    """Moments of a normal gap given an interval: a truncated normal (Johnson & Kotz), by scipy."""
    from handlap.sim.bench import log_evidence

    _, _, ready, _ = setting()
    leaves = next(look for look in ready.looks if isinstance(look, Leaves))
    rng = np.random.default_rng(0)
    gap = 35.0 + 12.0 * rng.standard_normal(20_000)
    gap = (35.0 + 12.0 * (gap - gap.mean()) / gap.std()) * UM
    one = replace(
        leaves,
        evidence=replace(
            leaves.evidence, lo=np.array([low * UM if low else -1.0]), hi=np.array([min(high * UM, 1.0)])
        ),
    )
    value, variance, _ = log_evidence._intervals(one, gap[:, None])
    sd = one.sd
    a, b = ((x * UM - 35 * UM) / np.hypot(12 * UM, sd) for x in (low if low else -np.inf, high))
    seen = truncnorm(a, b, loc=35 * UM, scale=np.hypot(12 * UM, sd))
    gain = (12 * UM) ** 2 / ((12 * UM) ** 2 + sd**2)
    exact_mean = 35 * UM + gain * (seen.mean() - 35 * UM)
    exact_var = (12 * UM) ** 2 * (1 - gain) + gain**2 * seen.var()
    weight = (12 * UM) ** 2 / ((12 * UM) ** 2 + variance[0])
    mean = 35 * UM + weight * (value[0] - 35 * UM)
    var = (12 * UM) ** 2 * (1 - weight)
    assert variance[0] >= sd**2 * (1 - 1e-9)
    if variance[0] > sd**2 * (1 + 1e-9):
        assert mean == pytest.approx(exact_mean, abs=0.05 * UM)
        assert var == pytest.approx(exact_var, rel=0.02)
    assert norm.cdf(b) > norm.cdf(a)


# ---- the smoother


def learnt_of_one_figure(monkeypatch, seen, error, predicted, *, seed, dyes=0.0):
    """What 4000 members learn of a figure seen with an error, ``predicted`` of first scores and dyes."""
    from handlap.sim.bench import learn as module
    from handlap.sim.bench.log_evidence import Compared

    rng, one = np.random.default_rng(seed), np.ones(1)
    scores = rng.standard_normal((4000, len(SCORES)))
    prior = State(scores, np.zeros((4000, 1)), dyes * rng.standard_normal((4000, 3)), np.zeros((4000, 2)))

    def compared(looks, grid, part, states, dyes):
        figures = predicted(states[:, :, 0], dyes)
        return Compared(seen * one, error**2 * one, figures, np.zeros(1, dtype=np.int64), 0.0 * one)

    monkeypatch.setattr(module, "_carry", lambda w, state: state.scores[:, :1, None])
    monkeypatch.setattr(module, "compare", compared)
    monkeypatch.setattr(module, "_quantities", lambda *a: ())
    monkeypatch.setattr(module, "_doubts", lambda *a: ())
    return learn(setting()[2], prior)


def test_a_linear_gaussian_problem_is_solved_as_bayes_does(checked, monkeypatch):
    """One score seen with an error: posterior mean y/(1 + r), variance r/(1 + r) (closed form)."""
    seen, error = 1.2, 0.5
    found = learnt_of_one_figure(monkeypatch, seen, error, lambda score, dyes: score, seed=1)
    after = found.posterior.scores
    for name, expected, got, tolerance in (
        ("mean", seen / (1 + error**2), after[:, 0].mean(), 0.03),
        ("variance", error**2 / (1 + error**2), after[:, 0].var(), 0.08 * error**2 / (1 + error**2)),
    ):
        checked(
            f"{name} learnt in a linear problem with Gaussian errors",
            expected=expected,
            got=got,
            tolerance=tolerance,
            kind="closed form",
            source="Bayes' rule",
            about="log",
        )
    assert after[:, 1].std() == pytest.approx(1.0, rel=0.05), "what is not seen keeps its spread"
    assert found.effective > 0.95 * 4000


def test_what_is_not_known_of_the_dye_takes_its_share_of_the_news(checked, monkeypatch):
    """A score and the dye's own seen as their sum: of x + z = y ± r the mean of x is y/(2 + r²) (Bayes)."""
    seen, error = 1.8, 0.5

    def both(score, dyes):
        sd = np.log(2.0) / norm.ppf(0.95)
        return score + (np.log([dye.fades / UM for dye in dyes]) / sd)[:, None]

    found = learnt_of_one_figure(monkeypatch, seen, error, both, seed=2, dyes=1.0).posterior
    for name, after in (("paper or hands", found.scores[:, 0]), ("the dye", found.dye_scores[:, 0])):
        for what, expected, got in (
            ("mean", seen / (2 + error**2), after.mean()),
            ("variance", (1 + error**2) / (2 + error**2), after.var()),
        ):
            checked(
                f"{what} learnt of {name} from a dye picture that depends on both",
                expected=expected,
                got=got,
                tolerance=0.05,
                kind="closed form",
                source="Bayes' rule",
                about="dye",
            )


@functools.cache
def learnt():
    _, _, ready, prior = setting()
    return learn(ready, prior)


def test_the_cut_and_the_face_are_learnt_and_the_truth_is_held():
    truth, log, ready, _ = setting()
    found = learnt()
    cut = found.quantities[0]
    assert cut.name == "cut"
    assert cut.ratio < 0.5
    assert cut.standing == "learnt"
    states = truth.carried(list(log.standing), seed=7001)
    flat = gauge.flatness(ready.gauged, found.now)
    true = truth.flatness(states[-1])[0]
    assert flat.min() - 6 * UM < true < flat.max() + 6 * UM
    spread = gauge.flatness(ready.gauged, found.prior_states[:, -1]).std()
    assert flat.std() < 0.6 * spread


def test_what_no_log_can_touch_is_not_claimed():
    ratios = {q.name: q.ratio for q in learnt().quantities}
    assert ratios["friction"] > 0.6
    assert ratios["ageing"] > 0.6
    assert 0.2 < ratios["dye_faded"] <= 1.0 and 0.2 < ratios["dye_gone"] <= 1.0


def test_what_is_told_of_is_what_a_scenario_states_and_the_luck_of_the_papers_used():
    names = [q.name for q in learnt().quantities]
    assert len(names) == len(set(names))
    assert {"loading_floor", "dulling_floor", "brushing", "rate P80", "ageing P80"} <= set(names)
    assert not {"rate P120", "ageing P240", "critical", "stock"} & set(names)


def test_chance_is_no_lesson():
    """Whatever shrank no further than scores that nothing depends on is still assumed."""
    found = learnt().quantities[0]
    assert found.by_chance < 1.0
    lucky = replace(found, ratio=0.78, by_chance=0.75)
    assert lucky.standing == "still our assumption"
    assert replace(lucky, ratio=0.74).standing == "partly learnt"


@functools.cache
def weighed(steps: tuple[int, ...], score: float):
    """What is learnt of the dry head from swarf alone, weighed to the milligram after each of the steps.

    The paper is brushed before the first of them, eight times over on one sheet; its loading floor lies at
    ``score``, all else of the truth in the middle.
    """
    base = head()
    wear = replace(base.wear, loading_floor=dry_floor(), brushing=replace_middle(base.wear.brushing, 0.6))
    base = replace(base, paper=replace(base.paper, wet=False), wear=wear)
    faces = infer_faces(base.part, base.readings, count=MEMBERS, seed=5)
    truth = make_truth(base, lambda p: np.asarray(faces.heights_at(p))[3], seed=1, cells=200)
    scores = np.zeros(len(SCORES))
    scores[SCORES.index("loading_floor")] = score
    truth = replace(truth, conditions=conditions_at(base, scores))
    blocks = [
        block(0, strokes, brushed=place == 0, new_sheet=round_ == place == 0)
        for round_ in range(8)
        for place, strokes in enumerate(steps)
    ]
    states = truth.carried(blocks, seed=7001)
    n = truth.rig.grid.n_cells
    off = -np.diff(states[:, :n] @ truth.rig.grid.area[:n]) * base.part.metal.density
    kept = 1.0 - 0.5 * sum(SWARF_LOST)
    entries = [
        replace(entry, number=i + 1, swarf=round(kept * mass, 6), scale=1e-6)
        for i, (entry, mass) in enumerate(zip(blocks, off, strict=True))
    ]
    log = JobLog(part_mark(base.part), base.part.name, tuple(entries))
    shop = ready_log(base, log, faces, cells=200, seed=2)
    found = learn(shop, first_state(shop, faces, draw_scores(MEMBERS, 2), draw_plate_scores(MEMBERS, 2)))
    return {quantity.name: quantity for quantity in found.quantities}


def replace_middle(quantity: Uncertain, middle: float) -> Uncertain:
    """The same spread about another middle."""
    by = middle / quantity.value
    return replace(quantity, value=middle, low=by * quantity.low, high=by * quantity.high)


def dry_floor() -> Uncertain:
    return replace_middle(head().wear.loading_floor, 0.3)


@pytest.mark.parametrize("score", [1.3, pytest.param(-1.3, marks=pytest.mark.slow)])
def test_weighings_between_two_brushings_teach_the_loading_floor(score):
    """The same 640 strokes on the same sheet teach nothing of it if they are weighed at brushings only."""
    inside, at_brushings = weighed((5, 10, 20, 45), score), weighed((80,), score)
    floor = inside["loading_floor"]
    assert floor.ratio < 0.85 * at_brushings["loading_floor"].ratio
    assert floor.standing == "partly learnt"
    assert at_brushings["loading_floor"].standing == "still our assumption"
    true = float(dry_floor().at(score))
    assert floor.after.p05 < true < floor.after.p95
    assert abs(np.log(floor.after.p50 / true)) < 0.8 * abs(np.log(floor.before.p50 / true))


def test_effective_members_are_counted_and_collapse_is_owned_up_to():
    _, _, ready, prior = setting()
    found = learnt()
    assert 0 < found.effective < found.members
    few = State(prior.scores[:10], prior.plate_scores[:10], prior.dye_scores[:10], prior.before[:10])
    collapsed = learn(ready, few)
    assert collapsed.effective < 5
    assert not collapsed.believed


def test_the_same_seed_learns_the_same():
    _, _, ready, prior = setting()
    np.testing.assert_array_equal(learn(ready, prior).now, learnt().now)


def test_a_slip_in_the_log_is_named():
    truth, log, _, _ = setting()
    wrong = replace(log.entries[2], swarf=50e-3)
    slip = JobLog(part_mark(truth.scenario.part), "head", (*log.entries[:2], wrong))
    own = infer_faces(truth.scenario.part, truth.scenario.readings, count=24, seed=2)
    shop = ready_log(truth.scenario, slip, own, cells=250, seed=0)
    found = learn(shop, first_state(shop, own, draw_scores(24, 0), draw_plate_scores(24, 0)))
    assert any(d.entry == 3 and d.what == "swarf" for d in found.doubts)
    assert not any(d.what == "swarf" for d in learnt().doubts)


def test_without_looks_nothing_is_learnt():
    truth, log, _, _ = setting()
    bare = JobLog(log.part, log.name, tuple(replace(block(i + 1, 75)) for i in range(2)))
    own = infer_faces(truth.scenario.part, truth.scenario.readings, count=16, seed=2)
    shop = ready_log(truth.scenario, bare, own, cells=250)
    found = learn(shop, first_state(shop, own, draw_scores(16, 0), draw_plate_scores(16, 0)))
    assert all(q.ratio == pytest.approx(1.0) for q in found.quantities)
    assert found.effective == 16
    there = compare(shop.looks, shop.rig.grid, truth.scenario.part, found.states, found.posterior.dyes)
    assert there.value.size == 0


def test_a_face_and_numbers_that_are_known_are_not_learnt():
    """An exact table and fixed numbers leave nothing to learn, and the log does not move them."""
    scenario = job(ages=True, face=hollow(60 * UM, 0.12))
    faces = infer_faces(scenario.part, scenario.readings, count=16)
    log = JobLog(part_mark(scenario.part), "job", (block(1, 50, swarf=5e-3, scale=1e-5),))
    shop = ready_log(scenario, log, faces, cells=200)
    scores = draw_scores(16, 0)
    # What no scenario states, the luck of papers and how rate goes with grain, is known here too.
    scores[:, len(HAND_SCORES) :] = 0.0
    prior = first_state(shop, faces, scores, draw_plate_scores(16, 0))
    found = learn(shop, prior)
    assert {q.name for q in found.quantities} <= {"cut", "face"}
    assert found.quantities[0].standing == "still our assumption"
    table = scenario.readings.table
    assert table is not None
    off = np.abs(found.posterior.before - prior.before).max()
    assert off < 2 * UM, "only what lies between the points of the table may move"
    assert [d.what for d in found.doubts] == ["swarf"], "what was weighed cannot be, and is asked about"
