"""Jobs at the bench whose truth is known: invented faces worked by invented hands, and their logs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from handlap.sim.bench.job_log import Entry, JobLog, part_mark
from handlap.sim.bench.replay import lay_out_log, replay
from handlap.sim.common.outline import Array
from handlap.sim.face.leaf_readings import read_face
from handlap.sim.face.straightedge import ROCKS_BELOW, FaceLine, contact, gaps, standard_lines
from handlap.sim.job.scenario import Held, Readings, Scenario, Station, StraightedgeLine
from handlap.sim.lapping import gauge
from handlap.sim.lapping.conditions import Conditions
from handlap.sim.lapping.dye import beyond, draw_dyes, roughness_dyed
from handlap.sim.lapping.dye_picture import zone_shares
from handlap.sim.lapping.ensemble import SCORES, conditions_at, draw_scores
from handlap.sim.lapping.gauge import Gauge
from handlap.sim.lapping.set_up import Rig, set_up
from handlap.sim.materials.mass import SWARF_LOST

NOW = "2026-01-05T10:00:00+00:00"
LEAVES = np.array([30, 40, 50, 60, 80, 100, 150, 200, 250, 300]) * 1e-6
FEEL = 4e-6


@dataclass(frozen=True)
class Truth:
    """A face at the bench that only the test knows."""

    scenario: Scenario
    rig: Rig
    gauged: Gauge
    before: Array
    conditions: Conditions
    face_at: Callable[[Array], Array]
    seed: int

    def carried(self, entries: list[Entry], seed: int) -> Array:
        """Faces (states, n) through a list of entries [m]."""
        middle = conditions_at(self.scenario, np.zeros(len(SCORES)))
        course = lay_out_log(self.rig, entries, middle, self.before, seed=seed)
        return replay(self.rig, course, self.before, self.conditions)

    def flatness(self, heights: Array) -> Array:
        return gauge.flatness(self.gauged, heights)


def make_truth(
    scenario: Scenario,
    face_at: Callable[[Array], Array],
    *,
    seed: int,
    cells: int = 300,
    lines: list[FaceLine] | None = None,
) -> Truth:
    """A true face with true hands, and the scenario with the readings that were taken on it."""
    outline = scenario.part.outline
    read = read_face(
        outline, face_at, lines or standard_lines(outline), LEAVES, stations=8, feel=FEEL, seed=seed
    )
    scenario = replace(scenario, readings=Readings(lines=read, leaves=tuple(LEAVES)))
    line_set, follow = gauge.lines_to_follow(outline)
    rig = set_up(scenario, cells=cells, follow=follow)
    gauged = gauge.make_gauge(outline, rig.grid, line_set)
    scores = draw_scores(64, 1000 + seed)[seed % 64]
    conditions = replace(conditions_at(scenario, scores), dye=draw_dyes(64, 1000 + seed)[seed % 64])
    return Truth(scenario, rig, gauged, face_at(rig.grid.points), conditions, face_at, seed)


PHOTO_SD = 0.06
"""Standard error of a share that a photo tells [-]."""


def write_log(
    truth: Truth,
    blocks: list[Entry],
    looks: set[int],
    *,
    division: float = 0.2e-3,
    photo: tuple[int, int] | None = None,
) -> JobLog:
    """The log somebody would have kept: swarf, leaves and dye at some of the blocks.

    ``looks``: places of the blocks after which was looked; ``division`` of the scale [kg]; ``photo``: rows
    and columns in which photos tell the dye, in place of what eyes do.
    """
    rng = np.random.default_rng([truth.seed, 3])
    part, grid = truth.scenario.part, truth.rig.grid
    n = grid.n_cells
    states = truth.carried(blocks, seed=7000 + truth.seed)
    lines = standard_lines(part.outline)
    entries, last = [], 0
    for place, block in enumerate(blocks):
        entry = replace(block, number=place + 1, at=0, when=NOW)
        if place in looks:
            off = states[last, :n] - states[place + 1, :n]
            mass = part.metal.density * float(off @ grid.area[:n]) * (1.0 - rng.uniform(*SWARF_LOST))
            entry = replace(
                entry, swarf=max(0.0, round(mass / division) * division), scale=division,
                readings=tuple(read_now(truth, states[place + 1], lines, rng)),
                dyed=True,
                **dye_seen(truth, states[place] - states[place + 1], rng, worked=place > 0, photo=photo),
            )  # fmt: skip
            last = place + 1
        elif place + 1 in looks:
            entry = replace(entry, dyed=True)
        entries.append(entry)
    return JobLog(part_mark(part), part.name, tuple(entries))


def read_now(truth: Truth, heights: Array, lines: list[FaceLine], rng: np.random.Generator):
    """Leaf readings on a worked face, known on the lines of the gauge only."""
    on_lines = heights[truth.rig.grid.part(gauge.LINES)]
    found = []
    sampled = truth.gauged.lines
    for i, line in enumerate(lines):
        run = slice(int(sampled.offsets[i]), int(sampled.offsets[i + 1]))
        position, z = sampled.position[run], on_lines[run]
        a, b = contact(position, z, "rest", 0.5 * line.length)
        held: Held = "rest" if position[b] - position[a] >= ROCKS_BELOW * line.length else "level"
        gap = gaps(position, z, held, 0.5 * line.length)
        stations = []
        for k in np.linspace(1, position.size - 2, 8).astype(int):
            felt = gap[k] + FEEL * rng.standard_normal()
            went = int(np.searchsorted(LEAVES, felt, side="right"))
            stations.append(
                Station(
                    float(position[k]),
                    float(LEAVES[went - 1]) if went else 0.0,
                    float(LEAVES[went]) if went < LEAVES.size else np.inf,
                )
            )
        found.append(StraightedgeLine(line.name, line.start, line.end, held, tuple(stations)))
    return found


def dye_seen(
    truth: Truth,
    removed: Array,
    rng: np.random.Generator,
    *,
    worked: bool,
    photo: tuple[int, int] | None = None,
) -> dict[str, Any]:
    """What somebody would have told of the dye, seen with an error: shares of each zone on which it is left,
    letters, or shares of the whole face, by turns from job to job; or what a photo tells."""
    part, grid, drawn = truth.scenario.part, truth.rig.grid, truth.conditions.dye
    rough = roughness_dyed(truth.scenario.paper.grits[0], part.metal, worked=worked)
    off = removed[: grid.n_cells]
    gone, faded = beyond(off, drawn.gone_at(rough)), beyond(off, drawn.faded_at(rough))
    if photo is not None:
        left = 1.0 - zone_shares(grid, gone, photo) + PHOTO_SD * rng.standard_normal(photo[0] * photo[1])
        shown = np.clip(np.round(left, 2), 0.0, 1.0).reshape(photo)
        error = np.where(np.isfinite(shown), PHOTO_SD, np.nan)
        rows = {"dye_grid": shown, "dye_sd": error}
        return {name: tuple(map(tuple, values.tolist())) for name, values in rows.items()}
    if truth.seed % 3 == 2:
        area = grid.area[: grid.n_cells] / grid.area[: grid.n_cells].sum()
        shares = np.array([gone @ area, faded @ area]) + 0.05 * rng.standard_normal(2)
        at = np.sort(np.clip(np.round(shares, 1), 0.0, 1.0))
        return {"dye_left": 1.0 - float(at[0]), "dye_faded": float(at[1])}
    gone_shares = zone_shares(grid, gone) + 0.1 * rng.standard_normal(15)
    if truth.seed % 3 == 0:
        seen = np.clip(np.round(1.0 - gone_shares, 1), 0.0, 1.0)
        return {"dye_grid": tuple(tuple(float(x) for x in row) for row in seen.reshape(3, 5))}
    faded_shares = zone_shares(grid, faded) + 0.1 * rng.standard_normal(15)
    pairs = zip(gone_shares, faded_shares, strict=True)
    return {"dye_seen": "".join("?" if np.isnan(g) else _letter(g, f) for g, f in pairs)}


def _letter(gone: float, faded: float) -> str:
    """What a zone is called with these shares gone, and fading or gone."""
    if gone > 0.25:
        return "g" if gone > 0.75 else "h"
    return "f" if faded > 0.75 else "u" if faded < 0.25 else "l"
