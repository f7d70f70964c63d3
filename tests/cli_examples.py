"""Synthetic results for the tests of the command line: made up, no lap behind them."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from handlap.sim.common.grid import make_grid
from handlap.sim.job.results import (
    AnotherDraw,
    Band,
    BestPoint,
    Curve,
    Errors,
    Figures,
    LapEffort,
    LapFlat,
    LapLooks,
    LapRemoved,
    LapResult,
    LastFinish,
    OutOfFlat,
    Plan,
    PlanChances,
    PlanCheck,
    StagePlan,
    TakenOff,
    Verdict,
    WholeEffort,
)
from handlap.sim.job.scenario import Scenario
from handlap.sim.job.scenario_file import load

HEAD = "two-cylinder-head"
NARROW = "inlet-flange"
UM = 1e-6


def around(middle: float, factor: float = 1.4) -> Band:
    """A band about a middle value."""
    return Band(middle / factor, middle, middle * factor)


def synthetic_check(strokes: int, paper: str, cells: int, share: float, *, last: bool = False) -> PlanCheck:
    """A check after a share of the work."""
    left = Band(0.2 * share, 0.5 * share, 0.9 * share)
    return PlanCheck(
        strokes=strokes,
        paper=paper,
        flatness=around((120 - 90 * share) * UM),
        straightedge=around((110 - 85 * share) * UM),
        mean_depth=around(60 * share * UM),
        greatest_depth=around(130 * share * UM),
        mass=around(4e-3 * share),
        dye_left=left,
        dye_faded=Band(1.0 - 0.8 * share, 1.0 - 0.4 * share, 1.0 - 0.1 * share),
        dye_gone=left.rest,
        dye_gone_map=np.linspace(0.0, 1.0, cells),
        dye_faded_map=np.linspace(0.2, 1.0, cells),
        push=around(36.0),
        power=around(7.0 + share),
        reached=share,
        worse_next=None if last else 0.3,
    )


def synthetic_plan(name: str | Scenario = HEAD, answer: str = "lap", **changes: Any) -> Plan:
    """A made-up plan for a built-in scenario."""
    scenario = load(name) if isinstance(name, str) else name
    grid = make_grid(scenario.part.outline, cells=400)
    u, v = grid.u / grid.u_edges[-1], grid.v / grid.v_edges[-1]
    before = 60 * UM * (u**2 + 0.5 * v**2) + 8 * UM * u * v
    after = 0.2 * before
    removed = before - after + 5 * UM
    cells = grid.n_cells
    papers = [grit.name for grit in scenario.paper.grits][-2:]
    stages = tuple(
        StagePlan(
            paper=paper,
            strokes=480,
            strokes_band=Band(310.0, 480.0, 1240.0),
            turn_every=120 if i == 0 else 0,
            turning=scenario.turning.name,
            brush_every=240,
            sheet_every=480,
            sheets=2,
            brushings=1,
            bedding=around(20 * UM),
            roughness=(1.3 * UM, 2.5 * UM),
            purpose="until flat: stop at the goal or when it gets worse"
            if i == 0
            else "until the scratches are gone",
            push_fresh=around(30.0),
            push_clogged=around(42.0),
            checks=tuple(
                synthetic_check(
                    480 * i + 80 * (k + 1), paper, cells, min(1.0, (k + 1 + 8 * i) / 16), last=k == 7
                )
                for k in range(8)
            ),
        )
        for i, paper in enumerate(papers)
    )
    strokes = np.arange(80.0, 2001.0, 80.0)
    decay = np.exp(-strokes / 500.0)[:, None] * np.array([0.7, 1.0, 1.4])
    mean_depth = np.linspace(20, 70, 16) * UM
    density, area = scenario.part.metal.density, scenario.part.outline.area
    mass = density * area * mean_depth
    plan = Plan(
        scenario=scenario,
        members=16,
        seed=0,
        verdict=Verdict(
            answer,  # type: ignore[arg-type]
            ("it is outside the limit",),
            {"leave_at": 0.9, "lap_at": 0.75},
            ("read again with thinner leaves",) if answer == "cannot tell" else (),
        ),
        survey_notes=("a reading does not fit <b>its</b> neighbours: read again",),
        before=OutOfFlat(around(120 * UM), around(110 * UM)),
        after=OutOfFlat(around(22 * UM), around(20 * UM)),
        removed=TakenOff(
            greatest=around(130 * UM),
            greatest_at=(float(grid.u[0]), float(grid.v[0])),
            mean=Band.of(mean_depth),
            taper_along=Band(-3 * UM, 1 * UM, 5 * UM),
            taper_across=Band(-1 * UM, 0.0, 1 * UM),
            mass=Band.of(mass),
            volume=Band.of(mass / density),
        ),
        effort=WholeEffort(
            strokes=Band(790.0, 960.0, 1720.0),
            minutes=Band(24.0, 32.0, 66.0),
            stroke_minutes=Band(18.0, 24.0, 51.0),
            turning_minutes=Band(0.2, 0.3, 0.5),
            brushing_minutes=Band(0.5, 0.5, 1.5),
            sheet_minutes=Band(6.0, 9.0, 15.0),
            work=Band(5e3, 9e3, 2e4),
            power=Band(4.0, 7.0, 11.0),
            sheets=4,
            brushings=2,
        ),
        chance=PlanChances(0.91, 0.98 if scenario.part.allowance is not None else None, 0.9, 0.0),
        finish=LastFinish((0.6 * UM, 1.2 * UM), None),
        stages=stages,
        best_point=BestPoint(1680, around(9 * UM), 0.72),
        curve=Curve(
            strokes, 120 * UM * decay, 110 * UM * decay, 130 * UM * (1 - decay / 2), 60 * UM * (1 - decay / 2)
        ),
        clipped=0.004,
        tipped=0.0,
        errors=Errors(
            tolerance=0.5 * UM,
            step=0.31 * UM,
            grid=0.12 * UM,
            cells=cells,
            rows=1816,
            flatness=0.43 * UM,
            straightedge=0.113 * UM,
            greatest_depth=2.1 * UM,
            mean_depth=0.0004 * UM,
            strokes=6.2,
        ),
        another=AnotherDraw((842.0, 1107.0), (28.1, 36.4), (121 * UM, 143 * UM), None),
        grid=grid,
        map_before=before,
        map_after=after,
        map_removed=removed,
        map_before_sd=np.full(grid.u.size, 8 * UM),
        map_after_sd=np.full(grid.u.size, 4 * UM),
        cautions=("Aluminium dust burns and can explode.", "The maker's limits come first."),
        member_mean_depth=mean_depth,
        member_mass=mass,
    )
    return replace(plan, **changes)


def without_work(answer: str) -> Plan:
    """A made-up plan of which no work is shown."""
    if answer == "leave":
        return synthetic_plan(answer=answer)
    plan = synthetic_plan(answer=answer, stages=(), best_point=None)
    return replace(plan, effort=replace(plan.effort, sheets=0, brushings=0))


def synthetic_lap(name: str = HEAD) -> LapResult:
    """A made-up lap of a built-in scenario."""
    plan = synthetic_plan(name)
    scenario, grid = plan.scenario, plan.grid
    done = np.array([0.25, 0.5, 0.75, 1.0])
    depth = 48 * UM * done
    density, area = scenario.part.metal.density, scenario.part.outline.area
    figures = Figures(
        flatness=(118.4 - 80 * done) * UM,
        straightedge=(109.7 - 78 * done) * UM,
        mean_depth=depth,
        greatest_depth=2 * depth,
        taper_along=0.5 * UM * done,
        taper_across=-0.1 * UM * done,
    )
    volume = float(area * depth[-1])
    return LapResult(
        scenario=scenario,
        paper=scenario.paper.grits[0].name,
        before=LapFlat(118.4 * UM, 109.7 * UM),
        after=LapFlat(figures.flatness[-1], figures.straightedge[-1]),
        removed=LapRemoved(2 * depth[-1], depth[-1], 0.5 * UM, -0.1 * UM, density * volume, volume),
        deposited=volume,
        effort=LapEffort(strokes=400, minutes=10.0, work=4400.0, load_sliding=8800.0),
        looks=LapLooks(
            strokes=(400 * done).astype(int),
            figures=figures,
            mass=density * area * depth,
            dye_left=1.0 - done,
            dye_faded=np.sqrt(done),
            dye_gone_map=(done[:, None] > np.linspace(0.0, 1.0, grid.n_cells)).astype(float),
            dye_faded_map=(np.sqrt(done)[:, None] > np.linspace(0.0, 1.0, grid.n_cells)).astype(float),
        ),
        clipped=0.0,
        tipped=0.0,
        errors=Errors(
            tolerance=0.1 * UM,
            step=0.07 * UM,
            grid=0.05 * UM,
            cells=grid.n_cells,
            rows=640,
            flatness=0.09 * UM,
            straightedge=0.08 * UM,
            greatest_depth=0.2 * UM,
            mean_depth=0.01 * UM,
        ),
        grid=grid,
        map_before=plan.map_before,
        map_after=plan.map_after,
        notes=("one face of many",),
    )
