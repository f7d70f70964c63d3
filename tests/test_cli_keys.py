"""``handlap keys``: every key the loader takes is listed."""

from __future__ import annotations

import json

from click.testing import CliRunner

from handlap.cli.main import main
from handlap.sim.job.scenario_keys import KEYS


def run(*args: str, **env: str):
    return CliRunner().invoke(main, ["keys", *args], env=env or None)


def test_every_key_is_listed():
    out = run().stdout
    for key in KEYS:
        assert f"\n{key.name}\n" in f"\n{out}"


def test_json_has_the_same_keys_in_the_same_order():
    listed = json.loads(run("--json").stdout)
    assert [row["name"] for row in listed["keys"]] == [key.name for key in KEYS]


def test_a_word_narrows_the_list():
    out = run("press").stdout
    assert "hands.press" in out
    assert "part.length" not in out


def test_a_word_that_fits_nothing_is_refused():
    result = run("sausage")
    assert result.exit_code == 2
    assert "sausage" in result.stderr


def test_it_fits_forty_columns():
    lines = run(COLUMNS="40").stdout.splitlines()
    assert max(len(line) for line in lines) <= 40
