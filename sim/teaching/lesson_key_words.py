"""Every key of a lesson's file in words, for ``handlap keys``."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class LessonKey:
    """A key of a lesson's file: dotted name (``[]``: a list of tables), what it is, whether it must be."""

    name: str
    help: str
    required: bool = False


_MUST: dict[str, str] = {
    "title": "the heading",
    "story": "the situation, read before the run; may hold figures {case.figure}",
    "ask": "the question, in plain words",
    "strokes": "strokes of every case; 0: nothing is lapped",
    "scenario": "the job: a table with the keys of a scenario file, or the name of one",
    "intends": "the choice you mean to be right, counted from 1; the outcome of the simulation decides",
    "because": "why it comes out so; figures only as {case.figure}, {one.figure - other.figure} or with /",
    "bench": "what to try on a real scrap; {step.strokes} are the strokes that the step needs",
    "case[].name": "a short name, as the texts call it",
    "case[].words": "the case in a few words",
    "question.asks": "which (case has least or most), course (how it runs on), or number (how large)",
    "question.figure": "the figure asked about; the head of a file of lesson --new lists them",
    "choice[].words": "the prediction; no figures in digits where the question asks which",
    "cause[].words": "what is other in this run, as in: Hands down at the paper",
    "cause[].expects": "of the answer: stays or goes; of the figure named in of: stays, goes, less or turns",
    "step[].words": "what is looked at on the scrap",
    "step[].of": "the figure that is looked at, case.figure or two with - or / between",
    "step[].tool": "what it is looked at with; the strokes are counted until that sees it",
}
_MAY: dict[str, str] = {
    "order": "place among the lessons, lower ones first",
    "looks": "how often to look on the way",
    "members": "most pairs of hands worth working, where a case is slow",
    "cells": "about how many cells the face is cut into",
    "pictures": "of curve, before, after, removed, dye",
    "cautions": "safety notes beyond the usual",
    "face": "starting face of all cases in µm: along, across, twist, corner, rolled, uneven",
    "case[].face": "starting face of this case",
    "case[].change": "keys of the scenario that differ in this case",
    "case[].strokes": "strokes of this case",
    "question.take": "least or most, where the question asks which",
    "question.margin": "differences up to this count as none: above the error that the report states "
    "and above what the tool at the bench sees, a third of the difference you expect or less",
    "question.ratio_to": "the figure is divided by this one, where the question asks for a number",
    "question.base": "of this case, where the question asks for a number",
    "question.of": "the case asked about; without it the first",
    "choice[].case": "it stands for this case having least (most)",
    "choice[].alike": "true: it stands for no case differing by more than the margin",
    "choice[].course": "it stands for a figure that falls, levels off or turns back",
    "choice[].between": "it stands for this range, [low, high]",
    "choice[].right_if": "what would have to be so for it to be right, to end: would be right if",
    "cause[].without": "causes switched off: high hands, wobble, bias, push and pull, press within a "
    "stroke, paper ageing, leading edge, plate, overhang and seams, spring-back, inserts, starting shape",
    "cause[].only": "the one cause left on",
    "cause[].change": "keys of the scenario that differ in this run",
    "cause[].face": "starting face of this run",
    "cause[].cases": "names of the cases that are other; without it all",
    "cause[].of": "the figure held against the lesson's own; without it the answer",
    "step[].name": "how the text of the bench calls it, step without one",
}


def describe_lesson_keys() -> tuple[LessonKey, ...]:
    """Every key of a lesson's file, those that must be given first."""
    must = tuple(LessonKey(name, words, True) for name, words in _MUST.items())
    return must + tuple(LessonKey(name, words) for name, words in _MAY.items())
