"""Writing TOML and exchanging tables: what goes in comes out, and the rest stays byte for byte."""

from __future__ import annotations

import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handlap.sim.job.scenario_file import builtin_names, read_text
from handlap.sim.job.toml_edit import add_key, exchange_lists, split_blocks, value_text

TEXTS = st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=20)
NUMBERS = st.one_of(st.integers(-(10**9), 10**9), st.floats(-1e6, 1e6).map(lambda x: float(f"{x:.9g}")))
VALUES = st.recursive(
    st.one_of(st.booleans(), NUMBERS, TEXTS),
    lambda inner: st.one_of(
        st.lists(inner, max_size=4), st.dictionaries(st.text("abc -µ", max_size=4), inner, max_size=3)
    ),
    max_leaves=12,
)


@settings(max_examples=150, deadline=None)
@given(VALUES)
def test_values_come_back_as_they_were(value):
    assert tomllib.loads(f"x = {value_text(value)}")["x"] == value


@pytest.mark.parametrize("name", [name for name, _ in builtin_names()])
def test_blocks_joined_are_the_text(name):
    text = read_text(name)
    assert "".join(block.text for block in split_blocks(text)) == text


TRICKY = '''# top
title = """[not a table]
# [nor this]"""  # [[nor.this]]
list = [
    [1, 2],  # ]
    ["[x]", '[[y]]'],
]
[part]   # first
a = "#[b]"

# belongs to the line below
[[readings.line]]
name = "one"
stations = [
    [5, "none", 30],
]

[[readings.line]]
name = "two"
stations = [[1, 2, 3]]
[plate]
length = 3'''


@pytest.mark.parametrize("newline", ["\n", "\r\n"])
def test_only_the_table_asked_for_is_exchanged(newline):
    text = TRICKY.replace("\n", newline)
    new = exchange_lists(
        text, "readings.line", [("two", '[[readings.line]]\nname = "two"\nheld = "level"\n')]
    )
    before, after = text.split("[[readings.line]]"), new.split("[[readings.line]]")
    assert after[0] == before[0]
    assert after[1] == before[1]
    assert new.endswith(f"[plate]{newline}length = 3")
    assert tomllib.loads(new)["readings"]["line"][1] == {"name": "two", "held": "level"}
    assert tomllib.loads(new)["part"] == {"a": "#[b]"}


def test_a_new_table_comes_after_the_others_of_its_name():
    new = exchange_lists(TRICKY, "readings.line", [(None, '[[readings.line]]\nname = "three"\n')])
    assert [line["name"] for line in tomllib.loads(new)["readings"]["line"]] == ["one", "two", "three"]
    assert new.index("three") < new.index("[plate]")
    assert new.replace('\n[[readings.line]]\nname = "three"\n', "") == TRICKY


def test_a_new_table_at_the_end_of_a_text_without_a_last_newline():
    new = exchange_lists("a = 1", "readings.line", [(None, '[[readings.line]]\nname = "x"\n')])
    assert new.startswith("a = 1\n")
    assert tomllib.loads(new) == {"a": 1, "readings": {"line": [{"name": "x"}]}}


@pytest.mark.parametrize(
    ("text", "kept"),
    [("[readings]\nx = 1\n", True), ("a = 1\n[[readings.line]]\nname = 'q'\n", True), ("a = 1", True)],
)
def test_a_key_is_put_under_its_header(text, kept):
    new = tomllib.loads(add_key(text, "readings", "leaves = [30]"))
    assert new["readings"]["leaves"] == [30]
    old = tomllib.loads(text)
    old.setdefault("readings", {})["leaves"] = [30]
    assert new == old
