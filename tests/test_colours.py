"""Colours for every eye: simulated colour blindness, grey, and one place where colours are chosen.

Sources: G. M. Machado, M. M. Oliveira and L. A. F. Fernandes, "A physiologically-based model for
simulation of color vision deficiency", IEEE Transactions on Visualization and Computer Graphics
15 (2009), severity 1.0 (matrices from memory; that each leaves white and greys as they are is
checked here); CIE 1976 L*a*b* with D65 and sRGB as in IEC 61966-2-1 (matrices from memory, held
against white, black and a textbook red).  A just noticeable difference is some 2.3 in CIE 1976
L*a*b* (Mahy, Van Eycken and Oosterlinck 1994, from memory); the distances asked for here are our
choice, well above it.
"""

from __future__ import annotations

import ast
import itertools
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from matplotlib.colors import Colormap, to_rgb

from handlap.cli.drawing import colours
from handlap.cli.drawing.course_drawing import DrawnCourse, Marks, course_figure
from handlap.cli.drawing.face_map import draw_face, sheet_of_faces
from handlap.cli.drawing.pictures import depth_figure, survey_figure
from handlap.cli.reports import page
from handlap.sim.common.grid import make_grid
from handlap.sim.common.outline import Outline

ROOT = Path(__file__).parents[1]
CLI = ROOT / "cli"

EYES = {
    "usual": np.eye(3),
    "protan": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "deutan": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "tritan": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}
"""How linear RGB looks to dichromats."""
TO_XYZ = np.array(
    [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]]
)
ONE_ARM = ("DEPTH", "DYE", "PRESSURE", "DOUBT")
APART = 20.0
"""Distance in CIE 1976 L*a*b* asked of two things that differ in nothing but colour."""
STEPS = np.linspace(0.0, 1.0, 101)


def linear(rgb: np.ndarray) -> np.ndarray:
    return np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)


def lab(rgb: object, eye: str = "usual") -> np.ndarray:
    """CIE 1976 L*, a*, b* of sRGB colours (…, 3) as an eye sees them."""
    seen = np.clip(linear(np.asarray(rgb, dtype=float)) @ EYES[eye].T, 0.0, 1.0)
    t = (seen @ TO_XYZ.T) / TO_XYZ.sum(axis=1)
    f = np.where(t > (6 / 29) ** 3, np.cbrt(t), t / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.stack(
        [116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])], axis=-1
    )


def along(map_: Colormap, eye: str) -> np.ndarray:
    """L*a*b* (101, 3) along a map."""
    return lab(map_(STEPS)[:, :3], eye)


def distance(a: str, b: str, eye: str) -> float:
    return float(np.linalg.norm(lab(to_rgb(a), eye) - lab(to_rgb(b), eye)))


# ---- the yardstick


def test_the_yardstick_itself():
    assert lab((1.0, 1.0, 1.0)) == pytest.approx([100.0, 0.0, 0.0], abs=0.01)
    assert lab((0.0, 0.0, 0.0)) == pytest.approx([0.0, 0.0, 0.0], abs=0.01)
    # sRGB red is L* 53.24, a* 80.09, b* 67.20 (from memory, common tables).
    assert lab((1.0, 0.0, 0.0)) == pytest.approx([53.24, 80.09, 67.20], abs=0.05)
    for eye, matrix in EYES.items():
        assert matrix.sum(axis=1) == pytest.approx([1.0, 1.0, 1.0], abs=2e-6), eye
    # What the deficiency is about: a red and a green that differ to the usual eye hardly do to these.
    red, green = "#c05a50", "#7a7f3a"
    assert distance(red, green, "usual") > 45.0
    for eye in ("protan", "deutan"):
        assert distance(red, green, eye) < 0.55 * distance(red, green, "usual")


def test_the_lightness_used_for_lines_is_that_of_the_yardstick():
    for rgb in ((0.2, 0.4, 0.6), (0.02, 0.01, 0.0), (0.9, 0.8, 0.1)):
        assert colours.lightness(rgb) == pytest.approx(lab(rgb)[0], abs=0.05)


# ---- maps


@pytest.mark.parametrize("eye", EYES)
@pytest.mark.parametrize("name", ONE_ARM)
def test_maps_of_one_arm_darken_steadily_for_every_eye(name, eye):
    seen = along(getattr(colours, name), eye)
    fall = -np.diff(seen[:, 0])
    assert fall.min() > 0.2
    # Half of the scale is never squeezed into less than a third of the lightness.
    share = (seen[0, 0] - seen[50, 0]) / (seen[0, 0] - seen[-1, 0])
    assert 0.3 < share < 0.7
    assert seen[0, 0] - seen[-1, 0] > 60.0


@pytest.mark.parametrize("eye", EYES)
def test_the_three_states_of_dye_are_told_apart_even_in_grey(eye):
    """Gone, fading and full are its two ends and its middle."""
    gone, fading, full = lab(colours.DYE([0.0, 0.5, 1.0])[:, :3], eye)[:, 0]
    assert gone - fading > APART and fading - full > APART


@pytest.mark.parametrize("eye", EYES)
def test_heights_have_two_arms_that_darken_steadily_and_are_told_apart(eye):
    seen = along(colours.HEIGHT, eye)
    low, proud = seen[50::-1], seen[50:]
    assert np.diff(low[:, 0]).max() < -0.2
    assert np.diff(proud[:, 0]).max() < -0.2
    apart = np.linalg.norm(low - proud, axis=1)
    assert apart[5] > 8.0
    assert apart[10] > APART
    assert apart[20:].min() > 2 * APART
    assert seen[50, 0] > 94.0


def test_in_grey_the_arms_differ_by_their_lines():
    """Lightness alone cannot tell the arms apart near the middle, so lines below the plane are broken."""
    outline = Outline.rectangular(0.2, 0.1)
    grid = make_grid(outline, cells=600)
    heights = 1e3 * grid.u
    figure, (axes,) = sheet_of_faces(outline, 1)
    levels = [-80.0, -40.0, 40.0, 80.0]
    draw_face(axes, outline, grid, heights, colours=colours.HEIGHT, low=-100.0, high=100.0, levels=levels)
    lines: Any = axes.collections[-1]
    broken = [style[1] is not None for style in lines.get_linestyles()]
    assert broken == [True, True, False, False]
    figure.clear()


@pytest.mark.parametrize("name", ["HEIGHT", *ONE_ARM])
def test_contour_lines_show_on_every_shade(name):
    map_ = getattr(colours, name)
    for x in STEPS:
        under = map_(x)[:3]
        for eye in EYES:
            line = lab(to_rgb(colours.line_over(under)), eye)
            assert abs(line[0] - lab(under, eye)[0]) > 35.0, (x, eye)


def test_maps_are_not_taken_for_each_other():
    """The dark half of each map has a hue of its own, for the usual eye."""
    ends = {name: along(getattr(colours, name), "usual")[75] for name in ONE_ARM}
    for a, b in itertools.combinations(ends, 2):
        assert np.linalg.norm(ends[a] - ends[b]) > APART, (a, b)


# ---- lines

STYLES = {
    "FLATNESS": "full and banded",
    "STRAIGHTEDGE": "dotted",
    "REMOVED": "full and banded, in a panel of its own",
    "LIMIT": "broken",
    "MARK": "dash and dot, or a ring or cross",
    "FAINT": "thin",
}


@pytest.mark.parametrize("eye", EYES)
def test_line_colours_differ_for_every_eye(eye):
    for a, b in itertools.combinations(STYLES, 2):
        assert distance(getattr(colours, a), getattr(colours, b), eye) > APART, (a, b)


@pytest.mark.parametrize("eye", EYES)
def test_lines_stand_out_from_paper(eye):
    for name in STYLES:
        assert 100.0 - lab(to_rgb(getattr(colours, name)), eye)[0] > 35.0, name


def some_course() -> DrawnCourse:
    x = np.linspace(0.0, 400.0, 9)
    band = 1e-6 * np.linspace(90.0, 20.0, 9)[:, None] * np.array([0.8, 1.0, 1.2])
    return DrawnCourse(x, band, 0.9 * band, 1e-4 - band)


def test_in_grey_the_lines_of_a_course_differ_by_style():
    from handlap.sim.job.scenario_file import load

    marks = Marks(best=300, planned=250)
    figure = course_figure(some_course(), load("two-cylinder-head").part, "here", marks, look_at=400.0)
    for axes in figure.axes:
        drawn: list[Any] = [line for line in axes.lines if not str(line.get_label()).startswith("_")]
        looks = {
            line.get_label(): (line.get_linestyle(), str(line._dash_pattern), line.get_linewidth())
            for line in drawn
        }
        assert len(looks) == len(axes.get_legend_handles_labels()[1]) >= 3
        assert len(set(looks.values())) == len(looks), looks
    figure.clear()


def test_cases_side_by_side_have_styles_of_their_own():
    from handlap.cli.drawing.lesson_pictures import LOOKS

    assert tuple(look.colour for look in LOOKS) == colours.CASES
    assert len({str(look.line) for look in LOOKS}) == len({look.mark for look in LOOKS}) == len(LOOKS)


@pytest.mark.parametrize("eye", EYES)
def test_colours_beside_an_answer_stand_out_from_paper(eye):
    """They are a rule beside words that say the same, so nothing hangs on telling one from another."""
    for colour in page.TONES.values():
        assert 100.0 - lab(to_rgb(colour), eye)[0] > 45.0


# ---- what is drawn over a map


def has_rim(artist: object) -> bool:
    return any(
        effect._gc.get("foreground") == colours.GROUND  # type: ignore[attr-defined]
        for effect in artist.get_path_effects()  # type: ignore[attr-defined]
        if hasattr(effect, "_gc")
    )


def test_the_ring_at_the_deepest_spot_has_a_rim():
    outline = Outline.rectangular(0.2, 0.1)
    grid = make_grid(outline, cells=300)
    figure = depth_figure(outline, grid, 1e-5 * (1.0 + grid.u / 0.1))
    (ring,) = figure.axes[0].lines
    assert has_rim(ring)
    figure.clear()


def test_lines_and_crosses_over_the_doubt_have_a_rim():
    from dataclasses import replace

    from handlap.sim.face.survey import Contradiction, survey
    from handlap.sim.job.scenario_file import load

    scenario = load("two-cylinder-head")
    line = scenario.readings.lines[0]
    found = survey(scenario, count=16)
    wrong = Contradiction(line.name, line.stations[2].at, 0.0, 3e-5, 0.9, "")
    figure = survey_figure(scenario, replace(found, contradictions=(wrong,)))
    lines = figure.axes[1].lines
    drawn = [item for item in lines if np.size(item.get_xdata()) > 1]
    assert drawn
    assert all(has_rim(item) for item in drawn)
    crosses = [item for item in lines if item.get_marker() == "X"]
    assert len(crosses) == 1
    assert crosses[0].get_markeredgecolor() == colours.GROUND
    figure.clear()


# ---- the same quantity in the same colours


HEX = re.compile(r"#(?:[0-9a-fA-F]{6}|[0-9a-fA-F]{3})\b")
PLAIN = {"#000", "#fff", "#ffffff"}
SOURCES = sorted(p for p in CLI.rglob("*") if p.suffix in (".py", ".css", ".js"))


def palette() -> set[str]:
    """Every colour that has a name in colours.py, and those beside an answer on a page."""
    text = (CLI / "drawing" / "colours.py").read_text(encoding="utf-8")
    return set(HEX.findall(text)) | set(page.TONES.values()) | PLAIN


def test_every_colour_written_anywhere_is_one_of_the_palette():
    known = palette()
    assert len(known) > 20
    for path in SOURCES:
        strange = set(HEX.findall(path.read_text(encoding="utf-8"))) - known
        assert not strange, f"{path.relative_to(ROOT)}: {sorted(strange)} not in cli/drawing/colours.py"


def test_pictures_write_no_colours_of_their_own():
    for path in sorted((CLI / "drawing").glob("*.py")):
        if path.name != "colours.py":
            assert not HEX.findall(path.read_text(encoding="utf-8")), path.name


def colour_arguments(path: Path) -> list[tuple[int, str, str]]:
    """Line, keyword and text of every colour given as a text, and every colour map by name."""
    names = {"color", "c", "fc", "ec", "mfc", "mec", "facecolor", "edgecolor", "cmap", "colors"}
    found = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.keyword) and node.arg in names and isinstance(node.value, ast.Constant):
            found.append((node.value.lineno, node.arg, str(node.value.value)))
    return found


def test_pictures_take_no_colour_by_name():
    for path in sorted((CLI / "drawing").glob("*.py")):
        for line, key, value in colour_arguments(path):
            assert value == "none", f"{path.name}:{line}: {key}={value!r}"


def test_each_map_of_a_picture_is_one_of_ours():
    ours = {"HEIGHT", *ONE_ARM}
    used = set()
    for path in sorted((CLI / "drawing").glob("*.py")):
        text = path.read_text(encoding="utf-8")
        if path.name != "colours.py":
            assert "LinearSegmentedColormap" not in text, path.name
            assert "colormaps[" not in text, path.name
            assert "get_cmap" not in text, path.name
        used |= set(re.findall(r"colours\.(HEIGHT|DEPTH|DYE|PRESSURE|DOUBT)\b", text))
    assert used == ours


STROKE = re.compile(r"svg \.(\w+) \{ (?:stroke|fill): (#[0-9a-f]{6})")


def test_the_page_to_play_with_draws_each_quantity_in_its_colour():
    css = (CLI / "reports" / "play_page.css").read_text(encoding="utf-8")
    drawn = dict(STROKE.findall(css))
    wanted = {
        "limit": colours.LIMIT,
        "flatness": colours.FLATNESS,
        "straightedge": colours.STRAIGHTEDGE,
        "now": colours.MARK,
        "spot": colours.MARK,
    }
    assert {name: drawn[name] for name in wanted} == wanted
