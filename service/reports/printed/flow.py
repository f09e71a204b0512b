"""A page of HTML as plain data that a template for print can lay out: what it says has one source, the page.

A node is a text, or an object: `tag`, `class` (a list), `of` (nodes within), `block` (whether it stands on lines of its
own), and where they matter `id`, `href`, `span` (columns a cell spans). A drawing is an object with `svg` (its source,
complete with its styles), `width`, `height` and `alt` (what it shows, in words).
"""

from __future__ import annotations

import re
from html import escape
from html.parser import HTMLParser
from typing import Any

SPACE = re.compile(r"[ \t\n\r\f]+")  # HTML's white space; a no-break space is a letter
VOID = {"br", "meta", "link", "input", "img", "hr"}
UNSEEN_TAGS = {"head", "nav", "script", "style", "noscript", "template"}
UNSEEN_CLASSES = {"heads", "in-passing", "skip", "no-print"}  # for eyes on a phone, or for fingers
INLINE = {"a", "b", "code", "em", "i", "small", "span", "strong", "time"}
LINES_OF_THEIR_OWN = {"aside", "between", "lacks", "target", "todo", "tag"}  # spans that the style sheet makes blocks
HEADINGS = {"h1", "h2", "h3"}
NUMBER = re.compile(r"\d+(?:\.\d+)?$")

Node = str | dict[str, Any]


def title_and_flow(html: str, styles: str) -> tuple[str, list[Node]]:
    """The title of a page of HTML and what its `<main>` shows on paper; `styles` (CSS) go into each drawing.

    Raises ValueError when a tag is closed that is not open: our own pages are well-formed.
    """
    reader = _Reader(styles)
    reader.feed(html)
    reader.close()
    main = next((node for node in _below(reader.root) if node["tag"] == "main"), None)
    if main is None or len(reader.open) != 1:
        raise ValueError("the page has no <main>, or does not close its elements")
    return reader.title.strip(), _Spaces().settled(main)["of"]


def _below(node: dict[str, Any]) -> list[dict[str, Any]]:
    inner = [child for child in node.get("of", []) if isinstance(child, dict)]
    return inner + [each for child in inner for each in _below(child)]


def is_block(node: dict[str, Any], within: str) -> bool:
    """Whether an element stands on lines of its own; in a heading nothing does."""
    own_lines = LINES_OF_THEIR_OWN & set(node["class"]) and within not in HEADINGS
    return node["tag"] not in INLINE or bool(own_lines)


def _pixels(said: str | None) -> float:
    if said is None or not NUMBER.match(said):
        raise ValueError(f"on paper a drawing needs its size in pixels, not {said}")
    return float(said)


class _Reader(HTMLParser):
    """Builds the tree. Drawings are kept as they were written, for their names are told apart by capitals."""

    def __init__(self, styles: str) -> None:
        super().__init__(convert_charrefs=True)
        self.styles = styles
        self.title = ""
        self.root: dict[str, Any] = {"tag": "", "class": [], "of": []}
        self.open = [self.root]
        self.drawing: list[str] = []
        self.depth = 0
        self.tells = False  # within the title or the description of a whole drawing

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag == "svg" or self.depth:
            self._drawn(tag, dict(attrs))
            self.tells = self.depth == 1 and tag in ("title", "desc")
            self.depth += 1
            return
        node: dict[str, Any] = {"tag": tag, "class": (dict(attrs).get("class") or "").split(), "of": []}
        for name, kept in (("id", "id"), ("href", "href"), ("colspan", "span")):
            if value := dict(attrs).get(name):
                node[kept] = int(value) if kept == "span" else value
        self.open[-1]["of"].append(node)
        if tag not in VOID:
            self.open.append(node)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if self.depth:
            self.drawing.append(self.get_starttag_text() or "")
        else:
            self.handle_starttag(tag, attrs)

    def handle_endtag(self, tag: str) -> None:
        if self.depth:
            self.depth -= 1
            self.tells = False
            self.drawing.append(f"</{tag}>")
            if not self.depth:
                self.open[-1]["of"][-1]["svg"] = "".join(self.drawing)
                self.drawing = []
        elif self.open[-1]["tag"] != tag:
            raise ValueError(f"</{tag}> closes <{self.open[-1]['tag']}>")
        else:
            self.open.pop()

    def handle_data(self, data: str) -> None:
        if self.depth:
            self.drawing.append(escape(data))
            if self.tells:
                self.open[-1]["of"][-1]["alt"] += f"{data} "
        elif self.open[-1]["tag"] == "title":
            self.title += data
        else:
            self.open[-1]["of"].append(data)

    def _drawn(self, tag: str, attributes: dict[str, str | None]) -> None:
        written = self.get_starttag_text() or ""
        if self.depth:
            self.drawing.append(written)
            return
        width, height = (_pixels(attributes.get(side)) for side in ("width", "height"))
        classes = (attributes.get("class") or "").split()
        self.open[-1]["of"].append({"class": classes, "width": width, "height": height, "alt": ""})
        named = "" if "xmlns" in attributes else ' xmlns="http://www.w3.org/2000/svg"'
        self.drawing = [f"{written[:-1]}{named}>", f"<style>{self.styles}</style>"]


class _Spaces:
    """Leaves out what paper does not show, and white space where a browser shows none."""

    def __init__(self) -> None:
        self.is_open = False  # whether the line so far ends in something that a space may follow
        self.last: tuple[list[Node], int] | None = None  # where its last text is

    def settled(self, node: dict[str, Any]) -> dict[str, Any]:
        """The node with its texts as they are shown."""
        shown: list[Node] = []
        for child in node["of"]:
            if isinstance(child, str):
                self._text(child, shown)
            elif "svg" in child:
                shown.append(child)
                self.is_open, self.last = True, None
            elif child["tag"] not in UNSEEN_TAGS and not UNSEEN_CLASSES & set(child["class"]):
                is_apart = is_block(child, node["tag"])
                if is_apart:
                    self._end()
                shown.append({**self.settled(child), "block": is_apart})
                if is_apart:
                    self._end()
        return {**node, "of": [each for each in shown if each != ""]}

    def _text(self, text: str, into: list[Node]) -> None:
        words = SPACE.sub(" ", text)
        words = words if self.is_open else words.lstrip(" ")
        if words:
            into.append(words)
            self.is_open, self.last = not words.endswith(" "), (into, len(into) - 1)

    def _end(self) -> None:
        if self.last is not None:
            held, place = self.last
            held[place] = str(held[place]).rstrip(" ")
        self.is_open, self.last = False, None
