"""``handlap measuring-sheet``: a PDF to scale, of whole pages, with all that has to be on it."""

from __future__ import annotations

import json
import re
import zlib

import numpy as np
import pytest
from click.testing import CliRunner

from handlap.cli.drawing.letters import printable
from handlap.cli.main import main
from handlap.cli.reports import flow
from handlap.cli.reports.pdf_page import PAPERS, Page, text_width, wrap
from handlap.cli.sheets import sheet_measuring
from handlap.cli.sheets.sheet_face import crosses
from handlap.cli.sheets.sheet_how_to_read import leaf_advice
from handlap.cli.sheets.sheet_measuring import MARGIN, ROWS, _laid, measuring_pages, scale_words
from handlap.sim.common.spoken import speaking
from handlap.sim.common.units import System
from handlap.sim.face.stations import lines_of
from handlap.sim.job.scenario_file import load, load_text
from handlap.sim.planning.cautions import cautions

BARE = """
[part]
length = 240
width = 140
metal = "A356"
mass = 3.4
limit = 50
"""


@pytest.fixture(autouse=True)
def here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


def run(*args: str, **env: str):
    return CliRunner().invoke(main, ["measuring-sheet", *args], env=env or None)


@pytest.fixture
def drawn(monkeypatch):
    """Every page that is drawn, with its texts and polygons."""
    pages: list[Page] = []

    class Kept(Page):
        def __init__(self, width: float, height: float) -> None:
            super().__init__(width, height)
            self.polygons: list[np.ndarray] = []
            pages.append(self)

        def polygon(self, points, width=0.8, fill="none", hatch=None):
            self.polygons.append(np.array(points))
            super().polygon(points, width, fill, hatch)

    for module in (sheet_measuring, flow):
        monkeypatch.setattr(module, "Page", Kept)
    monkeypatch.setattr(sheet_measuring, "write_pdf", lambda pages, title: b"%PDF-")
    return pages


@pytest.fixture
def unprinted(monkeypatch):
    """The pages are laid out, not written."""
    monkeypatch.setattr(sheet_measuring, "write_pdf", lambda pages, title: b"%PDF-")


def texts(page: Page) -> list[str]:
    return [text.get_text() for text in page.axes.texts]


def streams(pdf: bytes) -> bytes:
    return b"".join(
        zlib.decompress(found)
        for found in re.findall(rb"stream\r?\n(.*?)\r?\nendstream", pdf, flags=re.S)
        if found[:1] == b"x"
    )


def test_a_scenario_without_readings_is_enough(here):
    (here / "head.toml").write_text(BARE, encoding="utf-8")
    result = run("head.toml")
    assert result.exit_code == 0, result.stderr
    pdf = (here / "head-measuring-sheet.pdf").read_bytes()
    assert pdf.startswith(b"%PDF-")
    assert pdf.rstrip().endswith(b"%%EOF")
    assert "handlap readings head.toml" in result.stdout


def test_faults_other_than_missing_readings_are_still_refused(here):
    (here / "head.toml").write_text(BARE.replace("50", "-50"), encoding="utf-8")
    result = run("head.toml")
    assert result.exit_code == 2
    assert "part.limit = -50" in result.stderr
    assert not list(here.glob("*.pdf"))


@pytest.mark.parametrize("paper", list(PAPERS))
def test_the_face_is_drawn_at_the_scale_stated(drawn, paper):
    job = load("two-cylinder-head")
    sheet = measuring_pages(job, lines_of(job), "mm", paper)
    rim = drawn[0].polygons[0]
    assert np.ptp(rim[:, 0]) == pytest.approx(240 * sheet.scale)
    assert np.ptp(rim[:, 1]) == pytest.approx(140 * sheet.scale)
    assert f"Scale {scale_words(sheet.scale)}" in texts(drawn[0])
    assert (drawn[0].width, drawn[0].height) == PAPERS[paper][::-1]
    assert all((page.width, page.height) == PAPERS[paper] for page in drawn[1:])
    # A unit of the axes is a millimetre of the page.
    assert drawn[0].figure.get_size_inches() * 25.4 == pytest.approx(PAPERS[paper][::-1])
    assert drawn[0].axes.get_position().bounds == (0.0, 0.0, 1.0, 1.0)


def test_paper_sizes_are_those_of_the_standards():
    """ISO 216: A4 is 210 mm × 297 mm.  ANSI/ASME Y14.1: A is 8.5 in × 11 in (from memory)."""
    assert PAPERS["A4"] == (210.0, 297.0)
    assert pytest.approx(np.array([8.5, 11.0]) * 25.4) == PAPERS["Letter"]


@pytest.mark.parametrize("name", ["plane-sole", "pump-face-heights"])
def test_every_station_is_on_the_drawing_and_has_a_row(drawn, name):
    job = load(name)
    system: System = "inch" if name == "plane-sole" else "mm"
    lines = lines_of(job, system)
    measuring_pages(job, lines, system)
    labels = [line.label(i) for line in lines for i in range(len(line.at))]
    tables = [text for page in drawn[2:] for text in texts(page)]
    for label in labels:
        assert texts(drawn[0]).count(label) == 1
        assert tables.count(label) == 1
    for line in lines:
        assert any(text.startswith(f"{line.letter}   {line.name}") for text in tables)


def test_nothing_is_drawn_off_the_page(drawn):
    for name in ("inlet-flange", "pump-face-heights"):
        job = load(name)
        measuring_pages(job, lines_of(job), "mm", "Letter")
    assert len(drawn) > 6
    for page in drawn:
        for text in page.axes.texts:
            x, y = text.get_position()
            wide = text_width(text.get_text(), text.get_fontsize(), text.get_fontweight() == "bold")
            left = x - {"left": 0.0, "center": 0.5, "right": 1.0}[text.get_ha()] * wide
            assert left >= 2.0, text
            assert left + wide <= page.width - 2.0, text
            assert 0.0 < y < page.height


def test_names_of_stations_do_not_lie_on_each_other(drawn):
    job = load("two-cylinder-head")
    measuring_pages(job, lines_of(job, standard=True), "mm")
    placed = [
        (t.get_position(), t.get_text())
        for t in drawn[0].axes.texts
        if re.fullmatch(r"[A-F]\d", t.get_text())
    ]
    assert len(placed) > 35
    for i, (a, name) in enumerate(placed):
        for b, other in placed[:i]:
            assert abs(a[0] - b[0]) > 3.0 or abs(a[1] - b[1]) > 2.0, (name, other)


def test_cautions_holding_and_leaves_are_on_the_sheet(drawn):
    job = load("valve-chest-cover")
    measuring_pages(job, lines_of(job), "mm")
    said = " ".join(texts(drawn[1]))
    for caution in cautions(job.part.metal, weight=job.part.weight, wet=job.paper.wet):
        assert caution in said
    for words in ("sits still", "rocks: the line is crowned", "Hold it level", "Do not let it tip", "60 µm"):
        assert words in said
    for page in drawn:
        assert any("maker's limits" in text for text in texts(page))


def test_the_leaf_for_the_limit_is_one_at_hand():
    words = leaf_advice(load("inlet-flange"), "mm")
    assert any("the 100 µm leaf is to be tried at every station" in w for w in words)
    job = load_text(BARE, require_readings=False)
    assert any("or the next thinner one" in w for w in leaf_advice(job, "mm"))


def test_many_stations_take_more_pages(here):
    rows = "".join(f"[{2 * i}, 'none', 30], " for i in range(1, 110))
    line = f"[[readings.line]]\nname = 'much'\nfrom = [-120, 0]\nto = [120, 0]\nstations = [{rows}]\n"
    (here / "much.toml").write_text(BARE + line, encoding="utf-8")
    found = json.loads(run("much.toml", "--json").stdout)
    assert found["pages"] == 4
    assert len(found["lines"][0]["stations"]) == 109


def test_the_same_sheet_gives_the_same_bytes_without_a_date():
    job = load("thin-pump-cover")
    first, second = (measuring_pages(job, lines_of(job), "mm").pdf for _ in range(2))
    assert first == second
    assert b"CreationDate" not in first
    assert b"/Subtype /Image" not in first, "lines and letters, no pixels"
    assert b"/FontFile2" in first
    assert streams(first).count(b" l\n") > 100


def test_titles_with_odd_letters_and_dollars_are_printed_as_far_as_they_go(here):
    (here / "odd.toml").write_text('title = "Flansch $1_2$ 漢 µ"\n' + BARE, encoding="utf-8")
    result = run("odd.toml")
    assert result.exit_code == 0, result.stderr
    assert printable("漢 µ$") == "? µ$"


def test_words_are_wrapped_and_long_ones_broken():
    lines = wrap("a bb " + "c" * 400 + " dd", 50.0, 10.0)
    assert "".join(lines).replace(" ", "") == "abb" + "c" * 400 + "dd"
    assert max(text_width(line, 10.0) for line in lines) <= 50.0


def test_json_is_one_object_with_every_station(here, unprinted):
    found = json.loads(run("inlet-flange", "--standard", "--json", "--out", "x.pdf").stdout)
    assert found["schema"] == "handlap.measuring-sheet/1"
    assert [line["letter"] for line in found["lines"]] == list("ABCDEF")
    station = found["lines"][0]["stations"][0]
    assert station["label"] == "A1"
    assert station["u_mm"] == pytest.approx(-140 + station["at_mm"])
    assert found["cautions"]


@pytest.mark.parametrize("args", [("nothing.toml",), ("inlet-flange", "--paper", "A5"),
                                  ("inlet-flange", "--out", "no/folder/x.pdf")])  # fmt: skip
def test_wrong_use_is_refused_and_leaves_nothing(here, args):
    result = run(*args)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert list(here.iterdir()) == []


def test_forty_columns(unprinted):
    out = run("inlet-flange", COLUMNS="40").stdout
    assert max(len(line) for line in out.splitlines()) <= 40


def test_sixteenths_stand_in_the_tables_as_fractions_of_an_inch(drawn):
    job = load("plane-sole")
    lines = lines_of(job, "inch")
    with speaking("inch", job.leaf_unit):
        measuring_pages(job, lines, "inch", "Letter")
    said = [text for page in drawn[2:] for text in texts(page)]
    assert "4 7/8" in said
    assert not any(re.fullmatch(r"\d+\.\d+", text) for text in said)


def test_names_of_stations_are_clear_of_the_lines(drawn):
    """All but a few that have no room: the lines go through no name where another place is free."""
    job = load("two-cylinder-head")
    measuring_pages(job, lines_of(job), "mm")
    page = drawn[0]
    lines = np.array(
        [np.column_stack(one.get_data()) for one in page.axes.lines if len(one.get_xdata()) == 2]
    )
    boxes = []
    for text in page.axes.texts:
        if re.fullmatch(r"[A-H]\d+", text.get_text()):
            (x, y), size = text.get_position(), text.get_fontsize()
            half = text_width(text.get_text(), size) / 2
            boxes.append((x - half, y - 0.25 * size, x + half, y))
    assert len(boxes) > 50
    assert crosses(np.array(boxes), lines).any(axis=1).sum() <= 3


def test_the_last_page_is_ruled_for_notes_and_rows_are_as_high_as_pages_allow(drawn):
    job = load("two-cylinder-head")
    measuring_pages(job, lines_of(job), "mm", "Letter")
    assert any("Notes" in texts(page) for page in drawn[2:])
    fewest = len({place.page for place in _laid(lines_of(job), ROWS[-1], drawn[2].height - MARGIN - 3.0)})
    assert len(drawn) == 2 + fewest
