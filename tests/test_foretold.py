"""What work costs everybody: one answer in plan and comparison, and the members' own where no line holds."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from jobs import HALF_TURNS, P80, UM, hollow, job

from handlap.sim.comparing.compare import compare
from handlap.sim.job.results import Band
from handlap.sim.job.scenario import Scenario, Uncertain
from handlap.sim.job.ways import Way
from handlap.sim.planning.crew import few_of, open_crew
from handlap.sim.planning.first_paper import try_paper
from handlap.sim.planning.foretold import again, foretell
from handlap.sim.planning.plan import make_plan

MEMBERS = 40


def small_job() -> Scenario:
    known = job(
        length=0.2, width=0.1, reach=0.01, states=HALF_TURNS, turn_every=20, travel=0.1, cell=0.02,
        face=hollow(60 * UM, 0.1), limit=20 * UM, papers=(P80,), plate=(0.6, 0.4), wobble=(0.003, 0.003),
    )  # fmt: skip
    rate = Uncertain(0.045e-9, 0.02e-9, 0.1e-9, "lognormal", "wear.rate")
    return replace(known, wear=replace(known.wear, rate=rate))


def test_plan_and_comparison_foretell_the_same_to_the_last_digit():
    scenario = small_job()
    plan = make_plan(scenario, members=MEMBERS, seed=1)
    found = compare(scenario, [Way("as it stands")], members=MEMBERS, seed=1, with_turns=False)
    bands = found.results[0].bands
    assert (plan.effort.strokes, plan.effort.minutes) == (bands["strokes"], bands["minutes"])
    assert plan.stages[0].strokes_band == plan.effort.strokes
    span = plan.another.strokes
    assert span is not None and span[0] < plan.effort.strokes.p50 < span[1]


def test_strokes_are_foretold_from_enough_members_and_few_speak_for_themselves():
    crew = open_crew(small_job(), members=MEMBERS, seed=1)
    worked = try_paper(crew, 0).worked
    cost = foretell(crew, worked)
    own = worked.outcome.effort
    assert cost.by_line and cost.effort.strokes.size > 1000
    # Rate alone is not known here, and its middle is drawn evenly: both have the same middle, about.
    assert np.median(cost.effort.strokes) == np.clip(
        np.median(cost.effort.strokes), 0.9 * np.median(own.strokes), 1.1 * np.median(own.strokes)
    )
    few = few_of(crew, 16)
    alone = try_paper(few, 0).worked
    plain = foretell(few, alone)
    assert not plain.by_line
    assert Band.of(plain.effort.minutes) == Band.of(alone.outcome.effort.minutes)
    wide, narrow = again(few, alone, plain)[0], again(crew, worked, cost)[0]
    assert wide is not None and narrow is not None
    assert np.log(narrow[1] / narrow[0]) < np.log(wide[1] / wide[0])
