"""Questions asked one after the other at a terminal, with help, a way back, and nothing lost.

Every answer is written to a draft file as soon as it is given; questions and remarks go to
stderr, so that stdout holds the result alone.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeVar

from handlap.cli.files import write_whole
from handlap.cli.reports.text import wrapped
from handlap.cli.screen import Screen, emit, is_terminal
from handlap.sim.common.errors import InputError
from handlap.sim.common.measured_number import Doubted
from handlap.sim.job.given_file import read_small_text

Answers = dict[str, str]

T = TypeVar("T")
HELP, BACK, FINISH = "?", "<", "end"
LONGEST = 2000
"""Characters an answer may have."""
MOST_UNREADABLE = 5
"""Lines in succession that are no text, after which it is no use to ask again."""
LARGEST_DRAFT = 1_000_000
"""[bytes]"""


class Back(Exception):
    """The person wants to see the question before."""


class Finish(Exception):
    """The person wants to leave the rest for later."""


class NoMoreInput(InputError):
    """The input ended before the last question was answered."""


@dataclass
class Draft:
    """Answers kept in a file until the work they belong to is written.

    ``kind`` tells drafts of different commands apart.
    """

    path: Path
    kind: str
    answers: dict[str, str] = field(default_factory=dict)

    def keep(self, name: str, answer: str | None) -> None:
        """Keep an answer (None: forget it), at once and whole."""
        if answer is None:
            self.answers.pop(name, None)
        else:
            self.answers[name] = answer
        self.write()

    def write(self) -> None:
        """Write the draft as it is now."""
        held = {"schema": self.kind, "answers": self.answers}
        write_whole(self.path, json.dumps(held, ensure_ascii=False, indent=1) + "\n")

    def drop(self) -> None:
        """The work is written: the draft is not needed any more."""
        self.path.unlink(missing_ok=True)

    def aside(self, ending: str) -> Path:
        """Move the file out of the way without losing it; returns where it is now."""
        for n in range(1, 1000):
            place = self.path.with_name(f"{self.path.name}.{ending}{n if n > 1 else ''}")
            if not place.exists():
                self.path.rename(place)
                return place
        raise InputError(f"too many old drafts beside {self.path}: remove some")

    @staticmethod
    def find(path: Path, kind: str) -> Draft:
        """The draft of an earlier run, or an empty one.

        A damaged draft is reported and set aside, never overwritten.
        """
        draft = Draft(path, kind)
        if not path.exists():
            return draft
        try:
            held = json.loads(read_small_text(path, LARGEST_DRAFT))
            answers = held["answers"]
            sound = held["schema"] == kind and all(
                isinstance(k, str) and isinstance(v, str) and _is_answer(v) for k, v in answers.items()
            )
        except (InputError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
            sound = False
        if not sound:
            say(f"{path.name} is no draft that can be read; it is set aside as {draft.aside('damaged').name}")
            return draft
        draft.answers = dict(answers)
        return draft


@dataclass(frozen=True)
class Question:
    """One thing to ask.

    Attributes
    ----------
    name : what the answer is kept under
    text : the question
    help : what "?" shows
    default : what Enter stands for; None: there is none, and an answer must be given
    check : raises InputError, with what is allowed, if an answer will not do
    heading : shown before the question, once
    picture : lines shown with the question
    stands_for : what an answer is kept as, by name, where it may answer the questions after it too
    """

    name: str
    text: str
    help: str
    default: str | None
    check: Callable[[str], None] = lambda answer: None
    heading: str = ""
    picture: Sequence[str] = ()
    stands_for: Callable[[str], dict[str, str]] | None = None


def say(text: str, indent: str = "") -> None:
    """A paragraph for the person at the terminal."""
    emit("\n".join(wrapped(text, Screen.of(sys.stderr).width, indent)), error=True)


def show(lines: Sequence[str]) -> None:
    """Lines that are not wrapped."""
    for line in lines:
        emit(line.rstrip(), error=True)


def _is_answer(text: str) -> bool:
    """Whether somebody may have typed it."""
    return len(text) <= LONGEST and text.isprintable()


def read_answer() -> str:
    """One line from the person, without blanks about it.

    Raises
    ------
    NoMoreInput : at the end of the input
    """
    emit("> ", error=True, end="")
    unreadable = 0
    while True:
        try:
            # Without a standard input at all there is nothing to read either.
            line = sys.stdin.readline() if sys.stdin is not None else ""
        except UnicodeDecodeError:
            unreadable += 1
            if unreadable == MOST_UNREADABLE:
                # Half a letter at the very end would be read, and refused, for ever.
                raise NoMoreInput("the input cannot be read as text") from None
            say("That cannot be read as text: type it again.")
            continue
        if not line:
            emit("", error=True)
            raise NoMoreInput("the input ended before the last question")
        answer = line.strip()
        if not is_terminal(sys.stdin):  # nobody saw it being typed
            emit(answer[:LONGEST] if answer.isprintable() else "", error=True)
        if _is_answer(answer):
            return answer
        say(f"At most {LONGEST} characters, and no control characters: type it again.")
        emit("> ", error=True, end="")


def ask(question: Question, default: str | None, *, may_finish: bool = False) -> str:
    """Ask until an answer will do.

    Parameters
    ----------
    default : what Enter stands for here

    Raises
    ------
    Back : for "<"
    Finish : for "end", where ``may_finish``
    """
    show(question.picture)
    told = question.text if default is None else f"{question.text} [{default or 'none'}]"
    say(told)
    while True:
        answer = read_answer()
        if answer == HELP:
            say(question.help, "  ")
            continue
        if answer == BACK:
            raise Back
        if may_finish and answer.lower() == FINISH:
            raise Finish
        if not answer:
            if default is None:
                say('An answer is needed here; "?" tells more.')
                continue
            answer = default
        try:
            question.check(answer)
        except Doubted as asked_back:
            if not ask_yes(asked_back.doubt.question, True):
                say(f"Then once more, with its unit: {question.text}", "  ")
                continue
            answer = asked_back.instead
            say(f"Taken as {answer}.", "  ")
            try:
                question.check(answer)
            except InputError as fault:
                say(str(fault), "  ")
                continue
        except InputError as fault:
            for line in str(fault).splitlines():
                say(line, "  ")
            continue
        return answer


def ask_yes(text: str, default: bool) -> bool:
    """A question to be answered by yes or no."""
    known = {"y": True, "yes": True, "n": False, "no": False, "": default}
    say(f"{text} [{'yes' if default else 'no'}]")
    while True:
        answer = read_answer().lower()
        if answer in known:
            return known[answer]
        say('"yes" or "no".', "  ")


def interview(
    questions: Callable[[dict[str, str]], Sequence[Question]],
    draft: Draft,
    *,
    proceed: bool = False,
    may_finish: bool = False,
) -> dict[str, str]:
    """Ask all questions, keeping each answer in the draft; returns the answers by name.

    Parameters
    ----------
    questions : the questions that follow from the answers given so far, in order
    draft : kept answers serve as defaults
    proceed : begin at the first question that has no kept answer
    may_finish : "end" leaves the rest unasked

    Raises
    ------
    NoMoreInput, KeyboardInterrupt : the draft is kept
    """
    at = 0
    asked = questions(draft.answers)
    if proceed:
        while at < len(asked) and asked[at].name in draft.answers:
            at += 1
    heading = ""
    while at < len(asked):
        question = asked[at]
        if question.heading and question.heading != heading:
            heading = question.heading
            screen = Screen.of(sys.stderr)
            show(["", screen.strong(heading)])
        try:
            answer = ask(question, draft.answers.get(question.name, question.default), may_finish=may_finish)
        except Back:
            if at == 0:
                say("This is the first question.", "  ")
            at, heading = max(0, at - 1), ""
            continue
        except Finish:
            break
        kept = {question.name: answer} if question.stands_for is None else question.stands_for(answer)
        for name, part in kept.items():
            draft.keep(name, part)
        asked = questions(draft.answers)
        at += len(kept)
    return {q.name: draft.answers[q.name] for q in asked if q.name in draft.answers}


def interview_until(
    questions: Callable[[dict[str, str]], Sequence[Question]],
    draft: Draft,
    take: Callable[[dict[str, str]], T],
    *,
    proceed: bool = False,
) -> T:
    """Ask until ``take`` makes something of the answers; where it refuses (InputError) all are asked again.

    Answers that an earlier version kept may no longer do.
    """
    while True:
        answers = interview(questions, draft, proceed=proceed)
        try:
            return take(answers)
        except InputError as fault:
            say(f"These answers do not go together: {fault}")
            proceed = False


@contextmanager
def keeping(draft: Draft, command: str) -> Iterator[None]:
    """Where asking ends early, say where the answers are and by which command to go on."""
    try:
        yield
    except NoMoreInput as fault:
        raise InputError(f"{fault}; {_kept(draft, command)}") from None
    except KeyboardInterrupt:
        say("")
        say(_kept(draft, command))
        raise


def _kept(draft: Draft, command: str) -> str:
    n = len(draft.answers)
    if n == 0:
        return "nothing had been answered yet"
    answers = "1 answer is" if n == 1 else f"{n} answers are"
    return f"{answers} kept in {draft.path}; to go on: {command}"


def begin(path: Path, kind: str) -> tuple[Draft, bool]:
    """The draft to work with, and whether to go on where an earlier run stopped."""
    draft = Draft.find(path, kind)
    if not draft.answers:
        return draft, False
    n = len(draft.answers)
    answers = "1 answer" if n == 1 else f"{n} answers"
    if ask_yes(f"{path.name} holds {answers} from an earlier run: go on with it?", True):
        return draft, True
    say(f"The earlier answers are set aside as {draft.aside('old').name}.")
    return Draft(path, kind), False
