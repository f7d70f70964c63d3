"""The page for the bench in a headless browser, as a phone shows it: counted, reminded, looked, handed over.

Driven through chromedriver's plain HTTP, see :mod:`browser`; where there is no browser, it is skipped.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from bench_page_cases import OTHER, block, entry, job_file, marks_of_rules, page_plan, page_text, rule_cases
from browser import Browser, missing
from click.testing import CliRunner
from test_play import HOSTILE

from handlap.cli.main import main
from handlap.cli.sheets.sheet_bench_page import bench_page_data, render_bench_page
from handlap.sim.bench.bench_page_text import read_page_text
from handlap.sim.bench.log_file import read_log
from handlap.sim.common.units import System
from handlap.sim.job.scenario import Scenario

pytestmark = pytest.mark.skipif(bool(missing()), reason=f"browser tests are skipped: {missing()}")

WIDTH, HEIGHT = 390, 844
"""A phone."""
TARGET = 72.0
"""12 mm on a phone of 6 pixels a millimetre (390 of them on some 65 mm)."""
GUARD = 0.6
"""Longer than a card that has just come up waits before it may be answered [s]."""
PLACE = """
const box = document.querySelector(arguments[0]);
box.scrollIntoView({block: 'center', behavior: 'instant'});
const at = box.getBoundingClientRect();
return [at.left + at.width / 2, at.top + at.height / 2];
"""
TEXT = "return document.querySelector(arguments[0]).textContent"
CARDS = "return [...document.querySelectorAll('#cards .card')].map((one) => one.dataset.due || 'after')"
HANDED = "return document.getElementById('text').value"
CONTRAST = """
const light = (c) => {
  const [r, g, b] = c.map((x) => (x /= 255, x <= 0.03928 ? x / 12.92 : ((x + 0.055) / 1.055) ** 2.4));
  return 0.2126 * r + 0.7152 * g + 0.0722 * b;
};
const parse = (c) => c.match(/[\\d.]+/g).map(Number);
const ground = (one) => {
  for (let at = one; at; at = at.parentElement) {
    const style = getComputedStyle(at);
    if (style.backgroundImage !== 'none') return parse(style.backgroundImage.match(/rgb[^)]*\\)/)[0]);
    const c = parse(style.backgroundColor);
    if (c.length < 4 || c[3] > 0) return c;
  }
};
return [...document.querySelectorAll('body *')].filter((one) =>
  one.checkVisibility() && !one.closest('svg, script') &&
  [...one.childNodes].some((node) => node.nodeType === 3 && node.textContent.trim())).map((one) => {
  const [a, b] = [light(parse(getComputedStyle(one).color)), light(ground(one))].sort((x, y) => y - x);
  return [(a + 0.05) / (b + 0.05), one.id || one.className || one.tagName, one.textContent.slice(0, 30)];
}).filter(([ratio]) => ratio < 4.5);
"""
SMALL = """
const all = [...document.querySelectorAll('button, input, textarea, summary')];
return all.filter((one) => one.checkVisibility()).map((one) => {
  const at = one.getBoundingClientRect();
  return [one.id || one.textContent, Math.round(at.width), Math.round(at.height)];
}).filter(([, wide, high]) => high < arguments[0] - 0.5 || wide < arguments[0] * (arguments[1] || 1) - 0.5);
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("bench")


@pytest.fixture(scope="module")
def job(folder: Path) -> Scenario:
    return job_file(folder)


def write_page(folder: Path, job: Scenario, name: str, system: System = "mm", **marks: Any) -> Path:
    path = folder / f"{name}.html"
    path.write_text(render_bench_page(page_plan(job, **marks), system), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def file(folder: Path, job: Scenario) -> Path:
    return write_page(folder, job, "page", allowance_mass=2e-3)


@pytest.fixture(scope="module")
def one_browser() -> Iterator[Browser]:
    browser = Browser(width=WIDTH, height=HEIGHT)
    yield browser
    browser.close()


@pytest.fixture
def browser(one_browser: Browser, file: Path) -> Iterator[Browser]:
    """The page opened for the first time; at the end it must not have complained of anything."""
    one_browser.size(WIDTH, HEIGHT)
    begin(one_browser, file)
    yield one_browser
    assert one_browser.log() == []


def begin(browser: Browser, file: Path) -> None:
    """Open a page on a phone that has not had it yet."""
    browser.open(file)
    browser.run("window.localStorage.clear()")
    browser.open(file)
    browser.log()


def tap(browser: Browser, where: str) -> None:
    left, top = browser.run(PLACE, where)
    browser.click((left, top))


def answer(browser: Browser, what: str, button: int = 1) -> None:
    """Answer a card; not before it takes answers."""
    time.sleep(GUARD)
    tap(browser, f'[data-due="{what}"] button:nth-child({button})')


def get_going(browser: Browser) -> None:
    answer(browser, "begin", 2)
    answer(browser, "first sheet")


def strokes(browser: Browser, count: int) -> None:
    for _ in range(count // 10):
        tap(browser, "#ten")
    for _ in range(count % 10):
        tap(browser, "#stroke")


def counted(browser: Browser) -> int:
    return int(browser.run(TEXT, "#number"))


def type_in(browser: Browser, where: str, text: str) -> None:
    browser.run("document.querySelector(arguments[0]).focus()", where)
    browser.press(*text)


def handed(browser: Browser) -> str:
    tap(browser, 'nav [data-view="hand"]')
    return str(browser.run(HANDED))


def bring(job: Scenario, folder: Path, text: str, *args: str):
    path = folder / "handed.txt"
    path.write_text(text, encoding="utf-8")
    return CliRunner().invoke(main, ["log", job.source, "--from", str(path), *args])


def test_count_by_tap_and_nothing_lost_on_reload(browser, file):
    get_going(browser)
    strokes(browser, 23)
    assert counted(browser) == 23
    tap(browser, "#less")
    assert counted(browser) == 22
    browser.open(file)
    assert counted(browser) == 22
    assert browser.run(TEXT, "#total") == "22 strokes in all"
    assert browser.run(CARDS) == []
    assert "check in 58" in browser.run(TEXT, "#ahead")


def test_by_pace_and_paused_at_once(browser):
    get_going(browser)
    browser.run("document.getElementById('set').open = true")
    for _ in range(20):
        tap(browser, "#faster")
    tap(browser, "#pace")
    tap(browser, "#stroke")
    browser.until("return Number(document.getElementById('number').textContent) >= 3")
    tap(browser, "#stroke")
    stopped = counted(browser)
    browser.until("window.since ??= performance.now(); return performance.now() - window.since > 1600")
    assert counted(browser) == stopped
    assert browser.run(TEXT, "#doing") == "Tap to start"


def test_pace_pauses_when_nobody_sees_it(browser):
    get_going(browser)
    tap(browser, "#pace")
    tap(browser, "#stroke")
    assert browser.run(TEXT, "#doing") == "Tap to pause"
    browser.run(
        "Object.defineProperty(document, 'hidden', {value: true, configurable: true});"
        "document.dispatchEvent(new Event('visibilitychange'));"
    )
    assert browser.run(TEXT, "#doing") == "Tap to start"


def test_what_is_due_comes_up_and_a_tapping_thumb_does_not_answer_it(browser):
    get_going(browser)
    strokes(browser, 80)
    assert browser.run(CARDS) == ["look"]
    # The thumb still taps where the strokes were.
    tap(browser, '[data-due="look"] button:nth-child(2)')
    assert browser.run(CARDS) == ["look"]
    answer(browser, "look", 2)
    strokes(browser, 40)
    assert browser.run(CARDS) == ["turn"]
    assert browser.run(TEXT, "#lie") == "It lies now as 1 of 4 of the round."
    before = browser.run("return document.getElementById('round').innerHTML")
    answer(browser, "turn")
    assert browser.run(TEXT, "#lie") == "It lies now as 2 of 4 of the round."
    assert browser.run("return document.getElementById('round').innerHTML") != before
    strokes(browser, 40)
    answer(browser, "look", 2)
    strokes(browser, 80)
    assert browser.run(CARDS) == ["look", "brush", "turn"]
    assert counted(browser) == 240
    browser.press("Space")
    assert counted(browser) == 240


def station(browser: Browser, line: int, number: int) -> None:
    """Choose a line, and tap a station on the face."""
    tap(browser, f"#lines button:nth-child({line})")
    spot = (
        "const own = [...document.querySelectorAll('#face .spot.own')][arguments[0]];"
        "document.getElementById('face').scrollIntoView({block: 'center', behavior: 'instant'});"
        "const at = own.getBoundingClientRect(); return [at.left + at.width / 2, at.top + at.height / 2];"
    )
    left, top = browser.run(spot, number - 1)
    browser.click((left, top))


def leaf(browser: Browser, group: str, name: str) -> None:
    place = browser.run(
        "const all = [...document.querySelectorAll(arguments[0])];"
        "return all.findIndex((one) => one.textContent === arguments[1])",
        f"#{group} button",
        name,
    )
    tap(browser, f"#{group} button:nth-child({place + 1})")


def test_a_whole_look_handed_over_and_brought_in(browser, job, folder, file):
    answer(browser, "begin")
    type_in(browser, "#grams", "3120,41")
    type_in(browser, "#scale", "0.01")
    tap(browser, "#dyed")
    tap(browser, "#write")
    answer(browser, "first sheet")
    strokes(browser, 80)
    answer(browser, "look")
    assert "Expected: the thickest that goes anywhere is" in browser.run(TEXT, "#leaf-band")
    station(browser, 1, 2)
    leaf(browser, "goes", "40")
    station(browser, 5, 3)
    leaf(browser, "goes", "200")
    leaf(browser, "stops", "300")
    assert "▲ Thicker than expected at 1 station" in browser.run(TEXT, "#leaf-mark")
    tap(browser, "#rest")
    browser.open(file)  # the phone dies in the middle of it
    assert browser.run(CARDS) == ["look"]
    answer(browser, "look")
    type_in(browser, "#grams", "3119.9")
    assert browser.run("return document.getElementById('scale').value") == "0.01"
    assert browser.run(TEXT, "#gram-mark").startswith("▲ 0.51 g off in all, more than expected")
    tap(browser, "#brushes button:nth-child(4)")
    (left, top), (right, _) = (browser.run(PLACE, f".zone:nth-child({k})") for k in (6, 9))
    browser.drag((left, top), (right, top), steps=20)
    assert browser.run(TEXT, "#dye-mark") == ""
    tap(browser, ".zone:nth-child(15)")
    assert "Not as expected in 1 zone" in browser.run(TEXT, "#dye-mark")
    type_in(browser, "#note", "warm hands")
    tap(browser, "#write")
    assert browser.run(TEXT, "#number") == "0"
    text = handed(browser)
    found = bring(job, folder, text)
    assert found.exit_code == 0, found.output
    first, second = read_log(job).entries
    assert (first.part_mass, first.scale, first.dyed, first.strokes) == (
        pytest.approx(3.12041), pytest.approx(1e-5), True, 0,
    )  # fmt: skip
    assert (second.strokes, second.paper, second.new_sheet, second.turn_every) == (80, "P120", True, 120)
    assert second.dye_seen == "????? gggg? ????g"
    assert second.note == "warm hands"
    told = {line.name: {round(1e3 * s.at): s for s in line.stations} for line in second.readings}
    lines = bench_page_data(page_plan(job), "mm")["lines"]
    assert sum(len(line) for line in told.values()) == sum(len(line["at"]) for line in lines)
    by = {line["letter"]: line for line in lines}
    own = told[by["A"]["name"]][round(by["A"]["at"][1])]
    assert (own.goes, own.stops) == (pytest.approx(40e-6), pytest.approx(50e-6))
    own = told[by["E"]["name"]][round(by["E"]["at"][2])]
    assert (own.goes, own.stops) == (pytest.approx(200e-6), pytest.approx(300e-6))
    assert bring(job, folder, handed(browser)).exit_code == 0
    assert len(read_log(job).entries) == 2
    # Another phone with the same page did strokes of its own: both are shown, nothing is merged.
    begin(browser, file)
    get_going(browser)
    strokes(browser, 30)
    tap(browser, 'nav [data-view="look"]')
    tap(browser, "#write")
    found = bring(job, folder, handed(browser))
    assert found.exit_code == 2
    assert "entry 2, " in found.stderr
    assert "30 strokes, P120, new sheet" in found.stderr
    assert len(read_log(job).entries) == 2
    Path(job.source).with_name("head.log.jsonl").unlink()


def test_what_is_wrong_is_said_and_stays(browser):
    answer(browser, "begin")
    tap(browser, "#write")
    assert "Nothing to write down yet" in browser.run(TEXT, "#faults")
    type_in(browser, "#grams", "3 kg")
    tap(browser, "#write")
    faults = browser.run(TEXT, "#faults")
    assert "“3 kg” is no number of grams" in faults
    assert "in what steps the scale shows" in faults
    assert browser.run("return document.getElementById('grams').value") == "3 kg"


def test_taken_back_and_written_anew(browser, job):
    get_going(browser)
    strokes(browser, 50)
    tap(browser, 'nav [data-view="look"]')
    type_in(browser, "#note", "wrong")
    tap(browser, "#write")
    strokes(browser, 5)
    tap(browser, 'nav [data-view="hand"]')
    tap(browser, "#undo")
    text = read_page_text(browser.run(HANDED), "page")
    assert [one.takes_back for one in text.found] == ["", text.found[0].entry.id]
    assert text.uncounted == 55
    tap(browser, 'nav [data-view="look"]')
    assert browser.run("return document.getElementById('note').value") == "wrong"
    tap(browser, "#write")
    last = read_page_text(handed(browser), "page").found[-1].entry
    assert (last.strokes, last.new_sheet, last.note) == (55, True, "wrong")
    assert browser.run(TEXT, "#total") == "55 strokes in all"


def test_stops_are_said_in_the_moment_they_hold(one_browser, job, folder):
    file = write_page(folder, job, "stops", allowance_strokes=24, allowance_mass=None, worse_strokes=500)
    begin(one_browser, file)
    get_going(one_browser)
    strokes(one_browser, 30)
    assert counted(one_browser) == 24
    assert one_browser.run(CARDS) == ["rule allowance strokes"]
    words = one_browser.run(TEXT, ".card.stop")
    assert "Allowance near, by the strokes" in words
    assert "From 24 strokes of the whole job on" in words
    answer(one_browser, "rule allowance strokes")
    assert "Allowance near" in one_browser.run(TEXT, "#told")
    strokes(one_browser, 10)
    assert counted(one_browser) == 34
    assert one_browser.log() == []


def test_goal_met_is_said_when_it_is_written_down(browser):
    get_going(browser)
    strokes(browser, 20)
    tap(browser, 'nav [data-view="look"]')
    tap(browser, "#rest")
    tap(browser, "#write")
    assert browser.run(CARDS) == ["rule goal"]
    assert "the 50 µm leaf goes in at no station of any line" in browser.run(TEXT, ".card.stop")


def test_storage_denied_it_says_so_and_goes_on_from_its_text(one_browser, file):
    begin(one_browser, file)
    denied = (
        "Object.defineProperty(window, 'localStorage',"
        " {get() { throw new DOMException('no', 'SecurityError'); }});"
    )
    made = one_browser.tell("Page.addScriptToEvaluateOnNewDocument", source=denied)
    try:
        one_browser.open(file)
        assert "This browser keeps nothing" in one_browser.run(TEXT, "#unkept")
        get_going(one_browser)
        strokes(one_browser, 20)
        tap(one_browser, 'nav [data-view="look"]')
        tap(one_browser, "#write")
        tap(one_browser, 'nav [data-view="count"]')
        strokes(one_browser, 12)
        text = handed(one_browser)
        tap(one_browser, "#keep")  # so that it does not ask before it is closed
        one_browser.tell("Page.navigate", url="about:blank")
        dismiss(one_browser)
        one_browser.open(file)
        assert counted(one_browser) == 0
        tap(one_browser, 'nav [data-view="hand"]')
        one_browser.run("document.querySelector('#hand-view details').open = true")
        one_browser.run("document.getElementById('given').value = arguments[0]", text[:-40])
        tap(one_browser, "#take")
        assert "cut short or changed" in one_browser.run(TEXT, "#hand-said")
        one_browser.run("document.getElementById('given').value = arguments[0]", text)
        tap(one_browser, "#take")
        assert one_browser.run(TEXT, "#total") == "32 strokes in all"
        again = read_page_text(one_browser.run(HANDED), "page")
        before = read_page_text(text, "page")
        assert again.found == before.found
        assert again.uncounted == before.uncounted == 12
    finally:
        one_browser.tell("Page.removeScriptToEvaluateOnNewDocument", identifier=made["identifier"])
        one_browser.tell("Page.navigate", url="about:blank")
        dismiss(one_browser)
    one_browser.log()


def dismiss(browser: Browser) -> None:
    """Leave the page although it asks."""
    try:
        browser.tell("Page.handleJavaScriptDialog", accept=True)
    except RuntimeError:
        return


def test_an_older_page_with_more_in_it_is_not_forgotten(one_browser, job, folder, file):
    begin(one_browser, file)
    get_going(one_browser)
    strokes(one_browser, 20)
    tap(one_browser, 'nav [data-view="look"]')
    tap(one_browser, "#write")
    one_browser.open(write_page(folder, job, "newer", worse_strokes=333))
    assert "An older page of this job on this phone holds 1 entries" in one_browser.run(TEXT, "#behind")
    time.sleep(GUARD)
    tap(one_browser, "#behind button")
    one_browser.until("return document.getElementById('text').value.includes('\"strokes\":20')")
    text = read_page_text(one_browser.run(HANDED), "page")
    assert [one.entry.strokes for one in text.found] == [20]
    one_browser.log()


def test_the_script_holds_the_rules_of_the_program(browser, job):
    """Every case of the table, with thresholds as data."""
    plan = page_plan(job)
    data = bench_page_data(replace(plan, marks=marks_of_rules(job)), "mm")
    script = (
        "const [job, entries, more] = arguments, own = benchRules.standing(entries);"
        "const done = own.reduce((sum, e) => sum + (e.strokes || 0), 0);"
        "return benchRules.rulesThatHold(job, own, done + more);"
    )
    for case in rule_cases(job):
        assert tuple(browser.run(script, data, list(case.entries), case.more)) == case.held, case.name


def test_the_script_reads_and_writes_the_text_of_the_program(browser, job):
    text = page_text(job, entry(1, 0, note="µ, “ö” <b>"), block(1, 3, phone=OTHER), uncounted=7)
    script = (
        "const found = benchRules.readText(arguments[0]);"
        "return benchRules.textOf(found.head, found.entries, found.open);"
    )
    assert browser.run(script, text) == text


@pytest.mark.parametrize(
    ("marks", "wanted"),
    [
        ([], [{"strokes": 240, "new_sheet": True, "turn_every": 0}]),
        (
            [(80, "brush"), (120, "turn"), (160, "brush")],
            [{"strokes": 240, "new_sheet": True, "brush_every": 80, "turn_every": 120}],
        ),
        (
            [(100, "sheet"), (120, "turn"), (180, "brush")],
            [
                {"strokes": 100, "new_sheet": True, "turn_every": 120},
                {"strokes": 140, "new_sheet": True, "brush_every": 80, "turn_every": 120},
            ],
        ),
        (
            [(80, "brush"), (100, "brush"), (120, "turn")],
            [
                {"strokes": 80, "new_sheet": True, "turn_every": 120},
                {"strokes": 20, "brushed": True, "turn_every": 120},
                {"strokes": 140, "brushed": True, "turn_every": 120},
            ],
        ),
        ([(60, "turn"), (200, "turn")], [{"strokes": 240, "new_sheet": True, "turn_every": 80}]),
    ],
)
def test_a_block_becomes_entries_as_the_log_means_them(browser, marks, wanted):
    script = (
        "const marks = arguments[0].map(([s, k]) => ({s, k}));"
        "const block = {strokes: 240, newSheet: true, brushed: false, turns: true, turnEvery: 120};"
        "return benchRules.segments({...block, sinceTurn: 0, marks}).map(({end, ...one}) => one);"
    )
    assert browser.run(script, marks) == wanted


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_it_fits_a_phone_and_is_read_and_hit(browser, scheme):
    browser.tell("Emulation.setEmulatedMedia", features=[{"name": "prefers-color-scheme", "value": scheme}])
    try:
        for width in (390, 320):
            browser.size(width, HEIGHT)
            for view in ("count", "look", "hand"):
                tap(browser, f'nav [data-view="{view}"]')
                browser.run("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
                assert browser.run("return document.documentElement.scrollWidth") <= width
                assert browser.run(CONTRAST) == []
                if width == WIDTH:
                    # Zones of the dye are five beside one another: as high as any, and nearly as wide.
                    assert browser.run(SMALL, TARGET, 0.95) == []
    finally:
        browser.tell("Emulation.setEmulatedMedia", features=[])
        browser.size(WIDTH, HEIGHT)


def test_it_may_not_reach_the_network(browser):
    stopped = browser.run(
        "const made = document.createElement('img');"
        "const told = new Promise((done) => document.addEventListener('securitypolicyviolation',"
        " (event) => done(event.effectiveDirective)));"
        "made.src = 'http://192.0.2.1/x.png'; document.body.append(made); return told;"
    )
    assert stopped == "img-src"
    browser.log()


def test_every_control_has_a_name_of_its_own(browser):
    nameless = browser.run(
        "return [...document.querySelectorAll('button')].filter((one) =>"
        " !(one.getAttribute('aria-label') || one.textContent).trim()).length"
    )
    assert nameless == 0
    ids = browser.run("return [...document.querySelectorAll('[id]')].map((one) => one.id)")
    assert len(ids) == len(set(ids))


def test_names_from_a_scenario_stay_words(one_browser, job, folder):
    hostile = replace(job, title=HOSTILE)
    file = write_page(folder, hostile, "hostile")
    begin(one_browser, file)
    assert HOSTILE in one_browser.run("return document.title")
    assert HOSTILE in one_browser.run(TEXT, "#title")
    assert one_browser.run("return document.images.length") == 0
    assert one_browser.log() == []


PHOTO = """
const canvas = document.createElement("canvas");
[canvas.width, canvas.height] = [1200, 900];
const pen = canvas.getContext('2d');
pen.fillStyle = '#765'; pen.fillRect(0, 0, 1200, 900);
pen.fillStyle = '#bbb'; pen.fillRect(200, 200, 800, 460);
canvas.toBlob((blob) => {
  const held = new DataTransfer();
  held.items.add(new File([blob], "face of the day.jpg", {type: 'image/jpeg'}));
  const input = document.getElementById('photo-file');
  input.files = held.files;
  input.dispatchEvent(new Event('change'));
}, 'image/jpeg');
"""
SPOT = """
const box = document.getElementById('photo');
box.scrollIntoView({block: 'center', behavior: 'instant'});
const at = box.getBoundingClientRect();
return [at.left + at.width * arguments[0], at.top + at.height * arguments[1]];
"""


def test_a_photo_is_tapped_near_and_exactly_and_comes_over_as_a_command(browser, job):
    get_going(browser)
    tap(browser, 'nav [data-view="look"]')
    tap(browser, "#photo-box summary")
    assert "read at the machine" in browser.run(TEXT, "#photo-says")
    browser.run(PHOTO)
    browser.until("return !document.getElementById('photo').hidden")
    corners = [(200, 200), (1000, 200), (1000, 660), (200, 660)]
    for k, (x, y) in enumerate(corners):
        assert browser.run(TEXT, "#photo-says").startswith("Tap near the ")
        # A thumb is off by some 40 pixels of the photo; then it is shown six times as large.
        near = x + 40, y - 30
        browser.click(tuple(browser.run(SPOT, near[0] / 1200, near[1] / 900)))
        assert "exactly" in browser.run(TEXT, "#photo-says")
        left = min(max(near[0] - 100, 0), 1000), min(max(near[1] - 75, 0), 750)
        if k == 1:
            # Taken back, and tapped again.
            tap(browser, "#photo-back")
            browser.click(tuple(browser.run(SPOT, near[0] / 1200, near[1] / 900)))
        browser.click(tuple(browser.run(SPOT, (x - left[0]) / 200, (y - left[1]) / 150)))
    command = str(browser.run("return document.getElementById('photo-text').value"))
    start = f"handlap dye-photo {job.source} 'face of the day.jpg' --corner "
    assert command.startswith(start)
    places = [tuple(map(int, one.split(","))) for one in command.removeprefix(start).split(" --corner ")]
    for got, true in zip(places, corners, strict=True):
        assert abs(got[0] - true[0]) <= 3 and abs(got[1] - true[1]) <= 3
