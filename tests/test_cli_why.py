"""``handlap why`` and ``handlap improve`` as a person meets them."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner
from test_compare import uneven_job

from handlap.cli.drawing.why_pictures import why_pictures
from handlap.cli.main import main
from handlap.cli.reports.improve_report import improve_json, improve_report
from handlap.cli.reports.page import render_page
from handlap.cli.reports.text import render
from handlap.cli.reports.why_report import CAUSE_WORDS, ranking_json, ranking_report, why_json, why_report
from handlap.cli.screen import Screen
from handlap.sim.comparing.cause_ranking import NONE, Likely, Ranking
from handlap.sim.comparing.causes import OFF
from handlap.sim.comparing.improve import Improvement, improve
from handlap.sim.comparing.why import Why, find_causes
from handlap.sim.job.scenario_file import load


def run(*args: str) -> tuple[int, str, str]:
    result = CliRunner().invoke(main, list(args))
    return result.exit_code, result.stdout, result.stderr


@pytest.fixture(scope="module")
def found() -> Why:
    return find_causes(uneven_job(), members=6)


@pytest.fixture(scope="module")
def better() -> Improvement:
    return improve(uneven_job(), budget=8, members=8)


def test_every_cause_has_words_of_its_own():
    assert set(CAUSE_WORDS) == {*OFF, NONE}
    assert len(set(CAUSE_WORDS.values())) == len(CAUSE_WORDS)


@pytest.mark.parametrize("width", [40, 80])
def test_reports_fit_the_terminal(found, better, width):
    for report in (why_report(found), improve_report(better)):
        assert max(map(len, render(report, Screen(width)).splitlines())) <= width


def test_the_causes_are_told_with_what_is_left_over_and_what_helps(found):
    text = render(why_report(found), Screen(80))
    for words in ("high hands rock the part", "what they do together", "all of it", "What would help"):
        assert words in text


def test_the_picture_of_the_causes_stands_on_the_page(found):
    pictures = why_pictures(found)
    assert set(pictures) == {"causes.png", "maps.png"}
    assert all(data.startswith(b"\x89PNG") for data in pictures.values())
    assert render_page(why_report(found), pictures).count("<img ") == 2


def test_json_of_causes_and_of_the_search_is_whole(found, better):
    why = json.loads(json.dumps(why_json(found), allow_nan=False))
    assert why["schema"] == "handlap.why/1"
    assert {"crown_along_um", "twist_um", "taper_along_um"} <= set(why["causes"][0]["alone"])
    search = json.loads(json.dumps(improve_json(better), allow_nan=False))
    assert search["schema"] == "handlap.improve/1" and search["runs"] <= search["budget"]


@pytest.mark.parametrize(
    ("answer", "says"),
    [
        ("wobble", "MOST LIKELY: THE PRESS WANDERS"),
        ("cannot tell", "CANNOT TELL"),
        (NONE, "NONE OF THESE CAUSES ALONE"),
    ],
)
def test_a_ranking_is_told_in_words(answer, says):
    first = "wobble" if answer == "cannot tell" else answer
    chances = (0.4, 0.35, 0.25) if answer == "cannot tell" else (0.9, 0.06, 0.04)
    names = [first, *(name for name in ("bias", "plate", "wobble") if name != first)][:3]
    rows = tuple(Likely(n, c) for n, c in zip(names, chances, strict=True))
    ranked = Ranking("gone at both ends", rows, answer, chances[0] / chances[1], 16)
    scenario = load("two-cylinder-head")
    text = render(ranking_report(scenario, ranked, "dye"), Screen(80))
    assert text.startswith(says) and "gone at both ends" in text
    assert json.loads(json.dumps(ranking_json(scenario, ranked, "dye", 0)))["answer"] == answer


def test_the_commands_run_and_print_one_object():
    code, out, _ = run("why", "two-cylinder-head", "--members", "16", "--dye", "gone at both ends", "--json")
    assert code == 0 and json.loads(out)["schema"] == "handlap.why-backwards/1"


@pytest.mark.parametrize(
    ("args", "says"),
    [
        (("why", "two-cylinder-head", "--dye", "blue"), "not understood"),
        (("why", "two-cylinder-head", "--dye", "gone", "--after", "x.toml"), "give one of"),
        (("why", "two-cylinder-head", "--after", "nowhere.toml"), "nowhere.toml"),
        (("improve", "two-cylinder-head", "--budget", "3"), "20<=x<=1000"),
    ],
)
def test_bad_input_is_refused_in_words(args, says):
    code, _, error = run(*args)
    assert code == 2 and says in error
