"""``handlap job-sheet``: what falls due when, what to expect, when to stop; on made-up plans."""

from __future__ import annotations

import json
import math
import re
from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from cli_examples import HEAD, UM, synthetic_plan, without_work
from click.testing import CliRunner
from html_read import Reader
from matplotlib.text import Text

from handlap.cli.main import main
from handlap.cli.reports import flow
from handlap.cli.reports.pdf_page import Page, text_width
from handlap.cli.sheets import sheet_job, sheet_job_pdf
from handlap.cli.sheets.sheet_job import MOST_ROWS, DyeMarks, job_sheet_of
from handlap.cli.sheets.sheet_job_page import job_sheet_page
from handlap.cli.sheets.sheet_job_pdf import job_sheet_pdf
from handlap.sim.bench.bench_blocks import (
    due,
    dye_raster,
    leaf_that_goes,
    mass_at_depth,
    paper_stages,
    station_gaps,
    stop_marks,
    worst_stations,
)
from handlap.sim.common.grid import make_grid
from handlap.sim.common.outline import Outline, circle
from handlap.sim.face.done import deciding_leaf
from handlap.sim.face.stations import lines_of, measuring_lines
from handlap.sim.job.results import Plan
from handlap.sim.job.scenario_file import load


@pytest.fixture(autouse=True)
def here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


def run(*args: str, **env: str):
    return CliRunner().invoke(main, ["job-sheet", *args], env=env or None)


@pytest.fixture
def planned(monkeypatch):
    """Answer every call of make_plan with a made-up plan."""

    def answer_with(plan: Plan) -> None:
        monkeypatch.setattr("handlap.sim.planning.plan.make_plan", lambda *args, **options: plan)

    return answer_with


@pytest.fixture
def unprinted(monkeypatch):
    """Leave out the PDF where the test is about something else."""
    monkeypatch.setattr("handlap.cli.sheets.sheet_job_pdf.job_sheet_pdf", lambda *args: (b"%PDF-", 2))


def sheet_of(plan: Plan) -> sheet_job.JobSheet:
    return job_sheet_of(plan, lines_of(plan.scenario), "mm")


# ---- blocks


def test_things_fall_due_at_every_multiple_once():
    assert due(100, 0, 99) == ()
    assert due(100, 0, 100) == (100,)
    assert due(100, 100, 200) == (200,)
    assert due(0, 0, 1000) == ()
    for every in (1, 7, 80):
        parts = [at for a in range(0, 560, 80) for at in due(every, a, a + 80)]
        assert parts == list(range(every, 561, every))


def test_blocks_count_from_the_start_of_each_paper_and_leave_no_stroke_out():
    plan = synthetic_plan()
    first, second = paper_stages(plan)
    for stage in (first, second):
        assert stage.blocks[0].first == 1
        assert [b.first for b in stage.blocks[1:]] == [b.last + 1 for b in stage.blocks[:-1]]
        assert [b.check for b in stage.blocks] == list(stage.plan.checks)
    assert [at for b in first.blocks for at in b.turns] == [120, 240, 360, 480, 600]
    assert [at for b in second.blocks for at in b.turns] == []
    assert [at for b in first.blocks for at in b.sheets] == [480]


def test_checks_beyond_the_planned_strokes_are_spare():
    plan = synthetic_plan()
    short = replace(plan.stages[0], strokes=300)
    blocks = paper_stages(replace(plan, stages=(short,)))[0].blocks
    assert [b.spare for b in blocks] == [b.last > 300 for b in blocks]
    assert any(b.spare for b in blocks)


# ---- figures to stop by


def test_the_leaf_that_decides_is_the_thickest_within_the_limit():
    leaves = [30e-6, 40e-6, 60e-6]
    assert deciding_leaf(50e-6, leaves) == 40e-6
    assert deciding_leaf(60e-6, leaves) == 60e-6
    assert deciding_leaf(20e-6, leaves) is None
    assert leaf_that_goes(0.0, leaves) == 0.0


def test_grams_at_the_allowance_follow_the_checks():
    """Depth 130·s µm and mass 4·s g in the made-up checks: the one is a fixed multiple of the other."""
    plan = synthetic_plan()
    checks = [c for stage in plan.stages for c in stage.checks]
    for depth in (10 * UM, 65 * UM, 129 * UM, 260 * UM):
        assert mass_at_depth(checks, depth) == pytest.approx(depth * 4e-3 / (130 * UM))
    assert mass_at_depth([], 10 * UM) is None


def test_stop_marks_are_where_the_checks_say():
    plan = synthetic_plan()
    stages = tuple(
        replace(s, checks=tuple(replace(c, worse_next=c.strokes / 1000) for c in s.checks))
        for s in plan.stages
    )
    marks = stop_marks(replace(plan, stages=stages))
    assert marks.worse_strokes == 720
    allowance = plan.scenario.part.allowance
    assert allowance is not None
    over = [c.strokes for s in stages for c in s.checks if c.greatest_depth.p95 > allowance]
    assert marks.allowance_strokes == (over[0] if over else None)
    assert marks.goal == pytest.approx(0.9 * plan.scenario.part.limit)


def test_without_an_allowance_there_is_no_mark_and_the_sheet_asks_for_one():
    plan = synthetic_plan()
    part = replace(plan.scenario.part, allowance=None)
    plan = replace(plan, scenario=replace(plan.scenario, part=part))
    assert stop_marks(plan).allowance_mass is None
    assert "No allowance is stated" in dict(sheet_of(plan).stop)["Allowance near"]


def test_gaps_of_a_hollow_cylinder_are_its_sagitta():
    """h = a·(2u/L)²: a straightedge on the long line rests on its ends and shows a·(1 − (2u/L)²)."""
    outline = Outline.rectangular(0.2, 0.1)
    lines = measuring_lines(outline)
    grid = make_grid(outline, cells=4000)
    rise = 80e-6 * (2 * grid.u / 0.2) ** 2
    ranked = dict(station_gaps(outline, lines, grid, rise))
    for line in lines[:2]:
        for i, (u, _) in enumerate(line.places):
            assert ranked[line.label(i)] == pytest.approx(80e-6 * (1 - (2 * u / 0.2) ** 2), abs=5e-6)
    for line in lines[2:4]:
        assert all(ranked[line.label(i)] < 1e-6 for i in range(len(line.at)))
    worst = worst_stations(station_gaps(outline, lines, grid, rise))
    assert {label[0] for label in worst} == {"A", "B", "E"} or {label[0] for label in worst} <= {
        "A",
        "B",
        "E",
        "F",
    }
    assert len({label[0] for label in worst}) == len(worst) == 3


def test_on_a_crown_the_straightedge_is_held_level():
    outline = Outline.rectangular(0.2, 0.1)
    grid = make_grid(outline, cells=4000)
    fall = -80e-6 * (2 * grid.u / 0.2) ** 2
    ranked = station_gaps(outline, measuring_lines(outline)[:1], grid, fall)
    ends = {label for label, _ in ranked[:2]}
    assert ends == {"A1", "A7"}
    assert ranked[0][1] == pytest.approx(80e-6 * 0.95**2, abs=6e-6)


def test_dye_pictures_leave_openings_free_and_keep_sides_apart():
    outline = Outline.rectangular(0.2, 0.1, (circle(0.05, 0.0, 0.04),))
    grid = make_grid(outline, cells=2000)
    gone = (grid.v[: grid.n_cells] > 0.0).astype(float)
    raster = dye_raster(outline, grid, gone, 20)
    assert raster.shape == (10, 20)
    assert np.isnan(raster[5, 15])
    assert np.nanmax(raster[6:]) == 0.0
    assert np.nanmin(raster[:4]) == 1.0


def test_marks_are_rings_where_fading_is_likelier_than_full():
    left = np.array([[1.0, 0.6, 0.05], [np.nan, 1.0, 0.36]])
    full = np.array([[0.9, 0.2, 0.0], [np.nan, 0.0, 0.36]])
    marks = {(j, i): (size, ring) for j, i, size, ring in DyeMarks("a look", left, full).marks()}
    assert marks == {
        (0, 0): (1.0, False),
        (0, 1): (pytest.approx(np.sqrt(0.6)), True),
        (1, 1): (1.0, True),
        (1, 2): (pytest.approx(0.6), False),
    }


# ---- the sheet


def test_the_rows_say_what_the_checks_say():
    plan = synthetic_plan()
    sheet = sheet_of(plan)
    row = sheet.stages[0].rows[2]
    check = plan.stages[0].checks[2]
    assert row.strokes == "240"
    assert row.turn == "240"
    assert row.care == "brush 240"
    assert f"{1e3 * check.mass.p50:.2f}"[:3] in row.grams
    for told, middle in ((row.faded, check.dye_faded.p50), (row.gone, 1.0 - check.dye_left.p50)):
        assert float(told.split()[0]) == pytest.approx(100 * middle, abs=5.0)
    assert row.worse == "30"
    assert sheet.stages[0].rows[-1].worse == "–"
    assert sheet.stages[0].rows[5].care.startswith(("–", "SHEET")) or "SHEET" in sheet.stages[0].rows[-1].care


def test_every_stop_rule_is_on_the_sheet():
    rules = dict(sheet_of(synthetic_plan()).stop)
    assert list(rules)[:4] == ["Goal met", "Allowance near", "Getting worse", "Far from plan"]
    assert "50 µm leaf goes in at no station" in rules["Goal met"]
    assert "200 µm" in rules["Allowance near"]
    assert re.search(r"when \d[\d.]* g are off", rules["Allowance near"])
    assert "over 70 %" in rules["Getting worse"]
    assert "handlap replan two-cylinder-head" in rules["Far from plan"]


def test_a_limit_meant_as_a_zone_is_not_settled_by_leaves():
    plan = synthetic_plan()
    part = replace(plan.scenario.part, limit_by="zone")
    plan = replace(plan, scenario=replace(plan.scenario, part=part))
    assert "zone" in dict(sheet_of(plan).stop)["Goal met"]


def many_checks(count: int) -> Plan:
    """A plan with ``count`` checks on its first paper, the last five beyond what is planned."""
    plan = synthetic_plan()
    first, second = plan.stages
    checks = tuple(replace(first.checks[0], strokes=80 * (i + 1)) for i in range(count))
    first = replace(first, checks=checks, strokes=80 * (count - 5))
    later = tuple(replace(c, strokes=first.strokes + 80 * (i + 1)) for i, c in enumerate(second.checks))
    return replace(plan, stages=(first, replace(second, checks=later)))


def test_checks_without_room_are_left_out_and_their_turns_are_kept():
    plan = many_checks(60)
    sheet = sheet_of(plan)
    assert sum(len(stage.rows) for stage in sheet.stages) <= MOST_ROWS + 2
    stage = sheet.stages[0]
    assert stage.left_out == 60 - len(stage.rows)
    assert [at for row in stage.rows for at in row.block.turns] == list(range(120, 4801, 120))
    assert stage.rows[-1].block.last == 4800
    assert any(row.block.last == plan.stages[0].strokes for row in stage.rows)


# ---- print


def keep_pages(patch: pytest.MonkeyPatch) -> list[Page]:
    """The list that every page goes into from now on."""
    pages: list[Page] = []

    class Kept(Page):
        def __init__(self, width: float, height: float) -> None:
            super().__init__(width, height)
            pages.append(self)

    patch.setattr(flow, "Page", Kept)
    patch.setattr(sheet_job_pdf, "write_pdf", lambda pages, title: b"%PDF-")
    return pages


@pytest.fixture
def drawn(monkeypatch):
    return keep_pages(monkeypatch)


@pytest.fixture(scope="module")
def printed() -> tuple[Plan, sheet_job.JobSheet, list[Text]]:
    """A plan, its sheet, and the texts on the pages of that, drawn once."""
    plan = synthetic_plan()
    sheet = sheet_of(plan)
    with pytest.MonkeyPatch.context() as patch:
        kept = keep_pages(patch)
        _, pages = job_sheet_pdf(sheet, plan.scenario.part.outline)
        return plan, sheet, [text for page in kept[-pages:] for text in page.axes.texts]


@pytest.mark.parametrize(("paper", "checks"), [("A4", 8), ("Letter", 60)])
def test_two_pages_at_most_in_black_and_nothing_off_them(drawn, paper, checks):
    plan = synthetic_plan() if checks == 8 else many_checks(checks)
    _, pages = job_sheet_pdf(sheet_of(plan), plan.scenario.part.outline, paper)
    assert pages <= 2
    for page in drawn[-pages:]:
        for text in page.axes.texts:
            x, y = text.get_position()
            wide = text_width(text.get_text(), text.get_fontsize(), text.get_fontweight() == "bold")
            assert text.get_ha() == "right" or x + wide <= page.width - 5.0, text.get_text()
            assert 0.0 < y < page.height - 2.0
            assert text.get_color() == "black"


def test_what_is_read_at_the_bench_is_large(printed):
    """Twelve points are read at arm's length, 70 cm (common practice)."""
    texts = printed[2]
    sizes = {t.get_text(): t.get_fontsize() for t in texts}
    assert sizes["240"] >= 12.0
    body = [t.get_fontsize() for t in texts if len(t.get_text()) > 60]
    assert np.median(body) >= 9.5


def test_every_caution_is_printed(drawn):
    plan = synthetic_plan(cautions=load_cautions())
    job_sheet_pdf(sheet_of(plan), plan.scenario.part.outline)
    said = " ".join(t.get_text() for page in drawn for t in page.axes.texts)
    for caution in plan.cautions:
        assert caution in said


def test_cautions_stand_before_the_first_stroke_and_there_is_room_to_write(printed):
    plan, sheet, texts = printed
    said = [t.get_text() for t in texts]
    html = job_sheet_page(sheet, plan.scenario.part.outline)
    assert said.index("Take care") < next(i for i, t in enumerate(said) if t.startswith("Paper 1"))
    assert html.index("Take care") < html.index("<h2>Paper 1")
    for words in ("Part no.", "Date", "By", "found"):
        assert words in said
        assert words in html
    rows = sum(len(stage.rows) for stage in sheet.stages)
    assert html.count('<td class="found"></td>') == 3 * rows
    # Grams are expected and found.
    assert [said.count(words) for words in ("g", "leaf", "dye")] == [k * len(sheet.stages) for k in (2, 1, 1)]


def test_the_face_on_it_has_its_sides_and_stations_named_as_on_the_measuring_sheet(printed):
    plan, sheet, texts = printed
    said = [t.get_text() for t in texts]
    html = job_sheet_page(sheet, plan.scenario.part.outline)
    ends = {line.label(i) for line in lines_of(plan.scenario) for i in (0, len(line.at) - 1)}
    assert len(sheet.marked) >= 3
    for words in (*ends, *sheet.marked, "near side", "far side", "left", "right"):
        assert words in said
        assert f">{words}</text>" in html
    assert all(label in sheet.where for label in sheet.marked)


def test_every_state_of_the_round_has_a_sketch_and_none_where_nothing_is_turned(printed):
    plan, sheet, texts = printed
    assert len(sheet.turns) == 4
    assert {"1", "2", "3", "4"} <= {t.get_text() for t in texts}
    still = replace(plan, stages=tuple(replace(s, turn_every=0) for s in plan.stages))
    assert sheet_of(still).turns == ()
    assert "Turn by turn" not in job_sheet_page(sheet_of(still), plan.scenario.part.outline)


def load_cautions() -> tuple[str, ...]:
    from handlap.sim.planning.cautions import cautions

    part = load(HEAD).part
    return cautions(part.metal, weight=part.weight, wet=True)


def test_the_page_is_whole_fetches_nothing_and_escapes():
    plan = synthetic_plan()
    plan = replace(plan, scenario=replace(plan.scenario, title="<b>Head</b> & $x$"))
    sheet = sheet_of(plan)
    html = job_sheet_page(sheet, plan.scenario.part.outline)
    tags = Reader(html)
    count = Counter(tag for tag, _ in tags.tags)
    assert tags.open == []
    assert not any({"src", "href"} & set(attrs) for _, attrs in tags.tags)
    assert "<b>" not in html
    assert "&lt;b&gt;Head" in html
    assert count["svg"] == len(sheet.dye) + 2, "the face and the round of turns besides"
    dots = sum(len(line.at) for line in sheet.lines) + len(sheet.marked) + 2 * len(sheet.turns)
    assert count["circle"] == dots + sum(len(list(picture.marks())) for picture in sheet.dye)
    assert count["tr"] == sum(len(stage.rows) + 1 for stage in sheet.stages)
    assert not re.search(r"#(?!000|fff)[0-9a-fA-F]{3,6}\b", html), "black and white"


# ---- the command


def test_files_text_and_exit_code(planned, here):
    planned(synthetic_plan())
    result = run(HEAD, "--out", "d")
    assert result.exit_code == 0, result.stderr
    assert sorted(p.name for p in (here / "d").iterdir()) == [
        "two-cylinder-head-job-sheet.html",
        "two-cylinder-head-job-sheet.pdf",
    ]
    pdf = (here / "d" / "two-cylinder-head-job-sheet.pdf").read_bytes()
    assert pdf.startswith(b"%PDF-")
    assert b"/Subtype /Image" not in pdf
    assert b"CreationDate" not in pdf
    assert result.stdout.startswith("LAP IT BY HAND")
    assert "Stop if" in result.stdout
    assert "Take care" in result.stdout


def test_json_holds_every_block(planned, unprinted):
    planned(many_checks(60))
    found = json.loads(run(HEAD, "--json").stdout)
    assert found["schema"] == "handlap.job-sheet/1"
    assert len(found["stages"][0]["blocks"]) == 60
    assert found["stages"][0]["blocks"][1]["turn_at"] == [120]
    assert found["stop"]["chance_worse"] == 0.7
    assert len(found["first_stations"]["at_start"]) == 3


@pytest.mark.parametrize(
    ("answer", "code", "words"),
    [("machine shop", 3, "TAKE IT TO A MACHINE SHOP"), ("cannot tell", 0, "CANNOT TELL YET")],
)
def test_what_should_not_be_lapped_says_so_first(planned, here, drawn, answer, code, words):
    planned(synthetic_plan(answer=answer))
    result = run(HEAD)
    assert result.exit_code == code
    assert result.stdout.startswith(words)
    first = [t.get_text() for t in drawn[0].axes.texts]
    assert words.lower() in first[0].lower()
    assert (here / "two-cylinder-head-job-sheet.pdf").exists()


def test_a_face_to_be_left_alone_has_no_work_on_its_sheet(planned, drawn):
    planned(without_work("leave"))
    result = run(HEAD)
    assert result.exit_code == 0, result.stderr
    assert "Stop if" not in result.stdout
    assert not any(t.get_text().startswith("Paper") for t in drawn[0].axes.texts)


@pytest.mark.parametrize("columns", ["40", "80"])
def test_it_fits_the_terminal(planned, unprinted, columns):
    planned(many_checks(30))
    out = run(HEAD, COLUMNS=columns).stdout
    assert max(len(line) for line in out.splitlines()) <= int(columns)
    assert ("up to stroke" in out) == (columns == "40")


@pytest.mark.parametrize("args", [("nothing",), (HEAD, "--members", "2"), (HEAD, "--paper", "A5")])
def test_wrong_use_leaves_nothing(here, args):
    result = run(*args)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert list(here.iterdir()) == []


def test_a_scenario_without_readings_is_refused(here):
    CliRunner().invoke(main, ["new", "own.toml", "--from", HEAD])
    result = run("own.toml")
    assert result.exit_code == 2
    assert "readings" in result.stderr


def test_a_real_plan_in_small(here):
    """The whole way once: a real plan's grid carries the points under the straightedge."""
    result = run("pump-face-heights", "--members", "8", "--json")
    assert result.exit_code in (0, 3), result.stderr
    found = json.loads(result.stdout)
    assert found["pages"] <= 2
    blocks = [b for stage in found["stages"] for b in stage["blocks"]]
    assert blocks
    assert all(math.isfinite(b["mass_g"]["p50"]) for b in blocks)
