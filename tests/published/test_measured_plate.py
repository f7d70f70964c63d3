"""The plate measured in 1955 as a plate under a part: between its readings, and never beyond them.

Published: J. C. Moody, "How to Calibrate Surface Plates in the Plant", The Tool Engineer, October
1955; see ``moody_1955``.  The plate is known on eight lines only, 4 in inside its edge.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from moody_1955 import distinct_stations_in

from handlap.sim.common.errors import ScenarioError
from handlap.sim.common.outline import Array
from handlap.sim.face.flatness import minimum_zone_widths
from handlap.sim.job.paper_area import beyond_measured, papered_area
from handlap.sim.job.scenario import HeightTable, Plate
from handlap.sim.job.scenario_file import load
from handlap.sim.lapping.ground import ground_of, is_flat, measured

UIN = 25.4e-9
INCH = 0.0254
JOB = """
title = "On the plate of 1955"
units = "inch"
[part]
length = 8
width = 4
metal = "A356"
mass = 4
limit = 2
[[readings.line]]
name = "long"
from = [-4, 0]
to = [4, 0]
stations = [[4, 2, 3]]
[plate]
length = 72
width = 48
heights = "plate.csv"
[paper]
strips = [[-32, -20, 32, 20]]
"""


def zone(x: Array, y: Array, heights: Array) -> float:
    """Exact minimum zone [m]."""
    return float(minimum_zone_widths(x.ravel(), y.ravel(), heights.reshape(1, -1))[0])


def moody() -> HeightTable:
    """Published, 1955: the readings of J. C. Moody as a table of a plate."""
    x, y, z = distinct_stations_in()
    return HeightTable(x * INCH, y * INCH, z * UIN, 0.0, "1955 readings")


def test_readings_of_1955_come_back_where_they_were_taken(checked) -> None:
    """Published readings; less their best plane, and straight between them, so never beyond them."""
    table = moody()
    back = measured(table, table.u, table.v)
    design = np.column_stack([np.ones(table.u.size), table.u, table.v])
    rest = table.height - design @ np.linalg.lstsq(design, table.height, rcond=None)[0]
    assert back == pytest.approx(rest, abs=1e-12)
    x, y = np.meshgrid(np.linspace(-32, 32, 129) * INCH, np.linspace(-20, 20, 81) * INCH)
    between = measured(table, x, y)
    assert rest.min() - 1e-12 <= between.min() and between.max() <= rest.max() + 1e-12
    # Exact minimum zone of the stations: 163.67 µin; what lies between them widens it no further.
    assert zone(x, y, between) / UIN <= 163.67 + 0.01
    checked(
        "minimum zone of the plate of 1955 laid under a part",
        expected=163.67,
        got=zone(table.u, table.v, back) / UIN,
        tolerance=0.01,
        unit="µin",
        kind="independent implementation",
        source="worked out outside the program from the readings of J. C. Moody, 1955",
        about="plates",
    )


def test_outside_the_readings_nothing_is_said() -> None:
    """The readings of 1955 stop 4 in inside the edge of the plate."""
    table = moody()
    with pytest.raises(ValueError, match="outside the area measured"):
        measured(table, np.array([0.0, 33 * INCH]), np.array([0.0, 0.0]))
    whole = papered_area(Plate(72 * INCH, 48 * INCH), None)
    assert beyond_measured(table, whole) == pytest.approx([4 * INCH], abs=1e-9)
    inside = np.array([[-32.0, -20.0, 32.0, 20.0], [-10.0, -21.0, 10.0, 21.0]]) * INCH
    assert beyond_measured(table, inside) == pytest.approx([0.0, INCH], abs=1e-9)


def test_a_job_on_this_plate(tmp_path: Path) -> None:
    """Read from a file in inches and microinches; paper outside the readings is refused in words."""
    x, y, z = distinct_stations_in()
    rows = "".join(f"{a!r},{b!r},{c!r}\n" for a, b, c in zip(*(v.tolist() for v in (x, y, z)), strict=True))
    (tmp_path / "plate.csv").write_text("x_in,y_in,height_uin\n" + rows)
    path = tmp_path / "job.toml"
    path.write_text(JOB)
    s = load(path)
    assert s.warnings == () and not is_flat(s)
    step = 0.5 * INCH
    # One column more than the paper is long: it carries the height at the paper's edge on.
    ground = ground_of(s, x0=-32 * INCH, y0=-20 * INCH, step=step, nx=130, ny=81, score=None, load=50.0)
    assert ground[:, 129] == pytest.approx(ground[:, 128], abs=1e-15)
    at_x, at_y = np.meshgrid((-32 + 0.5 * np.arange(129)) * INCH, (-20 + 0.5 * np.arange(81)) * INCH)
    # Four readings in a square make two triangles either way, which rounding decides.
    assert ground[:, :129] == pytest.approx(measured(moody(), at_x, at_y), abs=0.1e-6)
    path.write_text(JOB.replace("strips = [[-32, -20, 32, 20]]", ""))
    with pytest.raises(ScenarioError, match="the whole plate is papered, which reaches 4 in out of the area"):
        load(path)
