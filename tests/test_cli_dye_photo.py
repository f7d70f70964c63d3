"""``handlap dye-photo``: shows, asks, writes by the way of every entry, refuses in words."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from photo_truth import Shot, camera, corners, photo, pixels_of

import handlap.cli.screen
from handlap.cli.main import main
from handlap.sim.bench.job_log import Entry
from handlap.sim.bench.log_file import read_log
from handlap.sim.bench.log_place import log_path
from handlap.sim.job.scenario_file import load

SHOT = Shot("grey", "blue", tilt=15, width=640, height=480, seed=31)
ROOT = Path(__file__).parents[1]


@pytest.fixture(scope="module")
def marks() -> list[str]:
    found = []
    for x, y in pixels_of(camera(SHOT), corners(SHOT.outline)):
        found += ["--corner", f"{x:.0f},{y:.0f}"]
    return found


@pytest.fixture(scope="module")
def picture(tmp_path_factory) -> Path:
    file = tmp_path_factory.mktemp("photo") / "face.jpg"
    file.write_bytes(photo(SHOT))
    return file


@pytest.fixture
def job(tmp_path: Path, picture: Path):
    shutil.copy(ROOT / "scenarios" / "two-cylinder-head.toml", tmp_path / "head.toml")
    shutil.copy(picture, tmp_path / "face.jpg")
    return load(tmp_path / "head.toml")


def run(job, *args: str, typed: str | None = None, **env: str):
    file = str(Path(job.source).with_name("face.jpg"))
    return CliRunner(env={"NO_COLOR": "1", **env}).invoke(
        main, ["dye-photo", job.source, file, *args], input=typed
    )


def test_it_shows_and_writes_nothing_unless_told(job, marks, tmp_path):
    found = run(job, *marks, "--out", str(tmp_path / "out"), COLUMNS="40")
    assert found.exit_code == 0, found.output
    assert "DYE IS LEFT ON" in found.output.replace("\n", " ") and "cannot tell" in found.output
    assert "Nothing is written" in found.output and "--yes" in found.output
    assert max(map(len, found.stdout.splitlines())) <= 40
    assert not log_path(job).exists()
    names = sorted(path.name for path in (tmp_path / "out").iterdir())
    assert names == ["head-dye-photo-seen.png", "head-dye-photo.html"]
    assert "handlap" in (tmp_path / "out" / names[1]).read_text(encoding="utf-8")


def test_yes_writes_the_grid_with_its_errors_and_all_read_it(job, marks):
    found = run(job, *marks, "--yes", "--json", "--grid", "9x15", "--note", "after block 2")
    assert found.exit_code == 0, found.output
    told = json.loads(found.stdout)
    assert told["schema"] == "handlap.dye-photo/1" and told["written"] == 1
    (entry,) = read_log(job).entries
    assert entry.dye_grid is not None and entry.note == "after block 2"
    grid, errors = (np.array(values, dtype=float) for values in (told["dye_grid"], told["dye_sd"]))
    assert grid.shape == errors.shape == (9, 15)
    np.testing.assert_allclose(np.array(entry.dye_grid), grid, atol=0.0051)
    np.testing.assert_allclose(np.array(entry.dye_sd), errors, atol=0.0051)
    (seen,) = entry.dye_pictures
    assert seen.shape == (9, 15) and np.isfinite(seen.seen).sum() == np.isfinite(grid).sum() > 60
    shown = CliRunner().invoke(main, ["log", job.source, "--show"])
    assert "dye, zone by zone (9 × 15, with errors)" in " ".join(shown.output.split())
    again = CliRunner().invoke(main, ["log", job.source, "--json"])
    assert json.loads(again.stdout)["entries"][0]["dye_grid"][0] == [
        None if x != x else x for x in entry.dye_grid[0]
    ]


@pytest.mark.parametrize(("answer", "entries"), [("y\n", 1), ("n\n", 0)])
def test_at_a_terminal_it_asks(job, marks, monkeypatch, answer, entries):
    monkeypatch.setattr(handlap.cli.screen, "is_terminal", lambda stream: True)
    found = run(job, *marks, typed=answer)
    assert found.exit_code == 0, found.output
    assert "Is that what is on the face?" in found.output
    assert len(read_log(job).entries) == entries


@pytest.mark.parametrize(
    ("args", "words"),
    [
        ((), r"--corner X,Y four times \(far left, far right, near right, near left\)"),
        (("--corner", "1,2"), "1 corner; give all four"),
        (("--corner", "1,2", "--corner", "x"), "2 corners; give all four"),
        (("--corner", "a,b") * 4, "two numbers of pixels"),
        (("--opening", "99=1,2"), "N=X,Y with N from 1 to 12"),
        (("--opening", "1=100,100", "--opening", "2=200,100"), "2 marks; four or more"),
        (
            ("--corner", "1,1", "--corner", "5000,1", "--corner", "600,400", "--corner", "1,400"),
            "outside the picture",
        ),
        (("--corner", "9,9", "--corner", "9,9", "--corner", "9,9", "--corner", "9,9"), "one place"),
        (("--grid", "2x5", "--corner", "1,1"), "3x5 to 12x20"),
    ],
)
def test_what_cannot_be_is_refused_in_words(job, args, words):
    found = run(job, *args, "--yes")
    assert found.exit_code == 2, found.output
    assert re.search(words, " ".join(found.output.split())), found.output
    assert not log_path(job).exists()


def test_a_file_that_is_no_photo_is_refused(job, marks):
    Path(job.source).with_name("face.jpg").write_text("a page of text")
    found = run(job, *marks, "--yes")
    assert found.exit_code == 2 and "no picture that can be read" in found.output
    assert not log_path(job).exists()


def test_the_last_look_of_a_log_is_what_why_goes_by(job, marks):
    log = ["log", job.source]
    CliRunner().invoke(main, [*log, "--dyed"])
    none = CliRunner().invoke(main, ["why", job.source, "--dye-logged"])
    assert none.exit_code == 2 and "dye-photo" in none.output
    CliRunner().invoke(main, [*log, "--strokes", "60", "--paper", "P80", "--new-sheet"])
    CliRunner().invoke(main, [*log, "--strokes", "20"])
    assert run(job, *marks, "--yes", "--dyed").exit_code == 0
    CliRunner().invoke(main, [*log, "--strokes", "30"])
    last = read_log(job).last_dye
    assert last is not None
    entry, seen, strokes, worked = last
    assert (entry.number, strokes, worked, seen.shape) == (4, 80, False, (6, 10))
    both = CliRunner().invoke(main, ["why", job.source, "--dye-logged", "--dye", "gone at both ends"])
    assert both.exit_code == 2


def test_grids_of_a_log_are_checked_together(job):
    log = ["log", job.source]
    fine = " / ".join([" ".join(["0.5"] * 10)] * 6)
    for args, words in (
        (("--dye-sd", fine), "as many as dye_grid has"),
        (
            ("--dye-grid", fine, "--dye-sd", "0.1 0.1 0.1 0.1 0.1/" * 2 + "0.1 0.1 0.1 0.1 0.1"),
            "as many as dye_grid",
        ),
        (("--dye-grid", " / ".join([" ".join(["0.5"] * 21)] * 6)), "12 rows of 20"),
    ):
        found = CliRunner().invoke(main, [*log, *args])
        assert found.exit_code == 2 and words in " ".join(found.output.split()), found.output
    assert CliRunner().invoke(main, [*log, "--dye-grid", fine]).exit_code == 0
    entry: Entry = read_log(job).entries[0]
    assert entry.dye_sd is None and entry.dye_pictures[0].shape == (6, 10)
