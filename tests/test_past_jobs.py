"""What earlier jobs have taught: the file of the user's own, and what a plan takes from it."""

from __future__ import annotations

import functools
import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from bench_truth import NOW, make_truth, write_log
from click.testing import CliRunner

from handlap.cli.main import main
from handlap.cli.options import as_known
from handlap.cli.reports.assumptions import assumptions_of
from handlap.cli.reports.wording import subject
from handlap.sim.bench.job_log import Entry
from handlap.sim.bench.learn import learn
from handlap.sim.bench.log_marks import marks_of
from handlap.sim.bench.standing import open_log
from handlap.sim.bench.to_remember import log_cuts, to_remember
from handlap.sim.common.errors import InputError, ScenarioError
from handlap.sim.face.face_ensemble import infer_faces
from handlap.sim.job.past_jobs import (
    SCRAP,
    PastJob,
    entry_text,
    known_as,
    parse_past,
    past_file,
    with_entry,
    without,
)
from handlap.sim.job.scenario_file import load
from handlap.sim.lapping.ensemble import SCORES, conditions_at, draw_scores, scores_for
from handlap.sim.lapping.first_cut import first_cut
from handlap.sim.lapping.from_past import cut_slopes, from_past
from handlap.sim.materials import grits

HEAD = load("two-cylinder-head")
MINE = """# by hand

[[job]]
job = "cover"   # the small one
metal = "A356"
paper = "P120"
wet = true

[job.found]
cut = [0.4, 0.5, 0.62]
bias_across_mm = [1, 4.5, 8]

# about the sole
[[job]]
job = "sole"
metal = "grey iron"
paper = "P80"
wet = false
found = {cut = [0.9, 1.2, 1.6]}
"""


def job(name: str, cut: float, paper: str = "P120", **more) -> PastJob:
    found = more.pop("found", {"cut": (cut / 1.25, cut, cut * 1.25)})
    return PastJob(**{"job": name, "metal": "A356", "paper": paper, "wet": True, "found": found, **more})


THREE = (job("one", 0.5), job("two", 0.55), job("three", 0.45))


def cuts(scenario, paper: str, count: int = 256):
    """Logarithm of the first cut (members,) on a paper."""
    middle = conditions_at(scenario, np.zeros(len(SCORES)))
    scores = scores_for(scenario, count, 0)
    grit = grits.find(paper)
    return np.log([first_cut(scenario, middle, conditions_at(scenario, z), grit) for z in scores])


# ---- the file


def test_the_place_of_the_file_is_the_platforms():
    home = Path("/home/a")
    assert past_file({}, "linux", home) == home / ".local/share/handlap/past-jobs.toml"
    assert past_file({"XDG_DATA_HOME": "not/absolute"}, "linux", home) == past_file({}, "linux", home)
    assert past_file({}, "darwin", home) == home / "Library/Application Support/handlap/past-jobs.toml"
    assert past_file({"APPDATA": "/app"}, "win32", home) == Path("/app/handlap/past-jobs.toml")
    assert past_file({"HANDLAP_PAST_JOBS": "/mine.toml"}, "linux", home) == Path("/mine.toml")
    assert past_file({"HANDLAP_PAST_JOBS": "none"}, "linux", home) is None


def test_an_entry_is_read_as_it_was_written():
    entry = job("head", 0.5, log='/a "b"/head.log.jsonl', mark="abc", stated=("hands.press",), weighed=True,
                found={"cut": (0.4, 0.5, 0.6), "bias_along": (-3.0, -1.0, 1.0)})  # fmt: skip
    assert parse_past(entry_text(entry), "f") == (entry,)


def test_what_a_job_said_is_a_logarithm_or_metres():
    middle, sd = parse_past(MINE, "f")[0].said("cut")
    assert middle == pytest.approx(math.log(0.5)) and sd == pytest.approx(math.log(0.62 / 0.4) / 3.29, 1e-3)
    assert parse_past(MINE, "f")[0].said("bias_across") == pytest.approx((4.5e-3, 7e-3 / 3.29), 1e-3)


def test_the_same_job_again_replaces_its_entry_and_leaves_the_rest():
    first, _ = with_entry(MINE, parse_past(MINE, "f"), job("head", 0.5, mark="m"))
    text, older = with_entry(first, parse_past(first, "f"), job("renamed", 0.6, mark="m"))
    assert older and [x.job for x in parse_past(text, "f")] == ["cover", "sole", "renamed"]
    assert text.startswith(MINE)


def test_an_entry_is_taken_out_and_all_else_stays_byte_for_byte():
    left = without(MINE, [1])
    cut = MINE[MINE.index("[[job]]") : MINE.index("# about")]
    assert left.replace("\n", "") == MINE.replace(cut, "").replace("\n", "")
    assert [x.job for x in parse_past(left, "f")] == ["sole"]


def test_all_faults_are_named_with_line_and_key():
    bad = MINE.replace("wet = true", 'wet = "yes"').replace('"P80"', '"P81"').replace("1.6", "0.1")
    with pytest.raises(ScenarioError) as caught:
        parse_past(bad.replace("bias_across_mm", "biass"), "mine.toml")
    words = str(caught.value)
    for part in ("job 1 (line 3), wet = yes", "job 2 (line 14), paper = P81", "found.cut", "found.biass"):
        assert part in words
    assert len(caught.value.faults) == 4


@pytest.mark.parametrize("torn", ['[[job]]\njob = "a', "job = 3", "[job]\n", "[[job]]\n", "\x00", "a = 1"])
def test_a_torn_file_is_refused(torn, tmp_path):
    file = tmp_path / "mine.toml"
    file.write_text(torn, encoding="utf-8")
    for args in (["past-jobs"], ["plan", "two-cylinder-head"], ["past-jobs", "--drop", "1"]):
        done = CliRunner().invoke(main, args, env={"HANDLAP_PAST_JOBS": str(file)})
        assert done.exit_code == 2 and "mine.toml: " in done.stderr
    assert file.read_text(encoding="utf-8") == torn


def test_the_command_lists_and_takes_out(tmp_path):
    file = tmp_path / "mine.toml"
    file.write_text(MINE, encoding="utf-8")
    env = {"HANDLAP_PAST_JOBS": str(file)}
    listed = CliRunner().invoke(main, ["past-jobs"], env=env).output
    assert "cover" in listed and "sole" in listed and "0.5 (0.4 to 0.62)" in listed
    assert "2 kept" in listed.lower()
    done = CliRunner().invoke(main, ["past-jobs", "--drop", "1", "--json"], env=env)
    assert [x["job"] for x in json.loads(done.output)["jobs"]] == ["sole"]
    wrong = CliRunner().invoke(main, ["past-jobs", "--drop", "7"], env=env)
    assert wrong.exit_code == 2 and "allowed is 1 to 1" in wrong.stderr
    assert "# by hand" in file.read_text(encoding="utf-8")


# ---- what a plan takes


def test_without_earlier_jobs_all_is_as_it_was():
    assert from_past(HEAD, ()) is HEAD and as_known(HEAD, afresh=False) is HEAD
    assert from_past(HEAD, (job("iron", 2.0, metal="grey iron", hands="another"),)) is HEAD
    assert np.array_equal(scores_for(HEAD, 16, 3), draw_scores(16, 3))


def test_three_jobs_move_the_cut_to_what_they_found_and_narrow_it():
    before, after = cuts(HEAD, "P120"), cuts(from_past(HEAD, THREE), "P120")
    assert np.mean(after) - np.mean(before) == pytest.approx(math.log(0.5), abs=0.25)
    assert after.std() < 0.65 * before.std()


def test_jobs_with_one_log_and_day_are_jobs_but_papers_of_one_scrap_are_one():
    told = []
    for log in ("/head.log.jsonl", SCRAP):
        found = from_past(HEAD, tuple(replace(x, log=log, when="2026-01-31") for x in THREE))
        told.append(cuts(found, "P120").std())
    assert told[0] == pytest.approx(cuts(from_past(HEAD, THREE), "P120").std())
    assert told[0] < told[1]


def test_another_grade_tells_less_and_another_metal_nothing_of_the_paper():
    own = from_past(HEAD, THREE)
    other = from_past(HEAD, tuple(replace(x, paper="P240") for x in THREE))
    assert cuts(own, "P120").std() < cuts(other, "P120").std() < cuts(HEAD, "P120").std()
    iron = from_past(HEAD, (job("sole", 0.5, metal="grey iron", found={
        "cut": (0.4, 0.5, 0.6), "bias_across": (2.0, 4.0, 6.0)}),))  # fmt: skip
    assert iron.wear == HEAD.wear and iron.hands.bias_across.value > 2e-3
    assert from_past(HEAD, tuple(replace(x, abrasive="another") for x in THREE)).wear == HEAD.wear


def test_jobs_by_other_hands_tell_less_of_the_cut():
    press = replace(HEAD.hands.press, low=20.0, high=80.0, value=40.0, law="lognormal", assumed=True)
    open_press = replace(HEAD, hands=replace(HEAD.hands, press=press))
    other = from_past(open_press, tuple(replace(x, hands="another") for x in THREE))
    assert cuts(from_past(open_press, THREE), "P120").std() < cuts(other, "P120").std()


def test_what_the_scenario_states_no_earlier_job_overrules():
    stated = replace(HEAD.wear.rate, assumed=False)
    known = replace(HEAD, wear=replace(HEAD.wear, rate=stated))
    assert from_past(known, THREE).wear.rate == stated


def test_a_job_that_does_not_fit_is_named_and_does_not_poison():
    found = from_past(HEAD, (*THREE, job("odd", 4.0)))
    assert found.past is not None
    assert [found.past.jobs[k].job for k in found.past.strange] == ["odd"]
    assert any("odd taught does not fit" in words for words in found.warnings)
    assert np.mean(cuts(found, "P120")) == pytest.approx(
        np.mean(cuts(from_past(HEAD, THREE), "P120")), abs=0.2
    )


def test_slopes_of_a_cut_are_those_of_the_cut_itself():
    """Rate goes into a cut as a factor less what the sheet loses by it: by finite steps of the function."""
    slope = cut_slopes(HEAD, grits.find("P120"))
    spread = math.log(HEAD.wear.rate.high / HEAD.wear.rate.low) / 3.29
    assert 0.4 * spread < slope["rate"] <= spread * 1.001
    assert slope["rate P80"] == 0.0 < slope["rate P120"]


def test_every_line_taken_from_them_says_so_and_marks_of_a_log_stay():
    found = from_past(HEAD, THREE)
    basis = {a.key: a.basis for a in assumptions_of(found)}
    assert basis["wear.rate"] == known_as(THREE) == "from your last three jobs (one, two, three)"
    assert basis["hands.bias_along"] == {a.key: a.basis for a in assumptions_of(HEAD)}["hands.bias_along"]
    assert "from your last three jobs" in subject(found) and "--afresh" in subject(found)
    assert marks_of(found) == marks_of(HEAD)


def test_scores_stay_standard_normal_one_by_one():
    scores = scores_for(from_past(HEAD, THREE), 1024, 0)
    plain = draw_scores(1024, 0)
    assert np.allclose(scores.std(axis=0), plain.std(axis=0), atol=0.06)
    assert np.allclose(scores.mean(axis=0), 0.0, atol=0.1)


# ---- what a job leaves


@functools.cache
def learnt():
    """A small job with a known truth, worked and learnt from."""
    faces = infer_faces(HEAD.part, HEAD.readings, count=16, seed=5)
    truth = make_truth(HEAD, lambda p: np.asarray(faces.heights_at(p))[3], seed=1, cells=250)
    blocks = [Entry(n, 0, NOW, strokes=75, paper="P80", brushed=True, new_sheet=n == 2) for n in (1, 2, 3)]
    log = write_log(truth, blocks, {0, 2})
    return truth, log, learn(*open_log(truth.scenario, log, members=48, seed=0, cells=250))


def test_a_job_leaves_its_cut_with_what_was_assumed_taken_out():
    truth, log, found = learnt()
    entry = to_remember(found, log, today="2026-01-31")
    low, _, high = entry.found["cut"]
    grit = grits.find("P80")
    taken = first_cut(truth.scenario, found.ready.middle,
                      conditions_at(truth.scenario, np.zeros(len(SCORES))), grit)  # fmt: skip
    true = first_cut(truth.scenario, found.ready.middle, truth.conditions, grit) / taken
    assert low / 1.3 < true < 1.3 * high
    after = log_cuts(found, found.posterior, grit)
    # Alone it says the same, less surely, and lies further from what was assumed.
    assert math.log(high / low) / 3.29 >= after.std() * 0.99
    assert (entry.metal, entry.paper, entry.wet, entry.weighed) == ("A356", "P80", HEAD.paper.wet, True)
    assert "wear.rate" not in entry.found and "press" not in entry.found
    assert to_remember(found, log, today="2026-02-01").mark == entry.mark


def test_nothing_is_remembered_of_what_is_not_believed():
    _, log, found = learnt()
    with pytest.raises(InputError, match="not believed"):
        to_remember(replace(found, believed=False), log, today="2026-01-31")


def test_a_job_does_not_begin_from_what_it_left_itself(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    file = tmp_path / "mine.toml"
    monkeypatch.setenv("HANDLAP_PAST_JOBS", str(file))
    own = job("two-cylinder-head", 0.5, log=str(tmp_path / "two-cylinder-head.built-in.log.jsonl"))
    file.write_text(entry_text(own), encoding="utf-8")
    assert as_known(HEAD, afresh=False) is HEAD
    file.write_text(entry_text(replace(own, log="/elsewhere")), encoding="utf-8")
    assert as_known(HEAD, afresh=False).past is not None
    assert as_known(HEAD, afresh=True) is HEAD


def test_a_metal_of_ones_own_is_kept_by_its_name():
    entry = job("head", 0.5, metal="my casting")
    assert parse_past(entry_text(entry), "f") == (entry,)
