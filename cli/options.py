"""Options that several commands share, and the way each of them hands over its result."""

from __future__ import annotations

import contextlib
import functools
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click
from click.shell_completion import CompletionItem

from handlap.cli.files import make_folder, place_to_write, write_whole
from handlap.cli.screen import Screen, emit, note
from handlap.sim.common.errors import HandlapError, InputError

if TYPE_CHECKING:
    from concurrent.futures import Executor

    from handlap.cli.reports.blocks import Report
    from handlap.sim.job.scenario import Scenario

F = TypeVar("F", bound=Callable[..., Any])
LARGEST_SEED = 2**32 - 1
MOST_WORKERS = 512
GOAL_OUT_OF_REACH = 3
"""Exit code of a command that ran and found that lapping will not do."""
CLUSTER_WAITS = 10
"""Seconds that a scheduler is waited for."""


# Newer versions of click say what a type gives, older ones cannot be told.
class ScenarioName(click.ParamType):  # type: ignore[type-arg]
    """A file, or the name of a built-in scenario; knows both when the shell completes a word."""

    name = "scenario"

    def shell_complete(
        self, ctx: click.Context, param: click.Parameter, incomplete: str
    ) -> list[CompletionItem]:
        """Built-in names that begin like this, then files."""
        from importlib import resources

        names = (entry.name for entry in resources.files("handlap.scenarios").iterdir())
        stems = sorted(name.removesuffix(".toml") for name in names if name.endswith(".toml"))
        found = [CompletionItem(stem) for stem in stems if stem.startswith(incomplete)]
        return [*found, CompletionItem(incomplete, type="file")]


def in_its_units(job: Scenario) -> Scenario:
    """The job; from here on the command speaks in its units, until it ends."""
    from handlap.sim.common import spoken

    context = click.get_current_context(silent=True)
    if context is not None:
        context.with_resource(spoken.speaking(job.system, job.leaf_unit))
    return job


def past_option(function: F) -> F:
    """--afresh."""
    return click.option(
        "--afresh",
        is_flag=True,
        help="Leave out what earlier jobs have taught (handlap past-jobs lists them).",
    )(function)


def past_place() -> Path | None:
    """Where earlier jobs are kept; None where the user wants none."""
    import os
    import sys

    from handlap.sim.job.past_jobs import past_file

    try:
        home = Path.home()
    except RuntimeError:
        home = Path("/")
    return past_file(os.environ, sys.platform, home)


def as_known(job: Scenario, afresh: bool) -> Scenario:
    """The job as it is known from earlier ones, unless they are to be left out or there are none.

    Raises
    ------
    ScenarioError : if their file is torn
    """
    place = None if afresh else past_place()
    if place is None:
        return job
    from handlap.sim.bench.log_place import log_path
    from handlap.sim.job.past_jobs import read_past

    # What this job itself has left says nothing new of it, and would be counted twice.
    own = str(log_path(job).resolve())
    jobs = [past for past in read_past(place) if past.log != own]
    if not jobs:
        return job
    from handlap.sim.lapping.from_past import from_past

    return from_past(job, jobs, str(place))


def scenario_argument(*, required: bool = True) -> Callable[[F], F]:
    """SCENARIO: a file, or the name of a built-in one."""
    return click.argument("scenario", required=required, type=ScenarioName())


def seed_option(function: F) -> F:
    """--seed."""
    return click.option(
        "--seed",
        type=click.IntRange(0, LARGEST_SEED),
        default=0,
        show_default=True,
        metavar="S",
        help="Start of the random numbers; same seed, same answer.",
    )(function)


def members_option(default: int, least: int, most: int) -> Callable[[F], F]:
    """--members."""
    return click.option(
        "--members",
        type=click.IntRange(least, most),
        default=default,
        show_default=True,
        metavar="N",
        help=f"Faces in the ensemble, {least} to {most}; more give steadier bands and take longer.",
    )


@dataclass(frozen=True)
class Spread:
    """Where members are worked: in threads of this process, in processes, or on a cluster."""

    workers: int | None
    cluster: str | None

    @contextlib.contextmanager
    def executor(self) -> Iterator[Executor | None]:
        """The executor asked for, for as long as it is needed; None: threads of this process.

        Raises
        ------
        InputError : if both are asked for, or the cluster cannot be had
        """
        if self.workers is not None and self.cluster is not None:
            raise InputError("--workers and --cluster: give one of them")
        if self.cluster is not None:
            with _on_cluster(self.cluster) as found:
                yield found
        elif self.workers is not None:
            import multiprocessing
            from concurrent.futures import ProcessPoolExecutor

            # A process of its own is started, not forked: threads of kernels do not survive a fork.
            spawned = multiprocessing.get_context("spawn")
            with ProcessPoolExecutor(self.workers, mp_context=spawned) as processes:
                yield processes
        else:
            yield None


@contextlib.contextmanager
def _on_cluster(address: str) -> Iterator[Executor]:
    try:
        from distributed import Client
    except ImportError:
        raise InputError("--cluster needs the package distributed: install handlap[cluster]") from None
    try:
        client = Client(address, timeout=CLUSTER_WAITS)
    except (OSError, ValueError) as fault:
        raise InputError(f"--cluster {address}: no scheduler answers there ({fault})") from None
    with client:
        yield client.get_executor()


def spread_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """--workers, --cluster; the command gets them as one ``spread``."""

    @functools.wraps(function)
    def gathered(*given: Any, workers: int | None, cluster: str | None, **rest: Any) -> Any:
        return function(*given, spread=Spread(workers, cluster), **rest)

    command: Callable[..., Any] = gathered
    command = click.option(
        "--cluster",
        metavar="ADDRESS",
        help="Scheduler of a cluster to work on, such as tcp://host:8786 (needs handlap[cluster]).",
    )(command)
    return click.option(
        "--workers",
        type=click.IntRange(1, MOST_WORKERS),
        metavar="N",
        help="Processes to work in; without it, threads of this one. The answer is the same.",
    )(command)


@dataclass(frozen=True)
class AskedMembers:
    """Whom a job is worked by: members drawn from a seed, as earlier jobs leave them or afresh, and where."""

    members: int
    seed: int
    afresh: bool
    spread: Spread | None = None

    @property
    def whom(self) -> dict[str, Any]:
        """Members and seed, as what does the work takes them."""
        return {"members": self.members, "seed": self.seed}


def draws_options(
    default: int, least: int, most: int, *, spread: bool = False
) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """--members, --seed, --afresh, with ``spread`` --workers, --cluster; all as one ``draws``."""

    def with_draws(function: Callable[..., Any]) -> Callable[..., Any]:
        @functools.wraps(function)
        def gathered(*given: Any, members: int, seed: int, afresh: bool, **rest: Any) -> Any:
            return function(
                *given, draws=AskedMembers(members, seed, afresh, rest.pop("spread", None)), **rest
            )

        command = spread_options(gathered) if spread else gathered
        return members_option(default, least, most)(seed_option(past_option(command)))

    return with_draws


def paper_option(what: str = "") -> Callable[[F], F]:
    """--paper: the size to print on, of a thing that is made besides others."""
    return click.option(
        "--paper",
        type=click.Choice(["A4", "Letter"], case_sensitive=False),
        default="A4",
        show_default=True,
        help=f"Size of the paper{what}.",
    )


def check_places(out: Path | None, *files: Path | None) -> None:
    """Find out before the work whether its results can be written."""
    if out is not None:
        make_folder(out)
    for file in files:
        if file is not None:
            place_to_write(file)


@dataclass(frozen=True)
class Output:
    """Where a result is to go: a folder, JSON in place of text, a JSON file."""

    out: Path | None = None
    as_json: bool = False
    json_file: Path | None = None

    def check(self, *files: Path | None) -> None:
        """Find out before the work whether its results, and other files, can be written."""
        check_places(self.out, self.json_file, *files)

    def hand_over(
        self,
        report: Report,
        result: dict[str, Any],
        *,
        pictures: Callable[[], dict[str, bytes]],
        job: str = "",
        page_report: Report | None = None,
        pdf: Callable[[], bytes] | None = None,
    ) -> None:
        """Print and write a result.

        Parameters
        ----------
        report, result : the same as a report and as a JSON object
        pictures : draws the pictures, PNG by name; called only where they are wanted
        job : name of the scenario, which the files of the folder carry; "" where there is none
        page_report : report for the page, where it says more than the one for the terminal
        pdf : makes the page for a printer, where there is one
        """
        import sys

        from handlap.cli.reports.as_json import dumps

        if self.out is not None:
            from handlap.cli.drawing.sizes import for_phones
            from handlap.cli.reports.page import render_page
            from handlap.cli.result_set import write_result_set

            shown = page_report or report
            drawn = pictures()
            with for_phones():
                narrow = pictures()
            write_result_set(
                self.out,
                job,
                shown.kind,
                render_page(shown, drawn, narrow),
                drawn,
                pdf=pdf() if pdf else None,
                json_file=None if self.json_file is None else (self.json_file, dumps(result) + "\n"),
            )
        elif self.json_file is not None:
            write_whole(self.json_file, dumps(result) + "\n")
        if self.as_json:
            emit(dumps(result))
        else:
            from handlap.cli.reports.text import render

            emit(render(report, Screen.of(sys.stdout)))
        if self.json_file is not None:
            note(f"JSON written to {self.json_file}")


@contextlib.contextmanager
def face_may_decide(output: Output) -> Iterator[None]:
    """Hand over the verdict where a command stops at the face: it is an answer, and no error."""
    try:
        yield
    except HandlapError as stopped:
        from handlap.sim.face.told import FaceDecides

        if not isinstance(stopped, FaceDecides):
            raise
        from handlap.cli.reports.face_report import face_json, face_report

        command = click.get_current_context().info_name or ""
        output.hand_over(
            face_report(command, stopped),
            face_json(command, stopped),
            pictures=dict,
            job=stopped.scenario.name,
        )


def output_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """--out, --json, --json-file; the command gets them as one ``output``.

    Where the face decides before any lap, that is handed over in place of the command's own result.
    """

    @functools.wraps(function)
    def gathered(*given: Any, out: Path | None, as_json: bool, json_file: Path | None, **rest: Any) -> Any:
        output = Output(out, as_json, json_file)
        with face_may_decide(output):
            return function(*given, output=output, **rest)
        return None

    command: Callable[..., Any] = gathered
    for option in (
        click.option(
            "--json-file",
            type=click.Path(path_type=Path),
            metavar="FILE",
            help="Write the result as JSON to this file too.",
        ),
        click.option(
            "--json", "as_json", is_flag=True, help="Print the result as one JSON object instead of text."
        ),
        click.option(
            "--out",
            type=click.Path(path_type=Path),
            metavar="DIR",
            help="Put pictures (PNG) and a page to print (HTML), named after the scenario, into this folder.",
        ),
    ):
        command = option(command)
    return command
