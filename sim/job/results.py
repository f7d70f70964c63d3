"""What a plan or a simulated lap reports: plain records, SI units, no computing but the bands."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from handlap.sim.common.grid import Grid
from handlap.sim.common.outline import Array
from handlap.sim.common.said import record, said, unsaid
from handlap.sim.job.scenario import LimitBy, Scenario

VerdictAnswer = Literal["leave", "lap", "cannot tell", "machine shop"]


@dataclass(frozen=True)
class Band:
    """The 5 %, 50 % and 95 % points of a figure over an ensemble [unit of the figure]."""

    p05: float
    p50: float
    p95: float

    @staticmethod
    def of(values: ArrayLike) -> Band:
        """Band of the values of all members (count,).

        >>> Band.of([1.0, 2.0, 3.0])
        Band(p05=1.1, p50=2.0, p95=2.9)
        """
        low, middle, high = np.percentile(np.asarray(values, dtype=float), [5.0, 50.0, 95.0])
        return Band(float(low), float(middle), float(high))

    def scaled(self, factor: float) -> Band:
        """The same in another unit (``factor`` > 0)."""
        return Band(self.p05 * factor, self.p50 * factor, self.p95 * factor)

    @property
    def rest(self) -> Band:
        """Of a share, the share that is not it.

        >>> Band(0.25, 0.5, 1.0).rest
        Band(p05=0.0, p50=0.5, p95=0.75)
        """
        return Band(1.0 - self.p95, 1.0 - self.p50, 1.0 - self.p05)


@record()
class Figures:
    """Figures of faces, arrays (…,) over members or snapshots [m].

    ``taper_along`` / ``taper_across``: end-to-end difference of the best plane of the removal,
    + = more off at +u / +v.
    """

    flatness: Array = said("um")
    straightedge: Array = said("um")
    mean_depth: Array = said("um")
    greatest_depth: Array = said("um")
    taper_along: Array = said("um")
    taper_across: Array = said("um")


FIGURE_NAMES = tuple(Figures.__dataclass_fields__)
"""Names of the figures, in their order."""


@record()
class PlanCheck:
    """What to expect when the work is stopped for a look.

    Attributes
    ----------
    strokes : strokes from the start of the whole job [-]
    paper : name of the paper in use
    flatness, straightedge, mean_depth, greatest_depth : [m]
    mass : metal off so far [kg]
    dye_left : share of the face where dye put on at the last check is not gone [-]
    dye_faded : share where it is fading or gone [-]
    dye_gone : share where it is gone [-]
    dye_gone_map, dye_faded_map : chance (cells,) that it is gone, and fading or gone, for pictures [-]
    push, power : force to push [N] and power of the arms [W] on the paper as it is then
    reached : share of the members that have met the goal by then [-]
    worse_next : chance that the next block leaves the face less flat [-]; None at the last
    """

    strokes: int
    paper: str
    flatness: Band = said("um")
    straightedge: Band = said("um")
    mean_depth: Band = said("um")
    greatest_depth: Band = said("um")
    mass: Band = said("g")
    dye_left: Band
    dye_faded: Band
    dye_gone: Band
    dye_gone_map: Array = unsaid()
    dye_faded_map: Array = unsaid()
    push: Band = said("n")
    power: Band = said("w")
    reached: float = said(name="chance_goal_met")
    worse_next: float | None = said(name="chance_next_block_worse")


@record()
class StagePlan:
    """One paper of the plan; intervals in strokes, 0 = never; ``roughness`` is Ra low, high [m]."""

    paper: str
    purpose: str
    strokes: int
    strokes_band: Band
    turn_every: int = said(or_null=True)
    turning: str
    brush_every: int = said(or_null=True)
    sheet_every: int = said(or_null=True)
    sheets: int
    brushings: int
    bedding: Band = said("um")
    roughness: tuple[float, float] = said(name="roughness_ra_um", unit="um")
    push_fresh: Band = said("n")
    push_clogged: Band = said("n")
    """Force to push on paper that is fresh, and that has clogged [N]."""
    checks: tuple[PlanCheck, ...]


@dataclass(frozen=True)
class Verdict:
    """Leave it, lap it, machine shop, or cannot tell; why, and where the lines were drawn."""

    answer: VerdictAnswer
    reasons: tuple[str, ...]
    thresholds: dict[str, float]
    to_find_out: tuple[str, ...]
    """What to measure or try, where the answer is "cannot tell"."""


@record()
class BestPoint:
    """Where flatness stops improving: strokes from the start, flatness there [m]."""

    strokes: int
    flatness: Band = said("um")
    worse_after: float = said(name="chance_worse_after")
    """Chance that one more block makes it worse [-]."""


@record()
class Curve:
    """Figures against strokes over the coarse stage, members that would have stopped included.

    ``strokes`` (k,); bands (k, 3) as columns p05, p50, p95 [m].
    """

    strokes: Array = said(whole=True)
    flatness: Array = said("um")
    straightedge: Array = said("um")
    greatest_depth: Array = said("um")
    mean_depth: Array = said("um")


@record(kw_only=True)
class Errors:
    """Numerical error of the result, measured [m], and the tolerances it was held to [m].

    ``asked``: of what is reported, at the deepest spot twice that (None: rows are held to the map alone);
    ``tolerance``: of the map's worst spot; ``step``: how far that moves with twice the rows; ``grid``: what
    of ``flatness`` the cells make (None: not measured); ``flatness`` to ``mean_depth``: of what is reported,
    by rows and cells; ``strokes``: of the strokes to the goal, by rows [-] (None: not to be had).
    """

    tolerance: float = said("um")
    step: float = said("um")
    grid: float | None = said("um")
    flatness: float = said("um")
    straightedge: float = said("um")
    greatest_depth: float = said("um")
    mean_depth: float = said("um")
    strokes: float | None = None
    asked: float | None = said("um", "reported_tolerance_um", default=None)
    cells: int
    rows: int

    def of_measured(self, limit_by: LimitBy) -> float:
        """Error of the figure that the limit is held against [m]."""
        return self.straightedge if limit_by == "straightedge" else self.flatness


@record()
class AnotherDraw:
    """Between what the middle values of another draw of as many members lie nine times in ten, on the same
    papers (low, high); None: too few members to tell.  Strokes [-], minutes [min], depths [m]."""

    strokes: tuple[float, float] | None
    minutes: tuple[float, float] | None
    greatest_depth: tuple[float, float] | None = said("um", "greatest_um")
    mean_depth: tuple[float, float] | None = said("um", "mean_um")


@record()
class PaperTrial:
    """A paper tried as the first one, the finer ones after it included.

    Attributes
    ----------
    paper, finer : its name, and those of the papers that follow
    tried : members that worked it; 0: only estimated, for it would take far longer than others
    minutes : of all work, brushing and changes of paper included [min]
    sheets : of all papers, middle of the members [-]
    metal : taken off in all [kg]
    chance_both : to end inside all limits [-]; None: not tried
    quicker : share of the members in which it is quicker than the paper taken [-]; None: not tried
    """

    paper: str
    finer: tuple[str, ...]
    tried: int = said(name="members")
    minutes: Band
    sheets: float = said(or_null=True)
    metal: Band | None = said("g", "mass_g")
    chance_both: float | None
    quicker: float | None = said(name="quicker_than_taken")


@record()
class PlateEffect:
    """What the plate does, member by member, against a true plate under the same work [m].

    ``added``: to the figure the limit is held against, at the stop; ``floor`` and ``floor_true``:
    the best that figure gets on this plate and on a true one; chances to meet the limit on both.
    """

    added: Band = said("um")
    floor: Band = said("um")
    floor_true: Band = said("um")
    chance_goal: float
    chance_goal_true: float


@record()
class SpringBack:
    """How a thin part springs, on the most typical member [m].

    Attributes
    ----------
    flexed : how much its minimum zone is sprung flat while it is pressed at the start
    comes_back : bending that is pressed in at the stop and comes back when the part is let go
    flatness, flatness_rigid : after the same work, as it is and were it rigid
    flatness_backed : after the same work with a stiff block behind it
    largest_press : largest press that keeps ``comes_back`` within ``asked`` [N]; None: none asked
    """

    flexed: float = said("um")
    comes_back: float = said("um")
    flatness: float = said("um")
    flatness_rigid: float = said("um")
    flatness_backed: float = said("um")
    asked: float | None = said("um")
    largest_press: float | None = said("n")


@record()
class OutOfFlat:
    """How far a face is from flat, as a zone and as a straightedge reads it [m]."""

    flatness: Band = said("um")
    straightedge: Band = said("um")


@record()
class TakenOff:
    """What the whole work takes off [m], [kg], [m³]; tapers + = more off at +u / +v."""

    greatest: Band = said("um")
    greatest_at: tuple[float, float] = said("mm")
    """Where most comes off, in the typical member (u, v) [m]."""
    mean: Band = said("um")
    taper_along: Band = said("um")
    taper_across: Band = said("um")
    mass: Band = said("g")
    volume: Band = said("mm3")


@record()
class WholeEffort:
    """What the whole work asks of hands and paper.

    ``minutes``: of all work, made of those of strokes, of turns, of brushings and of sheets [min]; ``work``
    of the arms [J]; ``power``: their mean power [W].
    """

    strokes: Band
    minutes: Band
    stroke_minutes: Band
    turning_minutes: Band
    brushing_minutes: Band
    sheet_minutes: Band
    work: Band = said("kj")
    power: Band = said("w")
    sheets: int
    brushings: int

    @property
    def minutes_of(self) -> dict[str, Band]:
        """What the minutes are made of, by name [min]."""
        return {one.name: getattr(self, one.name) for one in fields(self) if one.name.endswith("_minutes")}


@record()
class Unknown:
    """Something not known well, and how much of the spread of the answer is its doing.

    ``name``: "face", "place" of the worst gap, "paper", "press", "hands" or "pace"; ``share`` of the
    variance of ``of``, which is "minutes", "depth" or "result" [-].
    """

    name: str = said(name="what")
    share: float
    of: str


@dataclass(frozen=True)
class PlanChances:
    """Chances to end inside the limit, inside the allowance (None: none stated), inside both, and that it is
    flat enough already [-]."""

    goal: float
    allowance: float | None
    both: float
    flat_already: float


@record()
class LastFinish:
    """Roughness Ra of the last paper, low and high [m].

    ``fits``: whether it suits the gasket; None: not asked, or the band straddles the limit.
    """

    roughness: tuple[float, float] = said("um", "roughness_ra_um")
    fits: bool | None = said(name="fits_gasket")


@record(kw_only=True)
class Plan:
    """The whole answer of ``handlap plan``; every Band is over the ensemble, SI units.

    Maps (n,) belong to ``grid`` (cells first): the face before and after and the depth removed
    of the member nearest to the middle of the ensemble, and the spread over the ensemble.
    Where the verdict is to leave it, there are no stages, and what laps would do is not for use.
    """

    scenario: Scenario = unsaid()
    members: int
    seed: int
    verdict: Verdict
    survey_notes: tuple[str, ...]
    before: OutOfFlat
    after: OutOfFlat
    removed: TakenOff
    effort: WholeEffort
    chance: PlanChances
    finish: LastFinish
    stages: tuple[StagePlan, ...]
    best_point: BestPoint | None
    curve: Curve
    member_mean_depth: Array = said("um", "members_mean_depth_um")
    """Mean depth (members,) [m] and mass (members,) [kg]: mass = density·area·depth."""
    member_mass: Array = said("g", "members_mass_g")
    clipped: float = said(name="wobble_held_back")
    """Share of the strokes' wobble that would have tipped the part and was held back [-]."""
    tipped: float = said(name="press_off_the_face")
    """Share of the work in which the mean press lies off the face [-]."""
    errors: Errors
    another: AnotherDraw = said(name="another_seed")
    """How steady the middle values are."""
    trials: tuple[PaperTrial, ...] = said(name="papers_tried", default=())
    """Every paper tried as the first one, in the scenario's order."""
    alike: tuple[str, ...] = said(name="papers_alike", default=())
    """Papers about as quick to start on as the one taken, that one included."""
    widens: tuple[Unknown, ...] = said(name="narrows", default=())
    """What explains most of the spread of the answer, most first."""
    plate: PlateEffect | None = None
    """None where the plate is taken as flat."""
    spring: SpringBack | None = said(name="spring_back", default=None)
    """None where the part is taken as rigid."""
    notes: tuple[str, ...] = ()
    """What seams, overhang and inserts do, in words."""
    cautions: tuple[str, ...] = ()
    grid: Grid = unsaid()
    map_before: Array = unsaid()
    map_after: Array = unsaid()
    map_removed: Array = unsaid()
    map_before_sd: Array = unsaid()
    map_after_sd: Array = unsaid()


@record()
class LapFlat:
    """How far one face is from flat, as a zone and as a straightedge reads it [m]."""

    flatness: float = said("um", certain=True)
    straightedge: float = said("um", certain=True)


@record()
class LapRemoved:
    """What one lap takes off in all [m], [kg], [m³]; tapers + = more off at +u / +v."""

    greatest: float = said("um", certain=True)
    mean: float = said("um", certain=True)
    taper_along: float = said("um", certain=True)
    taper_across: float = said("um", certain=True)
    mass: float = said("g", certain=True)
    volume: float = said("mm3", certain=True)


@record()
class LapEffort:
    """Strokes, their minutes [min], work of the arms [J] and load times sliding [N·m] of one lap."""

    strokes: int = said(certain=True)
    minutes: float = said(certain=True)
    work: float = said("kj", certain=True)
    load_sliding: float = said("nm")


@record()
class LapLooks:
    """One lap at its looks: arrays (looks,), maps (looks, cells).

    ``figures`` [m], ``mass`` off so far [kg].  Of the dye that was put on last: ``dye_left`` is the share of
    the face on which it is not gone, ``dye_faded`` that on which it is fading or gone; maps are 1 or 0.
    """

    strokes: Array = said(whole=True)
    figures: Figures
    mass: Array = said("g")
    dye_left: Array
    dye_faded: Array
    dye_gone_map: Array = unsaid()
    dye_faded_map: Array = unsaid()

    @property
    def dye_gone(self) -> Array:
        """Share of the face on which the dye is gone (looks,)."""
        return np.asarray(1.0 - self.dye_left)


@record(kw_only=True)
class LapResult:
    """The answer of ``handlap simulate``: one lap with nothing uncertain, SI units.

    Attributes
    ----------
    paper_why : why this paper, where nobody asked for it; else empty
    deposited : metal that came to lie on the paper, where paper is followed [m³]
    clipped, tipped : as of :class:`Plan` [-]
    map_before, map_after : heights (n,) at the points of ``grid`` [m]
    """

    scenario: Scenario = unsaid()
    paper: str
    paper_why: str = said(or_null=True, default="")
    before: LapFlat
    after: LapFlat
    removed: LapRemoved
    deposited: float | None = said("mm3", "deposited_volume_mm3")
    effort: LapEffort
    looks: LapLooks = unsaid()
    clipped: float = said(name="wobble_held_back")
    tipped: float = said(name="press_off_the_face")
    errors: Errors
    notes: tuple[str, ...]
    grid: Grid = unsaid()
    map_before: Array = unsaid()
    map_after: Array = unsaid()

    @property
    def goal_met(self) -> bool:
        """Whether the figure that the limit is held against is inside it."""
        part, after = self.scenario.part, self.after
        return bool((after.flatness if part.limit_by == "zone" else after.straightedge) <= part.limit)

    @property
    def inside_allowance(self) -> bool | None:
        """Whether no more is off than may come off; None: no allowance is stated."""
        allowance = self.scenario.part.allowance
        return None if allowance is None else bool(self.removed.greatest <= allowance)
