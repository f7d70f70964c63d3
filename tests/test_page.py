"""The page: self-contained, sound, safe against what a scenario may hold, complete."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from cli_examples import synthetic_lap, synthetic_plan, without_work
from html_read import Reader

from handlap.cli.drawing.letters import FAMILY
from handlap.cli.reports.assumptions import assumptions_of
from handlap.cli.reports.lap_report import lap_report
from handlap.cli.reports.page import render_page
from handlap.cli.reports.plan_report import plan_report

PICTURES = dict.fromkeys(("warp.png", "depth.png", "dye.png", "course.png"), b"\x89PNG made up")


def plan_page(**changes) -> str:
    return render_page(plan_report(synthetic_plan(**changes), all_checks=True), PICTURES)


def test_every_tag_is_closed_and_the_language_is_said():
    reader = Reader(plan_page())
    assert reader.open == []
    assert dict(reader.tags)["html"] == {"lang": "en-GB"}
    assert any(tag == "meta" and "viewport" in (attrs.get("name") or "") for tag, attrs in reader.tags)


def test_nothing_is_fetched_from_anywhere():
    page = plan_page()
    assert "http" not in page
    assert "url(" not in page
    assert "<script" not in page
    for tag, attrs in Reader(page).tags:
        assert tag not in ("link", "iframe", "script")
        assert (attrs.get("src") or "data:").startswith("data:image/png;base64,") or tag != "img"


def test_every_picture_says_what_it_shows():
    images = [attrs for tag, attrs in Reader(plan_page()).tags if tag == "img"]
    assert len(images) == 4
    assert all(len(image["alt"] or "") > 30 for image in images)


def test_words_from_a_scenario_cannot_become_tags():
    plan = synthetic_plan()
    hostile = '<script>alert("x")</script>'
    part = replace(plan.scenario.part, name=hostile)
    scenario = replace(plan.scenario, title=hostile, part=part, warnings=(hostile,))
    page = render_page(plan_report(replace(plan, scenario=scenario)), PICTURES)
    assert "<script" not in page
    assert hostile in Reader(page).text
    assert "<b>" not in page


def test_it_has_all_checks_all_assumptions_and_the_cautions():
    plan = synthetic_plan()
    text = Reader(plan_page()).text
    for caution in plan.cautions:
        assert caution in text
    for assumption in assumptions_of(plan.scenario):
        assert assumption.key in text
    rows = plan_page().count("<tr>")
    checks = sum(len(stage.checks) for stage in plan.stages)
    varied = sum(a.low is not None for a in assumptions_of(plan.scenario))
    assert rows == 2 * (checks + 1) + len(plan.stages) + 1 + varied + 1, (
        "two tables have a row for each check"
    )
    assert "[invented data]" in text


@pytest.mark.parametrize("answer", ["leave", "machine shop"])
def test_a_plan_without_work_shows_the_face_only(answer):
    page = render_page(plan_report(without_work(answer)), {"warp.png": b"\x89PNG made up"})
    assert page.count("<img") == 1
    assert Reader(page).open == []


def test_a_lap_has_a_page_too():
    page = render_page(lap_report(synthetic_lap()), PICTURES)
    assert page.count("<img") == 4
    assert Reader(page).open == []


def test_it_is_set_for_print_and_for_phones():
    page = plan_page()
    assert "@media print" in page
    assert re.search(r"@media \(max-width", page)


def test_a_narrow_screen_gets_pictures_of_its_own():
    narrow = {"course.png": b"narrow"}
    page = render_page(plan_report(synthetic_plan()), PICTURES, narrow)
    reader = Reader(page)
    assert reader.open == []
    (source,) = [attrs for tag, attrs in reader.tags if tag == "source"]
    assert "max-width" in (source["media"] or "")
    assert (source["srcset"] or "").startswith("data:image/png;base64,")
    assert page.count("<img") == 4


def test_no_band_breaks_over_two_lines():
    page = plan_page()
    assert re.search(r'<span class="band">\(\d[\d.]*–\d[\d.]*\)</span>', page)
    assert re.search(r"\.band\s*\{[^}]*white-space: nowrap", page)
    # Nor is there a band outside: all that follows a dash between figures stands in such a span.
    body = re.sub(r'<span class="band">[^<]*</span>|<[^>]*>', "", page.partition("</head>")[2])
    assert not re.search(r"\d–\d", body)


def test_in_the_dark_it_is_dark_and_maps_keep_a_light_card():
    page = plan_page()
    dark = page.partition("prefers-color-scheme: dark")[2].partition("\n}")[0]
    assert "--ground" in dark
    assert re.search(r"figure \.card \{ background: #fff", dark)


def test_pages_and_pictures_are_set_in_one_family():
    page = plan_page()
    families = re.findall(r"font(?:-family)?:([^;}]*serif)", page.partition("</style>")[0])
    assert len(families) == 1
    assert f'"{FAMILY}"' in families[0]


def test_same_plan_same_page():
    assert plan_page() == plan_page()
