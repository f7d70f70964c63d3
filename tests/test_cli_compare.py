"""``handlap compare`` as a person meets it."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner
from test_compare import uneven_job

from handlap.cli.drawing.compare_pictures import compare_pictures
from handlap.cli.main import main
from handlap.cli.reports.compare_report import UNITS, compare_json, compare_report
from handlap.cli.reports.page import render_page
from handlap.cli.reports.text import render
from handlap.cli.screen import Screen
from handlap.sim.comparing.compare import Comparison, compare
from handlap.sim.job.ways import Way, parse_way

TURNS = ["--way", "name=as it stands", "--way", "turning=none"]


def run(*args: str) -> tuple[int, str, str]:
    result = CliRunner().invoke(main, ["compare", *args])
    return result.exit_code, result.stdout, result.stderr


@pytest.fixture(scope="module")
def found() -> Comparison:
    ways = [Way("as it stands"), parse_way("turning=none"), parse_way("height=300 name=far too high")]
    return compare(uneven_job(), ways, members=16)


@pytest.mark.parametrize("width", [40, 80])
def test_the_report_fits_the_terminal(found, width):
    lines = render(compare_report(found), Screen(width)).splitlines()
    assert max(map(len, lines)) <= width


def test_the_report_names_best_and_what_cannot_be_done_and_how_often_to_turn(found):
    text = " ".join(render(compare_report(found), Screen(80)).split())
    best = found.results[found.order.places[0]].way.name
    assert text.startswith(f"BEST: {best.upper()}")
    assert "Far too high cannot be done: the part tips over" in text
    assert f"every {found.turns.largest} strokes or sooner" in text
    assert "narrows the spread of those in minutes" in text


def test_a_best_way_that_tapers_more_than_another_says_so(found):
    text = " ".join(render(compare_report(found), Screen(80)).split())
    best = found.results[found.order.places[0]].way.name
    assert ("further out of parallel" in text) == (best == "never turned")


def test_the_page_has_every_pair_and_all_pictures(found):
    pictures = compare_pictures(found)
    assert set(pictures) == {"ways.png", "removed.png", "turns.png"}
    assert all(data.startswith(b"\x89PNG") for data in pictures.values())
    page = render_page(compare_report(found, all_pairs=True), pictures)
    assert page.count("<img ") == 3


def test_pairs_beyond_the_first_are_folded_away_on_the_page(found):
    from dataclasses import replace

    # Two ways have but one pair; a third makes pairs that the first is not in.
    extra = tuple(replace(pair, first=pair.second, second=pair.first) for pair in found.pairs)
    report = compare_report(replace(found, pairs=found.pairs + extra), all_pairs=True)
    page = render_page(report, {})
    folded = page.partition("<details>")[2].partition("</details>")[0]
    assert "Every way less each before it" in folded
    assert "2 less 1" in folded
    assert "<details" not in render_page(compare_report(found, all_pairs=True), {})


def test_json_has_every_figure_of_every_way_and_pair(found):
    result = json.loads(json.dumps(compare_json(found), allow_nan=False))
    assert result["schema"] == "handlap.compare/1"
    able = [w for w in result["ways"] if w["cannot_be_done"] is None]
    assert sorted(w["place"] for w in able) == [1, 2]
    for way in able:
        assert {"flatness_um", "greatest_depth_um", "taper_along_um", "minutes", "sheets"} <= set(way)
    (pair,) = result["pairs"]
    assert set(pair["second_less_first"]) == {name for name, _ in UNITS.values()}
    assert result["turns"]["words"].startswith("How often to turn")


def test_the_command_writes_json_and_pictures_and_repeats_itself_exactly(tmp_path, drawn_anew, unrendered):
    args = ["two-cylinder-head", *TURNS, "--members", "16", "--no-turns", "--json"]
    first, second = run(*args), run(*args, "--out", str(tmp_path / "out"))
    names = {path.name for path in (tmp_path / "out").iterdir()}
    assert names == {f"two-cylinder-head-compare{rest}" for rest in (".html", "-ways.png", "-removed.png")}
    assert first[:2] == second[:2] and first[0] == 0
    assert [w["name"] for w in json.loads(first[1])["ways"]] == ["as it stands", "never turned"]


def test_a_bad_way_is_refused_before_any_work():
    code, _, error = run("two-cylinder-head", "--way", "speed=3 every=x")
    assert code == 2
    assert '"speed" is no part of a way' in error and "every=x" in error
