"""Exercises whose readings the learner takes: made, felt, handed back, answered, marked.

What the page says is held to ``read_line``, the rule of every reading, and to gaps of the closed form.
"""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner, Result

from handlap.cli.asking.exercise_folder import FEEL, FORM, SCENARIO, SEAL
from handlap.cli.asking.exercise_marking import _changed_since
from handlap.cli.main import main
from handlap.cli.reports.feel_page import feel_data, packed_of, render_feel
from handlap.sim.bench.bench_page_text import sum_of
from handlap.sim.face.straightedge import gaps, sample_line
from handlap.sim.job.job_readings import Held
from handlap.sim.job.scenario_file import load
from handlap.sim.teaching import exercise_marks
from handlap.sim.teaching.exercise import Exercise, exercise_of, make_exercise
from handlap.sim.teaching.exercise_answers import read_form
from handlap.sim.teaching.exercise_feel import HOLDS, station_gaps
from handlap.sim.teaching.exercise_levels import LEVELS
from handlap.sim.teaching.exercise_readings import HEAD, still_to_read, with_readings
from handlap.sim.teaching.exercise_seal import hidden, open_seal

LEVEL, NUMBER = 3, 0
ANSWERS = {
    "shape": "hollow", "flatness": "90", "flatness_from": "70", "flatness_to": "120", "least_cut": "40",
    "read_again": "none", "do": "lap", "papers": "P120", "strokes": "600", "turning": "half and walk",
    "turn_every": "40",
}  # fmt: skip


@pytest.fixture(scope="module")
def felt() -> Exercise:
    return make_exercise(LEVEL, NUMBER, feel=True)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    where = tmp_path_factory.mktemp("felt") / "ex"
    found = exercise("--out", str(where), "--level", str(LEVEL), "--seed", str(NUMBER), "--feel")
    assert found.exit_code == 0, found.output
    return where


@pytest.fixture
def folder(made: Path, tmp_path: Path) -> Path:
    """A copy of the exercise, made by the command once."""
    return Path(shutil.copytree(made, tmp_path / "ex"))


def exercise(*args: str, typed: str | None = None) -> Result:
    return CliRunner().invoke(main, ["exercise", *args], input=typed)


def own_hold(felt: Exercise) -> list[Held]:
    """Each line held as it should be."""
    return ["level" if line.rocks else "rest" for line in felt.felt]


def text_of(felt: Exercise, **change: list[Any]) -> str:
    """What the page hands over when every station was felt; ``change``: readings put otherwise."""
    rows: list[dict[str, Any]] = [{HEAD: 1, "exercise": felt.name}]
    leaves = sorted(felt.scenario.readings.leaves)
    for sheet, line, held in zip(felt.task.lines, felt.felt, own_hold(felt), strict=True):
        read = {}
        for i, at in enumerate(sheet.at):
            s = line.station(at, i, held, leaves)
            pair = [round(1e6 * s.goes) or "none", "open" if np.isinf(s.stops) else round(1e6 * s.stops)]
            read[sheet.label(i)] = change.get(sheet.label(i), pair)
        rows.append({"line": sheet.letter, "held": held, "read": read})
    return summed(rows)


def summed(rows: list[Any]) -> str:
    lines = [json.dumps(row, separators=(",", ":")) for row in rows]
    return "\n".join([*lines, json.dumps({"end": len(lines) - 1, "sum": sum_of(lines)})]) + "\n"


def rows_of(text: str) -> list[Any]:
    return [json.loads(line) for line in text.splitlines()][:-1]


def test_the_face_is_that_of_the_exercise_with_readings_and_all_six_lines_are_there(felt):
    given = make_exercise(LEVEL, NUMBER)
    assert felt.face == given.face
    assert not felt.scenario.readings.lines
    assert len(felt.task.lines) == 6 == len(felt.felt)
    assert felt.scenario.part.outline.rim.tolist() == given.scenario.part.outline.rim.tolist()


@pytest.mark.parametrize("level", LEVELS)
def test_leaves_say_what_the_gaps_of_the_closed_form_say_within_the_feel(level):
    """Straight from the definition: the gap under the edge, and leaves counted up to it."""
    felt = make_exercise(level, 4, feel=True)
    leaves = np.sort(felt.scenario.readings.leaves)
    room = 4.5 * LEVELS[level].feel
    for sheet, line in zip(felt.task.lines, felt.felt, strict=True):
        for held, counts in zip(HOLDS, line.goes, strict=True):
            position, points = sample_line(felt.scenario.part.outline, sheet.start, sheet.end, sheet.at)
            under = gaps(position, felt.face.heights_at(points), held, 0.5 * sheet.length)
            true = station_gaps(felt.scenario.part.outline, felt.face, sheet, held)
            assert true == pytest.approx([np.interp(at, position, under) for at in sheet.at], abs=1e-9)
            for gap, count in zip(true, counts, strict=True):
                assert np.searchsorted(leaves, gap - room) <= count <= np.searchsorted(leaves, gap + room)


def test_the_readings_of_one_hand_are_those_of_an_exercise_with_readings_but_for_the_feel(felt):
    """The same rule reads both: where leaves lie apart by more than the feel, they say the same."""
    given = make_exercise(LEVEL, NUMBER)
    by_name = {line.name: line for line in felt.felt}
    leaves = sorted(felt.scenario.readings.leaves)
    same = total = 0
    for read in given.scenario.readings.lines:
        sheet = next(line for line in felt.task.lines if line.name == read.name)
        for i, s in enumerate(read.stations):
            mine = by_name[read.name].station(sheet.at[i], i, read.held, leaves)
            total += 1
            same += mine.goes == s.goes
            assert abs(leaves.index(mine.stops) - leaves.index(s.stops)) <= 1
    assert same > 0.6 * total


def test_seal_and_exercise_come_back(felt, folder):
    _, content = open_seal((folder / SEAL).read_bytes(), SEAL)
    back = exercise_of(content)
    assert (back.face, back.felt, back.text, back.name) == (felt.face, felt.felt, felt.text, felt.name)
    assert "felt" not in make_exercise(1, 1).as_mapping()


def test_the_page_holds_what_leaves_say_hidden_and_nothing_else_of_the_face(felt):
    page, data = render_feel(felt), feel_data(felt)
    for word in ("heights", "along", "twist", "ripple", "flatness_um", "bow"):
        assert word not in json.dumps(data)
    packed = packed_of(felt)
    assert len(packed) == sum(1 + 4 * len(line.at) for line in felt.task.lines)
    import base64

    key, body = (base64.b64decode(data[name]) for name in ("key", "felt"))
    assert hidden(body, key) == packed
    assert packed not in page.encode()
    # As far from the plain counts as chance: nothing of their few values shows.
    assert len(set(body)) > 2 * len(set(packed))
    assert render_feel(felt) == page


def test_nothing_can_be_answered_or_marked_before_all_is_felt(felt, folder):
    for order in ((), ("--mark",)):
        found = exercise(str(folder), *order)
        assert found.exit_code == 2
        told = found.output + found.stderr
        assert "still to be felt" in told and "A1" in told and "--readings FILE" in told
        assert "Traceback" not in told


def test_part_of_it_is_taken_over_and_what_is_left_is_said(felt, folder, tmp_path):
    rows = rows_of(text_of(felt, A2=["none", 60]))
    file = tmp_path / "felt.txt"
    file.write_text(summed(rows[:3]), encoding="utf-8")
    found = exercise(str(folder), "--readings", str(file))
    assert found.exit_code == 0, found.output
    assert "not read yet: C1" in " ".join(found.output.split())
    assert "A2: try 30 µm and 40 µm and 50 µm too" in " ".join(found.output.split())
    assert len(load(folder / SCENARIO).readings.lines) == 2
    # More of it, from a pipe; what was replaced is kept.
    found = exercise(str(folder), "--readings", "-", "--json", typed=text_of(felt))
    told = json.loads(found.stdout)
    assert told["still_to_read"] == [] and told["backup"]
    assert Path(told["backup"]).is_file()


def test_made_felt_handed_back_answered_and_marked(felt, folder, tmp_path, monkeypatch, unrendered):
    whole = exercise_marks.mark
    monkeypatch.setattr(exercise_marks, "mark", lambda e, a, **how: whole(e, a, members=8, **how))
    file = tmp_path / "felt.txt"
    rows = [*rows_of(text_of(felt)), {"answers": {"by": "Kim", **ANSWERS}}]
    file.write_text("\ufeff" + summed(rows).replace("\n", "\r\n"), encoding="utf-8")
    found = exercise(str(folder), "--readings", str(file))
    assert found.exit_code == 0, found.output + found.stderr
    assert "All stations are read" in " ".join(found.output.split())
    form = read_form((folder / FORM).read_bytes(), FORM)
    assert {name: form[name] for name in ANSWERS} == ANSWERS and form["by"] == "Kim"
    marked = exercise(str(folder), "--mark", "--json")
    assert marked.exit_code == 0, marked.output + marked.stderr
    told = json.loads(marked.stdout)
    count = len(felt.task.labels())
    assert f"Of your {count} readings {count} are what the leaves say." in told["notes"]
    assert told["truth"]["wrong_readings"] == []
    assert told["name"] == felt.name
    assert not any("changed" in note for note in told["notes"])


def test_a_scenario_changed_but_for_its_readings_is_said(felt, folder):
    scenario = folder / SCENARIO
    assert _changed_since(folder, felt) == []
    text = scenario.read_text("utf-8")
    limit = f"limit = {1e6 * felt.scenario.part.limit:.0f}"
    assert limit in text
    scenario.write_text(text.replace(limit, "limit = 999"), encoding="utf-8")
    assert "has been changed" in _changed_since(folder, felt)[0]


def test_made_up_readings_earn_nothing_and_are_named(felt):
    """Who writes down a flat face is marked by what leaves say, not by what was written."""
    leaves = sorted(felt.scenario.readings.leaves)
    right = with_readings(felt, _lines(felt, {}))
    assert right.slips == () and right.written is None
    flat = {label: (0.0, leaves[0]) for label in felt.task.labels().values()}
    made_up = with_readings(felt, _lines(felt, flat))
    assert made_up.scenario.readings.lines == right.scenario.readings.lines
    assert made_up.slips and made_up.written is not None
    at = {slip.label: slip for slip in made_up.slips}
    for sheet, line, held in zip(felt.task.lines, felt.felt, own_hold(felt), strict=True):
        counts = line.goes[HOLDS.index(held)]
        assert {sheet.label(i) for i, n in enumerate(counts) if n} == {x for x in at if x[0] == sheet.letter}


def _lines(felt: Exercise, change: dict[str, tuple[float, float]]):
    from handlap.sim.job.scenario import Station, StraightedgeLine

    leaves = sorted(felt.scenario.readings.leaves)
    found = []
    for sheet, line, held in zip(felt.task.lines, felt.felt, own_hold(felt), strict=True):
        stations = []
        for i, at in enumerate(sheet.at):
            pair = change.get(sheet.label(i))
            stations.append(Station(at, *pair) if pair else line.station(at, i, held, leaves))
        found.append(StraightedgeLine(sheet.name, sheet.start, sheet.end, held, tuple(stations)))
    return found


BAD = {
    "a reading changed": lambda text, rows: text.replace('"A1":', '"A9":', 1),
    "cut short": lambda text, rows: text[: len(text) // 2],
    "of another exercise": lambda text, rows: summed(
        [{**rows[0], "exercise": "level 1, number 1"}, *rows[1:]]
    ),
    "of another version": lambda text, rows: summed([{**rows[0], HEAD: 9}, *rows[1:]]),
    "a leaf there is not": lambda text, rows: summed([rows[0], {**rows[1], "read": {"A1": [31, 40]}}]),
    "nothing tried": lambda text, rows: summed([rows[0], {**rows[1], "read": {"A1": ["none", "open"]}}]),
    "upside down": lambda text, rows: summed([rows[0], {**rows[1], "read": {"A1": [60, 40]}}]),
    "a station there is not": lambda text, rows: summed(
        [rows[0], {**rows[1], "read": {"A77": ["none", 40]}}]
    ),
    "held otherwise": lambda text, rows: summed([rows[0], {**rows[1], "held": "by the cat"}]),
    "a line twice": lambda text, rows: summed([rows[0], rows[1], rows[1]]),
    "no reading": lambda text, rows: summed(rows[:1]),
    "a wrong answer": lambda text, rows: summed([*rows, {"answers": {"shape": "banana", "flatness": "-3"}}]),
    "not of this page": lambda text, rows: "hello\n",
    "nothing": lambda text, rows: "",
    "lists": lambda text, rows: summed([rows[0], {"line": ["A"], "held": ["rest"], "read": []}]),
}


@pytest.mark.parametrize("what", BAD)
def test_a_text_that_is_not_as_the_page_wrote_it_is_one_message_and_nothing_is_written(
    felt, folder, tmp_path, what
):
    text = text_of(felt)
    file = tmp_path / "felt.txt"
    file.write_text(BAD[what](text, rows_of(text)), encoding="utf-8")
    before = {path: path.read_bytes() for path in folder.iterdir()}
    found = exercise(str(folder), "--readings", str(file))
    assert found.exit_code == 2, what
    assert "felt.txt" in found.stderr and "Traceback" not in found.stderr
    if what == "a wrong answer":
        assert "shape" in found.stderr and "flatness" in found.stderr
    assert {path: path.read_bytes() for path in folder.iterdir()} == before


def test_an_exercise_with_readings_takes_none_and_orders_do_not_mix(tmp_path):
    where = tmp_path / "given"
    assert exercise("--out", str(where)).exit_code == 0
    assert not (where / FEEL).exists()
    file = tmp_path / "felt.txt"
    file.write_text("x", encoding="utf-8")
    refused = exercise(str(where), "--readings", str(file))
    assert refused.exit_code == 2 and "--feel" in refused.stderr
    assert exercise(str(where), "--readings", str(file), "--mark").exit_code == 2
    assert exercise(str(where), "--feel").exit_code == 2
    assert exercise("--readings", str(file)).exit_code == 2
    assert exercise(str(tmp_path / "absent"), "--readings", str(file)).exit_code == 2


def test_readings_typed_in_by_hand_serve_as_well(felt, folder):
    """``handlap readings`` on the scenario of the folder asks for the same lines and stations."""
    leaves = sorted(felt.scenario.readings.leaves)
    typed: list[str] = []
    for sheet, line, held in zip(felt.task.lines, felt.felt, own_hold(felt), strict=True):
        typed.append(held)
        for i, at in enumerate(sheet.at):
            s = line.station(at, i, held, leaves)
            goes = f"{1e6 * s.goes:.0f}" if s.goes else "none"
            typed.append(f"{goes} {'open' if np.isinf(s.stops) else f'{1e6 * s.stops:.0f}'}")
    found = CliRunner().invoke(main, ["readings", str(folder / SCENARIO)], input="\n".join(typed) + "\n")
    assert found.exit_code == 0, found.output + found.stderr
    from handlap.cli.asking.exercise_folder import task_in

    task = task_in(folder)
    assert still_to_read(task) == []
    assert with_readings(felt, task.scenario.readings.lines).slips == ()
