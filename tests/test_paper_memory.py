"""The paper's memory: reading and laying down over strokes, wear of its own, against direct sums."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from independent_lap import SlowLap
from jobs import HALF_TURNS, QUARTER_TURNS, UM, hollow, job, lap
from marched import Marched, OnPaper, march, pose_table
from scipy.integrate import solve_ivp

from handlap.sim.common.outline import Array
from handlap.sim.job.scenario import Pattern, TurnState
from handlap.sim.job.stroke_path import places_on_path
from handlap.sim.lapping import column_kernels, paper_kernels, paper_memory, record_kernels
from handlap.sim.lapping.conditions import Stage
from handlap.sim.lapping.lap import stage_layout
from handlap.sim.lapping.paper_memory import APART, CLOSE, Nodes, PaperMemory, bell_of, lay_memory, line_of
from handlap.sim.lapping.poses import lay_out
from handlap.sim.lapping.set_up import Rig, set_up

RATE = 0.045e-9
SIDE = 90
"""Nodes of the rasters that fields are drawn on."""
CIRCLE = tuple(
    (round(6.4 * np.cos(t)), round(6.4 * np.sin(t)), 1.0 / 24) for t in 2 * np.pi * np.arange(24) / 24
)
"""A round path in nodes, and the share of the stroke near each."""


@dataclass(frozen=True)
class Path:
    """A stroke and its sway on nodes, see :func:`paper_kernels.over_stroke`."""

    line: tuple[float, float] = (0.0, 0.0)
    taps: tuple[tuple[float, float, float], ...] = ()
    sway: float = 1.4

    @property
    def given(self) -> tuple[Array, Array, Array]:
        return np.array(self.taps, dtype=float).reshape(-1, 3), np.array(self.line), bell_of(self.sway, 1.0)


PATHS = {
    "along x": Path(line=(11.3, 0.0)),
    "along y": Path(line=(0.0, 7.8)),
    "shorter than a node": Path(line=(0.5, 0.0)),
    "round": Path(taps=CIRCLE),
    "round, no sway": Path(taps=CIRCLE, sway=0.0),
    "along y, wide sway": Path(line=(0.0, 4.0), sway=3.1),
}


def windows_of(path: Path, i0: int, i1: int, j0: int, j1: int) -> Any:
    """Windows (3, 4) of spots over these nodes: their own, grown by the bell, and by the path besides."""
    taps, line, bell = path.given
    paper = np.zeros(column_kernels.PAPER_CONSTANTS)
    paper[column_kernels.P_STEP_X] = paper[column_kernels.P_STEP_Y] = 1.0
    found = np.zeros((3, 4), dtype=np.int64)
    # A face from −a to a about a raster whose lowest node lies so that the window comes out as wanted.
    half_x, half_y = 0.5 * (i1 - i0 - 3), 0.5 * (j1 - j0 - 3)
    paper[column_kernels.P_X0] = -(i0 + 1) - half_x
    paper[column_kernels.P_Y0] = -(j0 + 1) - half_y
    paper_kernels.windows_of(1.0, 0.0, half_x, half_y, 1.0, paper, taps, line, bell, bell, found)
    assert found[0].tolist() == [i0, i1, j0, j1]
    return found


def over_stroke(path: Path, field: Array, windows: Any) -> Array:
    """S·field in the window of the spots, nought elsewhere."""
    taps, line, bell = path.given
    scratch, out = np.zeros((2, SIDE, SIDE)), np.zeros((SIDE, SIDE))
    paper_kernels.over_stroke(field, taps, line, bell, bell, windows, scratch[0], scratch[1], out)
    i0, i1, j0, j1 = windows[0]
    kept = np.zeros_like(out)
    kept[j0:j1, i0:i1] = out[j0:j1, i0:i1]
    return kept


def laid(path: Path, field: Array, windows: Any) -> Array:
    """The adjoint, in the largest window, nought elsewhere; what the scratch held before must not matter."""
    taps, line, bell = path.given
    scratch, out = np.random.default_rng(9).normal(size=(2, SIDE, SIDE)), np.full((SIDE, SIDE), np.nan)
    paper_kernels.laid_over_stroke(field, taps, line, bell, bell, windows, scratch[0], scratch[1], out)
    i0, i1, j0, j1 = windows[2]
    kept = np.zeros_like(out)
    kept[j0:j1, i0:i1] = out[j0:j1, i0:i1]
    return kept


# ---- reading and laying down


@pytest.mark.parametrize("name", PATHS)
def test_laying_down_is_the_adjoint_of_feeling(checked, name):
    """S·f times g = f times the adjoint of S on g, on random fields: what is cut lies where it was felt."""
    path = PATHS[name]
    windows = windows_of(path, 34, 55, 31, 59)
    rng = np.random.default_rng(1)
    f, g = rng.normal(size=(2, SIDE, SIDE))
    i0, i1, j0, j1 = windows[0]
    inside = np.zeros_like(g)
    inside[j0:j1, i0:i1] = g[j0:j1, i0:i1]
    felt, lying = over_stroke(path, f, windows), laid(path, inside, windows)
    size = float(np.sum(np.abs(felt * inside)))
    checked(
        f"S·f times g less f times the adjoint of S on g over the sum of its parts, stroke {name}",
        expected=0.0,
        got=(np.sum(felt * inside) - np.sum(f * lying)) / size,
        tolerance=1e-14,
        kind="closed form",
        source="adjoint operators",
        about="paper",
    )


@pytest.mark.parametrize("name", PATHS)
def test_what_is_felt_against_a_sum_over_places(name):
    """Independent route: every node of the path, and of the bell in both directions, one by one."""
    path = PATHS[name]
    windows = windows_of(path, 40, 52, 41, 50)
    field = np.random.default_rng(2).normal(size=(SIDE, SIDE))
    taps, line, bell = path.given
    shares: list[tuple[int, int, float]] = [(int(a), int(b), w) for a, b, w in taps]
    if not shares:
        half = max(line)
        for k in range(-20, 21):
            # How much of the stroke lies within half a node of node k.
            share = max(min(k + 0.5, half) - max(k - 0.5, -half), 0.0) / (2.0 * half)
            shares.append((k, 0, share) if line[0] > 0.0 else (0, k, share))
    assert sum(w for *_, w in shares) == pytest.approx(1.0)
    felt = over_stroke(path, field, windows)
    i0, i1, j0, j1 = windows[0]
    b = bell.size - 1
    want = np.zeros((j1 - j0, i1 - i0))
    for a, c, w in shares:
        for p in range(-b, b + 1):
            for q in range(-b, b + 1):
                want += (
                    w * bell[abs(p)] * bell[abs(q)]
                    * field[j0 + c + q : j1 + c + q, i0 + a + p : i1 + a + p]
                )  # fmt: skip
    np.testing.assert_allclose(felt[j0:j1, i0:i1], want, rtol=0.0, atol=1e-13)


def spots(count: int, seed: int) -> tuple[Array, Array]:
    return tuple(np.random.default_rng(seed).uniform(-0.5, 0.5, (2, count)))  # type: ignore[return-value]


def placed(u: Array, v: Array, turn: float) -> tuple[Any, Array, Array, Array]:
    """Nodes and shares of spots (n,) of a part of half length 20 nodes, turned, and the paper's constants."""
    paper = np.zeros(column_kernels.PAPER_CONSTANTS)
    paper[column_kernels.P_X0] = paper[column_kernels.P_Y0] = -0.5 * (SIDE - 1) + 0.3
    paper[column_kernels.P_STEP_X] = paper[column_kernels.P_STEP_Y] = 1.0
    node = np.empty(u.size, dtype=np.int32)
    share_i, share_j = np.empty((2, u.size))
    paper_kernels.place_on_raster(np.cos(turn), np.sin(turn), u, v, 40.0, paper, SIDE, node, share_i, share_j)
    return node, share_i, share_j, paper


@pytest.mark.parametrize("turn", [0.0, 0.7, np.pi / 2])
def test_sharing_out_is_the_adjoint_of_reading(checked, turn):
    u, v = spots(300, 3)
    node, share_i, share_j, _ = placed(u, v, turn)
    rng = np.random.default_rng(4)
    field, volume = rng.normal(size=(SIDE, SIDE)), rng.normal(size=u.size)
    read, amount, cut = np.empty(u.size), np.empty(u.size), np.zeros((SIDE, SIDE))
    paper_kernels.read_paper(field, SIDE, node, share_i, share_j, read)
    ones = np.ones(u.size)
    paper_kernels.spread_cut(volume, ones, node, share_i, share_j, ones, 1.0, SIDE, amount, cut)
    checked(
        f"reading, volume less field, volume shared out over the sum of its parts, turned by {turn:.1f}",
        expected=0.0,
        got=(read @ volume - np.sum(field * cut)) / np.sum(np.abs(read * volume)),
        tolerance=1e-14,
        kind="closed form",
        source="adjoint operators",
        about="paper",
    )


def test_reading_keeps_planes_and_blurs_alike_everywhere():
    """Closed form of quadratic B-splines: planes stay, x² gains ¼ node² wherever a spot stands."""
    u, v = spots(300, 5)
    turn = 0.4
    node, share_i, share_j, paper = placed(u, v, turn)
    x = paper[column_kernels.P_X0] + np.arange(SIDE)
    at_x, at_y = np.meshgrid(x, x)
    px, py = 40.0 * (np.cos(turn) * u - np.sin(turn) * v), 40.0 * (np.sin(turn) * u + np.cos(turn) * v)
    for field, want in (
        (1.0 + 0.3 * at_x - 0.7 * at_y, 1.0 + 0.3 * px - 0.7 * py),
        (at_x**2, px**2 + paper_memory.SPLINE),
        (at_x * at_y, px * py),
    ):
        read = np.empty(u.size)
        paper_kernels.read_paper(field, SIDE, node, share_i, share_j, read)
        np.testing.assert_allclose(read, want, rtol=0.0, atol=1e-11)


@pytest.mark.parametrize("ratio", [0.54, 0.6, 0.8, 1.0, 1.0 / paper_memory.APART.on_axes, 3.0])
def test_the_sway_on_nodes_has_the_spread_of_the_sway(ratio):
    """Variance of bell and sharing together: the sway's own, on whatever nodes."""
    bell = bell_of(ratio, 1.0)
    at = np.arange(bell.size)
    assert 2.0 * bell.sum() - bell[0] == pytest.approx(1.0, abs=1e-14)
    assert np.all(np.diff(bell) < 0.0)
    assert 2.0 * bell @ at**2 + paper_memory.SPLINE == pytest.approx(
        max(ratio**2, paper_memory.SPLINE + (0.0 if bell.size == 1 else paper_memory.SHARP**2)), rel=0.01
    )


@pytest.mark.parametrize("half", [0.05, 0.3, 0.9, 1.0, 2.7, 14.5])
def test_a_stroke_on_nodes_is_as_widely_spread_as_the_stroke(half):
    """Variance of the box that is counted on nodes, by its own weights: half²/3, short strokes too."""
    counted = line_of(half)
    at = np.arange(-40, 41)
    weights = np.minimum(np.maximum(counted + 0.5 - np.abs(at), 0.0), 1.0) / (2.0 * counted)
    assert weights.sum() == pytest.approx(1.0)
    assert weights @ at**2 == pytest.approx(half**2 / 3.0, rel=1e-9)


SWAY = 0.005


class Stroked:
    """Strokes over their raster, and spots of a part that feel them."""

    def __init__(self, pattern: Pattern, length: float, direction: float, cell: float, nodes: Nodes) -> None:
        stage = lay_out(
            pattern=pattern, length=length, direction=direction, states=(TurnState(0.0, 0.0),), turn_every=0,
            strokes=8, quad_strokes=4.0,
        )  # fmt: skip
        self.u, self.v = np.random.default_rng(7).uniform(-0.03, 0.03, (2, 200))
        self.memory = memory = lay_memory(
            stage.standings, pattern=pattern, length=length, sway=SWAY, u=np.append(self.u, 0.03),
            v=np.append(self.v, 0.03), cell=cell, strips=np.array([[-1.0, -1.0, 1.0, 1.0]]), nodes=nodes,
        )  # fmt: skip
        paper = np.zeros(column_kernels.PAPER_CONSTANTS)
        paper[column_kernels.P_X0], paper[column_kernels.P_Y0] = memory.x0, memory.y0
        paper[column_kernels.P_STEP_X], paper[column_kernels.P_STEP_Y] = memory.steps
        ny, nx = memory.shape
        self.x = memory.x0 + memory.steps[0] * np.arange(nx)[None, :]
        self.y = memory.y0 + memory.steps[1] * np.arange(ny)[:, None]
        self.path = memory.taps[: memory.tap_at[1]], memory.lines[0], memory.bell_x, memory.bell_y
        self.windows = np.zeros((3, 4), dtype=np.int64)
        paper_kernels.windows_of(1.0, 0.0, 0.03, 0.03, 1.0, paper, *self.path, self.windows)
        self.node, (self.share_i, self.share_j) = np.empty(200, dtype=np.int32), np.empty((2, 200))
        paper_kernels.place_on_raster(
            1.0, 0.0, self.u, self.v, 1.0, paper, nx, self.node, self.share_i, self.share_j
        )
        # Angle of the path on the plate, of the one standing looked at.
        c, s = np.cos(stage.standings[0, 1]), np.sin(stage.standings[0, 1])
        self.places = places_on_path(pattern, length, 20_000) @ np.array([[c, s], [-s, c]])

    def felt(self, field: Array) -> Array:
        """What the spots (200,) feel of a field (ny, nx)."""
        scratch, seen, read = np.zeros((2, *field.shape)), np.zeros(field.shape), np.empty(200)
        paper_kernels.over_stroke(field, *self.path, self.windows, scratch[0], scratch[1], seen)
        paper_kernels.read_paper(seen, field.shape[1], self.node, self.share_i, self.share_j, read)
        return read


@pytest.mark.parametrize(
    ("pattern", "length", "direction"),
    [
        ("straight", 0.02, 0.0), ("straight", 0.1, np.pi / 2), ("straight", 0.02, 0.4), ("circle", 0.02, 0.0),
        ("circle", 0.08, 0.0), ("eight", 0.14, 0.3), ("diagonal", 0.05, 0.0), ("straight", 0.24, np.pi / 2),
    ],
)  # fmt: skip
@pytest.mark.parametrize(("cell", "nodes"), [(0.002, CLOSE), (0.002, APART), (0.005, APART)])
def test_what_is_felt_of_a_wave_is_its_mean_over_stroke_and_sway(pattern, length, direction, cell, nodes):
    """Closed form: cos(k·x) is felt as cos(k·x)·cos(k·path)·e^(−σ²k²/2), wherever a spot stands."""
    stroked = Stroked(pattern, length, direction, cell, nodes)
    for angle in (0.0, 0.6, np.pi / 2):
        for wave in (0.3, 0.8):
            kx, ky = wave / SWAY * np.cos(angle), wave / SWAY * np.sin(angle)
            read = stroked.felt(np.cos(kx * stroked.x + ky * stroked.y))
            mean = np.mean(np.cos(stroked.places @ np.array([kx, ky])))
            want = np.cos(kx * stroked.u + ky * stroked.v) * mean * np.exp(-0.5 * wave**2)
            # Splines are as wide as the sway to the second order; what is left goes with the fourth.
            per_node = np.abs(np.array([kx, ky]) * stroked.memory.steps).max()
            # Of nodes as far apart as the stroke is long the blur is made up by a shorter stroke.
            shorter = 0.004 if np.ptp(stroked.memory.steps) else 0.0
            np.testing.assert_allclose(read, want, rtol=0.0, atol=0.002 + shorter + 0.03 * per_node**4)


@pytest.mark.parametrize("length", [0.03, 0.1, 0.18, 0.24, 0.5])
@pytest.mark.parametrize("direction", [0.0, np.pi / 2])
def test_a_stroke_is_felt_as_widely_as_it_is_long_however_far_apart_the_nodes(checked, length, direction):
    """Closed form: x² is felt as x² + length²/12 + sway² along the stroke, and as y² + sway² across it."""
    stroked = Stroked("straight", length, direction, 0.002, APART)
    ends = (stroked.u, stroked.x), (stroked.v, stroked.y)
    along, across = ends if direction == 0.0 else ends[::-1]
    none = np.zeros(stroked.memory.shape)
    for (at, nodes), spread, which in (
        (along, length**2 / 12.0 + SWAY**2, "along"), (across, SWAY**2, "across"),
    ):  # fmt: skip
        got = stroked.felt(nodes**2 + none) - at**2
        checked(
            f"spread of a stroke of {1e3 * length:.0f} mm {which} it, towards {np.degrees(direction):.0f}°",
            expected=1e6 * spread,
            got=1e6 * np.array([got.min(), got.max()]),
            tolerance=1e-9 * 1e6 * spread,
            unit="mm²",
            kind="closed form",
            source="variance of an even law and of a normal one",
            about="paper",
        )


@pytest.mark.parametrize("pattern", ["straight", "circle"])
def test_a_lap_on_nodes_for_many_against_nodes_half_as_far_apart_as_the_sway(pattern):
    """What the raster makes a lap err by: a tenth of a micrometre of the hollow it leaves, 0.25 anywhere."""
    scenario = job(
        pattern=pattern, travel=0.26 if pattern == "straight" else 0.06, ages=True, brush_every=40,
        sheet_every=120, wobble=(0.02, 0.02),
    )  # fmt: skip
    found = []
    for nodes in (APART, Nodes(0.5, 0.5, 0.0)):
        lapped = lap(scenario, hollow(60 * UM, 0.12), 200, rows=100, cells=4500, nodes=nodes)
        found.append((lapped.run.state.paper.shape, lapped.after))
        assert lapped.run.deposited_volume == pytest.approx(lapped.run.removed_volume, rel=1e-9)
    (few, coarse), (many, close) = found
    assert 3 * few[0] * few[1] < many[0] * many[1]
    apart = coarse - close
    assert np.ptp(lapped.removed) > 15 * UM
    assert np.abs(apart).max() < 0.25 * UM
    assert abs(np.ptp(coarse) - np.ptp(close)) < 0.1 * UM


# ---- the raster under a stage


STANDS: dict[str, dict[str, Any]] = {
    "straight": dict(),
    "across": dict(direction=np.pi / 2),
    "slanting": dict(direction=0.4),
    "one way, walking round": dict(pattern="one way", states=((0.0, 0.0), (0.0, np.pi)), turn_every=5),
    "circle, quarter turns": dict(pattern="circle", travel=0.08, states=QUARTER_TURNS, turn_every=5),
    "eight, half turns": dict(pattern="eight", travel=0.15, states=HALF_TURNS, turn_every=5),
    "diagonal": dict(pattern="diagonal"),
    "much sway": dict(sway=0.03),
    "no sway": dict(sway=0.0),
}
FAR: dict[str, dict[str, Any]] = {
    "rounds of metres": dict(
        pattern="circle", travel=3.0, sway=5e-4, plate=(5.0, 5.0), states=QUARTER_TURNS, turn_every=5
    ),
    "diagonal over metres": dict(pattern="diagonal", travel=2.5, sway=1e-3, plate=(5.0, 5.0)),
}
"""Strokes that a raster of nodes as close as the sway would need gigabytes for."""
ALL = STANDS | FAR


def memory_of(name: str, shift: tuple[float, float] = (0.0, 0.0), **more: Any) -> tuple[Rig, PaperMemory]:
    scenario = job(ages=True, **{**ALL[name], **more})
    rig = set_up(scenario, cells=600)
    stage = Stage(scenario.paper.grits[0], 40, scenario.turning.every or 0, 0, 0)
    layout = stage_layout(rig, stage, quad_strokes=4.0, seed=0)
    strokes = scenario.strokes
    return rig, lay_memory(
        layout.standings, pattern=strokes.pattern, length=strokes.length, sway=strokes.sway.value,
        u=rig.grid.u, v=rig.grid.v, cell=rig.grid.cell_size, strips=rig.strips, shift=shift,
    )  # fmt: skip


@pytest.mark.parametrize("shift", [(0.0, 0.0), (0.5, 0.5), (1.0, -1.0)])
@pytest.mark.parametrize("name", ALL)
def test_the_raster_holds_all_that_a_stage_reads(name, shift):
    """Windows, and what spreading reads beyond them, lie inside; every path has its whole weight."""
    rig, memory = memory_of(name, shift)
    paper = np.zeros(column_kernels.PAPER_CONSTANTS)
    paper[column_kernels.P_X0], paper[column_kernels.P_Y0] = memory.x0, memory.y0
    paper[column_kernels.P_STEP_X], paper[column_kernels.P_STEP_Y] = memory.steps
    ny, nx = memory.shape
    for k, (c, s) in enumerate(memory.turns):
        taps = memory.taps[memory.tap_at[k] : memory.tap_at[k + 1]]
        window = np.zeros((3, 4), dtype=np.int64)
        paper_kernels.windows_of(
            c, s, np.abs(rig.grid.u).max() / rig.half, np.abs(rig.grid.v).max() / rig.half,
            rig.half, paper, taps, memory.lines[k], memory.bell_x, memory.bell_y, window,
        )  # fmt: skip
        along = bool(memory.lines[k].any())
        assert along != bool(len(taps))
        if not along:
            assert taps[:, 2].sum() == pytest.approx(1.0, abs=1e-14)
            # About the middle: what is felt is not shifted.
            assert np.abs(taps[:, 2] @ taps[:, :2]) == pytest.approx([0.0, 0.0], abs=0.02)
        for axis, (most, bell) in enumerate(((nx, memory.bell_x), (ny, memory.bell_y))):
            reach = bell.size - 1
            low, high = window[1, 2 * axis] - reach, window[1, 2 * axis + 1] + reach
            if memory.lines[k, axis] > 0.0:
                far = int(np.floor(memory.lines[k, axis] + 0.5)) + 1
                low, high = window[2, 2 * axis] - far, window[2, 2 * axis + 1] + far
            assert 0 <= min(low, window[2, 2 * axis]) and max(high, window[2, 2 * axis + 1]) <= most


@pytest.mark.parametrize("name", ALL)
def test_no_lap_holds_more_than_its_bound(name):
    """Fields of the raster, those carried before and after a stretch of strokes and those of the stretch."""
    rig, memory = memory_of(name)
    ways = len(memory.turns)
    held = record_kernels.nothing_carried(
        points=1, shapes=0, kinds=1, bedding=1.0, raster=memory.shape, ways=ways, partly=True
    )
    carried = sum(field.size for field in held if field.shape[-2:] == memory.shape)
    # … and in the march: factor, clean, sharp, seen, between, half_way, cut, and what of it is paper, twice.
    assert 2 * carried + 9 * memory.shape[0] * memory.shape[1] <= paper_memory.MOST_NUMBERS
    if name in STANDS:
        # Nodes are as close as sway and cells ask for.
        asked = max(APART.on_axes * STANDS[name].get("sway", 5e-3), rig.grid.cell_size)
        along = max(asked, APART.along * rig.scenario.strokes.length)
        assert np.all(memory.steps <= 1.001 * (along if memory.taps.size == 0 else asked))


def test_paper_is_counted_where_it_lies_and_only_where_some_is_missing():
    """The nodes' shares add up to the area of the paper; a plate papered all over needs none."""
    strips = [(-0.02, -0.2, 0.03, 0.011), (0.034, -0.01, 0.2, 0.013)]
    _, some = memory_of("straight", strips=strips)
    x = some.x0 + some.steps[0] * (np.arange(some.shape[1]) + 0.5)
    y = some.y0 + some.steps[1] * (np.arange(some.shape[0]) + 0.5)
    # The raster ends somewhere: count what of the paper lies on it.
    left, right, low, high = x[0] - some.steps[0], x[-1], y[0] - some.steps[1], y[-1]
    area = sum((min(x1, right) - max(x0, left)) * (min(y1, high) - max(y0, low)) for x0, y0, x1, y1 in strips)
    assert some.on_sheet.sum() * np.prod(some.steps) == pytest.approx(area, rel=1e-12)
    assert memory_of("straight")[1].on_sheet.size == 0
    assert memory_of("straight", plate=(0.5, 0.2))[1].on_sheet.size == 0
    assert memory_of("straight", plate=(0.44, 0.2))[1].on_sheet.size > 0


# ---- the paper's own wear


EVEN = 1.0
"""A bedding length [m] at which pressure is even whatever the paper does."""


def soft() -> Rig:
    """A part so far inside its plate that paper is all about it."""
    return set_up(job(length=0.2, width=0.1), cell=0.01)


def inner(rig: Rig, rim: float = 0.02) -> Any:
    """Which cells lie so far from the rim that they meet no fresher paper."""
    n = rig.grid.n_cells
    return (np.abs(rig.grid.u[:n]) < 0.1 - rim) & (np.abs(rig.grid.v[:n]) < 0.05 - rim)


def worn_by(
    sliding: float, pressure: float, floors: tuple[float, float], scales: tuple[float, float]
) -> float:
    """Depth off a face that rubs always the same paper, by an ODE solver [m]."""

    def rate(_: float, v: Array) -> Array:
        f = np.ones_like(v)
        for floor, scale in zip(floors, scales, strict=True):
            f *= floor + (1.0 - floor) * np.exp(-v / scale)
        return RATE * pressure * f

    return float(solve_ivp(rate, (0.0, sliding), [0.0], rtol=1e-9, atol=1e-14).y[0, -1])


def rubbed(rows: int, paper: OnPaper, sliding: float = 150.0) -> tuple[Rig, Marched]:
    """A flat face rubbed on one spot."""
    rig = soft()
    table = pose_table(rows, sliding / rows, 100.0, half=rig.half)
    return rig, march(rig, np.zeros(rig.grid.u.size), table, bedding=EVEN, paper=paper)


@pytest.mark.parametrize("floors", [(0.3, 0.6), (0.6, 0.2), (0.1, 0.3)])
def test_paper_loads_and_dulls_as_the_law_says(checked, floors):
    """Independent route: dv/ds = k·p·f_load(v)·f_dull(v) by scipy, every spot on its own paper."""
    paper = OnPaper(floors=floors, scales=(6 * UM, 20 * UM))
    rig, found = rubbed(200, paper)
    want = worn_by(150.0, 100.0 / 0.02, floors, paper.scales)
    checked(
        f"depth on paper that keeps {floors[0]:g} and {floors[1]:g} of its cut, loaded and dulled",
        expected=want / UM,
        got=-found.heights[: rig.grid.n_cells][inner(rig)] / UM,
        tolerance=1e-5 * want / UM,
        unit="µm",
        kind="independent implementation",
        source="dv/ds = k·p·f_load·f_dull by scipy",
        about="paper",
    )


def test_half_the_step_leaves_a_quarter_of_the_error_of_ageing(checked):
    """Second order: the paper is taken as it is halfway through every row."""
    paper = OnPaper(floors=(0.1, 0.3), scales=(6 * UM, 20 * UM))
    want = worn_by(150.0, 100.0 / 0.02, paper.floors, paper.scales)
    errors = []
    for rows in (20, 40, 80):
        rig, found = rubbed(rows, paper)
        errors.append(float(np.mean(-found.heights[: rig.grid.n_cells][inner(rig)])) - want)
    for coarse, fine, rows in zip(errors, errors[1:], (20, 40), strict=False):
        checked(
            f"error of ageing paper in {rows} rows over that in {2 * rows}",
            expected=4.0,
            got=coarse / fine,
            tolerance=1.0,
            kind="closed form",
            source="order of the step: second",
            about="paper",
        )


def test_a_row_that_ages_paper_by_many_scales_does_not_overshoot():
    """One row of thirty scales: less metal than fresh paper would take, more than clogged and blunt paper."""
    paper = OnPaper(floors=(0.1, 0.1), scales=(1 * UM, 2 * UM))
    rig, found = rubbed(1, paper)
    fresh = RATE * 100.0 / 0.02 * 150.0
    depth = -found.heights[: rig.grid.n_cells]
    assert np.all(depth > 0.01 * fresh) and np.all(depth < fresh)


def test_what_is_cut_lies_on_the_paper():
    """Conservation: volume off the face = volume on the raster, turned, swaying, round and off the paper."""
    rng = np.random.default_rng(6)
    rig = set_up(job(length=0.2, width=0.1, strips=[(-0.2, -0.12, 0.083, 0.12)]), cell=0.004)
    grid = rig.grid
    rows = 60
    standing = np.arange(rows) // 3 % 3
    turns = (0.0, 0.9, np.pi / 2)
    table = pose_table(
        rows, 2.0, 100.0, half=rig.half, x=rng.uniform(-0.01, 0.01, rows), y=rng.uniform(-0.02, 0.02, rows),
        turn=np.array(turns)[standing],
    )  # fmt: skip
    h = 10 * UM * rng.normal(size=grid.u.size)
    round_ = OnPaper(turns=turns, standing=standing, stroke=CIRCLE, bell=tuple(bell_of(1.4, 1.0)))
    found = march(rig, h, table, paper=round_)
    assert found.diagnostics[column_kernels.D_OFF_PAPER] > 0
    off = grid.area @ (h - found.heights)
    assert off > 0.0
    for field in (found.load, found.dull):
        # What is remembered is metal per area of paper.
        assert np.sum(field * found.on_sheet) * found.paper_step**2 == pytest.approx(off, rel=1e-12)
        assert field.min() > -1e-18
    assert found.diagnostics[column_kernels.D_DEPOSITED] == pytest.approx(off, rel=1e-12)


def test_brushing_takes_its_share_of_the_loading_alone():
    rig = soft()
    table = pose_table(8, 5.0, 100.0, half=rig.half)
    fields = []
    for events in (None, np.where(np.arange(8) == 7, column_kernels.EVENT_BRUSH, 0)):
        # The last row slides hardly at all, so that what was brushed is there to be seen.
        table[7, column_kernels.SLIDE] = 1e-9
        found = march(rig, np.zeros(rig.grid.u.size), table, paper=OnPaper(leaves=0.35), events=events)
        fields.append((found.load, found.dull))
    np.testing.assert_allclose(fields[1][0], 0.35 * fields[0][0], rtol=1e-6, atol=1e-12)
    np.testing.assert_allclose(fields[1][1], fields[0][1], rtol=1e-9, atol=1e-15)


def test_paper_is_read_where_it_lies():
    """What one half of a face has worn is met by the other half when the part is turned end for end."""
    rig = soft()
    grid, n = rig.grid, rig.grid.n_cells
    # The left half of the face hardly cuts, so that the paper under it stays fresh.
    scale = np.where(grid.u < 0.0, 0.05, 1.0)
    powers = []
    for last in (0, 1):
        standing = np.array([0] * 40 + [last])
        table = pose_table(41, 5.0, 100.0, half=rig.half, turn=np.pi * standing)
        table[40, column_kernels.SLIDE] = 1e-3
        found = march(
            rig, np.zeros(grid.u.size), table, bedding=EVEN, scale=scale, every=1, tilt_free=False,
            kinds=standing, paper=OnPaper(turns=(0.0, np.pi), standing=standing),
        )  # fmt: skip
        off = found.snapshots[-2] - found.snapshots[-1]
        powers.append((off / scale)[:n])
    left, right = (np.abs(grid.u[:n] - u) < 0.04 for u in (-0.05, 0.05))
    assert powers[0][left].mean() > 1.5 * powers[0][right].mean()
    place = np.round(np.column_stack([grid.u[:n], grid.v[:n]]) / grid.cell_size, 3)
    order, turned = np.lexsort(place.T), np.lexsort(-place.T)
    # Even pressure: what every spot loses is the power of the paper under it.
    np.testing.assert_allclose(powers[1][order], powers[0][turned], rtol=1e-4)


def test_no_sway_and_hardly_a_stroke_wear_every_spot_of_paper_by_the_spot_over_it(checked):
    """Limit S = identity: dh/ds = −k·p·f(what the spot itself has lost), by the slow solver.

    Paper is read over three nodes, so at the rim a spot also feels what its neighbour has worn.
    """
    lam, load, at, travel = 20 * UM, 100.0, (0.02, 0.006), 1e-9
    scenario = job(
        length=0.2, width=0.1, strips=[(-0.1, -0.05, 0.1, 0.05)], load=load, load_at=at, bedding=lam,
        travel=travel, sway=0.0, ages=True, ageing=3.0,
    )  # fmt: skip
    rows, sliding = 200, 60.0
    found = lap(scenario, None, round(sliding / (2.0 * travel)), rows=rows, cell=0.01 / 3.0)
    grid, n = found.rig.grid, found.rig.grid.n_cells
    coarser = 201.0 / 125.0
    scales, floors = (3 * 0.005 * 201 * UM, 3 * 0.010 * 201 * UM), (0.3 * coarser**0.5, 0.2 * coarser**0.3)
    slow = SlowLap(grid.u[:n], grid.v[:n], grid.area[:n], np.zeros(n), RATE, lam)
    for _ in range(rows):
        lost = -slow.h
        left = [f + (1 - f) * np.exp(-lost / s) for f, s in zip(floors, scales, strict=True)]
        slow.rate = RATE * left[0] * left[1]
        slow.slide(sliding / rows, load, at)
    assert np.ptp(slow.h) > 5 * UM
    apart = found.cells - slow.h
    for where, got, tolerance in (
        ("further than 20 mm from the rim", apart[inner(found.rig)], 0.03),
        ("root mean square", np.sqrt(np.mean(apart**2)), 0.08),
    ):
        checked(
            f"face rubbed on one spot without sway less that of the slow lap, place by place, {where}",
            expected=0.0,
            got=got / UM,
            tolerance=tolerance,
            unit="µm",
            kind="independent implementation",
            source="dh/ds = −k·p·f(own removal), explicit steps, scipy.optimize on the energy of the contact",
            about="paper",
        )


@pytest.mark.parametrize("name", STANDS)
def test_metal_is_kept_wherever_paper_ends(name):
    """Conservation on paper that ends under strokes of every sort, sway beyond it included."""
    strips = [(-0.5, -0.3, -0.004, 0.061), (0.006, -0.3, 0.131, 0.061)]
    for seed in range(2):
        found = lap(
            job(ages=True, reach=0.01, **{**STANDS[name], "strips": strips}), None, 60, rows=400, seed=seed
        )
        assert found.run.overhung > 0.3
        assert found.run.deposited_volume == pytest.approx(found.run.removed_volume, rel=1e-12)
        assert np.isfinite(found.after).all()


def test_rows_come_nearer_with_the_paper_over_the_whole_stroke():
    """Twice the rows: less error each time, against eight times as many (ageing by some scales a stretch)."""
    scenario = job(ages=True, travel=0.1)
    faces = [lap(scenario, None, 300, rows=rows, cell=0.01).after for rows in (32, 64, 128, 1024)]
    errors = [np.abs(face - faces[-1]).max() for face in faces[:-1]]
    assert all(fine < 0.5 * coarse for coarse, fine in pairwise(errors))
