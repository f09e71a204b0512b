"""A page as a tree of elements: well-formed as HTML, with what a test asks of it."""

from __future__ import annotations

from dataclasses import dataclass, field
from html.parser import HTMLParser

VOID = {"meta", "link", "br", "input", "img", "hr"}


@dataclass
class Element:
    """A tag with its attributes, text and children."""

    tag: str
    attributes: dict[str, str]
    content: list[Element | str] = field(default_factory=list)

    @property
    def children(self) -> list[Element]:
        """The elements directly within."""
        return [each for each in self.content if isinstance(each, Element)]

    def every(self, tag: str | None = None, **attributes: str) -> list[Element]:
        """All elements below with this tag and these attributes (`class_` finds one class of several)."""
        found = []
        for child in self.children:
            classes = child.attributes.get("class", "").split()
            fits = tag in (None, child.tag) and all(
                value in classes if name == "class_" else child.attributes.get(name) == value
                for name, value in attributes.items()
            )
            found += [child] * fits + child.every(tag, **attributes)
        return found

    def one(self, tag: str | None = None, **attributes: str) -> Element:
        """The only such element."""
        (element,) = self.every(tag, **attributes)
        return element

    @property
    def text(self) -> str:
        """All text within, white space made single."""
        return " ".join(" ".join(self._texts()).split())

    def _texts(self) -> list[str]:
        return [text for each in self.content for text in ([each] if isinstance(each, str) else each._texts())]


class _Builder(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.root = Element("", {})
        self.open = [self.root]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        names = [name for name, _ in attrs]
        assert len(set(names)) == len(names), f"<{tag}> says an attribute twice: {names}"
        element = Element(tag, {name: value or "" for name, value in attrs})
        self.open[-1].content.append(element)
        if tag not in VOID:
            self.open.append(element)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        assert self.open[-1].tag == tag, f"</{tag}> closes <{self.open[-1].tag}>"
        self.open.pop()

    def handle_data(self, data: str) -> None:
        self.open[-1].content.append(data)


def parsed(html: str) -> Element:
    """The tree of a page. Raises AssertionError when a tag is closed that is not open, or an id comes twice."""
    builder = _Builder()
    builder.feed(html)
    builder.close()
    assert [element.tag for element in builder.open] == [""], "not every element is closed"
    ids = [element.attributes["id"] for element in builder.root.every() if "id" in element.attributes]
    assert len(set(ids)) == len(ids), f"ids twice: {sorted(each for each in ids if ids.count(each) > 1)[:5]}"
    return builder.root


def assert_harmless(page: Element) -> None:
    """No inline style, no inline script, no handler attribute, nothing from elsewhere: the service's CSP forbids it."""
    for element in page.every():
        assert not [name for name in element.attributes if name.startswith("on") or name == "style"], element
        assert element.tag != "style"
        assert element.tag != "script" or (element.attributes.get("src", "").startswith("/") and not element.content)
        for name in ("src", "href"):
            address = element.attributes.get(name, "/")
            is_link_out = element.tag == "a" and address.startswith("https://doi.org/")
            assert address.startswith(("/", "#")) or is_link_out, (element.tag, address)
