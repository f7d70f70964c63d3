"""Names: no type and no module twice, the words for developers defined where they are said to be, and those
given up not taken up again.  Files are parsed, not imported."""

from __future__ import annotations

import ast
import re
from collections import defaultdict
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
SOURCES = sorted(path for folder in ("sim", "cli") for path in (ROOT / folder).rglob("*.py"))
WORDS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").split("\n## Words\n")[1].split("\n## ")[0]
ROWS = [
    [cell.strip() for cell in line.strip("|").split("|")]
    for line in WORDS.splitlines()
    if line.startswith("| ") and not line.startswith("| word |")
]
GIVEN_UP = set(re.findall(r"`(\w+)`", WORDS.split("\nGiven up: ")[1]))
KEYS_OF_FILES = {("sim/teaching/lesson.py", "bench")}
"""Names that a file of the user gives to a field."""


def short(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


@cache
def tree_of(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def assigned(path: Path) -> set[str]:
    """Names given a value at the top of a module."""
    targets: list[ast.expr] = []
    for node in tree_of(path).body:
        if isinstance(node, ast.Assign):
            targets += node.targets
        elif isinstance(node, ast.AnnAssign):
            targets.append(node.target)
    return {target.id for target in targets if isinstance(target, ast.Name)}


def classes(path: Path) -> set[str]:
    return {node.name for node in ast.walk(tree_of(path)) if isinstance(node, ast.ClassDef)}


def types(path: Path) -> set[str]:
    """Classes, and names given to types: written like a class."""
    return classes(path) | {name for name in assigned(path) if re.fullmatch(r"_?[A-Z]\w*[a-z]\w*", name)}


def defined(path: Path) -> set[str]:
    functions = {node.name for node in tree_of(path).body if isinstance(node, ast.FunctionDef)}
    return classes(path) | assigned(path) | functions


def named(path: Path) -> set[str]:
    """Names that a module gives to types, functions, arguments, variables and fields."""
    found = set()
    for node in ast.walk(tree_of(path)):
        if isinstance(node, (ast.ClassDef, ast.FunctionDef)):
            found.add(node.name)
        elif isinstance(node, ast.arg):
            found.add(node.arg)
        elif isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
            found.add(node.id)
    return found


def test_no_type_is_defined_twice():
    where = defaultdict(list)
    for path in SOURCES:
        for name in types(path):
            where[name].append(short(path))
    assert len(where) > 300
    assert {name: files for name, files in where.items() if len(files) > 1} == {}


def test_no_module_of_sim_shares_its_name_with_one_of_cli():
    where = defaultdict(list)
    for path in SOURCES:
        where[path.stem].append(short(path))
    assert {name: files for name, files in where.items() if len(files) > 1} == {}


def test_the_words_are_read():
    assert len(ROWS) > 30 and all(len(row) == 3 and all(row) for row in ROWS[1:])
    assert {"Bench", "workshop"} <= GIVEN_UP


@pytest.mark.parametrize("row", [row for row in ROWS if not row[0].startswith("-")], ids=lambda row: row[0])
def test_every_word_is_defined_where_it_is_said_to_be(row):
    told = re.fullmatch(r"`([\w/.]+)` `(\w+)`", row[2])
    assert told, f"{row[0]}: a file and a name in it, not {row[2]}"
    file, name = told.groups()
    assert name in defined(ROOT / file), f"{row[0]}: {file} defines no {name}"


def test_every_name_that_explains_a_word_exists():
    """Types named in the second column too."""
    known = set().union(*(defined(path) for path in SOURCES))
    for word, meaning, _ in ROWS:
        for name in re.findall(r"`([A-Z]\w+)`", meaning):
            assert name in known, f"{word}: {name}"


def test_no_word_stands_for_two_things():
    words = [word.strip() for row in ROWS for word in row[0].split(",")]
    assert len(words) == len(set(words))


def test_words_given_up_do_not_come_back():
    """Not for a type, a function, an argument, a variable or a field."""
    for path in SOURCES:
        back = {name for name in named(path) & GIVEN_UP if (short(path), name) not in KEYS_OF_FILES}
        assert not back, f"{short(path)}: {back}"
