"""A page of HTML as a test reads it."""

from __future__ import annotations

from html.parser import HTMLParser

VOID = {"meta", "path", "rect", "use", "image", "br"}


class Page(HTMLParser):
    """Collects text, links and ids, and checks that what is opened is closed."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.words: list[str] = []
        self.links: list[str] = []
        self.open: list[str] = []
        self._silent = 0
        self.feed(html)

    def handle_starttag(self, tag, attributes):
        self.links += [value for name, value in attributes if name in ("href", "src", "xlink:href")]
        if tag not in VOID:
            self.open.append(tag)
        self._silent += tag in ("style", "svg")

    def handle_startendtag(self, tag, attributes):
        self.handle_starttag(tag, attributes)
        if tag not in VOID:
            self.handle_endtag(tag)

    def handle_endtag(self, tag):
        if tag in VOID:
            return
        assert self.open.pop() == tag
        self._silent -= tag in ("style", "svg")

    def handle_data(self, data):
        if not self._silent:
            self.words.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())
