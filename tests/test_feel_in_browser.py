"""The page to lay a straightedge and push leaves on, in a headless browser, against the program's rule."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from browser import Browser, missing

from handlap.cli.reports.feel_page import render_feel
from handlap.sim.teaching.exercise import Exercise, make_exercise
from handlap.sim.teaching.exercise_feel import HOLDS
from handlap.sim.teaching.exercise_readings import read_felt, still_to_read, with_readings

pytestmark = pytest.mark.skipif(bool(missing()), reason=f"browser tests are skipped: {missing()}")

FELT = make_exercise(5, 2, feel=True)
"""Lines that rock among lines that do not."""
TEXT = "return document.getElementById(arguments[0]).textContent"
HANDED = "return document.getElementById('text').value"
READY = "return !document.documentElement.classList.contains('quiet')"
CLICK = "document.querySelector(arguments[0]).click()"
FEEL_ALL = """
const all = (at) => [...document.querySelectorAll(at)];
const said = () => document.getElementById('says').textContent;
for (let k = 0; k < all('#lines button').length; k++) {
  all('#lines button')[k].click();
  document.getElementById('press').click();
  const rocks = document.getElementById('rocks').textContent.startsWith('It rocks');
  document.querySelector(`[data-held=${rocks ? 'level' : 'rest'}]`).click();
  for (let i = 0; i < all('#stations button').length; i++) {
    all('#stations button')[i].click();
    // As one does: from the middle of the leaves, halving.
    let low = -1, high = all('#leaves button').length;
    while (high - low > 1) {
      const leaf = (low + high) >> 1;
      all('#leaves button')[leaf].click();
      if (said().includes('goes')) low = leaf; else high = leaf;
    }
  }
}
"""


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("feel") / "feel.html"
    path.write_text(render_feel(FELT), encoding="utf-8")
    return path


@pytest.fixture
def page(browser: Browser) -> Browser:
    browser.run("window.localStorage.clear()")
    browser.run("location.reload()")
    browser.until(READY)
    return browser


def says(page: Browser) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = page.run(
        "return feltOf(JSON.parse(document.getElementById('feel-data').textContent))"
        ".map(({ rocks, goes }) => ({ rocks, goes: goes.map((one) => [...one]) }))"
    )
    return found


def test_what_comes_out_of_hiding_is_what_leaves_say(page):
    assert says(page) == [
        {"rocks": line.rocks, "goes": [list(counts) for counts in line.goes]} for line in FELT.felt
    ]
    assert {line.rocks for line in FELT.felt} == {True, False}


def test_a_face_felt_all_over_is_handed_over_and_is_what_the_program_reads(page):
    page.run(FEEL_ALL)
    assert page.run(TEXT, "progress").startswith("All ")
    text = page.run(HANDED)
    lines, answers = read_felt(text, "felt.txt", FELT.task)
    assert answers == {} and [line.name for line in lines] == [line.name for line in FELT.felt]
    marked: Exercise = with_readings(FELT, lines)
    assert marked.slips == () and still_to_read(marked.task) == []
    leaves = sorted(FELT.scenario.readings.leaves)
    for line, felt in zip(lines, FELT.felt, strict=True):
        assert line.held == ("level" if felt.rocks else "rest")
        for i, s in enumerate(line.stations):
            assert (s.goes, s.stops) == (
                felt.station(s.at, i, line.held, leaves).goes,
                pytest.approx(s.stops),
            )
    # All of it is there again when the page is opened again.
    page.run("location.reload()")
    page.until(READY)
    assert page.run(HANDED) == text


def test_no_leaf_is_pushed_before_it_is_said_how_the_edge_is_held_and_holding_otherwise_begins_anew(page):
    page.run(CLICK, "#leaves button")
    assert "how the straightedge is held" in page.run(TEXT, "says")
    page.run(CLICK, "[data-held=rest]")
    page.run(CLICK, "#leaves button")
    goes = FELT.felt[0].goes[HOLDS.index("rest")][0] > 0
    assert ("goes" if goes else "stops") in page.run(TEXT, "says")
    assert '"A1"' in page.run(HANDED)
    page.run(CLICK, "[data-held=level]")
    assert "felt anew" in page.run(TEXT, "says")
    assert '"A1"' not in page.run(HANDED)


def test_answers_go_with_the_readings(page):
    page.run(CLICK, "[data-held=rest]")
    page.run(CLICK, "#leaves button")
    page.run(
        "const one = document.getElementById('answer-shape');"
        "one.value = 'twisted'; one.dispatchEvent(new Event('input'));"
    )
    lines, answers = read_felt(page.run(HANDED), "felt.txt", FELT.task)
    assert answers == {"shape": "twisted"} and len(lines) == 1


def test_a_touch_on_the_face_picks_the_station_there(page):
    page.size(390, 780)
    page.run("window.dispatchEvent(new Event('resize'))")
    page.until("return document.documentElement.scrollWidth <= window.innerWidth")
    line = FELT.task.lines[1]
    u = line.start[0] + line.at[2] / line.length * (line.end[0] - line.start[0])
    v = line.start[1] + line.at[2] / line.length * (line.end[1] - line.start[1])
    page.run(
        "const plan = document.getElementById('plan'), box = plan.getBoundingClientRect(), at = plan.place;"
        "plan.dispatchEvent(new MouseEvent('click', { bubbles: true, clientX: box.left + at.X(arguments[0]),"
        " clientY: box.top + at.Y(arguments[1]) }));",
        u, v,
    )  # fmt: skip
    pressed = (
        "return [...document.querySelectorAll('#stations [aria-pressed=true]')].map((b) => b.textContent)"
    )
    assert page.run(pressed)[0].startswith(line.label(2))
    nameless = page.run(
        "return [...document.querySelectorAll('input, textarea')].filter((one) => !one.labels.length).length"
    )
    assert nameless == 0
