"""Pictures: one scale, openings empty, colours that survive grey, the same bytes every time."""

from __future__ import annotations

import struct

import matplotlib
import numpy as np
import pytest
from cli_examples import HEAD, NARROW, synthetic_lap, synthetic_plan, without_work
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import Colormap
from matplotlib.figure import Figure
from matplotlib.text import Text

from handlap.cli.drawing import colours
from handlap.cli.drawing.course_drawing import DrawnCourse, Marks, course_figure
from handlap.cli.drawing.dye_drawing import Panel, dye_figure
from handlap.cli.drawing.face_map import draw_face, sheet_of_faces, step_words
from handlap.cli.drawing.pictures import (
    depth_figure,
    doubt_scale,
    lap_pictures,
    levelled,
    plan_pictures,
    warp_figure,
)
from handlap.cli.drawing.sizes import PHONE, for_phones
from handlap.sim.common.grid import make_grid
from handlap.sim.common.outline import Outline, circle, rectangle

SIGNATURE = b"\x89PNG\r\n\x1a\n"


def size(png: bytes) -> tuple[int, int]:
    assert png.startswith(SIGNATURE)
    return struct.unpack(">II", png[16:24])


def grey(colour_map: Colormap) -> np.ndarray:
    """Lightness along a map, 0 … 1 (luma of ITU-R BT.709)."""
    rgb = colour_map(np.linspace(0.0, 1.0, 101))[:, :3]
    return rgb @ np.array([0.2126, 0.7152, 0.0722])


@pytest.mark.parametrize("name", [HEAD, NARROW])
def test_a_plan_has_its_four_pictures(name, unrendered):
    found = plan_pictures(synthetic_plan(name))
    assert set(found) == {"warp.png", "depth.png", "dye.png", "course.png"}
    for png in found.values():
        wide, tall = size(png)
        assert 700 <= wide <= 3000
        assert 250 <= tall <= 3000


def test_a_face_left_alone_has_its_map_only(unrendered):
    assert set(plan_pictures(without_work("leave"))) == {"warp.png"}


def test_a_lap_has_four_pictures_and_the_same_bytes_again():
    first = lap_pictures(synthetic_lap())
    assert set(first) == {"warp.png", "depth.png", "dye.png", "course.png"}
    assert lap_pictures(synthetic_lap()) == first


def test_before_and_after_share_one_scale_about_zero():
    plan = synthetic_plan()
    figure = warp_figure(plan.scenario.part.outline, plan.grid, plan.map_before, plan.map_after)
    meshes = [axes.collections[0] for axes in figure.axes[:2]]
    assert {mesh.get_cmap().name for mesh in meshes} == {colours.HEIGHT.name}
    limits = {mesh.get_clim() for mesh in meshes}
    assert len(limits) == 1
    (low, high) = limits.pop()
    assert low == -high
    cells = slice(0, plan.grid.n_cells)
    greatest = 1e6 * np.abs(levelled(plan.grid, plan.map_before)[cells]).max()
    assert high == pytest.approx(greatest)
    assert all(axes.get_aspect() == 1.0 for axes in figure.axes[:2])


def test_levelling_takes_a_plane_off_and_nothing_else():
    grid = make_grid(Outline.rectangular(0.2, 0.1), cells=200)
    plane = 1e-5 + 3e-4 * grid.u - 2e-4 * grid.v
    assert np.abs(levelled(grid, plane)).max() < 1e-18
    bow = grid.u**2
    assert np.ptp(levelled(grid, bow + plane) - levelled(grid, bow)) < 1e-16


def test_openings_stay_empty():
    outline = Outline(rectangle(0.2, 0.1), (circle(0.0, 0.0, 0.06),))
    grid = make_grid(outline, cells=300)
    figure = depth_figure(outline, grid, np.full(grid.u.size, 50e-6))
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    axes = figure.axes[0]
    buffer = np.asarray(canvas.buffer_rgba())

    def pixel(u: float, v: float) -> tuple[int, ...]:
        x, y = axes.transData.transform((u, v))
        return tuple(int(c) for c in buffer[buffer.shape[0] - 1 - round(y), round(x)][:3])

    assert pixel(0.0, 0.0) == (255, 255, 255)
    assert pixel(25.0, 0.0) == (255, 255, 255)
    assert pixel(60.0, 20.0) != (255, 255, 255)
    # Cells that the rim of the opening cuts are painted right up to it.
    assert pixel(31.5, 0.0) != (255, 255, 255)


def test_one_way_maps_darken_all_the_way_and_heights_to_both_ends():
    for colour_map in (colours.DEPTH, colours.DYE, colours.DOUBT):
        assert np.all(np.diff(grey(colour_map)) < 0.0), colour_map.name
        assert grey(colour_map)[0] - grey(colour_map)[-1] > 0.6
    lightness = grey(colours.HEIGHT)
    assert lightness.argmax() == 50
    assert np.all(np.diff(lightness[:51]) > 0.0)
    assert np.all(np.diff(lightness[50:]) < 0.0)
    # The two ends can be told apart in grey.
    assert lightness[-1] - lightness[0] > 0.15


def test_many_checks_are_thinned_to_the_first_the_last_and_some_between():
    plan = synthetic_plan()
    n = plan.grid.n_cells
    maps = [np.full(n, i / 30) for i in range(31)]
    panels = [Panel(f"{i}\nshares", map_, False) for i, map_ in enumerate(maps)]
    figure = dye_figure(plan.scenario.part.outline, plan.grid, panels, "dye")
    titles = [axes.get_title(loc="left") or axes.get_title() for axes in figure.axes if axes.get_visible()]
    shown = [title for title in titles if title]
    assert shown[0] == "0\nshares"
    assert shown[-1] == "30\nshares"
    assert len(shown) == 12


def test_one_check_is_enough():
    plan = synthetic_plan()
    one = Panel("one\nshares", np.zeros(plan.grid.n_cells), True)
    figure = dye_figure(plan.scenario.part.outline, plan.grid, [one], "dye")
    # What is put on after the last look is of strokes that nobody sees.
    assert len([axes for axes in figure.axes if axes.get_visible()]) == 1


def test_dye_put_on_anew_is_drawn_as_it_is_found_and_as_it_is_then():
    plan = synthetic_plan()
    n = plan.grid.n_cells
    panels = [Panel("80 strokes\nshares", np.zeros(n), True), Panel("160 strokes\nshares", np.ones(n), False)]
    figure = dye_figure(plan.scenario.part.outline, plan.grid, panels, "dye")
    maps = [axes for axes in figure.axes if axes.get_visible()]
    assert [axes.get_title() for axes in maps] == [
        "80 strokes: as you find it\nshares",
        "80 strokes: dyed again\nfull all over",
        "160 strokes\nshares",
    ]
    drawn = [np.asarray(axes.collections[0].get_array(), dtype=float) for axes in maps]
    assert (np.nanmax(drawn[0]), np.nanmin(drawn[1])) == (0.0, 1.0)
    # Two states and nothing between: a key of two patches, and no scale.
    (key,) = figure.legends
    assert [text.get_text() for text in key.get_texts()] == ["dye full", "dye gone"]
    for axes in maps:
        assert [label.get_text() for label in axes.get_xticklabels()] == ["left", "right"]
        assert [label.get_text() for label in axes.get_yticklabels()] == ["near", "far"]


def test_course_shows_limits_band_and_best_point():
    plan = synthetic_plan()
    curve = plan.curve
    course = DrawnCourse(curve.strokes, curve.flatness, curve.straightedge, curve.greatest_depth)
    marks = Marks(best=1680, planned=480, stops=(400.0, 1400.0))
    figure = course_figure(course, plan.scenario.part, "on P120", marks, look_at=1900)
    labels = figure.axes[0].get_legend_handles_labels()[1]
    assert "limit for the straightedge, 50 µm" in labels
    assert "best point: 1680 strokes" in labels
    assert "planned: 480 strokes" in labels
    assert "allowance, 200 µm" in figure.axes[1].get_legend_handles_labels()[1]
    assert figure.axes[0].get_xlim()[1] == 1900
    assert figure.axes[0].get_ylim()[1] > 50.0


def words_of(figure: Figure) -> list[str]:
    """All that is written in a picture, line breaks as blanks."""
    found = (text.get_text() for text in figure.findobj(Text))
    return [" ".join(text.split()) for text in found if text.strip()]


def test_names_of_lines_stand_beside_them_and_no_box_lies_over_any():
    plan = synthetic_plan()
    curve = plan.curve
    course = DrawnCourse(curve.strokes, curve.flatness, curve.flatness, curve.greatest_depth)
    marks = Marks(best=1680, planned=480, stops=(400.0, 900.0))
    figure = course_figure(course, plan.scenario.part, "on P120", marks, look_at=1170)
    assert all(axes.get_legend() is None for axes in figure.axes)
    said = words_of(figure)
    # Both curves alike are one curve; a best point that lies beyond the axis is named at its edge.
    assert "flatness; the straightedge reads the same" in said
    assert not any(line.get_label() == "straightedge's reading" for line in figure.axes[0].lines)
    assert "best point beyond: 1680 →" in said
    assert "likely stop" in said
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    boxes = [
        text.get_window_extent() for axes in figure.axes for text in axes.texts if text.get_text().strip()
    ]
    for i, one in enumerate(boxes):
        assert not any(one.overlaps(other) for other in boxes[i + 1 :]), "text over text"


def test_long_faces_are_stacked_and_short_ones_stand_side_by_side():
    assert (
        len({axes.get_position().x0 for axes in sheet_of_faces(Outline.rectangular(0.356, 0.06), 2)[1]}) == 1
    )
    assert (
        len({axes.get_position().y0 for axes in sheet_of_faces(Outline.rectangular(0.24, 0.14), 2)[1]}) == 1
    )


def test_on_a_narrow_screen_one_map_stands_under_the_other(unrendered):
    plan = synthetic_plan()
    with for_phones():
        figure = warp_figure(plan.scenario.part.outline, plan.grid, plan.map_before, plan.map_after)
        found = plan_pictures(plan)
    assert len({axes.get_position().x0 for axes in figure.axes[:2]}) == 1
    assert figure.get_figwidth() <= PHONE + 0.1
    assert all(size(png)[0] <= 620 for png in found.values())
    assert all(size(png)[0] >= 700 for png in plan_pictures(plan).values())


def test_contour_lines_run_to_the_rim_and_say_their_step():
    outline = Outline.rectangular(0.2, 0.1)
    grid = make_grid(outline, cells=600)
    figure, (axes,) = sheet_of_faces(outline, 1)
    draw_face(
        axes, outline, grid, 1e3 * grid.u, colours=colours.HEIGHT, low=-100.0, high=100.0, levels=[0.0, 50.0]
    )
    lines = axes.collections[-1]
    for path in lines.get_paths():
        u, v = np.asarray(path.vertices).T
        # A plane's lines are straight, out to the rim and beyond, where they are cut off by it.
        assert v.min() <= -50.0
        assert v.max() >= 50.0
        assert np.ptp(u) < 1e-6
    assert step_words([-20.0, 0.0, 20.0], "µm") == "a line every 20 µm"
    figure.clear()


def test_highest_and_lowest_are_signed_for_who_sees_no_colours():
    plan = synthetic_plan()
    figure = warp_figure(plan.scenario.part.outline, plan.grid, plan.map_before, plan.map_after)
    signs = [text.get_text() for axes in figure.axes[:2] for text in axes.texts]
    assert sorted(signs) == ["+", "+", "−", "−"]


def test_the_doubt_begins_near_its_least_value():
    low, high, _ = doubt_scale(np.array([11.0, 24.0, 18.0]))
    assert 8.0 <= low <= 11.0
    assert high == 24.0
    assert doubt_scale(np.full(3, 7.0))[1] >= 7.0


def test_a_perfect_face_can_be_drawn():
    plan = synthetic_plan()
    flat = np.zeros(plan.grid.u.size)
    outline = plan.scenario.part.outline
    warp_figure(outline, plan.grid, flat, flat).canvas.draw()
    depth_figure(outline, plan.grid, flat).canvas.draw()


def test_drawing_leaves_the_settings_of_matplotlib_alone(unrendered):
    before = dict(matplotlib.rcParams)
    lap_pictures(synthetic_lap())
    assert dict(matplotlib.rcParams) == before
