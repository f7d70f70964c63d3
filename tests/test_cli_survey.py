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
    table = found["table"]
    assert table["points"] > 3
    assert (table["reading_error_um"], table["reading_error_assumed"]) == (2.0, False)
    assert table["minimum_zone_between_points_um"] == found["flatness_um"]
    assert table["minimum_zone_um"] < found["flatness_um"]["p50"]
    assert "between the points" in found["verdict"]["goes_by"]
    assert found["verdict"]["answer"] in ("yes", "no", "cannot tell")
    assert found["next_line"] is None
    assert len(found["map"]["u_mm"]) == len(found["map"]["sd_um"])


SIXTEEN = """u_mm,v_mm,height_mm
10,10,0.06\n10,57,0.07\n10,103,0.06\n10,140,0.05\n70,10,0.01\n70,57,0.02\n70,103,0.01\n70,140,0
130,10,0.01\n130,57,0.02\n130,103,0.02\n130,140,0.01\n190,10,0.04\n190,57,0.07\n190,103,0.07\n190,140,0.08
"""


def test_what_was_measured_stands_beside_what_may_be_between_the_points(tmp_path):
    """An invented table to 0.01 mm, no error stated: both figures in the lead, the error as assumed."""
    (tmp_path / "h.csv").write_text(SIXTEEN)
    part = '[part]\nlength = 200\nwidth = 150\norigin = "corner"\nmetal = "A356"\nmass = 2\nlimit = 50\n'
    job = tmp_path / "h.toml"
    job.write_text(part + 'limit_by = "zone"\n[readings]\nheights = "h.csv"\n')
    found = json.loads(run(str(job), "--members", "50", "--json").stdout)
    assert (found["table"]["reading_error_um"], found["table"]["reading_error_assumed"]) == (5.0, True)
    assert found["table"]["step_of_digits_um"] == 10.0
    out = " ".join(run(str(job), "--members", "50", "--out", str(tmp_path / "out")).stdout.split())
    lead = out.partition("The face ──")[0]
    page = (tmp_path / "out" / "h-survey.html").read_text(encoding="utf-8").replace("\u00a0", " ")
    measured = f"the 16 points lie within {found['table']['minimum_zone_um']:.3g}"
    for text in (lead, page):
        assert measured in text
        assert "between the points and out to the edge, the face lies within" in text
        assert "not the 16 points alone" in text
    assert "5 µm a height, assumed" in out
    assert "5 µm a height, assumed" in page


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


def test_same_seed_same_bytes_other_seed_other_faces(drawn_anew):
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
