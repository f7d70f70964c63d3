"""Where a function of one number is nought.

The library's own search would do as well, but to load the part of it that it stands in takes a fifth of a
second, which every command would pay.
"""

from __future__ import annotations

from collections.abc import Callable

MOST_STEPS = 100
CLOSE, CLOSE_SHARE = 2e-12, 4.0 * 2.0**-52
"""Width of what is left at which the root is found, and over the root besides."""


def root_between(function: Callable[[float], float], low: float, high: float) -> float:
    """The root of a continuous function between two numbers at which its signs differ.

    By Brent's way (Algorithms for Minimization without Derivatives, 1973): through the last two or three
    points where that shrinks what is left fast enough, by halving where it does not.

    Raises
    ------
    ValueError : if the signs at both ends are the same

    >>> round(root_between(lambda x: x * x - 2.0, 0.0, 2.0), 10)
    1.4142135624
    """
    before, here = low, high
    at_before, at_here = function(before), function(here)
    if at_before == 0.0:
        return before
    if at_here != 0.0 and (at_before < 0.0) == (at_here < 0.0):
        raise ValueError(f"no change of sign between {low} and {high}")
    # The other end of what is left, and the last two steps.
    across, at_across, last, step = before, at_before, 0.0, 0.0
    for _ in range(MOST_STEPS):
        if at_before != 0.0 and at_here != 0.0 and (at_before < 0.0) != (at_here < 0.0):
            across, at_across = before, at_before
            last = step = here - before
        if abs(at_across) < abs(at_here):
            before, here, across = here, across, here
            at_before, at_here, at_across = at_here, at_across, at_here
        close = 0.5 * (CLOSE + CLOSE_SHARE * abs(here))
        halving = 0.5 * (across - here)
        if at_here == 0.0 or abs(halving) < close:
            break
        tried = halving
        if abs(last) > close and abs(at_here) < abs(at_before):
            if before == across:
                tried = -at_here * (here - before) / (at_here - at_before)
            else:
                to_before = (at_before - at_here) / (before - here)
                to_across = (at_across - at_here) / (across - here)
                up = at_across * to_across - at_before * to_before
                tried = -at_here * up / (to_across * to_before * (at_across - at_before))
            if 2.0 * abs(tried) >= min(abs(last), 3.0 * abs(halving) - close):
                tried = halving
        last, step = (halving if tried == halving else step), tried
        before, at_before = here, at_here
        here += step if abs(step) > close else (close if halving > 0.0 else -close)
        at_here = function(here)
    return here
