"""A log knows what it was logged against and whose it is: a changed scenario is not taken for the old one."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

from handlap.cli.main import main
from handlap.sim.bench.job_log import Entry, JobLog
from handlap.sim.bench.log_file import append, read_log
from handlap.sim.bench.log_marks import SUBJECTS, change_faults, changes_since, marks_of
from handlap.sim.bench.log_place import log_path
from handlap.sim.bench.record import make_record
from handlap.sim.bench.replan import make_replan
from handlap.sim.common.errors import ScenarioError
from handlap.sim.job.scenario import Scenario
from handlap.sim.job.scenario_file import builtin_names, load, load_text, read_text

HEAD = "two-cylinder-head"
TEXT = read_text(HEAD)
FEW = ("--members", "16")
TIME = "2024-01-05T10:{:02d}:00+00:00"
INSERT = 'inserts = [{name = "ring", circle = [0, 30, 12], rate_ratio = 0.5}]\n'


def without_gaps(text: str) -> str:
    """The scenario with every leaf that goes taken out of its readings."""
    head, _, tail = text.partition("[readings]")
    return head + "[readings]" + re.sub(r"\[(\d+), \d+, (\d+)\]", r'[\1, "none", \2]', tail)


CHANGES = {
    "ten times as heavy": (lambda t: t.replace("\nmass = 3.4", "\nmass = 34"), "part", "34 kg", True),
    "an insert": (lambda t: t.replace("\ngasket", "\n" + INSERT + "gasket"), "part", "1 insert", True),
    "zeroed readings": (without_gaps, "readings before", "leaves up to 0 µm go", True),
    "a short stroke": (lambda t: t.replace("\nlength = 150", "\nlength = 20"), "strokes", "20 mm", True),
    "other turns": (lambda t: t.replace('"half and walk"', '"quarter"'), "turning", "quarter", True),
    "another plate": (lambda t: t.replace("\nlength = 450", "\nlength = 700"), "plate", "700 × 300 mm", True),
    "dry": (lambda t: t.replace("\nwet = true", "\nwet = false"), "paper as laid", "dry", True),
    "other papers": (lambda t: t.replace('"P240"]', '"P400"]'), "plan", "P400", False),
    "another limit": (lambda t: t.replace("\nlimit = 50 ", "\nlimit = 75 "), "limit", "75 µm", False),
    "a heavier hand": (lambda t: t.replace('"firm"', '"heavy"'), "hands", "press 80 N", False),
}


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "head.toml"
    path.write_text(TEXT, encoding="utf-8")
    return path


def block(minute: int, strokes: int = 80, **more) -> Entry:
    return Entry(1, 0, TIME.format(minute), strokes=strokes, paper="P80", **more)


def run(command: str, file: Path | str, *args: str):
    return CliRunner().invoke(main, [command, str(file), *args])


def said(text: str) -> str:
    return " ".join(text.split())


def logged(file: Path) -> Scenario:
    """The job with two blocks in its log."""
    job = load(file)
    append(job, Entry(1, 0, TIME.format(0), part_mass=3.4, scale=1e-5, dyed=True))
    append(job, block(5, swarf=0.1e-3, scale=1e-5))
    append(job, block(10))
    return job


# ---- a scenario that changed


@pytest.mark.parametrize(("change", "subject", "now", "stops"), CHANGES.values(), ids=CHANGES)
def test_what_changed_is_named_and_stops_where_it_matters(file, change, subject, now, stops):
    logged(file)
    changed = change(TEXT)
    assert changed != TEXT
    file.write_text(changed, encoding="utf-8")
    job = load(file)
    found, *more = changes_since(read_log(job), job)
    assert {c.subject for c in more} <= {"wear"}, "dry paper cuts at another rate"
    assert (found.subject, found.entries, found.stops) == (subject, (2, 3), stops)
    assert now in found.now and now not in found.then
    before = log_path(job).read_bytes()
    if stops:
        for args in (("replan", file, *FEW), ("record", file, *FEW), ("log", file, "--strokes", "40")):
            done = run(*args)
            assert done.exit_code == 2, args
            assert f"head.log.jsonl: {subject} = " in done.stderr and now in done.stderr
            assert "as when entries 2 to 3 were logged" in done.stderr
            assert f"handlap log {file} --corrected" in done.stderr, "the remedy"
        assert log_path(job).read_bytes() == before
    else:
        assert run("log", file, "--strokes", "40").exit_code == 0
    shown = run("log", file, "--show")
    assert shown.exit_code == 0, "what is written can be looked at all the same"
    assert f"{subject} ({found.then}; now {found.now})" in said(shown.stdout)


def test_all_that_changed_is_said_at_once_with_one_remedy(file):
    logged(file)
    changed = TEXT
    for change in ("ten times as heavy", "zeroed readings", "a short stroke", "another limit"):
        changed = CHANGES[change][0](changed)
    file.write_text(changed, encoding="utf-8")
    job = load(file)
    faults = change_faults(read_log(job), job)
    assert [fault.key for fault in faults] == ["part", "readings before", "strokes"]
    assert run("replan", file, *FEW).stderr.count("--corrected") == 1


@pytest.mark.parametrize("make", [make_replan, make_record])
def test_no_way_round_it_in_the_library(file, make):
    logged(file)
    file.write_text(CHANGES["ten times as heavy"][0](TEXT), encoding="utf-8")
    job = load(file)
    with pytest.raises(ScenarioError, match="part = 34 kg"):
        make(job, read_log(job), members=16)


def test_a_note_is_in_the_answer_as_text_and_json(file):
    logged(file)
    file.write_text(CHANGES["another limit"][0](TEXT), encoding="utf-8")
    done = run("replan", file, *FEW, "--json")
    assert done.exit_code in (0, 3), done.stderr
    told = json.loads(done.stdout)["verdict"]["look_again"]
    assert any("limit (50 µm by straightedge" in note for note in told)


def test_a_scenario_that_was_wrong_can_be_corrected(file):
    """It stays in the file what it was; from then on the strokes count as done with it as it is now."""
    logged(file)
    file.write_text(CHANGES["ten times as heavy"][0](TEXT), encoding="utf-8")
    done = run("log", file, "--corrected", "--note", "weighed anew")
    assert done.exit_code == 0, done.stderr
    assert "the scenario was corrected" in said(done.stdout)
    job = load(file)
    assert changes_since(read_log(job), job) == ()
    assert run("log", file, "--strokes", "40").exit_code == 0
    # And back again: now that is the change.
    file.write_text(TEXT, encoding="utf-8")
    assert run("log", file, "--strokes", "40").exit_code == 2
    # The correction taken back: the strokes before it stand against the first scenario again.
    assert run("log", file, "--void", "4").exit_code == 0
    job = load(file)
    assert [c.entries for c in changes_since(read_log(job), job)] == [(5,)]


def test_a_face_or_metal_that_was_wrong_can_be_corrected_too(file):
    logged(file)
    file.write_text(TEXT.replace("[-42, 0, 72]", "[-43, 0, 72]"), encoding="utf-8")
    refused = run("replan", file, *FEW)
    assert refused.exit_code == 2
    assert "not those this log was begun with" in said(refused.stderr) and "--corrected" in refused.stderr
    assert run("log", file, "--strokes", "40").exit_code == 2
    assert run("log", file, "--corrected").exit_code == 0
    assert run("log", file, "--strokes", "40").exit_code == 0
    file.write_text(TEXT, encoding="utf-8")
    assert run("log", file, "--show").exit_code == 2


def test_nothing_worked_yet_nothing_stops(file):
    """Weighed and dyed, then the scenario is put right: that is no work done with another part."""
    append(load(file), Entry(1, 0, TIME.format(0), part_mass=3.4, scale=1e-5, dyed=True))
    file.write_text(CHANGES["zeroed readings"][0](TEXT), encoding="utf-8")
    assert run("log", file, "--strokes", "40", "--paper", "P80").exit_code == 0
    job = load(file)
    assert changes_since(read_log(job), job) == () and read_log(job).notes == ()


def test_entries_say_only_what_is_new(file):
    job = logged(file)
    first, second, third = read_log(job).entries
    assert {mark.subject for mark in first.against} == {"scenario", "face", *SUBJECTS}
    assert second.against == third.against == ()
    file.write_text(CHANGES["another limit"][0](TEXT), encoding="utf-8")
    entry, _ = append(load(file), block(20))
    assert [mark.subject for mark in entry.against] == ["limit"]


def test_a_log_of_an_older_version_is_read_and_says_what_is_not_known(file):
    job = logged(file)
    path = log_path(job)
    lines = [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]
    for line in lines:
        line.pop("against", None)
    path.write_text("".join(json.dumps(line) + "\n" for line in lines), encoding="utf-8")
    file.write_text(CHANGES["ten times as heavy"][0](TEXT), encoding="utf-8")
    log = read_log(load(file))
    assert log.strokes == 160
    (note,) = log.notes
    assert "does not say what entries 2 to 3 were logged against" in note
    done = run("replan", file, *FEW)
    assert done.exit_code in (0, 3), done.stderr
    assert "an older version wrote it" in said(done.stdout)


@pytest.mark.parametrize(
    "raw", [[], {"part": "x"}, {"part": ["a"]}, {"part": [1, 2]}, {"a\nb": ["a", "b"]}, 7]
)
def test_marks_that_are_none_are_refused(file, raw):
    job = logged(file)
    path = log_path(job)
    lines = [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]
    lines[2]["against"] = raw
    path.write_text("".join(json.dumps(line) + "\n" for line in lines), encoding="utf-8")
    with pytest.raises(ScenarioError, match="line 3, against"):
        read_log(job)


def test_the_same_job_written_otherwise_has_the_same_marks():
    """Remarks, other units of a value, names: nothing of it changes what was done."""
    other = TEXT.replace("mass = 3.4", 'mass = "3400 g"').replace('name = "cylinder head"', 'name = "lid"')
    other = other.replace('name = "long', 'name = "Long') + "\n# a remark\n"
    assert load_text(other).part.name == "lid"
    first, second = (marks_of(load_text(text)) for text in (TEXT, other))
    assert first == second


def test_every_built_in_job_has_marks_of_its_own():
    marks = [tuple(m.digest for m in marks_of(load(name)).values()) for name, _ in builtin_names()]
    assert len(set(marks)) == len(marks)
    for name, _ in builtin_names():
        again = marks_of(load(name))
        assert again == marks_of(load(name))
        assert all(mark.words.isprintable() and len(mark.words) < 100 for mark in again.values())


# ---- where the log lies


def test_two_files_of_one_stem_have_a_log_each(file):
    other = file.with_suffix(".txt")
    other.write_text(TEXT, encoding="utf-8")
    logged(file)
    assert log_path(load(file)) != log_path(load(other))
    assert read_log(load(other)).entries == ()
    append(load(other), block(0, 40))
    assert (read_log(load(file)).strokes, read_log(load(other)).strokes) == (160, 40)


def test_a_built_in_job_and_a_file_of_its_name_have_a_log_each(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    Path(f"{HEAD}.toml").write_text(TEXT, encoding="utf-8")
    for source, strokes in ((HEAD, 40), (f"{HEAD}.toml", 120)):
        assert run("log", source, "--strokes", str(strokes), "--paper", "P80").exit_code == 0
    assert [read_log(load(s)).strokes for s in (HEAD, f"{HEAD}.toml")] == [40, 120]
    assert len(list(tmp_path.glob("*.log.jsonl"))) == 2


def test_a_log_under_its_older_name_is_found_where_nobody_else_has_it(tmp_path, monkeypatch):
    """Earlier versions called it after the stem alone."""
    monkeypatch.chdir(tmp_path)
    append(load(HEAD), block(0))
    log_path(load(HEAD)).rename(f"{HEAD}.log.jsonl")
    assert read_log(load(HEAD)).strokes == 80
    append(load(HEAD), block(4))
    # Now a file of that name comes: the log says whose it is.
    file = Path(f"{HEAD}.toml")
    file.write_text(TEXT, encoding="utf-8")
    for args in (("replan", file, *FEW), ("log", file, "--strokes", "40"), ("log", file, "--show")):
        done = run(*args)
        assert done.exit_code == 2, args
        assert "two jobs cannot share a log" in said(done.stderr)
    assert read_log(load(HEAD)).entries == ()


def test_a_renamed_scenario_says_where_it_looked_and_what_it_saw(file):
    logged(file)
    renamed = file.rename(file.with_name("cylinder.toml"))
    looked, seen = str(file.with_name("cylinder.log.jsonl")), str(file.with_name("head.log.jsonl"))
    shown = run("log", renamed, "--show").stdout
    trial = run("replan", renamed, *FEW).stdout
    record = run("record", renamed, *FEW)
    assert record.exit_code == 2
    for text in (shown, trial, record.stderr):
        plain = "".join(text.split())
        assert looked in plain and seen in plain and "begunforhead.toml" in plain
        assert "renameittocylinder.log.jsonl" in plain
    # Told to, it is found, and goes on.
    Path(seen).rename(looked)
    log = read_log(load(renamed))
    assert log.strokes == 160 and "begun for head.toml" in log.notes[0]
    append(load(renamed), block(20))
    assert read_log(load(renamed)).notes == ()


def test_a_new_log_beside_one_that_nobody_has_is_remarked_on(file):
    logged(file)
    renamed = file.rename(file.with_name("cylinder.toml"))
    done = run("log", renamed, "--strokes", "40", "--paper", "P80")
    assert done.exit_code == 0
    assert "begun for head.toml" in said(done.stdout)


def test_the_log_of_another_scenario_that_is_there_is_not_offered(file):
    """Two like parts, a scenario each: neither is told to take the other's log."""
    logged(file)
    other = file.with_name("second-head.toml")
    other.write_text(TEXT, encoding="utf-8")
    assert read_log(load(other)).notes == (
        f"no log was found at {other.with_name('second-head.log.jsonl')}; nowhere else is looked",
    )


def test_a_moved_scenario_says_where_it_looked(file, tmp_path):
    logged(file)
    (tmp_path / "elsewhere").mkdir()
    moved = file.rename(tmp_path / "elsewhere" / "head.toml")
    (note,) = read_log(load(moved)).notes
    assert str(tmp_path / "elsewhere" / "head.log.jsonl") in note


def test_odd_names_of_files_are_written_as_they_can_be(tmp_path):
    file = tmp_path / "a\x1b[2J\udce9.toml"
    file.write_text(TEXT, encoding="utf-8")
    job = load(file)
    append(job, block(0))
    append(job, block(5))
    assert read_log(job).strokes == 160 and read_log(job).notes == ()


def test_a_log_made_in_code_is_not_of_an_unknown_file():
    log = JobLog("x", "head", (replace(block(0), at=80),))
    assert change_faults(log, load(HEAD)) == []


@pytest.mark.parametrize(
    "lines",
    [b"", b"{", b"[]\n[]\n", b'{"part": "MARK"}', b'{"part": "MARK"}\n{"against": []}\n', b"\xff" * 100_000],
)
def test_whatever_lies_beside_the_scenario_is_looked_at_without_harm(file, lines):
    job = load(file)
    mark = read_log(job).part.encode()
    file.with_name("other.log.jsonl").write_bytes(lines.replace(b"MARK", mark))
    file.with_name("folder.log.jsonl").mkdir()
    assert len(read_log(job).notes) == 1 + (b"MARK" in lines)
