"""Rasters of plate and paper reach as far as the part goes: counted in numbers kept, whatever the plate."""

from __future__ import annotations

import numpy as np
import pytest
from jobs import middle

from handlap.sim.job.scenario import Scenario
from handlap.sim.job.scenario_file import load_text
from handlap.sim.lapping.conditions import Conditions, Stage
from handlap.sim.lapping.ground import N_PLATE_SCORES
from handlap.sim.lapping.lap import LapState, begin_lap, stage_layout
from handlap.sim.lapping.march_given import MOST_NODES
from handlap.sim.lapping.set_up import set_up

GIGABYTE = 2**30
AT_ONCE = 64
"""States that may be held at once, of as many threads: far more than there are."""


def scenario(
    part: tuple[float, float], plate: tuple[float, float], stroke: float, more: str = ""
) -> Scenario:
    """A part on a plate of a grade, on ageing paper [mm]."""
    return load_text(
        f"""invented = true
        [part]
        length = {part[0]}
        width = {part[1]}
        mass = {3e-6 * part[0] * part[1] * 20}
        metal = "A356"
        limit = 30
        [plate]
        length = {plate[0]}
        width = {plate[1]}
        grade = "DIN 876 2"
        [paper]
        grits = ["P120"]
        [strokes]
        length = {stroke}
        {more}
        """,
        "window.toml",
        require_readings=False,
    )


def begun(job: Scenario, conditions: Conditions | None = None, cells: int = 3000) -> LapState:
    """A flat face put on the paper."""
    rig = set_up(job, cells=cells)
    layout = stage_layout(rig, Stage(job.paper.grits[0], 20, 0, 0, 0), quad_strokes=10.0, seed=0)
    face = np.zeros(rig.grid.u.size)
    return begin_lap(rig, face, conditions or middle(job), job.paper.grits[0], layout)


def numbers(state: LapState) -> int:
    """How many numbers a lap under way keeps."""
    return state.ground.size + state.heights.size + sum(np.size(field) for field in state.carried)


@pytest.mark.parametrize(
    ("part", "plate", "stroke", "more"),
    [
        ((20, 15), (1000, 1000), 20, ""),
        ((20, 15), (1000, 1000), 900, ""),
        ((20, 15), (2900, 2900), 400, 'pattern = "eight"'),
        ((1500, 150), (2900, 2900), 400, ""),
        ((240, 140), (600, 400), 200, 'pattern = "circle"\n[exact]\ncell = 0.95'),
    ],
    ids=["small part", "small part, long strokes", "small part in eights", "long part", "fine cells"],
)
def test_what_a_lap_keeps_is_bounded_whatever_the_plate(part, plate, stroke, more):
    """Before: the plate at the cells of the part, 25 million nodes a member for the first of these."""
    job = scenario(part, plate, stroke, more)
    state = begun(job)
    assert 4 <= state.ground.size <= 1.2 * MOST_NODES
    assert 8 * numbers(state) * AT_ONCE < GIGABYTE


def test_a_small_part_on_a_large_plate_keeps_what_it_keeps_on_a_small_one():
    small, large = (numbers(begun(scenario((20, 15), (side, side), 20))) for side in (60, 1000))
    assert large <= 1.1 * small
    assert 8 * AT_ONCE * large < 0.1 * GIGABYTE


def test_the_plate_is_met_as_it_is_in_a_window_of_it():
    """Nodes of a short stroke's window are among those of a long one's, and as high."""
    job = scenario((20, 15), (1000, 1000), 20)
    shape = np.random.default_rng(5).standard_normal(N_PLATE_SCORES)
    conditions = [
        Conditions(**{**vars(middle(scenario((20, 15), (1000, 1000), s))), "plate": shape}) for s in (20, 60)
    ]
    short, long = (
        begun(scenario((20, 15), (1000, 1000), s), c) for s, c in zip((20, 60), conditions, strict=True)
    )
    assert long.frame[2] == pytest.approx(short.frame[2]) == pytest.approx(set_up(job).grid.cell_size)
    at = np.rint((short.frame[:2] - long.frame[:2]) / long.frame[2]).astype(int)
    ny, nx = short.ground.shape
    assert np.ptp(short.ground) > 0.0 and long.ground.size > short.ground.size
    part = long.ground[at[1] : at[1] + ny, at[0] : at[0] + nx]
    np.testing.assert_allclose(part, short.ground, atol=1e-12)
