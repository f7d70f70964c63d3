"""The pictures of a plan, a lap and a survey, as PNG.

Figures are made without pyplot, so nothing is shared and nothing is left open.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import ArrayLike

from handlap.cli.drawing import colours
from handlap.cli.drawing.face_map import draw_face, levels_between, rimmed, sheet_of_faces
from handlap.cli.drawing.letters import FAMILY
from handlap.cli.reports.quantity import height, share, stated_height
from handlap.sim.common.grid import Grid
from handlap.sim.common.outline import Array, Outline
from handlap.sim.common.spoken import height_unit, per_height, per_length
from handlap.sim.lapping.dye import tone

if TYPE_CHECKING:
    from handlap.sim.face.survey import Survey
    from handlap.sim.job.results import Band, LapResult, Plan
    from handlap.sim.job.scenario import Part, Scenario

DPI = 150
MOST_DYE = 12
DYE_STATES = ("gone", "fading", "full")
"""What stands at the ends and the middle of the scale of the dye."""
DOTTED = (0, (1, 1.2))
LEAST_SCALE = 0.01
"""Half width of a scale on which nothing is to be seen [µm]."""
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


@dataclass(frozen=True)
class Course:
    """Figures against strokes; arrays (k, 3) as p05, p50, p95, all alike where nothing is uncertain [m]."""

    strokes: Array
    flatness: Array
    straightedge: Array
    greatest_depth: Array


def png(figure: Figure) -> bytes:
    """The figure as a PNG file."""
    stream = io.BytesIO()
    # Without a date or a version in it, the same plan gives the same bytes.
    figure.savefig(stream, format="png", dpi=DPI, metadata={"Software": None})
    return stream.getvalue()


def plan_pictures(plan: Plan) -> dict[str, bytes]:
    """PNG by name: warp, depth, dye, course (the last two where there is work to do)."""
    outline, grid = plan.scenario.part.outline, plan.grid
    checks = [check for stage in plan.stages for check in stage.checks]
    with matplotlib.rc_context(STYLE):
        if plan.verdict.answer == "leave" or not any(stage.strokes for stage in plan.stages):
            return {"warp.png": png(warp_figure(outline, grid, plan.map_before, None))}
        found = {"warp.png": png(warp_figure(outline, grid, plan.map_before, plan.map_after))}
        found["depth.png"] = png(depth_figure(outline, grid, plan.map_removed))
        if checks:
            titles = [
                dye_title(f"{c.strokes} strokes, {c.paper}", c.dye_faded.p50, c.dye_left.rest.p50)
                for c in checks
            ]
            maps = [tone(c.dye_gone, c.dye_faded_map) for c in checks]
            found["dye.png"] = png(dye_figure(outline, grid, maps, titles, "dye, mean of all cases"))
        best = plan.best_point
        planned = next(stage for stage in plan.stages if stage.strokes)
        look_at = max(1.5 * planned.strokes_band.p95, 1.2 * (best.strokes if best is not None else 0))
        found["course.png"] = png(
            course_figure(
                _plan_course(plan),
                plan.scenario.part,
                f"on {planned.paper}",
                best=None if best is None else best.strokes,
                planned=planned.strokes,
                look_at=look_at,
            )
        )
    return found


def _plan_course(plan: Plan) -> Course:
    """The curve of a plan with the face before the first stroke put in front."""
    curve = plan.curve
    if len(curve.strokes) and curve.strokes[0] == 0:
        return Course(curve.strokes, curve.flatness, curve.straightedge, curve.greatest_depth)

    def from_start(before: Band | None, rest: Array) -> Array:
        first = [0.0] * 3 if before is None else [before.p05, before.p50, before.p95]
        return np.vstack([first, rest])

    return Course(
        np.concatenate([[0.0], curve.strokes]),
        from_start(plan.before_flatness, curve.flatness),
        from_start(plan.before_straightedge, curve.straightedge),
        from_start(None, curve.greatest_depth),
    )


def lap_pictures(result: LapResult) -> dict[str, bytes]:
    """PNG by name: warp, depth, dye, course."""
    outline, grid, f = result.scenario.part.outline, result.grid, result.figures
    strokes = np.concatenate([[0.0], result.strokes])

    def thrice(first: float, rest: ArrayLike) -> Array:
        return np.repeat(np.concatenate([[first], np.asarray(rest)])[:, None], 3, axis=1)

    course = Course(
        strokes,
        thrice(result.before_flatness, f.flatness),
        thrice(result.before_straightedge, f.straightedge),
        thrice(0.0, f.greatest_depth),
    )
    titles = [
        dye_title(f"{int(n)} strokes", faded, 1.0 - left)
        for n, faded, left in zip(result.strokes, result.dye_faded, result.dye_left, strict=True)
    ]
    maps = list(tone(result.dye_gone, result.dye_faded_map))
    with matplotlib.rc_context(STYLE):
        return {
            "warp.png": png(warp_figure(outline, grid, result.map_before, result.map_after)),
            "depth.png": png(depth_figure(outline, grid, result.map_before - result.map_after)),
            "dye.png": png(dye_figure(outline, grid, maps, titles, "dye")),
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
    return heights - basis @ np.linalg.solve(weighted.T @ basis, weighted.T @ heights)


def _even_scale(*maps: Array) -> float:
    """Half width [µm] of a scale about zero that holds all maps."""
    return max(LEAST_SCALE, per_height() * max(float(np.abs(m).max()) for m in maps))


def warp_figure(outline: Outline, grid: Grid, before: Array, after: Array | None) -> Figure:
    """The face before and after (if it is worked) on one scale, each less its best plane."""
    faces = {"Before": before} if after is None else {"Before": before, "After": after}
    pair = [levelled(grid, heights)[: grid.n_cells] for heights in faces.values()]
    half = _even_scale(*pair)
    levels = levels_between(-half, half)
    figure, both = sheet_of_faces(outline, len(pair))
    mesh: Any = None
    for axes, heights, title in zip(both, pair, faces, strict=True):
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
        axes.set_title(
            f"{title if after is not None else 'The face'}: from {_um(heights.min())} to {_um(heights.max())}"
        )
    bar = figure.colorbar(mesh, ax=both, aspect=30, shrink=0.9, pad=0.02)
    finish_bar(bar, f"height over the best plane, {height_unit()}")
    figure.supxlabel(_typical("proud is brown, low is blue; lines are broken below the plane"), fontsize=9)
    return figure


def depth_figure(outline: Outline, grid: Grid, removed: Array) -> Figure:
    """Depth removed; the spot that loses most is marked."""
    depth = removed * per_height()
    most = int(depth.argmax())
    high = max(float(depth.max()), LEAST_SCALE)
    figure, (axes,) = sheet_of_faces(outline, 1)
    mesh = draw_face(
        axes, outline, grid, depth[: grid.n_cells], colours=colours.DEPTH, low=0.0, high=high,
        levels=levels_between(0.0, high),
    )  # fmt: skip
    axes.plot(
        grid.u[most] * per_length(), grid.v[most] * per_length(), "o", ms=11, mfc="none", mec=colours.MARK,
        mew=1.8, clip_on=False, path_effects=rimmed(1.8),
    )  # fmt: skip
    mean = float(removed @ grid.area / grid.area.sum())
    axes.set_title(f"Metal removed: {_um(mean)} on average, {_um(removed[most])} at most (ring)")
    finish_bar(
        figure.colorbar(mesh, ax=axes, aspect=25, shrink=0.9, pad=0.02), f"depth removed, {height_unit()}"
    )
    return figure


def dye_figure(
    outline: Outline, grid: Grid, maps: Sequence[Array], titles: Sequence[str], label: str
) -> Figure:
    """The dye at each look (all or some of them): maps (cells,) of 1 full, ½ fading, 0 gone."""
    shown = min(MOST_DYE, len(maps))
    picks = [round(i * (len(maps) - 1) / max(1, shown - 1)) for i in range(shown)]
    across = 2 if outline.length > 3.0 * outline.width else 4 if len(picks) > 4 else 2
    figure, all_axes = sheet_of_faces(outline, len(picks), across=across, size=4.2 if across == 2 else 2.7)
    mesh: Any = None
    for axes, i in zip(all_axes, picks, strict=True):
        mesh = draw_face(axes, outline, grid, maps[i], colours=colours.DYE, low=0.0, high=1.0)
        axes.set_title(titles[i], fontsize=9.5)
    bar = figure.colorbar(mesh, ax=all_axes, aspect=35, shrink=0.8, pad=0.02, ticks=[0.0, 0.5, 1.0])
    finish_bar(bar, label)
    bar.ax.set_yticklabels(DYE_STATES)
    return figure


def dye_title(when: str, faded: float, gone: float) -> str:
    """Over a map of the dye: when it is, and the shares of the face fading or gone, and gone."""
    return f"{when}\n{share(faded)} fading or gone, {share(gone)} gone"


def course_figure(
    course: Course,
    part: Part,
    where: str,
    *,
    best: int | None = None,
    planned: int | None = None,
    look_at: float | None = None,
) -> Figure:
    """Flatness and straightedge above, greatest depth below, against strokes, with their limits.

    ``best`` and ``planned`` are marked [strokes]; the axis ends at ``look_at`` [strokes].
    """
    figure = Figure(figsize=(8.4, 6.2), facecolor=colours.GROUND, layout="constrained")
    top, bottom = figure.subplots(2, 1, sharex=True, height_ratios=[3, 2])
    x = course.strokes
    end = min(float(x.max()), look_at or float(x.max()))
    sense = "straightedge" if part.limit_by == "straightedge" else "flatness"
    _band(top, x, course.flatness, colours.FLATNESS, "solid", "flatness (minimum zone)")
    _band(top, x, course.straightedge, colours.STRAIGHTEDGE, DOTTED, "straightedge's reading", filled=False)
    _limit(
        top,
        per_height() * part.limit,
        f"limit for the {sense}, {stated_height(part.limit)}",
    )
    _band(bottom, x, course.greatest_depth, colours.REMOVED, "solid", "deepest spot")
    if part.allowance is not None:
        _limit(
            bottom,
            per_height() * part.allowance,
            f"allowance, {stated_height(part.allowance)}",
        )
    for axes in (top, bottom):
        axes.set_ylim(bottom=0.0)
        axes.set_xlim(0.0, end)
        axes.grid(color=colours.RULE, lw=0.6)
        axes.spines[["top", "right"]].set_visible(False)
        if planned is not None:
            axes.axvline(planned, color=colours.INK, lw=1.0, label=f"planned: {planned} strokes")
        if best is not None and best <= end:
            axes.axvline(
                best, color=colours.MARK, lw=1.4, ls=(0, (5, 2, 1, 2)), label=f"best point: {best} strokes"
            )
    top.set_ylabel(f"out of flat, {height_unit()}")
    bottom.set_ylabel(f"removed, {height_unit()}")
    bottom.set_xlabel(f"strokes {where}")
    banded = bool(np.any(course.flatness[:, 2] > course.flatness[:, 0]))
    note = "Shaded: 90 of 100 cases. " if banded else ""
    top.set_title(f"Flatness and metal removed against strokes. {note}".strip())
    top.set_ylim(top=_highest(x, course.flatness, end, part.limit))
    bottom.set_ylim(top=_highest(x, course.greatest_depth, end, part.allowance))
    top.legend(loc="upper right", framealpha=1.0, edgecolor="none")
    names = bottom.get_legend_handles_labels()
    bottom.legend(names[0][:2], names[1][:2], loc="upper left", framealpha=1.0, edgecolor="none")
    return figure


def _highest(x: Array, values: Array, end: float, line: float | None) -> float:
    """Top of an axis [µm] that shows the band up to ``end`` and the line."""
    seen = float(values[x <= end].max()) if np.any(x <= end) else 0.0
    return 1.08 * per_height() * max(seen, line or 0.0, LEAST_SCALE / per_height())


def _band(
    axes: Axes, x: Array, values: Array, colour: str, style: Any, label: str, *, filled: bool = True
) -> None:
    """A middle line with its band, filled or between two thin lines."""
    low, middle, high = (per_height() * values).T
    if np.any(high > low) and filled:
        axes.fill_between(x, low, high, color=colour, alpha=0.18, lw=0)
    elif np.any(high > low):
        axes.plot(x, low, x, high, color=colour, lw=0.9, ls=style)
    axes.plot(x, middle, color=colour, lw=2.0, ls=style, label=label)


def _limit(axes: Axes, at: float, label: str) -> None:
    axes.axhline(at, color=colours.LIMIT, lw=1.2, ls=(0, (6, 3)), label=label)


def survey_figure(scenario: Scenario, found: Survey) -> Figure:
    """The middle face with the lines that were read, and how far the map may be out."""
    outline, grid = scenario.part.outline, found.grid
    cells = slice(0, grid.n_cells)
    heights, doubt = found.mean_map[cells], 1.645 * found.sd_map[cells]
    half = _even_scale(heights)
    figure, both = sheet_of_faces(outline, 2, across=1)
    mesh = draw_face(
        both[0], outline, grid, heights * per_height(), colours=colours.HEIGHT, low=-half, high=half,
        levels=levels_between(-half, half),
    )  # fmt: skip
    both[0].set_title(f"Height over the best plane: {_um(heights.min())} to {_um(heights.max())}")
    finish_bar(
        figure.colorbar(mesh, ax=both[0], aspect=22, shrink=0.9, pad=0.02), f"{height_unit()}, + proud"
    )
    high = max(float(doubt.max()) * per_height(), LEAST_SCALE)
    mesh = draw_face(both[1], outline, grid, doubt * per_height(), colours=colours.DOUBT, low=0.0, high=high)
    advice = found.next_line is not None and found.next_line.helps
    next_line = "; the broken line is to be read next" if advice else ""
    both[1].set_title(f"How far out that may be (90 in 100), and what was read{next_line}", fontsize=10)
    finish_bar(figure.colorbar(mesh, ax=both[1], aspect=22, shrink=0.9, pad=0.02), f"± {height_unit()}")
    _draw_readings(both[1], scenario, found)
    return figure


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


def _typical(words: str) -> str:
    return words[:1].upper() + words[1:]


def finish_bar(bar: Any, label: str) -> None:
    """Label a colour bar and take its frame away."""
    bar.set_label(label)
    bar.outline.set_visible(False)
    bar.ax.tick_params(color=colours.FAINT, length=3)
