"""Records of a lesson: what its file says, and what came out when it was worked.

A lesson asks which of several predictions holds, works its cases by simulation, and lets the
outcome choose: nothing in its file says which prediction is right.  ``intends`` only says what
the author means to teach, so that a test, and an honest report, can hold the outcome against it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from numpy.typing import NDArray

from handlap.sim.common.grid import Grid
from handlap.sim.common.outline import Array
from handlap.sim.job.results import Band

Asks = Literal["which", "course", "number"]
"""Which case has least or most of a figure; how a figure runs on; how large a figure is."""
CourseShape = Literal["falls", "levels off", "turns back"]
Expects = Literal["stays", "goes", "less", "turns"]
"""What a run with a cause switched off (or alone) is to leave of the outcome, or of a figure."""


@dataclass(frozen=True)
class StartFace:
    """The face a case starts from, in plain shapes [m]; heights are positive where proud.

    With U = 2u/length and V = 2v/width, each from -1 (left, near) to 1 (right, far)::

        h = along·(1 - U²) + across·(1 - V²) + twist·U·V/2
            - corner·max(0, (U + V)/2)² - rolled·(roll(U) + roll(V)) + waves

    where roll(x) = ((|x| - 0.9)/0.1)² beyond 0.9 and 0 elsewhere.

    Attributes
    ----------
    along, across : the middle over both ends (both sides): + crowned, - hollow
    twist : the far right and near left corners over the other two
    corner : how low the far right corner lies
    rolled : how far ends and sides fall off in the outer tenth of the half length
    uneven : height of gentle waves between crest and trough, others for each member, the same in
        all cases: no two scraps are alike
    """

    along: float = 0.0
    across: float = 0.0
    twist: float = 0.0
    corner: float = 0.0
    rolled: float = 0.0
    uneven: float = 0.0


@dataclass(frozen=True)
class Case:
    """One thing tried.

    Attributes
    ----------
    name : short name, as placeholders in the texts call it
    words : the case in a few words
    face : the starting face; None: the face of the lesson, or else the readings of the scenario
    change : keys of a scenario file that differ here, nested as in the file
    strokes : worked in this case; None: as in the lesson
    """

    name: str
    words: str
    face: StartFace | None = None
    change: Mapping[str, Any] = field(default_factory=dict)
    strokes: int | None = None


@dataclass(frozen=True)
class Choice:
    """One prediction, and the outcome it stands for: exactly one of the last four is given.

    Attributes
    ----------
    words : the prediction
    case : name of the case that has least (most) of the figure
    alike : no case differs from the others by more than the lesson's margin
    course : how the figure runs on with the strokes
    between : the figure lies in this range, lower end included [SI; of the ratio where one is asked]
    right_if : what would have to be so for it to be right, in a sentence
    """

    words: str
    case: str | None = None
    alike: bool = False
    course: CourseShape | None = None
    between: tuple[float, float] | None = None
    right_if: str = ""


@dataclass(frozen=True)
class Cause:
    """A run that holds the reason a lesson gives: something switched off, or left on alone.

    Attributes
    ----------
    words : what is other in this run, as in "Hands down at the paper"
    expects : of the outcome: it "stays" or "goes"; of the figure ``of``: it "stays" (half of it and more),
        "goes" (half of it and less), is "less", or "turns" into its opposite
    without, only : causes switched off, or the one left on alone, by the names of
        :data:`handlap.sim.comparing.causes.OFF`
    change : keys of a scenario file that differ
    face : starting face instead of the one worked from
    cases : names of the cases that are other; None: all
    of : the figure held against, ``case.figure`` or two with - or / between; None: the outcome
    """

    words: str
    expects: Expects
    without: tuple[str, ...] = ()
    only: str | None = None
    change: Mapping[str, Any] = field(default_factory=dict)
    face: StartFace | None = None
    cases: tuple[str, ...] | None = None
    of: str | None = None


@dataclass(frozen=True)
class Step:
    """What is to be seen on a real scrap.

    Attributes
    ----------
    name : how the text of the bench calls its strokes, ``{name.strokes}``
    words : what is looked at
    of : the figure, ``case.figure`` or two with - or / between
    tool : what it is looked at with, by the names of :data:`handlap.sim.teaching.bench_tools.TOOLS`
    """

    name: str
    words: str
    of: str
    tool: str


@dataclass(frozen=True)
class LessonQuestion:
    """What is asked of the simulation.

    Attributes
    ----------
    asks : kind of the question
    figure : name of a figure, see :mod:`handlap.sim.teaching.lesson_figures`
    take : for "which": the case with "least" or "most" of it
    margin : differences up to this count as none [SI of the figure]
    ratio_to : for "number": the figure is divided by this one of the same case, or of ``base``
    base : for "number": name of the case divided by (``of`` being the case divided)
    of : for "course" and "number": name of the case asked about; None: the first
    """

    asks: Asks
    figure: str
    take: Literal["least", "most"] | None = None
    margin: float = 0.0
    ratio_to: str | None = None
    base: str | None = None
    of: str | None = None


@dataclass(frozen=True)
class Lesson:
    """One lesson as its file says it; texts may hold placeholders ``{case.figure}``.

    Attributes
    ----------
    name : its name on the command line (the file's stem)
    title, story, ask : heading; the situation; the question put to the apprentice
    choices : predictions, in the order shown
    because : why it comes out so, in words; figures only as placeholders
    bench : what to try on a real scrap
    scenario : the job, as the mapping of a scenario file before any change
    face : starting face of all cases that have none of their own
    cases : what is tried
    strokes : strokes worked, unless a case says otherwise
    question : what is asked of the simulation
    intends : index of the choice that the author means to be right
    pictures : which pictures go with the answer: "curve", "before", "after", "removed", "dye"
    cautions : safety notes beyond the usual
    """

    name: str
    title: str
    story: str
    ask: str
    choices: tuple[Choice, ...]
    because: str
    bench: str
    scenario: Mapping[str, Any]
    face: StartFace | None
    cases: tuple[Case, ...]
    strokes: int
    question: LessonQuestion
    intends: int
    pictures: tuple[str, ...] = ("curve",)
    cautions: tuple[str, ...] = ()
    order: int = 1000
    """Place among the lessons: lower ones are taught first."""
    members: int | None = None
    """Most members worth working, where a case is slow; None: as many as asked for."""
    looks: int = 8
    """How often the face is looked at on the way, where the scenario does not say."""
    cells: int = 1500
    """About how many cells the face is cut into."""
    folder: Path | None = None
    """Where the files lie that the scenario names."""
    causes: tuple[Cause, ...] = ()
    """Runs that hold the reason."""
    steps: tuple[Step, ...] = ()
    """What is to be seen at the bench, and with what."""


@dataclass(frozen=True)
class CaseResult:
    """What one case came to, over members that all cases share.

    Attributes
    ----------
    case : the case
    figures : value of every figure that is known for it, by name (members,) [SI]
    strokes : strokes done at each look, 0 first (looks,)
    course : the figure asked about at each look (members, looks) [SI]; None where it has no course
    grid : cells and points of the maps below
    before, after : heights of the typical member (n,) [m]
    dye : its dye at the last look (cells,): 1 full, ½ fading, 0 gone
    """

    case: Case
    figures: Mapping[str, Array]
    strokes: NDArray[Any]
    course: Array | None
    grid: Grid
    before: Array
    after: Array
    dye: Array


@dataclass(frozen=True)
class LessonAnswer:
    """What the simulation says to the question.

    Attributes
    ----------
    choice : index of the choice it comes out as; None: it cannot tell
    support : share of the members that say so, between 0 and 1
    values : band of the figure (of the ratio) by case [SI]
    words : the answer in one sentence, with its figures
    """

    choice: int | None
    support: float
    values: Mapping[str, Band]
    words: str


@dataclass(frozen=True)
class CauseRun:
    """A cause run: whether it holds the reason, and what came out, in a sentence."""

    cause: Cause
    held: bool
    words: str


@dataclass(frozen=True)
class SizedStep:
    """A step at the bench, sized by the model for its tool.

    Attributes
    ----------
    strokes : after how many strokes the tool tells it for 95 hands of 100; None: never in this lesson
    expected : band of what is to be seen then, at the end where never [SI]
    words : both in a sentence
    """

    step: Step
    strokes: int | None
    expected: Band
    words: str


@dataclass(frozen=True)
class LessonResult:
    """A lesson worked: its cases, the answer, and the texts with their figures filled in.

    ``because`` is empty where no reason stands: see :attr:`reason_stands`.
    """

    lesson: Lesson
    members: int
    seed: int
    cases: tuple[CaseResult, ...]
    answer: LessonAnswer
    story: str
    because: str
    bench: str
    notes: tuple[str, ...] = ()
    causes: tuple[CauseRun, ...] = ()
    steps: tuple[SizedStep, ...] = ()

    @property
    def reason_stands(self) -> bool:
        """Whether the reason may be given: the outcome is the one meant, and every run holds it."""
        return self.as_intended and all(run.held for run in self.causes)

    @property
    def as_intended(self) -> bool:
        """Whether it came out as the author of the lesson means it to."""
        return self.answer.choice == self.lesson.intends
