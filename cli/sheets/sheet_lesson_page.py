"""A lesson as one HTML page: the question in the open, the answer folded away until it is asked for."""

from __future__ import annotations

from collections.abc import Mapping

from handlap.cli.reports.lesson_report import (
    answer_sections,
    headline,
    lead,
    paragraphs,
    titled,
)
from handlap.cli.reports.lesson_words import take_care
from handlap.cli.reports.page import CSS, NONE, TONES, escape, section_html, shown
from handlap.sim.teaching.lesson import LessonResult

OWN_CSS = """
.choices { list-style: lower-alpha; padding-left: 2rem; }
.choices li { margin: .35rem 0; padding-left: .3rem; }
.ask { font-weight: 600; }
details { margin: 1.5rem 0; border: 1px solid var(--frame); border-radius: .3rem; padding: 0 1rem; }
details[open] { padding-bottom: 1rem; }
summary { padding: .9rem 0; }
.answer { border-left: .5rem solid var(--tone); padding: .1rem 0 .1rem 1rem; }
.answer h2 { border: 0; font-size: 1.4rem; margin: 0 0 .3rem; }
@media print { details { border: 0; padding: 0; } details:not([open]) { display: none; } }
"""


def lesson_page(
    result: LessonResult, pictures: Mapping[str, bytes], narrow: Mapping[str, bytes] = NONE
) -> str:
    """The lesson as one HTML file; ``pictures`` are PNG by name, ``narrow`` the same for a narrow screen."""
    lesson = result.lesson
    tone = TONES["plain" if result.as_intended else "doubt"]
    choices = "".join(f"<li>{escape(choice.words)}</li>" for choice in lesson.choices)
    said = "".join(f"<li>{shown(item)}</li>" for item in lead(result, None))
    answer = headline(result, None)
    sections = "\n".join(section_html(section, pictures, narrow) for section in answer_sections(result, None))
    return (
        "<!doctype html>\n"
        '<html lang="en-GB">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(titled(lesson))}</title>\n<style>{CSS}{OWN_CSS}</style>\n</head>\n"
        f'<body style="--tone: {tone}">\n'
        f"<header>\n<h1>{escape(lesson.title)}</h1>\n"
        f'<p class="subject">{escape(_subject(result))}</p>\n</header>\n<main>\n'
        f"<section>\n{_paragraphs(result.story)}\n{_paragraphs(lesson.ask, 'ask')}\n"
        f'<ol class="choices">{choices}</ol>\n'
        "<p>Decide first, and say why. Then look.</p>\n</section>\n"
        "<details>\n<summary>Show the answer</summary>\n"
        f'<div class="answer">\n<h2>{escape(answer[:1].upper() + answer[1:])}</h2>\n<ul>{said}</ul>\n</div>\n'
        f"{sections}\n</details>\n"
        f"<p>With knobs: <code>handlap play {escape(lesson.name)} --out page.html</code></p>\n</main>\n"
        f"<footer>Worked out by handlap, each case {result.members} times, seed {result.seed}. "
        f"{escape(take_care(lesson)[-1])}</footer>\n</body>\n</html>\n"
    )


def _subject(result: LessonResult) -> str:
    own = titled(result.lesson).removeprefix(result.lesson.title).strip()
    return "A lesson in lapping by hand" + (f"  {own}" if own else "")


def _paragraphs(text: str, kind: str = "") -> str:
    mark = f' class="{kind}"' if kind else ""
    return "\n".join(f"<p{mark}>{shown(words.text)}</p>" for words in paragraphs(text))
