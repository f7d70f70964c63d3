"""What the trade knows of lapping on paper, and where the program is held against it.

All are common practice: what people report of their own benches, without a source in print and often of a
single case.  Sizes, weights and starting faces of the parts are invented where the reports give none.

A fact holds if the trade's figures meet the program's band (5 to 95 % of faces, hands and papers) and the
program's middle misses theirs by no more than so many times, or over: ``TOLD``, the spread of the wear rate
itself, so these are weak checks; ``MEASURED`` where they were clocked, weighed or tried with leaves, which
do not err by three; ``KEPT`` for bounds and choices.

``tuned``: numbers of the model (rates, scales and floors of paper, what happens at the leading edge, how
scratches are cleared, how high hands push) or the rule for the first paper were moved while looking at it: a
fit, no evidence.  ``holds`` says what is known of it; a test fails as soon as that is no longer so.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from trade_jobs import small_head, sole
from trade_measures import (
    SHORT,
    WIDE,
    Got,
    Size,
    cross_hump,
    crown_coarser,
    crown_lost,
    ends_of_head,
    first_over_fifth,
    first_paper,
    grams_to_goal,
    hollow_head,
    hollow_sole,
    low_corner_lost,
    middle_lost,
    minutes_a_sheet,
    minutes_to_38,
    roll_off,
    toe_and_heel,
)

from handlap.sim.common.trade_fact import TradeFact

TOLD, MEASURED, KEPT = 3.0, 1.5, 1.0
SOME = 1.5
"""What the trade calls "some" is taken as times or over this."""
LEAF_STEP = 10.0
"""Step between two leaves of a common set [µm]: less passes for nothing."""
FADES = (0.5, 1.0)
"""Depth at which dye fades, the least and the middle (common practice) [µm]."""
GONE = 1.0 + 1.5 * 0.6 * 2.9
"""Depth at which it is gone from a face left by worn P80, Ra 0.6 of 2.9 µm (derived) [µm]."""


@dataclass(frozen=True)
class Says:
    """What the trade says, in words and as figures; fields as of :class:`TradeFact`."""

    trade: str
    least: float | None
    most: float | None
    within: float
    unit: str


FIRST_MINUTE = Says("3 to 10 times", 3, 10, TOLD, "times")
SOME_FIVE = Says("some 5 min", 5 / SOME, 5 * SOME, TOLD, "min")
NOTHING = Says("nothing", None, LEAF_STEP, KEPT, "µm")
LEAF_38 = Says("38 µm", 38, 38, MEASURED, "µm")
ROLLED = Says("100 to 125 µm", 100, 125, MEASURED, "µm")
COARSE = Says("60 to 120 to get flat", 60, 120, KEPT, "")


@dataclass(frozen=True)
class Known:
    """A fact of the trade, and how it is computed.

    Attributes
    ----------
    key : a short name of one word
    name, tuned : as of :class:`TradeFact`
    says : what the trade says of it
    holds : what is known of it
    got : computes it
    slow : whether it takes more than a few seconds
    """

    key: str
    name: str
    says: Says
    tuned: bool
    holds: bool
    got: Callable[[Size], Got]
    slow: bool = False

    def fact(self, size: Size) -> TradeFact:
        """The fact with what the program gets."""
        got = self.got(size)
        return TradeFact(
            name=self.name,
            **vars(self.says),
            low=got.low,
            middle=got.middle,
            high=got.high,
            count=got.count,
            tuned=self.tuned,
            test="",
        )


def _first_minute(grit: str, on: str, tuned: bool = True) -> Known:
    job = sole(SHORT, WIDE, 1.7, grit) if on == "sole" else small_head([grit], wet=False, limit=50)
    part = f"sole {SHORT:.0f} × {WIDE:.0f} mm" if on == "sole" else "head 240 × 140 mm"
    return Known(
        f"first-minute-{on}-{grit}",
        f"{part}, one dry {grit} sheet not brushed: first minute over fifth",
        FIRST_MINUTE,
        tuned=tuned,
        holds=True,
        got=partial(first_over_fifth, job),
    )


def _sheet(grit: str) -> Known:
    return Known(
        f"sheet-{grit}",
        f"head 240 × 140 mm dry: minutes of work on a sheet of {grit}",
        SOME_FIVE,
        tuned=True,
        holds=True,
        got=partial(minutes_a_sheet, grit),
    )


def _end(says: Says, where: str, place: int, laid: str) -> Known:
    loose = ", paper loose" if laid == "loose" else ""
    return Known(
        f"end-{where.partition(' ')[0]}-{laid}",
        f"{HOUR}{loose}: the worse end low, {where} in",
        says,
        tuned=False,
        holds=False,
        got=partial(roll_off, laid, place),
    )


def _first_paper(hollow: int, limit: int, wet: bool, tuned: bool, holds: bool) -> Known:
    how = "wet" if wet else "dry"
    return Known(
        f"paper-{hollow}-{how}",
        f"head 240 × 140 mm hollow {hollow} µm to {limit}, {how}: first paper, P grade",
        COARSE,
        tuned=tuned,
        holds=holds,
        got=lambda size: first_paper(hollow_head(hollow, limit, wet=wet), size),
        slow=True,
    )


HOUR = f"sole {SHORT:.0f} × {WIDE:.0f} mm, an hour on P100"
FACTS: tuple[Known, ...] = (
    _first_minute("P80", "sole"),
    _first_minute("P120", "head"),
    _first_minute("P400", "head"),
    _sheet("P60"),
    _sheet("P120"),
    Known(
        "middle-of-hollow",
        f"sole {SHORT:.0f} × {WIDE:.0f} mm hollow 60 µm, half an hour on one P60 sheet: off in the middle",
        NOTHING,
        tuned=True,
        holds=True,
        got=middle_lost,
    ),
    Known(
        "toe-and-heel",
        f"{HOUR}: toe and heel low, 3 mm in",
        LEAF_38,
        tuned=True,
        holds=False,
        got=toe_and_heel,
    ),
    Known(
        "cross-hump",
        f"{HOUR}: cross hump",
        Says("25 to 50 µm", 25, 50, MEASURED, "µm"),
        tuned=True,
        holds=False,
        got=cross_hump,
    ),
    _end(ROLLED, "6 mm", 1, "glued"),
    _end(LEAF_38, "20 to 25 mm", 2, "glued"),
    _end(ROLLED, "6 mm", 1, "loose"),
    _end(LEAF_38, "20 to 25 mm", 2, "loose"),
    Known(
        "ends-of-head",
        "head 459 cm² hollow 200 µm, P60 dry, worked on to 17 g: ends low, 3 mm in",
        Says("a leaf of 50 goes", 50, None, MEASURED, "µm"),
        tuned=True,
        holds=True,
        got=ends_of_head,
        slow=True,
    ),
    Known(
        "grams",
        "head 459 cm² hollow 200 µm, P60 and P120 dry, goal met: metal off",
        Says("18 to 20 g", 18, 20, MEASURED, "g"),
        tuned=False,
        holds=False,
        got=grams_to_goal,
        slow=True,
    ),
    Known(
        "twist-20",
        "head 240 × 140 mm twisted 200 µm on P80: low corner lost in 20 strokes",
        Says("dye as it was", None, FADES[1], KEPT, "µm"),
        tuned=False,
        holds=True,
        got=partial(low_corner_lost, 0),
    ),
    Known(
        "twist-200",
        "head 240 × 140 mm twisted 200 µm on P80: low corner lost in 200 strokes",
        Says("dye begins to fade", FADES[0], GONE, TOLD, "µm"),
        tuned=False,
        holds=True,
        got=partial(low_corner_lost, 1),
    ),
    Known(
        "twelve-minutes",
        f"sole {SHORT:.0f} × 60 mm, a fresh P80 sheet every 3 min: hollow 100 to 38 µm",
        Says("12 min", 12, 12, MEASURED, "min"),
        tuned=False,
        holds=False,
        got=minutes_to_38,
        slow=True,
    ),
    Known(
        "crown",
        f"sole {SHORT:.0f} × {WIDE:.0f} mm crowned 60 µm, an hour on one P80 sheet: crown lost",
        Says("hours, nothing", None, LEAF_STEP, KEPT, "µm"),
        tuned=False,
        holds=False,
        got=crown_lost,
    ),
    Known(
        "crown-P50",
        f"sole {SHORT:.0f} × {WIDE:.0f} mm crowned 60 µm, an hour on one P50 sheet: left, over that of P80",
        Says("coarser is quicker", None, 1, KEPT, "times"),
        tuned=False,
        holds=False,
        got=crown_coarser,
    ),
    _first_paper(45, 20, wet=False, tuned=True, holds=True),
    _first_paper(45, 20, wet=True, tuned=True, holds=True),
    _first_paper(120, 50, wet=False, tuned=True, holds=True),
    _first_paper(120, 50, wet=True, tuned=True, holds=True),
    _first_paper(200, 50, wet=False, tuned=True, holds=True),
    _first_paper(200, 50, wet=True, tuned=True, holds=True),
    Known(
        "paper-sole",
        "sole 356 × 60 mm hollow 130 µm to 38, dry: first paper, P grade",
        COARSE,
        tuned=True,
        holds=True,
        got=lambda size: first_paper(hollow_sole(), size),
        slow=True,
    ),
)
