"""Every command in hard surroundings: no room on the disk, no reader, no terminal to speak of, no home.

The work of a command is done once, and handed over in all surroundings by forks of it (``branches.py``).
"""

from __future__ import annotations

import functools
import json
import re
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from nursery_client import Nursery
from tried_commands import (
    BY_NAME,
    COMMA_LOCALE,
    HAND_OVER,
    TRIED,
    Tried,
    filled,
    make_comma_locale,
    same_but_for_dates,
)

from handlap.cli.screen import PLAIN

HATCH = "handlap.cli.options:Output.hand_over"
HATCHES = {
    **{tried.name: HATCH for tried in TRIED if set(HAND_OVER) <= set(tried.writes)},
    "measuring-sheet": "handlap.cli.commands.measuring_sheet_command:_tell",
    "job-sheet": "handlap.cli.commands.job_sheet_command:_hand_over",
    "lesson": "after handlap.sim.teaching.lesson_work:work_lesson",
    "play": "handlap.cli.commands.play_command:_hand_over",
    "exercise": "handlap.cli.commands.exercise_command:_tell_made",
}
"""Where the work of a command is done and nothing is said yet; others are quick and run whole."""
ASKING = ("new", "readings")
NO_FILES = {"play": {"1": None, "2": None, "3": None}}
ESCAPE = "\x1b"
NARROW = 40
SOUND: tuple[dict[str, Any], ...] = (
    {"name": "plain"},
    {"name": "NO_COLOR", "out": "pty", "err": "pty", "env": {"NO_COLOR": "1", "TERM": "xterm"}},
    {"name": "TERM=dumb", "out": "pty", "err": "pty", "env": {"TERM": "dumb", "NO_COLOR": None}},
    {"name": "terminal of 40", "out": "pty", "err": "pty", "columns": NARROW, "env": {"COLUMNS": None}},
    {"name": "COLUMNS=40", "env": {"COLUMNS": "40"}},
    {"name": "decimal comma", "locale": COMMA_LOCALE},
    {"name": "ascii", "encoding": "ascii"},
    {"name": "east", "env": {"TZ": "XYZ-14"}},
    {"name": "west", "env": {"TZ": "XYZ+12"}},
    {"name": "warnings", "warnings": "error"},
    {"name": "stderr closed", "err": "closed"},
    {"name": "stderr full", "err": "/dev/full"},
)
HARD: tuple[dict[str, Any], ...] = (
    {"name": "no reader", "out": "no reader"},
    {"name": "stdout closed", "out": "closed"},
    {"name": "stdout full", "out": "/dev/full"},
    {"name": "no room", "out": "pty", "err": "pty", "columns": 200, "file_size": 100, "files": True},
)
QUICK = [t for t in TRIED if not t.slow and t.name not in (*ASKING, "exercise")]
SLOW = [t for t in TRIED if t not in QUICK and t.name != "improve"]
"""The search takes longer than all others together, and hands over by the same function as they."""


@dataclass(frozen=True)
class Branch:
    """How a command went in one of the surroundings; ``changed``: files written, by name."""

    code: int
    out: str
    err: str
    screen: str
    overrun: bool
    changed: dict[str, bytes]
    gone: tuple[str, ...]

    @property
    def said(self) -> str:
        return self.out + self.err + self.screen


def branches_of(
    nursery: Nursery, sandbox: Path, tried: Tried, branches: Any, **more: Any
) -> dict[str, Branch]:
    """Work a command once and hand over in each of the surroundings."""
    scrap = Path(tempfile.mkdtemp(dir=nursery.scrap))
    typed = "".join(f"{line}\n" for line in tried.typed).encode().hex()
    instead = NO_FILES.get(tried.name, {})
    asked = {
        "args": [tried.name, *filled(tried.writes if instead else tried.args)],
        "cwd": str(sandbox), "typed": typed, "seconds": 150.0,
        "hatch": HATCHES.get(tried.name, ""),
        "branches": [b if b.get("files") else {**b, "instead": instead} for b in branches],
        **more,
    }  # fmt: skip
    answer = nursery.ask(asked, scrap)
    assert (scrap / "report").exists(), answer
    return {
        name: Branch(
            code=b["code"],
            **{n: bytes.fromhex(b[n]).decode() for n in ("out", "err", "screen")},
            overrun=b["overrun"],
            changed={n: bytes.fromhex(data) for n, data in b["changed"].items()},
            gone=tuple(b["gone"]),
        )
        for name, b in json.loads((scrap / "report").read_text()).items()
    }


@functools.cache
def commas(place: Path) -> str:
    """A folder with a locale that writes 1,5; empty where none can be had."""
    folder = tempfile.mkdtemp(prefix="locale", dir=place)
    return folder if make_comma_locale(Path(folder)) else ""


Cases = dict[str, dict[str, Branch]]


@pytest.fixture(scope="session")
def cases() -> Cases:
    return {}


@pytest.fixture
def case(
    nursery: Nursery, sandbox: Path, cases: Cases, request: pytest.FixtureRequest
) -> tuple[Tried, dict[str, Branch]]:
    """A command in all surroundings, worked at the first test that asks."""
    tried = request.param
    if tried.name not in cases:
        able = [b for b in (*SOUND, *HARD) if "locale" not in b or commas(nursery.scrap)]
        for b in able:
            if "locale" in b:
                b.setdefault("env", {})["LOCPATH"] = commas(nursery.scrap)
        old = ["out/result.json", "out/play.html"] if tried.name not in ASKING else []
        cases[tried.name] = branches_of(nursery, sandbox, tried, able, old=old)
    return tried, cases[tried.name]


def quick_and_slow(test: Any) -> Any:
    """Commands that take seconds are tried among the slow tests."""
    rows = [*QUICK, *(pytest.param(t, marks=pytest.mark.slow) for t in SLOW)]
    return pytest.mark.parametrize("case", rows, ids=[t.name for t in (*QUICK, *SLOW)], indirect=True)(test)


Case = tuple[Tried, dict[str, Branch]]


@quick_and_slow
def test_nothing_crashes_and_nothing_is_lost(case: Case) -> None:
    _, found = case
    for name, branch in found.items():
        assert not branch.overrun, name
        assert branch.code in (0, 1, 3), (name, branch.code, branch.said[-500:])
        assert "Traceback" not in branch.said and "Exception ignored" not in branch.said, name
        assert "fault in handlap" not in branch.said, (name, branch.said[-500:])
        assert not branch.gone, name
        assert not any(part.endswith(".part") for part in branch.changed), name


@quick_and_slow
def test_sound_surroundings_change_nothing_but_the_look(case: Case) -> None:
    """Same exit code, and where the width is the same, the same text."""
    tried, found = case
    plain = found["plain"]
    assert plain.code in tried.codes, plain.err
    assert plain.out
    for b in SOUND:
        if b["name"] in found:
            assert found[b["name"]].code == plain.code, b["name"]
    for name in ("decimal comma", "warnings", "stderr closed", "stderr full", "east", "west"):
        if name in found:
            if name in ("east", "west"):
                # The log shows the time on the clock of whoever reads it.
                assert CLOCK.sub("", found[name].out) == CLOCK.sub("", plain.out), name
            else:
                assert found[name].out == plain.out, name
            assert {n: same_but_for_dates(d) for n, d in found[name].changed.items()} == {
                n: same_but_for_dates(d) for n, d in plain.changed.items()
            }, name
    assert found["warnings"].err == plain.err


@quick_and_slow
def test_no_escapes_where_nobody_wants_them(case: Case) -> None:
    _, found = case
    for name in ("plain", "NO_COLOR", "TERM=dumb", "COLUMNS=40", "ascii"):
        assert ESCAPE not in found[name].said.replace("\r\x1b[K", ""), name
    for name in ("plain", "COLUMNS=40", "ascii"):
        assert ESCAPE not in found[name].said, name


@quick_and_slow
def test_ascii_shows_the_same_figures(case: Case) -> None:
    """Where a terminal knows no µ, its digits are those of one that does."""
    _, found = case
    figures = re.compile(r"\d+(?:\.\d+)?")
    plain = "".join(PLAIN.get(letter, letter) for letter in found["plain"].out)
    assert found["ascii"].out.isascii()
    assert "?" not in re.sub(r"\?(?=[\s\"])", "", found["ascii"].out)
    assert figures.findall(found["ascii"].out) == figures.findall(plain)


CLOCK = re.compile(r"\b20\d\d-\d\d-\d\d \d\d:\d\d\b")
MAY_BE_LONG = re.compile(r"\S{33,}|https?://|^ *$")
"""Words that cannot be broken: a path or an address."""


@quick_and_slow
def test_forty_columns(case: Case) -> None:
    """No line is longer, and no figure is broken off from its unit or in its middle."""
    _, found = case
    for name in ("terminal of 40", "COLUMNS=40"):
        shown = re.sub(r"\x1b\[\d*[mK]", "", found[name].screen or found[name].out).replace("\r", "\n")
        long = [line for line in shown.split("\n") if len(line) > NARROW and not MAY_BE_LONG.search(line)]
        assert long == [], name
    words = re.compile(r"\w+(?:[.,·/]\w+)*")
    wide, narrow = (set(words.findall(found[name].out)) for name in ("plain", "COLUMNS=40"))
    torn = {word for word in narrow - wide if len(word) < 3 or word[0].isdigit()}
    assert torn == set(), "words or figures in pieces"


@quick_and_slow
def test_a_reader_that_has_gone(case: Case) -> None:
    """As with ``| head``: not a word, and the code the house has for it."""
    _, found = case
    gone = found["no reader"]
    assert gone.code == 1
    assert gone.err == found["plain"].err.replace(_remarks(found["plain"].err), "")


def _remarks(err: str) -> str:
    """What is said to stderr after the answer was printed; never comes where it cannot be printed."""
    at = re.search(
        r"^(?:JSON|Written:|page|moving|heights|Nothing is written\.|\d+ pictures?) .*\Z", err, re.M | re.S
    )
    return at[0] if at else ""


@quick_and_slow
@pytest.mark.parametrize("surroundings", ["stdout closed", "stdout full"])
def test_an_answer_that_cannot_be_shown(case: Case, surroundings: str) -> None:
    tried, found = case
    lost = found[surroundings]
    if "--help" in tried.args:
        # Help is written by the library, which keeps silent where stdout is closed.
        silent = surroundings == "stdout closed"
        assert (lost.code, lost.err.startswith("handlap: ")) == ((0, False) if silent else (1, True))
        return
    assert lost.code == 1
    said = lost.err.strip().splitlines()[-1]
    assert said.startswith("handlap: ") and "standard output" in said, lost.err
    assert lost.changed.keys() == found["plain"].changed.keys()


def assert_no_room(full: Branch) -> None:
    """One message that names the file, exit code 1, what was there is still there, no scraps."""
    assert full.code == 1, full.screen
    assert not full.gone
    # Answers typed before it was full are kept, each draft whole.
    assert all("draft" in name and json.loads(data) for name, data in full.changed.items())
    assert full.screen.count("handlap: ") == 1
    assert re.search(r"handlap: (?:cannot write|the entry could not be written to) \S", full.screen), (
        full.screen
    )
    assert "large" in full.screen


@quick_and_slow
def test_no_room_on_the_disk(case: Case) -> None:
    tried, found = case
    if not tried.writes:
        pytest.skip("writes no file")
    if tried.name in WRITE_BEFORE:
        pytest.skip("tried by itself below")
    assert_no_room(found["no room"])


WRITE_BEFORE = ("measuring-sheet", "job-sheet", "exercise", "log")


@pytest.mark.parametrize(
    "tried",
    [pytest.param(BY_NAME[n], marks=[pytest.mark.slow] * (BY_NAME[n] in SLOW), id=n) for n in WRITE_BEFORE],
)
def test_no_room_for_files_written_first(nursery: Nursery, sandbox: Path, tried: Tried) -> None:
    """The same for commands whose work and writing are not parted."""
    whole = Tried(tried.name, tried.writes, tried.writes, tried.typed)
    before = {p.name: p.read_bytes() for p in sandbox.iterdir() if p.is_file()}
    hard = [b for b in HARD if b["name"] == "no room"]
    full = branches_of(nursery, sandbox, whole, hard, hatch="")["no room"]
    assert_no_room(full)
    assert {p.name: p.read_bytes() for p in sandbox.iterdir() if p.is_file()} == before
    assert not [p for p in (sandbox / "out").rglob("*")]


@pytest.mark.parametrize("env", [{"NO_COLOR": "1", "TERM": "xterm"}, {"TERM": "dumb", "NO_COLOR": None}])
def test_the_line_that_says_how_far_it_is_needs_no_escapes(
    nursery: Nursery, sandbox: Path, env: dict[str, str | None]
) -> None:
    """The whole command at a terminal of 40 columns: it is drawn anew in place, and wiped in the end."""
    branch = {
        "name": "terminal",
        "out": "pty",
        "err": "pty",
        "columns": NARROW,
        "env": {**env, "COLUMNS": None},
    }
    screen = branches_of(nursery, sandbox, BY_NAME["survey"], [branch], hatch="")["terminal"].screen
    assert ESCAPE not in screen
    assert "\r" in screen and "%" in screen
    shown = [piece for line in screen.split("\n") for piece in line.split("\r")]
    assert max(map(len, shown)) <= NARROW
    before, _, answer = screen.rpartition("\r")
    assert before.endswith("\r" + " " * (NARROW - 1)), "wiped before the answer"
    assert answer.startswith("CANNOT TELL")
