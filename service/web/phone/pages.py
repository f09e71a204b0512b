"""Pages of the form: rendered in the reader's language, with what the modules need to know as JSON beside them."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from functools import cache
from typing import Any
from zoneinfo import ZoneInfo

from fastapi import Request, Response
from fastapi.responses import HTMLResponse
from jinja2 import Environment

from service.access.caller import Caller
from service.reports.page import environment
from service.reports.shelf import Shelf
from service.reports.wording import instant
from service.web.pages import HERE
from service.web.phone.units import plain, symbol
from service.web.phone.words import COOKIE, MODULES_FOLDER, Words, every_language, spoken

MODULES = Shelf(MODULES_FOLDER)
TEMPLATES = MODULES_FOLDER.parent / "templates"


def language_of(request: Request) -> Words:
    """The language of whoever asks."""
    return spoken(request.cookies.get(COOKIE), request.headers.get("accept-language"))


def phone_page(
    request: Request, name: str, caller: Caller, *, place: Mapping[str, Any] | None = None, **content: Any
) -> Response:
    """A page of the form. Never kept by the browser itself: the service worker keeps it, and knows how old it is."""
    words = language_of(request)
    told = {
        "person": {"id": str(caller.id), "name": caller.name},
        "place": place,
        "language": words.language,
        "words": words.for_modules,
    }
    content |= {"told": told, "language": words.language, "languages": sorted(every_language()), "person": caller.name}
    text = _environment(words.language).get_template(name).render(**content)
    headers = {"Cache-Control": "no-store", "Content-Language": words.language, "Vary": "Accept-Language, Cookie"}
    return HTMLResponse(text, headers=headers)


def kind_in_words(code: str) -> str:
    """A kind of thing as words: `co2_cylinder` as `CO2 cylinder`."""
    return code.replace("_", " ").replace("co2", "CO2")


def begun(words: str) -> str:
    """Words as they begin a line: `alkalinity` as `Alkalinity`, `pH` as it is."""
    return words[:1].upper() + words[1:] if words[1:2].islower() else words


def clock(at: datetime, zone: ZoneInfo) -> str:
    """An instant by the site's clock, written alike in every language: `2026-11-28 07:40`."""
    return f"{at.astimezone(zone):%Y-%m-%d %H:%M}"


def field(at: datetime, zone: ZoneInfo) -> str:
    """An instant by the site's clock as a field for a day and time holds it: `2026-11-28T07:40`."""
    return f"{at.astimezone(zone):%Y-%m-%dT%H:%M}"


def exactly(at: datetime) -> str:
    """An instant to be sent back as it is, to the microsecond."""
    return at.astimezone(UTC).isoformat()


@cache
def _environment(language: str) -> Environment:
    words = every_language()[language]
    made = environment(TEMPLATES, HERE / "templates")
    made.add_extension("jinja2.ext.i18n")
    made.install_gettext_callables(words.gettext, words.ngettext, newstyle=True)  # type: ignore[attr-defined]
    made.globals["modules"] = MODULES
    made.filters.update(plain=plain, symbol=symbol, kind=kind_in_words, begun=begun)
    made.filters.update(at=instant, clock=clock, field=field, exactly=exactly)
    return made
