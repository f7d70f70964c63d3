"""At the bench: The plan as a page for the phone: counts, reminds, takes notes."""

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
    scenario_argument,
)

if TYPE_CHECKING:
    from handlap.cli.reports.blocks import Report
    from handlap.sim.bench.job_log import JobLog
    from handlap.sim.bench.page_plan import PagePlan
    from handlap.sim.job.scenario import Scenario


@click.command()
@scenario_argument()
@draws_options(64, 16, 1024)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    metavar="PAGE.html",
    help="The page to write; without it NAME-bench-page.html in this folder.",
)
@click.option("--json", "as_json", is_flag=True, help="Print what the page goes by as one JSON object.")
@click.pass_context
def bench_page(
    ctx: click.Context, scenario: str, draws: AskedMembers, out: Path | None, as_json: bool
) -> None:
    """Make a page for the phone beside the plate.

    One HTML file that needs no network: it counts strokes by tap or by pace, says what is due
    and how the part lies, takes down what leaves, scale and dye say at a check, with what to
    expect beside each, and says stop by the rules of the job sheet. What it took down it hands
    over as a text, which handlap log SCENARIO --from FILE reads in.

    Before the first stroke it goes by the plan. Once the log holds strokes it goes by the log,
    as handlap replan does, and counts on from there.

    Exit code 3 means: it ran, and the answer is a machine shop.
    """
    from handlap.cli.result_set import set_name
    from handlap.sim.bench.log_file import read_log
    from handlap.sim.job.scenario_file import file_frame, read_text

    job = known_job(scenario, draws.afresh)
    log = read_log(job)
    from handlap.cli.files import with_ending, write_whole

    file = with_ending(out, ".html") if out else Path(f"{set_name(job.name, 'bench-page')}.html")
    check_places(None, file)

    system, _ = file_frame(read_text(scenario))
    # Where the face decides there is nothing to work by, and no page is written.
    with face_may_decide(Output(as_json=as_json)):
        plan = page_plan(job, log, **draws.whom)
        from handlap.cli.sheets.sheet_bench_page import bench_page_data, render_bench_page

        page = render_bench_page(plan, system)
        write_whole(file, page)
        _hand_over(plan, bench_page_data(plan, system), file, len(page.encode("utf-8")), as_json)
    if plan.advice in ("machine shop", "out of reach", "too deep"):
        ctx.exit(GOAL_OUT_OF_REACH)


def page_plan(job: Scenario, log: JobLog, *, members: int, seed: int) -> PagePlan:
    """What the page goes by: the plan, or what the log leaves of it."""
    from handlap.cli.progress import ProgressLine
    from handlap.sim.bench.page_plan import page_of_plan, page_of_replan

    with ProgressLine() as progress:
        if log.strokes:
            from handlap.sim.bench.replan import make_replan

            return page_of_replan(make_replan(job, log, members=members, seed=seed, progress=progress))
        from handlap.sim.planning.plan import make_plan

        return page_of_plan(make_plan(job, members=members, seed=seed, progress=progress), log)


def _hand_over(plan: PagePlan, data: dict[str, Any], file: Path, size: int, as_json: bool) -> None:
    from handlap.cli.reports.as_json import job_json
    from handlap.cli.screen import note

    known = {"schema": "handlap.bench-page/1", **job_json(plan.scenario), "file": str(file)}
    whole = {**known, "bytes": size, "page": data}
    Output(as_json=as_json).hand_over(bench_page_report(plan, file, size), whole, pictures=dict)
    if not as_json:
        note(f"page written to {file}")


def bench_page_report(plan: PagePlan, file: Path, size: int) -> Report:
    """Where the page is, and what it goes by."""
    from handlap.cli.reports.blocks import Bullets, Report, Section, Table
    from handlap.cli.reports.plan_report import ANSWERS
    from handlap.cli.reports.quantity import counted
    from handlap.cli.reports.wording import sentence, subject
    from handlap.sim.planning.cautions import cautions

    job = plan.scenario
    lead = [f"{file}, {size / 1000:.0f} kB: bring it to the phone as a file and open it in its browser."]
    if plan.log.strokes:
        lead.append(f"It counts on from {counted(plan.log.strokes, 'stroke')} in the log.")
    sections = []
    if plan.stages:
        heads = ("paper", "strokes", "turn\nevery", "brush\nevery", "sheet\nevery", "looks")
        rows = tuple(
            (
                s.paper,
                str(s.strokes),
                *(str(n) if n else "never" for n in (s.turn_every, s.brush_every, s.sheet_every)),
                str(len(s.looks)),
            )
            for s in plan.stages
        )
        sections.append(Section("What it goes by", (Table(heads, rows, (0,)),)))
    steps = (
        "Count and write down on the page; it keeps all of it on the phone.",
        "Hand over there: save, copy or share the text, and bring it to this machine.",
        f"Then: handlap log {job.source} --from FILE",
        f"Later, handlap replan {job.source} and a new page, which goes on from the count.",
    )
    sections.append(Section("How it comes back", (Bullets(steps),)))
    items = cautions(job.part.metal, weight=job.part.weight, wet=job.paper.wet)
    sections.append(Section("Take care", (Bullets(items),), aside=True))
    reasons = tuple(sentence(reason) for reason in plan.reasons)
    said = ANSWERS[plan.advice][0].lower() if plan.advice in ANSWERS else plan.advice
    return Report(
        "bench-page",
        f"A page for the bench: {said}",
        "plain",
        subject(job),
        (*lead, *reasons),
        tuple(sections),
    )
