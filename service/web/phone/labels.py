"""Labels for a site's places: a QR symbol (ISO/IEC 18004) of the address that opens the place's form, and its name."""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from service.web.phone.label_sheets import Sheet
from service.web.phone.pages import kind_in_words
from service.web.phone.places import Place
from service.web.phone.words import Words

CORRECTION = "M"  # 15 % of the symbol may be wet, scratched or torn
QUIET_MODULES = 4  # the standard's empty margin


@dataclass(frozen=True)
class Label:
    """One label: what it is on, the address in its symbol, and the symbol (SVG)."""

    place: Place
    address: str
    symbol: Markup


def labels(places: Iterable[Place], base: str) -> list[Label]:
    """A label for each place, its address beginning with `base` (scheme, host and port; no slash at the end)."""
    return [Label(place, base + place.path, symbol_of(base + place.path)) for place in places]


def symbol_of(address: str) -> Markup:
    """The QR symbol of an address as an SVG that takes the size it is given. The drawing holds no text of anybody."""
    import segno  # imported where used: printing labels is rare

    made = segno.make(address, error=CORRECTION, micro=False)
    drawn = io.BytesIO()
    made.save(
        drawn, kind="svg", xmldecl=False, nl=False, border=QUIET_MODULES, omitsize=True, svgclass="qr", lineclass=None
    )
    return Markup(drawn.getvalue().decode())  # noqa: S704 numbers only


def for_print(made: Sequence[Label], sheet: Sheet, *, title: str, skip: int, words: Words) -> dict[str, Any]:
    """Labels as plain data for the template `labels.typ`, the first `skip` places of the first page left empty."""
    say = words.gettext
    return {
        "title": title,
        "language": words.language,
        "sheet": sheet.for_print(),
        "skip": skip,
        "labels": [
            {
                "symbol": str(label.symbol),
                "address": label.address,
                "name": label.place.name,
                "kind": f"{say(kind_in_words(label.place.kind))}, {label.place.tag}",
                "code": label.place.code,
            }
            for label in made
        ],
    }
