"""Conversions against the definitions of the units."""

from __future__ import annotations

import ast
import math
from pathlib import Path

import pytest

from handlap.sim.common import units


def test_exact_definitions() -> None:
    """International yard and pound agreement of 1959 (inch 25.4 mm, pound 0.45359237 kg); standard
    gravity 9.80665 m/s², 3rd CGPM 1901."""
    assert units.INCH == 0.0254
    assert units.KGF == 9.80665
    assert units.LBF == pytest.approx(0.45359237 * 9.80665, rel=1e-15)
    assert units.MICROINCH == pytest.approx(0.0254e-6, rel=1e-15)


@pytest.mark.parametrize(
    ("text", "quantity", "value"),
    [
        ("4 kgf", "force", 39.2266),
        ("9 lbf", "force", 9 * 4.4482216152605),
        ("40N", "force", 40.0),
        ("0.04 kN", "force", 40.0),
        ("-5 newton", "force", -5.0),
        ("2 thou", "height", 50.8e-6),
        ("0.05 mm", "height", 50e-6),
        ("50 um", "height", 50e-6),
        ("50 μm", "height", 50e-6),
        ("1.5 in", "length", 0.0381),
        ("60 µin", "roughness", 1.524e-6),
        ("5.5 lb", "mass", 2.494758035),
        ("16 oz", "mass", 0.45359237),
        ("850 g", "mass", 0.85),
        ("0.02 mm³/(N·m)", "rate", 2e-11),
        ("2e-11 m2/N", "rate", 2e-11),
        ("90 deg", "angle", math.pi / 2),
        # As people write them.
        ("0.05mm", "leaf", 50e-6),
        ("0,05 mm", "leaf", 50e-6),
        ("12,5 mm", "length", 12.5e-3),
        ("0,125mm", "leaf", 125e-6),
        ("50 µm", "leaf", 50e-6),
        ("50um", "leaf", 50e-6),
        ('.004"', "leaf", 101.6e-6),
        (".004 in", "leaf", 101.6e-6),
        ("4 thou", "leaf", 101.6e-6),
        ("4 Thou", "leaf", 101.6e-6),
        ("4 mil", "leaf", 101.6e-6),
        ("1 1/2 in", "length", 38.1e-3),
        ("1-1/2 in", "length", 38.1e-3),
        ("3/8 in", "length", 9.525e-3),
        ("15 lb", "force", 15 * 4.4482216152605),
        ("15 lb", "mass", 6.80388555),
        ("15 LBS.", "mass", 6.80388555),
        ("5 kgf", "force", 49.03325),
        ("5 kg", "force", 49.03325),
        ("3 oz", "mass", 0.085048569375),
        ("7000 grains", "mass", 0.45359237),
        ("1e-3 in", "leaf", 25.4e-6),
        ("−3 N", "force", -3.0),
    ],
)
def test_parse_quantity(text: str, quantity: str, value: float) -> None:
    assert units.parse_quantity(text, quantity) == pytest.approx(value, rel=1e-14)


@pytest.mark.parametrize(
    ("text", "quantity", "says"),
    [
        ("4", "force", "N, kN, kgf, lbf"),
        ("four N", "force", "N, kN, kgf, lbf"),
        ("nan N", "force", "N, kN, kgf, lbf"),
        ("1e999 N", "force", "finite"),
        ("1,500 mm", "length", "1500, or 1.500: no comma between thousands"),
        ("1,234.5 mm", "length", "1234.5: no comma between thousands"),
        ("1.2.3 mm", "length", "mm"),
        ("1 500 mm", "length", "mm"),
        ("1/0 in", "length", "mm"),
        ("", "mass", "kg, g, lb, oz, gr"),
        ("3", "number", "without quotes"),
    ],
)
def test_parse_quantity_refuses(text: str, quantity: str, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        units.parse_quantity(text, quantity)


@pytest.mark.parametrize("quantity", units.QUANTITIES)
@pytest.mark.parametrize("system", ["mm", "inch"])
def test_there_and_back(quantity: str, system: units.System) -> None:
    assert units.from_si(units.to_si(3.7, quantity, system), quantity, system) == pytest.approx(
        3.7, rel=1e-15
    )


@pytest.mark.parametrize("spelling", units.OTHER_SPELLINGS)
def test_other_spellings_lead_to_known_units(spelling: str) -> None:
    assert any(units.OTHER_SPELLINGS[spelling] in known for known in units.UNITS.values())


def test_systems_differ_by_their_definition() -> None:
    for quantity, ratio in [("length", 25.4), ("height", 25.4), ("roughness", 0.0254), ("mass", 0.45359237)]:
        assert units.to_si(1.0, quantity, "inch") == pytest.approx(
            ratio * units.to_si(1.0, quantity, "mm"), rel=1e-14
        )
    assert units.to_si(1.0, "force", "inch") == pytest.approx(4.4482216152605, rel=1e-14)


def _micrometres_by_hand(source: str) -> list[int]:
    """Lines of a module, its texts aside, where something is multiplied by a million."""
    return [
        node.lineno
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.BinOp)
        and isinstance(node.op, ast.Mult)
        and any(isinstance(side, ast.Constant) and side.value == 1e6 for side in (node.left, node.right))
    ]


@pytest.mark.parametrize(
    ("source", "lines"),
    [("a = 1\nb = 1e6 * a", [2]), ("b = f'{a * 1e6:.0f} µm'", [1]), ('"1e6 * a"\nb = 3 * a', [])],
)
def test_factors_by_hand_are_found(source: str, lines: list[int]) -> None:
    assert _micrometres_by_hand(source) == lines


def test_the_physics_knows_micrometres_at_its_edge_only() -> None:
    """What is said of a height goes by ``spoken.py`` or ``units.py``, so that it can be in inches too."""
    sim = Path(__file__).parents[1] / "sim"
    found = {path.name: _micrometres_by_hand(path.read_text("utf-8")) for path in sim.rglob("*.py")}
    assert len(found) > 150
    assert {name: lines for name, lines in found.items() if lines and name != "units.py"} == {}
