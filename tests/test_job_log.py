"""The log of a job: nothing acknowledged is lost, nothing wrong gets in."""

from __future__ import annotations

import errno
import json
import os
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from handlap.cli.main import main
from handlap.sim.bench.job_log import Entry, EntryFaults, part_mark
from handlap.sim.bench.log_disk import damaged_path
from handlap.sim.bench.log_file import append, read_log
from handlap.sim.bench.log_lines import from_json, to_json
from handlap.sim.bench.log_place import log_path
from handlap.sim.common.errors import HandlapError, ScenarioError
from handlap.sim.job.scenario import Scenario, Station, StraightedgeLine
from handlap.sim.job.scenario_file import load, read_text

NOW, LATER = "2026-01-05T10:00:00+00:00", "2026-01-05T10:04:00+00:00"
LINE = StraightedgeLine(
    "long", (-0.12, 0.0), (0.12, 0.0), "level", (Station(0.05, 0.0, 30e-6), Station(0.1, 50e-6))
)


@pytest.fixture
def job(tmp_path: Path) -> Scenario:
    path = tmp_path / "head.toml"
    path.write_text(read_text("two-cylinder-head"), encoding="utf-8")
    return load(path)


def block(strokes: int = 80, when: str = NOW, **more) -> Entry:
    return Entry(1, 0, when, strokes=strokes, paper="P80", **more)


def run(job: Scenario, *args: str, **env: str):
    return CliRunner().invoke(main, ["log", job.source, *args], env=env or None)


def test_entries_come_back_as_they_went_in(job):
    grid = ((0.0, 0.5, 1.0, 0.25, 0.0), (0.1,) * 5, (0.2,) * 5)
    full = block(
        swarf=0.42e-3, part_mass=3.4, scale=1e-5, readings=(LINE,), dye_left=0.3, dye_faded=0.9,
        dye_grid=grid, dyed=True, new_sheet=True, brushed=True, brush_every=40, turn_every=0, minutes=2.0,
        note="first",
    )  # fmt: skip
    written, _ = append(job, full)
    found = read_log(job).entries[0]
    assert found == written
    assert found.at == 80
    assert found.readings == (LINE,)
    assert found.swarf == pytest.approx(0.42e-3)


def test_strokes_add_up_and_the_paper_is_remembered(job):
    append(job, block())
    second, log = append(job, Entry(1, 0, NOW, strokes=40))
    assert (second.number, second.at, second.paper) == (2, 120, "P80")
    third, log = append(job, Entry(1, 200, LATER))
    assert third.strokes == 80
    assert log.strokes == 200


def test_strokes_going_backwards_are_refused_and_nothing_is_written(job):
    append(job, block())
    before = log_path(job).read_bytes()
    with pytest.raises(ScenarioError, match="80 or more: so many are in the log"):
        append(job, Entry(1, 60, NOW, note="?"))
    with pytest.raises(ScenarioError, match=r"allowed: 120: 80 in the log and 40 now"):
        append(job, replace(block(40), at=130))
    assert log_path(job).read_bytes() == before


def test_an_entry_taken_back_stays_in_the_file(job):
    append(job, block())
    append(job, block(40))
    _, log = append(job, Entry(1, 0, NOW, void=1))
    assert log.strokes == 40
    assert [e.number for e in log.standing] == [2]
    assert len(read_log(job).entries) == 3
    with pytest.raises(ScenarioError, match="void = 1; allowed: 2"):
        append(job, Entry(1, 0, NOW, void=1))


def test_a_part_that_got_heavier_is_asked_about(job):
    append(job, Entry(1, 0, NOW, part_mass=3.4, scale=1e-4))
    with pytest.raises(ScenarioError, match="does not get heavier"):
        append(job, block(part_mass=3.4005, scale=1e-4))
    append(job, block(part_mass=3.3995, scale=1e-4))


def test_a_log_of_another_part_is_refused(job):
    append(job, block())
    other = load("inlet-flange")
    assert part_mark(other.part) != part_mark(job.part)
    with pytest.raises(ScenarioError, match="not those this log was begun with"):
        read_log(other, log_path(job))
    with pytest.raises(ScenarioError, match="not those this log was begun with"):
        append(other, block(), log_path(job))


@pytest.mark.parametrize("cut", [1, 7, 40])
def test_a_last_line_cut_short_is_named_and_kept(job, cut):
    append(job, block())
    append(job, block(note="a second one, long enough to cut into"))
    path = log_path(job)
    whole = path.read_bytes()
    path.write_bytes(whole[: -1 - cut])
    lost = whole.split(b"\n")[2][:-cut]
    log = read_log(job)
    assert [e.number for e in log.entries] == [1]
    assert "line 3" in log.damage[0]
    assert path.read_bytes() == whole[: -1 - cut], "reading changes nothing"
    entry, after = append(job, block(note="third"))
    assert entry.number == 2
    assert damaged_path(path).name in after.damage[0]
    assert damaged_path(path).read_bytes() == lost + b"\n"
    assert [e.note for e in read_log(job).entries] == ["", "third"]
    assert not read_log(job).damage


def test_a_last_line_that_only_lacks_its_end_is_whole(job):
    append(job, block())
    path = log_path(job)
    path.write_bytes(path.read_bytes()[:-1])
    append(job, block(40))
    assert read_log(job).strokes == 120


def test_damage_in_the_middle_is_named_and_not_guessed_at(job):
    append(job, block())
    append(job, block(when=LATER))
    path = log_path(job)
    lines = path.read_bytes().split(b"\n")
    path.write_bytes(b"\n".join([lines[0], b"{broken", *lines[2:]]))
    with pytest.raises(ScenarioError, match=r"line 2: \{broken; allowed: one JSON object a line"):
        read_log(job)


@pytest.mark.parametrize("behave", ["short", "fsync"])
def test_a_full_disk_loses_nothing_and_acknowledges_nothing(job, monkeypatch, behave):
    append(job, block())
    path = log_path(job)
    before = path.read_bytes()
    real = os.write

    def half(handle, data):
        if len(data) > 40:
            return real(handle, bytes(data)[:40])
        raise OSError(errno.ENOSPC, "No space left on device")

    def refuse(handle):
        raise OSError(errno.EIO, "Input/output error")

    if behave == "short":
        monkeypatch.setattr(os, "write", half)
    else:
        monkeypatch.setattr(os, "fsync", refuse)
    with pytest.raises(HandlapError, match="It is not in the log"):
        append(job, block(note="x" * 70))
    monkeypatch.undo()
    assert path.read_bytes() == before


def test_it_is_on_the_disk_before_it_is_acknowledged(job, monkeypatch):
    synced = []
    real = os.fsync

    def noted(handle):
        synced.append(handle)
        real(handle)

    monkeypatch.setattr(os, "fsync", noted)
    append(job, block())
    assert len(synced) >= 2, "the file, and the folder with its name"


@pytest.mark.parametrize(
    ("raw", "message"),
    [
        ({"strokes": -1, "paper": "P80"}, "a whole number from 0"),
        ({"strokes": 80}, "missing: the paper"),
        ({"strokes": 80, "paper": "P81"}, "P81"),
        ({"swarf_g": 0.4}, "missing: the least division"),
        ({"swarf_g": float("nan"), "scale_g": 0.1}, "a number from 0"),
        ({"dye_left": 30}, "a number from 0 to 1"),
        ({"dye_grid": [[0.5] * 5] * 2}, "3 rows"),
        ({"dye_faded": -0.1}, "a number from 0 to 1"),
        ({"dye_left": 0.5, "dye_faded": 0.2}, "0.5 to 1: what is gone"),
        ({"dye_seen": "purple at the ends"}, "is not understood"),
        ({"dye_seen": "fading", "dye_grid": [[0.5] * 5] * 3}, "not both"),
        ({"dyed": "yes"}, "true or false"),
        ({"nonsense": 1}, "no such key"),
        ({}, "says nothing"),
        (
            {"readings": [{"from": [0, 0], "to": [100, 0], "stations": [[5, 40, 30]]}]},
            "thicker than the leaf",
        ),
        (
            {"readings": [{"from": [0, 0], "to": [100, 0], "held": "up", "stations": [[5, "none", 30]]}]},
            "rest",
        ),
        ({"note": "two\nlines"}, "one line"),
    ],
)
def test_bad_entries_are_refused_with_what_is_allowed(raw, message):
    with pytest.raises(EntryFaults, match=message):
        from_json({"n": 1, "at": 0, "when": NOW, **raw}, "x.log.jsonl", "line 2")


def test_dye_of_old_logs_means_what_it_meant():
    """Shares on which dye is left, full or fading; of fading they say nothing."""
    grid = [[0.25, 1.0, 1.0, 1.0, None], [1.0] * 5, [0.0] * 5]
    for told, gone in (({"dye_left": 0.75}, [0.25]), ({"dye_grid": grid}, [0.75, 0, 0, 0, np.nan])):
        entry = from_json({"n": 1, "at": 0, "when": NOW, **told}, "x.log.jsonl", "line 2")
        (picture,) = entry.dye_pictures
        assert picture.gone[:5].tolist() == pytest.approx(gone, nan_ok=True)
        assert np.isnan(picture.faded).all()
        assert {key: to_json(entry)[key] for key in told} == told


def test_what_fades_is_written_beside_what_is_left():
    words = "gone at both ends, fading in the middle"
    entry = Entry(1, 0, NOW, dye_seen=words, dye_left=0.6, dye_faded=0.9)
    assert from_json(to_json(entry), "x", "line 2") == entry
    (zones,) = entry.dye_pictures
    assert zones.zoned, "zones tell more than shares of the whole"
    left = replace(entry, dye_seen="left everywhere but the ends")
    zones, whole = left.dye_pictures
    assert zones.zoned and np.isnan(whole.gone).all() and whole.faded.tolist() == [0.9]
    assert replace(entry, dye_seen="", dye_faded=None).dye_pictures[0].gone.tolist() == pytest.approx([0.4])
    assert not Entry(1, 0, NOW, note="x").dye_pictures


def test_only_what_is_held_is_written():
    assert to_json(Entry(1, 0, NOW, note="x")) == {"n": 1, "at": 0, "when": NOW, "note": "x"}


def test_counts_that_do_not_add_up_are_named(job):
    append(job, block())
    append(job, block(when=LATER))
    path = log_path(job)
    path.write_text(path.read_text(encoding="utf-8").replace('"at": 160', '"at": 60'), encoding="utf-8")
    with pytest.raises(ScenarioError, match="strokes cannot go backwards"):
        read_log(job)


# ---- the command


def test_the_command_writes_and_shows(job):
    assert "NOTHING IS WRITTEN YET" in run(job, "--show").stdout
    done = run(job, "--strokes", "80", "--paper", "P80", "--swarf", "0.4", "--scale", "0.01", "--dyed",
               "--reading", "long, near [level]: 50 none 30; 120 50 60", "--dye-left", "30%")  # fmt: skip
    assert done.exit_code == 0, done.stderr
    assert "ENTRY 1 IS WRITTEN" in done.stdout
    shown = run(job, "--show").stdout
    assert "80 STROKES IN 1 ENTRY" in shown
    assert "2 readings on 1 line, dye left 30 %" in " ".join(shown.split())
    assert "held level" in shown
    found = json.loads(run(job, "--json").stdout)
    assert found["entries"][0]["readings"][0]["stations"] == [[50.0, "none", 30.0], [120.0, 50.0, 60.0]]


def test_the_three_states_of_the_dye_are_shown_as_they_were_taken(job):
    """What is full, fading and gone adds up, so that a slip is seen at once."""
    shown = " ".join(run(job, "--dye-left", "65%", "--dye-faded", "45%").stdout.split())
    assert "dye full on 55 %, fading on 10 %, gone on 35 %" in shown
    assert "dye fading or gone on 90 %" in " ".join(run(job, "--dye-faded", "0.9").stdout.split())
    assert "dye: fading everywhere" in " ".join(run(job, "--dye", "fading everywhere").stdout.split())
    wrong = run(job, "--dye", "mauve", "--dye-faded", "130%", "--dye-grid", "1 2")
    assert wrong.exit_code == 2 and "3 faults" in wrong.stderr
    assert '--dye = "mauve"' in wrong.stderr


def test_all_faults_of_an_entry_at_once_and_nothing_written(job):
    wrong = ("--strokes", "-5", "--dye-left", "130", "--reading", "nowhere: 1 none 30", "--swarf", "abc")
    done = run(job, *wrong, "--not-turned", "--turn-every", "5")
    assert done.exit_code == 2
    assert "5 faults" in done.stderr
    assert not log_path(job).exists()


def test_readings_of_another_scenario_file(job, tmp_path):
    done = run(job, "--readings-from", "two-cylinder-head")
    assert done.exit_code == 0, done.stderr
    assert read_log(job).entries[0].readings == job.readings.lines
    assert "outline and metal differ" in run(job, "--readings-from", "inlet-flange").stderr


def test_it_fits_narrow_terminals(job):
    run(job, "--strokes", "80", "--paper", "P80", "--note", "a longer remark about the bench and the light")
    for columns in (40, 80):
        assert max(map(len, run(job, "--show", COLUMNS=str(columns)).stdout.splitlines())) <= columns


def test_the_log_of_a_built_in_job_is_in_the_current_folder():
    assert log_path(load("inlet-flange")) == Path("inlet-flange.built-in.log.jsonl")
    assert log_path(replace(load("inlet-flange"), source="/a/b/x.toml")) == Path("/a/b/x.log.jsonl")


def test_the_scale_is_named_once(job):
    run(job, "--part-weight", "3400", "--scale", "0.01")
    run(job, "--strokes", "80", "--paper", "P80", "--part-weight", "3399.5")
    run(job, "--strokes", "80", "--swarf", "0.4", "--scale", "0.1")
    assert run(job, "--strokes", "80", "--part-weight", "3399").exit_code == 0
    scales = [entry.scale for entry in read_log(job, log_path(job)).entries]
    assert scales == pytest.approx([1e-5, 1e-5, 1e-4, 1e-5])
