"""What a plan or a simulated lap reports: plain records, SI units, no computing but the bands."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from handlap.sim.common.grid import Grid
from handlap.sim.common.outline import Array
from handlap.sim.job.scenario import LimitBy, Scenario

Answer = Literal["leave", "lap", "cannot tell", "machine shop"]


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


@dataclass(frozen=True)
class Figures:
    """Figures of faces, arrays (…,) over members or snapshots [m].

    ``taper_along`` / ``taper_across``: end-to-end difference of the best plane of the removal,
    + = more off at +u / +v.
    """

    flatness: Array
    straightedge: Array
    mean_depth: Array
    greatest_depth: Array
    taper_along: Array
    taper_across: Array


FIGURE_NAMES = tuple(Figures.__dataclass_fields__)
"""Names of the figures, in their order."""


@dataclass(frozen=True)
class Check:
    """What to expect when the work is stopped for a look.

    Attributes
    ----------
    strokes : strokes from the start of the whole job [-]
    paper : name of the paper in use
    flatness, straightedge, mean_depth, greatest_depth : [m]
    mass : metal off so far [kg]
    dye_left : share of the face where dye put on at the last check is not gone [-]
    dye_faded : share where it is fading or gone [-]
    dye_gone, dye_faded_map : chance (cells,) that it is gone, and fading or gone, for pictures [-]
    push, power : force to push [N] and power of the arms [W] on the paper as it is then
    reached : share of the members that have met the goal by then [-]
    worse_next : chance that the next block leaves the face less flat [-]; None at the last
    """

    strokes: int
    paper: str
    flatness: Band
    straightedge: Band
    mean_depth: Band
    greatest_depth: Band
    mass: Band
    dye_left: Band
    dye_faded: Band
    dye_gone: Array
    dye_faded_map: Array
    push: Band
    power: Band
    reached: float
    worse_next: float | None


@dataclass(frozen=True)
class StagePlan:
    """One paper of the plan; intervals in strokes, 0 = never; ``roughness`` is Ra low, high [m]."""

    paper: str
    strokes: int
    strokes_band: Band
    turn_every: int
    turning: str
    brush_every: int
    sheet_every: int
    sheets: int
    brushings: int
    bedding: Band
    roughness: tuple[float, float]
    purpose: str
    checks: tuple[Check, ...]
    push_fresh: Band
    push_clogged: Band
    """Force to push on paper that is fresh, and that has clogged [N]."""


@dataclass(frozen=True)
class Verdict:
    """Leave it, lap it, machine shop, or cannot tell; why, and where the lines were drawn."""

    answer: Answer
    reasons: tuple[str, ...]
    thresholds: dict[str, float]
    to_find_out: tuple[str, ...]
    """What to measure or try, where the answer is "cannot tell"."""


@dataclass(frozen=True)
class BestPoint:
    """Where flatness stops improving: strokes from the start, flatness there [m]."""

    strokes: int
    flatness: Band
    worse_after: float
    """Chance that one more block makes it worse [-]."""


@dataclass(frozen=True)
class Curve:
    """Figures against strokes over the coarse stage, members that would have stopped included.

    ``strokes`` (k,); bands (k, 3) as columns p05, p50, p95 [m].
    """

    strokes: Array
    flatness: Array
    straightedge: Array
    greatest_depth: Array
    mean_depth: Array


@dataclass(frozen=True)
class Errors:
    """Numerical error of the result, measured [m], and the tolerance it was held to [m].

    ``step``: how far the map's worst spot moves with twice the rows; ``grid``: what of ``flatness`` the cells
    make (None: not measured); ``flatness`` to ``mean_depth``: of what is reported, by rows and cells;
    ``strokes``: of the strokes to the goal, by rows [-] (None: not to be had).
    """

    tolerance: float
    step: float
    grid: float | None
    cells: int
    rows: int
    flatness: float
    straightedge: float
    greatest_depth: float
    mean_depth: float
    strokes: float | None = None

    def of_measured(self, limit_by: LimitBy) -> float:
        """Error of the figure that the limit is held against [m]."""
        return self.straightedge if limit_by == "straightedge" else self.flatness


@dataclass(frozen=True)
class AnotherDraw:
    """Between what the middle values of another draw of as many members lie nine times in ten, on the same
    papers (low, high); None: too few members to tell.  Strokes [-], minutes [min], depths [m]."""

    strokes: tuple[float, float] | None
    minutes: tuple[float, float] | None
    greatest_depth: tuple[float, float] | None
    mean_depth: tuple[float, float] | None


@dataclass(frozen=True)
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
    tried: int
    minutes: Band
    sheets: float
    metal: Band | None
    chance_both: float | None
    quicker: float | None


@dataclass(frozen=True)
class PlateEffect:
    """What the plate does, member by member, against a true plate under the same work [m].

    ``added``: to the figure the limit is held against, at the stop; ``floor`` and ``floor_true``:
    the best that figure gets on this plate and on a true one; chances to meet the limit on both.
    """

    added: Band
    floor: Band
    floor_true: Band
    chance_goal: float
    chance_goal_true: float


@dataclass(frozen=True)
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

    flexed: float
    comes_back: float
    flatness: float
    flatness_rigid: float
    flatness_backed: float
    asked: float | None
    largest_press: float | None


@dataclass(frozen=True)
class Unknown:
    """Something not known well, and how much of the spread of the answer is its doing.

    ``name``: "face", "place" of the worst gap, "paper", "press", "hands" or "pace"; ``share`` of the
    variance of ``of``, which is "minutes", "depth" or "result" [-].
    """

    name: str
    share: float
    of: str


@dataclass(frozen=True)
class Plan:
    """The whole answer of ``handlap plan``; every Band is over the ensemble, SI units.

    Maps (n,) belong to ``grid`` (cells first): the face before and after and the depth removed
    of the member nearest to the middle of the ensemble, and the spread over the ensemble.
    Where the verdict is to leave it, there are no stages, and what laps would do is not for use.
    """

    scenario: Scenario
    members: int
    seed: int
    verdict: Verdict
    survey_notes: tuple[str, ...]
    chance_flat_already: float
    chance_goal: float
    chance_allowance: float | None
    chance_both: float
    before_flatness: Band
    before_straightedge: Band
    after_flatness: Band
    after_straightedge: Band
    removed_greatest: Band
    removed_mean: Band
    removed_taper_along: Band
    removed_taper_across: Band
    removed_mass: Band
    removed_volume: Band
    greatest_at: tuple[float, float]
    """Where most comes off, in the typical member (u, v) [m]."""
    strokes: Band
    minutes: Band
    """Of all work: strokes, turns, brushings and changes of paper [min]."""
    minutes_of: Mapping[str, Band]
    """What they are made of, by the names in :data:`handlap.sim.planning.effort.MINUTES_OF` [min]."""
    work: Band
    """Arm work [J]."""
    power: Band
    """Mean power of the arms [W]."""
    sheets: int
    brushings: int
    face_area: float
    stages: tuple[StagePlan, ...]
    best_point: BestPoint | None
    curve: Curve
    finish: tuple[float, float]
    """Roughness Ra of the last paper, low and high [m]."""
    finish_fits: bool | None
    """Whether it suits the gasket; None: not asked, or the band straddles the limit."""
    clipped: float
    """Share of the strokes' wobble that would have tipped the part and was held back [-]."""
    tipped: float
    """Share of the work in which the mean press lies off the face [-]."""
    errors: Errors
    another: AnotherDraw
    """How steady the middle values are."""
    grid: Grid
    map_before: Array
    map_after: Array
    map_removed: Array
    map_before_sd: Array
    map_after_sd: Array
    cautions: tuple[str, ...]
    member_mean_depth: Array
    """Mean depth (members,) [m] and mass (members,) [kg]: mass = density·area·depth."""
    member_mass: Array
    trials: tuple[PaperTrial, ...] = ()
    """Every paper tried as the first one, in the scenario's order."""
    alike: tuple[str, ...] = ()
    """Papers about as quick to start on as the one taken, that one included."""
    widens: tuple[Unknown, ...] = ()
    """What explains most of the spread of the answer, most first."""
    plate: PlateEffect | None = None
    """None where the plate is taken as flat."""
    spring: SpringBack | None = None
    """None where the part is taken as rigid."""
    notes: tuple[str, ...] = ()
    """What seams, overhang and inserts do, in words."""


@dataclass(frozen=True)
class LapResult:
    """The answer of ``handlap simulate``: one lap with nothing uncertain, SI units.

    ``figures`` are over ``strokes``; maps (n,) belong to ``grid``.  Of the dye that was put on last:
    ``dye_left`` is the share of the face on which it is not gone, ``dye_faded`` that on which it is
    fading or gone (snapshots,); ``dye_gone`` and ``dye_faded_map`` are the maps (snapshots, cells), 1 or 0.
    ``paper_why``: why this paper, where nobody asked for it; else empty.
    """

    scenario: Scenario
    paper: str
    strokes: Array
    before_flatness: float
    before_straightedge: float
    figures: Figures
    mass: Array
    dye_left: Array
    dye_faded: Array
    dye_gone: Array
    dye_faded_map: Array
    minutes: float
    work: float
    load_sliding: float
    removed_volume: float
    deposited_volume: float | None
    clipped: float
    tipped: float
    errors: Errors
    grid: Grid
    map_before: Array
    map_after: Array
    notes: tuple[str, ...]
    paper_why: str = ""
