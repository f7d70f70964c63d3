"""The page of ``handlap play`` in a headless browser: slider, play, keys, texts, a narrow screen.

Driven through chromedriver's plain HTTP, see :mod:`browser`; where there is no browser, it is skipped.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from browser import Browser, missing
from jobs import UM, hollow, job
from test_play import HOSTILE, WORK

from handlap.cli.commands.play_command import play_json
from handlap.cli.drawing.play_views import figures_of, sentence_of
from handlap.cli.reports.play_page import render_play
from handlap.sim.job.ways import parse_way
from handlap.sim.teaching.frames import Followed, follow

pytestmark = pytest.mark.skipif(bool(missing()), reason=f"browser tests are skipped: {missing()}")

FRAME = "return Number(document.getElementById('stroke').value)"
SEE_IT_MOVE = """
const from = performance.now(), at = document.getElementById('stroke');
const look = setInterval(() => {
  if (Number(at.value) > 0) { window.moved = performance.now() - from; clearInterval(look); }
}, 20);
"""
"""The page keeps by its own clock when it went on, for whoever asks may come late [ms]."""
TEXT = "return document.getElementById(arguments[0]).textContent"
BUTTON = "return document.getElementById('play').textContent"
PLACE = """
const box = document.getElementById(arguments[0]).getBoundingClientRect();
return [box.left, box.top, box.width, box.height];
"""
COLOURS = """
return [...document.querySelectorAll('canvas')].map((canvas) => {
  const data = canvas.getContext('2d').getImageData(0, 0, canvas.width, canvas.height).data;
  const found = new Set();
  for (let i = 0; i < data.length; i += 4) {
    if (data[i + 3] === 255) found.add(data[i] << 16 | data[i + 1] << 8 | data[i + 2]);
  }
  return found.size;
});
"""
PICTURES = "return [...document.querySelectorAll('canvas[data-view]')].map((canvas) => canvas.toDataURL())"


@pytest.fixture(scope="module")
def followed() -> Followed:
    scenario = job(
        face=hollow(80 * UM, 0.12), ages=True, turn_every=60, states=((0.0, 0.0), (3.14159, 0.0)),
        check_every=60, **WORK,
    )  # fmt: skip
    return follow(scenario, [parse_way("height=60 name=high hands")], strokes=600, frames=40)


@pytest.fixture(scope="module")
def file(followed: Followed, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("play") / "page.html"
    path.write_text(render_play(followed), encoding="utf-8")
    return path


def shown(browser: Browser, followed: Followed) -> int:
    """The frame shown, after all the page says of it has been held against the program's own figures."""
    i = browser.run(FRAME)
    told = play_json(followed)
    strokes = told["strokes"][i]
    assert browser.run(TEXT, "count") == f"stroke {strokes} of {told['strokes'][-1]}"
    value = browser.run("return document.getElementById('stroke').getAttribute('aria-valuetext')")
    assert value == browser.run(TEXT, "told")
    assert value.startswith(f"Stroke {strokes}: ")
    for w, way in enumerate(followed.ways):
        figures = tuple(browser.run(TEXT, f"now-{w}-{n}") for n in range(len(figures_of(way.frames, i))))
        assert figures == figures_of(way.frames, i)
        assert float(figures[0]) == pytest.approx(told["ways"][w]["flatness_um"][i], abs=0.051)
        assert float(figures[2]) == pytest.approx(told["ways"][w]["mean_depth_um"][i], abs=0.051)
        assert sentence_of(way.frames, i) in value
    return i


def place(browser: Browser, name: str) -> tuple[float, float, float, float]:
    left, top, width, height = browser.run(PLACE, name)
    return left, top, width, height


def test_it_opens_at_the_start_with_every_picture_drawn(browser, followed):
    assert shown(browser, followed) == 0
    colours = browser.run(COLOURS)
    assert len(colours) == 16
    assert min(colours) > 1


def test_the_slider_is_dragged(browser, followed):
    left, top, width, height = place(browser, "stroke")
    before = browser.run(PICTURES)
    middle = top + height / 2
    browser.drag((left + 8, middle), (left + width / 2, middle))
    i = shown(browser, followed)
    last = len(followed.ways[0].frames.strokes) - 1
    assert abs(i - last / 2) <= 2
    after = browser.run(PICTURES)
    assert all(a != b for a, b in zip(before, after, strict=True))
    browser.drag((left + width / 2, middle), (left + width - 2, middle))
    assert shown(browser, followed) == last


def test_it_plays_pauses_holds_and_ends(browser, followed):
    left, top, width, height = place(browser, "play")
    at = (left + width / 2, top + height / 2)
    assert browser.run(BUTTON) == "Play"
    browser.click(at)
    assert browser.run(BUTTON) == "Pause"
    browser.until(f"{FRAME} >= 3")
    browser.click(at)
    assert browser.run(BUTTON) == "Play"
    i = shown(browser, followed)
    assert browser.run(TEXT, "spoken") == browser.run(TEXT, "told")
    browser.until("window.since ??= performance.now(); return performance.now() - window.since > 900")
    assert shown(browser, followed) == i
    last = len(followed.ways[0].frames.strokes) - 1
    browser.press("End", "Left", "Left", "Left")
    assert shown(browser, followed) == last - 3
    browser.click(at)
    browser.until(f"{FRAME} === {last}")
    browser.until("return document.getElementById('play').textContent === 'Play'")
    assert shown(browser, followed) == last
    # From the end it starts anew.
    browser.click(at)
    browser.until(f"{FRAME} < {last}")
    browser.click(at)


def test_keys_move_it(browser, followed):
    last = len(followed.ways[0].frames.strokes) - 1
    browser.run("document.getElementById('stroke').focus()")
    browser.press("Right", "Right", "Right")
    assert shown(browser, followed) == 3
    browser.press("Left")
    assert shown(browser, followed) == 2
    browser.press("End")
    assert shown(browser, followed) == last
    browser.press("Home")
    assert shown(browser, followed) == 0
    browser.press("Space")
    assert browser.run(BUTTON) == "Pause"
    browser.until(f"{FRAME} > 1")
    browser.press("Space")
    assert browser.run(BUTTON) == "Play"
    shown(browser, followed)
    # Whoever takes the slider in hand stops the play.
    browser.press("Space", "Home")
    assert browser.run(BUTTON) == "Play"
    assert shown(browser, followed) == 0


def test_nothing_is_announced_while_it_plays(browser, followed):
    """`output` is a live region by itself (HTML, section The output element; WAI-ARIA, role status)."""
    assert browser.run("return document.getElementById('count').getAttribute('aria-live')") == "off"
    browser.run("document.getElementById('stroke').focus()")
    before = browser.run("return document.getElementById('stroke').getAttribute('aria-valuetext')")
    browser.press("Space")
    browser.until(f"{FRAME} >= 2")
    assert browser.run("return document.getElementById('stroke').getAttribute('aria-valuetext')") == before
    assert browser.run(TEXT, "spoken") == ""
    browser.press("Space")
    shown(browser, followed)


def test_the_sentence_is_there_on_a_phone_too(browser):
    browser.size(390, 780)
    assert browser.run("return document.getElementById('told').checkVisibility()")


def test_keys_work_wherever_the_focus_is_and_focus_shows(browser, followed):
    browser.press("Right", "Right")
    assert shown(browser, followed) == 2
    # Home and End are the page's own where neither slider nor button has the focus.
    browser.press("End")
    # A key pressed while the page still glides is lost on a busy machine.
    browser.until("return scrollY > 0 && scrollY + innerHeight >= document.documentElement.scrollHeight - 2")
    assert shown(browser, followed) == 2
    browser.press("Home")
    browser.until("return window.scrollY === 0")
    assert shown(browser, followed) == 2
    browser.press("Tab")
    assert browser.run("return document.activeElement.id") == "play"
    browser.press("End")
    assert shown(browser, followed) == len(followed.ways[0].frames.strokes) - 1
    browser.press("Home")
    outline = "return getComputedStyle(document.activeElement).outlineStyle"
    assert browser.run(outline) == "solid"
    browser.press("Space")
    assert browser.run(BUTTON) == "Pause"
    browser.press("Space")
    assert browser.run(BUTTON) == "Play"


def test_calm_where_motion_is_not_wanted(browser, followed):
    browser.tell(
        "Emulation.setEmulatedMedia", features=[{"name": "prefers-reduced-motion", "value": "reduce"}]
    )
    try:
        browser.run(SEE_IT_MOVE)
        browser.press("Space")
        assert browser.until("return window.moved") > 600.0
        browser.press("Space")
        assert shown(browser, followed) <= 6
    finally:
        browser.tell("Emulation.setEmulatedMedia", features=[])


@pytest.mark.parametrize("width", [320, 360, 700, 1280])
def test_nothing_runs_off_a_narrow_screen(browser, followed, width):
    browser.size(width, 780)
    browser.run("window.dispatchEvent(new Event('resize'))")
    browser.until("return document.documentElement.scrollWidth <= window.innerWidth")
    columns = browser.run(
        "return getComputedStyle(document.querySelector('.views')).gridTemplateColumns.split(' ').length"
    )
    assert columns == {320: 1, 360: 1, 700: 2, 1280: 4}[width]
    assert min(browser.run(COLOURS)) > 1
    # The slider stays in sight however far one scrolls.
    browser.run("window.scrollTo(0, document.body.scrollHeight)")
    assert 0 <= place(browser, "stroke")[1] < 200


def test_every_control_and_picture_has_a_name(browser):
    nameless = browser.run(
        "return [...document.querySelectorAll('canvas[role=img], svg[role=img]')]"
        ".filter((picture) => (picture.getAttribute('aria-label') || '').length < 12).length"
    )
    assert nameless == 0
    assert browser.run("return document.getElementById('stroke').labels[0].textContent") == "Strokes done"
    assert browser.run("return document.getElementById('spoken').getAttribute('aria-live')") == "polite"
    ids = browser.run("return [...document.querySelectorAll('[id]')].map((one) => one.id)")
    assert len(ids) == len(set(ids))


def test_the_page_may_not_reach_the_network(browser, one_browser):
    """The policy stops a script of the page itself; the browser says so in its log."""
    stopped = browser.run(
        "const made = document.createElement('img');"
        "const told = new Promise((done) => document.addEventListener('securitypolicyviolation',"
        " (event) => done(event.effectiveDirective)));"
        "made.src = 'http://192.0.2.1/x.png'; document.body.append(made); return told;"
    )
    assert stopped == "img-src"
    one_browser.log()


def test_names_from_a_scenario_stay_words(one_browser, followed, tmp_path):
    from dataclasses import replace

    scenario = replace(followed.scenario, title=HOSTILE)
    ways = (replace(followed.ways[0], name=HOSTILE), followed.ways[1])
    path = tmp_path / "hostile.html"
    path.write_text(render_play(replace(followed, scenario=scenario, ways=ways)), encoding="utf-8")
    one_browser.log()
    one_browser.open(path)
    assert HOSTILE in one_browser.run("return document.title")
    assert HOSTILE in one_browser.run(TEXT, "told")
    assert one_browser.run("return document.images.length") == 0
    assert one_browser.log() == []


def test_without_scripts_the_figures_are_there(file, followed):
    """As printed from the page's own text: the first and the last figures and the curves."""
    browser = Browser(flags=("--blink-settings=scriptEnabled=false",))
    try:
        browser.open(file)
        found: Any = browser.tell("Page.captureScreenshot", format="png")
        assert len(found["data"]) > 10_000
        tree = json.dumps(browser.tell("Accessibility.getFullAXTree"))
        assert figures_of(followed.ways[0].frames, -1)[0] in tree
        assert "Without scripts" in tree
        assert '"Strokes done"' not in tree
    finally:
        browser.close()
