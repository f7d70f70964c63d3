"""The small lap behind the page with knobs, and the page as it is written; see test_knobs_in_browser.py."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from click.testing import CliRunner
from jobs import HALF_TURNS, UM, hollow, job
from test_play import HOSTILE, Reader, allows_its_own_only, fetches_nothing

from handlap.cli.main import main
from handlap.cli.reports.knob_data import _felt, knob_data, setting_json
from handlap.cli.reports.knob_page import knob_report, render_knobs
from handlap.sim.common.errors import InputError
from handlap.sim.job.scenario_file import load
from handlap.sim.lapping.lap import run_stage
from handlap.sim.planning.plan import make_plan
from handlap.sim.teaching import knob_paper
from handlap.sim.teaching.knob_errors import drawn_settings, error_of, finer_lap, measure_errors
from handlap.sim.teaching.knob_lesson import open_lesson_knobs
from handlap.sim.teaching.knob_paper import opening_paper
from handlap.sim.teaching.knobs import (
    HELD,
    KnobRig,
    job_at,
    open_knobs,
    refuse_for_knobs,
    shaped,
    small_lap,
    worn_of,
)
from handlap.sim.teaching.lesson_file import load_lesson


def knob_job(**changes):
    values = {
        "face": hollow(80 * UM, 0.12), "reach": 0.01, "press": 80.0, "weight": 30.0, "ages": True,
        "wobble": (0.01, 0.005), "states": HALF_TURNS, "turn_every": 40, "brush_every": 40,
        "sheet_every": 120, "check_every": 40, "edge_rate": 1.0, "friction_gain": 0.2, "blunt_bedding": 0.7,
    }  # fmt: skip
    return job(**(values | changes))


@cache
def knobs() -> KnobRig:
    return measure_errors(open_knobs(knob_job(), strokes=240), trials=2)


def test_the_knobs_stand_as_the_job_has_it_and_the_lap_is_its_own():
    found = knobs()
    assert found.turns[found.start.turn] == 40
    assert found.papers[found.start.grit].grit.name == "P80"
    assert found.start.press == 80.0
    at = job_at(found, found.start)
    assert (at.paper.brush_every, at.paper.sheet_every) == (40, 120)
    figures, run = small_lap(found, found.start)
    assert figures.flatness[-1] < 75 * UM
    assert run.heights[-1].size == found.rig.grid.u.size
    assert run.clipped == 0.0


def test_more_press_takes_more_off_blunt_paper_less_and_lean_cuts_one_side():
    found = knobs()
    as_it_is = small_lap(found, found.start)[0]
    hard = small_lap(found, replace(found.start, press=160.0))[0]
    # Preston 1927: as load times way, on paper that ages somewhat less.
    assert 1.2 < hard.mean_depth[-1] / as_it_is.mean_depth[-1] < 1.75
    blunt = small_lap(found, replace(found.start, blunt=0.9))[0]
    assert blunt.mean_depth[-1] < 0.9 * as_it_is.mean_depth[-1]
    never = found.turns.index(0)
    left = small_lap(found, replace(found.start, lean=0.01, turn=never))[0].taper_across[-1]
    right = small_lap(found, replace(found.start, lean=-0.01, turn=never))[0].taper_across[-1]
    assert left > 1 * UM
    assert right < -1 * UM


def test_worn_paper_cuts_as_paper_that_has_cut_so_much():
    """What light strokes take off goes as the power, exponential to a floor (Mulhearn & Samuels 1962)."""
    found = open_knobs(knob_job(rate=1e-13, edge_rate=0.0, blunt_bedding=1.0), strokes=40)
    law = found.papers[found.start.grit].law
    for share in (0.3, 0.9):
        blunt = replace(found.start, blunt=share)
        metal = worn_of(found, blunt)
        assert np.exp(-metal / law.dulling_scale) == pytest.approx(1.0 - share)
        off, fresh = (small_lap(found, s)[0].mean_depth[-1] for s in (blunt, found.start))
        assert off / fresh == pytest.approx(law.power(0.0, metal), rel=2e-3)


def test_a_stage_on_worn_paper_is_that_of_a_lap_gone_on():
    """Work on paper as worn as it was left, everywhere alike, goes on as if nothing had been between."""
    found = knobs()
    paper, turn = found.papers[found.start.grit], found.start.turn
    new, worn = paper.stages[turn], replace(paper.stages[turn], worn=1e-6)
    rig, before = replace(found.rig, scenario=job_at(found, found.start)), found.own
    runs = [run_stage(rig, before, found.conditions, s, paper.layouts[turn]) for s in (new, worn)]
    assert runs[1].removed_volume < runs[0].removed_volume
    assert runs[0].state.carried.dull.min() == 0.0


def test_the_error_is_stated_and_holds_on_other_settings():
    """Those it was measured on aside; the two hundred are in test_knobs_in_browser.py."""
    from handlap.sim.lapping import gauge
    from handlap.sim.teaching.knob_errors import FINER_CELLS

    found = knobs()
    assert set(found.errors) == set(HELD)
    like = gauge.rig_and_gauge(found.scenario, cells=FINER_CELLS)
    for setting in drawn_settings(found, 3, seed=77):
        setting = replace(setting, height=0.4 * setting.height)
        small, fine = small_lap(found, setting)[0], finer_lap(found, setting, like)
        for name in HELD:
            off = abs(getattr(small, name)[-1] - getattr(fine, name)[-1])
            assert off <= error_of(found, name, small.greatest_depth[-1]), (name, setting)


def test_bow_and_twist_are_those_of_the_lessons():
    found = knobs()
    points = np.array([[0.0, 0.0], [0.12, 0.07], [-0.12, 0.07]])
    bent = shaped(found, replace(found.start, own=0.0, bow=50 * UM, twist=20 * UM))
    assert bent.heights_at(points).tolist() == pytest.approx([50 * UM, 10 * UM, -10 * UM])


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"pattern": "circle"}, "strokes.pattern"),
        ({"load": 50.0}, "exact"),
        ({"tilt_held": True}, "exact"),
    ],
)
def test_a_job_that_the_small_lap_leaves_something_out_of_is_refused(changes, words):
    with pytest.raises(InputError, match=words) as caught:
        refuse_for_knobs(knob_job(**changes))
    assert "--steps" in str(caught.value)


def test_strokes_past_the_paper_and_askew_are_refused():
    with pytest.raises(InputError, match="past the paper"):
        open_knobs(knob_job(plate=(0.3, 0.3)), strokes=60)
    with pytest.raises(InputError, match="askew"):
        open_knobs(knob_job(direction=0.5), strokes=60)


def test_a_stroke_felt_over_nodes_counts_in_full():
    """Shares of a stroke add up to one, and are as widely spread as path and sway together."""
    for half, bell in ((0.0, np.ones(1)), (3.7, np.array([0.5, 0.2, 0.05]))):
        felt = np.array(_felt(half, bell))
        assert felt[0] + 2.0 * felt[1:].sum() == pytest.approx(1.0)
        at = np.arange(bell.size)
        sway = 2.0 * bell @ at**2
        whole = int(half - 0.5)
        part = half - 0.5 - whole
        path = (2.0 * sum(k * k for k in range(whole + 1)) + 2.0 * part * (whole + 1) ** 2) / (2 * half or 1)
        assert 2.0 * felt @ np.arange(felt.size) ** 2 == pytest.approx(sway + (path if half else 0.0))


def test_the_page_is_whole_small_off_the_network_and_allows_its_own_script_only():
    text = render_knobs(knobs())
    reader = Reader(text)
    assert reader.open == []
    assert len(text.encode()) < 5_000_000
    assert "@" not in reader.text
    for word in ("http:", "https:", "url("):
        assert word not in text
    fetches_nothing(reader)
    allows_its_own_only(reader)


def test_words_from_a_scenario_stay_words_and_the_same_job_makes_the_same_page():
    found = knobs()
    hostile = replace(found, scenario=replace(found.scenario, title=HOSTILE))
    assert [t for t, _ in Reader(render_knobs(hostile)).tags] == [
        t for t, _ in Reader(render_knobs(found)).tags
    ]
    again = measure_errors(open_knobs(knob_job(), strokes=240), trials=2)
    assert render_knobs(again) == render_knobs(found)


def test_a_lesson_opens_with_its_cases_as_settings():
    found = open_lesson_knobs(load_lesson("high-and-low-hands"))
    assert [words for words, _ in found.presets] == ["high hands", "low hands"]
    assert [setting.height for _, setting in found.presets] == [0.1, 0.015]
    high, low = (small_lap(found, setting)[0] for _, setting in found.presets)
    assert high.flatness[-1] > low.flatness[-1]
    data = knob_data(found)
    assert data["presets"][0] == setting_json(found.presets[0][1])


def test_a_lesson_that_laps_nothing_is_refused():
    with pytest.raises(InputError, match="laps nothing"):
        open_lesson_knobs(replace(load_lesson("high-and-low-hands"), strokes=0))


def play(*args: str):
    return CliRunner().invoke(main, ["play", *args])


def test_the_command_writes_the_page_and_says_how_far_it_errs(tmp_path):
    page = tmp_path / "page.html"
    result = play("two-cylinder-head", "--strokes", "40", "--out", str(page))
    assert result.exit_code == 0, result.output
    assert "of the deepest cut" in result.stdout
    assert "40 strokes, with knobs to turn" in page.read_text(encoding="utf-8")
    result = play("high-and-low-hands", "--strokes", "40", "--out", str(page))
    assert result.exit_code == 0, result.output
    assert "high hands" in page.read_text(encoding="utf-8")


def test_what_knobs_leave_out_is_refused_in_words_and_nothing_is_written(tmp_path):
    result = play("plane-sole", "--out", str(tmp_path / "page.html"))
    assert result.exit_code == 2
    assert "part.stiffness" in result.stderr
    assert list(tmp_path.iterdir()) == []


def test_the_page_opens_on_the_paper_that_a_plan_starts_on_and_says_why():
    """The head lists P80 first, and its plan starts on a finer one."""
    head = load("two-cylinder-head")
    first, why = opening_paper(head, None, members=8)
    assert first == make_plan(head, members=8).stages[0].paper
    assert first != head.paper.grits[0].name and head.paper.grits[0].name in why
    opened = replace(open_knobs(head, strokes=40, paper=first), paper_why=why)
    assert opened.papers[opened.start.grit].grit.name == first
    said = f"Opens on {first}: {why}."
    assert said in render_knobs(opened) and said in knob_report(opened).lead


def test_no_trial_is_made_where_the_paper_is_settled(monkeypatch):
    monkeypatch.setattr(knob_paper, "starts_on", None)
    head = load("two-cylinder-head")
    assert opening_paper(head, "P180") == ("P180", "")
    alone = replace(head, paper=replace(head.paper, grits=head.paper.grits[:1]))
    assert opening_paper(alone, None) == (None, "")
    started = replace(head, paper=replace(head.paper, start=head.paper.grits[1]))
    assert opening_paper(started, None) == (None, "the paper the scenario starts on")
