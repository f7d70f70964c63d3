"""``handlap readings``: typed, checked, written into the file and nowhere else."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner

from handlap.cli.asking import questions
from handlap.cli.main import main
from handlap.sim.face.stations import measuring_lines
from handlap.sim.job.scenario_file import load, read_text

BARE = """# mine
title = "Flange"   # kept

[part]
length = 120
width = 60
metal = "6061"
mass = 1
limit = 50

[readings]
# my leaves
leaves = [30, 40, 50, 80]

[plate]
length = 400
width = 300
"""


@pytest.fixture(autouse=True)
def here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "f.toml").write_bytes(BARE.encode())
    return tmp_path


def run(*args: str, typed: list[str] | None = None, **env: str):
    text = "".join(f"{line}\n" for line in typed or [])
    return CliRunner().invoke(main, ["readings", *args], input=text, env=env or None)


def lines(file: str = "f.toml"):
    return measuring_lines(load(file, require_readings=False).part.outline)


def all_answers(reading: str = "30 40") -> list[str]:
    return [answer for line in lines() for answer in ("", *[reading] * len(line.at))]


def test_a_whole_sheet_is_typed_in_and_can_be_surveyed(here):
    result = run("f.toml", typed=all_answers())
    assert result.exit_code == 0, result.stderr
    job = load(here / "f.toml")
    assert [line.name for line in job.readings.lines] == [line.name for line in lines()]
    for line, planned in zip(job.readings.lines, lines(), strict=True):
        assert [s.at for s in line.stations] == pytest.approx(list(planned.at))
        assert {(s.goes, s.stops) for s in line.stations} == {(30e-6, 40e-6)}
        assert line.start == pytest.approx(planned.start)
    assert sorted(path.name for path in here.iterdir()) == ["f.toml"]


@pytest.mark.parametrize("newline", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
def test_the_rest_of_the_file_stays_byte_for_byte(here, newline, mark):
    old = mark + BARE.replace("\n", newline).encode()
    (here / "f.toml").write_bytes(old)
    assert run("f.toml", typed=all_answers()).exit_code == 0
    new = (here / "f.toml").read_bytes()
    head, tail = old.split(b"[plate]")
    # The blank line before [plate] stays with it.
    before = head.rstrip(newline.encode()) + newline.encode()
    assert new.startswith(before)
    assert new.endswith(newline.encode() + b"[plate]" + tail)
    middle = new[len(before) : len(new) - len(b"[plate]" + tail)].decode()
    assert set(tomllib.loads(middle)) == {"readings"}
    assert ("\r\n" in middle) == (newline == "\r\n")


@pytest.mark.parametrize(
    ("typed", "goes", "stops"),
    [
        ("40 50", 40, 50),
        ("40", 40, 50),
        ("none", 0, 30),
        ("none 30", 0, 30),
        ("- 30", 0, 30),
        ("NONE 30", 0, 30),
        ("0 30", 0, 30),
        ("80 open", 80, None),
        ("80", 80, None),
        ("40, 50", 40, 50),
        ("0.04 mm 0.05 mm", 40, 50),
    ],
)
def test_ways_to_write_a_reading(here, typed, goes, stops):
    result = run("f.toml", typed=["level", typed, "end"])
    assert result.exit_code == 0, result.stderr
    (line,) = load(here / "f.toml").readings.lines
    (station,) = line.stations
    assert line.held == "level"
    assert 1e6 * station.goes == pytest.approx(goes)
    assert 1e6 * station.stops == pytest.approx(stops) if stops else station.stops == float("inf")


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("50 40", "a leaf that stops thicker than the leaf that goes"),
        ("none open", "at least one leaf that was tried"),
        ("1 2 3", "two leaves for A1 alone, or one reading for each of the"),
        ("thick 40", 'a leaf\'s thickness, or "none"'),
        ("30 99999999", "1 to 10000 µm"),
    ],
)
def test_wrong_readings_are_refused_in_the_words_of_the_loader(typed, words):
    result = run("f.toml", typed=["", typed, "end"])
    assert words in " ".join(result.stderr.split())
    assert "A1" in result.stderr
    assert result.exit_code == 0


def test_a_leaf_that_is_not_at_hand_is_asked_for_twice(here):
    result = run("f.toml", typed=["", "40 45", "40 50", "40 45", "40 45", "end"])
    assert "45 µm is not among your leaves" in " ".join(result.stderr.split())
    (line,) = load(here / "f.toml").readings.lines
    assert [round(1e6 * s.stops) for s in line.stations] == [50, 45]


def test_the_line_is_shown_with_its_stations_and_openings(here):
    (here / "f.toml").write_text(read_text("two-cylinder-head"), encoding="utf-8")
    result = run("f.toml", "--line", "long, middle", typed=["end"], COLUMNS="60")
    (row,) = {line for line in result.stderr.splitlines() if line.startswith("B |")}
    assert row.count("o") == 4
    # Two bores of 72 mm in a line of 240 mm.
    assert row.count(" ") - 1 == pytest.approx(0.6 * (len(row) - 4), abs=2)


@pytest.mark.parametrize("columns", ["40", "80"])
def test_it_fits_the_terminal(columns):
    result = run("f.toml", typed=all_answers(), COLUMNS=columns)
    assert max(len(line) for line in (result.stdout + result.stderr).splitlines()) <= int(columns)


def test_end_writes_what_there_is_and_the_rest_can_follow(here):
    first = run("f.toml", typed=["", "30 40", "end"])
    assert "Not read yet: long far" in " ".join(first.stdout.split())
    second = run("f.toml", "--line", "B", typed=["", *["40 50"] * 20])
    assert second.exit_code == 0, second.stderr
    job = load(here / "f.toml")
    assert [line.name for line in job.readings.lines] == ["long near", "long far"]
    assert len(job.readings.lines[0].stations) == 1


def test_a_replaced_line_leaves_a_copy_of_the_file(here):
    run("f.toml", typed=all_answers())
    before = (here / "f.toml").read_bytes()
    result = run("f.toml", "--line", "cross left", typed=["", "50 80", "end"])
    assert result.exit_code == 0, result.stderr
    assert (here / "f.toml.bak").read_bytes() == before
    old, new = (
        tomllib.loads(b.decode())["readings"]["line"] for b in (before, (here / "f.toml").read_bytes())
    )
    assert [a == b for a, b in zip(old, new, strict=True)] == [True, True, False, True, True, True]


def test_readings_of_the_file_are_the_defaults_and_enter_changes_nothing(here):
    run("f.toml", typed=all_answers("40 50"))
    before = (here / "f.toml").read_bytes()
    result = run("f.toml", typed=[""] * 100)
    assert result.exit_code == 0, result.stderr
    assert "[40 50]" in result.stderr
    assert "as it was" in result.stdout
    assert (here / "f.toml").read_bytes() == before


@pytest.mark.parametrize("stop_after", [0, 1, 3, 9])
def test_ctrl_c_keeps_what_was_typed_and_the_file_as_it_was(here, monkeypatch, stop_after):
    answers = all_answers()
    given = iter(answers[:stop_after])

    def answer() -> str:
        for typed in given:
            return typed
        raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr(questions, "read_answer", answer)
        assert run("f.toml").exit_code == 130
    assert (here / "f.toml").read_bytes() == BARE.encode()
    draft = here / "f.readings-draft.json"
    assert draft.exists() == (stop_after > 0)
    rest = ["yes", *answers[stop_after:]] if stop_after else answers
    assert run("f.toml", typed=rest).exit_code == 0
    assert len(load(here / "f.toml").readings.lines) == 6
    assert not draft.exists()


def test_a_full_disk_loses_nothing(here, monkeypatch):
    def full(path: Path, content: object) -> None:
        from handlap.sim.common.errors import HandlapError

        if path.name == "f.toml":
            raise HandlapError("cannot write f.toml: the disk is full")
        write_whole(path, content)  # type: ignore[arg-type]

    from handlap.cli.files import write_whole

    with monkeypatch.context() as patched:
        patched.setattr("handlap.cli.files.write_whole", full)
        assert run("f.toml", typed=all_answers()).exit_code == 1
    assert (here / "f.toml").read_bytes() == BARE.encode()
    kept = json.loads((here / "f.readings-draft.json").read_text(encoding="utf-8"))["answers"]
    assert len(kept) == len(all_answers())


def test_leaves_are_asked_for_where_the_file_has_none(here):
    (here / "f.toml").write_text(BARE.replace("leaves = [30, 40, 50, 80]\n", ""), encoding="utf-8")
    result = run("f.toml", typed=["30 60 90", "", "60", "end"])
    assert result.exit_code == 0, result.stderr
    job = load(here / "f.toml")
    assert [round(1e6 * leaf) for leaf in job.readings.leaves] == [30, 60, 90]
    assert 1e6 * job.readings.lines[0].stations[0].stops == pytest.approx(90)


def test_one_number_is_not_enough_without_leaves(here):
    (here / "f.toml").write_text(BARE.replace("leaves = [30, 40, 50, 80]\n", ""), encoding="utf-8")
    result = run("f.toml", typed=["", "", "60", "60 90", "end"])
    assert "one is enough only where the leaves at hand are known" in " ".join(result.stderr.split())


@pytest.mark.parametrize(
    "frame",
    ['origin = "corner"\nlength = 120\nwidth = 60', "polygon = [[10, 20], [130, 20], [130, 80], [10, 80]]"],
)
def test_lines_are_written_in_the_frame_of_the_file(here, frame):
    (here / "f.toml").write_text(BARE.replace("length = 120\nwidth = 60", frame, 1), encoding="utf-8")
    assert run("f.toml", typed=all_answers()).exit_code == 0
    for line, planned in zip(load(here / "f.toml").readings.lines, lines(), strict=True):
        assert (*line.start, *line.end) == pytest.approx((*planned.start, *planned.end), abs=1e-8)


def test_inch_files_are_typed_and_written_in_their_units(here):
    text = 'units = "inch"\n' + BARE.replace("120", "5").replace("60\n", "2.5\n", 1).replace(
        "[30, 40, 50, 80]", "[1.5, 2, 3]"
    )
    text = text.replace("limit = 50", "limit = 2").replace(
        "length = 400\nwidth = 300", "length = 16\nwidth = 12"
    )
    (here / "f.toml").write_text(text, encoding="utf-8")
    result = run("f.toml", typed=["", "1.5 2", "end"])
    assert result.exit_code == 0, result.stderr
    written = tomllib.loads((here / "f.toml").read_text(encoding="utf-8"))["readings"]["line"][0]
    assert written["stations"][0][1:] == [1.5, 2]
    assert 16 * written["stations"][0][0] == pytest.approx(round(16 * written["stations"][0][0]))


def test_what_cannot_be_written_is_refused_before_any_question(here):
    heights = BARE.replace("leaves = [30, 40, 50, 80]", 'heights = "h.csv"')
    (here / "h.csv").write_text(
        "u,v,height\n" + "\n".join(f"{u},{v},0" for u in (-60, -20, 20, 60) for v in (-30, 0, 30))
    )
    (here / "h.toml").write_text(heights, encoding="utf-8")
    inline = BARE.replace("[readings]\n# my leaves\nleaves = [30, 40, 50, 80]\n", "")
    inline = (
        'readings = {leaves = [30], line = [{name = "x", from = [-60, 0], to = [60, 0], '
        f"stations = [[5, 30]]}}]}}\n{inline}"
    )
    (here / "i.toml").write_text(inline, encoding="utf-8")
    for args, words in (
        (("two-cylinder-head",), "built-in"),
        (("nothing.toml",), "no such file"),
        (("f.toml", "--line", "Z"), 'no line "Z"'),
        (("h.toml",), "readings.heights"),
        (("i.toml",), "[[readings.line]]"),
    ):
        result = run(*args, typed=[""] * 90)
        assert result.exit_code == 2, args
        assert words in result.stderr
        assert ">" not in result.stderr


def test_a_line_read_by_how_far_leaves_slide_in_is_left_alone(here):
    line = (
        '\n[[readings.line]]\nname = "own"\nfrom = [-60, 0]\nto = [60, 0]\nslides_in = [[30, "start", 12]]\n'
    )
    (here / "f.toml").write_text(BARE + line, encoding="utf-8")
    result = run("f.toml", typed=[])
    assert result.exit_code == 2
    assert "slides_in" in result.stderr
    assert (here / "f.toml").read_text(encoding="utf-8") == BARE + line


def test_json_is_one_object(here):
    found = json.loads(run("f.toml", "--json", typed=["", "none 30", "80 open", "end"]).stdout)
    assert found["schema"] == "handlap.readings/1"
    assert [(s["goes_um"], s["stops_um"]) for s in found["lines"][0]["stations"]] == [(None, 30), (80, None)]
    assert len(found["not_read"]) == 5


def test_end_keeps_stations_already_stored_and_lines_go_by_small_letters(here):
    run("f.toml", typed=all_answers("40 50"))
    before = load(here / "f.toml").readings.lines[1]
    assert run("f.toml", "--line", "b", typed=["rocks", "50 80", "end"]).exit_code == 0
    line = load(here / "f.toml").readings.lines[1]
    assert line.held == "level"
    assert (line.stations[0].goes, line.stations[1:]) == (pytest.approx(50e-6), before.stations[1:])


def test_it_says_at_once_that_the_thinnest_leaf_cannot_show_the_limit(here):
    (here / "f.toml").write_text(BARE.replace("leaves = [30, 40, 50, 80]", "leaves = [50, 80]"))
    said = " ".join(run("f.toml", typed=["end"]).stderr.split())
    assert "The thinnest leaf, 50 µm (2 thou), cannot show that the limit of 50 µm (2 thou) is met" in said
    assert "down to 35 µm (1.4 thou) or less" in said
