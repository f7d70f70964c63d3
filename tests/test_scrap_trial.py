"""The trial on a scrap: blocks long enough to weigh, and the cut found again in what came off."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from click.testing import CliRunner

from handlap.cli.main import main
from handlap.sim.bench.scrap_trial import (
    MOST,
    SIDE,
    WITHIN,
    entries_of,
    papers_found,
    plan_scrap,
    scrap_of,
)
from handlap.sim.common.errors import InputError
from handlap.sim.job.scenario_file import load
from handlap.sim.lapping.ensemble import SCORES, conditions_at
from handlap.sim.lapping.first_cut import first_cut
from handlap.sim.lapping.from_past import from_past

HEAD = load("two-cylinder-head")


def true_masses(trial, rate: float, luck: float):
    """What comes off a scrap on paper so many times as fast, P80 with a luck of its own, by the lap's law."""
    from handlap.sim.bench.scrap_trial import _depth, _sheet

    job = trial.on_scrap
    middle = conditions_at(job, np.zeros(len(SCORES)))
    face = job.part.metal.density * job.part.outline.area
    found = {}
    for block, grit in zip(trial.blocks, job.paper.grits, strict=True):
        own = rate * (luck if grit.name == "P80" else 1.0)
        found[block.paper] = face * _depth(
            _sheet(job, middle, replace(middle, rate=own * middle.rate), grit), block.strokes
        )
    return found


def test_a_block_weighs_what_its_scale_needs_or_is_as_long_as_is_sensible():
    for division in (0.01e-3, 0.1e-3):
        for block in plan_scrap(HEAD, division=division).blocks:
            assert block.within <= WITHIN * 1.05 or block.strokes == MOST


def test_a_scrap_weighs_its_volume():
    job, mass = scrap_of(HEAD, SIDE)
    assert mass == pytest.approx(2680 * 0.06 * 0.06 * 0.02, rel=0.02)
    assert job.part.outline.area == pytest.approx(36e-4)


def test_what_came_off_gives_the_cut_back():
    """Closed loop: masses made at a known rate come back as that cut, on the scrap's own law."""
    trial = plan_scrap(HEAD)
    for rate in (0.5, 1.0, 2.0):
        off = true_masses(trial, rate, 1.0)
        for entry in entries_of(trial, off, today="2026-01-31"):
            middle = conditions_at(trial.on_scrap, np.zeros(len(SCORES)))
            grit = next(g for g in HEAD.paper.grits if g.name == entry.paper)
            there = replace(middle, rate=rate * middle.rate)
            true = first_cut(trial.on_scrap, middle, there, grit) / first_cut(
                trial.on_scrap, middle, middle, grit
            )
            assert entry.found["cut"][1] == pytest.approx(true, rel=0.01)


def medians(luck: float):
    """Logarithm of each paper's cut after a trial in which P80 has this luck; and how much narrower it is."""
    trial = plan_scrap(HEAD)
    off = true_masses(trial, 1.0, luck)
    entries = entries_of(trial, off, today="2026-01-31")
    found = papers_found(trial, from_past(HEAD, entries), off, entries)
    narrower = max(x.after.p95 / x.after.p05 / (x.before.p95 / x.before.p05) for x in found)
    return {x.paper: math.log(x.after.p50) for x in found}, narrower


def test_the_trial_tells_one_paper_from_another():
    """A grade that is slower by its own luck moves away from the others, as far as weighings tell."""
    (same, narrower), (slow, _) = medians(1.0), medians(0.75)
    moved = {name: slow[name] - same[name] for name in same}
    assert moved["P80"] < -0.08
    assert moved["P80"] < 1.5 * min(moved["P120"], moved["P240"])
    assert narrower < 0.8


def test_what_cannot_come_off_is_refused():
    with pytest.raises(InputError, match="cannot come off"):
        entries_of(plan_scrap(HEAD), {"P80": 0.5}, today="2026-01-31")


def test_the_sheet_and_its_json_say_the_same():
    run = CliRunner()
    sheet = run.invoke(main, ["scrap-trial", "two-cylinder-head"]).output
    found = json.loads(run.invoke(main, ["scrap-trial", "two-cylinder-head", "--json"]).output)
    for block in found["blocks"]:
        assert f"{block['paper']}" in sheet and f" {block['strokes']} " in sheet


@pytest.mark.parametrize(
    ("args", "says"),
    [
        (("--off", "P80"), "PAPER=GRAMS"),
        (("--off", "P80=1", "--off", "p80=2"), "each paper once"),
        (("--off", "P36=1"), "a paper of the scenario"),
        (("--side", "3"), "20 mm to 200 mm"),
        (("--remember",), "--off"),
    ],
)
def test_bad_input_is_one_message(args, says):
    done = CliRunner().invoke(main, ["scrap-trial", "two-cylinder-head", *args])
    assert done.exit_code == 2 and says in done.stderr
