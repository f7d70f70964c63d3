"""Which paper a page with knobs opens on: the one a plan of the job starts on, by the same trials."""

from __future__ import annotations

from collections.abc import Callable

from handlap.sim.common.errors import TippingError
from handlap.sim.job.scenario import Scenario
from handlap.sim.lapping.simulate import why_paper
from handlap.sim.planning.first_paper import TRIAL_MEMBERS, starts_on


def opening_paper(
    scenario: Scenario,
    asked: str | None,
    *,
    seed: int = 0,
    members: int = TRIAL_MEMBERS,
    tell: Callable[[float, str], None] | None = None,
) -> tuple[str | None, str]:
    """The paper to open on, None for that of ``simulate``, and why in words; "" where nothing is to be said.

    Where the scenario names one, or lists one alone, or somebody asked, no trial is needed.

    Raises
    ------
    FaceDecides : if the readings cannot tell of the face what a plan would rest on
    """
    grits = scenario.paper.grits
    if asked is not None or scenario.paper.start is not None or len(grits) < 2:
        return asked, why_paper(scenario, asked)
    try:
        first = starts_on(scenario, seed=seed, members=members, tell=tell).name
    except TippingError:
        # Where most hands tip the part there is no plan; the page says of its settings which do.
        return None, why_paper(scenario, None)
    if first == grits[0].name:
        return first, "the first paper listed, and a plan of this job starts on it"
    return first, (
        f"a plan of this job starts on it; simulate takes the first paper listed, {grits[0].name}, where "
        "none is named"
    )
