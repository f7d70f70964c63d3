"""One number, one rounding: titles of pictures, tables and JSON of a result say the same.

What a picture says is read from the figures that are drawn, not from the functions that made it.
"""

from __future__ import annotations

import re
from typing import Any

import numpy as np
import pytest
from matplotlib import rc_context
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.text import Text
from test_compare import uneven_job
from test_replan import replanned

from handlap.cli.drawing.compare_pictures import compare_figures
from handlap.cli.drawing.lesson_pictures import removed_figure
from handlap.cli.drawing.pictures import STYLE, levelled, plan_figures
from handlap.cli.drawing.replan_pictures import leaves_read, replan_figures, weighed, widest
from handlap.cli.drawing.why_pictures import COLUMNS, why_figures
from handlap.cli.reports.blocks import Report, Table
from handlap.cli.reports.compare_differences import COLUMN_NAMES, differing, same_words
from handlap.cli.reports.compare_report import UNITS, compare_json, compare_report
from handlap.cli.reports.plan_report import plan_json, plan_report
from handlap.cli.reports.quantity import middle, quantity
from handlap.cli.reports.replan_report import replan_json, replan_report
from handlap.cli.reports.text import render
from handlap.cli.reports.why_report import CAUSE_WORDS, NAMES, ranked_causes, why_json, why_report
from handlap.cli.reports.wording import FINEST
from handlap.cli.screen import Screen
from handlap.sim.comparing.compare import compare
from handlap.sim.comparing.why import find_causes
from handlap.sim.job.results import Band
from handlap.sim.job.scenario import Station, StraightedgeLine
from handlap.sim.job.scenario_file import load
from handlap.sim.job.ways import Way, parse_way
from handlap.sim.lapping.ensemble import middle_member, most_typical
from handlap.sim.planning.plan import make_plan
from handlap.sim.teaching.lesson_file import load_lesson
from handlap.sim.teaching.lesson_work import work_lesson

MICRON = 1e6
SIZED = re.compile(r"−?\d[\d.]* µm(?: \([^)]*\))?")
"""A height with its band, as reports write it."""


def said(figure: Figure) -> str:
    """All that is written in a picture, on one line."""
    return " ".join(" ".join(text.get_text().split()) for text in figure.findobj(Text) if text.get_text())


def title_of(axes: Axes) -> str:
    """The title over a panel, on one line, units as reports set them."""
    words = axes.get_title(loc="left") or axes.get_title()
    return " ".join(words.replace("\N{NO-BREAK SPACE}", " ").split())


def at_x(line: Any) -> list[float]:
    """Where a line is drawn along the strokes or the figure."""
    return [float(x) for x in line.get_xdata()]


def alone_tables(report: Report) -> list[Table]:
    """The tables of causes alone."""
    blocks = [block for section in report.sections for block in section.blocks]
    return [block for block in blocks if isinstance(block, Table) and block.heads[0] == "cause alone"]


def told(report: Any) -> str:
    """All that a report says to a terminal, on one line."""
    return " ".join(render(report, Screen(400)).replace("\N{NO-BREAK SPACE}", " ").split())


def as_shown(band: dict[str, float], unit: str = "µm") -> str:
    """A band of the JSON as a report would write it."""
    return quantity(Band(band["p05"], band["p50"], band["p95"]), unit, finest=FINEST)


# ---- the member that maps are of


def test_the_member_shown_is_ordinary_in_all_that_came_of_it():
    """Made so that the member with the most ordinary face comes out like no other."""
    depth = np.array([20.0, 21.0, 60.0, 23.0, 24.0])
    left = np.array([30.0, 44.0, 47.0, 46.0, 60.0])
    start = np.array([[0.0], [9.0], [5.0], [6.0], [1.0]])
    assert most_typical(start) == 2
    assert middle_member(depth, left, start[:, 0]) == 3
    # Units are of no account, and a figure that all share decides nothing.
    assert middle_member(1e-6 * depth, 1e3 * left, start[:, 0], np.full(5, 7.0)) == 3


# ---- plan


@pytest.fixture(scope="module")
def plan():
    return make_plan(load("two-cylinder-head"), members=8)


def test_titles_of_a_plan_are_its_tables_and_its_json(plan):
    with rc_context(STYLE):
        figures = plan_figures(plan)
    text, result = told(plan_report(plan, all_checks=True)), plan_json(plan)
    for name in ("warp.png", "depth.png"):
        heights = SIZED.findall(" ".join(title_of(axes) for axes in figures[name].axes))
        assert len(heights) == 2, name
        for height in heights:
            assert height in text, (name, height)
    mean, most = SIZED.findall(title_of(figures["depth.png"].axes[0]))
    assert mean == as_shown(result["removed"]["mean_um"])
    assert most == as_shown(result["removed"]["greatest_um"])
    before, after = (SIZED.findall(title_of(axes))[0] for axes in figures["warp.png"].axes[:2])
    assert before == as_shown(result["before"]["flatness_um"])
    assert float(after.split()[0]) == pytest.approx(result["after"]["flatness_um"]["p50"], rel=0.05)
    assert "The figures are those of all cases" in said(figures["warp.png"])


def test_the_map_of_a_plan_is_of_a_case_near_the_middle_of_all(plan):
    """Within half of the band to either side; the one nearest in its starting face alone was not."""
    grid = plan.grid
    mean = float(plan.map_removed @ grid.area / grid.area.sum())
    left = np.ptp(levelled(grid, plan.map_after)[: grid.n_cells])
    for shown, band in ((mean, plan.removed.mean), (float(plan.map_removed.max()), plan.removed.greatest)):
        assert abs(shown - band.p50) < 0.5 * (band.p95 - band.p05)
    assert left == pytest.approx(plan.after.flatness.p50, rel=0.25)


def test_strokes_of_a_plan_are_one_number(plan):
    planned = sum(stage.strokes for stage in plan.stages)
    with rc_context(STYLE):
        course = said(plan_figures(plan)["course.png"])
    text = told(plan_report(plan))
    assert f"planned: {plan.stages[0].strokes}" in course
    assert re.search(rf"Work {planned} strokes \(", text)


# ---- compare


@pytest.fixture(scope="module")
def ways():
    return compare(
        uneven_job(), [Way("as it stands"), parse_way("turning=none"), parse_way("press=60")], members=16
    )


def test_marks_of_ways_are_the_differences_of_the_json(ways):
    result = compare_json(ways)
    names = [ways.results[i].way.name for i in ways.order.places]
    drawn = differing(ways)
    assert drawn, "the ways of this job differ in something"
    with rc_context(STYLE):
        figure = compare_figures(ways)["ways.png"]
    rows = [label.get_text().split(" ", 1)[1] for label in figure.axes[0].get_yticklabels()]
    assert rows == names
    text = told(compare_report(ways, all_pairs=True))
    for axes, name in zip(figure.axes, drawn, strict=True):
        assert title_of(axes).startswith(COLUMN_NAMES[name])
        assert any(set(at_x(line)) == {0.0} and len(at_x(line)) == 2 for line in axes.lines), "nought"
        marks = [line for line in axes.lines if line.get_marker() == "o"]
        assert len(marks) == len(names)
        for row, mark in enumerate(marks[1:], 1):
            pair = next(p for p in result["pairs"] if {p["first"], p["second"]} == {names[0], names[row]})
            sign = 1.0 if pair["first"] == names[0] else -1.0
            wanted = sign * pair["second_less_first"][UNITS[name][0]]["band"]["p50"]
            assert at_x(mark)[0] == pytest.approx(wanted, rel=2e-3, abs=2e-3)
        own = as_shown(next(w for w in result["ways"] if w["name"] == names[0])[UNITS[name][0]], "")
        if name in ("straightedge", "flatness", "greatest_depth"):
            assert own in title_of(axes)
            assert own in text
    assert same_words(ways) in said(figure)


def test_titles_of_the_metal_removed_are_those_of_the_table(ways):
    with rc_context(STYLE):
        figure = compare_figures(ways)["removed.png"]
    text = told(compare_report(ways))
    deepest = SIZED.findall(title_of(figure.axes[0]))[-1]
    assert deepest.replace(" µm", "") in text


# ---- why


@pytest.fixture(scope="module")
def causes():
    return find_causes(uneven_job(), members=6)


def test_causes_have_the_same_words_the_same_order_and_the_same_figures(causes):
    with rc_context(STYLE):
        figures = why_figures(causes)
    figure, report = figures["causes.png"], why_report(causes)
    table = alone_tables(report)[0]
    rows = [" ".join(label.get_text().split()) for label in figure.axes[0].get_yticklabels()]
    words = [CAUSE_WORDS[cause.name] for cause in ranked_causes(causes)]
    assert rows == ["all of it", *words]
    assert [row[0] for row in table.rows] == [*words, "what they do together", "all of it"]
    result = {cause["name"]: cause for cause in why_json(causes)["causes"]}
    for column, (axes, name) in enumerate(zip(figure.axes, COLUMNS, strict=True), 1):
        assert title_of(axes).startswith(NAMES[name])
        marks = [line for line in axes.lines if line.get_marker() == "o"]
        for mark, row, cause in zip(marks[1:], table.rows, ranked_causes(causes), strict=False):
            band = result[cause.name]["alone"][f"{name}_um"]
            assert at_x(mark)[0] == pytest.approx(band["p50"], rel=2e-3, abs=2e-3)
            assert row[column] == middle(cause.alone[name].scaled(MICRON), finest=0.1)
    assert words[0] in said(figures["maps.png"])


def test_two_tables_of_one_cause_round_it_alike(causes):
    alone, wide = ({row[0]: row[1:] for row in table.rows} for table in alone_tables(why_report(causes)))
    for cause, cells in wide.items():
        for k, cell in enumerate(cells):
            assert alone[cause][k] == cell.split(" (")[0]


# ---- replan


def test_what_a_replan_draws_is_what_it_says():
    _, log, found = replanned()
    with rc_context(STYLE):
        figures = replan_figures(found)
    text, result = told(replan_report(found)), replan_json(found)
    before, now = (SIZED.findall(title_of(axes))[0] for axes in figures["warp.png"].axes[:2])
    assert now in text
    assert now == as_shown(result["flatness_um"])
    start = next(q for q in result["learnt"] if q["name"] == "face")["now"]
    assert before == as_shown(start)
    course = said(figures["course.png"])
    assert "done" in course
    if found.verdict.answer in ("go on", "cannot tell"):
        assert f"next look: {result['strokes'] + result['next_block_strokes']}" in course
    # What was measured is drawn where it was, as the log has it.
    bars = leaves_read(found)
    assert bars[0].strokes == 0
    assert {bar.strokes for bar in bars[1:]} == {entry.at for entry in log.standing if entry.readings}
    part = found.scenario.part
    swarf = [entry for entry in log.standing if entry.swarf is not None]
    points = [m for m in weighed(found.learnt) if m.middle is not None]
    assert swarf
    kept = 1.0 - 0.5 * (0.05 + 0.15)
    depth = swarf[0].swarf / kept / (part.metal.density * part.outline.area)
    assert points[0].middle == pytest.approx(depth, rel=1e-6)


def test_the_widest_gap_read_lies_between_the_leaf_that_goes_and_the_one_that_stops():
    stations = (Station(0.01, 0.0, 30e-6), Station(0.05, 60e-6, 80e-6), Station(0.09, 50e-6, 60e-6))
    line = StraightedgeLine("a", (0.0, 0.0), (0.1, 0.0), "rest", stations)
    bar = widest(80, [line])
    assert (bar.strokes, bar.low, bar.high) == (80, 60e-6, 80e-6)
    # Where none that was tried was too thick, it has no upper end.
    assert np.isinf(
        widest(0, [StraightedgeLine("b", (0.0, 0.0), (0.1, 0.0), "rest", (Station(0.05, 1e-4),))]).high
    )


# ---- lesson


def test_titles_of_a_lesson_are_its_table():
    from handlap.cli.reports.lesson_report import cell

    result = work_lesson(load_lesson("hollow-crown-twist"), members=4)
    with rc_context(STYLE):
        figure = removed_figure(result)
    for axes, case in zip(figure.axes, result.cases, strict=False):
        title = " ".join(title_of(axes).split())
        assert f"mean {cell(case, 'mean_depth')} deepest {cell(case, 'deepest')}" in title
        grid, removed = case.grid, case.before - case.after
        mean = float(removed @ grid.area / grid.area.sum())
        # The map is of one of the members whose middle stands over it.
        assert np.isclose(mean, case.figures["mean_depth"], rtol=1e-6).any()
