"""A job in inches is answered in inches: no metric unit in any text, page, picture or sheet."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from handlap.cli.main import main
from handlap.sim.bench.replan import make_replan
from handlap.sim.job.scenario import Scenario
from handlap.sim.job.scenario_file import read_text
from handlap.sim.planning.plan import make_plan

METRIC = re.compile(
    r"µm|μm|micromet|\bum\b|(?<![\w-])[nµ]?mm[²³]?(?!\w)|\bcm[²³]?|\bgrams?\b|(?<=\d)[ \u00a0]g\b|, g\b"
    r"|\bkg\b|[\d ]kPa|N·m|(?<=[\d)])[ \u00a0]N\b|, N\b|[\d ]kJ"
    r"|(?<!\S)[gN](?!\S)"
)
"""Units that a job in inches does without.  Watts stay: they are the unit of arm work everywhere."""


def metric_in(text: str) -> list[str]:
    """Places of metric units in a text, with what stands around them."""
    return [text[max(0, m.start() - 50) : m.end() + 20].replace("\n", "⏎") for m in METRIC.finditer(text)]


def words_of(page: str) -> str:
    """What a page shows: no style, no script, no data, no attributes but those that are read out."""
    page = re.sub(r"<(style|script)\b.*?</\1>", " ", page, flags=re.S)
    spoken = " ".join(re.findall(r'(?:alt|aria-label|title)="([^"]*)"', page))
    return re.sub(r"<[^>]+>", " ", page) + " " + spoken


@pytest.fixture
def drawn(monkeypatch: pytest.MonkeyPatch, unrendered: None) -> Iterator[set[str]]:
    """Every text that is set in a picture or on a page of a PDF while this lasts."""
    from matplotlib.text import Text
    from matplotlib.textpath import TextToPath

    seen: set[str] = set()
    set_text, sized = Text.set_text, TextToPath.get_text_width_height_descent

    def telling(self: Any, s: Any) -> None:
        seen.add(str(s))
        set_text(self, s)

    def sizing(self: Any, s: str, *rest: Any, **more: Any) -> Any:
        seen.add(str(s))
        return sized(self, s, *rest, **more)

    monkeypatch.setattr(Text, "set_text", telling)
    monkeypatch.setattr(TextToPath, "get_text_width_height_descent", sizing)
    yield seen


LOG = (
    ("--dyed", "--part-weight", "5.5 lb", "--scale", "0.001 oz"),
    ("--strokes", "40", "--paper", "80 US", "--new-sheet", "--swarf", "12 gr", "--scale", "0.1 gr"),
    ("--reading", "long, middle: 7.125 4 5; 4.875 4 5", "--dye", "gone at both ends, fading in the middle"),
)
COMMANDS: dict[str, tuple[str, ...]] = {
    "survey": ("--members", "16"),
    "plan": ("--members", "8"),
    "compare": ("--members", "16", "--no-turns", "--way", "turning=half", "--way", "length=6 press=10"),
    "why": ("--members", "16", "--dye", "gone at both ends", "--strokes", "20"),
    "improve": ("--budget", "20", "--members", "16"),
    "simulate": ("--strokes", "20"),
    "job-sheet": ("--members", "8"),
    "replan": ("--members", "16"),
    "record": ("--members", "16"),
    "play": ("--strokes", "20", "--frames", "4"),
    "measuring-sheet": (),
    "log": ("--show",),
    "bench-page": ("--members", "16"),
}
PLACES: dict[str, tuple[str, ...]] = {
    "job-sheet": ("--out", "{out}"),
    "measuring-sheet": ("--out", "{out}/sheet.pdf"),
    "play": ("--out", "{out}/play.html", "--gif", "{out}/play.gif"),
    "log": (),
    "bench-page": ("--out", "{out}/bench.html"),
}


def run(*args: str, typed: str = "") -> Any:
    return CliRunner().invoke(main, list(args), input=typed, catch_exceptions=False)


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The plane's sole with a log and the record's keys, in a folder of its own."""
    text = read_text("plane-sole")
    text = text.replace("[plate]\n", "[part.after]\nthickness = 0.25\nthickness_least = 0.2\n[plate]\n", 1)
    # On large cells, for words do not depend on their number.
    text += "\n[exact]\ncell = 0.5\n"
    path = tmp_path_factory.mktemp("kept") / "sole.toml"
    path.write_text(text, encoding="utf-8")
    for entry in LOG:
        done = run("log", str(path), *entry)
        assert done.exit_code == 0, done.output
        assert not metric_in(done.output), done.output
    return path


@pytest.fixture
def sole(kept: Path, tmp_path: Path) -> Path:
    """A copy of it and its log."""
    for file in kept.parent.iterdir():
        shutil.copy(file, tmp_path)
    return tmp_path / kept.name


WORKED: dict[str, Any] = {}


@pytest.fixture(autouse=True)
def worked_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """What two commands say of one plan or re-plan of the same job, the second takes from the first."""

    def once(work: Callable[..., Any]) -> Callable[..., Any]:
        def known(job: Scenario, *rest: Any, members: int, **more: Any) -> Any:
            key = f"{work.__name__} {job.name} {members}"
            if key not in WORKED:
                WORKED[key] = work(job, *rest, members=members, **more)
            return WORKED[key]

        return known

    monkeypatch.setattr("handlap.sim.planning.plan.make_plan", once(make_plan))
    monkeypatch.setattr("handlap.sim.bench.replan.make_replan", once(make_replan))


def said_by(command: str, path: Path, out: Path, drawn: set[str]) -> dict[str, str]:
    """What a command says of a job, by where it says it."""
    out.mkdir(exist_ok=True)
    places = PLACES.get(command, ("--out", "{out}"))
    drawn.clear()
    done = run(command, str(path), *COMMANDS[command], *(place.format(out=out) for place in places))
    assert done.exit_code in (0, 3), done.output
    said = {"terminal": done.output, "pictures": "\n".join(sorted(drawn))}
    said |= {page.name: words_of(page.read_text(encoding="utf-8")) for page in out.rglob("*.html")}
    return said


LONGEST = ("improve", "compare", "why")
"""Looks for a better way of lapping a sole for two minutes, whose words are those of other commands."""


@pytest.mark.parametrize(
    "command", [pytest.param(c, marks=[pytest.mark.slow] * (c in LONGEST)) for c in COMMANDS]
)
def test_no_metric_unit_in_an_inch_job(command: str, sole: Path, tmp_path: Path, drawn: set[str]) -> None:
    said = said_by(command, sole, tmp_path / "out", drawn)
    found = {place: metric_in(text) for place, text in said.items() if metric_in(text)}
    assert not found


def test_first_look_at_an_inch_part(tmp_path: Path) -> None:
    file = tmp_path / "look.toml"
    answers = {
        "size": "14 x 2 3/8 x 1 in",
        "metal": "grey iron",
        "limit": "1.5 thou",
        "gap": "5 6 thou",
        "where": "middle",
    }
    done = run("glance", str(file), *(word for name, said in answers.items() for word in (f"--{name}", said)))
    assert done.exit_code in (0, 3), done.output
    assert "thou" in done.output
    assert not metric_in(done.output), done.output


@pytest.mark.parametrize(
    "wrong",
    [
        ("--part-weight", "55 lb"),
        ("--part-weight", "4 lb"),
        ("--strokes", "40", "--paper", "80 US", "--swarf", "4 oz"),
        ("--reading", "long, middle: 8 4 50"),
        ("--reading", "long, middle: 80 4 5"),
    ],
)
def test_nonsense_in_the_log_is_refused_in_inches(wrong: tuple[str, ...], sole: Path) -> None:
    done = run("log", str(sole), *wrong)
    assert done.exit_code == 2, done.output
    assert "allowed" in done.stderr, done.stderr
    assert not metric_in(done.stderr), done.stderr
