"""The pictures of a plan, a lap and a survey, as PNG.

Figures are made without pyplot, so nothing is shared and nothing is left open.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import ArrayLike

from handlap.cli.drawing import colours
from handlap.cli.drawing.course_drawing import BEYOND_STOP, LEAST_SCALE, DrawnCourse, Marks, course_figure
from handlap.cli.drawing.dye_drawing import Panel, dye_figure, dye_title
from handlap.cli.drawing.face_map import (
    draw_face,
    finish_bar,
    levels_between,
    mark_ends,
    rimmed,
    room,
    set_title,
    sheet_of_faces,
    step_words,
)
from handlap.cli.drawing.letters import FAMILY
from handlap.cli.drawing.sizes import folded
from handlap.cli.reports.plan_report import ends_at
from handlap.cli.reports.quantity import height
from handlap.cli.reports.wording import microns
from handlap.sim.common.grid import Grid
from handlap.sim.common.outline import Array, Outline
from handlap.sim.common.spoken import height_unit, per_height, per_length
from handlap.sim.lapping.dye import RENEW_BELOW, tone

if TYPE_CHECKING:
    from handlap.sim.face.survey import Survey
    from handlap.sim.job.results import Band, LapResult, Plan
    from handlap.sim.job.scenario import Scenario

DPI = 150
STYLE: Any = {
    "font.size": 10.0,
    "axes.titlesize": 11.0,
    "axes.titlelocation": "left",
    "axes.labelcolor": colours.INK,
    "text.color": colours.INK,
    "xtick.color": colours.INK,
    "ytick.color": colours.INK,
    "axes.edgecolor": colours.FAINT,
    "font.family": FAMILY,
    # A name with a dollar sign in it is a name, not a formula.
    "text.parse_math": False,
}


def png(figure: Figure) -> bytes:
    """The figure as a PNG file."""
    stream = io.BytesIO()
    # Without a date or a version in it, the same plan gives the same bytes.
    figure.savefig(stream, format="png", dpi=DPI, metadata={"Software": None})
    return stream.getvalue()


def plan_pictures(plan: Plan) -> dict[str, bytes]:
    """PNG by name: warp, depth, dye, course (the last two where there is work to do)."""
    with matplotlib.rc_context(STYLE):
        return {name: png(figure) for name, figure in plan_figures(plan).items()}


def plan_figures(plan: Plan) -> dict[str, Figure]:
    """The pictures of a plan by the names of their files; figures in their titles are those of the tables."""
    outline, grid = plan.scenario.part.outline, plan.grid
    before = f"flatness {microns(plan.before.flatness)}"
    if plan.verdict.answer == "leave" or not any(stage.strokes for stage in plan.stages):
        return {"warp.png": warp_figure(outline, grid, plan.map_before, None, told=(before,))}
    both = (before, f"flatness {ends_at(plan.after.flatness)}")
    mean, most = microns(plan.removed.mean), microns(plan.removed.greatest)
    found = {
        "warp.png": warp_figure(outline, grid, plan.map_before, plan.map_after, told=both),
        "depth.png": depth_figure(outline, grid, plan.map_removed, told=(mean, most)),
    }
    checks = [check for stage in plan.stages for check in stage.checks]
    if checks:
        found["dye.png"] = dye_figure(outline, grid, dye_panels(plan), "dye, mean of all cases")
    best = plan.best_point
    planned = next(stage for stage in plan.stages if stage.strokes)
    band = planned.strokes_band
    found["course.png"] = course_figure(
        _plan_course(plan),
        plan.scenario.part,
        f"on {planned.paper}",
        Marks(
            best=None if best is None else best.strokes,
            planned=planned.strokes,
            stops=(band.p05, band.p95) if band.p95 > band.p05 else None,
        ),
        look_at=BEYOND_STOP * max(band.p95, planned.strokes),
    )
    return found


def dye_panels(plan: Plan) -> list[Panel]:
    """The dye at each check; once half of it is gone it is put on anew, and both are shown."""
    found = []
    for stage in plan.stages:
        for check in stage.checks:
            title = dye_title(
                f"{check.strokes} strokes, {check.paper}", check.dye_faded.p50, check.dye_left.rest.p50
            )
            found.append(
                Panel(title, tone(check.dye_gone_map, check.dye_faded_map), check.dye_left.p50 < RENEW_BELOW)
            )
    return found


def _plan_course(plan: Plan) -> DrawnCourse:
    """The curve of a plan with the face before the first stroke put in front."""
    curve = plan.curve
    if len(curve.strokes) and curve.strokes[0] == 0:
        return DrawnCourse(curve.strokes, curve.flatness, curve.straightedge, curve.greatest_depth)

    def from_start(before: Band | None, rest: Array) -> Array:
        first = [0.0] * 3 if before is None else [before.p05, before.p50, before.p95]
        return np.vstack([first, rest])

    return DrawnCourse(
        np.concatenate([[0.0], curve.strokes]),
        from_start(plan.before.flatness, curve.flatness),
        from_start(plan.before.straightedge, curve.straightedge),
        from_start(None, curve.greatest_depth),
    )


def lap_pictures(result: LapResult) -> dict[str, bytes]:
    """PNG by name: warp, depth, dye, course."""
    outline, grid, looks = result.scenario.part.outline, result.grid, result.looks
    f, strokes = looks.figures, np.concatenate([[0.0], looks.strokes])

    def thrice(first: float, rest: ArrayLike) -> Array:
        return np.repeat(np.concatenate([[first], np.asarray(rest)])[:, None], 3, axis=1)

    course = DrawnCourse(
        strokes,
        thrice(result.before.flatness, f.flatness),
        thrice(result.before.straightedge, f.straightedge),
        thrice(0.0, f.greatest_depth),
    )
    panels = [
        Panel(dye_title(f"{int(n)} strokes", faded, 1.0 - left), map_, left < RENEW_BELOW)
        for n, faded, left, map_ in zip(
            looks.strokes, looks.dye_faded, looks.dye_left,
            tone(looks.dye_gone_map, looks.dye_faded_map), strict=True,
        )
    ]  # fmt: skip
    with matplotlib.rc_context(STYLE):
        return {
            "warp.png": png(warp_figure(outline, grid, result.map_before, result.map_after)),
            "depth.png": png(depth_figure(outline, grid, result.map_before - result.map_after)),
            "dye.png": png(dye_figure(outline, grid, panels, "dye")),
            "course.png": png(course_figure(course, result.scenario.part, f"on {result.paper}")),
        }


def survey_pictures(scenario: Scenario, found: Survey) -> dict[str, bytes]:
    """PNG by name: map."""
    with matplotlib.rc_context(STYLE):
        return {"map.png": png(survey_figure(scenario, found))}


def levelled(grid: Grid, heights: Array) -> Array:
    """Heights (n,) with their area-weighted best plane taken off [m]."""
    basis = np.column_stack([np.ones_like(grid.u), grid.u / grid.u_edges[-1], grid.v / grid.v_edges[-1]])
    weighted = basis * grid.area[:, None]
    found: Array = heights - basis @ np.linalg.solve(weighted.T @ basis, weighted.T @ heights)
    return found


def _even_scale(*maps: Array) -> float:
    """Half width [µm] of a scale about zero that holds all maps."""
    return max(LEAST_SCALE, per_height() * max(float(np.abs(m).max()) for m in maps))


def warp_figure(
    outline: Outline,
    grid: Grid,
    before: Array,
    after: Array | None,
    *,
    told: Sequence[str] = (),
    names: tuple[str, str] = ("Before", "After"),
) -> Figure:
    """The face before and after (if it is worked) on one scale, each less its best plane.

    ``told``: what is said of each, where it is of many faces of which these are one; else their own span.
    """
    faces = (before,) if after is None else (before, after)
    pair = [levelled(grid, heights)[: grid.n_cells] for heights in faces]
    half = _even_scale(*pair)
    levels = levels_between(-half, half)
    figure, both = sheet_of_faces(outline, len(pair))
    mesh: Any = None
    for k, (axes, heights) in enumerate(zip(both, pair, strict=True)):
        mesh = draw_face(
            axes,
            outline,
            grid,
            heights * per_height(),
            colours=colours.HEIGHT,
            low=-half,
            high=half,
            levels=levels,
        )
        mark_ends(axes, grid, heights * per_height(), LEAST_SCALE)
        span = told[k] if told else f"from {_um(heights.min())} to {_um(heights.max())}"
        set_title(axes, f"{'The face' if after is None else names[k]}: {span}")
    _heights_bar(figure, mesh, both, levels)
    figure.supxlabel(folded(f"{HEIGHT_WORDS}{f' {ONE_CASE}' if told else ''}", room(figure), 9.0), fontsize=9)
    return figure


HEIGHT_WORDS = "Proud is brown (+), low is blue (−); lines are broken below the plane."
ONE_CASE = "The figures are those of all cases; the map is one of them, the nearest to the middle."


def _heights_bar(figure: Figure, mesh: Any, axes: Sequence[Axes], levels: Sequence[float]) -> None:
    bar = figure.colorbar(mesh, ax=list(axes), aspect=30, shrink=0.9, pad=0.02)
    finish_bar(bar, f"height over the best plane, {height_unit()}\n{step_words(levels, height_unit())}")


def depth_figure(
    outline: Outline, grid: Grid, removed: Array, *, told: tuple[str, str] | None = None
) -> Figure:
    """Depth removed; the spot that loses most is marked.

    ``told``: mean and greatest depth of all cases, of which this is one; else its own.
    """
    depth = removed * per_height()
    most = int(depth.argmax())
    high = max(float(depth.max()), LEAST_SCALE)
    levels = levels_between(0.0, high)
    figure, (axes,) = sheet_of_faces(outline, 1)
    mesh = draw_face(
        axes, outline, grid, depth[: grid.n_cells], colours=colours.DEPTH, low=0.0, high=high, levels=levels
    )
    axes.plot(
        grid.u[most] * per_length(), grid.v[most] * per_length(), "o", ms=11, mfc="none", mec=colours.MARK,
        mew=1.8, clip_on=False, path_effects=rimmed(1.8),
    )  # fmt: skip
    own = _um(float(removed @ grid.area / grid.area.sum())), _um(removed[most])
    mean, greatest = told or own
    set_title(axes, f"Metal removed: {mean} on average, {greatest} at most (ring)", wide=room(figure) - 0.5)
    words = f"depth removed, {height_unit()}\n{step_words(levels, height_unit())}".strip()
    finish_bar(figure.colorbar(mesh, ax=axes, aspect=25, shrink=0.9, pad=0.02), words)
    if told:
        figure.supxlabel(folded(ONE_CASE, room(figure), 9.0), fontsize=9)
    return figure


def survey_figure(scenario: Scenario, found: Survey) -> Figure:
    """The middle face with the lines that were read, and how far the map may be out."""
    outline, grid = scenario.part.outline, found.grid
    cells = slice(0, grid.n_cells)
    heights, doubt = found.mean_map[cells], 1.645 * found.sd_map[cells]
    half = _even_scale(heights)
    figure, both = sheet_of_faces(outline, 2, across=1)
    levels = levels_between(-half, half)
    mesh = draw_face(
        both[0],
        outline,
        grid,
        heights * per_height(),
        colours=colours.HEIGHT,
        low=-half,
        high=half,
        levels=levels,
    )
    mark_ends(both[0], grid, heights * per_height(), LEAST_SCALE)
    wide = room(figure) - 1.0
    span = f"Height over the best plane: {_um(heights.min())} to {_um(heights.max())}"
    set_title(both[0], span, wide=wide)
    words = f"{height_unit()}, + proud\n{step_words(levels, height_unit())}"
    finish_bar(figure.colorbar(mesh, ax=both[0], aspect=22, shrink=0.9, pad=0.02), words)
    low, high, steps = doubt_scale(doubt * per_height())
    mesh = draw_face(
        both[1], outline, grid, doubt * per_height(), colours=colours.DOUBT, low=low, high=high, levels=steps
    )
    advice = found.next_line is not None and found.next_line.helps
    next_line = "; the broken line is to be read next" if advice else ""
    doubted = f"How far out that may be (90 in 100), and what was read{next_line}"
    set_title(both[1], doubted, 10.0, wide)
    words = f"± {height_unit()}\n{step_words(steps, height_unit())}".strip()
    finish_bar(figure.colorbar(mesh, ax=both[1], aspect=22, shrink=0.9, pad=0.02), words)
    _draw_readings(both[1], scenario, found)
    return figure


def doubt_scale(doubt: Array) -> tuple[float, float, list[float]]:
    """Ends of a scale of doubts [µm], which begins near the least of them, and the levels of lines between.

    >>> doubt_scale(np.array([11.0, 24.0]))[:2]
    (10.0, 24.0)
    """
    low, high = float(doubt.min()), max(float(doubt.max()), LEAST_SCALE)
    steps = levels_between(low, high, 6)
    step = steps[1] - steps[0] if len(steps) > 1 else 0.0
    return (step * float(np.floor(low / step)) if step else 0.0), high, steps


def _draw_readings(axes: Axes, scenario: Scenario, found: Survey) -> None:
    doubted = {(c.line, round(c.at, 6)) for c in found.contradictions}
    for line in scenario.readings.lines:
        start, end = np.array(line.start) * per_length(), np.array(line.end) * per_length()
        along = (end - start) / max(float(np.hypot(*(end - start))), 1e-9)
        axes.plot(*zip(start, end, strict=True), color=colours.FLATNESS, lw=1.2, path_effects=rimmed(1.2))
        for station in line.stations:
            spot = start + along * station.at * per_length()
            wrong = (line.name, round(station.at, 6)) in doubted
            look: dict[str, Any] = {"marker": "X", "ms": 9, "mfc": colours.MARK, "mec": colours.GROUND}
            if not wrong:
                look = {"marker": "o", "ms": 4.5, "mfc": colours.GROUND, "mec": colours.FLATNESS}
            axes.plot(*spot, mew=1.0, clip_on=False, **look)
    table = scenario.readings.table
    if table is not None:
        axes.plot(table.u * per_length(), table.v * per_length(), ".", ms=3.5, color=colours.FLATNESS)
    extra = found.next_line
    if extra is not None and extra.helps:
        start, end = np.array(extra.line.start) * per_length(), np.array(extra.line.end) * per_length()
        axes.plot(
            *zip(start, end, strict=True),
            color=colours.MARK,
            lw=1.8,
            ls=(0, (4, 2)),
            path_effects=rimmed(1.8),
        )


def _um(value: float) -> str:
    return height(float(value), 2)
