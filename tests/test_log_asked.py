"""``handlap log``: asked at a terminal; mistakes asked back, or refused with the remedy, or insisted on."""

from __future__ import annotations

import datetime
import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from person import sit

from handlap.cli.commands.log_command import draft_of
from handlap.cli.main import main
from handlap.sim.bench.job_log import Entry, part_mark
from handlap.sim.bench.log_file import append, look_over, read_log
from handlap.sim.bench.log_given import entry_of, known_lines
from handlap.sim.bench.log_place import log_path
from handlap.sim.bench.next_block import next_block
from handlap.sim.common.errors import ScenarioError
from handlap.sim.face.stations import lines_of
from handlap.sim.job.scenario import Scenario
from handlap.sim.job.scenario_file import load, read_text

LONG_AGO = "2024-01-05T10:00:00+00:00"
WEIGHED = {"n": 1, "at": 0, "when": LONG_AGO, "part_g": 3400.0, "scale_g": 0.01, "dyed": True}
BLOCK = {
    "n": 2,
    "at": 80,
    "when": "2024-01-05T10:05:00+00:00",
    "strokes": 80,
    "paper": "P120",
    "new_sheet": True,
}


@pytest.fixture
def job(tmp_path: Path) -> Scenario:
    path = tmp_path / "head.toml"
    path.write_text(read_text("two-cylinder-head"), encoding="utf-8")
    return load(path)


def written(job: Scenario, *entries: dict[str, Any]) -> None:
    head = {"handlap_log": 1, "part": part_mark(job.part), "name": job.part.name}
    text = "".join(json.dumps(line) + "\n" for line in (head, *entries))
    log_path(job).write_text(text, encoding="utf-8")


def run(job: Scenario, *args: str):
    return CliRunner().invoke(main, ["log", job.source, *args])


# ---- at a terminal


SITTING: tuple[tuple[str, str], ...] = (
    # what is typed, and what is said to it before the next prompt
    ("eighty", '"eighty"; allowed: a whole number of strokes'),
    ("-80", "allowed: a whole number of strokes"),
    ("80000", "allowed: a whole number from 0 to 20000"),
    ("8000", "beyond a day's work; type the same again if it is so"),
    ("80", "On which paper (P80, P120, P240)?"),
    ("P12000", "allowed:"),
    ("P100", "allowed: one of the job's papers, P80, P120, P240; type the same again"),
    ("P120", "Was a fresh sheet laid before them?"),
    ("maybe", '"maybe"; allowed: "yes" or "no"'),
    ("n", "Was the paper brushed"),
    ("y", "Was the part turned"),
    ("often", "allowed: a number of strokes"),
    ("", "What does the part weigh"),
    ("3.3993", "allowed: some 3400 g, as in the scenario; grams are meant"),
    ("339", "339 g; allowed: at most 330 g less than 3400 g"),
    ("3380", "come off in these strokes, not 20 g; type the same again"),
    ("3400.9", "a part does not get heavier"),
    ("3399.6", "How much swarf"),
    ("a lot", "allowed: a mass in grams"),
    ("420", "allowed: at most"),
    ("none", "What shows of the dye?"),
    ("purple", "allowed:"),
    ("30%", "Which lines were read"),
    ("A Q", '"Q" is no line of the sheet; there are A '),
    ("nowhere", "which leaf goes nowhere"),
    ("nowhere 5000", "allowed: a leaf of"),
    ("nowhere 50 D", "How was the straightedge held"),
    ("", "thickest leaf that goes"),
    ("55", "55 µm is not among your leaves"),
    ("60 50", "allowed: a leaf that stops thicker"),
    ("none", "D2"),
    ("end", "Understood:"),
)  # fmt: skip


def test_a_sitting_in_which_everything_is_mistyped_first(job):
    """Some twenty plausible mistakes, one after another, each asked back or refused; then it is right."""
    written(job, WEIGHED, BLOCK)
    found = sit(["log", "head.toml"], [*(typed for typed, _ in SITTING), ""], Path(job.source).parent)
    assert found.code == 0, found.screen
    assert not found.left, found.screen
    told = found.screen.split("\n> ")[1:]
    assert len(told) == len(SITTING) + 1, found.screen
    for (typed, words), answer in zip(SITTING, told, strict=False):
        assert words in " ".join(answer.split()), (typed, words, answer)
    assert "80 strokes so far. Last entry, no. 2 of 2024-01-05" in found.words
    assert "The job sheet has next: P120, up to stroke 160 on it; before that brush." in found.words
    assert "80 strokes there and back, 160 in all then" in found.words
    assert "30 µm stops, nothing thinner goes" in found.words
    last = read_log(job).entries[-1]
    assert (last.strokes, last.paper, last.brushed, last.new_sheet) == (80, "P120", True, False)
    assert last.part_mass == pytest.approx(3.3996)
    assert (last.scale, last.dye_left, last.as_is) == (pytest.approx(1e-5), 0.3, False)
    assert len(last.readings) == len(lines_of(job))
    assert len(next(r for r in last.readings if r.name.startswith("cross, left")).stations) == 1
    assert not draft_of(log_path(job)).exists()


def test_what_is_typed_twice_is_written_with_its_mark(job):
    """Asked back, and meant: odd, and not impossible."""
    written(job, WEIGHED, BLOCK)
    typed = ["7000", "7000", "P120", "", "", "", "", "end", "yes"]
    found = sit(["log", "head.toml"], typed, Path(job.source).parent)
    assert found.code == 0, found.screen
    last = read_log(job).entries[-1]
    assert (last.strokes, last.as_is) == (7000, True)
    assert "at most 6000 strokes at a time" in found.words


def test_a_sitting_that_is_broken_off_goes_on_where_it_was(job):
    written(job, WEIGHED, BLOCK)
    folder = Path(job.source).parent
    broken = sit(["log", "head.toml"], ["120", "P120"], folder)
    assert broken.code == 2
    assert "2 answers are kept in head.log-draft.json; to go on: handlap log head.toml" in broken.words
    assert len(read_log(job).entries) == 2
    found = sit(["log", "head.toml"], ["yes", "n", "n", "", "end", "yes"], folder)
    assert found.code == 0, found.screen
    assert read_log(job).entries[-1].strokes == 120


def test_nothing_said_is_nothing_written(job):
    written(job, WEIGHED)
    found = sit(["log", "head.toml"], ["0", "end"], Path(job.source).parent, width=40)
    assert found.code == 0
    assert "nothing is written" in found.words
    assert len(read_log(job).entries) == 1
    assert max(map(len, found.screen.splitlines())) <= 40


def test_without_a_terminal_it_says_what_to_do(job):
    done = run(job)
    assert done.exit_code == 2
    assert "--show" in done.stderr
    assert len(done.stderr.splitlines()) == 1
    assert run(job, "--show").exit_code == 0
    both = run(job, "--show", "--strokes", "80")
    assert both.exit_code == 2
    assert not log_path(job).exists()


# ---- on one line


ODD: dict[str, tuple[tuple[str, ...], str]] = {
    "beyond a day's work": (("--strokes", "7000"), "strokes = 7000; allowed: at most 6000 strokes at a time"),
    "a paper that is not on the list": (
        ("--strokes", "80", "--paper", "P100"),
        'paper = "P100"; allowed: one of the job\'s papers, P80, P120, P240',
    ),
    "a leaf not in the set": (
        ("--reading", "A: A1 none 30; A3 50 55"),
        "readings long, near side = 55 µm; allowed: a leaf of your set (30, 40, 50,",
    ),
    "a leaf not in the set that goes nowhere": (("--goes-nowhere", "45"), "= 45 µm; allowed: a leaf of"),
    "ten times the metal": (
        ("--strokes", "80", "--part-weight", "3380"),
        "part weight = 3380 g; allowed: about 3399",
    ),
    "ten times the swarf": (
        ("--strokes", "80", "--swarf", "42", "--scale", "0.01"),
        "swarf = 42 g; allowed: some",
    ),
    "kilograms of swarf": (
        ("--strokes", "80", "--swarf", "0.00042", "--scale", "0.00001"),
        "swarf = 0.00042 g; allowed: some",
    ),
    "hours for minutes": (("--strokes", "80", "--minutes", "1200"), "minutes = 1200; allowed: at most"),
    "seconds for minutes": (("--strokes", "80", "--minutes", "0.2"), "minutes = 0.2; allowed: at least"),
    "a scale that could not weigh it": (
        ("--strokes", "80", "--swarf", "0.4", "--scale", "5"),
        "scale = 5 g; allowed: finer than 0.4 g",
    ),
}  # fmt: skip


@pytest.mark.parametrize(("args", "words"), ODD.values(), ids=ODD)
def test_what_is_odd_is_refused_unless_insisted_on(job, args, words):
    written(job, WEIGHED, BLOCK)
    before = log_path(job).read_bytes()
    done = run(job, *args)
    assert done.exit_code == 2
    assert words in done.stderr
    assert "if it is so, say so with --as-is" in done.stderr
    assert log_path(job).read_bytes() == before
    assert run(job, *args, "--as-is").exit_code == 0
    assert read_log(job).entries[-1].as_is
    assert "asked back, and so as it is" in " ".join(run(job, "--show").stdout.split())


IMPOSSIBLE: dict[str, tuple[tuple[str, ...], str]] = {
    "millimetres for micrometres": (
        ("--reading", "A: 5 none 0.03"),
        "0.03 µm is thinner than any leaf; write 0.03 mm with its unit if that is meant",
    ),
    "millimetres for micrometres that go nowhere": (
        ("--goes-nowhere", "0.05"),
        "0.05 µm is thinner than any leaf; write 0.05 mm with its unit if that is meant",
    ),
    "kilograms": (("--part-weight", "3.3996"), "part weight = 3.3996 g; allowed: some 3400 g"),
    "a date before the last entry": (
        ("--strokes", "80", "--when", "2023-12-31 10:00"),
        "or later, when entry 2 was written",
    ),
    "a day that is to come": (("--strokes", "80", "--when", "2999-01-01"), "allowed: no later than now"),
    "no time": (("--strokes", "80", "--when", "yesterday"), "allowed: a time such as"),
    "no line": (
        ("--reading", "Q: 5 none 30"),
        "allowed: a line, by its letter or name: A long, near side; B ",
    ),
    "a station of another line": (("--reading", "A: B2 none 30"), "allowed: a station of this line, A1 to A"),
    "a line of too few": (("--reading", "A: none none 50 none"), "allowed: one leaf for each of its "),
    "beyond the line": (("--reading", "A: 900 none 30"), "allowed: 0 to "),
    "a share above one": (("--dye-left", "30"), "--dye-left"),
    "no stroke": (("--strokes", "-80"), "a whole number from 0"),
}


@pytest.mark.parametrize(("args", "words"), IMPOSSIBLE.values(), ids=IMPOSSIBLE)
def test_what_cannot_be_is_refused_all_the_same(job, args, words):
    written(job, WEIGHED, BLOCK)
    before = log_path(job).read_bytes()
    done = run(job, *args, "--as-is")
    assert done.exit_code == 2
    assert words in done.stderr
    assert log_path(job).read_bytes() == before


def test_the_same_entry_again_within_minutes(job):
    now = datetime.datetime.now(datetime.UTC) - datetime.timedelta(seconds=10)
    written(job, {**BLOCK, "n": 1, "when": now.isoformat(timespec="seconds")})
    done = run(job, "--strokes", "80", "--new-sheet")
    assert done.exit_code == 2
    assert "the entry, written twice: once: entry 1, written " in done.stderr
    assert run(job, "--strokes", "80", "--new-sheet", "--note", "another").exit_code == 0


@pytest.mark.parametrize("entry", [
    {**BLOCK, "strokes": 7000, "at": 7000},
    {**BLOCK, "strokes": 80, "part_g": 3380.0, "scale_g": 0.01},
    {**BLOCK, "minutes": 1200},
])  # fmt: skip
def test_a_file_written_by_hand_meets_the_same_and_may_insist(job, entry):
    written(job, WEIGHED, entry)
    with pytest.raises(ScenarioError, match='"as_is": true'):
        read_log(job)
    written(job, WEIGHED, {**entry, "as_is": True})
    assert len(read_log(job).entries) == 2


def test_other_papers_and_leaves_later_do_not_spoil_the_log(job):
    """The scenario's papers and leaves may change while the job goes on."""
    written(job, WEIGHED, {**BLOCK, "paper": "P100"})
    assert len(read_log(job).entries) == 2


def test_an_import_calls_the_same_functions(job):
    """An entry from elsewhere: made, looked over without writing, written."""
    written(job, WEIGHED)
    entry = entry_of(job, {"strokes": 80, "paper": "P120", "reading": ["B: 25 none; B3 50"]}, read_log(job))
    numbered, impossible, odd = look_over(job, entry)
    assert (numbered.number, numbered.at, impossible, odd) == (2, 80, [], [])
    assert len(read_log(job).entries) == 1
    added, _ = append(job, entry)
    assert [(s.goes, s.stops) for s in added.readings[0].stations] == [(0.0, 30e-6), (50e-6, 60e-6)]
    with pytest.raises(ScenarioError, match="no such thing"):
        entry_of(job, {"stroke": 80})


def test_letters_and_stations_name_the_same_places_as_names_and_distances(job):
    line = known_lines(job)[1]
    at = f"{1e3 * line.at[2]:g}"
    by_letter = entry_of(job, {"reading": ["b: b3 40 50"]}).readings
    by_name = entry_of(job, {"reading": [f"{line.name}: {at} 40 50"]}).readings
    assert by_letter == by_name
    every = " ".join(["none"] * (len(line.at) - 1) + ["50"])
    (whole,) = entry_of(job, {"reading": [f"B: {every}"]}).readings
    assert [s.at for s in whole.stations] == pytest.approx(list(line.at))
    assert (whole.stations[-1].goes, whole.stations[-1].stops) == (50e-6, 60e-6)


def test_an_inch_job_is_logged_in_its_own_units(tmp_path):
    """8 is 8 in, 5 and 6 are thousandths; and they are said back so."""
    path = tmp_path / "plate.toml"
    path.write_text(INCH, encoding="utf-8")
    job = load(path)
    done = run(job, "--reading", "long, near side: 8 5 6", "--as-is")
    assert done.exit_code == 0, done.stderr
    (station,) = read_log(job).entries[-1].readings[0].stations
    assert (station.at, station.goes, station.stops) == pytest.approx((0.2032, 127e-6, 152.4e-6))
    assert "8 5/6" in done.stdout
    assert "in from the start" in " ".join(done.stdout.split())


INCH = """
title = "An invented plate"
invented = true
units = "inch"
[part]
length = 10
width = 5
metal = "grey iron"
mass = 9
limit = 2
[readings]
leaves = [1.5, 2, 3, 4, 5, 6]
[[readings.line]]
name = "long, near side"
from = [-5, -2]
to = [5, -2]
stations = [[1, "none", 1.5], [5, 3, 4], [9, "none", 1.5]]
"""


def test_times_are_those_of_the_bench_and_keep_their_distance_from_utc(job, monkeypatch):
    import time

    monkeypatch.setenv("TZ", "XYZ-05:30")
    time.tzset()
    try:
        assert run(job, "--strokes", "80", "--paper", "P120", "--when", "2024-02-03 14:30").exit_code == 0
        assert read_log(job).entries[0].when == "2024-02-03T14:30:00+05:30"
        assert "2024-02-03 14:30" in run(job, "--show").stdout
        monkeypatch.setenv("TZ", "UTC0")
        time.tzset()
        assert "2024-02-03 09:00" in run(job, "--show").stdout
    finally:
        monkeypatch.undo()
        time.tzset()


# ---- the job sheet's next line


def test_the_next_line_is_that_of_the_sheet(job):
    """As the sheet of this job counts: a check every 80 strokes, brushed at each, a sheet every 240."""
    empty = next_block(job, read_log(job))
    assert (empty.strokes, empty.paper, empty.new_sheet) == (80, "", True)
    seen = []
    log = read_log(job)
    for number in range(1, 6):
        block = next_block(job, log, "P120")
        seen.append((block.until, block.new_sheet, block.brushed))
        entry = Entry(number, 0, "", strokes=block.strokes, paper="P120", new_sheet=block.new_sheet,
                      brushed=block.brushed)  # fmt: skip
        log = type(log)(log.part, log.name, (*log.entries, entry))
    assert seen == [
        (80, True, False), (160, False, True), (240, False, True), (320, True, False), (400, False, True)
    ]  # fmt: skip


def test_after_an_odd_count_the_next_line_ends_at_the_next_check(job):
    log = read_log(job)
    log = type(log)(log.part, log.name, (Entry(1, 0, "", strokes=50, paper="P120", new_sheet=True),))
    block = next_block(job, log)
    assert (block.strokes, block.until, block.paper, block.new_sheet) == (30, 80, "P120", False)


def test_numbers_bring_their_units_and_decimal_commas(job):
    line = entry_of(job, {"reading": ["A: A1 none 0,03mm; 50 0.05 mm .06mm; 80 2 thou 80"]}).readings[0]
    assert [(s.goes, s.stops) for s in line.stations] == [
        (0.0, pytest.approx(30e-6)), (pytest.approx(50e-6), pytest.approx(60e-6)),
        (pytest.approx(50.8e-6), pytest.approx(80e-6)),
    ]  # fmt: skip
    assert entry_of(job, {"part_weight": "3120,41", "scale": "0.01"}).part_mass == pytest.approx(3.12041)
    assert entry_of(job, {"part_weight": "7 lb", "scale": "0.1 oz"}).part_mass == pytest.approx(3.17514659)
