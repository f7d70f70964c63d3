"""One job: its part, readings, plate, paper, hands, strokes and turning, and what it was read from.

Plain frozen records in SI units (m, N, Pa, s, m²/N); :mod:`handlap.sim.job.scenario_file` reads
them from TOML.  Nothing here computes.  The records of its parts stand in modules of their own, with the keys
of a scenario file on their fields, and are to be had from here as well.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Annotated, Any

from handlap.sim.common.outline import Array
from handlap.sim.common.units import System
from handlap.sim.job.job_part import Insert, LimitBy, Part, Pressing, Proud
from handlap.sim.job.job_plate import Glass, Laid, Lump, Paper, Plate, PlateShape, Strip
from handlap.sim.job.job_readings import (
    HeightTable,
    Held,
    Readings,
    Station,
    StraightedgeLine,
    Where,
    WorstGap,
)
from handlap.sim.job.job_wear import Wear
from handlap.sim.job.job_work import Exact, Hands, Strokes, Turning
from handlap.sim.job.key_row import Key
from handlap.sim.job.past_jobs import PastJob
from handlap.sim.job.stroke_path import Pattern
from handlap.sim.job.turning import TurnState
from handlap.sim.job.uncertain import Z95, Law, Uncertain

__all__ = [
    "Z95",
    "Exact",
    "Glass",
    "Hands",
    "HeightTable",
    "Held",
    "Insert",
    "Laid",
    "Law",
    "LimitBy",
    "Lump",
    "Paper",
    "Part",
    "Past",
    "Pattern",
    "Plate",
    "PlateShape",
    "Pressing",
    "Proud",
    "Readings",
    "Scenario",
    "Station",
    "StraightedgeLine",
    "Strip",
    "Strokes",
    "TurnState",
    "Turning",
    "Uncertain",
    "Wear",
    "Where",
    "WorstGap",
]


@dataclass(frozen=True)
class Past:
    """What a job takes from earlier ones; see :mod:`handlap.sim.lapping.from_past`.

    Attributes
    ----------
    plain : the job as its scenario has it, without them
    file : where they were read
    jobs : those that match at least in part
    names : quantities drawn together; ``factor`` (k, k): what makes their scores out of independent ones
    luck : of single grades, by name of the score
    strange : those of ``jobs`` that do not fit the others, by number from zero
    apart : how far jobs lie apart in their cut, ×/÷ (5 to 95 %); None: nothing of the cut was taken
    """

    plain: Scenario
    file: str
    jobs: tuple[PastJob, ...]
    names: tuple[str, ...]
    factor: Array
    luck: Mapping[str, Uncertain] = field(default_factory=dict)
    strange: tuple[int, ...] = ()
    apart: float | None = None


@dataclass(frozen=True)
class Scenario:
    """One job."""

    name: str
    title: Annotated[str, Key("the job in one line", default_words="name of the file")]
    source: str
    """Path or built-in name it was read from."""
    invented: Annotated[bool, Key("true for demonstration data", default=False, basis="ours")]
    part: Part
    readings: Readings
    plate: Plate
    paper: Paper
    hands: Hands
    strokes: Strokes
    turning: Turning
    wear: Wear
    exact: Exact = field(default_factory=Exact)
    check_every: Annotated[int | None, Key(
        "strokes between checks",
        low=1, high=1_000_000, default_words="about two minutes' worth",
        basis="common practice: blocks of about two minutes", name="checks.every", after="exact.cell",
    )] = None  # fmt: skip
    """Strokes between checks; None: about two minutes' worth."""
    ways: Annotated[tuple[str, ...], Key(
        'ways of working to compare, such as "turning=half every=40"',
        default_words="some eight that suit most parts",
        name="compare.ways", kind="ways", after="checks.every",
    )] = ()  # fmt: skip
    """Ways of working to compare, as :func:`handlap.sim.job.ways.parse_way` reads them."""
    system: Annotated[System, Key(
        "system of plain numbers: mm (lengths mm, heights µm, forces N, masses kg, roughness µm) or inch "
        "(inches, thousandths, lbf, lb, microinches)",
        default="mm", basis="ours", name="units", after="invented",
    )] = "mm"  # fmt: skip
    """Units in which its file is written, and in which what is said of it speaks of lengths."""
    leaf_unit: str = "µm"
    """What leaves are stamped in and shown in: mm, µm, in or thou."""
    warnings: tuple[str, ...] = ()
    assumed: tuple[Uncertain, ...] = ()
    """Uncertain defaults in force, for the report."""
    assumed_plain: tuple[tuple[str, str, str], ...] = ()
    """Other defaults in force: key, value in words, basis."""
    past: Past | None = None
    """What was taken from earlier jobs; None: nothing."""

    def settled(self) -> Scenario:
        """The same job with nothing uncertain."""

        def still(record: Any) -> Any:
            quantities: dict[str, Any] = {
                k: v.settled() for k, v in vars(record).items() if isinstance(v, Uncertain)
            }
            return replace(record, **quantities)

        return replace(self, hands=still(self.hands), wear=still(self.wear), strokes=still(self.strokes))
