"""Rows of the table of scenario keys: what is around the face and changes when metal comes off."""

from __future__ import annotations

from handlap.sim.job.key_row import Key

_NONE = "none: nothing is said of it"


def _length(name: str, help: str, low: float, high: float) -> Key:
    return Key(f"part.after.{name}", "quantity", help, "length", low, high, default_words=_NONE)


AFTER_KEYS: tuple[Key, ...] = (
    _length("thickness", "thickness of the part over the face before the cut", 0.5, 2000.0),
    _length("thickness_least", "least thickness the maker allows", 0.1, 2000.0),
    _length("bore", "bore of one cylinder", 5.0, 1000.0),
    _length("stroke", "stroke of its piston", 5.0, 2000.0),
    Key(
        "part.after.compression_ratio",
        "quantity",
        "compression ratio before the cut, of bore and stroke; or part.after.clearance",
        "number",
        1.5,
        40.0,
        default_words=_NONE,
    ),
    Key(
        "part.after.clearance",
        "quantity",
        "volume over the piston at the top of its stroke, gasket included, before the cut",
        "volume",
        0.1,
        10000.0,
        default_words=_NONE,
    ),
    Key(
        "part.after.chamber_opening",
        "whole number",
        "which of part.openings is the chamber of one cylinder, counted from 1",
        low=1,
        high=200,
        default_words="the largest opening",
    ),
    _length("cam_radius", "pitch radius of the cam's wheel", 5.0, 1000.0),
    _length("crank_radius", "pitch radius of the crank's wheel", 5.0, 1000.0),
    _length("cam_distance", "distance between the centres of both", 20.0, 5000.0),
    _length("valve_clearance", "least distance of valve and piston before the cut", 0.0, 100.0),
    _length("squish", "distance of head and piston at its edge before the cut", 0.0, 100.0),
    _length("dowel_depth", "depth of the dowel holes before the cut", 0.5, 500.0),
    _length("bolt_depth", "depth of the bolt holes before the cut", 0.5, 1000.0),
    _length("bolt_reach", "how far a bolt goes into its hole", 0.5, 1000.0),
    _length("end_float", "end float of a pump's gears or rotor before the cut", 0.0, 10.0),
    _length("end_float_least", "least end float the maker allows", 0.0, 10.0),
    Key(
        "part.after.bank_angle",
        "quantity",
        "V engine: angle between the bank's axis and the normal of its inlet flange",
        "angle",
        0.0,
        90.0,
        default_words=_NONE,
    ),
)
