"""Before the bench: Papers, strokes, turns and checks to get it flat; how sure; or why not."""

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

FIRST_TRY = "two-cylinder-head"


@click.command()
@scenario_argument(required=False)
@click.option(
    "--start",
    "start",
    metavar="PAPER",
    help="Start on this paper of the scenario's, such as P80, in place of the one the plan would choose.",
)
@draws_options(64, 8, 1024, spread=True)
@output_options
@click.pass_context
def plan(
    ctx: click.Context,
    scenario: str | None,
    start: str | None,
    draws: AskedMembers,
    output: Output,
) -> None:
    """Plan a job: which papers, how many strokes, when to turn, brush and check.

    SCENARIO is a TOML file or the name of a built-in scenario; without it the built-in ones
    are listed. Every figure comes with its band over the faces that fit the readings and over
    all that is not known of paper and hands.

    Exit code 3 means: it ran, and the answer is a machine shop.
    """
    if scenario is None:
        _list_scenarios(output.as_json)
        return
    from handlap.sim.lapping.simulate import starting_on

    job = known_job(scenario, draws.afresh)
    output.check()
    if start is not None:
        job = starting_on(job, start)

    from handlap.sim.planning.plan import make_plan

    with working(draws.spread) as how:
        found = make_plan(job, **draws.whom, **how)
    answer(output, "plan", found, job=job, drawn_in="pictures", page={"all_checks": True})
    if found.verdict.answer == "machine shop":
        ctx.exit(GOAL_OUT_OF_REACH)


def _list_scenarios(as_json: bool) -> None:
    import sys

    from handlap.cli.reports.text import wrapped
    from handlap.cli.screen import Screen, emit
    from handlap.sim.job.scenario_file import builtin_names

    names = builtin_names()
    if as_json:
        from handlap.cli.reports.as_json import dumps

        rows = [{"name": name, "title": title} for name, title in names]
        emit(dumps({"schema": "handlap.scenarios/1", "scenarios": rows}))
        return
    screen = Screen.of(sys.stdout)
    first = FIRST_TRY if FIRST_TRY in dict(names) else names[0][0]
    heading = wrapped("Built-in scenarios, all with invented data:", screen.width)
    lines = [*map(screen.strong, heading), ""]
    for name, title in names:
        lines += [f"  {screen.strong(name)}", *wrapped(title, screen.width, "      ")]
    lines += [
        "",
        *wrapped(
            "For a job of your own: handlap glance, a first look in a minute; then handlap new.", screen.width
        ),
        *wrapped(f"To try one of these: handlap plan {first}", screen.width),
        *wrapped('"handlap keys" lists all that it may hold.', screen.width),
    ]
    emit("\n".join(lines))
