"""Ten thousand mutated files: a message and exit code 2, quickly, on little memory, never a traceback.

One in fifty is tried in every run of the tests, the rest by ``pytest -m slow``.  Each mutant is made
from its kind and number (``mutations.py``, ``other_mutations.py``), read by a command under limits, and held
to the demands of ``fuzzing.complaints``; one that turns out to be sound is worked on by others as well.

To try more numbers, or long commands on every sound file, see the head of ``fuzzing.py``.  When a mutant
fails, mend the program, then keep its file in ``corpus/`` under its kind, so that it is tried for ever: make
it small first if it can be, and put the words of the message into ``SAYS`` below::

    python tests/hard/fuzzing.py --keep tests/hard/corpus/scenario scenario 1234 1235
"""

from __future__ import annotations

import os
import socket
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from fuzzing import KINDS, Sandbox, Tally, attempts_on, try_many
from nursery_client import Nursery
from tried_commands import lay_out

SHARE = 50
"""One mutant in so many is tried in every run."""
MARKED = 4
"""A number whose forms are marked."""
ALWAYS = [(kind, number) for kind, count in KINDS.items() for number in range(count // SHARE)]
REST = [(kind, number) for kind, count in KINDS.items() for number in range(count // SHARE, count)]


@pytest.fixture(scope="module")
def two(nursery: Nursery, tmp_path_factory: pytest.TempPathFactory) -> Iterator[list[Nursery]]:
    """Two nurseries, one for each of two cores."""
    folder = tmp_path_factory.mktemp("second-nursery")
    second = Nursery(folder, lay_out(folder / "warm") / "job.toml")
    yield [nursery, second]
    second.close()


def hold(tally: Tally, mutants: int) -> None:
    """No mutant failed, and what was tried were mutants, not files that every command refuses alike."""
    print(tally.words(), dict(tally.commands))
    assert not tally.failed, "\n\n".join(tally.failed[:20])
    assert tally.mutants == mutants
    assert 0.5 < tally.refused / tally.mutants < 0.95


def test_there_are_ten_thousand() -> None:
    assert len(set(ALWAYS + REST)) == 10_000


def test_mutants(two: list[Nursery], tmp_path: Path) -> None:
    hold(try_many(two, tmp_path, ALWAYS, quick=True), len(ALWAYS))


@pytest.mark.slow
def test_the_rest_of_ten_thousand(two: list[Nursery], tmp_path: Path) -> None:
    hold(try_many(two, tmp_path, REST), len(REST))


# ---- files kept

CORPUS = sorted((Path(__file__).parent / "corpus").glob("*/*"))
NOT_TOML = "not valid TOML"
SAYS = {
    # by the file's kind and stem, or by its stem alone
    "another-part": "line 1, part: flange; allowed: a log of flange",
    "array-line": "line 2: [1, 2]; allowed: one JSON object a line",
    "back-and-forth": "first question",
    "beyond-double": "length = inf; allowed: a finite number",
    "bom": "line 1",
    "corner-flood": "corner 1 is given twice running",
    "crlf": "2 answers are kept",
    "cut-short": NOT_TOML,
    "date": "length = 1979-05-27; allowed: a number",
    "deep-arrays": "nested too deeply",
    "deep-dots": "a key of at most 16 parts",
    "deep-header": "a key of at most 16 parts",
    "deep-json": "line 2",
    "deep-tables": "nested too deeply",
    "digits-without-end": "line 3",
    "dotted-conflict": "Cannot overwrite a value (at line 2",
    "empty": "missing",
    "empty-lines": "line 2: one JSON object a line",
    "endless-string": "Unterminated string",
    "escape-codes": "\\u001b[2J",
    "formula": 'line 2: "=1+1"; allowed: a number for u',
    "fullwidth-digits": "2 answers are kept",
    "half-a-pair": 'note: "\\ud800"; allowed: a text on one line',
    "half-a-letter": "the input cannot be read as text",
    "header-twice": 'line 2: "handlap_log"; allowed: no such key',
    "heads-only": "0 points; allowed: at least 4 points",
    "heights-itself": "a table of heights that can be read",
    "heights-outside": "a file in the folder of the scenario or below it",
    "help-only": "The job in one line",
    "huge": "a leaf's thickness",
    "huge-hex": "a number of more than fifteen digits",
    "huge-size": "1 to 3000 mm",
    "huge-whole": "a whole number of thousands of digits",
    "json": NOT_TOML,
    "key-twice": "Cannot overwrite a value (at line",
    "latin-1": "UTF-8",
    "line-ends-cr": NOT_TOML,
    "list-for-word": 'shape = [["hollow"]]; allowed: hollow, crowned',
    "immense-end": "with low below high",
    "immense-margin": "question.margin = a number of more than fifteen digits",
    "long-cell": "allowed: a number for u",
    "long-format": "sealed in format 999999999999; this handlap knows",
    "long-line": "At most 2000 characters",
    "long-unknown-key": "no such key",
    "many-columns": "3 fields; allowed: 503",
    "many-unknown-keys": "x: no such key",
    "many-unknown-tables": "… and 2960 more",
    "names-with-escapes": 'name = "a\\u001b[2Jb"',
    "nan": "nan",
    "nested": "length = [[[[200]]]]; allowed: a number",
    "never-an-answer": "no control characters",
    "no-header": "the first line of a log of this program",
    "no-unit": 'line 1: "u"; allowed: two positions',
    "nothing-but-words": "1 to 10000 µm",
    "nul-inside": NOT_TOML,
    "numbers-backwards": "the entries count up by one",
    "on-one-line": "points on one line",
    "one-nul": NOT_TOML,
    "open-quote": "allowed: 3 as in the headers",
    "other-exercise": 'the form of this exercise, "level 1, number 0"',
    "other-format": "format",
    "png": "UTF-8",
    "ragged": "5 fields; allowed: 3",
    "readings-of-all-sorts": "stations[2] = {}; allowed: [at, goes",
    "same-place-twice": "the same position as line 16",
    "semicolons-and-commas": "allowed: 3 as in the headers",
    "surrogates": "cannot be read as text",
    "turned-round": "\\u202e002",
    "units-by-number": 'units = "1"; allowed: one of "mm", "inch"',
    "units-unknown": 'units = "cm"; allowed: one of "mm", "inch"',
    "unknown-keys": 'line 2: "nn"; allowed: no such key',
    "unknown-questions": "q0: no such question",
    "utf-16": "UTF-8",
    "void-of-itself": "void: 4; allowed: an earlier entry that stands",
    "words-only": NOT_TOML,
    "wrong-unit": "check the unit",
    "form/beyond-double": "flatness = inf; allowed: a height from 0",
    "form/cut-short": "least_cut: not entered yet",
    "form/empty": "shape: not entered yet",
    "log/beyond-double": "line 3, swarf_g: inf; allowed: a number from 0",
    "log/huge-whole": "line 3, strokes: a number of more than fifteen digits",
    "log/latin-1": "line 1",
    "log/nan": "line 3, strokes: nan; allowed: a whole number",
    "log/nul-inside": "line 1",
    "log/other-format": '{"handlap_log": 1',
    "log/png": "line 1",
    "log/utf-16": "line 1",
    "log/words-only": "line 1",
    "new/empty": "nothing had been answered yet",
    "new/escape-codes": "no control characters",
    "new/latin-1": "cannot be read as text",
    "new/one-nul": "no control characters",
    "new/utf-16": "cannot be read as text",
    "readings/empty": "nothing had been answered yet",
    "readings/escape-codes": "no control characters",
    "readings/latin-1": "cannot be read as text",
    "readings/one-nul": "no control characters",
    "readings/utf-16": "cannot be read as text",
    "table/beyond-double": 'line 9: "1e999"; allowed: a number for height',
    "table/cut-short": "allowed: 3 as in the headers",
    "table/empty": "an empty table",
    "table/nul-inside": "line 5",
    "table/one-nul": "line 1",
    "table/words-only": "allowed: two positions",
}  # fmt: skip


def said(text: str) -> str:
    """A message without its line breaks."""
    return " ".join(text.split())


def expected(path: Path) -> str:
    """Words of the message for a file of the corpus; "" for a sound one."""
    kind, stem = path.parent.name, path.stem
    if stem.startswith("sound-"):
        return ""
    if kind.endswith("-draft"):
        return SAYS.get(f"{kind}/{stem}", "set aside") if stem != "units-unknown" else SAYS[stem]
    if kind == "seal":
        return SAYS[stem] if stem.endswith("-format") else "truth.seal: "
    return SAYS.get(f"{kind}/{stem}") or SAYS[stem]


@pytest.fixture(scope="module")
def corpus_sandbox(nursery: Nursery, tmp_path_factory: pytest.TempPathFactory) -> Sandbox:
    return Sandbox(nursery, tmp_path_factory.mktemp("corpus") / "bench")


MARKED_WHOLE = ("form/sound-crlf",)
"""Takes longest by far; ``test_exercise.py`` marks a form with such ends of lines on few hands."""


@pytest.mark.parametrize(
    "path",
    [
        pytest.param(path, id=name, marks=[pytest.mark.slow] * (name in MARKED_WHOLE))
        for path, name in ((path, f"{path.parent.name}/{path.stem}") for path in CORPUS)
    ],
)
def test_files_kept(corpus_sandbox: Sandbox, path: Path) -> None:
    done, _ = corpus_sandbox.try_data(path.parent.name, MARKED, path.read_bytes())
    for _, ran, wrong in done:
        assert not wrong, ran.err
    words, first = expected(path), done[0][1]
    if words:
        assert words in said(first.err)
        assert first.code == 2 or words == "set aside"
    else:
        assert first.code == 0, first.err


def test_files_kept_are_of_all_kinds() -> None:
    found = {path.parent.name for path in CORPUS}
    assert found == set(KINDS)
    assert all(sum(path.parent.name == kind for path in CORPUS) >= 12 for kind in KINDS)


# ---- what is no file

PLACES = {
    # what a mutant is put in the place of, and the words by which it is named
    "m.toml": ("scenario", "m.toml"),
    "job.log.jsonl": ("log", "job.log.jsonl"),
    "h.csv": ("table", "h.csv"),
    "ex/answers.toml": ("form", "answers.toml"),
    "ex/truth.seal": ("seal", "truth.seal"),
    "out/n.new-draft.json": ("new-draft", "n.new-draft.json"),
    "bare.readings-draft.json": ("readings-draft", "bare.readings-draft.json"),
}
NO_FILES = ("folder", "pipe", "socket", "link to nothing", "link to itself", "device", "endless device")


def put_no_file(place: Path, what: str) -> None:
    place.unlink(missing_ok=True)
    if what == "folder":
        place.mkdir()
    elif what == "pipe":
        os.mkfifo(place)
    elif what == "socket":
        with socket.socket(socket.AF_UNIX) as one:
            here = Path.cwd()
            os.chdir(place.parent)  # such names have to be short
            one.bind(place.name)
            os.chdir(here)
    else:
        target = {"link to nothing": "nowhere", "link to itself": place.name, "device": os.devnull}
        place.symlink_to(target.get(what, "/dev/zero"))


@pytest.mark.parametrize("what", NO_FILES)
@pytest.mark.parametrize("place", PLACES)
def test_what_is_no_file(nursery: Nursery, tmp_path: Path, place: str, what: str) -> None:
    sandbox = Sandbox(nursery, tmp_path / "bench")
    kind, named = PLACES[place]
    put_no_file(sandbox.folder / place, what)
    first, _ = attempts_on(kind, MARKED)
    ran, wrong = sandbox.run(replace(first, within=5.0))
    assert not wrong, ran.err
    missing_is_new = kind in ("log", "new-draft", "readings-draft")
    if missing_is_new and (what == "link to nothing" or (what == "link to itself" and kind != "log")):
        assert ran.code == 0
    elif kind.endswith("draft"):
        assert ran.code in (0, 2)
        assert named in ran.err
    else:
        assert ran.code == 2
        assert named in ran.err


@pytest.mark.parametrize("place", PLACES)
def test_what_nobody_may_read(nursery: Nursery, tmp_path: Path, place: str) -> None:
    sandbox = Sandbox(nursery, tmp_path / "bench")
    kind, named = PLACES[place]
    path = sandbox.folder / place
    path.write_bytes(b"{}")
    path.chmod(0)
    first, _ = attempts_on(kind, MARKED)
    ran = nursery.run(list(first.args), sandbox.folder, typed=first.typed, seconds=10.0, plain=True)
    assert not ran.crashed, ran.err
    assert ran.code == 2 or kind.endswith("draft"), ran.err
    assert named in ran.err
