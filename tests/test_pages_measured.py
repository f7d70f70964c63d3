"""Pages, pictures and sheets measured: nothing runs off, no text on text, contrast, words for pictures.

Pages are rendered in a headless browser at 1280 and 390 pixels, light, dark and for print; where there is
none, that is skipped.  Pictures and sheets are measured by the boxes of their texts before they are saved.
Contrast: WCAG 2.2, success criterion 1.4.3.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest
from bench_page_cases import job_file, page_plan
from browser import Browser, missing
from cli_examples import synthetic_lap, synthetic_plan
from click.testing import CliRunner
from matplotlib.figure import Figure
from page_measures import (
    FAINT,
    LEAST_CONTRAST,
    ON_EACH_OTHER,
    OPEN,
    TOO_WIDE,
    UNTOLD,
    drawn_figures,
    texts_on_each_other,
)
from test_knobs import knobs as small_knobs
from test_play import small

from handlap.cli.drawing.pictures import lap_pictures, plan_pictures, png
from handlap.cli.drawing.sizes import for_phones
from handlap.cli.main import main
from handlap.cli.reports import pdf_page, report_pdf
from handlap.cli.reports.feel_page import render_feel
from handlap.cli.reports.knob_page import render_knobs
from handlap.cli.reports.lap_report import lap_report
from handlap.cli.reports.page import render_page
from handlap.cli.reports.pdf_page import Page
from handlap.cli.reports.plan_report import plan_report
from handlap.cli.reports.play_page import render_play
from handlap.cli.sheets import sheet_job_pdf, sheet_measuring
from handlap.cli.sheets.sheet_bench_page import render_bench_page
from handlap.cli.sheets.sheet_job import job_sheet_of
from handlap.cli.sheets.sheet_job_page import job_sheet_page
from handlap.cli.sheets.sheet_job_pdf import job_sheet_pdf
from handlap.cli.sheets.sheet_measuring import measuring_pages
from handlap.sim.common.spoken import speaking
from handlap.sim.common.units import System
from handlap.sim.face.stations import lines_of
from handlap.sim.job.scenario_file import load, read_text
from handlap.sim.planning.cautions import cautions
from handlap.sim.teaching.exercise import make_exercise

KINDS = ("plan", "simulate", "job sheet", "bench page", "play", "knobs", "feel")
needs_browser = pytest.mark.skipif(bool(missing()), reason=f"browser tests are skipped: {missing()}")


def plan_with_cautions(name: str = "two-cylinder-head"):
    part = load(name).part
    return synthetic_plan(name, cautions=cautions(part.metal, weight=part.weight, wet=True))


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[dict[str, Path], list[tuple[str, str]]]:
    """One page of each kind, made once, and what lay on each other in their pictures."""
    folder = tmp_path_factory.mktemp("pages")
    plan, lap = plan_with_cautions(), synthetic_lap()
    with drawn_figures() as faults:
        pictures = plan_pictures(plan), lap_pictures(lap)
        with for_phones():
            narrow = plan_pictures(plan), lap_pictures(lap)
    texts = {
        "plan": render_page(plan_report(plan, all_checks=True), pictures[0], narrow[0]),
        "simulate": render_page(lap_report(lap), pictures[1], narrow[1]),
        "job sheet": job_sheet_page(
            job_sheet_of(plan, lines_of(plan.scenario), "mm"), plan.scenario.part.outline
        ),
        "bench page": render_bench_page(page_plan(job_file(folder)), "mm"),
        "play": render_play(small("turning=none name=never turned")),
        "knobs": render_knobs(small_knobs()),
        "feel": render_feel(make_exercise(5, 2, feel=True)),
    }
    files = {}
    for name, text in texts.items():
        files[name] = folder / f"{name.replace(' ', '-')}.html"
        files[name].write_text(text, encoding="utf-8")
    return files, faults


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    one = Browser()
    yield one
    one.close()


SCREENS = (
    ("screen", "light", 1280),
    ("screen", "light", 390),
    ("screen", "dark", 1280),
    ("screen", "dark", 390),
    ("print", "light", 710),
)


def faults_of(browser: Browser, file: Path) -> list[tuple[object, ...]]:
    """What is wrong with a page, by screen."""
    faults: list[tuple[object, ...]] = []
    for media, shade, width in SCREENS:
        browser.tell(
            "Emulation.setEmulatedMedia",
            media=media,
            features=[{"name": "prefers-color-scheme", "value": shade}],
        )
        browser.size(width, 860)
        browser.log()
        browser.open(file)
        browser.run(OPEN)
        for what, script in (
            ("off the page", TOO_WIDE), ("on each other", ON_EACH_OTHER), ("faint", FAINT), ("untold", UNTOLD)
        ):  # fmt: skip
            found = browser.run(script, LEAST_CONTRAST)
            if found:
                faults.append((media, shade, width, what, found))
        if complaints := browser.log():
            faults.append((media, shade, width, "console", complaints))
    browser.tell("Emulation.setEmulatedMedia", media="", features=[])
    return faults


@needs_browser
@pytest.mark.parametrize("kind", KINDS)
def test_a_page_holds_on_every_screen_in_light_and_dark_and_in_print(made, browser, kind):
    faults = faults_of(browser, made[0][kind])
    assert not faults, "\n".join(map(str, faults))


LOG = (
    ("--dyed", "--part-weight", "3400", "--scale", "0.1"),
    ("--strokes", "80", "--paper", "P120", "--new-sheet", "--part-weight", "3399.6", "--scale", "0.1"),
)
ORDERS: dict[str, tuple[str, ...]] = {
    "survey": (),
    "plan": ("--members", "8"),
    "compare": ("--members", "16", "--no-turns"),
    "why": ("--members", "16", "--dye", "gone at both ends"),
    "improve": ("--members", "16", "--budget", "20"),
    "replan": ("--members", "16"),
    "record": ("--members", "16"),
    "scrap-trial": (),
    "lesson": ("--members", "16", "--tell"),
    "job-sheet": ("--members", "8"),
}


@needs_browser
@pytest.mark.slow
@pytest.mark.parametrize("command", ORDERS)
def test_what_a_command_hands_over_holds_too(command, browser, tmp_path, monkeypatch):
    """Pages, pictures and sheets of whole commands: minutes of computing, for whoever changes looks."""
    job = tmp_path / "head.toml"
    job.write_text(read_text("two-cylinder-head"), encoding="utf-8")
    of = "thirds" if command == "lesson" else str(job)
    for entry in LOG:
        assert CliRunner().invoke(main, ["log", str(job), *entry]).exit_code == 0
    kept: list[Page] = []
    real = pdf_page.write_pdf

    def keep(pages: Sequence[Page], title: str) -> bytes:
        kept.extend(pages)
        return real(pages, title)

    for module in (report_pdf, sheet_job_pdf, sheet_measuring):
        monkeypatch.setattr(module, "write_pdf", keep)
    out = tmp_path / "out"
    with drawn_figures() as drawn:
        done = CliRunner().invoke(main, [command, of, *ORDERS[command], "--out", str(out)])
    assert done.exit_code in (0, 3), done.output
    pages = sorted(out.rglob("*.html"))
    assert pages
    faults = [fault for page in pages for fault in faults_of(browser, page)]
    faults += [("on paper", pair) for page in kept for pair in texts_on_each_other(page.figure)]
    faults += [("in a picture", pair) for pair in drawn]
    assert not faults, "\n".join(map(str, faults))


def test_no_text_of_a_picture_lies_on_another(made):
    assert made[1] == []


SHEETS: tuple[tuple[str, System, str], ...] = (
    ("two-cylinder-head", "mm", "A4"),
    ("plane-sole", "inch", "Letter"),
)


@pytest.mark.parametrize(("name", "system", "paper"), SHEETS)
def test_no_text_of_a_sheet_lies_on_another(monkeypatch, name, system, paper):
    kept: list[Page] = []

    def keep(pages, title):
        kept.extend(pages)
        return b"%PDF-"

    monkeypatch.setattr(sheet_job_pdf, "write_pdf", keep)
    monkeypatch.setattr(sheet_measuring, "write_pdf", keep)
    plan = plan_with_cautions(name)
    job = plan.scenario
    with speaking(system, job.leaf_unit):
        job_sheet_pdf(job_sheet_of(plan, lines_of(job, system), system), job.part.outline, paper)
        measuring_pages(job, lines_of(job, system), system, paper)
    assert len(kept) >= 5
    found = [pair for page in kept for pair in texts_on_each_other(page.figure)]
    assert found == []


BAD = """<!doctype html><html lang="en-GB"><body style="margin: 0; background: #fff">
<p style="color: #999">faint</p><img width="10" height="10">
<p style="position: absolute; top: 80px">one text</p><p style="position: absolute; top: 82px">another</p>
<div style="width: 3000px">far too wide</div><script>console.error("ouch")</script></body></html>"""


@needs_browser
def test_the_scripts_see_what_they_are_for(browser, tmp_path):
    file = tmp_path / "bad.html"
    file.write_text(BAD, encoding="utf-8")
    browser.size(1280, 860)
    browser.log()
    browser.open(file)
    assert len(browser.run(FAINT, LEAST_CONTRAST)) == 1
    for script in (TOO_WIDE, ON_EACH_OTHER, UNTOLD):
        assert len(browser.run(script)) == 1, script
    assert any("ouch" in complaint for complaint in browser.log())


def test_a_picture_that_is_not_rendered_is_measured_and_has_its_size():
    figure = Figure(figsize=(3.3, 2.1))
    for at, text in ((0.5, "one text"), (0.52, "another"), (0.9, "far away")):
        figure.text(0.5, at, text)
    with drawn_figures() as found:
        white = png(figure)
    rendered = png(figure)
    assert found == [("one text", "another")]
    assert white != rendered and white[16:24] == rendered[16:24], "width and height of a PNG stand there"


def test_the_measure_sees_what_it_is_for():
    page = Page(100.0, 100.0)
    page.text(10.0, 10.0, "one text")
    page.text(12.0, 11.0, "another")
    page.text(10.0, 30.0, "far away")
    assert texts_on_each_other(page.figure) == [("another", "one text")]
