"""What "Where to add what" in DEVELOPERS.md says of a change: how few places know of a thing."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Annotated, Any

import pytest

from handlap.cli.main import commands, listed
from handlap.cli.reports.why_report import CAUSE_WORDS
from handlap.cli.reports.wording import TURNS
from handlap.sim.bench.job_log import Entry
from handlap.sim.bench.log_given import NAMES
from handlap.sim.bench.log_lines import FIELDS
from handlap.sim.comparing.causes import OFF
from handlap.sim.job.findings import Findings
from handlap.sim.job.key_row import Key, keys_of
from handlap.sim.job.scenario import Hands, Uncertain
from handlap.sim.job.scenario_given import Given
from handlap.sim.job.scenario_keys import BY_NAME, KEYS, RECORDS, TABLE_OF
from handlap.sim.job.stroke_path import PATTERNS
from handlap.sim.job.turning import SCHEDULES

ROOT = Path(__file__).parents[1]
SOURCES = sorted(path for folder in ("sim", "cli") for path in (ROOT / folder).rglob("*.py"))


@dataclass(frozen=True)
class Others(Hands):
    """Hands with two keys more, as somebody would add them."""

    grip: Annotated[float, Key("how firmly", "force", 0.0, 100.0, default=5.0, basis="ours")] = 5.0
    tremor: Annotated[float | None, Key("how shakily", "height", 0.0, 100.0, default_words="none")] = None


@pytest.mark.parametrize(("stated", "grip"), [({}, 5.0), ({"hands.grip": 7.0}, 7.0)])
def test_a_key_on_a_field_is_read_and_fills_it(
    monkeypatch: pytest.MonkeyPatch, stated: dict[str, Any], grip: float
) -> None:
    """The one place of a scenario key, beside where it is used."""
    added = {key.name: key for _, key in keys_of(Others, "hands.")}
    assert list(added)[-2:] == ["hands.grip", "hands.tremor"]
    assert (added["hands.grip"].kind, added["hands.tremor"].kind) == ("quantity", "quantity")
    for name in ("hands.grip", "hands.tremor"):
        monkeypatch.setitem(BY_NAME, name, added[name])
    monkeypatch.setitem(TABLE_OF, Others, "hands.")
    made = Given(stated, set(stated), Findings("x")).record(Others)
    assert made.grip == grip and made.tremor is None and made.twist == 0.0
    assert isinstance(made.press, Uncertain) and made.press.key == "hands.press"


def test_keys_are_those_on_the_fields_of_the_records() -> None:
    on_fields = [key for table, record in RECORDS.items() for _, key in keys_of(record, table)]
    assert sorted(on_fields, key=lambda k: k.name) == sorted(KEYS, key=lambda k: k.name)
    for key in KEYS:
        assert not key.after or key == KEYS[1 + KEYS.index(BY_NAME[key.after])], key.name


def _asked(path: Path) -> Iterator[str]:
    """Texts that a module compares something with, or looks for in a match."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Compare):
            parts = [inner for side in (node.left, *node.comparators) for inner in ast.walk(side)]
        elif isinstance(node, ast.MatchValue):
            parts = [node.value]
        else:
            continue
        yield from (p.value for p in parts if isinstance(p, ast.Constant) and isinstance(p.value, str))


def test_nothing_but_its_record_asks_for_a_pattern_or_a_schedule_by_name() -> None:
    names = set(PATTERNS) - {"circle"}  # an outline is a circle, too
    assert not [path.name for path in SOURCES if names & set(_asked(path))]
    # What a job may leave out is called "none" all over.
    turns = set(SCHEDULES) - {"none"}
    assert not [path.name for path in SOURCES if turns & set(_asked(path))]


def test_every_schedule_and_cause_has_its_words() -> None:
    assert set(TURNS) == {*SCHEDULES, "own"}
    assert set(OFF) <= set(CAUSE_WORDS)


def test_every_field_of_an_entry_says_how_it_stands_in_a_line() -> None:
    """The one place of a field of the log, beside where it is asked for and used."""
    assert [field.name for field in FIELDS.values()] == [field.name for field in fields(Entry)]
    assert {field.name for field in FIELDS.values() if field.logged.said} <= NAMES


def test_a_command_is_known_by_its_module_and_its_row_on_the_page(tmp_path: Path) -> None:
    """Two of the places of a command; its report and the row of what hard use tries are the others."""
    (tmp_path / "hone_it_command.py").write_text(
        '"""At the bench: Hone it."""\nraise ImportError\n', encoding="utf-8"
    )
    page = "# The commands\n\n| command |\n|---|\n| `handlap hone-it SCENARIO` | hones it |\n"
    assert listed(page, tmp_path) == (("At the bench", "hone-it", "Hone it."),)
    (tmp_path / "hone_it_command.py").write_text('"""Hone it."""\n', encoding="utf-8")
    with pytest.raises(AssertionError, match="hone-it: the first line"):
        listed(page, tmp_path)


def test_every_module_of_a_command_is_on_the_page() -> None:
    modules = {
        path.stem.removesuffix("_command").replace("_", "-")
        for path in (ROOT / "cli" / "commands").glob("*.py")
    }
    names = [entry.name for entry in commands()]
    assert len(names) == len(set(names)) and set(names) == modules
    headings = [entry.section for entry in commands()]
    assert list(dict.fromkeys(headings)) == ["Before the bench", "At the bench", "To learn", "Helpers"]
    assert headings == sorted(headings, key=headings.index)


def _names_in(path: Path) -> set[str]:
    tree = ast.walk(ast.parse(path.read_text(encoding="utf-8")))
    return {node.value for node in tree if isinstance(node, ast.Constant) and isinstance(node.value, str)}


def test_nothing_else_lists_the_commands() -> None:
    """A list of most of them is one more place that a new command has to join."""
    names = {entry.name for entry in commands()}
    places = [*SOURCES, *(ROOT / "tests").rglob("*.py")]
    most = [path.name for path in places if len(names & _names_in(path)) > 0.7 * len(names)]
    assert most == ["tried_commands.py"]
