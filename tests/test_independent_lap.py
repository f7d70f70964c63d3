"""The lap against a second, slow implementation of the same equations, on random cases.

Each case draws its size, face, hands and paper from its number.  What is allowed follows from the
steps: a few thousandths of a bedding length where all strokes are alike, what the two samplings of the
place in a stroke leave where place matters (paper that ends or is not flat), and what two rasters of the
paper's memory leave where it ages.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pytest
from independent_lap import Edge, Hold, Sheet, SlowLap, raster, strokes
from jobs import job, lap

from handlap.sim.common.outline import Outline, circle

UM = 1e-6
SOURCE = "explicit steps, scipy.optimize on the energy of the contact, own raster, strokes and paper"
CASES = {
    "plain": (),
    "moment": ("moment",),
    "off the middle": ("offset",),
    "all of the hands": ("moment", "offset", "pull"),
    "half turns": ("moment", "offset", "half turns"),
    "across": ("moment", "across"),
    "bores": ("holes", "offset"),
    "overhang": ("overhang", "moment"),
    "two pieces of paper": ("gap", "offset"),
    "dished plate": ("dish", "moment"),
    "ageing": ("ages", "moment"),
    "ageing, brushed, new sheets": ("ages", "brushed", "offset"),
    "leading edge": ("edge", "moment", "pull"),
    "leading edge, one way": ("edge", "one way", "offset"),
    "blunt tips": ("ages", "blunt", "moment"),
    "clogged friction": ("ages", "clogs", "moment", "pull"),
    "all of the paper": ("ages", "blunt", "clogs", "edge", "brushed", "moment", "offset"),
    "ageing, across, half turns": ("ages", "across", "moment", "offset", "half turns"),
    "ageing, diagonals": ("ages", "diagonal", "moment"),
    "ageing, rounds": ("ages", "round", "moment"),
    "ageing, over the edge": ("ages", "overhang", "moment"),
    "rounds": ("round", "moment"),
}
EXACT = 0.005
TOLERANCE = {"holes": 0.1, "overhang": 0.15, "gap": 0.2, "dish": 0.02, "ages": 0.12, "round": 0.04}
"""µm; the largest that applies, EXACT where none does.  Bores: two rasters of a circle; paper that ends:
two samplings of the place in a stroke; paper that ages: two rasters of its memory; rounds: the
eight parts of one."""
LONG = ("blunt tips", "clogged friction", "ageing, across, half turns", "ageing, diagonals", "ageing, rounds",
        "ageing, over the edge")  # fmt: skip
"""Cases of paper, which take longest, for the long run alone."""
GRAIN = 201e-6
"""Mean grain of P80 [m]."""
SWAY = 5e-3


@dataclass(frozen=True)
class Case:
    """A drawn job: arguments for the program's own lap, and what the slow one needs besides."""

    length: float
    width: float
    columns: int
    rows: int
    face: tuple[float, ...]
    holes: tuple[tuple[float, float, float], ...]
    count: int
    tolerance: float
    places: int
    given: dict[str, Any]
    dish: float

    def heights(self, u: Any, v: Any) -> Any:
        """Bow or crown along and across, twist, and a third-order part [m]."""
        a, b = 2 * u / self.length, 2 * v / self.width
        bow, across, twist, cubic = self.face
        return bow * a**2 + across * b**2 + twist * a * b + cubic * (a**3 - a * b**2)


def draw(name: str, seed: int) -> Case:
    wants = CASES[name]
    rng = np.random.default_rng([seed, list(CASES).index(name)])
    columns, rows = int(rng.integers(14, 22)), int(rng.integers(8, 12))
    # Small where paper ages, so that sway and the fresher paper at the sides count for much.
    cell = 3e-3 if "ages" in wants else rng.uniform(8e-3, 11e-3)
    length, width = columns * cell, rows * cell
    bedding = rng.uniform(8e-6, 30e-6)
    press = rng.uniform(40, 120)
    weight = rng.uniform(0.1, 0.6) * press if "offset" in wants else 0.0
    travel = rng.uniform(0.3, 0.6) * length
    count = {"overhang": 120, "ages": 160}.get(next(iter(wants), ""), 60)
    # 2 λ off, on average, with all that.
    way = np.pi if "round" in wants else 1.0 if "one way" in wants else 2.0
    rate = 2.0 * bedding * length * width / ((press + weight) * way * travel * count)
    span = width if "across" in wants else length
    given: dict[str, Any] = dict(bedding=bedding, press=press, weight=weight, travel=travel, rate=rate)
    if "across" in wants:
        given["direction"] = np.pi / 2
    if "moment" in wants:
        given["reach"] = rng.uniform(0.05, 0.15) * span
    if "offset" in wants:
        given["bias"] = tuple(rng.uniform(-0.08, 0.08, 2) * [length, width])
        given["weight_at"] = tuple(rng.uniform(-0.08, 0.08, 2) * [length, width])
    if "pull" in wants:
        given["push_over_pull"] = rng.uniform(0.5, 2.0)
    if "half turns" in wants:
        given |= dict(states=((0.0, 0.0), (np.pi, 0.0)), turn_every=6)
    # The paper is twice as wide as the part; how long it is where it matters.
    end = length / 2 + rng.uniform(0.0, 0.4) * travel if "overhang" in wants else 2 * length
    given["strips"] = [(-end, -2 * width, end, 2 * width)]
    if "gap" in wants:
        gap = rng.uniform(1.0, 3.0) * cell
        given["strips"] = [(-end, -2 * width, -gap / 2, 2 * width), (gap / 2, -2 * width, end, 2 * width)]
    if "ages" in wants:
        given |= dict(ages=True, ageing=rng.uniform(1.0, 3.0), sway=SWAY)
        given["floors"] = tuple(rng.uniform(0.2, 0.5, 2))
    if "brushed" in wants:
        given |= dict(brush_every=25, sheet_every=50, brushing=rng.uniform(0.3, 0.7))
    if "blunt" in wants:
        given["blunt_bedding"] = rng.uniform(0.4, 0.7)
    if "clogs" in wants:
        given["friction_gain"] = rng.uniform(0.3, 0.6)
    if "edge" in wants:
        given |= dict(edge_rate=rng.uniform(0.5, 3.0), edge_rise=rng.uniform(0.3, 2.0) * bedding)
    for want, pattern in (("one way", "one way"), ("diagonal", "diagonal"), ("round", "circle")):
        if want in wants:
            given["pattern"] = pattern
    amount = rng.uniform(0.5, 3.0) * bedding
    return Case(
        length,
        width,
        columns,
        rows,
        face=tuple(amount * rng.uniform(-1, 1, 4) * [1.0, 0.5, 0.5, 0.3]),
        holes=((0.2 * length, 0.0, 0.4 * width), (-0.22 * length, 0.1 * width, 0.35 * width))
        if "holes" in wants
        else (),
        count=count,
        tolerance=max((TOLERANCE.get(want, EXACT) for want in wants), default=EXACT) * UM,
        places=3 if {"overhang", "gap", "dish"} & set(wants) else 1,
        given=given,
        dish=rng.uniform(0.5, 2.0) * bedding if "dish" in wants else 0.0,
    )


def by_the_program(case: Case, **changes: Any) -> tuple[Any, Any, Any]:
    """Places and heights of the cells after the lap."""
    outline = Outline.rectangular(
        case.length, case.width, tuple(circle(u, v, diameter) for u, v, diameter in case.holes)
    )
    scenario = job(outline, plate=(4 * case.length, 4 * case.width), **{**case.given, **changes})
    if case.dish:
        plate = replace(scenario.plate, shape="dish", shape_height=case.dish)
        scenario = replace(scenario, plate=plate)
    placed = case.places > 1 or case.given.get("pattern") == "circle"
    found = lap(
        scenario, case.heights, case.count, rows=case.count * (32 if placed else 8),
        cell=case.length / case.columns,
    )  # fmt: skip
    grid = found.rig.grid
    return grid.u[: grid.n_cells], grid.v[: grid.n_cells], found.cells


def by_the_slow_one(case: Case, place_by_place: bool = False) -> tuple[Any, Any, Any]:
    given = case.given
    u, v, area = raster(case.length, case.width, case.columns, case.rows, case.holes)
    ratio = given.get("push_over_pull", 1.0)
    hold = Hold(
        push=2.0 * given["press"] * ratio / (1.0 + ratio),
        pull=2.0 * given["press"] / (1.0 + ratio),
        bias=given.get("bias", (0.0, 0.0)),
        weight=given["weight"],
        weight_at=given.get("weight_at", (0.0, 0.0)),
        reach=given.get("reach", 0.0),
    )
    slow = SlowLap(
        u, v, area, case.heights(u, v), given["rate"], given["bedding"],
        cell=(case.length / case.columns, case.width / case.rows), strips=given["strips"],
    )  # fmt: skip
    if case.dish:
        a, b = 2 * case.length, 2 * case.width
        slow.ground = lambda x, y: case.dish * (0.5 * ((x / a) ** 2 + (y / b) ** 2) - 1.0)
    if "edge_rate" in given:
        slow.edge = Edge(given["edge_rate"], 60 * GRAIN, given["edge_rise"], sides_of(case))
    if given.get("ages"):
        slow.sheet = sheet_of(case)
    pattern = given.get("pattern", "straight")
    strokes(
        slow, hold, count=case.count, travel=given["travel"], direction=given.get("direction", 0.0),
        places=case.places, sway=SWAY if given.get("ages") else 0.0,
        states=given.get("states", ((0.0, 0.0),)), turn_every=given.get("turn_every", 0),
        brush_every=given.get("brush_every", 0), sheet_every=given.get("sheet_every", 0),
        one_way=pattern == "one way", slants=(np.pi / 4, -np.pi / 4) if pattern == "diagonal" else (0.0,),
        round_in=8 if pattern == "circle" else 0, place_by_place=place_by_place,
    )  # fmt: skip
    return u, v, slow.h


def sides_of(case: Case) -> Any:
    """Way [m] to the rim of a rectangle."""

    def ways(u: Any, v: Any, cu: float, cv: float) -> Any:
        along = (case.length / 2 - np.sign(cu) * u) / max(abs(cu), 1e-12)
        across = (case.width / 2 - np.sign(cv) * v) / max(abs(cv), 1e-12)
        return np.minimum(along, across)

    return ways


def sheet_of(case: Case) -> Sheet:
    """P80 on aluminium, dry, from what is stated of P120: floors as d^0.5 and d^0.3, brushing as d^0.3."""
    given, step = case.given, 1.4e-3
    coarser = GRAIN / 125e-6
    loading, dulling = given["floors"]
    # As far as corners, strokes and sway reach.
    reach = 0.5 * np.hypot(case.length, case.width) + 0.55 * given["travel"] + 4.0 * SWAY
    return Sheet(
        x0=-reach, y0=-reach, step=step, shape=(int(2 * reach / step) + 2,) * 2,
        floors=(min(loading * coarser**0.5, 0.85), min(dulling * coarser**0.3, 0.85)),
        scales=(0.005 * GRAIN * given["ageing"], 0.010 * GRAIN * given["ageing"]),
        leaves=1.0 - min(given.get("brushing", 0.6) * coarser**0.3, 0.85),
        blunt=given.get("blunt_bedding", 1.0), gain=given.get("friction_gain", 0.0),
        strips=given["strips"],
    )  # fmt: skip


def apart(case: Case, slow: tuple[Any, Any, Any], **changes: Any) -> float:
    """Greatest difference of the two faces [m], cell by cell."""
    u, v, h = by_the_program(case, **changes)
    near = [int(np.argmin((slow[0] - a) ** 2 + (slow[1] - b) ** 2)) for a, b in zip(u, v, strict=True)]
    assert sorted(near) == list(range(len(slow[0])))
    assert max(np.hypot(slow[0][near] - u, slow[1][near] - v)) < 0.05 * case.length / case.columns
    return float(np.abs(slow[2][near] - h).max())


def hold_case(checked, name: str, seed: int, slow: Any) -> None:
    case = draw(name, seed)
    checked(
        f"face after 2 λ of work, less that of the slow lap: {name}, case {seed}",
        expected=0.0,
        got=apart(case, slow) / UM,
        tolerance=case.tolerance / UM,
        unit="µm",
        kind="independent implementation",
        source=SOURCE,
        about="wear",
    )


@pytest.mark.parametrize("name", [name for name in CASES if name not in LONG])
def test_random_cases(checked, slow_face, name):
    hold_case(checked, name, 0, slow_face(name))


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "seed"),
    [(name, seed) for name in CASES for seed in (range(2) if name in LONG else range(1, 4))],
)
def test_more_random_cases(checked, name, seed):
    hold_case(checked, name, seed, by_the_slow_one(draw(name, seed)))


def test_what_averaging_over_the_stroke_costs_against_place_by_place(checked, slow_face):
    """Limit of short rows: the slow lap feels the paper where the part is, stroke by stroke, each swaying.

    The fewer bites of the paper's scales a stroke takes, the less it matters where it stood: averaged, the
    slow lap itself ends as near to the program as where nothing is placed.
    """
    case = draw("ageing", 0)
    averaged = slow_face("ageing")
    placed = by_the_slow_one(replace(case, places=3), place_by_place=True)
    assert np.abs(placed[2] - averaged[2]).max() > 2.0 * apart(case, averaged)
    checked(
        "face after 160 strokes, paper felt place by place, less that of the program, which averages",
        expected=0.0,
        got=apart(case, placed) / UM,
        tolerance=0.4,
        unit="µm",
        kind="independent implementation",
        source=SOURCE,
        about="paper",
    )


@pytest.mark.slow
def test_shorter_strokes_bring_place_by_place_nearer(checked):
    """A quarter of the metal a stroke, four times the strokes: half the difference and less."""
    case = draw("ageing", 0)
    finer = replace(
        case, places=3, count=4 * case.count, given={**case.given, "rate": case.given["rate"] / 4.0}
    )
    checked(
        "face after 640 strokes, paper felt place by place, less that of the program, which averages",
        expected=0.0,
        got=apart(case, by_the_slow_one(finer, place_by_place=True)) / UM,
        tolerance=0.2,
        unit="µm",
        kind="independent implementation",
        source=SOURCE,
        about="paper",
    )


MISTAKES = {
    "bedding length a tenth more": ("all of the hands", lambda g: dict(bedding=1.1 * g["bedding"])),
    "rate a hundredth more": ("plain", lambda g: dict(rate=1.01 * g["rate"])),
    "hands on the other side": ("off the middle", lambda g: dict(bias=tuple(-x for x in g["bias"]))),
    "weight left out": ("off the middle", lambda g: dict(weight_at=(0.0, 0.0))),
    "push and pull exchanged": ("all of the hands", lambda g: dict(push_over_pull=1.0 / g["push_over_pull"])),
    "hands a tenth higher": ("moment", lambda g: dict(reach=1.1 * g["reach"])),
    "never turned": ("half turns", lambda g: dict(turn_every=0)),
    "along for across": ("across", lambda g: dict(direction=0.0)),
    "paper without end": ("overhang", lambda g: dict(strips=None)),
    "a gap of nothing": ("two pieces of paper", lambda g: dict(strips=None)),
    "paper that ages a third slower": ("ageing", lambda g: dict(ageing=1.33 * g["ageing"])),
    "never brushed": ("ageing, brushed, new sheets", lambda g: dict(brush_every=0)),
    "one sheet for all": ("ageing, brushed, new sheets", lambda g: dict(sheet_every=0)),
    "a seventh more comes out by brushing": (
        "ageing, brushed, new sheets",
        lambda g: dict(brushing=0.15 + g["brushing"]),
    ),
    "clogged paper keeps a fifth more": (
        "ageing",
        lambda g: dict(floors=(1.2 * g["floors"][0], g["floors"][1])),
    ),
    "strokes sway by a fifth more": ("ageing", lambda g: dict(sway=1.2 * g["sway"])),
    "strokes for rounds": ("rounds", lambda g: dict(pattern="straight", rate=g["rate"] * np.pi / 2.0)),
    "rounds a tenth larger": (
        "ageing, rounds",
        lambda g: dict(travel=1.1 * g["travel"], rate=g["rate"] / 1.1),
    ),
    "tips that never blunt": ("all of the paper", lambda g: dict(blunt_bedding=1.0)),
    "friction that does not grow": ("all of the paper", lambda g: dict(friction_gain=0.0)),
    "an edge that cuts a twentieth faster": (
        "leading edge",
        lambda g: dict(edge_rate=1.05 * g["edge_rate"]),
    ),
    "a wave a twentieth higher": ("leading edge", lambda g: dict(edge_rise=1.05 * g["edge_rise"])),
    "an edge at the wrong end": (
        "leading edge, one way",
        lambda g: dict(direction=np.pi, bias=tuple(-x for x in g["bias"])),
    ),
}


@pytest.mark.parametrize(
    "mistake", [pytest.param(m, marks=[pytest.mark.slow] * (MISTAKES[m][0] in LONG)) for m in MISTAKES]
)
def test_a_mistake_would_be_seen(slow_face, mistake):
    """With one number wrong in the program's lap the two differ by more than twice what is allowed."""
    name, change = MISTAKES[mistake]
    case = draw(name, 0)
    assert apart(case, slow_face(name), **change(case.given)) > 2.0 * case.tolerance


@pytest.fixture(scope="module")
def slow_face():
    """The slow lap of a case, once for all tests."""
    found: dict[str, Any] = {}

    def of(name: str) -> Any:
        if name not in found:
            found[name] = by_the_slow_one(draw(name, 0))
        return found[name]

    return of
