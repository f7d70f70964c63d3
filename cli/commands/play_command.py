"""To learn: A page with knobs to turn, or one lap stroke by stroke."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from handlap.cli.options import (
    Output,
    check_places,
    face_may_decide,
    in_its_units,
    scenario_argument,
    seed_option,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    from handlap.cli.reports.blocks import Report
    from handlap.sim.job.scenario import Scenario
    from handlap.sim.teaching.frames import Followed
    from handlap.sim.teaching.knobs import KnobRig
    from handlap.sim.teaching.lesson import Lesson

FILE = click.Path(path_type=Path)


@click.command()
@scenario_argument()
@click.option("--out", type=FILE, metavar="PAGE.html", help="Write the page to play with to this file.")
@click.option(
    "--steps", is_flag=True, help="The page shows the lap stroke by stroke instead; so it does with --way."
)
@click.option("--gif", type=FILE, metavar="FILE.gif", help="Write a moving picture for slides to this file.")
@click.option(
    "--way",
    "texts",
    multiple=True,
    metavar="WAY",
    help='A way of working beside the scenario\'s own, such as "turning=none"; two show those two.',
)
@click.option(
    "--strokes", type=int, metavar="N", help="Strokes to follow; without it as many as the limit takes."
)
@click.option(
    "--paper",
    metavar="P",
    help="A paper of the scenario; without it paper.start, or that of a plan (with --steps the first).",
)
@click.option(
    "--frames", type=int, default=60, show_default=True, metavar="N", help="Steps to show, about; 4 to 200."
)
@seed_option
@click.option("--json", "as_json", is_flag=True, help="Print the figures of all frames as one JSON object.")
@click.option("--json-file", type=FILE, metavar="FILE", help="Write them as JSON to this file too.")
def play(
    scenario: str,
    out: Path | None,
    steps: bool,
    gif: Path | None,
    texts: tuple[str, ...],
    strokes: int | None,
    paper: str | None,
    frames: int,
    seed: int,
    as_json: bool,
    json_file: Path | None,
) -> None:
    """Make a page to play with: knobs for hands, paper and face, and what comes of them at once.

    Hand height, lean, press, hollow, crown and twist, turns, paper and its age: every move of a knob
    works the whole lap in the page. It shows it from the side and from above, compares two settings,
    lets you draw what you expect first, and lay a straightedge on what came. SCENARIO may be a lesson.

    With --steps, --way, --gif or --json it is one lap instead, stroke by stroke under a slider: dye,
    pressure, metal off, the face and its flatness, for one way of working or two side by side, with
    the figures of "handlap simulate". A WAY is written as for "handlap compare".

    Either page is one file that needs no network: it works from a stick, on a phone, and in class.
    """
    from handlap.cli.files import with_ending
    from handlap.sim.common.errors import InputError
    from handlap.sim.job.ways import parse_way

    out, gif = out and with_ending(out, ".html"), gif and with_ending(gif, ".gif")
    job, lesson = _job_or_lesson(scenario)
    in_its_units(job)
    ways = [parse_way(text) for text in texts]
    places = [place for place in (out, gif, json_file) if place is not None]
    if not places and not as_json:
        raise InputError("nothing to make: say --out PAGE.html, --gif FILE.gif, or --json")
    if len({place.resolve() for place in places}) < len(places):
        raise InputError("--out, --gif and --json-file name the same file: give each its own")
    check_places(None, *places)

    from handlap.cli.progress import ProgressLine

    if steps or texts or gif is not None or as_json or json_file is not None:
        from handlap.sim.teaching.frames import follow

        with face_may_decide(Output(None, as_json, json_file)):
            with ProgressLine() as progress:
                followed = follow(
                    job, ways, strokes=strokes, paper=paper, seed=seed, frames=frames, progress=progress
                )
            _hand_over(followed, out, gif, json_file, as_json)
        return
    assert out is not None
    with face_may_decide(Output(None, False, None)):
        with ProgressLine() as progress:
            knobs = _knobs(job, lesson, strokes, paper, seed, progress)
        _hand_over_knobs(knobs, lesson, out)


def _job_or_lesson(name: str) -> tuple[Scenario, Lesson | None]:
    """The job of this name, or that of the lesson of this name as its first case has it."""
    from handlap.sim.common.errors import InputError
    from handlap.sim.job.scenario_file import load
    from handlap.sim.teaching.lesson_file import case_scenario, lesson_names, load_lesson

    if name not in dict(lesson_names()):
        try:
            return load(name), None
        except InputError:
            # Not a job: perhaps the file of a lesson.
            if not Path(name).is_file() or "[[case]]" not in Path(name).read_text(
                encoding="utf-8", errors="replace"
            ):
                raise
    lesson = load_lesson(name)
    return case_scenario(lesson, lesson.cases[0]), lesson


def _knobs(
    job: Scenario,
    lesson: Lesson | None,
    strokes: int | None,
    paper: str | None,
    seed: int,
    progress: Callable[[float, str], None],
) -> KnobRig:
    """What the page with knobs goes by, held to ``simulate``."""
    from dataclasses import replace

    from handlap.sim.teaching.knob_errors import measure_errors
    from handlap.sim.teaching.knob_lesson import open_lesson_knobs
    from handlap.sim.teaching.knob_paper import opening_paper
    from handlap.sim.teaching.knobs import open_knobs, refuse_for_knobs
    from handlap.sim.teaching.strokes_to_follow import strokes_to_limit

    def held(done: float, what: str) -> None:
        progress(0.3 + 0.7 * done, what)

    refuse_for_knobs(job)
    progress(0.0, "setting up the page")
    if lesson is not None:
        return measure_errors(
            open_lesson_knobs(lesson, strokes=strokes, paper=paper, seed=seed), progress=held
        )
    paper, why = opening_paper(job, paper, seed=seed, tell=progress)
    count, chosen = strokes or job.exact.strokes, ""
    if count is None:
        count, chosen = strokes_to_limit(job, paper=paper, seed=seed)
    opened = open_knobs(job, strokes=count, chosen=chosen, paper=paper, seed=seed)
    return measure_errors(replace(opened, paper_why=why), progress=held)


def _hand_over_knobs(knobs: KnobRig, lesson: Lesson | None, out: Path) -> None:
    import sys

    from handlap.cli.files import write_whole
    from handlap.cli.reports.knob_page import knob_report, render_knobs
    from handlap.cli.reports.text import render
    from handlap.cli.screen import Screen, emit, note

    write_whole(out, render_knobs(knobs, lesson=lesson.ask if lesson else ""))
    emit(render(knob_report(knobs), Screen.of(sys.stdout)))
    note(f"page written to {out}")


def _hand_over(
    followed: Followed, out: Path | None, gif: Path | None, json_file: Path | None, as_json: bool
) -> None:
    import sys

    from handlap.cli.files import write_whole
    from handlap.cli.reports.as_json import dumps
    from handlap.cli.reports.text import render
    from handlap.cli.screen import Screen, emit, note

    if out is not None:
        from handlap.cli.reports.play_page import render_play

        write_whole(out, render_play(followed))
    if gif is not None:
        from handlap.cli.drawing.play_gif import play_gif

        write_whole(gif, play_gif(followed))
    if json_file is not None:
        write_whole(json_file, dumps(play_json(followed)) + "\n")
    emit(dumps(play_json(followed)) if as_json else render(_report(followed), Screen.of(sys.stdout)))
    for place, what in ((out, "page"), (gif, "moving picture"), (json_file, "JSON")):
        if place is not None:
            note(f"{what} written to {place}")


def _report(followed: Followed) -> Report:
    """The first and the last figures of each way."""
    from handlap.cli.drawing.play_views import figures_of, rows_of_figures
    from handlap.cli.reports.blocks import Report, Section, Table
    from handlap.cli.reports.quantity import counted
    from handlap.cli.reports.wording import paper_words, subject

    heads = ("", "start", *(f"after {followed.strokes}\n{way.name}" for way in followed.ways))
    start = figures_of(followed.ways[0].frames, 0)
    ends = [figures_of(way.frames, -1) for way in followed.ways]
    rows = tuple(
        (f"{name}, {unit}", start[n], *(end[n] for end in ends))
        for n, (name, unit) in enumerate(rows_of_figures())
    )
    steps = counted(len(followed.ways[0].frames.strokes), "step")
    lead = [f"{steps}, the same figures as simulate. One face, middle values, no bands."]
    lead = [*paper_words(way.lap for way in followed.ways), *lead]
    if followed.chosen:
        lead.append(f"{followed.strokes} strokes were chosen: {followed.chosen}.")
    return Report(
        kind="play",
        answer=f"{followed.strokes} strokes, step by step",
        tone="plain",
        subject=subject(followed.scenario),
        lead=tuple(lead),
        sections=(Section("From the first frame to the last", (Table(heads, rows, (0,)),)),),
    )


def play_json(followed: Followed) -> dict[str, Any]:
    """The figures of all frames of all ways."""
    from handlap.cli.reports.as_json import GRAM, job_json
    from handlap.sim.common.said import figure, said_of

    def of(values: Any, factor: float = 1.0) -> list[float | None]:
        return [figure(value, factor) for value in values]

    ways = []
    for way in followed.ways:
        f = way.frames.figures
        ways.append(
            {
                "way": way.name,
                "paper": way.lap.paper,
                "paper_why": way.lap.paper_why or None,
                **said_of(f, "flatness straightedge mean_depth greatest_depth"),
                "mass_g": of(way.frames.mass, GRAM),
                "dye_left": of(way.frames.dye_share),
                "dye_faded": of(way.frames.dye_faded),
                "dye_gone": of(1.0 - way.frames.dye_share),
                "dyed_again": [bool(again) for again in way.frames.dyed_again],
                "greatest_pressure_kpa": of(way.frames.pressure.max(axis=1), 1e-3),
                "errors": said_of(way.lap.errors),
                "notes": list(way.lap.notes),
            }
        )
    return {
        "schema": "handlap.play/1",
        **job_json(followed.scenario),
        "seed": followed.seed,
        "strokes_chosen": followed.chosen or None,
        "strokes": [int(n) for n in followed.ways[0].frames.strokes],
        "ways": ways,
    }
