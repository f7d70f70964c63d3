"""The command ``handlap``: finds the command asked for, and turns errors into exit codes.

Only the module of the command that was asked for is imported, so that ``--help`` stays quick.
To add a command, write ``cli/commands/<name>_command.py`` with a click command of the same name (``-``
becomes ``_``), what ``--help`` is to say of it in its first line, and a row on the page
``cli/pages/commands.md``.

Exit codes: 0 done; 1 our error; 2 wrong usage or input; 3 it ran, but the goal cannot be met
by hand; 130 interrupted.
"""

from __future__ import annotations

import errno
import importlib
import os
import re
import sys
from collections.abc import Callable, Sequence
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple, NoReturn

import click


class CommandRow(NamedTuple):
    """One command: under which heading ``--help`` lists it, its name, its one line of help."""

    section: str
    name: str
    summary: str


ROW = re.compile(r"^\| `handlap ([a-z-]+)", re.MULTILINE)
FIRST_LINE = re.compile(r'"""([^:]+): (.+)"""')


def listed(page: str, folder: Path) -> tuple[CommandRow, ...]:
    """The commands in the order in which a page has them.

    What ``--help`` says of each is the first line of its module in ``folder``, which is read without being
    imported, so that help stays quick: a heading, and behind a colon what the command does.
    """
    found = []
    for name in ROW.findall(page):
        with (folder / f"{name.replace('-', '_')}_command.py").open(encoding="utf-8") as module:
            told = FIRST_LINE.match(module.readline())
        if told is None:
            raise AssertionError(
                f'{name}: the first line of its module is to be """HEADING: what it does."""'
            )
        found.append(CommandRow(told[1], name, told[2]))
    return tuple(found)


@cache
def commands() -> tuple[CommandRow, ...]:
    """All commands, in the order of the job."""
    from handlap.cli.explained import page

    return listed(page("commands"), Path(__file__).with_name("commands"))


DEBUG = "HANDLAP_DEBUG"
INTERRUPTED = 130


class OrderedCommands(click.Group):
    """A group that knows its commands by name and imports one only when it is run."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names in the order of the job."""
        return [entry.name for entry in commands()]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The command of that name, imported now."""
        for entry in commands():
            if entry.name == cmd_name:
                attribute = cmd_name.replace("-", "_")
                module = importlib.import_module(f"handlap.cli.commands.{attribute}_command")
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
        for section in dict.fromkeys(entry.section for entry in commands()):
            with formatter.section(section):
                formatter.write_dl([(e.name, e.summary) for e in commands() if e.section == section])

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
