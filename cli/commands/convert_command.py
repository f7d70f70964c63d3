"""Helpers: Grams and mean depth, thousandths and micrometres, US and P grits."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import click

from handlap.sim.common.errors import InputError

if TYPE_CHECKING:
    from handlap.cli.screen import Screen
    from handlap.sim.materials.conversion import GivenAmount
    from handlap.sim.materials.metals import Metal

SHOWN = {
    "mass": ("g", "kg", "oz", "lb"),
    "length": ("µm", "mm", "thou", "in"),
    "force": ("N", "kgf", "lbf"),
}
"""Units a quantity is shown in, besides its own."""
JSON_NAMES = {"µm": "um", "µin": "uin"}
DIGITS, DEPTH_DIGITS, BAND_DIGITS = 5, 4, 3
"""Significant digits of a conversion that is exact, of one through an area and a density, of a band."""


@dataclass(frozen=True)
class ConvertedFace:
    """What grams and depths are converted over: the metal, and the area where it is known [m²]."""

    metal: Metal
    named: bool
    """False where only a density is stated."""
    area: float | None
    swarf: bool

    @property
    def lost(self) -> tuple[float, float]:
        """Least and greatest share of the metal that the scale never sees."""
        from handlap.sim.materials.mass import SWARF_LOST

        return SWARF_LOST if self.swarf else (0.0, 0.0)

    @property
    def words(self) -> str:
        """The metal with its density."""
        density = _exact(self.metal.density / 1e3, "g/cm³")
        if not self.named:
            return f"metal of {density}"
        return f"{self.metal.name}, {density}" + (" without pores" if self.metal.cast else "")


@click.command(context_settings={"ignore_unknown_options": True})
@click.argument("values", nargs=-1, required=True, metavar="VALUE...")
@click.option("--metal", metavar="NAME", help="Metal of the face, such as A356 or grey iron.")
@click.option("--density", metavar="D", help='Density instead of a metal, such as "2.68 g/cm3".')
@click.option("--area", metavar="A", help='Metal of the face without its openings, such as "250 cm2".')
@click.option("--scenario", metavar="SCENARIO", help="Take area and metal from a scenario.")
@click.option("--swarf", is_flag=True, help="The grams are swarf gathered up, of which 5-15 % is lost.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead of text.")
def convert(
    values: tuple[str, ...],
    metal: str | None,
    density: str | None,
    area: str | None,
    scenario: str | None,
    swarf: bool,
    as_json: bool,
) -> None:
    """Convert what the bench gives: grams, leaves, forces, grades of paper.

    VALUE is a number with its unit, or a grade of paper; several may follow one another, and
    one unit serves all numbers before it.

    \b
    handlap convert 1.5 2 3 4 thou
    handlap convert 400 US P120
    handlap convert 9 lbf
    handlap convert 18 g --metal A356 \\
        --area "425 cm2"
    handlap convert 0.1 mm \\
        --scenario two-cylinder-head

    With the metal and the area of the face, grams become mean depth, and depth becomes grams.
    """
    import sys

    from handlap.cli.screen import Screen, emit
    from handlap.sim.materials.conversion import read_quantities

    for word in values:
        if word.startswith("--") or (word.startswith("-") and word[1:2].isalpha()):
            raise InputError(f'no option "{word}"; "handlap convert --help" lists them')
    try:
        given = read_quantities(" ".join(values))
        face = _face(metal, density, area, scenario, swarf)
        _see_that_it_is_used(given, face)
        results = [_converted(one, face) for one in given]
    except ValueError as fault:
        raise InputError(str(fault)) from fault
    if as_json:
        from handlap.cli.reports.as_json import dumps

        shown = {"schema": "handlap.convert/1", "face": _face_json(face), "conversions": results}
        emit(dumps(shown))
        return
    screen = Screen.of(sys.stdout)
    lines = [
        line for one, result in zip(given, results, strict=True) for line in _lines(one, result, face, screen)
    ]
    emit("\n".join(lines + _notes(given, face, screen)))


def _face(
    metal: str | None, density: str | None, area: str | None, scenario: str | None, swarf: bool
) -> ConvertedFace | None:
    from handlap.sim.materials import metals
    from handlap.sim.materials.conversion import read_area, read_density

    if metal is not None and density is not None:
        raise InputError("give either --metal or --density, not both")
    if area is not None and scenario is not None:
        raise InputError("give either --area or --scenario, not both")
    found = None if metal is None else metals.find(metal)
    if density is not None:
        # Only the density of this metal is ever asked for.
        found = metals.custom("stated density", like="A356", density=read_density(density))
    size = None if area is None else read_area(area)
    if scenario is not None:
        from handlap.sim.job.scenario_file import load

        part = load(scenario).part
        size, found = part.outline.area, found or part.metal
    if found is None:
        if size is not None or swarf:
            raise InputError("the metal is missing: give --metal or --density as well")
        return None
    return ConvertedFace(found, density is None, size, swarf)


def _see_that_it_is_used(given: tuple[GivenAmount, ...], face: ConvertedFace | None) -> None:
    """Refuse options that would be ignored, and name the one that is missing."""
    if face is None:
        return
    for one in given:
        if face.area is not None and one.kind in ("mass", "length") and one.value < 0.0:
            raise InputError(f'"{one.text}": what came off is 0 or more')
    kinds = {one.kind for one in given}
    if face.area is None and kinds & {"mass", "length"}:
        raise InputError("the area of the face is missing: give --area or --scenario as well")
    if face.area is None and face.swarf:
        raise InputError("--swarf says how grams were weighed; no grams or depth are given")
    if face.area is not None and not kinds & {"mass", "length"}:
        raise InputError("an area is given, but no grams or depth to go with it")
    if not kinds & {"mass", "length"} and not face.named:
        raise InputError("a density is given, but no grams or depth to go with it")
    if not kinds & {"mass", "length", "grade"}:
        raise InputError("a metal is given, but no grams, depth or grade of paper to go with it")


def _converted(one: GivenAmount, face: ConvertedFace | None) -> dict[str, Any]:
    """Result of one value under the names it has in JSON."""
    if one.kind == "grade":
        return _grade(one, face)
    from handlap.sim.common.said import figure
    from handlap.sim.common.units import UNITS

    result: dict[str, Any] = {"given": one.text, "kind": one.kind}
    for unit in SHOWN[one.kind]:
        multiplier, divisor = UNITS[one.kind][unit]
        result[JSON_NAMES.get(unit, unit)] = figure(one.value * divisor / multiplier)
    if face is None or face.area is None or one.kind == "force":
        return result
    from handlap.sim.materials import mass

    if one.kind == "mass":
        low, high = mass.mean_depth_band(one.value, face.metal, face.area, face.lost)
        solid = mass.mean_depth(one.value, face.metal.density, face.area)
        result["mean_depth_um"] = {
            "solid": figure(solid, 1e6),
            "low": figure(low, 1e6),
            "high": figure(high, 1e6),
        }
    else:
        low, high = mass.mass_off_band(one.value, face.metal, face.area, face.lost)
        solid = mass.mass_off(one.value, face.metal.density, face.area)
        result["mass_g"] = {"solid": figure(solid, 1e3), "low": figure(low, 1e3), "high": figure(high, 1e3)}
    return result


def _grade(one: GivenAmount, face: ConvertedFace | None) -> dict[str, Any]:
    from handlap.sim.common.said import figure
    from handlap.sim.materials import grits
    from handlap.sim.materials.paper_law import SCRATCH_STOCK, STOCK_SPREAD, rate_factor

    grit = one.grit
    assert grit is not None
    us = one.us if one.us is not None else grits.us_nearest(grit)
    us_grain = None if us is None else grits.US_DIAMETERS.get(us)
    result: dict[str, Any] = {
        "given": one.text,
        "kind": "grade",
        "p": grit.name,
        "us": us,
        "p_grain_um": figure(grit.diameter, 1e6),
        "us_grain_um": us_grain,
        "p_over_us": None if us_grain is None else figure(grit.diameter * 1e6 / us_grain),
        "rate_factor": figure(rate_factor(grit)),
    }
    if face is not None and face.named:
        result["roughness_ra_um"] = [figure(ra, 1e6) for ra in grit.roughness(face.metal)]
        middle = SCRATCH_STOCK * grit.roughness_median(face.metal)
        result["scratch_stock_um"] = [figure(s, 1e6) for s in (middle / STOCK_SPREAD, middle * STOCK_SPREAD)]
    return result


def _face_json(face: ConvertedFace | None) -> dict[str, Any] | None:
    if face is None:
        return None
    from handlap.sim.common.said import figure

    low, high = face.metal.density_range
    return {
        "metal": face.metal.name if face.named else None,
        "density_kg_m3": figure(face.metal.density),
        "density_range_kg_m3": [figure(low), figure(high)],
        "area_mm2": figure(face.area, 1e6),
        "swarf": face.swarf,
    }


def _exact(value: float, unit: str) -> str:
    from handlap.cli.reports.quantity import stated

    return f"{stated(float(f'{value:.{DIGITS}g}'))} {unit}"


def _lines(one: GivenAmount, result: dict[str, Any], face: ConvertedFace | None, screen: Screen) -> list[str]:
    from handlap.cli.reports.text import wrapped

    if one.kind == "grade":
        head, facts = _grade_words(one, result)
    else:
        same = [
            _exact(result[JSON_NAMES.get(unit, unit)], unit)
            for unit in SHOWN[one.kind]
            if one.text.rpartition(" ")[2] != unit
        ]
        head = " = ".join([one.text.replace("-", "−"), *same])
        facts = _through_face(result, face)
    lines = wrapped(head, screen.width, "", "  ")
    for fact in facts:
        lines += wrapped(fact, screen.width, "  ", "    ")
    return lines


def _between(low: float, high: float) -> str:
    from handlap.cli.reports.quantity import number

    return f"{number(low, BAND_DIGITS)}–{number(high, BAND_DIGITS)}"


def _through_face(result: dict[str, Any], face: ConvertedFace | None) -> list[str]:
    """Depth of a mass, or mass of a depth, in words."""
    from handlap.cli.reports.quantity import number

    if face is None:
        return []
    facts = []
    if (depth := result.get("mean_depth_um")) is not None:
        thou = number(depth["solid"] / 25.4, DEPTH_DIGITS)
        facts.append(f"mean depth {number(depth['solid'], DEPTH_DIGITS)} µm ({thou} thou)")
        found, unit = depth, "µm"
    elif (grams := result.get("mass_g")) is not None:
        facts.append(f"mass off {number(grams['solid'], DEPTH_DIGITS)} g")
        found, unit = grams, "g"
    else:
        return []
    if found["low"] < found["high"]:
        facts.append(f"{_between(found['low'], found['high'])} {unit} with {_why(face)}")
    return facts


def _why(face: ConvertedFace) -> str:
    causes = []
    if face.metal.cast:
        causes.append("the pores of a casting (up to 5 %)")
    if face.swarf:
        causes.append("5–15 % of the swarf lost")
    return " and ".join(causes)


def _grade_words(one: GivenAmount, result: dict[str, Any]) -> tuple[str, list[str]]:
    from handlap.cli.reports.quantity import number, stated

    p, us = result["p"], result["us"]
    grain = f"{p} grain {stated(result['p_grain_um'])} µm"
    if one.us is not None:
        head = f"{one.text} ≈ {p}"
    else:
        head = f"{p} ≈ {us} US" if us is not None else f"{p}: no US grade is near"
    facts = [grain]
    if result["us_grain_um"] is not None:
        grain_us = stated(result["us_grain_um"])
        facts = [f"{grain}, {us} US {grain_us} µm (from memory): ratio {result['p_over_us']:.2f}"]
    if result["rate_factor"] != 1.0:
        facts.append(f"fresh, cuts about {number(result['rate_factor'], 2)} of what P120 cuts")
    if "roughness_ra_um" in result:
        low, high = (number(ra, 2) for ra in result["roughness_ra_um"])
        least, most = (number(s, 2) for s in result["scratch_stock_um"])
        facts.append(f"leaves Ra {low}–{high} µm; the next paper clears that in {least}–{most} µm")
    return head, facts


def _notes(given: tuple[GivenAmount, ...], face: ConvertedFace | None, screen: Screen) -> list[str]:
    from handlap.cli.reports.text import wrapped

    kinds = {one.kind for one in given}
    if face is None:
        if "mass" not in kinds:
            return []
        note = "For the mean depth give the metal (--metal or --density) and the area (--area or --scenario)."
        return ["", *wrapped(note, screen.width)]
    if face.area is None:
        return []
    area = _exact(face.area * 1e4, "cm²")
    meant = "Depth is the mean; the greatest is more, and an allowance is held against that."
    return ["", *wrapped(f"Over {area} of {face.words}. {meant}", screen.width)]
