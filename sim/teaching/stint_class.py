"""The stints of a class: each worked anew from its orders; what it cost and, once ended, what came of it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from handlap.sim.common.errors import HandlapError, InputError
from handlap.sim.teaching.exercise import Exercise
from handlap.sim.teaching.stint import Costs, StintRig, StintState, carry_out, open_stint
from handlap.sim.teaching.stint_debrief import Debrief, debrief
from handlap.sim.teaching.stint_orders import read_order


@dataclass(frozen=True)
class OneStint:
    """One stint of a class.

    Attributes
    ----------
    orders : given so far
    costs : minutes, sheets, strokes so far
    blocks, looks : orders to lap, and to check or weigh [-]
    found : what it came to; None while it goes on, for the face is not to be shown then
    """

    orders: tuple[str, ...]
    costs: Costs
    blocks: int
    looks: int
    found: Debrief | None


def replayed(
    rig: StintRig, orders: Sequence[str], tell: Callable[[int], None] | None = None
) -> list[StintState]:
    """The states of a stint, the one before the first order included.

    ``tell`` is called with the number of each order before it is worked.

    Raises
    ------
    InputError : for an order that cannot be worked
    """
    states = [rig.begin()]
    for i, text in enumerate(orders):
        if tell is not None:
            tell(i)
        try:
            state, _ = carry_out(rig, states[-1], read_order(text, rig.exercise.task))
        except (ValueError, HandlapError):
            raise InputError(f"order {i + 1} cannot be worked; move the file away to begin anew") from None
        states.append(state)
    return states


def one_stint(exercise: Exercise, orders: Sequence[str], ended: bool) -> OneStint:
    """A stint of a class; its plain plan is worked only where it has ended.

    Raises
    ------
    InputError : for an order that cannot be worked
    """
    rig = open_stint(exercise)
    states = replayed(rig, orders)
    kinds = [read_order(text, exercise.task).kind for text in orders]
    return OneStint(
        orders=tuple(orders),
        costs=states[-1].costs,
        blocks=kinds.count("lap"),
        looks=kinds.count("check") + kinds.count("weigh"),
        found=debrief(rig, states) if ended else None,
    )
