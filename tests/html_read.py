"""A page read tag by tag, as strictly as it was written."""

from __future__ import annotations

from html.parser import HTMLParser

VOID = {"meta", "img", "br", "hr", "link", "input", "source"}


class Reader(HTMLParser):
    """Tags, text outside style and script, what these hold; minds that every tag is closed in its turn."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.open: list[str] = []
        self.text = ""
        self.code: dict[str, list[str]] = {"script": [], "style": []}
        self.feed(page)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if self.open and self.open[-1] in self.code:
            self.code[self.open[-1]].append(data)
        else:
            self.text += data
