"""What is around a face and changes when metal comes off it, engine, pump, bolts: the record, and on its
fields the keys of ``[part.after]`` in a scenario file."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Annotated

from handlap.sim.job.key_row import Key


@dataclass(frozen=True)
class Surroundings:
    """What a scenario states about the surroundings of the face; None where it does not.

    Attributes
    ----------
    thickness, thickness_least : of the part before the cut, and the maker's minimum [m]
    swept : swept volume of one cylinder [m³]
    clearance : volume over the piston at the top, gasket included, before the cut [m³]
    chamber_area : area of the chamber's opening in the face [m²]
    cam_radius, crank_radius, cam_distance : pitch radii of the cam's and the crank's wheel, and
        the distance of their centres [m]
    valve_clearance, squish : valve to piston, and head to piston at the edge, before the cut [m]
    dowel_depth, bolt_depth : depth of dowel holes, and of bolt holes, before the cut [m]
    bolt_reach : how far the bolt goes into its hole [m]
    end_float, end_float_least : of a pump's gears or rotor before the cut, and the least allowed [m]
    bank_angle : between the bank's axis and the normal of its inlet flange [rad]
    """

    thickness: Annotated[float | None, Key(
        "thickness of the part over the face before the cut",
        "length", 0.5, 2000.0, default_words="none: nothing is said of it",
    )] = None  # fmt: skip
    thickness_least: Annotated[float | None, Key(
        "least thickness the maker allows",
        "length", 0.1, 2000.0, default_words="none: nothing is said of it",
    )] = None  # fmt: skip
    swept: Annotated[
        float | None,
        Key(
            "bore of one cylinder",
            "length", 5.0, 1000.0, name="bore", default_words="none: nothing is said of it",
        ),
        Key(
            "stroke of its piston",
            "length", 5.0, 2000.0, name="stroke", default_words="none: nothing is said of it",
        ),
    ] = None  # fmt: skip
    clearance: Annotated[
        float | None,
        Key(
            "compression ratio before the cut, of bore and stroke; or part.after.clearance",
            low=1.5, high=40.0, name="compression_ratio", default_words="none: nothing is said of it",
        ),
        Key(
            "volume over the piston at the top of its stroke, gasket included, before the cut",
            "volume", 0.1, 10000.0, default_words="none: nothing is said of it",
        ),
    ] = None  # fmt: skip
    chamber_area: Annotated[float | None, Key(
        "which of part.openings is the chamber of one cylinder, counted from 1",
        low=1, high=200, name="chamber_opening", kind="whole number", default_words="the largest opening",
    )] = None  # fmt: skip
    cam_radius: Annotated[float | None, Key(
        "pitch radius of the cam's wheel",
        "length", 5.0, 1000.0, default_words="none: nothing is said of it",
    )] = None  # fmt: skip
    crank_radius: Annotated[float | None, Key(
        "pitch radius of the crank's wheel",
        "length", 5.0, 1000.0, default_words="none: nothing is said of it",
    )] = None  # fmt: skip
    cam_distance: Annotated[float | None, Key(
        "distance between the centres of both",
        "length", 20.0, 5000.0, default_words="none: nothing is said of it",
    )] = None  # fmt: skip
    valve_clearance: Annotated[float | None, Key(
        "least distance of valve and piston before the cut",
        "length", 0.0, 100.0, default_words="none: nothing is said of it",
    )] = None  # fmt: skip
    squish: Annotated[float | None, Key(
        "distance of head and piston at its edge before the cut",
        "length", 0.0, 100.0, default_words="none: nothing is said of it",
    )] = None  # fmt: skip
    dowel_depth: Annotated[float | None, Key(
        "depth of the dowel holes before the cut",
        "length", 0.5, 500.0, default_words="none: nothing is said of it",
    )] = None  # fmt: skip
    bolt_depth: Annotated[float | None, Key(
        "depth of the bolt holes before the cut",
        "length", 0.5, 1000.0, default_words="none: nothing is said of it",
    )] = None  # fmt: skip
    bolt_reach: Annotated[float | None, Key(
        "how far a bolt goes into its hole",
        "length", 0.5, 1000.0, default_words="none: nothing is said of it",
    )] = None  # fmt: skip
    end_float: Annotated[float | None, Key(
        "end float of a pump's gears or rotor before the cut",
        "length", 0.0, 10.0, default_words="none: nothing is said of it",
    )] = None  # fmt: skip
    end_float_least: Annotated[float | None, Key(
        "least end float the maker allows",
        "length", 0.0, 10.0, default_words="none: nothing is said of it",
    )] = None  # fmt: skip
    bank_angle: Annotated[float | None, Key(
        "V engine: angle between the bank's axis and the normal of its inlet flange",
        "angle", 0.0, 90.0, default_words="none: nothing is said of it",
    )] = None  # fmt: skip

    @property
    def empty(self) -> bool:
        """Whether nothing at all is stated."""
        return all(getattr(self, f.name) is None for f in fields(self))
