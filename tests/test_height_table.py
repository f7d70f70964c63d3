"""Tables of heights: units in the headers, both ways of parting fields, faults with their lines."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from handlap.sim.common.errors import ScenarioError
from handlap.sim.job.height_table import assumed_error, parse_height_table, read_height_table

MM = "u_mm,v_mm,height_um\n0,0,0\n254,0,25.4\n0,127,-12.7\n254,127,50.8\n"


@pytest.mark.parametrize(
    "text",
    [
        "u_in,v_in,height_thou\n0,0,0\n10,0,1\n0,5,-0.5\n10,5,2\n",
        "x_mm,y_mm,h_um\n0,0,0\n254,0,25.4\n0,127,-12.7\n254,127,50.8\n",
        "# made up\n\nHEIGHT_UM, Y_mm ,x_MM\n0,0,0\n25.4,0,254\n# between\n-12.7,127,0\n50.8,127,254\n",
        "u_mm;v_mm;height_um\n0;0;0\n254;0;25,4\n0;127;-12,7\n254;127;50.8\n",
        "point,u_cm,v_m,height_mm,note\n1,0,0,0,\n2,25.4,0,.0254,\n3,0,.127,-1.27e-2,low\n4,25.4,0.127,0.0508,\n",
        "u_inch,v_inches,height_µm\n0,0,0\n10,0,25.4\n0,5,-12.7\n10,5,50.8\n",
        "\ufeff" + MM.replace("\n", "\r\n"),
    ],
)
def test_same_table_in_other_dress(tmp_path: Path, text: str) -> None:
    want = parse_height_table(MM, "mm")
    path = tmp_path / "other.csv"
    path.write_text(text, encoding="utf-8", newline="")
    got = read_height_table(path, sd=2e-6)
    for name in ("u", "v", "height"):
        np.testing.assert_allclose(getattr(got, name), getattr(want, name), rtol=1e-13, atol=1e-18)
    assert got.sd == 2e-6 and got.source == "other.csv"


def test_values_in_si() -> None:
    table = parse_height_table(MM, "t")
    np.testing.assert_allclose(table.u, [0, 0.254, 0, 0.254], rtol=1e-15)
    np.testing.assert_allclose(table.height, [0, 25.4e-6, -12.7e-6, 50.8e-6], rtol=1e-14)


@pytest.mark.parametrize(
    ("unit", "heights", "step"),
    [
        ("um", "0 12.3 3 7", 0.1e-6),
        ("um", "0 12 3 7", 1e-6),
        ("um", "0 0 0 0", 1e-6),
        ("um", "0 120 -30 70", 10e-6),
        ("um", "0 50 50 0", 1e-6),  # too few to tell the digits that are skipped
        ("mm", "0 0.12 0.03 -0.07", 10e-6),
        ("mm", "0 0.125 .5 1", 5e-6),
        ("mm", "0.002 0.014 0.01 0.006", 2e-6),
        ("thou", "0 1.5 2 3.5", 12.7e-6),
        ("thou", "0 1.3 2 3.5", 2.54e-6),
        ("m", "1e-5 2e-5 3.6e-5 0", 2e-6),
        ("um", "1e-400 2 3 4", 1e-18),
    ],
)
def test_step_of_the_digits(unit: str, heights: str, step: float) -> None:
    a, b, c, d = heights.split()
    table = parse_height_table(f"u_mm,v_mm,height_{unit}\n0,0,{a}\n9,0,{b}\n0,9,{c}\n9,9,{d}\n", "t")
    assert table.step == pytest.approx(step, rel=1e-9)


def test_error_assumed_is_half_a_step_and_never_under_a_micron() -> None:
    assert assumed_error(10e-6) == pytest.approx(5e-6)
    assert assumed_error(0.1e-6) == 1e-6


HEAD = "u_mm,v_mm,height_um\n"
FOUR = "0,0,0\n9,0,1\n0,9,2\n9,9,3\n"
BAD = {
    "empty": ("", "empty table"),
    "comments only": ("# nothing\n\n", "empty table"),
    "headers only": (HEAD, "at least 4 points"),
    "three points": (HEAD + "0,0,0\n1,0,0\n0,1,0\n", "at least 4 points"),
    "no headers": (FOUR, "line 1"),
    "no unit": ("u,v,height\n" + FOUR, "u_mm"),
    "unknown unit": ("u_mm,v_mm,height_furlong\n" + FOUR, "height_furlong"),
    "missing column": ("u_mm,height_um\n0,0\n", "no column for v"),
    "column twice": ("u_mm,x_mm,v_mm,height_um\n" + FOUR, "one column for u"),
    "unknown column": ("u_mm,v_mm,height_um,colour\n" + FOUR, "colour"),
    "short row": (HEAD + FOUR + "1,2\n", "line 6: 2 fields"),
    "decimal comma": (HEAD + FOUR + "1,5,2,3\n", "semicolons"),
    "no number": (HEAD + FOUR + "1,x,3\n", 'line 6: "x"'),
    "nan": (HEAD + FOUR + "1,2,nan\n", 'line 6: "nan"'),
    "inf": (HEAD + FOUR + "1,2,-inf\n", 'line 6: "-inf"'),
    "overflow": (HEAD + FOUR + "1,2,1e999\n", 'line 6: "1e999"'),
    "underscore": (HEAD + FOUR + "1,2,1_0\n", 'line 6: "1_0"'),
    "blank field": (HEAD + FOUR + "1,2,\n", 'line 6: ""'),
    "thousands": ("u_mm;v_mm;height_um\n0;0;1.234,5\n", "thousands separator"),
    "same place twice": (HEAD + FOUR + "9,9,4\n", "line 6: the same position as line 5"),
    "on one line": (HEAD + "0,0,0\n1,1,0\n2,2,0\n3,3,0\n", "points on one line"),
    "heights in mm taken as m": ("u_mm,v_mm,height_m\n" + FOUR, "check the unit"),
}


@pytest.mark.parametrize(("text", "says"), BAD.values(), ids=BAD.keys())
def test_bad_tables(text: str, says: str) -> None:
    with pytest.raises(ScenarioError) as error:
        parse_height_table(text, "bad.csv")
    assert says in str(error.value)
    assert all(line.startswith("bad.csv") for line in str(error.value).splitlines())


def test_all_faults_at_once_and_capped() -> None:
    with pytest.raises(ScenarioError) as error:
        parse_height_table(HEAD + "a,0,0\n" + FOUR + "0,b,0\n1,1\n", "bad.csv")
    assert [f.key for f in error.value.faults] == ["line 2", "line 7", "line 8"]
    with pytest.raises(ScenarioError) as error:
        parse_height_table(HEAD + "a,b,c\n" * 500, "bad.csv")
    assert len(error.value.faults) == 500
    assert len(str(error.value).splitlines()) == 41
    assert "460 more" in str(error.value)


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    with pytest.raises(ScenarioError, match="no such file"):
        read_height_table(tmp_path / "absent.csv")
    with pytest.raises(ScenarioError, match="a folder"):
        read_height_table(tmp_path)
    (tmp_path / "latin.csv").write_bytes("u_mm,v_mm,height_µm\n".encode("latin-1"))
    with pytest.raises(ScenarioError, match="UTF-8"):
        read_height_table(tmp_path / "latin.csv")
