"""The survey: what it infers, what it says, and that it says the same twice."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from handlap.sim.common.errors import ScenarioError
from handlap.sim.common.grid import make_grid
from handlap.sim.common.outline import Outline, circle
from handlap.sim.face.face_ensemble import infer_faces, infer_from_lines
from handlap.sim.face.face_numbers import FaceNumbers, bend_components, depth_to_clear, name_shapes, widened
from handlap.sim.face.face_prior import FaceBasis
from handlap.sim.face.flatness import minimum_zone
from handlap.sim.face.leaf_readings import read_face, read_line
from handlap.sim.face.next_line import best_next_line
from handlap.sim.face.straightedge import FaceLine, sample_lines, standard_lines
from handlap.sim.face.survey import limit_verdict, survey_face
from handlap.sim.face.survey_sampler import agreement, gather
from handlap.sim.job.scenario import HeightTable, Part, Readings, Station, StraightedgeLine
from handlap.sim.job.scenario_file import load, read_text
from handlap.sim.materials.metals import METALS

LENGTH, WIDTH = 0.24, 0.14
OUTLINE = Outline.rectangular(LENGTH, WIDTH, (circle(-0.05, 0.0, 0.07), circle(0.05, 0.0, 0.07)))
LEAVES = np.array([20, 30, 40, 50, 60, 80, 100, 120, 150, 200, 250, 300, 400]) * 1e-6


def u_of(p):
    return 2.0 * p[:, 0] / LENGTH


def v_of(p):
    return 2.0 * p[:, 1] / WIDTH


def hollow(p):
    return 135e-6 * u_of(p) ** 2


def twist(p):
    return 60e-6 * u_of(p) * v_of(p)


def crown(p):
    return -120e-6 * u_of(p) ** 2


def a_part(limit=50e-6, limit_by="straightedge", outline=OUTLINE):
    metal = next(iter(METALS.values()))
    return Part("test piece", outline, metal, 20.0, (0.0, 0.0), limit, limit_by, None)


def read(face, **how):
    how = {"feel": 4e-6, "seed": 1, **how}
    return Readings(read_face(OUTLINE, face, standard_lines(OUTLINE), LEAVES, **how))


@pytest.fixture(scope="module")
def of_hollow():
    return survey_face(a_part(), read(hollow), count=120)


def test_hollow_is_found_with_its_size(of_hollow):
    s = of_hollow
    assert s.ensemble.converged
    assert s.shape.word == "hollow"
    assert s.bands.flatness.p05 < 135e-6 < s.bands.flatness.p95
    assert s.bands.straightedge.p05 < 135e-6 < s.bands.straightedge.p95
    # Mean depth to clear a hollow of height c is c/3 (closed form, full rectangle: 45 µm); the
    # bores take metal from the low middle, so that here it is a little more.
    assert s.bands.depth_to_clear.p05 < 50e-6 < s.bands.depth_to_clear.p95
    assert s.bands.bow_along.p05 < -135e-6 < s.bands.bow_along.p95
    assert "hollow along" in s.shape.words
    assert s.verdict.answer == "no" and s.verdict.chance == 0.0


def test_map_has_the_face_within_its_own_uncertainty(of_hollow):
    s = of_hollow
    truth = hollow(s.grid.points)
    flat = np.column_stack([np.ones(s.grid.u.size), s.grid.points])
    root = np.sqrt(s.grid.area)
    truth = truth - flat @ np.linalg.lstsq(flat * root[:, None], truth * root, rcond=None)[0]
    off = np.abs(s.mean_map - truth) / s.sd_map
    assert np.mean(off < 2.5) > 0.9
    assert np.nanmax(s.grid.as_map(s.sd_map)) < 60e-6


def test_crown_is_held_level_and_found():
    readings = read(crown)
    assert [line.held for line in readings.lines[:2]] == ["level", "level"]
    s = survey_face(a_part(), readings, count=120)
    assert s.shape.word == "crowned"
    assert s.bands.flatness.p05 < 120e-6 < s.bands.flatness.p95
    assert s.numbers.bow_along.mean() > 0.0


def test_twist_is_found_and_its_limit_cannot_be_told():
    # Minimum zone 120 µm, but a straightedge shows 60: at a limit of 85 the senses disagree.
    leaves = np.arange(10, 150, 10) * 1e-6
    lines = read_face(OUTLINE, twist, standard_lines(OUTLINE), leaves, stations=13)
    s = survey_face(a_part(limit=85e-6), Readings(lines), count=120)
    assert s.shape.word == "twisted"
    assert np.median(s.numbers.twist) == pytest.approx(120e-6, rel=0.2)
    assert s.verdict.answer == "cannot tell"
    assert "disagree" in s.verdict.reason


def test_same_seed_same_answer_another_seed_another_draw():
    part, readings = a_part(), read(hollow)
    points = make_grid(OUTLINE, cells=200).points
    first = infer_faces(part, readings, count=40, seed=5).heights_at(points)
    again = infer_faces(part, readings, count=40, seed=5).heights_at(points)
    other = infer_faces(part, readings, count=40, seed=6).heights_at(points)
    assert np.array_equal(first, again)
    assert not np.allclose(first, other)


def test_bands_of_two_seeds_agree():
    first, other = (survey_face(a_part(), read(hollow), count=200, seed=s).bands.flatness for s in (0, 1))
    # 200 nearly independent draws: the 5 % point of the log is known to some 2.1·sd/√200.
    spread = math.log(first.p95 / first.p05) / 3.29
    for a, b in ((first.p05, other.p05), (first.p50, other.p50), (first.p95, other.p95)):
        assert abs(math.log(a / b)) < 5.0 * 2.1 * spread * math.sqrt(2.0 / 200.0)


def test_faces_are_the_same_on_any_grid():
    ensemble = infer_faces(a_part(), read(hollow), count=10, seed=2)
    points = make_grid(OUTLINE, cells=150).points
    whole = ensemble.heights_at(points)
    assert ensemble.heights_at(points[40:50]) == pytest.approx(whole[:, 40:50], abs=1e-12)
    near = ensemble.heights_at(points + np.array([1e-6, 0.0]))
    assert np.abs(near - whole).max() < 1e-6
    assert whole.shape == (10, len(points))


def test_one_face_is_a_plausible_one():
    one = infer_faces(a_part(), read(hollow), count=1, seed=0)
    p = make_grid(OUTLINE, cells=300)
    assert np.ptp(one.heights_at(p.points)) == pytest.approx(135e-6, rel=0.35)


def with_station(readings, line, station, goes, stops):
    lines = list(readings.lines)
    stations = list(lines[line].stations)
    stations[station] = replace(stations[station], goes=goes, stops=stops)
    lines[line] = replace(lines[line], stations=tuple(stations))
    return replace(readings, lines=tuple(lines))


def test_a_misread_station_is_named_and_not_dropped():
    readings = read(hollow)
    middle = len(readings.lines[0].stations) // 2
    assert readings.lines[0].stations[middle].goes == pytest.approx(120e-6)
    s = survey_face(a_part(), with_station(readings, 0, middle, 20e-6, 30e-6), count=120)
    assert [(c.line, c.at) for c in s.contradictions] == [
        ("long near", readings.lines[0].stations[middle].at)
    ]
    assert s.contradictions[0].chance > 0.5
    assert "does not fit its neighbours: read again" in s.contradictions[0].words


def test_good_readings_are_not_called_contradictions(of_hollow):
    assert of_hollow.contradictions == ()


def test_a_slip_of_the_decimal_point_is_named():
    readings = read(hollow)
    station = readings.lines[5].stations[1]
    s = survey_face(
        a_part(), with_station(readings, 5, 1, station.goes * 10.0, station.stops * 10.0), count=120
    )
    assert (s.contradictions[0].line, s.contradictions[0].at) == (readings.lines[5].name, station.at)


def test_known_bow_of_the_straightedge_is_taken_out():
    """A straightedge hollow by 30 µm on a flat face shows 30 µm everywhere in the middle."""
    lines = []
    for line in standard_lines(OUTLINE):
        at = np.array([0.05, 0.25, 0.5, 0.75, 0.95]) * line.length
        start, way = np.array(line.start), np.array(line.end) - np.array(line.start)
        gap = 30e-6 * 4.0 * (at / line.length) * (1.0 - at / line.length)
        stations = tuple(
            Station(float(a), float(LEAVES[LEAVES <= g].max(initial=0.0)), float(LEAVES[LEAVES > g].min()))
            for a, g in zip(at, gap, strict=True)
            if OUTLINE.contains([start + a / line.length * way])[0]
        )
        lines.append(StraightedgeLine(line.name, line.start, line.end, "rest", stations))
    blind = survey_face(a_part(), Readings(tuple(lines)), count=100)
    knowing = survey_face(a_part(), Readings(tuple(lines), edge_bow=30e-6), count=100)
    assert knowing.bands.flatness.p50 < 0.8 * blind.bands.flatness.p50
    assert abs(knowing.bands.bow_along.p50) < 12e-6 < abs(blind.bands.bow_along.p50)


def test_an_uncertain_straightedge_widens_the_band():
    lines = read(hollow).lines
    sure = survey_face(a_part(), Readings(lines), count=200).bands.flatness
    unsure = survey_face(a_part(), Readings(lines, edge_sd=20e-6), count=200).bands.flatness
    assert unsure.p95 - unsure.p05 > 1.2 * (sure.p95 - sure.p05)


def test_no_leaf_goes_gives_a_ceiling_and_says_so():
    lines = read_face(OUTLINE, lambda p: 0.0 * p[:, 0], standard_lines(OUTLINE), [30e-6, 50e-6])
    s = survey_face(a_part(limit=100e-6), Readings(lines), count=120)
    assert any("ceiling" in note for note in s.notes)
    assert s.bands.flatness.p95 < 100e-6
    assert s.verdict.answer == "yes"
    assert s.next_line is None or s.next_line.explained < 0.9


def test_stations_over_openings_are_left_out_and_named():
    over = StraightedgeLine("middle", (-0.12, 0.0), (0.12, 0.0), "rest", (Station(0.07, 0.0, 30e-6),))
    lines = (*read(hollow).lines, over)
    evidence = gather(OUTLINE, lines)
    assert evidence.lost == ("middle at 70.0 mm is not on metal",)
    assert any("70.0 mm" in note for note in infer_faces(a_part(), Readings(lines), count=20).notes)


def test_one_more_line_is_proposed_where_faces_differ():
    lines = tuple(
        read_line(OUTLINE, hollow, line, LEAVES, np.linspace(0.01, line.length - 0.01, 9))
        for line in standard_lines(OUTLINE)[:2]
    )
    readings = Readings(lines)
    ensemble, evidence, _ = infer_from_lines(OUTLINE, readings, count=200, seed=0)
    grid = make_grid(OUTLINE, cells=500)
    flatness = np.ptp(ensemble.heights_at(grid.points), axis=1)
    extra = best_next_line(OUTLINE, ensemble, evidence, flatness)
    assert extra is not None
    assert 0.0 < extra.factor <= 1.0
    assert extra.factor == pytest.approx(math.sqrt(1.0 - extra.explained))
    assert extra.helps == (extra.explained >= 0.2)
    assert extra.helps
    known = {(line.start, line.end) for line in lines}
    assert (extra.line.start, extra.line.end) not in known


def test_agreement_of_chains_is_one_when_alike_and_great_when_apart():
    rng = np.random.default_rng(0)
    alike = rng.standard_normal((4, 500))
    assert agreement(alike) == pytest.approx(1.0, abs=0.02)
    assert agreement(alike + np.array([[0.0], [0.0], [0.0], [3.0]])) > 1.3


def test_chains_that_do_not_agree_are_reported(monkeypatch):
    monkeypatch.setattr("handlap.sim.face.survey_sampler.agreement", lambda chains: 1.4)
    # How long they are run on is held in test_told.py.
    for name, few in (("RUN_ON", 0), ("AFRESH_ROUNDS", 1), ("AFRESH_DRAWS", 25)):
        monkeypatch.setattr(f"handlap.sim.face.survey_sampler.{name}", few)
    s = survey_face(a_part(), read(hollow), count=40)
    assert not s.ensemble.converged
    assert s.verdict.answer == "cannot tell"
    assert any("did not settle" in note for note in s.notes)


# ------------------------------------------------------------------ numbers of known faces


def test_bends_of_known_faces():
    """Closed form: bow c of a parabola, twist 2·e of e·U·V; a plane adds nothing."""
    grid = make_grid(Outline.rectangular(LENGTH, WIDTH), cells=800)
    p = grid.points
    h = (
        1e-3 * p[:, 0]
        - 2e-3 * p[:, 1]
        - 30e-6 * u_of(p) ** 2
        + 20e-6 * v_of(p) ** 2
        + 9e-6 * u_of(p) * v_of(p)
    )
    along, across, bend = bend_components(grid, h[None, :])
    assert [along[0], across[0], bend[0]] == pytest.approx([30e-6, -20e-6, 18e-6], rel=1e-9)


@pytest.mark.parametrize(("face", "share"), [(hollow, 1.0 / 3.0), (twist, 0.5), (crown, 2.0 / 3.0)])
def test_mean_depth_to_clear_is_a_third_a_half_and_two_thirds(face, share):
    """Closed form: hollow c/3, twist c/2, crown 2c/3 of the minimum zone c (λ → 0)."""
    grid = make_grid(Outline.rectangular(LENGTH, WIDTH), cells=3000)
    h = face(grid.points)[None, :] + 3e-4 * grid.u
    zone = minimum_zone(grid.u, grid.v, h[0]).width
    assert depth_to_clear(grid, h)[0] == pytest.approx(share * zone, rel=0.01)


def test_depth_to_clear_is_the_linear_programme():
    """Independent route: the highest plane under all points, by scipy's linear programme."""
    from scipy.optimize import linprog

    grid = make_grid(OUTLINE, cells=200)
    rng = np.random.default_rng(4)
    faces = FaceBasis(OUTLINE).draw(6, 2) @ FaceBasis(OUTLINE).at(grid.points).T
    faces[3:] += 1e-5 * rng.standard_normal(faces[3:].shape)
    weight = grid.area / grid.area.sum()
    flat = np.column_stack([np.ones(grid.u.size), grid.u / LENGTH, grid.v / WIDTH])
    for h, found in zip(faces, depth_to_clear(grid, faces), strict=True):
        best = linprog(-(weight @ flat), A_ub=flat, b_ub=h * 1e6, bounds=[(None, None)] * 3)
        assert found == pytest.approx(weight @ h + best.fun * 1e-6, rel=1e-5, abs=1e-10)


def test_words_for_shapes():
    micron = 1e-6 * np.array([[-80, -10, 10], [80, 10, -10], [5, 5, 90], [60, -50, 0], [60, 0, 60]]).T
    assert name_shapes(*micron) == ["hollow", "crowned", "twisted", "mixed", "mixed"]


def numbers(zone, edge):
    blank = np.zeros(len(zone))
    return FaceNumbers(np.array(zone), np.array(zone), np.array(edge), blank, blank, blank, blank)


@pytest.mark.parametrize(
    ("zone", "edge", "limit_by", "answer"),
    [
        (20e-6, 15e-6, "zone", "yes"),
        (20e-6, 15e-6, "straightedge", "yes"),
        (90e-6, 80e-6, "zone", "no"),
        (90e-6, 30e-6, "zone", "cannot tell"),
        (90e-6, 30e-6, "straightedge", "cannot tell"),
    ],
)
def test_verdict_follows_the_sense_of_the_limit(zone, edge, limit_by, answer):
    spread = np.exp(0.05 * np.random.default_rng(0).standard_normal(200))
    verdict = limit_verdict(numbers(zone * spread, edge * spread), 50e-6, limit_by)
    assert verdict.answer == answer
    assert verdict.reason


def test_too_close_to_call_is_cannot_tell():
    spread = np.exp(0.2 * np.random.default_rng(0).standard_normal(200))
    verdict = limit_verdict(numbers(50e-6 * spread, 50e-6 * spread), 50e-6, "zone")
    assert verdict.answer == "cannot tell"
    assert 0.3 < verdict.chance < 0.7


def test_widening_keeps_the_median_and_stretches_the_log():
    x = np.exp(np.linspace(-1.0, 1.0, 101))
    assert np.log(widened(x, 1.5)) == pytest.approx(1.5 * np.log(x), abs=1e-12)
    lower = np.log(widened(x, 1.0, 2.0))
    assert lower[0] == pytest.approx(-2.0) and lower[-1] == pytest.approx(1.0)


# ------------------------------------------------------------------ the prior


def test_prior_shapes_carry_no_tilt_and_are_smooth_anywhere():
    basis = FaceBasis(Outline.rectangular(LENGTH, WIDTH))
    assert basis.count == 93 and basis.spread.shape == (93, 11)
    uu, vv = np.meshgrid(np.linspace(-0.12, 0.12, 41), np.linspace(-0.07, 0.07, 25))
    p = np.column_stack([uu.ravel(), vv.ravel()])
    middling = basis.at(p)[:, 12:77]
    flat = np.column_stack([np.ones(len(p)), p])
    tilt = flat @ np.linalg.lstsq(flat, middling, rcond=None)[0]
    # Exactly none on the inner grid, little on this finer one.
    assert np.mean(tilt**2) < 0.02 * np.mean(middling**2)
    step = basis.at(p + np.array([1e-5, 0.0]))[:, :77] - basis.at(p)[:, :77]
    assert np.abs(step).max() < 0.01


def test_prior_edges_roll_down_rather_than_up():
    basis = FaceBasis(Outline.rectangular(LENGTH, WIDTH))
    coefficients = basis.draw(4000, 0)
    edge = np.array([[0.0, 0.07]])
    roll = (coefficients[:, 77:] @ basis.at(edge)[:, 77:].T)[:, 0]
    assert 0.6 < np.mean(roll < 0.0) < 0.95


def test_small_parts_have_narrower_roll_off():
    basis = FaceBasis(Outline.rectangular(0.05, 0.02))
    assert np.abs(basis.at(np.array([[0.0, 0.0]]))[:, 77:]).max() == 0.0


def test_nothing_to_go_by_is_refused():
    with pytest.raises(ValueError, match="no readings"):
        infer_faces(a_part(), Readings())
    lost = StraightedgeLine("middle", (-0.12, 0.0), (0.12, 0.0), "rest", (Station(0.07, 0.0, 30e-6),))
    with pytest.raises(ValueError, match="on metal"):
        infer_faces(a_part(), Readings((lost,)))


def test_line_and_sample_share_their_points():
    line = FaceLine("one", (-0.1, 0.05), (0.1, 0.05))
    lines = sample_lines(OUTLINE, [line], [[0.033]])
    assert np.abs(lines.position - 0.033).min() < 1e-12


def test_a_flat_face_has_no_shape():
    flat = make_grid(OUTLINE, cells=60).points
    table = HeightTable(flat[:, 0], flat[:, 1], np.zeros(len(flat)), 0.0, "invented")
    s = survey_face(a_part(), Readings(table=table), count=20)
    assert s.shape.word == "cannot tell"
    assert "too little to have a shape" in s.shape.words
    assert s.verdict.answer == "yes"


def test_a_longer_straightedge_lays_less_of_its_bow_on_a_line():
    """Closed form: the bow of an arc goes with the square of the length that lies on the line."""
    line = StraightedgeLine("long", (-0.1, 0.0), (0.1, 0.0), "rest", (Station(0.1, 0.0, 30e-6),))
    face = Outline.rectangular(0.24, 0.14)
    shapes = [
        gather(face, [line], 0.0, bow, length) for bow, length in ((40e-6, 0.4), (10e-6, None), (10e-6, 0.2))
    ]
    arcs = [found.lines.edge_shape(found.bow) for found in shapes]
    assert arcs[0].max() == pytest.approx(10e-6, rel=1e-3)
    for arc in arcs[1:]:
        np.testing.assert_allclose(arc, arcs[0], atol=1e-12)


def test_a_survey_needs_no_mass(tmp_path):
    text = read_text("two-cylinder-head")
    without = "".join(line for line in text.splitlines(True) if not line.startswith("mass"))
    assert without != text
    (tmp_path / "head.toml").write_text(without, encoding="utf-8")
    job = load(tmp_path / "head.toml", require_mass=False)
    assert any(key == "part.mass" and "guessed" in basis for key, _, basis in job.assumed_plain)
    with pytest.raises(ScenarioError, match=r"part\.mass: missing"):
        load(tmp_path / "head.toml")
