"""A log that cannot be true is refused, whoever wrote it: the command, a hand, or another program."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from handlap.cli.main import main
from handlap.sim.bench.job_log import part_mark
from handlap.sim.bench.log_file import read_log
from handlap.sim.bench.log_place import log_path
from handlap.sim.common.errors import ScenarioError
from handlap.sim.job.scenario import Scenario
from handlap.sim.job.scenario_file import load, read_text

DAY = "2024-01-05T10:{:02d}:00+00:00"
START = {"part_g": 3400.0, "scale_g": 0.01}
BLOCK = {"strokes": 80, "paper": "P80"}


@pytest.fixture
def job(tmp_path: Path) -> Scenario:
    path = tmp_path / "head.toml"
    path.write_text(read_text("two-cylinder-head"), encoding="utf-8")
    return load(path)


def by_hand(job: Scenario, *entries: dict[str, Any]) -> None:
    """A log as somebody would write it with an editor: numbers, counts and times filled in where left out."""
    lines: list[dict[str, Any]] = [{"handlap_log": 1, "part": part_mark(job.part), "name": job.part.name}]
    at, strokes = 0, {}
    for number, entry in enumerate(entries, 1):
        strokes[number] = entry.get("strokes", 0)
        at += strokes[number] - strokes.get(entry.get("void", 0), 0)
        lines.append({"n": number, "at": at, "when": DAY.format(4 * number), **entry})
    text = "".join(json.dumps(line, ensure_ascii=False) + "\n" for line in lines)
    log_path(job).write_text(text, encoding="utf-8")


def refused(job: Scenario) -> str:
    with pytest.raises(ScenarioError) as caught:
        read_log(job)
    return str(caught.value)


def run(command: str, job: Scenario, *args: str):
    return CliRunner().invoke(main, [command, job.source, *args])


NONSENSE = {
    "a part that grew heavier": (
        [START, {**BLOCK, "part_g": 3400.05, "scale_g": 0.01}],
        "line 3, part_g: 3400.05 g; allowed: at most 3400 g, what entry 1 says: a part does not get heavier",
    ),
    "kilograms for grams": (
        [START, {**BLOCK, "part_g": 3.3999, "scale_g": 0.0001}],
        "line 3, part_g: 3.3999 g; allowed: some 3400 g, as in the scenario; grams are meant",
    ),
    "a kilogram off in a block": (
        [START, {**BLOCK, "part_g": 2400.0, "scale_g": 0.01}],
        "allowed: at most 264 g less than 3400 g, what entry 1 says: more does not come off in 80 strokes",
    ),
    "more swarf than strokes make": (
        [{**BLOCK, "swarf_g": 420.0, "scale_g": 0.01}],
        "line 2, swarf_g: 420 g; allowed: at most 264 g from 80 strokes",
    ),
    "swarf without a stroke": (
        [{**BLOCK, "swarf_g": 0.4, "scale_g": 0.01}, {"swarf_g": 0.4, "scale_g": 0.01}],
        "line 3, swarf_g: 0.4 g; allowed: at most 0.01 g from 0 strokes",
    ),
    "a scale that could not weigh it": (
        [{"part_g": 3400.0, "scale_g": 5000.0}],
        "line 2, scale_g: 5000 g; allowed: finer than what it weighed, 3400 g",
    ),
    "a time that is none": (
        [BLOCK, {**BLOCK, "when": "a quarter past ten"}],
        'line 3, when: "a quarter past ten"; allowed: a time such as',
    ),
    "a month that is none": ([{**BLOCK, "when": "2026-13-05T10:00:00+00:00"}], "line 2, when"),
    "a time that runs backwards": (
        [BLOCK, {**BLOCK, "when": DAY.format(1)}],
        f"line 3, when: {DAY.format(1)}; allowed: {DAY.format(4)} or later, when entry 1 was written",
    ),
    "a date that runs backwards": (
        [{**BLOCK, "when": "2024-01-05"}, {**BLOCK, "when": "2023-12-05"}],
        "line 3, when: 2023-12-05; allowed: 2024-01-05 or later",
    ),
    "the same entry twice": (
        [{**BLOCK, "when": DAY.format(9)}, {**BLOCK, "when": DAY.format(9)}],
        "line 3, n: 2; allowed: once: entry 1 of the same time says the same in everything",
    ),
    "strokes faster than hands": (
        [{"strokes": 2000, "paper": "P80", "minutes": 0.5}],
        "line 2, minutes: 0.5; allowed: at least 3.3 min for 2000 strokes",
    ),
}


@pytest.mark.parametrize(("entries", "words"), NONSENSE.values(), ids=NONSENSE)
def test_nonsense_is_refused_in_words(job, entries, words):
    by_hand(job, *entries)
    assert words in refused(job)
    for command in ("log", "replan", "record"):
        done = run(command, job, *(["--show"] if command == "log" else []))
        assert done.exit_code == 2, command
        assert words in done.stderr


@pytest.mark.parametrize(("entries", "words"), NONSENSE.values(), ids=NONSENSE)
def test_an_entry_that_is_taken_back_is_no_nonsense(job, entries, words):
    """The remedy that the message names can be taken, though the log cannot be read until then."""
    by_hand(job, *entries)
    done = run("log", job, "--void", str(len(entries)))
    assert done.exit_code == 0, done.stderr
    assert len(read_log(job).entries) == len(entries) + 1
    assert run("log", job, "--show").exit_code == 0


def test_all_of_it_is_said_at_once(job):
    by_hand(
        job,
        START,
        {**BLOCK, "part_g": 3401.0, "scale_g": 0.01, "when": "tomorrow"},
        {"strokes": 2000, "minutes": 0.1, "paper": "P80", "swarf_g": 99999.0, "scale_g": 1.0},
    )
    told = refused(job).splitlines()
    assert [line.split(":")[1].strip() for line in told] == [
        "line 3, when", "line 3, part_g", "line 4, swarf_g", "line 4, minutes"
    ]  # fmt: skip


@pytest.mark.parametrize(
    "entries",
    [
        # within the divisions of both scales
        [START, {**BLOCK, "part_g": 3400.015, "scale_g": 0.01}],
        [{"part_g": 3400.0, "scale_g": 1.0}, {**BLOCK, "part_g": 3400.9, "scale_g": 0.1}],
        # two who write at one bench, a clock that was set by a minute
        [{**BLOCK, "when": DAY.format(9)}, {**BLOCK, "when": DAY.format(8)}],
        # written down at the end of the day, with dates or without a time
        [{**BLOCK, "when": "2024-01-05"}] * 3,
        [{**BLOCK, "when": ""}] * 3,
        # a date behind a time in another zone
        [{**BLOCK, "when": "2024-01-05T23:30:00-08:00"}, {**BLOCK, "when": "2024-01-05"}],
        # like blocks one after another
        [BLOCK, BLOCK, BLOCK],
        # cleaned before it was lapped
        [START, {"part_g": 3395.0, "scale_g": 0.01}, BLOCK],
        # heavier, but the first weighing was taken back
        [{"part_g": 3390.0, "scale_g": 0.01}, {"void": 1}, {**BLOCK, "part_g": 3399.0, "scale_g": 0.01}],
        # fast, and possible
        [{"strokes": 200, "paper": "P80", "minutes": 1.0}],
    ],
)
def test_what_can_be_true_is_let_pass(job, entries):
    by_hand(job, *entries)
    assert len(read_log(job).entries) == len(entries)


def test_the_command_meets_the_same_checks_and_writes_nothing(job):
    by_hand(job, START, BLOCK)
    before = log_path(job).read_bytes()
    done = run("log", job, "--strokes", "80", "--part-weight", "3.3999", "--minutes", "0.01")
    assert done.exit_code == 2
    assert "the entry, part weight = 3.3999 g; allowed: some 3400 g" in done.stderr
    assert "the entry, minutes = 0.01" in done.stderr
    assert log_path(job).read_bytes() == before


def test_an_entry_that_takes_back_holds_no_work_of_its_own(job):
    """Its strokes would be lost without a word."""
    by_hand(job, BLOCK, BLOCK)
    done = run("log", job, "--void", "1", "--strokes", "40")
    assert done.exit_code == 2
    assert "strokes and readings go into an entry of their own" in done.stderr
    by_hand(job, BLOCK, BLOCK)
    path = log_path(job)
    old = {"n": 3, "at": 80, "when": DAY.format(20), "void": 1, "strokes": 40, "paper": "P80"}
    path.write_text(path.read_text(encoding="utf-8") + json.dumps(old) + "\n", encoding="utf-8")
    assert any("holds strokes or readings besides" in note for note in read_log(job).notes)


def test_what_may_have_been_written_twice_is_asked_about(job):
    """The same strokes, swarf and all, four minutes apart: possible, but odd."""
    twice = {**BLOCK, "swarf_g": 0.42, "scale_g": 0.01}
    by_hand(job, twice, twice)
    done = run("log", job, "--show")
    assert done.exit_code == 0
    assert "entries 1 and 2 say the same in everything" in " ".join(done.stdout.split()).lower()
