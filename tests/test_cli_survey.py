"""``handlap survey`` on real readings: a table of heights, and straightedge lines."""

from __future__ import annotations

import json

from click.testing import CliRunner

from handlap.cli.main import main

TABLE = "pump-face-heights"
LINES = "two-cylinder-head"


def run(*args: str):
    return CliRunner().invoke(main, ["survey", *args])


def test_a_table_of_heights():
    result = run(TABLE, "--members", "16")
    assert result.exit_code == 0
    assert "As measured" in result.stdout
    assert max(len(line) for line in result.stdout.splitlines()) <= 80


def test_json_of_a_table():
    found = json.loads(run(TABLE, "--members", "16", "--json").stdout)
    assert found["schema"] == "handlap.survey/1"
    assert found["table"]["points"] > 3
    assert found["verdict"]["answer"] in ("yes", "no", "cannot tell")
    assert found["next_line"] is None
    assert len(found["map"]["u_mm"]) == len(found["map"]["sd_um"])


def test_lines_show_shape_map_and_advice_and_write_the_map(tmp_path):
    result = run(LINES, "--members", "64", "--out", str(tmp_path))
    assert result.exit_code == 0
    out = result.stdout
    assert "hollow" in out
    assert "▁" in out
    assert "█" in out
    assert "What more to read" in out
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        f"{LINES}-survey-map.png",
        f"{LINES}-survey.html",
    ]


def test_same_seed_same_bytes_other_seed_other_faces():
    first, again = (run(LINES, "--members", "32", "--seed", "3", "--json").stdout for _ in range(2))
    assert first == again
    assert run(LINES, "--members", "32", "--seed", "4", "--json").stdout != first


def test_readings_that_cannot_be_used_are_refused_in_words(tmp_path):
    file = tmp_path / "bare.toml"
    file.write_text('[part]\nlength = 100\nwidth = 50\nmetal = "A356"\nmass = 1\nlimit = 50\n')
    result = run(str(file))
    assert result.exit_code == 2
    assert result.stdout == ""
    assert "readings" in result.stderr
    assert "Traceback" not in result.stderr
