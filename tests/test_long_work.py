"""Work that takes long says so beforehand, once, and never among the results."""

from __future__ import annotations

import io
import json
import sys
import time
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np
import pytest
from click.testing import CliRunner

from handlap.cli.main import main
from handlap.cli.progress import MUCH_LONGER, ProgressLine
from handlap.sim.job.scenario_file import load, read_text
from handlap.sim.lapping import long_work
from handlap.sim.lapping.long_work import LONG, STILL_LONG, Quietly, long_words, tell_ahead
from handlap.sim.planning.crew import few_of, open_crew
from handlap.sim.planning.plan import make_plan
from handlap.sim.planning.work import lay_steps, say_ahead

HEAD = "two-cylinder-head"


@dataclass
class Owner:
    """Who is told shares, and what takes long."""

    told: list[tuple[float, str]] = field(default_factory=list)

    def __call__(self, done: float, what: str) -> None:
        """Shares are of no matter here."""

    def ahead(self, seconds: float, words: str) -> None:
        """What takes long."""
        self.told.append((seconds, words))


def test_only_what_takes_long_is_said():
    owner = Owner()
    tell_ahead(owner, LONG - 0.1, "lapping")
    assert owner.told == []
    tell_ahead(owner, LONG, "lapping")
    assert owner.told == [(LONG, long_words(LONG, "lapping"))]
    # Those who only hear shares are not told, and do not mind.
    tell_ahead(lambda done, what: None, 1e6, "lapping")
    tell_ahead(None, 1e6, "lapping")
    Quietly(None).ahead(1e6, "lapping")


def test_it_says_how_long_and_what_would_shorten_it():
    assert "some 1 minute of processor time" in long_words(60.0, "lapping")
    assert "some 21 minutes of processor time" in long_words(1234.0, "lapping")
    assert "fewer --members" in long_words(100.0, "lapping")
    assert "--members" not in long_words(100.0, "lapping", "")


@dataclass
class Waiting(Owner):
    """… who knows what has gone already [s]."""

    gone: float = 0.0

    def spent(self) -> float:
        """Processor time."""
        return self.gone


def test_stages_of_which_none_takes_long_are_told_of_together():
    owner = Waiting()
    tell_ahead(owner, 40.0, "trying P80")
    assert owner.told == []
    owner.gone = 41.0
    tell_ahead(Quietly(owner), 40.0, "lapping 64 faces")
    seconds, words = owner.told.pop()
    assert seconds == 81.0 and words.startswith("lapping 64 faces and what went before take some 1 minute of")
    # What is nearly done is not told of, and what takes long by itself is told of by itself.
    owner.gone = 500.0
    tell_ahead(owner, STILL_LONG - 0.1, "lapping")
    assert owner.told == []
    tell_ahead(owner, LONG, "lapping")
    assert owner.told == [(LONG, long_words(LONG, "lapping"))]


def test_a_plan_whose_trials_and_work_pass_a_minute_together_is_told_of(monkeypatch):
    """Every stage seems to take forty seconds, as the clock of the process has it, and is put at as much."""
    clock, said = [0.0], []
    monkeypatch.setattr(time, "process_time", lambda: clock[0])
    monkeypatch.setattr("handlap.cli.progress.note", lambda words, **given: said.append(words))

    def takes_forty(tell, seconds, what, fewer="fewer --members"):
        tell_ahead(tell, 40.0, what, fewer)
        clock[0] += 40.0

    monkeypatch.setattr("handlap.sim.planning.work.tell_ahead", takes_forty)
    monkeypatch.setattr("handlap.sim.lapping.resolution.tell_ahead", lambda *given: None)
    with ProgressLine() as progress:
        make_plan(load(HEAD), members=8, progress=progress)
    assert said[0].count("and what went before take some") == 1
    told = [int(words.split("some ")[1].split()[0]) for words in said]
    # Said again only where far more is to come than was said.
    assert all(later >= MUCH_LONGER * earlier for earlier, later in pairwise(told))


def test_the_time_of_all_ways_and_members_and_runs_is_added_up():
    owner = Owner()
    crew = open_crew(load(HEAD), members=6, seed=0, tell=owner)
    laid = replace(lay_steps(crew, 0, np.full(6, 40.0)), seconds=4.0)
    say_ahead([crew], [laid])
    say_ahead([crew, crew], [laid, laid])
    assert owner.told == []
    say_ahead([crew, crew, crew], [laid] * 3)
    say_ahead([crew], [laid], times=10)
    assert [seconds for seconds, _ in owner.told] == [pytest.approx(72.0), pytest.approx(240.0)]
    assert "in 3 ways" in owner.told[0][1] and "in 10 ways" in owner.told[1][1]
    # The few that try something tell no share, but what takes long.
    few = few_of(crew, 3)
    say_ahead([few], [replace(laid, seconds=25.0)])
    assert owner.told[-1][0] == pytest.approx(75.0)
    assert "3 faces on P80" in owner.told[-1][1]


def test_a_remark_is_said_once_unless_far_more_is_to_come(monkeypatch):
    # No terminal: the line how far it is stays away, the remark does not, and fits all the same.
    monkeypatch.setenv("COLUMNS", "50")
    heard = io.StringIO()
    monkeypatch.setattr(sys, "stderr", heard)
    with ProgressLine() as progress:
        progress(0.1, "lapping")
        progress.ahead(90.0, long_words(90.0, "lapping 64 faces on P80"))
        progress.ahead(90.0 * MUCH_LONGER - 1.0, "unsaid")
        progress(0.9, "lapping")
    lines = heard.getvalue().splitlines()
    assert " ".join(lines) == long_words(90.0, "lapping 64 faces on P80")
    assert len(lines) > 1 and max(map(len, lines)) <= 50
    progress.ahead(90.0 * MUCH_LONGER, "more")
    assert heard.getvalue().endswith("more\n")


def test_on_a_terminal_the_line_makes_way_for_the_remark(monkeypatch):
    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.delenv("NO_COLOR", raising=False)
    heard = Terminal()
    monkeypatch.setattr(sys, "stderr", heard)
    with ProgressLine() as progress:
        progress(0.1, "lapping")
        progress.ahead(90.0, "it takes long")
        progress(0.2, "lapping")
    shown = heard.getvalue()
    assert "\x1b[Kit takes long\n" in shown
    assert shown.count("it takes long") == 1
    # What was being done is shown again below it at once.
    assert "20 %  lapping" in shown.split("it takes long\n")[1]


def slowly(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let every row seem to take a second, by a clock of our own: laps are what they always are."""
    clock = [0.0]

    def seconds() -> float:
        clock[0] += 1e3
        return clock[0]

    monkeypatch.setattr(time, "thread_time", seconds)


@pytest.mark.parametrize(
    "args",
    [
        ("plan", HEAD, "--members", "8"),
        ("compare", HEAD, "--members", "16", "--no-turns", "--way", "turning=none"),
        ("why", HEAD, "--members", "16", "--strokes", "40"),
        pytest.param(("improve", HEAD, "--members", "16", "--budget", "20"), marks=pytest.mark.slow),
        ("simulate", HEAD, "--strokes", "40"),
    ],
    ids=lambda args: args[0],
)
def test_every_command_that_laps_says_it_on_stderr_alone(args, monkeypatch, tmp_path):
    # The same head, on cells as large as may be: what is said of its time is not of their number.
    coarse = tmp_path / f"{HEAD}.toml"
    coarse.write_text(f"{read_text(HEAD)}\n[exact]\ncell = 16\n", encoding="utf-8")
    args = [str(coarse) if word == HEAD else word for word in args]
    plain = CliRunner().invoke(main, [*args, "--json"])
    assert long_work.LONG == 60.0 and "processor time" not in plain.stderr
    slowly(monkeypatch)
    long = CliRunner().invoke(main, [*args, "--json"])
    assert "processor time" in " ".join(long.stderr.split())
    assert long.stdout == plain.stdout
    json.loads(long.stdout)
