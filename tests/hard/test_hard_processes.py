"""handlap in processes of its own, started by a shell: pipes and closed streams, locales, a bare machine."""

from __future__ import annotations

import base64
import contextlib
import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner
from nursery_client import SOURCE
from tried_commands import COMMA_LOCALE, lay_out, make_comma_locale, unfinished

from handlap.cli.main import commands, main

CODE = "from handlap.cli.main import run; run()"
PRINTING = ("keys", "validity", "plan", "survey --help")
"""Quick ones, of each way to print; what they read and say more is tried by forks in other tests."""
BASH = shutil.which("bash") or ""
NO_HOME = "/proc/nowhere"
"""Even root cannot make a home there."""


def environment(**more: str | None) -> dict[str, str]:
    whole = {**os.environ, "PYTHONPATH": str(SOURCE), "OPENBLAS_NUM_THREADS": "1", **more}
    return {name: value for name, value in whole.items() if value is not None}


def shell(line: str, cwd: Path, **env: str | None) -> subprocess.CompletedProcess[str]:
    """A line for the shell, in which ``handlap`` is this checkout's."""
    script = f'handlap() {{ "{sys.executable}" -c "{CODE}" "$@"; }}; set -o pipefail; {line}'
    return subprocess.run(
        [BASH, "-c", script], cwd=cwd, env=environment(**env), capture_output=True, text=True, timeout=600
    )


def handlap(*args: str, cwd: Path, **env: str | None) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", CODE, *args],
        cwd=cwd, env=environment(**env), capture_output=True, text=True, timeout=600,
    )  # fmt: skip


with_bash = pytest.mark.skipif(not BASH, reason="there is no bash here")


@with_bash
@pytest.mark.parametrize("command", PRINTING)
def test_a_pipe_closed_early(sandbox: Path, command: str) -> None:
    """Everything may have fitted into the pipe (0), or the reader was seen to be gone (1)."""
    done = shell(f"handlap {command} | head -1", sandbox)
    assert done.returncode in (0, 1)
    assert done.stderr == ""
    assert len(done.stdout.splitlines()) == 1


@with_bash
@pytest.mark.parametrize("command", ["keys", "plan", "survey --help"])
def test_a_full_disk_behind_stdout(sandbox: Path, command: str) -> None:
    """Said once, and not again by Python at its exit."""
    if not os.path.exists("/dev/full"):
        pytest.skip("there is no /dev/full here")
    done = shell(f"handlap {command} > /dev/full", sandbox)
    assert done.returncode == 1
    assert done.stderr.startswith("handlap: ")
    assert len(done.stderr.splitlines()) == 1


@with_bash
@pytest.mark.parametrize("redirection", [">&-", "2>&-", "<&-", "2>/dev/full", "<&- 2>&-"])
def test_closed_streams(sandbox: Path, redirection: str) -> None:
    whole = shell("handlap keys press", sandbox)
    done = shell(f"handlap keys press {redirection}", sandbox)
    if redirection == ">&-":
        assert done.returncode == 1
        assert len(done.stderr.splitlines()) == 1 and "standard output" in done.stderr
    else:
        assert (done.returncode, done.stdout, done.stderr) == (0, whole.stdout, "")


@pytest.mark.slow
@with_bash
@pytest.mark.parametrize("command", ["new out/new.toml", "readings bare.toml", "lesson overhang"])
def test_nobody_there_to_answer(sandbox: Path, command: str) -> None:
    """stdin closed, and at its end at once: one message, exit code 2."""
    for redirection in ("<&-", "</dev/null"):
        done = shell(f"handlap {command} {redirection}", sandbox)
        assert done.returncode in (0, 2), (redirection, done.stderr)
        assert "Traceback" not in done.stderr and "fault in handlap" not in done.stderr, done.stderr
    assert not (sandbox / "out" / "new.toml").exists()


# ---- help, whatever Python is told


def test_help_of_every_command_in_forty_columns() -> None:
    for entry in commands():
        shown = CliRunner().invoke(main, [entry.name, "--help"], env={"COLUMNS": "40"}).stdout
        long = [line for line in shown.splitlines() if len(line) > 40 and " " in line.strip()]
        assert long == [], entry.name


LISTS = (
    "plan", "lesson", "keys", "convert 1.5 2 thou", "convert 18 g --metal A356 --area 42500mm2",
    "convert 400 US P120", "convert 9 lbf", "convert 0.1 mm --scenario two-cylinder-head",
)  # fmt: skip


@pytest.mark.parametrize("command", LISTS)
def test_lists_in_forty_columns(command: str) -> None:
    """What commands print that were not given all that they can work on."""
    ran = CliRunner().invoke(main, command.split(), env={"COLUMNS": "40"})
    assert ran.exit_code == 0 and ran.stdout
    assert [line for line in ran.stdout.splitlines() if len(line) > 40] == []


# ---- locales


def test_plain_old_locale(sandbox: Path) -> None:
    """No UTF-8 anywhere: the same figures, in letters that there are."""
    old = {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}
    for args in (("convert", "5", "um"), ("keys", "press"), ("no-such-command",)):
        plain = handlap(*args, cwd=sandbox, LC_ALL="C.UTF-8")
        done = handlap(*args, cwd=sandbox, **old)
        assert done.returncode == plain.returncode
        assert (done.stdout + done.stderr).isascii()
        assert "Traceback" not in done.stderr
        digits = [[c for c in text if c.isascii() and c.isdigit()] for text in (plain.stdout, done.stdout)]
        assert digits[0] == digits[1] or "²" in plain.stdout or "³" in plain.stdout


@pytest.mark.slow
def test_decimal_commas(sandbox: Path, tmp_path: Path) -> None:
    """The same bytes, and the same readings of numbers, where the language writes 1,5."""
    if not make_comma_locale(tmp_path):
        pytest.skip("no locale can be made here")
    commas = {"LC_ALL": COMMA_LOCALE, "LOCPATH": str(tmp_path)}
    code = "import locale; locale.setlocale(locale.LC_ALL, ''); assert locale.str(1.5) == '1,5'; " + CODE
    plain = handlap("log", "job.toml", "--json", cwd=sandbox, LC_ALL="C.UTF-8")
    done = subprocess.run(
        [sys.executable, "-c", code, "log", "job.toml", "--json"], cwd=sandbox, env=environment(**commas),
        capture_output=True, text=True, encoding="utf-8", timeout=600,
    )  # fmt: skip
    assert (done.returncode, done.stdout, done.stderr) == (0, plain.stdout, "")


# ---- warnings as errors, no asserts, no home, no cache


@pytest.mark.parametrize(
    "args",
    [
        ("validity", "--out", "out"),
        pytest.param(("measuring-sheet", "bare.toml", "--out", "out/sheet.pdf"), marks=pytest.mark.slow),
        pytest.param(("survey", "job.toml", "--members", "16", "--out", "out"), marks=pytest.mark.slow),
    ],
    ids=lambda args: args[0],
)
def test_warnings_are_errors_and_asserts_are_gone(sandbox: Path, args: tuple[str, ...]) -> None:
    done = handlap(*args, cwd=sandbox, PYTHONWARNINGS="error", PYTHONOPTIMIZE="2")
    assert done.returncode in (0, 3), done.stderr
    assert "Warning" not in done.stderr and "Traceback" not in done.stderr
    assert all(unfinished(place) == "" for place in (sandbox / "out").iterdir())


@pytest.fixture
def bare_machine(tmp_path: Path) -> Path:
    """The program in a place where Python and the compiler can keep nothing beside it."""
    place = tmp_path / "program" / "handlap"
    for name in ("sim", "cli", "scenarios"):
        shutil.copytree(
            SOURCE / "handlap" / name, place / name, ignore=shutil.ignore_patterns("__pycache__", "pictures")
        )
    for folder in (place, *(p for p in place.rglob("*") if p.is_dir())):
        # A file of that name keeps even root from making the folder.
        (folder / "__pycache__").touch()
    return place.parent


@pytest.mark.slow
@pytest.mark.parametrize("home", [NO_HOME, None])
def test_read_only_installation_without_a_home(bare_machine: Path, sandbox: Path, home: str | None) -> None:
    """It works, compiling anew, and not a word of warning is spilled on the screen."""
    nothing = dict.fromkeys(
        ("NUMBA_CACHE_DIR", "MPLCONFIGDIR", "XDG_CACHE_HOME", "XDG_CONFIG_HOME", "XDG_DATA_HOME"), None
    )
    for args in (
        ["keys", "press"],
        ["convert", "0.1", "mm", "--scenario", "job.toml"],
        ["measuring-sheet", "bare.toml", "--out", "out/sheet.pdf"],
    ):
        done = handlap(*args, cwd=sandbox, PYTHONPATH=str(bare_machine), HOME=home, **nothing)
        assert done.returncode == 0, done.stderr
        assert done.stderr == ""
        assert done.stdout
    assert unfinished(sandbox / "out" / "sheet.pdf") == ""
    assert not list(bare_machine.rglob("*.nbc")) and not list(bare_machine.rglob("*.pyc"))


# ---- two at once


def test_two_that_write_one_file(tmp_path: Path) -> None:
    """Whoever looks sees what one of them wrote, whole."""
    code = (
        "import sys, pathlib\nfrom handlap.cli.files import write_whole\n"
        "for _ in range(100):\n    write_whole(pathlib.Path('a.txt'), sys.argv[1] * 20_000)"
    )
    file = tmp_path / "a.txt"
    file.write_text("a" * 20_000)
    started = [
        subprocess.Popen([sys.executable, "-c", code, letter], cwd=tmp_path, env=environment())
        for letter in "ab"
    ]
    seen = set()
    while any(p.poll() is None for p in started):
        seen.add(file.read_bytes())
    assert [p.returncode for p in started] == [0, 0]
    assert seen <= {b"a" * 20_000, b"b" * 20_000} and len(seen) == 2
    assert [p.name for p in tmp_path.iterdir()] == ["a.txt"]


@pytest.mark.slow
def test_two_at_once_in_one_folder(sandbox: Path) -> None:
    """Each file is that of one or of the other, whole; in the end all are those of one."""
    code = ["survey", "job.toml", "--out", "out", "--json-file", "out/result.json", "--members"]
    started = [
        subprocess.Popen(
            [sys.executable, "-c", CODE, *code, members],
            cwd=sandbox,
            env=environment(),
            stdout=subprocess.DEVNULL,
        )
        for members in ("16", "24")
    ]
    while any(p.poll() is None for p in started):
        for place in (sandbox / "out").iterdir():
            if place.suffix != ".part":
                assert unfinished(place) == ""
    assert [p.returncode for p in started] == [0, 0]
    assert {p.name for p in (sandbox / "out").iterdir()} == {
        "result.json",
        "job-survey.html",
        "job-survey-map.png",
    }
    picture = base64.b64encode((sandbox / "out" / "job-survey-map.png").read_bytes()).decode()
    assert picture in (sandbox / "out" / "job-survey.html").read_text(encoding="utf-8")
    members = json.loads((sandbox / "out" / "result.json").read_text(encoding="utf-8"))["members"]
    assert f"middle of {members} faces" in (sandbox / "out" / "job-survey.html").read_text(encoding="utf-8")


@pytest.mark.slow
def test_two_at_once_write_one_log(sandbox: Path) -> None:
    """No entry is lost, none is written into another."""
    entries = (sandbox / "job.log.jsonl").read_bytes().count(b"\n")
    started = [
        subprocess.Popen(
            [sys.executable, "-c", CODE, "log", "job.toml", "--note", f"number {n}"],
            cwd=sandbox,
            env=environment(),
            stdout=subprocess.DEVNULL,
        )
        for n in range(3)
    ]
    assert [p.wait(60) for p in started] == [0] * 3
    assert unfinished(sandbox / "job.log.jsonl") == ""
    text = (sandbox / "job.log.jsonl").read_text(encoding="utf-8")
    assert text.count("\n") == entries + 3
    assert all(f"number {n}" in text for n in range(3))


# ---- a disk that is really full


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of 64 kB."""
    place = tmp_path / "disk"
    place.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=64k", "none", str(place)]
    if sys.platform != "linux" or os.geteuid() != 0 or subprocess.run(mount, capture_output=True).returncode:
        pytest.skip("no file system can be mounted here")
    yield place
    subprocess.run(["umount", str(place)], check=True)


@pytest.mark.slow
def test_a_disk_that_is_full(small_disk: Path, sandbox: Path) -> None:
    """The old file is kept, the message says what is the matter, nothing is left behind."""
    lay_out(small_disk / "bench")
    sandbox = small_disk / "bench"
    old = sandbox / "out" / "sheet.pdf"
    old.write_bytes(b"an old file\n")
    log = (sandbox / "job.log.jsonl").read_bytes()
    with (small_disk / "filler").open("wb", buffering=0) as filler, contextlib.suppress(OSError):
        while True:
            filler.write(b"x" * 1024)
    done = handlap("measuring-sheet", "bare.toml", "--out", "out/sheet.pdf", cwd=sandbox)
    assert done.returncode == 1
    assert done.stderr == "handlap: cannot write out/sheet.pdf: the disk is full; nothing was left behind\n"
    assert old.read_bytes() == b"an old file\n"
    assert [p.name for p in (sandbox / "out").iterdir()] == ["sheet.pdf"]
    # A page of the file is there already; notes go on until the next one is wanted.
    for _ in range(6):
        before = (sandbox / "job.log.jsonl").read_bytes()
        done = handlap("log", "job.toml", "--note", "n" * 990, cwd=sandbox)
        if done.returncode:
            break
    assert done.returncode == 1
    assert done.stderr.startswith("handlap: the entry could not be written to job.log.jsonl: No space left")
    assert (sandbox / "job.log.jsonl").read_bytes() == before != log
