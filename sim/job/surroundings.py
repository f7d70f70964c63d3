"""What is around a face and changes when metal comes off it: engine, pump, bolts."""

from __future__ import annotations

from dataclasses import dataclass, fields


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

    thickness: float | None = None
    thickness_least: float | None = None
    swept: float | None = None
    clearance: float | None = None
    chamber_area: float | None = None
    cam_radius: float | None = None
    crank_radius: float | None = None
    cam_distance: float | None = None
    valve_clearance: float | None = None
    squish: float | None = None
    dowel_depth: float | None = None
    bolt_depth: float | None = None
    bolt_reach: float | None = None
    end_float: float | None = None
    end_float_least: float | None = None
    bank_angle: float | None = None

    @property
    def empty(self) -> bool:
        """Whether nothing at all is stated."""
        return all(getattr(self, f.name) is None for f in fields(self))
