"""A stint at the bench, an order a line: typed or from a pipe, kept after every one."""

from __future__ import annotations

import math
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from handlap.cli.asking.exercise_folder import SEAL, STINT, sealed_in, stint_orders, task_in
from handlap.cli.asking.questions import NoMoreInput, read_answer, say
from handlap.sim.common.errors import InputError

if TYPE_CHECKING:
    from handlap.sim.job.scenario import StraightedgeLine
    from handlap.sim.teaching.exercise import Exercise, ExerciseTask
    from handlap.sim.teaching.stint import OrderTold, StintRig, StintState
    from handlap.sim.teaching.stint_orders import Order

STATE, LATER, END, HELP = "state", "later", "end", "?"


def sit_stint(folder: Path, as_json: bool) -> None:
    """Go on with the stint of a folder, or begin it; at its end the face is shown."""
    from handlap.cli.files import place_to_write
    from handlap.sim.teaching.exercise import exercise_of
    from handlap.sim.teaching.exercise_seal import open_seal
    from handlap.sim.teaching.stint import open_stint

    task_in(folder, unread=True)
    name, content = open_seal(sealed_in(folder), str(folder / SEAL))
    exercise = exercise_of(content, str(folder / SEAL))
    orders, ended = stint_orders(folder, name)
    place_to_write(folder / STINT)
    sitting = _Sitting(folder, exercise, open_stint(exercise), as_json)
    sitting.take_up(orders)
    if not ended:
        sitting.greet()
        ended = sitting.ask()
    if ended:
        sitting.show_end()
    elif as_json:
        sitting.tell_json()


class _Sitting:
    """One call of the command: the states so far, and what the orders of this call told."""

    def __init__(self, folder: Path, exercise: Exercise, rig: StintRig, as_json: bool) -> None:
        self.folder, self.exercise, self.rig, self.as_json = folder, exercise, rig, as_json
        self.orders: list[str] = []
        self.states: list[StintState] = [rig.begin()]
        self.told: list[dict[str, Any]] = []

    @property
    def task(self) -> ExerciseTask:
        return self.exercise.task

    @property
    def now(self) -> StintState:
        return self.states[-1]

    def take_up(self, orders: Sequence[str]) -> None:
        """Work what was ordered before."""
        from handlap.cli.progress import ProgressLine
        from handlap.sim.teaching.stint_class import replayed

        with ProgressLine() as progress:
            try:
                states = replayed(
                    self.rig, orders, lambda i: progress(i / len(orders), "taking up the stint")
                )
            except InputError as fault:
                raise InputError(f"{self.folder / STINT}: {fault}") from None
        self.orders, self.states = list(orders), states

    def greet(self) -> None:
        from handlap.cli.reports.wording import wanted_words
        from handlap.sim.teaching.stint_orders import ORDERS

        say(
            f"{self.exercise.scenario.title}. Wanted: {wanted_words(self.exercise.scenario.part)}. "
            f"Papers: {', '.join(g.name for g in self.exercise.scenario.paper.grits)}. "
            + (
                "Nobody has felt the face: check it, or feel it on feel.html first."
                if self.exercise.felt
                else "The readings that were written down are in scenario.toml and sheet.pdf."
            )
        )
        if self.orders:
            say(f"Taken up after {len(self.orders)} orders: {state_words(self.rig, self.now)}.")
        else:
            say("One order a line: " + "; ".join(order for order, _ in ORDERS) + ". ? tells more.")

    def ask(self) -> bool:
        """Take orders until they end; whether the stint is over."""
        from handlap.cli.screen import is_terminal

        while True:
            try:
                text = read_answer()
            except NoMoreInput:
                self.say_kept()
                return False
            except KeyboardInterrupt:
                say("")
                self.say_kept()
                raise
            word = " ".join(text.lower().split())
            if word == END:
                self.keep(ended=True)
                return True
            if word == LATER:
                self.say_kept()
                return False
            if not word:
                continue
            if word == HELP:
                self.help()
                continue
            if word == STATE:
                self.tell(text, state_words(self.rig, self.now))
                continue
            try:
                self.carry_out(text)
            except InputError as fault:
                if not is_terminal(sys.stdin):
                    # What follows in a pipe was meant for another state of things.
                    kept = f"the {len(self.orders)} orders before it are kept in {self.folder / STINT}"
                    raise InputError(f'order "{text}": {fault}; {kept}') from None
                say(str(fault), "  ")

    def carry_out(self, text: str) -> None:
        from handlap.sim.common.errors import TippingError
        from handlap.sim.teaching.stint import carry_out
        from handlap.sim.teaching.stint_orders import MOST_ORDERS, read_order

        if len(self.orders) >= MOST_ORDERS:
            raise InputError(f"a stint has at most {MOST_ORDERS} orders: end it")
        try:
            order = read_order(text, self.task)
        except ValueError as fault:
            raise InputError(f"allowed: {fault}") from None
        try:
            state, told = carry_out(self.rig, self.now, order)
        except TippingError as fault:
            raise InputError(str(fault)) from None
        self.orders.append(order.words())
        self.states.append(state)
        self.keep()
        words = told_words(self.task, told) or state_words(self.rig, state)
        self.tell(order.words(), words, told_json(self.task, order, told))

    def keep(self, *, ended: bool = False) -> None:
        from handlap.cli.files import write_whole
        from handlap.sim.teaching.exercise_seal import seal

        content = {"orders": self.orders, "ended": ended}
        write_whole(self.folder / STINT, seal(self.exercise.name, content))

    def say_kept(self) -> None:
        say(
            f"{len(self.orders)} orders are kept in {self.folder / STINT}; to go on: "
            f"handlap exercise {self.folder} --stint"
        )

    def tell(self, order: str, words: str, found: dict[str, Any] | None = None) -> None:
        """What an order told: on stdout, or kept for the object at the end."""
        from handlap.cli.reports.text import wrapped
        from handlap.cli.screen import Screen, emit

        if self.as_json:
            self.told.append({"order": order, **(found or {}), **costs_json(self.now)})
        width = Screen.of(sys.stderr if self.as_json else sys.stdout).width
        lines = [line for part in words.split("\n") for line in wrapped(part, width)]
        emit("\n".join(lines), error=self.as_json)

    def help(self) -> None:
        from handlap.sim.teaching.stint_orders import ORDERS

        for order, does in ORDERS:
            say(f"{order:<11} {does}", "  ")

    def tell_json(self) -> None:
        from handlap.cli.reports.as_json import dumps
        from handlap.cli.screen import emit

        emit(dumps({"schema": "handlap.stint/1", **self._so_far(ended=False)}))

    def _so_far(self, *, ended: bool) -> dict[str, Any]:
        return {
            "name": self.exercise.name,
            "folder": str(self.folder),
            "ended": ended,
            "orders": self.orders,
            **costs_json(self.now),
            "told": self.told,
        }

    def show_end(self) -> None:
        """The debrief, with the face before and after."""
        from handlap.cli.options import Output
        from handlap.cli.progress import ProgressLine
        from handlap.cli.reports.stint_report import debrief_json, stint_report
        from handlap.sim.teaching.stint_debrief import debrief

        with ProgressLine() as progress:
            progress(0.2, "trying plain plans with the same hands")
            found = debrief(self.rig, self.states)

        def pictures() -> dict[str, bytes]:
            from handlap.cli.drawing.stint_pictures import stint_pictures

            return stint_pictures(self.rig, found)

        result = {"schema": "handlap.stint/1", **self._so_far(ended=True), "debrief": debrief_json(found)}
        Output(self.folder, self.as_json, None).hand_over(
            stint_report(self.rig, found, self.orders), result, pictures=pictures
        )


# ---- words


def state_words(rig: StintRig, now: StintState) -> str:
    """Where a stint stands."""
    from handlap.cli.reports.quantity import counted
    from handlap.sim.teaching.stint import STATES

    costs, lies = now.costs, STATES[now.place.state]
    paper = f"{now.grit.name} on the plate" if now.grit else "no paper on the plate"
    quarters = round(2.0 * lies.part / math.pi)
    turned = ("as it lay", "turned by a quarter", "turned by half", "turned by three quarters")[quarters]
    side = "from the other side" if lies.operator else "from this side"
    return (
        f"{costs.minutes:.1f} min, {counted(costs.strokes, 'stroke')}, {counted(costs.sheets, 'sheet')}; "
        f"{paper}, the part {turned}, worked {side}"
    )


def told_words(task: ExerciseTask, told: OrderTold) -> str:
    """What was read or weighed; nothing where nothing was."""
    if told.swarf is not None:
        return f"swarf so far: {1e3 * told.swarf:.1f} g (the scale errs by a tenth or two)"
    return "\n".join(_line_words(task, line) for line in told.readings)


def _line_words(task: ExerciseTask, line: StraightedgeLine) -> str:
    from handlap.sim.teaching.exercise import station_key

    labels = task.labels()
    held = "held level" if line.held == "level" else "at rest"
    read = ", ".join(
        f"{labels[station_key(line.name, s.at)]} {_um(s.goes) if s.goes else 'none'}/{_um(s.stops)}"
        for s in line.stations
    )
    return f"{line.name}, {held} (µm, goes/stops): {read}"


def _um(value: float) -> str:
    return "open" if value == float("inf") else f"{1e6 * value:.0f}"


def told_json(task: ExerciseTask, order: Order, told: OrderTold) -> dict[str, Any]:
    """The same as JSON."""
    if told.swarf is not None:
        return {"swarf_g": round(1e3 * told.swarf, 1)}
    from handlap.sim.teaching.exercise import station_key

    labels = task.labels()
    rows = [
        {
            "station": labels[station_key(line.name, s.at)],
            "goes_um": round(1e6 * s.goes, 1) or None,
            "stops_um": None if s.stops == float("inf") else round(1e6 * s.stops, 1),
        }
        for line in told.readings
        for s in line.stations
    ]
    return {"readings": rows} if rows else {}


def costs_json(now: StintState) -> dict[str, Any]:
    """What a stint has cost so far."""
    costs = now.costs
    return {
        "minutes": round(costs.minutes, 2),
        "strokes": costs.strokes,
        "sheets": costs.sheets,
        "turns": costs.turns,
        "brushings": costs.brushings,
    }
