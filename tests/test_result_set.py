"""What a command leaves in a folder is one set of one answer about one job, and can be told by its names."""

from __future__ import annotations

import pytest
from cli_examples import HEAD, NARROW, synthetic_plan, without_work
from click.testing import CliRunner

from handlap.cli.main import main
from handlap.cli.result_set import LONGEST_NAME, PICTURES, set_name, write_result_set
from handlap.sim.face.told import FaceDecides
from handlap.sim.job.results import Verdict


@pytest.fixture
def run(monkeypatch, tmp_path):
    """Plan a job with a made-up answer into one folder; returns what is in it then, and what was said.

    Names of pictures are looked at here, not what they show.
    """
    monkeypatch.setattr("handlap.cli.drawing.pictures.png", lambda figure: b"\x89PNG")

    def planned(name: str, answer: str) -> tuple[set[str], str]:
        made = synthetic_plan(name) if answer == "lap" else without_work(answer)
        monkeypatch.setattr("handlap.sim.planning.plan.make_plan", lambda *_, **__: made)
        done = CliRunner().invoke(main, ["plan", name, "--out", str(tmp_path)])
        assert done.exit_code == 0, done.stderr
        return {path.name for path in tmp_path.iterdir()}, done.stderr

    return planned


def test_pictures_of_an_older_answer_do_not_stay(run, tmp_path):
    """A face that was to be lapped is flat now: depth and dye of the old plan would be taken for its own."""
    assert len(run(HEAD, "lap")[0]) == 5
    (tmp_path / f"{HEAD}-plan-notes.png").write_bytes(b"somebody's own")
    (tmp_path / f"{HEAD}-survey-map.png").write_bytes(b"of another command")
    own = {f"{HEAD}-plan-notes.png", f"{HEAD}-survey-map.png"}
    left, said = run(HEAD, "leave")
    assert left == {f"{HEAD}-plan.html", f"{HEAD}-plan-warp.png"} | own
    assert "3 pictures of an older answer removed" in said
    assert "removed" not in run(HEAD, "leave")[1]


def test_an_answer_by_the_face_alone_is_of_its_job_too(run, tmp_path, monkeypatch):
    """Before: it was plan.html whatever the job, beside the plan and the pictures of the older answer."""
    run(HEAD, "lap")

    def by_the_face(job, **_):
        raise FaceDecides(job, Verdict("cannot tell", ("too thick",), {}, ("thinner leaves",)))

    monkeypatch.setattr("handlap.sim.planning.plan.make_plan", by_the_face)
    done = CliRunner().invoke(main, ["plan", HEAD, "--out", str(tmp_path)])
    assert done.exit_code == 0, done.stderr
    assert {path.name for path in tmp_path.iterdir()} == {f"{HEAD}-plan.html"}
    assert "4 pictures of an older answer removed" in done.stderr


def test_answers_about_two_jobs_stand_side_by_side(run):
    first, _ = run(HEAD, "lap")
    both, _ = run(NARROW, "lap")
    assert first < both and len(both) == 10
    assert all(name.startswith((f"{HEAD}-plan", f"{NARROW}-plan")) for name in both)


def test_a_set_takes_no_picture_that_it_would_not_take_away(tmp_path):
    with pytest.raises(ValueError, match="never be taken away"):
        write_result_set(tmp_path, "head", "survey", "<html>", {"turns.png": b""})
    assert list(tmp_path.iterdir()) == []


def test_names_of_any_length_can_be_written(tmp_path):
    longest = max((name for names in PICTURES.values() for name in names), key=len)
    names = {set_name(job, kind) for job in ("x" * 250, "x" * 249 + "y", "ü" * 120) for kind in PICTURES}
    assert len(names) == 3 * len(PICTURES)
    for name in names:
        assert len(name.encode()) <= LONGEST_NAME + 20
        (tmp_path / f"{name}-{longest}").touch()
