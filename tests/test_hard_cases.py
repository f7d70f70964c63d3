"""Set-ups that strain the pose solver and the contact; each must settle or say why not."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from jobs import HALF_TURNS, UM, crown, hollow, job, lap, middle, twist
from marched import found_pose

from handlap.sim.common.errors import TippingError
from handlap.sim.common.outline import Outline, rectangle
from handlap.sim.lapping import column_kernels
from handlap.sim.lapping.bending import make_bending
from handlap.sim.lapping.conditions import Stage
from handlap.sim.lapping.lap import run_stage, stage_layout
from handlap.sim.lapping.set_up import coordinates, set_up
from handlap.sim.lapping.simulate import simulate


def settled(done):
    """A lap is sound: finite, only downwards, volume as k·W·s, evaluations bounded."""
    assert np.all(np.isfinite(done.after))
    assert np.all(done.removed >= -1e-15)
    assert done.run.removed_volume == pytest.approx(0.045e-9 * done.run.load_sliding, rel=1e-9)
    assert done.run.evaluations < 60 * done.layout.x.size


@pytest.mark.parametrize("bedding", [0.5e-6, 4e-6, 40e-6])
@pytest.mark.parametrize(
    "at", [(0.0, 0.0), (0.24 / 6, 0.0), (0.06, 0.03), (0.1, 0.0), (0.105, 0.055)],
    ids=["middle", "kern's edge", "two axes", "outside the kern", "corner"],
)  # fmt: skip
def test_resultants_from_the_middle_to_the_corner(bedding, at):
    done = lap(job(bedding=bedding, load=100.0, load_at=at), crown(100 * UM, 0.12), 400, rows=80)
    settled(done)


@pytest.mark.parametrize("bedding", [0.5e-6, 40e-6])
def test_resultant_at_the_very_edge_is_held_one_cell_inside(bedding):
    done = lap(job(bedding=bedding, load=100.0, load_at=(0.1199, 0.0)), None, 50, rows=40)
    settled(done)
    assert done.run.clipped == 1.0
    assert done.run.tipped == 0.0
    # Held a cell from the edge, contact is about three cells long.
    deep = done.removed > 0.05 * done.removed.max()
    assert np.min(done.rig.grid.u[deep]) > 0.12 - 8 * done.rig.grid.cell_size


def test_resultant_outside_the_face_is_refused_in_words():
    scenario = job(reach=0.13, face=crown(50 * UM, 0.12))
    with pytest.raises(TippingError, match="hold it lower"):
        simulate(scenario, strokes=10)


def test_wobble_beyond_the_edge_is_held_and_its_share_told():
    done = lap(job(wobble=(0.08, 0.02)), None, 400, rows=400)
    settled(done)
    # Normal scores beyond 120 mm less a cell, at 80 mm along: closed form.
    from scipy.stats import norm

    beyond = 2.0 * norm.sf((0.12 - done.rig.grid.cell_size) / 0.08)
    assert done.run.clipped == pytest.approx(beyond, abs=0.03)
    assert done.run.tipped == 0.0


@pytest.mark.parametrize("bedding", [0.5e-6, 15e-6, 40e-6])
def test_part_that_bridges_a_gap_between_strips(bedding):
    strips = [(-1.0, -0.5, -0.02, 0.5), (0.02, -0.5, 1.0, 0.5)]
    done = lap(job(bedding=bedding, strips=strips, travel=1e-4), None, 2000, rows=80)
    assert np.all(np.isfinite(done.after))
    u = done.rig.grid.u
    assert np.all(done.removed[np.abs(u) < 0.02 - 0.6 * done.rig.grid.cell_size] == 0.0)
    on = (np.abs(u) > 0.025) & (np.abs(u) < 0.119)
    assert np.ptp(done.removed[on]) < 0.02 * done.removed[on].mean()


def test_thin_part_that_bridges_a_gap_bows_into_it():
    """Pressed in the middle over a gap, its lips bear more and the ends less than were it rigid."""
    strips = [(-1.0, -0.5, -0.03, 0.5), (0.03, -0.5, 1.0, 0.5)]
    base = job(length=0.2, width=0.08, press=60.0, strips=strips, travel=1e-4, bedding=10e-6)
    thin = replace(base, part=replace(base.part, thickness=0.004))
    lapped = [lap(s, None, 20000, rows=80) for s in (base, thin)]
    removed = [d.removed for d in lapped]
    u = lapped[0].rig.grid.u
    lips, ends = (np.abs(u) > 0.035) & (np.abs(u) < 0.045), np.abs(u) > 0.09
    assert removed[1][lips].mean() > 1.2 * removed[0][lips].mean()
    assert removed[1][ends].mean() < 0.8 * removed[0][ends].mean()
    for d in lapped:
        assert d.run.removed_volume == pytest.approx(0.045e-9 * d.run.load_sliding, rel=1e-6)


def test_quarter_of_a_million_cells():
    done = lap(job(reach=0.03), twist(100 * UM, 0.12, 0.07), 200, rows=8, cells=250_000)
    assert done.rig.grid.n_cells > 249_000
    settled(done)


def test_land_one_cell_wide():
    """Two windows that each leave a land of one cell: it bears its share and wears with the rest."""
    windows = (rectangle(0.15, 0.03, 0.0, 0.033), rectangle(0.15, 0.03, 0.0, -0.033))
    outline = Outline.rectangular(0.2, 0.1, windows)
    done = lap(job(outline, bedding=5e-6), hollow(60 * UM, 0.1), 4000, rows=80, cell=0.002)
    settled(done)
    land = np.abs(done.rig.grid.v) > 0.0485
    assert done.removed[land].min() > 0.0
    assert np.ptp(done.after) < 30 * UM


@pytest.mark.parametrize("start", range(12))
def test_bending_part_has_one_minimum_from_many_starts(start):
    """Convexity: from wherever the pose starts, the same pose and amplitudes come out."""
    base = job(length=0.2, width=0.1, press=60.0)
    rig = set_up(replace(base, part=replace(base.part, thickness=0.006)), cells=400)
    grid, modes = rig.grid, rig.basis.shape[0]
    n = grid.n_cells
    lam, kds = 10e-6, 0.045e-9 * 20.0
    face = crown(100 * UM, 0.1)(grid.u[:n], grid.v[:n])
    target = np.zeros(modes)
    target[:3] = 60.0, 60.0 * 0.2, -60.0 * 0.1
    assert rig.bending is not None
    target[3:] = 60.0 * rig.bending.press
    elastic = np.zeros((modes, modes))
    elastic[3:, 3:] = rig.bending.stiffness * lam
    basis = np.ascontiguousarray(rig.basis[:, :n])

    def solve(pose):
        found = found_pose(
            face / lam + np.log(kds * 1e3 / lam), basis, grid.area[:n] * lam / kds, target, start=pose,
            cap=50e-6 / lam, elastic=elastic, tolerance=1e-8,
        )  # fmt: skip
        assert found.status == column_kernels.STATUS_OK
        assert found.evaluations < 200
        return found.pose, found.soft

    expected, pressed = solve(np.zeros(modes))
    scatter = np.random.default_rng(start).normal(size=modes) * np.array(
        [30.0, 30.0, 30.0, *[5.0] * (modes - 3)]
    )
    pose, soft = solve(scatter)
    assert soft == pytest.approx(pressed, abs=1e-6)
    assert pose == pytest.approx(expected, abs=1e-4)


def test_thick_part_is_rigid_within_a_hundredth():
    base = job(length=0.2, width=0.1, press=60.0)
    thick = replace(base, part=replace(base.part, thickness=0.04))
    assert make_bending(thick.part) is not None
    rigid, bent = (lap(s, hollow(100 * UM, 0.1), 400, rows=40) for s in (base, thick))
    assert np.max(np.abs(bent.after - rigid.after)) < 0.01 * rigid.removed.max()


def test_more_shapes_change_less_and_less():
    base = job(length=0.2, width=0.1, press=60.0)
    scenario = replace(base, part=replace(base.part, thickness=0.006))
    rig = set_up(scenario, cells=800)
    stage = Stage(scenario.paper.grits[0], 400, 0, 0, 0)
    layout = stage_layout(rig, stage, quad_strokes=40, seed=0)
    before = hollow(100 * UM, 0.1)(rig.grid.u, rig.grid.v)
    after = []
    for keep in (2, 12, 25, 60):
        bending = make_bending(scenario.part, grid=rig.grid, degree=10, keep=keep)
        fine = replace(rig, bending=bending, basis=coordinates(rig.grid, rig.half, bending))
        after.append(run_stage(fine, before, middle(scenario), stage, layout).heights[-1])
    off = [np.max(np.abs(a - after[-1])) for a in after[:-1]]
    assert off[0] > 2.0 * off[1] > 4.0 * off[2]
    # What :data:`handlap.sim.lapping.set_up.BENDING_SHAPES` says of the twelve it keeps.
    assert off[1] < 0.2 * UM


EFFECTS: dict[str, Any] = dict(blunt_bedding=0.6, friction_gain=0.4, edge_rate=1.5, edge_rise=60e-6)


@pytest.mark.parametrize("bedding", [0.5e-6, 4e-6, 40e-6])
@pytest.mark.parametrize("scale", [1e-3, 1.0, 1e3], ids=["ages at once", "ages", "hardly ages"])
def test_paper_that_does_all_it_can_settles_on_any_face(bedding, scale):
    """Blunt tips, clogged friction, an edge that cuts and a wave of many bedding lengths: poses are found."""
    scenario = job(bedding=bedding, ages=True, ageing=scale, reach=0.06, wobble=(0.03, 0.01), **EFFECTS)
    for face in (crown(100 * UM, 0.12), hollow(200 * UM, 0.12), twist(100 * UM, 0.12, 0.07)):
        done = lap(scenario, face, 200, rows=80)
        assert np.all(np.isfinite(done.after)) and np.all(done.removed >= -1e-15)
        assert done.run.deposited_volume == pytest.approx(done.run.removed_volume, rel=1e-12)
        assert done.run.evaluations < 60 * done.layout.x.size


@pytest.mark.parametrize("scenario", [job(states=HALF_TURNS, turn_every=20, ages=True, plate=(0.3, 0.16))])
def test_ageing_paper_on_a_plate_hardly_larger_than_the_part_conserves_metal(scenario):
    done = lap(scenario, twist(80 * UM, 0.12, 0.07), 400, rows=160)
    assert done.run.overhung > 0.3
    assert done.run.deposited_volume == pytest.approx(done.run.removed_volume, rel=1e-12)
