"""One member of an ensemble in numbers, and its work on one paper."""

from __future__ import annotations

from dataclasses import dataclass, replace

from handlap.sim.common import spoken
from handlap.sim.common.outline import Array
from handlap.sim.job.scenario import Scenario
from handlap.sim.lapping.dye import MIDDLE_DYE, DyeDraw
from handlap.sim.lapping.poses import Grip
from handlap.sim.materials.grits import Grit
from handlap.sim.materials.paper_law import MIDDLE, PaperLaw, PaperTraits, paper_law


@dataclass(frozen=True)
class Conditions:
    """All numbers of one member of an ensemble.

    ``rate`` is that of fresh P120 [m²/N], ``bedding`` λ/d of fresh paper [-], or ``bedding_length`` λ
    itself, which then does not fall [m]; ``ageing`` multiplies the loading and dulling scales [-];
    ``sway`` is the deviation of strokes beside their line [m].
    """

    rate: float
    bedding: float
    friction: float
    ageing: float
    grip: Grip
    bedding_length: float | None = None
    plate: Array | None = None
    """Standard normal scores of the plate's own shape; None: its middle."""
    traits: PaperTraits = MIDDLE
    """What all papers are taken to be."""
    sway: float = 5e-3
    dye: DyeDraw = MIDDLE_DYE
    """When the dye on the face fades and is gone; does not touch the lap."""

    def bedding_of(self, grit: Grit) -> float:
        """Bedding length λ on a fresh paper [m]."""
        return self.bedding_length or self.bedding * grit.diameter


def load_of(scenario: Scenario, conditions: Conditions) -> float:
    """Load on the paper: press of the hands and weight of the part, or the one stated [N]."""
    return scenario.exact.load or conditions.grip.press + scenario.part.weight


def law_of(scenario: Scenario, conditions: Conditions, grit: Grit) -> PaperLaw:
    """How a paper cuts the part of a scenario under one member's conditions."""
    law = paper_law(
        grit,
        scenario.part.metal,
        wet=scenario.paper.wet,
        ageing=conditions.ageing,
        traits=conditions.traits,
    )
    if conditions.bedding_length is not None:
        law = replace(law, blunt_bedding=1.0)
    return law


@dataclass(frozen=True)
class Stage:
    """Work on one paper: how many strokes, and what happens every how many of them (0: never).

    ``worn``: metal that the paper has cut everywhere before the first of them, per area of paper [m].
    """

    grit: Grit
    strokes: int
    turn_every: int
    brush_every: int
    sheet_every: int
    snapshots: tuple[int, ...] = ()
    worn: float = 0.0


def tipping_words(conditions: Conditions, share: float) -> str:
    """What to say when the press lies off the face in a ``share`` (0 to 1) of the work."""
    height = conditions.grip.height
    return (
        f"the part tips over: in {100 * share:.0f} % of the work the press and the weight act beyond "
        f"the edge of what lies on the paper. Pushing {spoken.distance(height)} over the paper moves them "
        f"{spoken.distance(conditions.friction * height)} forward: hold it lower, push along the long side, "
        "press nearer to the middle, or keep more of the part on the paper"
    )
