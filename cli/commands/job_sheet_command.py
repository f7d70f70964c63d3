"""At the bench: The plan as a sheet to print and work by, with when to stop."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from handlap.cli.answering import known_job
from handlap.cli.options import (
    GOAL_OUT_OF_REACH,
    AskedMembers,
    Output,
    check_places,
    draws_options,
    face_may_decide,
    paper_option,
    scenario_argument,
)

if TYPE_CHECKING:
    from handlap.cli.reports.blocks import Report
    from handlap.cli.sheets.sheet_job import JobSheet, SheetRow
    from handlap.sim.bench.bench_blocks import WorkBlock
    from handlap.sim.bench.job_log import JobLog
    from handlap.sim.common.units import System
    from handlap.sim.job.results import Plan
    from handlap.sim.job.scenario import Scenario


@click.command()
@scenario_argument()
@draws_options(64, 8, 1024)
@paper_option()
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="The folder to write to; without it this one.",
)
@click.option(
    "--page",
    is_flag=True,
    help="Write NAME-bench-page.html too, as handlap bench-page makes it, for a phone.",
)
@click.option("--json", "as_json", is_flag=True, help="Print the sheet as one JSON object instead of text.")
@click.pass_context
def job_sheet(
    ctx: click.Context,
    scenario: str,
    draws: AskedMembers,
    paper: str,
    out: Path | None,
    page: bool,
    as_json: bool,
) -> None:
    """Print the plan as a sheet to work by at the bench.

    Writes NAME-job-sheet.pdf and .html, black and white: for each paper the strokes, when to
    turn, brush and lay a new sheet, the checks with the dye, the grams and the leaf to expect,
    at which stations to try it, and when to stop.

    Exit code 3 means: it ran, and the answer is a machine shop.
    """
    from handlap.cli.result_set import set_name
    from handlap.sim.job.scenario_file import file_frame, read_text

    job = known_job(scenario, draws.afresh)
    folder = out or Path()
    places = {ending: folder / f"{set_name(job.name, 'job-sheet')}.{ending}" for ending in ("pdf", "html")}
    if page:
        places["page"] = folder / f"{set_name(job.name, 'bench-page')}.html"
    log = _log_to_begin(job) if page else None
    check_places(out, *places.values())

    system, _ = file_frame(read_text(scenario))
    # Where the face decides there is nothing to work by, and no sheet is written.
    with face_may_decide(Output(as_json=as_json)):
        plan = _write_sheet(job, system, places, paper, as_json, log, draws)
        if plan.verdict.answer == "machine shop":
            ctx.exit(GOAL_OUT_OF_REACH)


def _log_to_begin(job: Scenario) -> JobLog:
    """The log of a job that is still to begin."""
    from handlap.sim.bench.log_file import read_log
    from handlap.sim.common.errors import InputError

    log = read_log(job)
    if log.strokes:
        raise InputError(
            f"--page: the log holds {log.strokes} strokes, and a page goes on from there: handlap bench-page "
            f"{job.source}"
        )
    return log


def _write_sheet(
    job: Scenario,
    system: System,
    places: dict[str, Path],
    paper: str,
    as_json: bool,
    log: JobLog | None,
    draws: AskedMembers,
) -> Plan:
    """Plan the job, write the sheet and show it."""
    from handlap.cli.files import write_set
    from handlap.cli.progress import ProgressLine
    from handlap.cli.sheets.sheet_job import job_sheet_of
    from handlap.cli.sheets.sheet_job_page import job_sheet_page
    from handlap.cli.sheets.sheet_job_pdf import job_sheet_pdf
    from handlap.sim.face.stations import lines_of
    from handlap.sim.planning.plan import make_plan

    with ProgressLine() as progress:
        found = make_plan(job, **draws.whom, progress=progress)
    sheet = job_sheet_of(found, lines_of(job, system), system)
    pdf, pages = job_sheet_pdf(sheet, job.part.outline, paper)
    files: dict[Path, bytes | str] = {
        places["pdf"]: pdf,
        places["html"]: job_sheet_page(sheet, job.part.outline, paper),
    }
    if log is not None:
        from handlap.cli.sheets.sheet_bench_page import render_bench_page
        from handlap.sim.bench.page_plan import page_of_plan

        files[places["page"]] = render_bench_page(page_of_plan(found, log), system)
    write_set(files)
    _hand_over(found, sheet, places, pages, paper, as_json)
    return found


def _hand_over(
    plan: Plan, sheet: JobSheet, places: dict[str, Path], pages: int, paper: str, as_json: bool
) -> None:
    from handlap.cli.reports.quantity import counted
    from handlap.cli.screen import note

    found = job_sheet_json(plan, sheet, places, pages, paper)
    Output(as_json=as_json).hand_over(job_sheet_report(plan, sheet), found, pictures=dict)
    if as_json:
        return
    more = f", {places['page']}" if "page" in places else ""
    note(f"Written: {places['pdf']} ({counted(pages, 'page')} of {paper}){more} and {places['html']}")


def job_sheet_report(plan: Plan, sheet: JobSheet) -> Report:
    """The sheet for a terminal."""
    from handlap.cli.reports.blocks import Block, Bullets, Facts, Report, Section, Table, Words
    from handlap.cli.reports.checks_report import dye_blocks
    from handlap.cli.reports.plan_report import answer_words
    from handlap.sim.common.spoken import swarf_unit

    leaf = f"leaf\n{sheet.leaf_unit}"
    heads = (
        "up to\nstroke",
        "turn\nat",
        "due",
        f"off\n{swarf_unit()}",
        leaf,
        "met\n%",
        "worse\n%",
    )
    sections = [Section("How", (Bullets(sheet.first),))] if sheet.first else []
    for stage in sheet.stages:
        rows = tuple((r.strokes, r.turn, _due(r), r.grams, r.leaf, r.goal, r.worse) for r in stage.rows)
        blocks: list[Block] = [Words(" ".join(stage.facts)), Table(heads, rows, (1, 2))]
        if stage.left_out:
            blocks.append(Words(f"{stage.left_out} checks between these are left out; do them all the same."))
        sections.append(Section(f"Paper {stage.title}", tuple(blocks)))
    dyes = tuple(
        (r.strokes, stage.stage.plan.paper, r.faded, r.gone) for stage in sheet.stages for r in stage.rows
    )
    if dyes:
        sections.append(Section("The dye at a check", dye_blocks("up to\nstroke", dyes)))
    if sheet.where:
        sections.append(Section("Where to try the leaves", (Words(sheet.where),)))
    if sheet.stop:
        sections.append(Section("Stop if", (Facts(sheet.stop),)))
    sections.append(Section("Take care", (Bullets(sheet.cautions),)))
    answer, tone = answer_words(plan)
    return Report("job-sheet", answer, tone, sheet.subject, sheet.reasons, tuple(sections))


def _due(row: SheetRow) -> str:
    """What falls due on the way to a check, in a word."""
    last = (row.block.last,)
    if row.block.sheets:
        return "SHEET" if row.block.sheets == last else row.care.partition(", brush")[0]
    return "brush" if row.block.brushings else "–"


def job_sheet_json(
    plan: Plan, sheet: JobSheet, places: dict[str, Path], pages: int, paper: str
) -> dict[str, Any]:
    """The sheet as a JSON object; every block is in it, those without room on paper too."""
    from handlap.sim.common.said import figure

    part = plan.scenario.part
    return {
        "schema": "handlap.job-sheet/1",
        "scenario": plan.scenario.name,
        "title": plan.scenario.title,
        "invented": plan.scenario.invented,
        "members": plan.members,
        "seed": plan.seed,
        "files": {ending: str(place) for ending, place in places.items()},
        "paper": paper,
        "pages": pages,
        "verdict": plan.verdict.answer,
        "reasons": list(plan.verdict.reasons),
        "to_find_out": list(plan.verdict.to_find_out),
        "limit_um": figure(part.limit, 1e6),
        "allowance_um": figure(part.allowance, 1e6),
        "stages": [
            {
                "paper": stage.stage.plan.paper,
                "purpose": stage.stage.plan.purpose,
                "strokes": stage.stage.plan.strokes,
                "turning": stage.stage.plan.turning,
                "blocks": [_block(block) for block in stage.stage.blocks],
            }
            for stage in sheet.stages
        ],
        "first_stations": {"at_start": list(sheet.stations[0]), "at_end": list(sheet.stations[1])}
        if sheet.stages
        else None,
        "stop": _stop(sheet) if sheet.stages else None,
        "cautions": list(sheet.cautions),
    }


def _stop(sheet: JobSheet) -> dict[str, Any]:
    from handlap.sim.bench.stop_rules import DEEP, REREAD, WORSE
    from handlap.sim.common.said import figure

    marks = sheet.marks
    return {
        "rules": dict(sheet.stop),
        "goal_um": figure(marks.goal, 1e6),
        "allowance_mass_g": figure(marks.allowance_mass, 1e3),
        "allowance_strokes": marks.allowance_strokes,
        "worse_strokes": marks.worse_strokes,
        "chance_worse": WORSE,
        "chance_too_deep": DEEP,
        "read_again_um": figure(REREAD, 1e6),
    }


def _block(block: WorkBlock) -> dict[str, Any]:
    from handlap.sim.common.said import said_of

    return {
        **said_of(block, "first last spare turns brushings sheets"),
        **said_of(
            block.check,
            "mass dye_left dye_faded dye_gone straightedge greatest_depth reached worse_next",
        ),
    }
