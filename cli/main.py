"""The command ``handlap``: finds the command asked for, and turns errors into exit codes.

Only the module of the command that was asked for is imported, so that ``--help`` stays quick.
To add a command, write ``cli/commands/<name>.py`` with a click command of the same name (``-`` becomes
``_``) and add a row to :data:`COMMANDS`.

Exit codes: 0 done; 1 our error; 2 wrong usage or input; 3 it ran, but the goal cannot be met
by hand; 130 interrupted.
"""

from __future__ import annotations

import errno
import importlib
import os
import sys
from collections.abc import Callable, Sequence
from typing import Any, NamedTuple, NoReturn

import click


class Entry(NamedTuple):
    """One command: under which heading ``--help`` lists it, its name, its one line of help."""

    section: str
    name: str
    summary: str


BEFORE = "Before the bench"
BENCH = "At the bench"
LEARN = "To learn"
HELPERS = "Helpers"

COMMANDS: tuple[Entry, ...] = (
    Entry(BEFORE, "glance", "A first look in a minute: seven questions, ten lines, a file to go on from."),
    Entry(BEFORE, "new", "Make a scenario file for a job of your own, by questions and answers."),
    Entry(BEFORE, "measuring-sheet", "A sheet to print: where to lay the straightedge, where to try leaves."),
    Entry(BEFORE, "readings", "Type in what was written on the measuring sheet, line by line."),
    Entry(BEFORE, "survey", "What shape the face is, from readings, and how sure that is."),
    Entry(BEFORE, "plan", "Papers, strokes, turns and checks to get it flat; how sure; or why not."),
    Entry(BEFORE, "compare", "Which way of working suits this part best, and how often to turn it."),
    Entry(BEFORE, "why", "What makes the error that is left, and what would help most."),
    Entry(BEFORE, "improve", "Search for the way of working with the best chance; checked afresh."),
    Entry(BEFORE, "simulate", "Follow one lap exactly, with nothing uncertain."),
    Entry(BENCH, "scrap-trial", "Try every paper on a scrap, weighed; which one to start on."),
    Entry(BENCH, "job-sheet", "The plan as a sheet to print and work by, with when to stop."),
    Entry(BENCH, "bench-page", "The plan as a page for the phone: counts, reminds, takes notes."),
    Entry(BENCH, "log", "Write down what was done, weighed and read; or show it."),
    Entry(BENCH, "dye-photo", "Read what is left of the dye from a photo of the face."),
    Entry(BENCH, "replan", "Learn from the log, plan the rest, and say stop when it is time."),
    Entry(BENCH, "record", "What stays with the part: limits, metal off, what the cut does."),
    Entry(BENCH, "past-jobs", "What earlier jobs have taught of paper and hands; takes entries out."),
    Entry(LEARN, "lesson", "Predict what the hands do to the metal, then see it worked."),
    Entry(LEARN, "play", "A page with knobs to turn, or one lap stroke by stroke."),
    Entry(LEARN, "exercise", "A warped face to judge from its readings; the truth sealed; marks."),
    Entry(HELPERS, "explain", "Pages on how a job is done, what figures mean, what is left out."),
    Entry(HELPERS, "convert", "Grams and mean depth, thousandths and micrometres, US and P grits."),
    Entry(HELPERS, "keys", "Every key of a scenario file, its range, default and spread."),
    Entry(HELPERS, "validity", "What the program has been held against, and what against nothing."),
)

DEBUG = "HANDLAP_DEBUG"
INTERRUPTED = 130


class OrderedCommands(click.Group):
    """A group that knows its commands by name and imports one only when it is run."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names in the order of the job."""
        return [entry.name for entry in COMMANDS]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The command of that name, imported now."""
        for entry in COMMANDS:
            if entry.name == cmd_name:
                attribute = cmd_name.replace("-", "_")
                module = importlib.import_module(f"handlap.cli.commands.{attribute}")
                command: click.Command = getattr(module, attribute)
                return command
        return None

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """As click does, with a guess at what a mistyped name meant."""
        if args and not args[0].startswith("-") and args[0] not in self.list_commands(ctx):
            from handlap.sim.common.spelling import nearest

            near = nearest(args[0], self.list_commands(ctx))
            hint = f' Did you mean "{near}"?' if near else ""
            known = ", ".join(self.list_commands(ctx))
            raise click.UsageError(f'There is no command "{args[0]}".{hint} Commands: {known}.', ctx)
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Commands under their headings, without importing any."""
        for section in dict.fromkeys(entry.section for entry in COMMANDS):
            with formatter.section(section):
                formatter.write_dl([(e.name, e.summary) for e in COMMANDS if e.section == section])

    def main(self, args: Sequence[str] | None = None, **options: Any) -> Any:  # type: ignore[override]
        """Run, and leave with an exit code; with ``standalone_mode=False`` as click does."""
        if not options.pop("standalone_mode", True):
            return self._in_width(args, **options)
        sys.exit(self._guarded(args, **options))

    def _in_width(self, args: Sequence[str] | None, **options: Any) -> Any:
        """As click does, but with help that fits narrow terminals too."""
        from handlap.cli.screen import Screen

        options.setdefault("terminal_width", Screen.of(sys.stdout).width)
        return super().main(args, standalone_mode=False, **options)

    def invoke(self, ctx: click.Context) -> Any:
        """As click does, with matplotlib told to keep quiet first."""
        import logging

        # Where there is no home to keep its list of fonts in, it would say so on every run.
        logging.getLogger("matplotlib").setLevel(logging.ERROR)
        return super().invoke(ctx)

    def _guarded(self, args: Sequence[str] | None, **options: Any) -> int:
        from handlap.cli.interrupts import Interrupts

        with Interrupts(_say_interrupted, INTERRUPTED) as interrupts:
            return self._explained(interrupts.tell, args, **options)

    def _explained(self, interrupted: Callable[[], None], args: Sequence[str] | None, **options: Any) -> int:
        debug = os.environ.get(DEBUG, "") not in ("", "0")
        try:
            code = self._in_width(args, **options)
            if sys.stdout is not None:
                sys.stdout.flush()
            return code if isinstance(code, int) else 0
        except click.exceptions.Exit as leave:
            return leave.exit_code
        except click.ClickException as fault:
            _say_usage(fault)
            return fault.exit_code
        except (KeyboardInterrupt, click.Abort):
            interrupted()
            return INTERRUPTED
        except BrokenPipeError:
            return _quiet_pipe()
        except OSError as fault:
            if debug:
                raise
            if fault.errno == errno.EPIPE:
                return _quiet_pipe()
            _say(f"handlap: the system refused: {fault.strerror or fault}{_named(fault)}")
            return 1
        except Exception as fault:
            if debug:
                raise
            return _explain(fault)


def _named(fault: OSError) -> str:
    return f" ({fault.filename})" if fault.filename else ""


def _say(message: str) -> None:
    from handlap.cli.screen import emit

    emit(message, error=True)


def _say_interrupted() -> None:
    from handlap.cli.screen import ANEW, is_terminal

    anew = ANEW if is_terminal(sys.stderr) else ""
    _say(f"{anew}handlap: interrupted; nothing half-written is left behind.")


def _say_usage(fault: click.ClickException) -> None:
    ctx = getattr(fault, "ctx", None)
    if ctx is not None:
        _say(f"{ctx.get_usage()}\nHelp: {ctx.command_path} --help\n")
    _say(f"handlap: {fault.format_message()}")


def _quiet_pipe() -> int:
    """Whoever read our output has gone: nothing to say, and nothing more to flush at exit."""
    from handlap.cli.screen import let_go

    let_go(sys.stdout)
    return 1


def _explain(fault: Exception) -> int:
    from handlap.sim.common.errors import HandlapError, ScenarioError

    if isinstance(fault, ScenarioError) and len(fault.faults) > 1:
        _say(f"handlap: {len(fault.faults)} faults to put right:\n{fault}")
        return fault.exit_code
    if isinstance(fault, HandlapError):
        _say(f"handlap: {fault}")
        return fault.exit_code
    _say(
        f"handlap: this is a fault in handlap, not in what you gave it: {type(fault).__name__}: {fault}\n"
        f"Run the command again with {DEBUG}=1 in the environment to see where it happened, and "
        "report that together with the scenario file."
    )
    return 1


@click.group(
    cls=OrderedCommands,
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog="Start with: handlap glance (a first look in a minute), then handlap new for the whole job; "
    "handlap plan lists built-in scenarios to try.",
)
@click.version_option(package_name="handlap", prog_name="handlap", message="%(prog)s %(version)s")
def main() -> None:
    """Plan, simulate and follow the lapping of a warped metal face by hand on abrasive paper.

    A scenario file (TOML) describes the part, the readings taken on its face, the plate, the
    paper and the hands; "handlap keys" lists all it may hold. The name of a built-in scenario
    serves in place of a file.

    Figures are bands: the middle value, and the range it falls in 90 times in 100. The limits of
    the part's maker, local codes and a qualified machinist's judgement come before any of them.
    """


def run() -> NoReturn:
    """Entry point of the console script."""
    main(prog_name="handlap")
    raise AssertionError("click leaves by itself")
