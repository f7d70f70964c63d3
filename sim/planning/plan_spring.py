"""What bending does to a planned job: sprung flat, sprung back, how hard to press, what a block helps."""

from __future__ import annotations

from dataclasses import replace

from handlap.sim.job.results import SpringBack
from handlap.sim.job.scenario import Uncertain
from handlap.sim.lapping import gauge
from handlap.sim.lapping.bending import Bending
from handlap.sim.lapping.lap import LapRun
from handlap.sim.lapping.spring_back import SpringFigures, largest_press_simulated, spring_figures
from handlap.sim.planning.crew import Crew
from handlap.sim.planning.typical import lap_typical
from handlap.sim.planning.work import Worked


def spring_effect(crew: Crew, worked: Worked, lapped: LapRun) -> SpringBack | None:
    """Follow the most typical member, with middle numbers, rigid and backed beside as it is (``lapped``).

    None where the part is taken as rigid.
    """
    scenario = crew.scenario
    if crew.rig.bending is None:
        return None
    crew.tell(0.98, "looking at what springs back")
    flatness = float(gauge.flatness(crew.gauged, lapped.heights[-1])[0])
    rigid_part = replace(scenario.part, thickness=None, ribbed_as=None)
    rigid, rigid_crew = lap_typical(crew, worked, replace(scenario, part=rigid_part))
    backed_part = replace(scenario.part, pressing="backing")
    backed, backed_crew = lap_typical(crew, worked, replace(scenario, part=backed_part))
    asked = scenario.part.spring_back
    press = None if asked is None else _largest_press(crew, worked, asked)
    figures = _figures(crew, lapped)
    return SpringBack(
        flexed=float(figures.sprung_flat[0]),
        comes_back=float(figures.comes_back[-1]),
        flatness=flatness,
        flatness_rigid=float(gauge.flatness(rigid_crew.gauged, rigid.heights[-1])[0]),
        flatness_backed=float(gauge.flatness(backed_crew.gauged, backed.heights[-1])[0]),
        asked=asked,
        largest_press=press,
    )


def _figures(crew: Crew, run: LapRun) -> SpringFigures:
    """Spring figures at the first and the last look of a lap."""
    bending = crew.rig.bending
    assert isinstance(bending, Bending)
    grid = crew.rig.grid
    rim = grid.marks["rim"][1]
    shapes = bending.shapes_at(grid.points[:rim])
    looks = [0, -1]
    return spring_figures(
        grid.u[:rim],
        grid.v[:rim],
        run.heights[looks][:, :rim],
        run.amplitudes[looks],
        shapes,
    )


def _largest_press(crew: Crew, worked: Worked, asked: float) -> float | None:
    """Largest press [N] at which no more than ``asked`` [m] comes back at the stop; None: there is none."""
    scenario = crew.scenario

    def comes_back(press: float) -> float:
        hands = replace(scenario.hands, press=Uncertain.fixed(press, "hands.press"))
        run, changed = lap_typical(crew, worked, replace(scenario, hands=hands))
        return float(_figures(changed, run).comes_back[-1])

    return largest_press_simulated(comes_back, asked, low=1.0, high=2.0 * scenario.hands.press.high)
