"""Help for names that are mistyped: commands, files of the folder, options, what the trade says for short."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from handlap.cli.asking.new_answers import raw_value
from handlap.cli.main import main
from handlap.sim.common.errors import ScenarioError
from handlap.sim.common.spelling import nearest
from handlap.sim.job.given_file import builtin_paths
from handlap.sim.job.scenario_file import load_text
from handlap.sim.job.scenario_keys import BY_NAME

HEAD = builtin_paths()["two-cylinder-head"].read_text(encoding="utf-8")


def refused(*args: str) -> str:
    done = CliRunner().invoke(main, list(args))
    assert done.exit_code == 2, done.output
    return done.stderr


@pytest.mark.parametrize(
    ("typed", "meant"),
    [("plna", "plan"), ("pln", "plan"), ("plan-", "plan"), ("serve", "survey"), ("repaln", "replan"),
     ("logg", "log"), ("jobsheet", "job-sheet"), ("glnace", "glance")],
)  # fmt: skip
def test_commands(typed, meant):
    assert f'Did you mean "{meant}"?' in refused(typed, "head.toml")


@pytest.mark.parametrize("typed", ["haed.toml", "heads.toml", "hea.toml", "haed"])
def test_files_here(tmp_path: Path, monkeypatch, typed):
    monkeypatch.chdir(tmp_path)
    for name in ("head.toml", "flange.toml", "head.log.jsonl"):
        (tmp_path / name).write_text(HEAD, encoding="utf-8")
    assert 'did you mean "head.toml"?' in refused("plan", typed)


def test_files_of_another_folder_and_none(tmp_path: Path):
    (tmp_path / "head.toml").write_text(HEAD, encoding="utf-8")
    assert f'did you mean "{tmp_path / "head.toml"}"?' in refused("plan", str(tmp_path / "haed.toml"))
    assert "did you mean" not in refused("plan", str(tmp_path / "absent" / "haed.toml"))
    assert 'did you mean "two-cylinder-head"?' in refused("plan", "two-cylindre-head")


def test_an_entry_can_be_undone_by_that_word(tmp_path: Path):
    file = tmp_path / "head.toml"
    file.write_text(HEAD, encoding="utf-8")
    for args in (["--strokes", "40", "--paper", "P120"], ["--undo", "1"]):
        assert CliRunner().invoke(main, ["log", str(file), *args]).exit_code == 0
    assert not __import__("json").loads(CliRunner().invoke(main, ["log", str(file), "--json"]).stdout)[
        "strokes"
    ]


@pytest.mark.parametrize("short", ["MLS", "mls", "coated MLS"])
def test_gaskets_for_short(short):
    bare = "\n".join(line for line in HEAD.splitlines() if not line.startswith("gasket"))
    kind = "coated multi-layer steel" if "coated" in short else "multi-layer steel"
    asked, spelt = (
        load_text(bare.replace("[part]", f'[part]\ngasket = "{word}"', 1), "head.toml").part.gasket_ra
        for word in (short, kind)
    )
    assert asked == spelt
    assert raw_value(BY_NAME["part.gasket"], short) == short


def test_nothing_near_is_nothing():
    assert nearest("sausage", ["plan", "log"]) is None
    assert nearest("", ["plan"]) is None


def test_keys_that_only_files_have_are_put_as_they_are_called():
    text = HEAD.replace("leaves = [", "leaves = [0.05, ", 1)
    assert text != HEAD
    with pytest.raises(ScenarioError, match=r"leaf 1 of your set, readings\.leaves\[1\] = 0\.05; allowed"):
        load_text(text, "head.toml")
    with pytest.raises(ScenarioError, match=r"paper 2 of your list, paper\.grits\[2\]"):
        load_text(re.sub(r"grits = .*", 'grits = ["P80", "P125"]', HEAD), "head.toml")
