"""What a PDF shows: the text of its pages, the text within a part of one, and pictures of them."""

from __future__ import annotations

from dataclasses import dataclass

import pypdfium2
from PIL import Image

POINTS_A_MM = 72 / 25.4


@dataclass(frozen=True)
class Page:
    """One page: its size in mm, its text, and how to look at a part of it (mm from the upper left corner)."""

    width: float
    height: float
    text: str
    picture: Image.Image
    texts: pypdfium2.PdfTextPage

    def within(self, left: float, top: float, width: float, height: float) -> str:
        """The text in a rectangle."""
        lowest, highest = (self.height - top - height) * POINTS_A_MM, (self.height - top) * POINTS_A_MM
        return str(self.texts.get_text_bounded(left * POINTS_A_MM, lowest, (left + width) * POINTS_A_MM, highest))


def pages_of(pdf: bytes, *, dots_an_inch: float = 150) -> list[Page]:
    """Every page of a PDF, drawn so finely."""
    document = pypdfium2.PdfDocument(pdf)
    found = []
    for page in document:
        width, height = page.get_size()
        texts = page.get_textpage()
        picture = page.render(scale=dots_an_inch / 72).to_pil()
        size = (width / POINTS_A_MM, height / POINTS_A_MM)
        found.append(Page(*size, texts.get_text_bounded(), picture, texts))
    return found


def count_pages(pdf: bytes) -> int:
    """How many pages a PDF has."""
    return len(pypdfium2.PdfDocument(pdf))


def letters(text: str) -> str:
    """A text without what a line break puts in: spaces, breaks, and places where a word may break."""
    return "".join(letter for letter in text if not letter.isspace() and letter not in "\u200b\ufffe\u00ad")
