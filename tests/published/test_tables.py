"""Tables of grain sizes, densities, rates and finishes, typed in anew beside their source."""

import math

import pytest

from handlap.sim.materials import grits, mass, metals

# ---- mean grain diameters of ISO 6344 (FEPA P grades), µm.  Published, to the whole µm; P220 is
# printed rounded.  Decimals are from memory, so those grades are held to 0.5 µm only.
ISO_6344: dict[str, float] = {
    "P12": 1815, "P16": 1324, "P20": 1000, "P24": 764, "P30": 642, "P36": 538, "P40": 425, "P50": 336,
    "P60": 269, "P80": 201, "P100": 162, "P120": 125, "P150": 100, "P180": 82, "P220": 68,
}  # fmt: skip
ISO_6344_FINE = {
    "P240": 58.5, "P280": 52.2, "P320": 46.2, "P360": 40.5, "P400": 35.0, "P500": 30.2, "P600": 25.8,
    "P800": 21.8, "P1000": 18.3, "P1200": 15.3, "P1500": 12.6, "P2000": 10.3, "P2500": 8.4,
}  # fmt: skip

# ---- US (CAMI) grades against P grades, as comparison charts print them (common practice).
CAMI_TO_P = {240: "P280", 320: "P400", 400: "P800", 600: "P1200", 800: "P1500"}

# ---- densities from handbook tables, g/cm³ (published).
HANDBOOK_DENSITIES = {"356": 2.69, "A356": 2.68, "6061": 2.70, "2024": 2.78, "1100": 2.71, "7075": 2.81}


def test_iso_6344_grain_sizes(checked):
    """Published: ISO 6344 mean grain diameters."""
    assert set(grits.GRITS) == set(ISO_6344) | set(ISO_6344_FINE)
    for table, kind, which in (
        (ISO_6344, "published", "P12 to P220"), (ISO_6344_FINE, "from memory", "P240 to P2500"),
    ):  # fmt: skip
        checked(
            f"mean grain of all grades {which}",
            expected=list(table.values()),
            got=[grits.find(name).diameter * 1e6 for name in table],
            tolerance=0.5,
            unit="µm",
            kind=kind,
            source="ISO 6344",
            about="materials",
        )


def test_us_grades():
    """Common practice: the same number up to 220, comparison charts above."""
    for number in (60, 80, 100, 120, 150, 180, 220):
        assert grits.us(number).name == f"P{number}"
    for number, name in CAMI_TO_P.items():
        assert grits.us(number).name == name
        assert grits.find(f"{number} US").name == name


def test_us_grades_above_220_are_the_nearest_by_grain():
    """From memory: mean CAMI diameters; the charts' pairs are the nearest by ratio of grain."""
    for number, diameter in grits.US_DIAMETERS.items():
        if number > 220:
            off = {name: abs(math.log(g.diameter / (diameter * 1e-6))) for name, g in grits.GRITS.items()}
            assert min(off, key=lambda name: off[name]) == grits.us(number).name
        else:
            assert abs(math.log(diameter * 1e-6 / grits.us(number).diameter)) < 0.15


def test_handbook_densities(checked):
    """Published: handbook densities, to the digits printed."""
    checked(
        f"densities of the aluminium alloys {', '.join(HANDBOOK_DENSITIES)}",
        expected=list(HANDBOOK_DENSITIES.values()),
        got=[metals.find(name).density / 1e3 for name in HANDBOOK_DENSITIES],
        tolerance=0.005,
        unit="g/cm³",
        kind="published",
        source="handbook tables",
        about="materials",
    )


def test_mean_depth_of_a_mass(checked):
    """Closed form: depth µm = 10⁴·m[g]/(ρ[g/cm³]·A[cm²])."""
    for grams, area, density, depth in (
        (2.70, 100.0, 2.70, 100.0), (1.0, 250.0, 2.68, 14.925), (1.0, 250.0, 7.15, 5.594),
    ):  # fmt: skip
        found = mass.mean_depth(grams * 1e-3, density * 1e3, area * 1e-4)
        checked(
            f"mean depth of {grams:g} g off {area:g} cm² at {density:g} g/cm³",
            expected=depth,
            got=1e6 * found,
            tolerance=5e-4,
            unit="µm",
            kind="closed form",
            source="depth µm = 10⁴·m[g]/(ρ[g/cm³]·A[cm²])",
            about="materials",
        )


def test_swarf_of_a_full_length_face(checked):
    """Common practice: 18–20 g of aluminium off 400–450 cm² lies inside a 0.2 mm allowance.

    The ends are 18 g off 450 cm² and 20 g off 400 cm², both at 2.68 g/cm³; at 2.70 they are
    0.148 and 0.185 mm.
    """

    def depth_mm(grams: float, area: float, density: float) -> float:
        return 1e3 * mass.mean_depth(grams * 1e-3, density * 1e3, area * 1e-4)

    assert depth_mm(18.0, 450.0, 2.68) == pytest.approx(0.149, abs=0.0005)
    assert depth_mm(20.0, 400.0, 2.68) == pytest.approx(0.187, abs=0.0005)
    assert depth_mm(18.0, 450.0, 2.70) == pytest.approx(0.148, abs=0.0005)
    assert depth_mm(20.0, 400.0, 2.70) == pytest.approx(0.185, abs=0.0005)
    for grams in (18.0, 20.0):
        for area in (400.0, 450.0):
            low, high = mass.mean_depth_band(grams * 1e-3, metals.find("A356"), area * 1e-4)
            assert 0.1e-3 < low < high < 0.2e-3
            checked(
                f"mean depth of {grams:g} g of aluminium off {area:g} cm², inside 0.2 mm",
                expected=0.2,
                got=1e3 * high,
                tolerance=0.0,
                unit="mm",
                sense="at most",
                kind="common practice",
                source="18–20 g of swarf off a full-length face stay inside an allowance of 0.2 mm",
                about="materials",
            )


def test_rates_follow_from_the_published_range_of_two_body_abrasion(checked):
    """From memory: K on fresh paper, as compiled by Rabinowicz; H of cast Al-Si 0.85 GPa.

    The default is that of truly fresh P120, so their geometric mean, 0.058; its spread of ×/÷ 3 stays
    within the ends of the range.  What service averages come to less is ageing.
    """
    compiled = (0.18, 0.12, 0.08, 0.024, 0.016)
    middle = math.exp(sum(map(math.log, compiled)) / len(compiled))
    assert middle == pytest.approx(0.058, abs=0.0005)
    metal = metals.find("A356")
    k = metal.rate * 0.85e9
    assert min(compiled) < k < max(compiled)
    assert k * metal.rate_spread < max(compiled) and k / metal.rate_spread > min(compiled)
    # Brinell hardness of grey iron, 200, is some 2 GPa: the same K gives its rate.
    checked(
        "rate of fresh P120 times hardness, cast Al-Si and grey iron",
        expected=middle,
        got=[k, metals.find("grey iron").rate * 2.0e9],
        tolerance=0.003,
        kind="from memory",
        source="geometric mean of K in two-body abrasion on fresh paper, as compiled by Rabinowicz; "
        "hardness 0.85 and 2.0 GPa",
        about="materials",
    )


def test_gasket_faces(checked):
    """Published (trade articles): Ra that gaskets ask for, µm; 0.76 µm is 30 µin."""
    iron, aluminium = metals.find("grey iron"), metals.find("A356")
    assert metals.gasket_finish("composite", iron) == pytest.approx((1.5e-6, 2.5e-6))
    assert metals.gasket_finish("composite", aluminium) == pytest.approx((0.8e-6, 1.5e-6))
    checked(
        "roughest face of iron under a multi-layer steel gasket",
        expected=30.0,
        got=metals.gasket_finish("multi-layer steel", iron)[1] / 25.4e-9,
        tolerance=0.3,
        unit="µin",
        kind="published",
        source="trade articles on gasket faces",
        about="materials",
    )
    assert 1.3e-6 <= metals.gasket_finish("coated multi-layer steel", aluminium)[1] <= 1.5e-6


def test_bedding_lengths(checked):
    """Derived: λ = 0.12·d: P80 24 µm, P120 15, P240 7, P400 4.2."""
    for name, length, digit in (("P80", 24, 0.5), ("P120", 15, 0.5), ("P240", 7, 0.5), ("P400", 4.2, 0.05)):
        checked(
            f"bedding length of {name}",
            expected=length,
            got=1e6 * grits.find(name).bedding_length(),
            tolerance=digit,
            unit="µm",
            kind="from memory",
            source="0.12 of the grain, derived; measured for no paper",
            about="materials",
        )
