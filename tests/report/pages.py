"""Reading a page back: a strict reader of what `balancer.report.page` writes."""

from __future__ import annotations

from html.parser import HTMLParser

VOID = {"meta", "br", "hr"}
EMPTY_IN_SVG = {"circle", "ellipse", "line", "path", "polygon", "rect"}


class Page(HTMLParser):
    """Elements with their attributes, and the text, of a page whose tags must all fit together."""

    def __init__(self, text):
        super().__init__(convert_charrefs=True)
        self.open, self.elements, self.texts = [], [], []
        self.feed(text)
        self.close()
        assert self.open == [], f"not closed: {self.open}"

    def handle_starttag(self, tag, attrs):
        assert len(dict(attrs)) == len(attrs), f"an attribute of {tag} comes twice"
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        assert tag in EMPTY_IN_SVG, tag
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if not self.open or self.open[-1] != "style":
            self.texts.append((self.open[-1] if self.open else "", data))

    @property
    def text(self):
        return "\n".join(data for _, data in self.texts)

    def named(self, tag):
        return [attrs for name, attrs in self.elements if name == tag]

    def within(self, tag):
        return [data for name, data in self.texts if name == tag]
