"""The command line as a whole: help, exit codes, errors in words, plain terminals."""

from __future__ import annotations

import importlib.metadata
import os
import shutil
import subprocess
import sys
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from handlap.cli import main as entry
from handlap.cli.main import DEBUG, commands, main
from handlap.cli.screen import Screen
from handlap.sim.common.errors import Fault, HandlapError, InputError, ScenarioError

HEAVY = ("numpy", "scipy", "numba", "matplotlib", "llvmlite")
SOURCE = Path(entry.__file__).resolve().parents[1]


def run(*args: str, **env: str) -> tuple[int, str, str]:
    result = CliRunner().invoke(main, list(args), env=env or None)
    return result.exit_code, result.stdout, result.stderr


def process(*args: str, cwd: Path, **env: str) -> subprocess.CompletedProcess[bytes]:
    """handlap in a process of its own, from this checkout."""
    root = str(SOURCE / ".src")
    whole = {**os.environ, "PYTHONPATH": root, **env}
    code = "from handlap.cli.main import run; run()"
    return subprocess.run(
        [sys.executable, "-c", code, *args], cwd=cwd, env=whole, capture_output=True, timeout=6000
    )


def raising(monkeypatch: pytest.MonkeyPatch, fault: BaseException) -> None:
    """Make ``handlap keys`` fail."""

    def fail() -> None:
        raise fault

    monkeypatch.setattr("handlap.sim.job.scenario_keys.describe_keys", fail)


def test_help_lists_the_commands_under_headings_in_the_order_of_the_job():
    code, out, _ = run("--help")
    assert code == 0
    places = [out.index(f"\n  {command.name} ") for command in commands()]
    assert places == sorted(places)
    assert out.index("Before the bench") < out.index("survey")
    assert out.index("simulate ") < out.index("Helpers:") < out.index("convert ")
    assert max(len(line) for line in out.splitlines()) <= 80


def test_help_fits_forty_columns():
    _, out, _ = run("--help", COLUMNS="40")
    assert max(len(line) for line in out.splitlines()) <= 40


def test_bare_command_shows_the_help():
    code, out, err = run()
    assert code == 2
    assert "Before the bench" in out + err


def test_version_is_that_of_the_package():
    code, out, _ = run("--version")
    assert code == 0
    assert out.split()[-1] == importlib.metadata.version("handlap")


def test_help_imports_nothing_heavy(tmp_path):
    code = (
        "import sys\n"
        "from handlap.cli.main import run\n"
        "try:\n    run()\nfinally:\n"
        "    print([m for m in sys.modules if m.split('.')[0] in " + repr(HEAVY) + "], file=sys.stderr)"
    )
    env = {**os.environ, "PYTHONPATH": str(SOURCE / ".src")}
    for command in ((), *((listed.name,) for listed in commands())):
        done = subprocess.run(
            [sys.executable, "-c", code, *command, "--help"],
            cwd=tmp_path,
            env=env,
            capture_output=True,
            timeout=600,
        )
        assert done.stderr.decode().strip().endswith("[]"), (command, done.stderr.decode()[-300:])


NOT_FOR_A_PLAN = (
    "matplotlib", "scipy.stats", "scipy.interpolate", "scipy.ndimage", "scipy.signal", "scipy.integrate",
)  # fmt: skip
NOT_FOR_A_SURVEY = (*NOT_FOR_A_PLAN, "scipy.spatial", "scipy.optimize")


@pytest.mark.parametrize(
    ("args", "unneeded"),
    [
        (("plan", "two-cylinder-head", "--members", "8"), (*NOT_FOR_A_PLAN, "handlap.sim.bench")),
        (("survey", "two-cylinder-head"), (*NOT_FOR_A_SURVEY, "handlap.sim.planning")),
        (("log", "two-cylinder-head", "--show"), (*NOT_FOR_A_SURVEY, "handlap.sim.lapping.lap")),
    ],
    ids=lambda given: given[0],
)
def test_commands_import_nothing_heavy_that_they_do_not_need(args, unneeded, tmp_path):
    if args[0] == "log":
        written = process("log", "two-cylinder-head", "--strokes", "40", "--paper", "P80", cwd=tmp_path)
        assert written.returncode == 0, written.stderr.decode()
    code = (
        "import sys\n"
        "from handlap.cli.main import run\n"
        "try:\n    run()\nfinally:\n"
        f"    print([m for m in {unneeded!r} if m in sys.modules], 'numpy' in sys.modules, file=sys.stderr)"
    )
    env = {**os.environ, "PYTHONPATH": str(SOURCE / ".src")}
    done = subprocess.run(
        [sys.executable, "-c", code, *args], cwd=tmp_path, env=env, capture_output=True, timeout=300
    )
    # What a plan does need is there: the question is put after the work, not before.
    assert done.stderr.decode().strip().endswith("[] True"), done.stderr.decode()[-300:]


@pytest.mark.parametrize("name", [command.name for command in commands()])
def test_every_command_and_option_is_explained(name):
    code, out, _ = run(name, "--help")
    assert code == 0
    command = main.get_command(click.Context(main), name)
    assert command is not None
    assert command.help
    assert all(option.help for option in command.params if isinstance(option, click.Option))
    assert max(len(line) for line in out.splitlines()) <= 80


def test_help_of_commands_is_plain_letters():
    """Click writes help itself, so it must hold nothing an old terminal cannot show."""
    for command in commands():
        assert run(command.name, "--help")[1].isascii()
    assert run("--help")[1].isascii()


def test_unknown_command_names_the_nearest():
    code, out, err = run("plann")
    assert code == 2
    assert out == ""
    assert 'Did you mean "plan"?' in err


def test_unknown_option_is_refused():
    code, _, err = run("keys", "--jsn")
    assert code == 2
    assert "--json" in err


def test_missing_scenario_is_usage():
    code, _, err = run("survey")
    assert code == 2
    assert "SCENARIO" in err


def test_no_such_scenario_says_what_there_is():
    code, out, err = run("simulate", "two-cylinder-hed", "--strokes", "10")
    assert code == 2
    assert out == ""
    assert 'did you mean "two-cylinder-head"' in err
    assert "Traceback" not in err


def test_all_faults_of_a_scenario_are_shown_at_once(tmp_path):
    file = tmp_path / "bad.toml"
    file.write_text('[part]\nmetal = "cheese"\nlimt = 50\n')
    code, out, err = run("plan", str(file))
    assert code == 2
    assert out == ""
    assert "faults to put right" in err
    assert "part.metal" in err
    assert "limt" in err
    assert err.count("bad.toml") >= 3


@pytest.mark.parametrize(
    ("fault", "code", "words"),
    [
        (InputError("the press is too small"), 2, "the press is too small"),
        (HandlapError("no pose found"), 1, "no pose found"),
        (ScenarioError([Fault("a.toml", "part.limit", "-5", "a height")]), 2, "a.toml: part.limit = -5"),
        (PermissionError(13, "Permission denied", "x.csv"), 1, "Permission denied (x.csv)"),
        (MemoryError(), 1, "this is a fault in handlap"),
        (ZeroDivisionError("division by zero"), 1, "this is a fault in handlap"),
        (KeyboardInterrupt(), 130, "interrupted"),
    ],
)
def test_errors_become_words_and_exit_codes(monkeypatch, fault, code, words):
    raising(monkeypatch, fault)
    found, out, err = run("keys")
    assert (found, out) == (code, "")
    assert words in err
    assert "Traceback" not in err


def test_an_unexpected_error_tells_how_to_see_where(monkeypatch):
    raising(monkeypatch, ZeroDivisionError("division by zero"))
    assert f"{DEBUG}=1" in run("keys")[2]
    result = CliRunner().invoke(main, ["keys"], env={DEBUG: "1"})
    assert isinstance(result.exception, ZeroDivisionError)


def test_a_reader_that_leaves_early_is_no_error(tmp_path):
    env = {**os.environ, "PYTHONPATH": str(SOURCE / ".src")}
    code = "from handlap.cli.main import run; run()"
    first = subprocess.Popen(
        [sys.executable, "-c", code, "keys"],
        cwd=tmp_path,
        env=env,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    assert first.stdout is not None
    assert first.stderr is not None
    first.stdout.close()
    assert first.stderr.read() == b""
    first.stderr.close()
    first.wait(timeout=600)


def test_a_terminal_without_unicode_gets_plain_letters(tmp_path):
    done = process("keys", cwd=tmp_path, PYTHONIOENCODING="ascii", PYTHONUTF8="0")
    assert done.returncode == 0
    text = done.stdout.decode("ascii")
    assert "um" in text
    assert "?" not in text


def test_old_western_terminal_keeps_what_it_can_show(tmp_path):
    done = process("keys", cwd=tmp_path, PYTHONIOENCODING="latin-1", PYTHONUTF8="0")
    assert "µm" in done.stdout.decode("latin-1")


def test_no_colour_codes_where_nobody_asked(tmp_path):
    assert b"\x1b" not in process("plan", cwd=tmp_path).stdout


def test_no_color_is_honoured(monkeypatch):
    class Terminal:
        def isatty(self) -> bool:
            return True

    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.delenv("NO_COLOR", raising=False)
    assert Screen.of(Terminal()).bold  # type: ignore[arg-type]
    monkeypatch.setenv("NO_COLOR", "1")
    assert not Screen.of(Terminal()).bold  # type: ignore[arg-type]


def test_installed_script_runs_from_another_folder(tmp_path):
    script = Path(sys.executable).with_name("handlap")
    found = str(script) if script.exists() else shutil.which("handlap")
    if found is None:
        pytest.skip("handlap is not installed as a script here")
    done = subprocess.run([found, "plan"], cwd=tmp_path, capture_output=True, timeout=6000)
    assert done.returncode == 0
    assert b"two-cylinder-head" in done.stdout
    assert done.stderr == b""


def completed(*words: str) -> list[str]:
    """What the shell is offered for the last of these words."""
    environment = {"COMP_WORDS": " ".join(words), "COMP_CWORD": str(len(words) - 1)}
    environment["_HANDLAP_COMPLETE"] = "bash_complete"
    done = CliRunner().invoke(main, [], env=environment, prog_name="handlap")
    assert done.exit_code == 0
    return done.stdout.split()


def test_the_shell_completes_commands_options_and_scenarios():
    assert completed("handlap", "sur") == ["plain,survey"]
    assert "plain,--members" in completed("handlap", "plan", "--mem")
    assert completed("handlap", "plan", "two-c") == ["plain,two-cylinder-head", "file,two-c"]


def test_the_shell_gets_a_script():
    done = CliRunner().invoke(main, [], env={"_HANDLAP_COMPLETE": "zsh_source"}, prog_name="handlap")
    assert "#compdef handlap" in done.stdout


def test_a_checkout_without_links_works(tmp_path: Path) -> None:
    """Links that came as small text files, as on Windows and in some downloads."""
    folder = tmp_path / ".src" / "handlap"
    folder.mkdir(parents=True)
    for name in ("sim", "cli", "scenarios"):
        (folder / name).write_text(f"../../{name}", encoding="utf-8")
        (tmp_path / name).symlink_to(SOURCE / name)
    shutil.copy(SOURCE / ".src" / "handlap" / "__init__.py", folder)
    env = {**os.environ, "PYTHONPATH": str(tmp_path / ".src")}
    code = "import handlap.sim.job.scenario_file as file; print(file.__file__); file.load('formula-check')"
    done = subprocess.run([sys.executable, "-c", code], env=env, capture_output=True, text=True, timeout=6000)
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip() == str(tmp_path / "sim" / "job" / "scenario_file.py")
