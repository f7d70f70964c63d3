"""The surface plate of 1955, run through the survey as a table of heights.

Source (published): J. C. Moody, "How to Calibrate Surface Plates in the Plant", The Tool
Engineer, October 1955; see ``moody_1955``.  Reproduced from its readings: minimum zone
163.67 µin = 4.157 µm, least-squares peak to valley 175.70 µin over the distinct stations.
"""

from __future__ import annotations

import numpy as np
import pytest
from moody_1955 import stations_in

from handlap.sim.common.outline import Outline
from handlap.sim.face.survey import Survey, survey_face
from handlap.sim.job.scenario import HeightTable, Part, Readings
from handlap.sim.materials.metals import METALS

INCH, MICROINCH = 25.4e-3, 25.4e-9


@pytest.fixture(scope="module")
def plate() -> Survey:
    x, y, z = stations_in()
    table = HeightTable(x * INCH, y * INCH, z * MICROINCH, 0.0, "1955 plate")
    metal = next(iter(METALS.values()))
    outline = Outline.rectangular(72 * INCH, 48 * INCH)
    part = Part("plate", outline, metal, 1.0, (0.0, 0.0), 6e-6, "zone", None)
    return survey_face(part, Readings(table=table), count=60)


def test_minimum_zone_of_the_stations(checked, plate):
    assert plate.table is not None
    assert plate.table.points == 111
    checked(
        "minimum zone the survey tells of the plate of 1955",
        expected=4.157,
        got=1e6 * plate.table.minimum_zone,
        tolerance=0.0005,
        unit="µm",
        kind="independent implementation",
        source="worked out outside the program from the readings of J. C. Moody, 1955",
        about="survey",
    )
    assert plate.table.peak_to_valley / MICROINCH == pytest.approx(175.70, abs=0.01)


def test_faces_go_through_the_stations(checked, plate):
    x, y, z = stations_in()
    at = np.column_stack([x, y]) * INCH
    repeated = np.array([np.sum(np.hypot(*(at - p).T) < 1e-6) > 1 for p in at])
    found = plate.ensemble.heights_at(at)[:, ~repeated]
    checked(
        "how far surveyed faces pass from the heights of the plate of 1955, at its stations",
        expected=0.0,
        got=np.abs(found - z[~repeated] * MICROINCH).max() / 1e-6,
        tolerance=1e-3,
        unit="µm",
        kind="published",
        source="J. C. Moody, The Tool Engineer, October 1955",
        about="survey",
    )


def test_what_lies_beyond_the_stations_is_said_and_widens_the_band(plate):
    """The stations stop 4 in inside the edge: 5.66 in from the corners."""
    assert any("does not reach the edge" in note and "143.7 mm" in note for note in plate.notes)
    assert plate.table is not None
    assert plate.bands.flatness.p05 > plate.table.minimum_zone
    assert plate.bands.flatness.p95 - plate.bands.flatness.p05 > 0.3e-6
