"""Names that would be markup, formulas, commands to a terminal or ways to other folders, and are names."""

from __future__ import annotations

import csv
import json
import re
import tempfile
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from nursery_client import Nursery, Ran
from tried_commands import BY_NAME, EVIL, EVIL_NAMES, PLAIN_NAMES, filled, lay_out, toml_text

from handlap.cli.reports.blocks import Bullets, Drawing, Facts, Picture, Report, Section, Table, Words
from handlap.cli.reports.page import render_page
from handlap.cli.reports.text import render
from handlap.cli.screen import Screen, without_steering

ODD = 'cost $5 of $x_{ $y$ \\frac{1}{ 缸盖 😀 שלום ../../x =1+1 {name} {0} %s "quoted"'
"""What a picture's formulas, missing letters, places in texts, tables and folders could trip over."""
ODD_NAMES = {name: f"{name} {ODD}" for name in PLAIN_NAMES}
FORMULA_NAMES = {name: f"=1+1|{name}" for name in PLAIN_NAMES}
OURS = set(
    "html head meta title style body header h1 h2 h3 p ul ol li main section div span table thead "
    "tbody tr th td dl dt dd figure img figcaption footer svg g path circle rect line text polygon "
    "polyline strong br label input button select option canvas output script fieldset legend nav "
    "picture source noscript article caption small details summary hr aside defs use".split()
)
STEERING = "\x1b]0;x\x07 \x1b[2J \x9b31m \u202e \u2066 \u061c \u200f \x00 \x7f \r \x08"
STEERS = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]")


class Page(HTMLParser):
    """What a page holds; text within scripts and styles is kept apart."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text, self.scripts = "", [""]
        self.within = ""
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        self.within = tag if tag in ("script", "style") else self.within
        if tag == "script":
            self.scripts.append("")

    def handle_endtag(self, tag: str) -> None:
        self.within = "" if tag == self.within else self.within

    def handle_data(self, data: str) -> None:
        if self.within == "script":
            self.scripts[-1] += data
        elif not self.within:
            self.text += data


def assert_harmless(page: str, scripts: int = 0, names: str = EVIL) -> Page:
    """Nothing in the page but what the program put there, and the names as they were written."""
    found = Page(page)
    assert sum(tag == "script" for tag, _ in found.tags) == scripts
    assert {tag for tag, _ in found.tags} <= OURS
    for tag, attrs in found.tags:
        assert not any(name.startswith("on") for name in attrs), (tag, attrs)
        assert not any((value or "").strip().lower().startswith("javascript:") for value in attrs.values())
        if tag in ("img", "script"):
            assert (attrs.get("src") or "data:image/").startswith("data:image/")
        if tag == "source":
            assert (attrs.get("srcset") or "").startswith("data:image/")
    # A space that holds a number to its unit is the one change to a text.
    assert names in found.text.replace("\N{NO-BREAK SPACE}", " ")
    return found


def run(nursery: Nursery, sandbox: Path, name: str, *more: str, **asked: Any) -> Ran:
    tried = BY_NAME[name]
    typed = "".join(f"{line}\n" for line in tried.typed).encode()
    ran = nursery.run([name, *filled(tried.writes or tried.args), *more], sandbox, typed=typed, **asked)
    assert ran.code in tried.codes, ran.err
    assert not ran.crashed
    assert not STEERS.search(ran.out + ran.err)
    return ran


# ---- pages


def test_every_block_of_a_report_is_escaped() -> None:
    """All pages but three are made of these."""
    blocks = (
        Words(EVIL), Bullets((EVIL,)), Facts(((EVIL, EVIL),)),
        Table((EVIL, f"{EVIL}\n{EVIL}"), ((EVIL, EVIL),)),
        Picture("a.png", EVIL, EVIL), Drawing((EVIL,), EVIL),
    )  # fmt: skip
    report = Report(
        "plan", EVIL, "bad", EVIL, (EVIL,), (Section(EVIL, blocks), Section(EVIL, (), aside=True))
    )
    page = assert_harmless(render_page(report, {"a.png": b"\x89PNG"}))
    # The title (twice), heading, subject, lead and two sections; ten texts in blocks, one more an attribute.
    assert page.text.replace("\N{NO-BREAK SPACE}", " ").count(EVIL) == 7 + 10
    assert [attrs["alt"] for tag, attrs in page.tags if tag == "img"] == [EVIL]
    shown = render(report, Screen(80, bold=False))
    assert "\x1b" not in shown


WITH_PAGES = [
    pytest.param("survey", 0, id="survey"),
    pytest.param("play", 2, id="play", marks=pytest.mark.slow),
    pytest.param("job-sheet", 0, id="job-sheet", marks=pytest.mark.slow),
    pytest.param("record", 0, id="record", marks=pytest.mark.slow),
]


@pytest.mark.parametrize(("name", "scripts"), WITH_PAGES)
def test_pages_with_markup_in_every_name(nursery: Nursery, tmp_path: Path, name: str, scripts: int) -> None:
    sandbox = lay_out(tmp_path / "bench", EVIL_NAMES)
    more = ["--way", "name=<script>x</script><img/>", "--way", "name=</script><b>"] if scripts else []
    run(nursery, sandbox, name, *more)
    pages = list((sandbox / "out").glob("*.html"))
    assert len(pages) == 1
    text = pages[0].read_text(encoding="utf-8")
    page = assert_harmless(text, scripts)
    if scripts:
        # The data are JSON to the end, and nothing in them can end the element.
        held = json.loads(page.scripts[1])
        assert [way["name"] for way in held["ways"]] == ["<script>x</script><img/>", "</script><b>"]
        assert not any(letter in page.scripts[1] for letter in "<>&")
        assert "Content-Security-Policy" in text


def evil_lesson(folder: Path) -> None:
    """The first lesson with one case changed in every text that it has."""
    from importlib import resources

    text = (resources.files("handlap.scenarios") / "lessons" / "overhang.toml").read_text(encoding="utf-8")
    evil = toml_text(EVIL)
    text = text.replace('title = "Overhang"', f"title = {evil}").replace('"the short plate"', evil)
    text = text.replace('"bar"', evil).replace('"Bar on a plate"', evil)
    for key in ("story", "bench", "because"):
        # No figures but those of the run may stand there.
        words = EVIL.replace('"', "&quot;").replace("alert(1)", "alert()")
        text = text.replace(f'{key} = """', f'{key} = """\n{words}')
    (folder / "mine.toml").write_text(text, encoding="utf-8")


@pytest.mark.slow
def test_a_lesson_with_markup_in_every_text(nursery: Nursery, sandbox: Path) -> None:
    evil_lesson(sandbox)
    ran = nursery.run(["lesson", "mine.toml", "--members", "8", "--tell", "--out", "out"], sandbox)
    assert ran.code == 0 and not ran.crashed, ran.err
    page = assert_harmless((sandbox / "out" / "lesson-mine.html").read_text(encoding="utf-8"))
    assert page.text.count("onerror") >= 5


@pytest.mark.slow
def test_a_marked_exercise_with_markup_for_a_name(nursery: Nursery, sandbox: Path) -> None:
    who = "<script>x</script><img src=x onerror=y>"
    assert nursery.run(["exercise", "--out", "ex"], sandbox).code == 0
    form = sandbox / "ex" / "answers.toml"
    text = form.read_text(encoding="utf-8")
    entered = {"by": who, "shape": "hollow", "flatness": "50", "flatness_from": "20", "flatness_to": "90",
               "least_cut": "20", "read_again": "none", "do": "leave", "papers": "P120", "strokes": "100",
               "turning": "none", "turn_every": "never"}  # fmt: skip
    for name, answer in entered.items():
        text = text.replace(f'\n{name} = ""', f'\n{name} = "{answer}"')
    form.write_text(text, encoding="utf-8")
    ran = nursery.run(["exercise", "ex", "--mark"], sandbox)
    assert ran.code == 0 and not ran.crashed, ran.err
    assert_harmless((sandbox / "ex" / "exercise.html").read_text(encoding="utf-8"), names=who)


# ---- pictures, printed pages, tables


@pytest.mark.parametrize(
    "name",
    [
        "survey", "measuring-sheet", "log",
        *(pytest.param(n, marks=pytest.mark.slow) for n in ("compare", "play", "job-sheet", "record")),
    ],
)  # fmt: skip
def test_odd_names_are_drawn_as_they_are(nursery: Nursery, tmp_path: Path, name: str) -> None:
    """No formula is made of a dollar sign, and no word is lost about letters that a font lacks."""
    sandbox = lay_out(tmp_path / "bench", ODD_NAMES)
    more = ["--way", "name=$x_{$ 缸 <b>"] if name in ("compare", "play") else []
    scrap = Path(tempfile.mkdtemp(dir=nursery.scrap))
    tried = BY_NAME[name]
    branch = {"name": "strict", "warnings": "error"}
    asked = {
        "args": [name, *filled(tried.writes), *more],
        "cwd": str(sandbox),
        "hatch": "",
        "branches": [branch],
    }
    nursery.ask(asked, scrap)
    ran = json.loads((scrap / "report").read_text())["strict"]
    err = bytes.fromhex(ran["err"]).decode()
    assert ran["code"] in tried.codes, err
    assert "Warning" not in err and "fault in handlap" not in err
    assert not any("x" in Path(changed).parts for changed in ran["changed"])


@pytest.mark.slow
def test_tables_hold_numbers_only(nursery: Nursery, tmp_path: Path) -> None:
    """No text of a scenario gets into a table, where a spreadsheet could take it for a formula."""
    sandbox = lay_out(tmp_path / "bench", FORMULA_NAMES)
    run(nursery, sandbox, "simulate")
    with (sandbox / "out" / "heights.csv").open(newline="", encoding="utf-8") as stream:
        rows = list(csv.reader(stream))
    assert rows[0] == ["u_mm", "v_mm", "before_um", "after_um"]
    assert all(len(row) == 4 and all(float(cell) == float(cell) for cell in row) for row in rows[1:])


# ---- terminals


def test_names_that_would_steer_a_terminal_are_refused_and_spelt_out(nursery: Nursery, sandbox: Path) -> None:
    """All names of a scenario at once; white space shows as a space."""
    sound = (sandbox / "job.toml").read_text(encoding="utf-8")
    for n, letter in enumerate(STEERS.findall(STEERING)):
        text = sound
        for name in PLAIN_NAMES.values():
            text = text.replace(f'"{name}"', json.dumps(f"a{letter}b"), 1)
        file = sandbox / f"steer{n}.toml"
        file.write_text(text, encoding="utf-8")
        ran = nursery.run(["log", file.name, "--show"], sandbox)
        assert ran.code == 2 and not ran.crashed, (letter, ran.out)
        assert "5 faults" in ran.err
        assert not STEERS.search(ran.out + ran.err)
        shown = f"a\\u{ord(letter):04x}b" if not letter.isspace() else "a b"
        assert ran.err.lower().count(shown) == 5, ran.err


def test_what_is_typed_is_spelt_out_too(nursery: Nursery, sandbox: Path) -> None:
    """In options, in names of files, of commands and of keys."""
    bad = "a\x1b[2Jb\u202ec\x9b"
    (sandbox / f"{bad}.toml").write_text("[part]\n" + toml_text(bad) + " = 1\n", encoding="utf-8")
    for args in (
        [f"survey{bad}"], ["survey", f"--{bad}"], ["survey", f"{bad}.toml"], ["survey", f"none{bad}.toml"],
        ["log", "job.toml", "--note", bad], ["log", "job.toml", "--paper", bad],
        ["log", "job.toml", "--swarf", bad], ["log", "job.toml", "--dye", bad],
        ["log", "job.toml", "--dye-faded", bad],
        ["log", "job.toml", "--reading", f"{bad}: 1 2 3"], ["log", "job.toml", "--reading", f"long: {bad}"],
        ["convert", bad], ["keys", bad], ["lesson", bad], ["exercise", bad],
        ["compare", "job.toml", "--way", bad],
        ["compare", "job.toml", "--way", f"name={bad}"],
        ["simulate", "job.toml", "--paper", bad, "--strokes", "9"],
        ["measuring-sheet", "bare.toml", "--out", f"none/{bad}.pdf"], ["survey", "job.toml", "--seed", bad],
        ["survey", "job.toml", "--out", f"job.toml/{bad}"], ["readings", "bare.toml", "--line", bad],
        ["why", "job.toml", "--dye", bad],
    ):  # fmt: skip
        ran = nursery.run(args, sandbox)
        assert ran.code == 2, (args, ran.code, ran.out, ran.err)
        assert not ran.crashed
        assert not STEERS.search(ran.out + ran.err), (args, ran.err)


def test_all_that_steers_is_spelt_out() -> None:
    assert not STEERS.search(without_steering(STEERING))


# ---- ways to other folders


def outside(sandbox: Path) -> list[str]:
    """Names of a table that lies outside the folder of the scenario."""
    table = "u_mm,v_mm,height_um\n" + "".join(
        f"{u},{v},{abs(u) % 7}\n" for u in range(-55, 56, 10) for v in (-25, 0, 25)
    )
    (sandbox.parent / "secret.csv").write_text(table)
    (sandbox.parent / "below").mkdir(exist_ok=True)
    (sandbox.parent / "below" / "secret.csv").write_text(table)
    (sandbox / "link.csv").symlink_to("../secret.csv")
    (sandbox / "folder").symlink_to(sandbox.parent / "below")
    (sandbox / "loop.csv").symlink_to("loop.csv")
    (sandbox / "pipe.csv").mkdir()
    (sandbox / "inside.csv").write_text(table)
    return [
        "../secret.csv", "out/../../secret.csv", str(sandbox.parent / "secret.csv"), "link.csv",
        "folder/secret.csv", "loop.csv", "~/secret.csv", "~root/secret.csv", "C:\\secret.csv",
        "\\\\host\\share\\secret.csv",
        "//host/share/secret.csv", "a\x00.csv", "/dev/zero", "/proc/self/environ", "pipe.csv", ".", "..", "",
        "file:///etc/passwd", "$HOME/secret.csv", "../bench/../secret.csv", "x" * 290, "..\\secret.csv",
    ]  # fmt: skip


@pytest.mark.parametrize("key", ["readings.heights", "plate.heights"])
def test_no_table_outside_the_folder_is_read(nursery: Nursery, sandbox: Path, key: str) -> None:
    names = outside(sandbox)
    bare = (sandbox / "bare.toml").read_text(encoding="utf-8")
    job = (sandbox / "job.toml").read_text(encoding="utf-8")
    for name in ["inside.csv", *names]:
        line = f"heights = {toml_text(name)}"
        if key == "readings.heights":
            text = bare.replace("[readings]\nleaves = [30, 40, 50, 80, 100]", f"[readings]\n{line}")
        else:
            text = job.replace(
                "[plate]\nlength = 400\nwidth = 300", f"[plate]\nlength = 110\nwidth = 50\n{line}"
            )
        assert line in text
        (sandbox / "reaching.toml").write_text(text, encoding="utf-8")
        ran = nursery.run(["log", "reaching.toml", "--show"], sandbox, seconds=20.0)
        assert not ran.crashed and not ran.overrun
        if name == "inside.csv":
            assert key not in ran.err, "a table in the folder is taken"
            continue
        assert ran.code == 2 and key in ran.err, (name, ran.err)
        if "secret" in name:
            assert "in the folder of the scenario" in ran.err or "no such file" in ran.err, (name, ran.err)


def test_a_lesson_reaches_no_further(nursery: Nursery, sandbox: Path) -> None:
    """A lesson may take over a scenario, a built-in one or one in its own folder."""
    outside(sandbox)
    (sandbox.parent / "job.toml").write_text(
        (sandbox / "job.toml").read_text(encoding="utf-8"), encoding="utf-8"
    )
    from importlib import resources

    text = (resources.files("handlap.scenarios") / "lessons" / "overhang.toml").read_text(encoding="utf-8")
    head, _, rest = text.partition("[scenario]\n")
    tail = rest[rest.index("[face]") :]
    for name in ("../job.toml", str(sandbox.parent / "job.toml"), "~/job.toml", "C:\\job.toml", "a\x00b"):
        made = head + tail.replace("[question]", "[question]\n", 1)
        (sandbox / "mine.toml").write_text(f"scenario = {toml_text(name)}\n{made}", encoding="utf-8")
        ran = nursery.run(["lesson", "mine.toml", "--members", "8", "--tell"], sandbox, seconds=20.0)
        assert ran.code == 2 and not ran.crashed, (name, ran.err)
        assert "scenario" in ran.err


def test_names_of_parts_are_no_names_of_files(nursery: Nursery, tmp_path: Path) -> None:
    """Files are called after the scenario's file, whatever the part is called."""
    names = {name: f"../../{name}/..\\x" for name in PLAIN_NAMES}
    sandbox = lay_out(tmp_path / "deep" / "bench", names)
    before = {p for p in tmp_path.rglob("*")}
    for args in (
        ["measuring-sheet", "bare.toml"],
        ["log", "job.toml", "--strokes", "9"],
        ["survey", "job.toml", "--members", "16", "--json-file", "out/survey.json"],
    ):
        ran = nursery.run(args, sandbox)
        assert ran.code == 0, ran.err
    made = {str(p.relative_to(sandbox)) for p in tmp_path.rglob("*") if p not in before}
    assert made == {"bare-measuring-sheet.pdf", "out/survey.json"}
