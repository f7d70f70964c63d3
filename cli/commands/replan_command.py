"""At the bench: Learn from the log, plan the rest, and say stop when it is time."""

from __future__ import annotations

import click

from handlap.cli.answering import answer, known_job, working
from handlap.cli.options import (
    GOAL_OUT_OF_REACH,
    AskedMembers,
    Output,
    draws_options,
    output_options,
    scenario_argument,
)


@click.command()
@scenario_argument()
@draws_options(64, 16, 1024)
@click.option("--trial", is_flag=True, help="Only say how long a first block has to be to tell anything.")
@click.option(
    "--sure",
    type=click.IntRange(50, 99),
    metavar="PERCENT",
    help="Only say that the goal is met if the true face, between the stations too, is inside with this "
    "chance. Without it, what the leaves show at the stations is enough.",
)
@output_options
@click.pass_context
def replan(
    ctx: click.Context,
    scenario: str,
    draws: AskedMembers,
    trial: bool,
    sure: int | None,
    output: Output,
) -> None:
    """Learn from the log, plan the rest anew, and say stop when it is time.

    Face, cutting rate, bedding, ageing and bias of the hands are brought up to date with what
    was weighed, read and seen; what was not learnt is said too. Without strokes in the log, or
    with --trial, it says how many strokes the scale at hand needs before a weighing tells
    anything.

    Exit code 3 means: it ran, and the goal is out of reach by going on like this, or more is off
    than may come off.
    """
    from handlap.sim.bench.log_file import read_log
    from handlap.sim.bench.log_place import log_path

    job = known_job(scenario, draws.afresh)
    log = read_log(job)
    output.check()

    if trial or not log.strokes:
        from handlap.cli.reports.trial_report import trial_json, trial_report
        from handlap.sim.bench.bench_trial import plan_trial

        with working() as how:
            advice = plan_trial(job, log.standing, seed=draws.seed, **how)
        output.hand_over(
            trial_report(job, advice, log_path(job), log),
            trial_json(job, advice),
            pictures=dict,
            job=job.name,
        )  # fmt: skip
        return

    from handlap.sim.bench.replan import make_replan

    with working() as how:
        asked = None if sure is None else sure / 100.0
        found = make_replan(job, log, **draws.whom, sure=asked, **how)
    answer(output, "replan", found, job=job)
    if found.verdict.answer in ("out of reach", "too deep"):
        ctx.exit(GOAL_OUT_OF_REACH)
