"""A stint at the bench: the lap it is made of, what is read, what it costs, and the command.

Independent checks: the blocks of a stint against one lap laid out in one go and against the course that
plans work; metal off the face against metal on the paper; the readings of the untouched face against those
of the exercise, which were read off its closed form.
"""

from __future__ import annotations

import csv
import json
import math
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from handlap.cli.asking.exercise_folder import FORM, SEAL, STINT
from handlap.cli.main import main
from handlap.sim.common.errors import InputError
from handlap.sim.job.ways import Way, apply_way
from handlap.sim.lapping import column_kernels
from handlap.sim.lapping.conditions import Stage
from handlap.sim.lapping.lap import LapState, run_stage, stage_layout
from handlap.sim.materials.grits import Grit
from handlap.sim.planning.course import run_course
from handlap.sim.planning.crew import vary
from handlap.sim.teaching import stint_debrief
from handlap.sim.teaching.exercise import make_exercise
from handlap.sim.teaching.exercise_answers import form_text
from handlap.sim.teaching.exercise_truth import look_up
from handlap.sim.teaching.stint import STATES, OrderTold, StintRig, StintState, carry_out, open_stint
from handlap.sim.teaching.stint_debrief import PlainPlan, best_plain, debrief
from handlap.sim.teaching.stint_orders import ORDERS, read_order

UM = 1e-6
LAPPED = (3, 0)
"""An exercise whose face is best lapped."""
BLOCKS = (
    "sheet P120", "lap 100", "brush", "turn half", "lap 100", "brush", *3 * ("turn quarter",), "lap 100",
)  # fmt: skip


@pytest.fixture(scope="module")
def rig() -> StintRig:
    return open_stint(make_exercise(*LAPPED))


def worked(rig: StintRig, *orders: str) -> tuple[list[StintState], list[OrderTold]]:
    states, told = [rig.begin()], []
    for text in orders:
        state, found = carry_out(rig, states[-1], read_order(text, rig.exercise.task))
        states.append(state)
        told.append(found)
    return states, told


def lap_of(state: StintState) -> LapState:
    assert state.state is not None, "nothing was lapped"
    return state.state


def paper_of(state: StintState) -> Grit:
    assert state.grit is not None, "no paper lies there"
    return state.grit


def test_blocks_are_the_lap_laid_out_in_one_go_to_the_last_digit(rig):
    """Turned by half, then by three quarters, is the first three of the states in their order."""
    end = worked(rig, *BLOCKS)[0][-1]
    crew, grit = rig.crew, paper_of(end)
    stage = Stage(grit, 300, turn_every=100, brush_every=100, sheet_every=0, snapshots=(100, 200, 300))
    layout = stage_layout(
        crew.rig, stage, quad_strokes=rig.quad(grit), seed=crew.seed, states=STATES
    )  # fmt: skip
    whole = run_stage(crew.rig, rig.before, crew.members.conditions[0], stage, layout)
    assert np.array_equal(whole.heights[-1], end.heights)
    assert whole.removed_volume == pytest.approx(lap_of(end).removed, rel=1e-12)


def test_a_stint_without_turns_is_the_course_of_a_plan(rig):
    """The course knows one way of lying only, so that its raster of the paper lies a little otherwise."""
    end = worked(rig, "sheet P120", "lap 100", "brush", "lap 100", "brush", "lap 100")[0][-1]
    crew = vary(rig.crew, apply_way(rig.crew.scenario, Way("", turning="none", every=0)))
    stage = Stage(paper_of(end), 300, 0, 100, 0, (100, 200, 300))
    course = run_course(
        crew.rig, crew.gauged, crew.members, crew.members.before, stage,
        quad_strokes=rig.quad(paper_of(end)), seed=crew.seed,
    )  # fmt: skip
    assert np.abs(course.left[0] - end.heights).max() < 0.1 * UM
    figures = rig.figures(end.heights)
    for name in ("flatness", "straightedge", "mean_depth"):
        assert getattr(figures, name)[0] == pytest.approx(getattr(course.end, name)[0], abs=0.05 * UM)


def test_what_comes_off_the_face_lies_on_the_paper(rig):
    states = worked(rig, *BLOCKS, "sheet P120", "lap 50", "turn walk", "lap 50")[0]
    end = states[-1]
    deposited = lap_of(end).counted[column_kernels.D_DEPOSITED]
    assert lap_of(end).removed == pytest.approx(deposited, rel=1e-9)
    part = rig.exercise.scenario.part
    off = rig.crew.rig.grid.area @ (rig.before - end.heights)
    assert off == pytest.approx(lap_of(end).removed, rel=1e-9)
    assert rig.mass_off(end.heights) == pytest.approx(part.metal.density * off, rel=0.01)
    # Another kind of paper begins an account of its own.
    other = worked(rig, "sheet P120", "lap 50", "sheet P240", "lap 50")[0][-1]
    assert lap_of(other).removed < rig.crew.rig.grid.area @ (rig.before - other.heights)


def test_every_order_costs_what_it_takes_and_nothing_else(rig):
    states = worked(rig, "sheet P80", "lap 40", "brush", "turn walk", "check A", "check", "weigh")[0]
    spent = np.diff([state.costs.minutes for state in states])
    lines = len(rig.exercise.task.lines)
    assert spent == pytest.approx([3.0, 40 / rig.pace, 0.25, 0.05, 1.0, lines, 1.0])
    end = states[-1].costs
    assert (end.sheets, end.strokes, end.turns, end.brushings) == (1, 40, 1, 1)
    # Looking leaves the face alone.
    assert np.array_equal(states[2].heights, states[-1].heights)


def test_readings_of_the_untouched_face_are_those_of_the_exercise_within_a_leaf(rig):
    (told,) = worked(rig, "check")[1]
    there = {line.name: line for line in rig.exercise.scenario.readings.lines}
    same = apart = 0
    for line in told.readings:
        for now, then in zip(line.stations, there[line.name].stations, strict=True):
            assert now.at == pytest.approx(then.at, abs=1e-4)
            if line.held == there[line.name].held:
                same += math.isclose(now.goes, then.goes, abs_tol=1e-9)
                apart += now.goes > then.stops + 1e-9 or then.goes > now.stops + 1e-9
    # Leaves 10 µm apart, each time felt to 4: half of them say the same, and hardly any a whole leaf more.
    total = sum(len(line.stations) for line in told.readings)
    assert same > 0.4 * total and apart <= 0.05 * total
    points = np.array([[0.0, 0.03], [0.11, -0.05]])
    assert rig.heights_at(rig.before, points) == pytest.approx(
        rig.exercise.face.heights_at(points), abs=1e-12
    )


def test_swarf_is_weighed_to_a_tenth_of_a_gram(rig):
    states, told = worked(rig, "sheet P80", "lap 400", "weigh", "weigh")
    true = rig.mass_off(states[2].heights)
    for found in told[-2:]:
        assert found.swarf is not None
        assert found.swarf == pytest.approx(true, abs=0.5e-3)
        assert math.isclose(found.swarf * 1e4, round(found.swarf * 1e4), abs_tol=1e-6)


def test_fresh_paper_cuts_more_than_paper_in_use(rig):
    def off(*orders: str) -> float:
        states = worked(rig, *orders)[0]
        return rig.mass_off(states[-1].heights) - rig.mass_off(states[-2].heights)

    used = ("sheet P120", "lap 300")
    assert off(*used, "sheet P120", "lap 50") > 1.2 * off(*used, "lap 50")
    assert off(*used, "brush", "lap 50") > 1.02 * off(*used, "lap 50")


@pytest.mark.parametrize(
    ("text", "allowed"),
    [
        ("", "sheet P120, lap 100"),
        ("polish", "sheet P120, lap 100"),
        ("lap", "whole number of strokes from 1 to 1000"),
        ("lap 0", "from 1 to 1000"),
        ("lap 1e3", "from 1 to 1000"),
        ("lap ٣", "from 1 to 1000"),
        ("lap 9999999999", "from 1 to 1000"),
        ("sheet", "P80, P120, P240"),
        ("sheet P1000", "P80, P120, P240"),
        ("turn", "half, quarter, walk"),
        ("turn round", "half, quarter, walk"),
        ("check Z", "letters of lines: A"),
        ("brush twice", "sheet P120, lap 100"),
    ],
)
def test_wrong_orders_are_refused_in_words(rig, text, allowed):
    with pytest.raises(ValueError, match=allowed):
        read_order(text, rig.exercise.task)


def test_orders_are_read_in_any_case_and_written_one_way(rig):
    typed = {"SHEET p120": "sheet P120", " check d a A ": "check D A", "Turn WALK": "turn walk"}
    for text, words in typed.items():
        assert read_order(text, rig.exercise.task).words() == words
    assert {order.split()[0] for order, _ in ORDERS} == {
        "sheet", "lap", "brush", "turn", "check", "weigh", "state", "later", "end",
    }  # fmt: skip


def test_no_stroke_without_paper_and_none_beyond_the_last(rig):
    with pytest.raises(InputError, match="lay a sheet first"):
        worked(rig, "lap 10")
    from dataclasses import replace

    state = worked(rig, "sheet P80")[0][-1]
    late = replace(state, costs=replace(state.costs, strokes=11_950))
    with pytest.raises(InputError, match="50 are left"):
        carry_out(rig, late, read_order("lap 51", rig.exercise.task))


def test_the_debrief_tells_the_true_face_and_a_plain_plan_by_the_same_hands(rig):
    states = worked(rig, "sheet P120", "lap 200", "turn half", "lap 200")[0]
    found = debrief(rig, states)
    part = rig.exercise.scenario.part
    end = rig.figures(states[-1].heights)
    assert found.measured == end.flatness[0] and part.limit_by == "zone"
    assert found.inside == (found.measured <= part.limit)
    assert found.deepest == pytest.approx(float((rig.before - states[-1].heights).max()), rel=0.02)
    assert found.best[0] <= found.measured and not found.past_best
    plain = found.plain
    assert plain is not None and plain.inside and plain.kept and plain.minutes > 3.0 * plain.sheets
    assert best_plain(rig) == plain
    nothing = debrief(rig, [rig.begin()])
    assert nothing.measured == nothing.before and nothing.mass == 0.0 and not nothing.inside


# ---- the command


def run(*args: str, typed: str | None = None) -> tuple[int, str, str]:
    result = CliRunner().invoke(main, ["exercise", *args], input=typed)
    return result.exit_code, result.stdout, result.stderr


@pytest.fixture(scope="module")
def made(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("stint") / "ex"
    assert run("--out", str(folder), "--level", "3", "--seed", "0")[0] == 0
    return folder


@pytest.fixture
def folder(made, tmp_path) -> Path:
    for path in made.iterdir():
        (tmp_path / path.name).write_bytes(path.read_bytes())
    return tmp_path


@pytest.fixture
def plain_once(monkeypatch, unrendered):
    """The plain plan of the one exercise, made once for every end of a stint."""
    plans: list[PlainPlan | None] = []

    def once(rig, **how):
        if not plans:
            plans.append(best_plain(rig, **how))
        return plans[0]

    monkeypatch.setattr(stint_debrief, "best_plain", once)


def test_a_stint_goes_on_over_calls_and_shows_the_face_at_its_end(folder, plain_once):
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    code, out, err = run(str(folder), "--stint", typed="?\nstate\nsheet P120\nlap 100\ncheck A\n")
    assert code == 0, err
    assert "3 orders are kept" in err and "0 strokes" in out and "A1 " in out
    assert "Inside the limit" not in out and "deepest" not in out.lower()
    assert {p.name: p.read_bytes() for p in folder.iterdir() if p.name != STINT} == before
    code, out, err = run(str(folder), "--stint", "--json", typed="turn half\nlap 100\nlater\nlap 5\n")
    told = json.loads(out)
    assert code == 0 and not told["ended"] and told["strokes"] == 200
    assert [row["order"] for row in told["told"]] == ["turn half", "lap 100"]
    # In one sitting it is the same stint, to the last digit.
    there = run(str(folder), "--stint", "--json", typed="end\n")
    assert there[0] == 0, there[2]
    ended = json.loads(there[1])
    assert ended["ended"] and ended["debrief"]["mass_g"] > 0.0
    assert (folder / "stint.html").is_file() and (folder / "stint-faces.png").is_file()
    (folder / STINT).unlink()
    whole = run(
        str(folder), "--stint", "--json",
        typed="sheet P120\nlap 100\ncheck A\nturn half\nlap 100\nend\n",
    )  # fmt: skip
    assert json.loads(whole[1])["debrief"] == ended["debrief"]
    # Once ended it is shown again, and takes no more orders.
    again = run(str(folder), "--stint", typed="lap 100\n")
    assert again[0] == 0 and "What it came to" in again[1]
    assert json.loads(run(str(folder), "--stint", "--json", typed="")[1])["strokes"] == 200


def test_a_wrong_order_in_a_pipe_ends_it_and_keeps_what_was_done(folder):
    code, out, err = run(str(folder), "--stint", typed="sheet P120\nlap 50\nlap fifty\nlap 100\nend\n")
    assert code == 2 and "What it came to" not in out
    assert 'order "lap fifty": allowed: lap with a whole number' in err and "the 2 orders before it" in err
    told = json.loads(run(str(folder), "--stint", "--json", typed="")[1])
    assert told["orders"] == ["sheet P120", "lap 50"] and told["strokes"] == 50
    code, _, err = run(str(folder), "--stint", typed="lap 1001\n")
    assert code == 2 and "1 to 1000" in err


def test_at_a_terminal_a_wrong_order_is_asked_for_again(folder, monkeypatch):
    from handlap.cli import screen

    monkeypatch.setattr(screen, "is_terminal", lambda stream: True)
    code, out, err = run(str(folder), "--stint", typed="lap 10\nfile\nsheet P80\nlap 10\nlater\n")
    assert code == 0 and "lay a sheet first" in err and "allowed: sheet P120" in err
    assert "10 strokes" in out


def test_a_stint_of_another_exercise_or_a_changed_one_is_said(folder, tmp_path_factory):
    assert run(str(folder), "--stint", typed="sheet P80\n")[0] == 0
    held = (folder / STINT).read_bytes()
    (folder / STINT).write_bytes(held[:-9] + b"012345678")
    code, _, err = run(str(folder), "--stint", typed="end\n")
    assert code == 2 and "changed or damaged" in err
    (folder / STINT).write_bytes((folder / SEAL).read_bytes())
    code, _, err = run(str(folder), "--stint", typed="end\n")
    assert code == 2 and "no stint of this exercise" in err
    for args in (("--stint",), (str(folder), "--stint", "--mark"), (str(folder), "--stint", "--level", "2")):
        assert run(*args)[0] == 2


def test_marks_say_that_the_face_had_been_shown(folder, monkeypatch, plain_once):
    from handlap.cli.asking.exercise_marking import work_out
    from handlap.sim.teaching import exercise_marks

    exercise = make_exercise(*LAPPED)
    answers = {
        "shape": "hollow", "flatness": 90, "flatness_from": 70, "flatness_to": 110, "least_cut": 40,
        "read_again": "none", "do": "lap", "papers": "P120", "strokes": 400, "turning": "half",
        "turn_every": 50,
    }  # fmt: skip
    (folder / FORM).write_text(form_text(exercise.task, answers), encoding="utf-8")
    whole, found = exercise_marks.mark, look_up(exercise, members=8)
    monkeypatch.setattr(exercise_marks, "mark", lambda e, a, **how: whole(e, a, found=found, **how))
    assert not any("stint" in note for note in work_out(folder)[3])
    assert run(str(folder), "--stint", typed="end\n")[0] == 0
    assert any("the face shown" in note for note in work_out(folder)[3])


def test_the_stints_of_a_class_are_gathered_beside_their_plain_plans(made, tmp_path):
    """Three folders: one ended, one that goes on, one not begun, and one that cannot be read."""
    folder = tmp_path / "class"
    for name in ("one", "three", "two"):
        (folder / name).mkdir(parents=True)
        for path in made.iterdir():
            (folder / name / path.name).write_bytes(path.read_bytes())
    (folder / "class-list.csv").write_text("folder,name\none,Kim\n", encoding="utf-8")
    alone = json.loads(
        run(str(folder / "one"), "--stint", "--json", typed="sheet P80\nlap 200\nweigh\nlap 100\nend\n")[1]
    )
    assert run(str(folder / "two"), "--stint", typed="sheet P80\nlap 10\n")[0] == 0
    held = (folder / "two" / STINT).read_bytes()
    code, out, err = run(str(folder), "--stint", "--json")
    assert code == 0, err
    rows = {row["folder"]: row for row in json.loads(out)["stints"]}
    one = rows["one"]
    # What is gathered is what the one who lapped it was told.
    assert one["debrief"] == alone["debrief"] and one["by"] == "Kim"
    assert (one["minutes"], one["sheets"], one["blocks"], one["looks"]) == (alone["minutes"], 1, 2, 1)
    assert rows["two"]["outcome"] == "goes on" and rows["two"]["debrief"] is None
    assert rows["three"]["outcome"] == "not begun"
    assert (folder / "two" / STINT).read_bytes() == held
    table = list(csv.DictReader((folder / "class-stints.csv").read_text("utf-8").splitlines()))
    assert [row["folder"] for row in table] == ["one", "three", "two"]
    first = table[0]
    assert float(first["reading_um"]) == alone["debrief"]["measured_um"]
    assert float(first["plain_minutes"]) == alone["debrief"]["plain_plan"]["minutes"]
    assert table[2]["reading_um"] == "" and table[2]["minutes"] != ""
    page = (folder / "class-stints.html").read_text("utf-8")
    assert "Kim" in page and "goes on" in page and page.rstrip().endswith("</html>")
    # A damaged one is a remark, and the others are told all the same.
    (folder / "two" / STINT).write_bytes(held[:-9] + b"012345678")
    code, out, err = run(str(folder), "--stint")
    assert code == 0 and "changed or damaged" in " ".join(out.split()) and "Kim" in out
