"""What a page for the bench hands over, brought into the log: whole or not at all, nothing twice."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from bench_page_cases import OTHER, block, entry, job_file, page_text
from click.testing import CliRunner

from handlap.cli.main import main
from handlap.sim.bench.bench_page_text import read_page_text
from handlap.sim.bench.log_file import read_log
from handlap.sim.bench.log_lines import to_json
from handlap.sim.bench.log_place import log_path
from handlap.sim.common.errors import ScenarioError
from handlap.sim.job.scenario import Scenario

WEIGHED = entry(1, 0, part_g=3120.41, scale_g=0.01, dyed=True)
FIRST = block(
    2, 6, new_sheet=True, turn_every=120, minutes=2.1, part_g=3120.12, scale_g=0.01, note="first, 5 µm"
)
SECOND = block(3, 12, 160, brushed=True, brush_every=80, dye_seen="ggggg fffff uuu??")


@pytest.fixture
def job(tmp_path: Path) -> Scenario:
    return job_file(tmp_path)


def log(job: Scenario, *args: str, typed: str | None = None):
    return CliRunner().invoke(main, ["log", job.source, *args], input=typed)


def bring(job: Scenario, text: str, *args: str):
    file = Path(job.source).with_name("page.txt")
    file.write_text(text, encoding="utf-8")
    return log(job, "--from", str(file), *args)


def test_entries_come_in_as_the_page_wrote_them(job):
    found = bring(job, page_text(job, WEIGHED, FIRST, SECOND))
    assert found.exit_code == 0, found.output
    assert "3 ENTRIES OF THE PAGE ARE WRITTEN" in found.output.upper()
    written = read_log(job)
    assert [e.at for e in written.entries] == [0, 80, 240]
    for number, (own, raw) in enumerate(zip(written.entries, (WEIGHED, FIRST, SECOND), strict=True), 1):
        held = {k: v for k, v in to_json(own).items() if k not in ("n", "at", "against")}
        assert held == raw
        assert own.number == number


def test_twice_the_same_adds_nothing_twice(job):
    bring(job, page_text(job, WEIGHED, FIRST))
    before = log_path(job).read_bytes()
    again = bring(job, page_text(job, WEIGHED, FIRST))
    assert again.exit_code == 0
    assert "nothing new on the page" in again.output.lower()
    assert log_path(job).read_bytes() == before
    more = bring(job, page_text(job, WEIGHED, FIRST, SECOND))
    assert more.exit_code == 0
    assert "2 entries of the page were in the log already" in " ".join(more.output.split())
    assert [e.id for e in read_log(job).entries] == ["k3f9q2-1", "k3f9q2-2", "k3f9q2-3"]


def test_from_standard_input_and_as_json(job):
    text = page_text(job, WEIGHED, FIRST, uncounted=12)
    found = log(job, "--from", "-", "--json", typed=text)
    assert found.exit_code == 0, found.output
    told = json.loads(found.stdout)
    assert (told["added_entries"], told["known_entries"], told["uncounted_strokes"]) == ([1, 2], 0, 12)
    assert told["strokes"] == 80
    # Windows ends of lines, and blanks that a letter adds, change nothing.
    again = log(job, "--from", "-", "--json", typed="\ufeff" + text.replace("\n", " \r\n") + "\r\n")
    assert json.loads(again.stdout)["added_entries"] == []


def test_cut_anywhere_it_is_refused_whole_with_the_line(job):
    text = page_text(job, WEIGHED, FIRST, SECOND)
    for cut in range(1, len(text) - 1):
        with pytest.raises(ScenarioError, match=r"line \d"):
            read_page_text(text[:cut], "page.txt")
    lines = text.splitlines(keepends=True)
    for gone in range(len(lines)):
        with pytest.raises(ScenarioError, match=r"line \d"):
            read_page_text("".join(lines[:gone] + lines[gone + 1 :]), "page.txt")
    found = bring(job, text[: text.index("brush_every")])
    assert found.exit_code == 2
    assert "page.txt: line 4" in found.stderr
    assert "cut short or changed" in found.stderr
    assert not log_path(job).exists()


def test_a_changed_letter_is_noticed(job):
    text = page_text(job, WEIGHED, FIRST)
    found = bring(job, text.replace("3120.12", "3120.13"))
    assert found.exit_code == 2
    assert "line 4, sum" in found.stderr


@pytest.mark.parametrize(
    "text", ["", "\n\n", "hello", "[1]\n[2]", '{"a": 1}\n{"end": 0}', "\x00\x01", "[" * 9000]
)
def test_what_is_no_text_of_a_page_is_refused_in_words(job, text):
    found = bring(job, text)
    assert found.exit_code == 2
    assert "page for the bench" in found.stderr
    assert "Traceback" not in found.output
    assert not log_path(job).exists()


def test_a_page_of_another_job_is_refused(job, tmp_path):
    other = job_file(tmp_path, "second-head.toml")
    found = bring(job, page_text(other, WEIGHED))
    assert found.exit_code == 2
    assert "second-head.toml; allowed: head.toml" in found.stderr
    path = tmp_path / "round.toml"
    path.write_text(Path(job.source).read_text("utf-8").replace('"A356"', '"grey iron"', 1), encoding="utf-8")
    if path.read_text("utf-8") != Path(job.source).read_text("utf-8"):
        from handlap.sim.job.scenario_file import load

        found = bring(job, page_text(load(path), WEIGHED))
        assert found.exit_code == 2
        assert "outline, openings or metal" in found.stderr
    assert not log_path(job).exists()


def test_a_scenario_changed_since_is_named(job):
    from handlap.sim.job.scenario_file import load

    text = page_text(job, WEIGHED, FIRST)
    path = Path(job.source)
    before = path.read_text("utf-8")
    changed = before.replace("[strokes]", "[strokes]\nsway = 9", 1)
    assert changed != before
    path.write_text(changed, encoding="utf-8")
    found = bring(load(path), text)
    assert found.exit_code == 2
    assert "as when the page was made" in found.stderr
    assert not log_path(job).exists()


def test_all_the_checks_of_log_with_the_line(job):
    heavier = block(3, 12, part_g=3121.0, scale_g=0.01)
    found = bring(job, page_text(job, WEIGHED, FIRST, heavier))
    assert found.exit_code == 2
    assert "line 4 of page.txt, part_g" in found.stderr
    assert "does not get heavier" in found.stderr
    hasty = block(2, 12, 80, minutes=0.1)
    assert "line 3 of page.txt, minutes" in bring(job, page_text(job, WEIGHED, hasty)).stderr
    backwards = block(2, 0, when="2026-01-04T10:00:00Z")
    assert "line 3 of page.txt, when" in bring(job, page_text(job, WEIGHED, backwards)).stderr
    wrong = [
        block(1, 1, paper="P9"),
        block(2, 1, strokes=-4),
        {**entry(3, 1, note="x"), "n": 4},
        entry(4, 1, takes_back="k3f9q2-9"),
        entry(4, 1, note="y"),
        {"id": "?", "when": "now", "note": "z"},
        entry(7, 2),
        {"id": "k3f9q2-8", "note": "no time"},
    ]
    found = bring(job, page_text(job, *wrong))
    assert found.exit_code == 2
    for line in range(2, 10):
        assert f"line {line}" in found.stderr
    assert not log_path(job).exists()


def test_what_clashes_is_shown_and_nothing_is_merged(job):
    assert log(job, "--strokes", "80", "--paper", "P120", "--new-sheet").exit_code == 0
    before = log_path(job).read_bytes()
    text = page_text(job, WEIGHED, FIRST)
    found = bring(job, text)
    assert found.exit_code == 2
    words = " ".join(found.stderr.split())
    assert "entry 1, " in words
    assert "at the command line: 80 strokes, P120, new sheet" in words
    assert "line 3, 2026-01-05 10:06 on page k3f9q2: 80 strokes, P120" in words
    assert "--void 1" in words
    assert "--both" in words
    assert log_path(job).read_bytes() == before
    # Taken back in the log, the page comes in.
    assert log(job, "--void", "1").exit_code == 0
    assert bring(job, text).exit_code == 0
    assert read_log(job).strokes == 80


def test_both_were_done(job):
    log(job, "--strokes", "80", "--paper", "P120")
    assert bring(job, page_text(job, FIRST), "--both").exit_code == 0
    assert read_log(job).strokes == 160
    # What the page writes later follows what of it is in the log: no clash any more.
    assert bring(job, page_text(job, FIRST, SECOND)).exit_code == 0
    assert [e.strokes for e in read_log(job).standing] == [80, 80, 160]


def test_two_phones_clash_and_a_remark_does_not(job):
    assert bring(job, page_text(job, WEIGHED, FIRST)).exit_code == 0
    assert log(job, "--note", "coffee").exit_code == 0
    assert bring(job, page_text(job, WEIGHED, FIRST, SECOND)).exit_code == 0
    other = page_text(job, block(1, 7, phone=OTHER), block(2, 14, phone=OTHER))
    before = log_path(job).read_bytes()
    found = bring(job, other)
    assert found.exit_code == 2
    for line in (
        "entry 1,",
        "entry 2,",
        "entry 4,",
        "on page k3f9q2",
        "line 2,",
        "line 3,",
        "on page zz81aa",
    ):
        assert line in found.stderr
    assert "coffee" not in found.stderr
    assert log_path(job).read_bytes() == before


def test_a_page_made_after_the_log_goes_on_from_it(job):
    log(job, "--strokes", "80", "--paper", "P120", "--new-sheet")
    found = bring(job, page_text(job, block(1, 1, phone=OTHER), base=1, strokes=80))
    assert found.exit_code == 0, found.output
    assert read_log(job).strokes == 160
    # What the page counts on was taken back since: it is shown, and nothing is written.
    assert log(job, "--void", "1").exit_code == 0
    later = page_text(job, block(1, 1, phone=OTHER), block(2, 4, phone=OTHER), base=1, strokes=80)
    found = bring(job, later)
    assert found.exit_code == 2
    assert "takes entry 1 back" in found.stderr


def test_taken_back_on_the_page(job):
    back = entry(4, 13, takes_back="k3f9q2-3")
    # Before it was handed over, it is not written at all.
    found = bring(job, page_text(job, WEIGHED, FIRST, SECOND, back))
    assert found.exit_code == 0
    assert "2 lines of the page are not written" in " ".join(found.output.split())
    assert read_log(job).strokes == 80
    # Afterwards it is taken back in the log as well, once.
    back = entry(5, 14, takes_back="k3f9q2-2")
    text = page_text(job, WEIGHED, FIRST, SECOND, entry(4, 13, takes_back="k3f9q2-3"), back)
    for _ in range(2):
        assert bring(job, text).exit_code == 0
        found = read_log(job)
        assert (found.strokes, len(found.entries), found.entries[-1].void) == (0, 3, 2)


def test_options_that_do_not_go_together(job):
    assert "only together with --from" in log(job, "--both").stderr
    found = bring(job, page_text(job, WEIGHED), "--note", "x")
    assert found.exit_code == 2
    assert "nothing else with it" in found.stderr
    assert log(job, "--from", "absent.txt").exit_code == 2
    assert not log_path(job).exists()
