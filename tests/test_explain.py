"""``handlap explain``: the pages that the program carries, on a terminal."""

from __future__ import annotations

import re
import shlex
import tomllib

import pytest
from click.testing import CliRunner

from handlap.cli.explained import TOPICS, page
from handlap.cli.main import main
from handlap.cli.reports.page_text import page_lines
from handlap.cli.screen import Screen


def shown(topic: str, width: int = 80) -> list[str]:
    done = CliRunner().invoke(main, ["explain", topic], env={"COLUMNS": str(width)})
    assert done.exit_code == 0, done.output
    return done.stdout.splitlines()


def words(text: str) -> list[str]:
    return re.findall(r"\w+", text)


@pytest.mark.parametrize("topic", TOPICS)
def test_every_word_of_a_page_is_printed(topic):
    """But for what a terminal cannot show: pictures, and where links lead to."""
    written = re.sub(
        r"!\[[^\]]*\]\([^)]*\)|(?<=\])\([^)]*\)|^```\w*|^\|[-|]+\|$", " ", page(topic), flags=re.M
    )
    title, rest = written.split("\n", 1)
    printed = "\n".join(shown(topic))
    assert words(printed)[: len(words(title))] == words(title.upper())
    missing = set(words(rest)) - set(words(printed))
    assert not missing


@pytest.mark.parametrize("topic", TOPICS)
def test_prose_fits_a_narrow_terminal(topic):
    """Code is not broken but where a shell lets it be; all else fits."""
    code = {line.strip() for block in re.findall(r"```\w*\n(.*?)```", page(topic), flags=re.S)
            for line in block.splitlines()}  # fmt: skip
    code |= {line.strip() for line in page(topic).splitlines() if line.startswith("    ")}
    wide = [line for line in shown(topic, 40) if len(line) > 40 and line.strip() not in code]
    assert not [line for line in wide if not line.startswith("      ")], (
        "options are words of one command line"
    )


def test_a_command_line_broken_over_lines_is_the_same_to_a_shell():
    line = (
        'handlap log head.toml --strokes 160 --reading "long, near side: 5 none 30; 80 30 40" --brushed && ls'
    )
    lines = page_lines(f"# A\n\n```sh\n{line}\n```\n", Screen(40))[2:]
    assert len(lines) > 2 and all(one.endswith("\\") for one in lines[:-1])
    assert shlex.split(" ".join(one.rstrip("\\") for one in lines)) == shlex.split(line)


def test_code_of_a_page_is_printed_as_it_stands():
    (block,) = re.findall(r"```toml\n(.*?)```", page("files"), flags=re.S)
    lines = shown("files")
    at = next(i for i, line in enumerate(lines) if line.startswith("  title = "))
    printed = "\n".join(line[2:] for line in lines[at : at + block.count("\n")])
    assert tomllib.loads(printed) == tomllib.loads(block)


def test_without_a_topic_all_are_listed():
    out = CliRunner().invoke(main, ["explain"]).stdout
    assert all(f"  {topic} " in out for topic in TOPICS)


def test_a_page_that_is_not_there_is_refused_with_those_that_are():
    done = CliRunner().invoke(main, ["explain", "sausage"])
    assert done.exit_code == 2
    assert '"sausage"' in done.stderr and all(topic in done.stderr for topic in TOPICS)


def test_markdown_is_the_page_as_it_is_written():
    assert CliRunner().invoke(main, ["explain", "model", "--markdown"]).stdout == page("model")
