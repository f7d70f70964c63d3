"""Marks for the answers to an exercise, each with the truth and the reason why.

An answer is right if it is true, and also if it is what the readings say: nobody can know more
of a face than its readings allow.  What they allow is the band of the survey.  A plan is judged
by trying it on the true face.
"""

from __future__ import annotations

from concurrent.futures import Executor
from dataclasses import dataclass

from handlap.sim.common.chance import percent
from handlap.sim.common.errors import TippingError
from handlap.sim.common.units import from_si, show, unit_of
from handlap.sim.face.survey import survey
from handlap.sim.job.results import Band
from handlap.sim.planning.crew import Crew, Progress
from handlap.sim.planning.verdict import LAP_AT
from handlap.sim.teaching.exercise import Exercise, station_key
from handlap.sim.teaching.exercise_answers import ExerciseAnswers
from handlap.sim.teaching.exercise_face import TrueNumbers
from handlap.sim.teaching.exercise_trial import PlanTrial, WayTried, try_way
from handlap.sim.teaching.exercise_truth import MEMBERS, ExerciseTruth, look_up

SHAPE, FLATNESS, RANGE, CUT, AGAIN, DO, PLAN = 3, 2, 2, 3, 3, 3, 4
"""Marks there are for each answer."""
NEAR = 0.15
"""A guess this near the truth is right whatever the readings say [-]."""
CLOSE = 5e-6
"""So is one within this of it [m]."""
NEARLY = 1.5
"""Half marks within the survey's band stretched by this about its middle [-]."""
WIDE, IDLE = 2.0, 4.0
"""A range more than this many times as wide as the survey's says too little; or nothing at all [-]."""
ALLOWED = 0.2
"""A shape is among what the readings allow where this share of the faces that fit have it [-]."""
RUINED = 0.5
"""A plan ruins the part where fewer hands than these keep the metal there is to spare [-]."""
MOST_RUINED = 0.4
"""Most of all marks for who would ruin the part [-]."""
OF_THIRD = 3.0
"""A wrong flatness is followed through where it is off by no more than this factor [-]."""
ABSURD = 3.0
"""Strokes short of what any hands take, or beyond it, by more than this factor are no plan at all [-]."""
AS_GOOD = 0.1
"""A plan is as good as the program's own within this chance [-]."""


@dataclass(frozen=True)
class ExerciseMark:
    """Marks for one answer: what was said, what is true, and why the marks are as they are."""

    item: str
    got: float
    most: int
    yours: str
    truth: str
    why: tuple[str, ...]


@dataclass(frozen=True)
class Marking:
    """An exercise marked."""

    exercise: Exercise
    answers: ExerciseAnswers
    found: ExerciseTruth
    tried: PlanTrial | None
    """The apprentice's plan on the true face; None where it cannot be worked."""
    marks: tuple[ExerciseMark, ...]

    @property
    def ruined(self) -> bool:
        """Whether who would lap it takes more metal than there is to spare, with the strokes written down."""
        return self.answers.do == "lap" and ruins(self.tried)

    @property
    def got(self) -> float:
        """Marks in all: none below zero, and few where the plan ruins the part."""
        whole = max(0.0, sum(mark.got for mark in self.marks))
        return min(whole, _half(MOST_RUINED * self.most)) if self.ruined else whole

    @property
    def most(self) -> int:
        """Marks there are."""
        return sum(mark.most for mark in self.marks)


def mark(
    exercise: Exercise,
    answers: ExerciseAnswers,
    *,
    members: int = MEMBERS,
    progress: Progress | None = None,
    executor: Executor | None = None,
    found: tuple[ExerciseTruth, Crew] | None = None,
) -> Marking:
    """Mark the answers to an exercise.

    Parameters
    ----------
    members : pairs of hands that try a plan [-]
    progress : called with the share done and what is being done
    found : what :func:`look_up` found, where it is known already
    """
    known, true = found or look_up(exercise, members=members, progress=progress, executor=executor)
    tried, refused = None, ""
    if progress is not None:
        progress(0.8, "trying your plan on the true face")
    try:
        tried = try_way(true, _way_of(answers), executor=executor)
    except TippingError as fault:
        refused = str(fault)
    flatness = mark_flatness(answers, known)
    marks = (
        mark_shape(exercise, answers, known),
        flatness,
        mark_range(answers, known),
        mark_cut(answers, known, follows=flatness.got < flatness.most),
        mark_again(exercise, answers, known),
        mark_do(exercise, answers, known),
        mark_plan(answers, known, tried, refused),
    )
    return Marking(exercise, answers, known, tried, marks)


def um(value: float) -> str:
    """A height in whole µm."""
    return show(round(value, 6), "height")


def _between(low: float, high: float) -> str:
    """A range of heights [m] in whole µm."""
    return f"{from_si(low, 'height'):.0f} to {from_si(high, 'height'):.0f} {unit_of('height', 'mm')}"


def _band(band: Band) -> str:
    return _between(band.p05, band.p95)


# ---- the face

SIGNS = {
    "hollow": "low in the middle: a straightedge sits still on its ends and leaves go in between",
    "crowned": "proud in the middle: a straightedge rocks on it, and held level leaves go at its ends",
    "twisted": "two opposite corners stand proud of the other two: one diagonal reads hollow where the "
    "other rocks, while the sides may look straight",
    "mixed": "neither bow nor twist carries it alone, or it bows one way along and the other way across: "
    "lines in different directions tell different stories",
    "cannot tell": "the readings leave more than one shape open",
}


def mark_shape(exercise: Exercise, answers: ExerciseAnswers, found: ExerciseTruth) -> ExerciseMark:
    """The shape in a word."""
    numbers, shape = found.numbers, found.survey.shape
    truth = numbers.word
    share = shape.chances.get(answers.shape, 0.0)
    why = [f"{truth.capitalize()} means {SIGNS[truth]}."]
    if truth == "mixed":
        why.append(
            f"Here: bow along {_signed(numbers.bow_along)}, across {_signed(numbers.bow_across)}, "
            f"twist {um(abs(numbers.twist))}."
        )
    if answers.shape == truth:
        got = float(SHAPE)
    elif answers.shape == "cannot tell":
        got = float(SHAPE) if shape.word == "cannot tell" else 1.0
        why.append(
            "The readings do leave it open: no shape holds six tenths of the faces that fit them."
            if shape.word == "cannot tell"
            else f"The readings do tell: {percent(shape.chance)} of the faces that fit them are {shape.word}."
        )
    elif answers.shape == shape.word or share >= ALLOWED:
        got = float(SHAPE) if answers.shape == shape.word else SHAPE - 1.0
        why.append(
            f"But {percent(share)} of the faces that fit the readings are {answers.shape}: from these "
            "readings yours is a fair answer."
        )
    else:
        got = 0.0
        why.append(f"Hardly any face that fits the readings is {answers.shape} ({percent(share)}).")
    return ExerciseMark("Shape", got, SHAPE, answers.shape, truth, tuple(why))


def _signed(bow: float) -> str:
    return f"{um(abs(bow))} {'crowned' if bow > 0.0 else 'hollow'}"


def _judged(value: float, truth: float, band: Band, most: int, what: str) -> tuple[float, tuple[str, ...]]:
    """Marks for a guess, and why: the truth, or inside what the readings allow."""
    near = abs(value - truth) <= max(CLOSE, NEAR * truth)
    inside = band.p05 <= value <= band.p95
    allowed = f"From these readings {what} may be anything from {_band(band)}"
    if inside and near:
        return float(most), (f"{allowed}; yours is inside, and near the truth.",)
    if inside:
        return float(most), (
            f"{allowed}. Yours is inside: it is off the truth, but nobody could tell that from these "
            "readings.",
        )
    if near:
        return float(most), (f"{allowed}. Yours is outside, and yet near the truth: right.",)
    low = band.p50 - NEARLY * (band.p50 - band.p05)
    high = band.p50 + NEARLY * (band.p95 - band.p50)
    if low <= value <= high:
        return 0.5 * most, (f"{allowed}; yours is a little outside.",)
    return 0.0, (f"{allowed}; yours is well {'above' if value > truth else 'below'} that.",)


def mark_flatness(answers: ExerciseAnswers, found: ExerciseTruth) -> ExerciseMark:
    """The guess of the flatness."""
    numbers = found.numbers
    got, why = _judged(
        answers.flatness, numbers.flatness, found.survey.bands.flatness, FLATNESS, "the flatness"
    )
    if numbers.straightedge < 0.8 * numbers.flatness:
        why += (
            f"The straightedge shows {um(numbers.straightedge)} at the worst place, the face is "
            f"{um(numbers.flatness)} out: {_hidden(numbers)}.",
        )
    return ExerciseMark("Flatness", got, FLATNESS, um(answers.flatness), um(numbers.flatness), why)


def _hidden(numbers: TrueNumbers) -> str:
    """Why a straightedge shows less than there is between two planes."""
    bows = numbers.bow_along, numbers.bow_across
    if abs(numbers.twist) >= max(map(abs, bows)):
        return (
            "a twist shows half of itself on either diagonal, hollow on the one and crowned on the other: "
            "add both"
        )
    if bows[0] * bows[1] < 0.0:
        return (
            "a saddle is hollow one way and crowned the other, and the straightedge lies one way at a time: "
            "add both"
        )
    return "it lies on one line at a time, and heights of different lines add up"


def mark_range(answers: ExerciseAnswers, found: ExerciseTruth) -> ExerciseMark:
    """Whether the apprentice knows how much is not known."""
    truth, band = found.numbers.flatness, found.survey.bands.flatness
    low, high = answers.flatness_from, answers.flatness_to
    holds = low <= truth <= high
    told = max(band.p95 - band.p05, 2.0 * CLOSE, 2.0 * NEAR * truth)
    wide = (high - low) / told
    survey_says = f"The survey's own range is {_band(band)}."
    if holds and wide <= WIDE:
        got, why = float(RANGE), "Your range holds the truth and is no wider than it need be."
    elif holds:
        got = 0.5 * RANGE if wide <= IDLE else 0.0
        why = f"Your range holds the truth, but is {wide:.1f} times as wide as the readings ask for."
    elif low <= band.p95 and high >= band.p05 and wide >= 0.5:
        got = 0.5 * RANGE
        why = "Your range misses the truth, and yet it is one that these readings suggest."
    elif low <= band.p95 and high >= band.p05:
        got, why = 0.0, "Your range misses the truth: leaves leave more room than you think."
    else:
        got, why = 0.0, "Your range lies beside what the readings allow."
    return ExerciseMark("Range", got, RANGE, _between(low, high), um(truth), (why, survey_says))


def mark_cut(answers: ExerciseAnswers, found: ExerciseTruth, *, follows: bool = False) -> ExerciseMark:
    """The least cut that clears the face.

    Where the flatness was wrong (``follows``), a cut that is right for it counts all the same.
    """
    numbers = found.numbers
    got, why = _judged(
        answers.least_cut, numbers.least_cut, found.survey.bands.depth_to_clear, CUT, "the least cut"
    )
    share = numbers.least_cut / max(numbers.flatness, 1e-9)
    rule = (
        f"Here it is {share:.2f} of the flatness. A plain hollow has its low spot in the middle and stands "
        "above it by a third on average; a plain twist by a half; a plain crown, whose low spots are its "
        "edges, by two thirds."
    )
    said = answers.flatness
    near = 0.0 < said and 1.0 / OF_THIRD <= said / max(numbers.flatness, 1e-9) <= OF_THIRD
    if (
        follows
        and got < CUT
        and near
        and abs(answers.least_cut - share * said) <= max(0.5 * CLOSE, NEAR * share * said)
    ):
        got = float(CUT)
        why += (
            f"From the flatness you gave, {um(said)}, it follows rightly ({share:.2f} of it): full marks.",
        )
    return ExerciseMark("Least cut", got, CUT, um(answers.least_cut), um(numbers.least_cut), (*why, rule))


# ---- the readings


def mark_again(exercise: Exercise, answers: ExerciseAnswers, found: ExerciseTruth) -> ExerciseMark:
    """Readings that contradict the others.

    Where none could be found "none" is worth nothing, and so is finding none; who doubts good readings
    loses marks all the same.
    """
    labels = exercise.task.labels()
    # A learner's own slips show among the readings as they were written.
    doubts = found.survey if exercise.written is None else survey(exercise.written, seed=0)
    doubted = {labels.get(station_key(c.line, c.at), "") for c in doubts.contradictions}
    wrong = {slip.label: slip for slip in exercise.slips}
    named = set(answers.read_again)
    why: list[str] = []
    lost = 0.0
    for label, slip in wrong.items():
        s = slip.station
        written = f"{um(s.goes)} goes" if s.goes > 0.0 else "none goes"
        words = f'{label} ({slip.line}): written was "{written}", the gap there is {um(slip.gap)}.'
        if label in named:
            why.append(f"{words} Found.")
        elif label not in doubted:
            why.append(f"{words} It fits the others well enough: nobody could have found it.")
        else:
            lost += AGAIN / len(wrong)
            why.append(f"{words} It does not fit its neighbours: a face does not jump so far so near.")
    for label in sorted(named - set(wrong)):
        if label in doubted:
            why.append(f"{label} is right, but it does look doubtful among these readings.")
        else:
            lost += 1.0
            why.append(f"{label} is right, and fits the others within what leaves and hands can tell.")
    if not wrong and not named:
        why.append("All readings agree within what leaves and hands can tell.")
    if not any(label in doubted for label in wrong):
        why.append("There was nothing to be found, so that there are no marks to be had here.")
        got, most = max(-float(AGAIN), -lost), 0
    else:
        got, most = max(0.0, AGAIN - lost), AGAIN
    yours = ", ".join(sorted(answers.read_again)) or "none"
    return ExerciseMark("Read again", _half(got), most, yours, ", ".join(sorted(wrong)) or "none", tuple(why))


def _half(marks: float) -> float:
    """Marks in halves.

    >>> _half(1.4), _half(0.2)
    (1.5, 0.0)
    """
    return round(2.0 * marks) / 2.0


# ---- the plan


def mark_do(exercise: Exercise, answers: ExerciseAnswers, found: ExerciseTruth) -> ExerciseMark:
    """Leave it, lap it, machine shop, or cannot tell."""
    part, numbers = exercise.scenario.part, found.numbers
    sense = "by the straightedge" if part.limit_by == "straightedge" else "over the whole face (minimum zone)"
    why = [f"The face is out by {um(numbers.measure(part.limit_by))} {sense}; the limit is {um(part.limit)}."]
    if found.do != "leave":
        words = f"With a look every two minutes {percent(found.own.looking)} of the hands tried come inside"
        if part.allowance is not None:
            words += f" and take off no more than {um(part.allowance)}"
        why.append(f"{words}.")
    if found.do == "machine shop" and found.own.looking_goal > LAP_AT:
        why.append("It can be lapped flat, but not within the metal there is to spare.")
    read = found.verdict.answer
    if answers.do in (found.do, read):
        got = float(DO)
        if answers.do != found.do:
            why.append(f'From the readings alone the program says "{read}" as well: a fair answer.')
    elif answers.do == "cannot tell":
        got = 1.0
        why.append(f'Careful, but the readings do tell: from them the program says "{read}".')
    elif found.do == "cannot tell" or read == "cannot tell":
        got = 0.5 * DO
        why.append("It is a close call, and you did not say so.")
    else:
        got = 0.0
    return ExerciseMark("What to do", got, DO, answers.do, found.do, tuple(why))


def mark_plan(
    answers: ExerciseAnswers, found: ExerciseTruth, tried: PlanTrial | None, refused: str = ""
) -> ExerciseMark:
    """The plan of the lap, tried on the true face; asked for whatever is to be done with it.

    A face that is flat enough is to be lapped to half of what it measures, one for the machine shop as if
    there were metal enough.
    """
    own = found.own
    truth, yours = _way_words(own.way), _way_words(_way_of(answers))
    if tried is None:
        return ExerciseMark("Plan", 0.0, PLAN, yours, truth, (f"It cannot be worked: {refused}.",))
    if answers.do == "lap" and ruins(tried):
        spoilt = (
            f"With just those strokes the deepest spot loses {_band(tried.deepest)}, and "
            f"{um(tried.allowance or 0.0)} are there to spare: the part is scrap. Whatever else is right, "
            f"that leaves {percent(MOST_RUINED)} of all marks at most."
        )
        return ExerciseMark("Plan", 0.0, PLAN, yours, truth, (spoilt, *_trial_words(tried)))
    why = _trial_words(tried)
    if found.do == "machine shop":
        # As if there were metal enough.
        chance, best = tried.looking_goal, own.looking_goal
        why.insert(0, "It was to be planned as if there were metal enough, and is tried so.")
    else:
        chance, best = tried.looking, own.looking
        if found.do == "leave":
            why.insert(0, "The face was flat enough: what is tried is half of what it measures.")
    works = chance >= min(LAP_AT, best - AS_GOOD)
    if not works:
        why.append(f"The program's own way comes there in {percent(best)}.")
    first = tried.way.strokes[0]
    inside = tried.stops.p05 <= first <= tried.stops.p95
    absurd = first < tried.stops.p05 / ABSURD or first > tried.stops.p95 * ABSURD
    got = 0.5 * PLAN if works and not absurd else 0.0
    # Full marks in the middle half or so of those who look, half of them anywhere among them.
    low, high = ((tried.stops.p50 * end) ** 0.5 for end in (tried.stops.p05, tried.stops.p95))
    got += 0.5 * PLAN if low <= first <= high and works else 0.25 * PLAN if inside else 0.0
    stops = f"{tried.stops.p05:.0f} to {tried.stops.p95:.0f}"
    verb = "lies among" if inside else "is short of" if first < tried.stops.p05 else "goes far beyond"
    why.append(
        f"On {tried.way.papers[0]} those who look stop after {stops} strokes: {first} {verb} these. The "
        "range is wide because nobody has weighed what this paper takes off."
    )
    own_words = (
        f"A way of the program's own, {truth}, on the same face and hands: {percent(best)} come there with "
        f"looks, {percent(own.written_goal if found.do == 'machine shop' else own.written)} with just those "
        "strokes."
    )
    return ExerciseMark("Plan", _half(got), PLAN, yours, truth, (*why, own_words))


def _way_of(answers: ExerciseAnswers) -> WayTried:
    lap = answers.lap
    return WayTried(lap.papers, lap.strokes, lap.turning, lap.turn_every)


def ruins(tried: PlanTrial | None) -> bool:
    """Whether a plan tried takes more metal off than there is to spare, in most hands."""
    return tried is not None and tried.allowance is not None and tried.written_allowance < RUINED


def _trial_words(tried: PlanTrial) -> list[str]:
    finer = ", and on finer paper until the scratches are gone" if len(tried.way.papers) > 1 else ""
    return [
        f"Tried by {tried.members} pairs of hands on the true face. With just the strokes you wrote, it ends "
        f"at {_band(tried.after)} (from {um(tried.before)}, limit {um(tried.limit)}), and the deepest spot "
        f"loses {_band(tried.deepest)}: {percent(tried.written)} inside both limits.",
        f"With a look every two minutes, stopping in time{finer}: {percent(tried.looking)} inside both.",
    ]


def _way_words(way: WayTried) -> str:
    papers = ", ".join(f"{n} strokes on {paper}" for n, paper in zip(way.strokes, way.papers, strict=True))
    if way.turning == "none" or not way.turn_every:
        return f"{papers}, never turned"
    return f"{papers}, turned ({way.turning}) every {way.turn_every}"
