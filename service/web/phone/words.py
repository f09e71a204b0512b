"""The words of the form in the reader's language: gettext catalogues (`languages/*.po`), read once at start.

The English words are the keys. The modules get theirs from the page, as JSON (`for_modules`).
"""

from __future__ import annotations

import ast
import gettext
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

LANGUAGES_FOLDER = Path(__file__).parent / "languages"
MODULES_FOLDER = Path(__file__).parent / "modules"
ENGLISH = "en"
COOKIE = "ooid_language"
IN_MODULES = re.compile(r"""\bt\(\s*("(?:[^"\\]|\\.)*")""")
LINE = re.compile(r'^(msgid|msgstr)?\s*(".*")$')


class Words(gettext.NullTranslations):
    """One language: what English words are in it. A word that is missing stays English."""

    def __init__(self, language: str, known: dict[str, str]) -> None:
        super().__init__()
        self.language = language
        self.known = known

    def gettext(self, message: str) -> str:
        """The words for these English ones."""
        return self.known.get(message) or message

    @property
    def for_modules(self) -> dict[str, str]:
        """What the modules say, by the English words."""
        return {message: self.known[message] for message in said_by_modules() if self.known.get(message)}


@cache
def every_language() -> dict[str, Words]:
    """Every language there is, by its code."""
    found = {ENGLISH: Words(ENGLISH, {})}
    for path in sorted(LANGUAGES_FOLDER.glob("*.po")):
        language = path.name.partition(".")[0]  # `de.po`, and beside it `de.procedures.po`
        known = found.setdefault(language, Words(language, {})).known
        known.update(messages(path.read_text(encoding="utf-8")))
    return found


def spoken(chosen: str | None, accepted: str | None) -> Words:
    """The language chosen on this phone, else the first that its browser asks for (RFC 9110, 12.5.4), else English."""
    languages = every_language()
    wanted = [chosen or "", *(part.partition(";")[0].strip() for part in (accepted or "").split(","))]
    for tag in wanted:
        code = tag.lower().partition("-")[0]
        if code in languages:
            return languages[code]
    return languages[ENGLISH]


def messages(text: str) -> Iterator[tuple[str, str]]:
    """The entries of a catalogue in gettext's PO format (msgid, msgstr; strings in quotes, one or several lines)."""
    parts: dict[str, str] = {}
    open_part = ""
    for line in [*text.splitlines(), ""]:
        found = LINE.match(line.strip())
        if found is None:
            if parts.get("msgid"):
                yield parts["msgid"], parts.get("msgstr", "")
            parts, open_part = {}, ""
            continue
        open_part = found[1] or open_part
        parts[open_part] = parts.get(open_part, "") + ast.literal_eval(found[2])


@cache
def said_by_modules() -> list[str]:
    """Every text that a module may say: what stands in a call of `t("...")`."""
    found: set[str] = set()
    for path in sorted(MODULES_FOLDER.glob("*.js")):
        found.update(ast.literal_eval(text) for text in IN_MODULES.findall(path.read_text(encoding="utf-8")))
    return sorted(found)
