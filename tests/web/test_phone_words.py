"""The form's words: every text it can show has its German, the catalogue is what gettext takes, modules get theirs."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest
from support.house import House
from web.visitor import look, signed_in

from service.resources.catalogue.methods.repeatability import COMMON
from service.resources.records.procedures.models import DURATION
from service.resources.records.procedures.queries import procedures
from service.science.quantities import QUANTITIES
from service.web.phone.fields import OWN_SETTINGS
from service.web.phone.handing_over import OF_A_SYSTEM
from service.web.phone.pages import TEMPLATES, kind_in_words
from service.web.phone.words import every_language, messages, said_by_modules, spoken

IN_TEMPLATES = re.compile(r'\b_\(("(?:[^"\\]|\\.)*")\)')
KINDS_SHOWN = {kind for quantity in QUANTITIES.values() for kind in quantity.subjects}


def everything_said() -> set[str]:
    """Every English text that the form may show."""
    said = set(said_by_modules())
    for path in Path(TEMPLATES).glob("*.html"):
        said |= {ast.literal_eval(text) for text in IN_TEMPLATES.findall(path.read_text(encoding="utf-8"))}
    for quantity in QUANTITIES.values():
        said.add(quantity.title)
        for condition in quantity.conditions:
            said |= {condition.title, *condition.choices}
    said |= {method.replace("_", " ") for _, method in COMMON}
    for procedure in procedures().values():
        said |= {procedure.title, procedure.purpose, *procedure.cautions, DURATION}
        for step in procedure.steps:
            said |= {text for text in (step.title, step.do, step.why, step.caution, step.note_says) if text is not None}
    said |= {title for settings in (OF_A_SYSTEM, *OWN_SETTINGS.values()) for title in settings.values()}
    return said | {kind_in_words(kind) for kind in KINDS_SHOWN}


@pytest.mark.parametrize("language", sorted(set(every_language()) - {"en"}))
def test_every_text_is_there_in_the_language(language: str) -> None:
    known = every_language()[language].known
    assert sorted(everything_said() - set(known)) == []
    assert [message for message, words in known.items() if not words] == []


@pytest.mark.parametrize("language", sorted(set(every_language()) - {"en"}))
def test_a_translation_keeps_the_places_where_values_go(language: str) -> None:
    for message, words in every_language()[language].known.items():
        assert sorted(re.findall(r"\{\w+\}", message)) == sorted(re.findall(r"\{\w+\}", words)), message


def test_the_catalogue_is_read_as_its_format_says() -> None:
    """GNU gettext manual, section "The Format of PO Files": comments, several lines joined, escapes."""
    lines = [
        "# a remark",
        'msgid ""',
        'msgstr ""',
        r'"Language: de\n"',
        "",
        "#: somewhere",
        'msgid "one "',
        '"two"',
        r'msgstr "ei\"ns"',
        "",
        'msgid "x"',
        'msgstr ""',
    ]
    text = "\n".join(lines)
    assert list(messages(text)) == [("one two", 'ei"ns'), ("x", "")]


@pytest.mark.parametrize(
    ("chosen", "accepted", "expected"),
    [
        (None, None, "en"),
        (None, "de-AT,de;q=0.9,en;q=0.8", "de"),
        (None, "fr-FR,fr;q=0.9,de;q=0.5", "de"),
        ("en", "de-DE", "en"),
        ("xx", "de-DE", "de"),
    ],
)
def test_the_language_is_the_chosen_one_else_what_the_browser_asks_for(
    chosen: str | None, accepted: str | None, expected: str
) -> None:
    assert spoken(chosen, accepted).language == expected


def test_a_page_comes_in_the_language_asked_for(house: House) -> None:
    system = house.a_system(name="Lagoon")
    cookie = signed_in(house)
    german = look(house, f"/t/{system['label_code']}", cookie, Accept_Language="de")
    assert german.headers["content-language"] == "de"
    assert '<html lang="de">' in german.text
    assert "Alkalinität" in german.text
    assert ">Speichern</button>" in german.text
    english = look(house, f"/t/{system['label_code']}", cookie)
    assert '<html lang="en">' in english.text
    assert "Alkalinität" not in english.text
