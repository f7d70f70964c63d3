"""Flatness of surface plates by grade, typed in anew from three standards.

Published: DIN 876; ISO 8512-2, grade 0; ASME B89.3.7, grade AA.  From memory: ISO 8512-2, grades
1 to 3; ASME B89.3.7, grades A and B as twice and four times AA.
"""

from __future__ import annotations

import math

import pytest

from handlap.sim.materials import plate_grades

UM = 1e-6
UIN = 25.4e-9
INCH = 0.0254


@pytest.mark.parametrize(
    ("grade", "sides_mm", "um"),
    [
        ("DIN 876 0", (250, 250), 5.0),  # published
        # From the published formulas 4 + L/250, 10 + L/100, 20 + L/50, 40 + L/25 µm.
        ("DIN 876 0", (1000, 630), 8.0),
        ("DIN 876 1", (1000, 630), 20.0),
        ("DIN 876 2", (1000, 630), 40.0),
        ("DIN 876 3", (630, 1000), 80.0),
    ],
)
def test_din_876(checked, grade: str, sides_mm: tuple[float, float], um: float) -> None:
    """Published: grows with the longer side, whichever way it is given."""
    length, width = sides_mm
    checked(
        f"flatness of {length} × {width} mm to {grade}",
        expected=um,
        got=plate_grades.tolerance(grade, 1e-3 * length, 1e-3 * width) / UM,
        tolerance=1e-9,
        unit="µm",
        kind="published",
        source="DIN 876",
        about="plates",
    )


@pytest.mark.parametrize(("sides_mm", "um"), [((250, 250), 3.7), ((630, 400), 4.9), ((1000, 630), 6.1)])
def test_iso_8512_2_grade_0(checked, sides_mm: tuple[float, float], um: float) -> None:
    """Published: table values, which follow from the diagonal rounded up to the next 100 mm."""
    length, width = sides_mm
    got = plate_grades.tolerance("ISO 8512-2 0", 1e-3 * length, 1e-3 * width)
    checked(
        f"flatness of {length} × {width} mm to ISO 8512-2, grade 0",
        expected=um,
        got=got / UM,
        tolerance=0.05,
        unit="µm",
        kind="published",
        source="ISO 8512-2",
        about="plates",
    )


def test_iso_8512_2_rounds_the_diagonal_up() -> None:
    """Closed form: 3-4-5 plates stay on the hundred, a millimetre more takes the next."""
    on, over = (plate_grades.tolerance("ISO 8512-2 0", side, 0.6) for side in (0.8, 0.801))
    assert on / UM == pytest.approx(0.003 * 1000 + 2.5)
    assert over / UM == pytest.approx(0.003 * 1100 + 2.5)


def test_iso_8512_2_other_grades(checked) -> None:
    """From memory: each grade doubles the one before."""
    grades = [plate_grades.tolerance(f"ISO 8512-2 {g}", 0.63, 0.4) / UM for g in range(4)]
    checked(
        "flatness of 630 × 400 mm to ISO 8512-2, grades 0 to 3",
        expected=[4.9, 9.8, 19.6, 39.2],
        got=grades,
        tolerance=1e-5,
        unit="µm",
        kind="from memory",
        source="ISO 8512-2, each grade twice the one before",
        about="plates",
    )


def test_asme_b89_3_7(checked) -> None:
    """Published: AA of a 48 × 72 in plate is 339.5 µin by formula, 350 in the printed table."""
    aa = plate_grades.tolerance("ASME B89.3.7 AA", 72 * INCH, 48 * INCH) / UIN
    checked(
        "flatness of 72 × 48 in to ASME B89.3.7, grade AA",
        expected=339.5,
        got=aa,
        tolerance=0.05,
        unit="µin",
        kind="published",
        source="ASME B89.3.7, by its formula",
        about="plates",
    )
    assert 25 * round(aa / 25) == 350  # the table's steps of 25 µin: from memory
    # From memory: twice and four times.
    assert plate_grades.tolerance("ASME B89.3.7 A", 72 * INCH, 48 * INCH) / UIN == pytest.approx(2 * aa)
    assert plate_grades.tolerance("ASME B89.3.7 B", 72 * INCH, 48 * INCH) / UIN == pytest.approx(4 * aa)


def test_names_are_found_however_they_are_written() -> None:
    assert [plate_grades.find(name) for name in plate_grades.names()] == plate_grades.names()
    for text in ("DIN 876 I", "din876-1", "DIN 876/1", "DIN 876 grade 1"):
        assert plate_grades.find(text) == "DIN 876 1"
    assert plate_grades.find("iso 8512-2:0") == "ISO 8512-2 0"
    assert plate_grades.find("B89.3.7 AA") == plate_grades.find("ASME B89.3.7-AA") == "ASME B89.3.7 AA"


@pytest.mark.parametrize("text", ["", "0", "AA", "DIN 876", "DIN 876 4", "DIN 876 AA", "ASME B89.3.7 I"])
def test_a_grade_without_its_standard_is_refused(text: str) -> None:
    """The same figure means another flatness in another standard."""
    with pytest.raises(ValueError, match="known are DIN 876 0"):
        plate_grades.find(text)


@pytest.mark.parametrize("sides", [(0.0, 0.3), (0.3, -0.1), (math.nan, 0.3), (math.inf, 0.3)])
def test_a_plate_has_sides(sides: tuple[float, float]) -> None:
    with pytest.raises(ValueError, match="must be above 0"):
        plate_grades.tolerance("DIN 876 0", *sides)
