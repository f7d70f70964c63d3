"""``handlap glance``: asked at a terminal, on one line, refused, and gone on from."""

from __future__ import annotations

import json
import os
import pty
import re
import select
import signal
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

from handlap.cli import main as command_line
from handlap.cli.asking.glance_questions import read_heights, read_size, read_where
from handlap.cli.commands.glance_command import glance
from handlap.cli.main import main
from handlap.sim.common.errors import InputError
from handlap.sim.job.scenario_file import load
from handlap.sim.planning.first_look import MEMBERS, FirstLook, first_look

LINE = ("--size", "120 x 60", "--metal", "6061", "--limit", "0.05", "--gap", "0.08 0.10", "--where", "middle",
        "--paper", "P120", "--members", "8")  # fmt: skip
TYPED = ["330 x 150", "aluminium", "0.05", "0.3 mm", "0.10 0.15", "m", "P80 P120"]
SOURCE = Path(command_line.__file__).parents[1] / ".src"
MOST_ANSWERS, MOST_LINES, MOST_SECONDS = 8, 10, 10.0


@pytest.fixture(autouse=True)
def here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


LOOKED: dict[str, FirstLook] = {}


@pytest.fixture(autouse=True)
def looked_once(monkeypatch):
    """A first look at the same job with as many members is taken once."""

    def once(job, *, members=MEMBERS, seed=0, progress=None):
        part, worst = job.part, job.readings.worst
        key = repr((
            part.outline.length, part.outline.width, part.metal.name, part.weight, part.limit, part.allowance,
            worst, [grit.name for grit in job.paper.grits], job.system, members, seed,
        ))  # fmt: skip
        if key not in LOOKED:
            LOOKED[key] = first_look(job, members=members, seed=seed, progress=progress)
        return replace(LOOKED[key], scenario=job)

    monkeypatch.setattr("handlap.sim.planning.first_look.first_look", once)


def run(*args: str, typed: list[str] | None = None):
    text = "".join(f"{line}\n" for line in typed or [])
    return CliRunner().invoke(main, ["glance", *args], input=text)


def plain(result) -> str:
    return " ".join((result.stdout + result.stderr).split())


# ---- at a terminal


class Terminal:
    """The program behind a pseudo-terminal, and a person who types when asked."""

    def __init__(self, *args: str) -> None:
        self.ours, theirs = pty.openpty()
        code = "from handlap.cli.main import run; run()"
        env = {**os.environ, "COLUMNS": "80", "NO_COLOR": "1", "TERM": "xterm", "PYTHONPATH": str(SOURCE)}
        self.process = subprocess.Popen([sys.executable, "-c", code, *args], stdin=theirs, stdout=theirs,
                                        stderr=theirs, env=env, start_new_session=True)  # fmt: skip
        os.close(theirs)
        self.seen = ""

    def until(self, prompt: str | None, seconds: float = 300.0) -> str:
        """What is shown up to a prompt, or to the end."""
        start, ends = len(self.seen), time.monotonic() + seconds
        while prompt is None or prompt not in self.seen[start:]:
            assert time.monotonic() < ends, self.seen
            ready, _, _ = select.select([self.ours], [], [], 1.0)
            if not ready:
                continue
            try:
                data = os.read(self.ours, 4096)
            except OSError:  # the other end has been closed
                data = b""
            if not data:
                assert prompt is None, self.seen
                break
            self.seen += data.decode(errors="replace").replace("\r\n", "\n")
        return self.seen[start:]

    def type(self, line: str) -> None:
        os.write(self.ours, f"{line}\n".encode())

    def end(self) -> tuple[int, float]:
        """Exit code and processor time of the whole run [s]."""
        _, status, used = os.wait4(self.process.pid, 0)
        self.process.returncode = os.waitstatus_to_exitcode(status)
        os.close(self.ours)
        return self.process.returncode, used.ru_utime + used.ru_stime


def test_eight_answers_or_fewer_and_ten_lines(here: Path) -> None:
    """Kernels are compiled by a run before, so that what is measured is the looking alone."""
    run("warm", *LINE)
    person = Terminal("glance", "head")
    for answer in TYPED:
        person.until("> ")
        person.type(answer)
    told = person.until(None)
    code, seconds = person.end()
    assert code == 0, person.seen
    assert len(TYPED) <= MOST_ANSWERS
    lines = [line for line in re.split(r"[\r\n]+", told[told.index("Now") - 200 :]) if line.strip()]
    first = next(i for i, line in enumerate(lines) if line.startswith("Now")) - 1
    assert len(lines[first:]) <= MOST_LINES, lines
    assert all(len(line) <= 80 for line in lines[first:])
    assert seconds < MOST_SECONDS
    job = load("head.toml")
    assert job.readings.worst is not None and job.readings.worst.where == "middle"
    assert (job.part.limit, job.part.allowance) == (50e-6, 300e-6)


def test_an_interrupted_sitting_loses_nothing(here: Path) -> None:
    person = Terminal("glance", "head")
    for answer in TYPED[:4]:
        person.until("> ")
        person.type(answer)
    person.until("> ")
    os.killpg(person.process.pid, signal.SIGINT)  # as a terminal does for Ctrl-C
    told = person.until(None)
    assert person.end()[0] == 130
    assert "4 answers are kept in head.glance-draft.json" in " ".join(told.split())
    assert not (here / "head.toml").exists()
    again = run("head", "--members", "8", typed=["yes", *TYPED[4:]])
    assert again.exit_code in (0, 3), again.stderr
    assert load("head.toml").part.allowance == 300e-6
    assert not (here / "head.glance-draft.json").exists()


# ---- on one line


def test_one_line_of_options_and_what_goes_on_from_it(here: Path) -> None:
    result = run("cover", *LINE)
    assert result.exit_code in (0, 3), result.stderr
    assert "Written: cover.toml" in result.stdout
    for command in (["survey", "cover.toml", "--members", "16"], ["measuring-sheet", "cover.toml"]):
        assert CliRunner().invoke(main, command).exit_code == 0
    told = CliRunner().invoke(main, ["survey", "cover.toml", "--members", "16"]).stdout
    assert "no more than the worst gap was read" in " ".join(told.split()).lower()


def test_lines_read_take_the_place_of_the_worst_gap(here: Path) -> None:
    run("cover", *LINE)
    typed = "none\nrest\n" + "40 50\n" * 3 + "end\n"
    result = CliRunner().invoke(main, ["readings", "cover.toml"], input=typed)
    assert result.exit_code == 0, result.stderr
    readings = load("cover.toml").readings
    assert readings.worst is None
    assert [len(line.stations) for line in readings.lines] == [3]


def test_json_has_units_in_its_names(here: Path) -> None:
    found = json.loads(run("cover", *LINE, "--json").stdout)
    assert found["schema"] == "handlap.glance/1"
    assert found["minutes"]["p05"] <= found["minutes"]["p50"] <= found["minutes"]["p95"]
    assert {"before_straightedge_um", "deepest_um", "narrows", "next"} <= found.keys()
    assert all(0.0 <= n["share"] <= 1.0 for n in found["narrows"])


def test_a_file_that_is_there_is_not_written_over_unasked(here: Path) -> None:
    Path("cover.toml").write_text("mine", encoding="utf-8")
    result = run("cover", *LINE)
    assert result.exit_code == 2 and "--over" in result.stderr
    assert Path("cover.toml").read_text(encoding="utf-8") == "mine"
    asked = run("cover", "--members", "8", typed=["", *TYPED])
    assert asked.exit_code in (0, 3), asked.stderr
    assert Path("cover.toml").read_text(encoding="utf-8") == "mine"
    assert load("cover-2.toml").readings.worst is not None
    assert run("cover", *LINE, "--over").exit_code in (0, 3)
    assert Path("cover.toml.bak").read_text(encoding="utf-8") == "mine"


def test_a_thin_leaf_that_goes_nowhere_leaves_it_and_a_thick_one_cannot_tell(here: Path) -> None:
    leave = run("a", "--size", "200 x 100", "--limit", "0.05", "--gap", "none 0.03")
    assert leave.stdout.startswith("LEAVE IT"), leave.stdout
    thick = run("b", "--size", "200 x 100", "--limit", "0.05", "--gap", "none 0.05")
    assert thick.stdout.startswith("CANNOT TELL"), thick.stdout
    assert "thinner leaves, down to 35 µm" in plain(thick)


def test_a_machine_shop_is_exit_code_three(here: Path) -> None:
    far = run(
        "a", "--size", "200 x 100", "--limit", "0.02", "--off", "0.05", "--gap", "0.6 0.7", "--members", "8"
    )
    assert far.stdout.startswith("TAKE IT TO A MACHINE SHOP"), far.stdout
    assert far.exit_code == 3


def test_an_inch_job_is_answered_in_inches(here: Path) -> None:
    result = run("sole", "--size", "14 x 2 1/2 in", "--metal", "cast iron", "--limit", "2 thou",
                 "--off", "8 thou", "--gap", "3 5 thou", "--where", "ends", "--members", "8")  # fmt: skip
    assert result.exit_code in (0, 3), result.stderr
    assert "thou" in result.stdout
    assert not re.search(r"\b(mm|µm)\b", result.stdout)
    assert load("sole.toml").system == "inch"


# ---- mistakes, each asked back with the remedy

MISTAKES = [
    ("330", "allowed: length x width"),
    ("330 x", "allowed: length x width"),
    ("330 x 150 x 12 x 4", "allowed: length x width"),
    ("13 by six", "allowed: length x width"),
    ("330 x 150 stone", "allowed: length x width"),
]


@pytest.mark.parametrize(("typed", "remedy"), MISTAKES)
def test_sizes_that_cannot_be_read_are_asked_back(typed: str, remedy: str) -> None:
    with pytest.raises(InputError, match=remedy):
        read_size(typed)


@pytest.mark.parametrize(
    ("answers", "remedy"),
    [
        (["butter"], "allowed:"),
        (["", "3"], "3 mm or 3 µm? Type it again with its unit"),
        (["", "fifty"], "such as 0.05"),
        (["", "0.05 kg"], "0.05 mm or 50 µm"),
        (["", "0.05 0.06"], "one number"),
        (["", ""], "An answer is needed here"),
        (["", "0.05", "lots"], "such as 0.05"),
        (["", "0.05", "", "0.10"], "two leaves, the one that goes and the one that does not"),
        (["", "0.05", "", "0.15 0.10"], "the thicker one, and comes second"),
        (["", "0.05", "", "1,5 2"], "Type it again with its unit"),
        (["", "0.05", "", "none"], "two leaves"),
        (["", "0.05", "", "none open"], "two leaves"),
        (["", "0.05", "", "none 0.05"], "cannot show that the limit is met"),
        (["", "0.05", "", "0.10 0.15", "top"], "middle, ends, corner, or unknown"),
        (["", "0.05", "", "0.10 0.15", "m", "P121"], "P120"),
        (["", "0.05", "", "0.10 0.15", "m", "P240 P80"], "coarse to fine"),
        (["", "0.05", "", "0.10 0.15", "m", "400"], 'P400" or "400 US'),
    ],
)
def test_mistakes_at_the_prompts_are_asked_back(answers: list[str], remedy: str) -> None:
    result = run("job", typed=["200 x 100", *answers])
    assert result.exit_code == 2
    assert remedy in plain(result)
    assert "answers are kept" in plain(result) or "answer is kept" in plain(result)


def test_all_faults_of_a_line_are_named_at_once() -> None:
    faulty = {"size": "200", "limit": "3", "gap": "0.15 0.10", "metal": "butter", "where": "top"}
    result = run("job", *(word for name, value in faulty.items() for word in (f"--{name}", value)))
    assert result.exit_code == 2
    for name in faulty:
        assert f"--{name}: " in plain(result), name
    assert "--limit, --gap are missing" in plain(run("job", "--size", "200 x 100"))


def test_numbers_are_read_as_they_are_written() -> None:
    assert read_size("150 x 330").length == 0.33
    assert read_size("200×100×6").thickness == pytest.approx(0.006)
    assert read_size('13" x 6"').system == "inch"
    for typed in ("0.05", "50", "0,05 mm", "50 µm", "5e-2"):
        assert read_heights(typed, "mm")[0] == pytest.approx(50e-6)
    assert read_heights(".002", "inch")[0] == pytest.approx(50.8e-6)
    assert [read_where(t) for t in ("m", "Ends", "one corner", "do not know", "u")] == [
        "middle", "ends", "corner", "unknown", "unknown",
    ]  # fmt: skip


def test_the_command_and_the_look_take_as_many_members() -> None:
    members = next(option for option in glance.params if option.name == "members")
    assert members.default == MEMBERS


def test_bare_handlap_and_plan_point_to_the_first_look() -> None:
    for args in (["--help"], ["plan"]):
        told = " ".join(CliRunner().invoke(main, args).output.split())
        assert 0 <= told.index("handlap glance") < told.index("handlap new")
