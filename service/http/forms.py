"""Plain HTML forms, made and read without scripts: names and values are text, each at most once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from typing import Annotated, Any
from urllib.parse import parse_qsl

from fastapi import Depends, Request

from service.errors import Fault, Malformed, Unacceptable

MEDIA_TYPE = "application/x-www-form-urlencoded"
LONGEST_BYTES = 10_000
MOST_FIELDS = 10


@dataclass(frozen=True)
class Input:
    """One thing to fill in. `complete` tells password programs what it is; `choices` makes it a list (value, words)."""

    name: str
    label: str
    kind: str = "text"
    complete: str = "off"
    is_digits: bool = False
    choices: Sequence[tuple[str, str]] | None = None
    value: str = ""


@dataclass(frozen=True)
class Form:
    """What is filled in, the words on the button, and the path it is posted to."""

    path: str
    button: str
    inputs: Sequence[Input] = ()
    heading: str | None = None
    username: str | None = None  # whose secrets these are, hidden: password programs ask for it


def html(form: Form) -> str:
    """The form as HTML, everything escaped, every input with its label."""
    prefix = form.path.strip("/").replace("/", "-")
    heading = "" if form.heading is None else f"<h2>{escape(form.heading)}</h2>\n"
    inputs = "\n".join(_input(each, f"{prefix}-{each.name}") for each in form.inputs)
    if form.username is not None:
        whose = f'name="username" aria-label="Name" autocomplete="username" value="{escape(form.username)}"'
        inputs = f'<input type="text" {whose} hidden>{inputs}'
    return (
        f'{heading}<form method="post" action="{escape(form.path)}">{inputs}'
        f'<button type="submit">{escape(form.button)}</button></form>'
    )


def _input(each: Input, element: str) -> str:
    label = f'<label for="{element}">{escape(each.label)}</label>'
    if each.choices is not None:
        options = "".join(f'<option value="{escape(value)}">{escape(text)}</option>' for value, text in each.choices)
        return f'{label}<select id="{element}" name="{each.name}" required>{options}</select>'
    digits = ' inputmode="numeric"' if each.is_digits else ""
    return (
        f'{label}<input id="{element}" name="{each.name}" type="{each.kind}" autocomplete="{each.complete}"'
        f'{digits} autocapitalize="none" spellcheck="false" value="{escape(each.value)}">'
    )


async def _posted(request: Request) -> dict[str, str]:
    if request.headers.get("content-type", "").partition(";")[0].strip().lower() != MEDIA_TYPE:
        raise Malformed(f"This path takes what a form sends ({MEDIA_TYPE}).")
    body = await request.body()
    try:
        if len(body) > LONGEST_BYTES:
            raise ValueError("too long")
        pairs = parse_qsl(
            body.decode("ascii"), keep_blank_values=True, errors="strict", max_num_fields=MOST_FIELDS, encoding="utf-8"
        )
    except ValueError as error:
        raise Malformed("What the form sent cannot be read, or is far too long. Load the page again.") from error
    if len(dict(pairs)) != len(pairs):
        raise Malformed("A field of the form came twice. Load the page again.")
    return dict(pairs)


Posted = Annotated[dict[str, str], Depends(_posted)]


def field(posted: dict[str, str], name: str, *, longest: int = 256) -> str:
    """A field of a form. Raises Unacceptable, never echoing what came, when it is missing, too long or unprintable."""
    text = posted.get(name, "")
    if not text or len(text) > longest or any(ord(each) < 32 for each in text):
        detail = f"This is required: text of at most {longest} characters."
        raise Unacceptable(detail, (Fault(f"/{name}", detail),))
    return text


def described(*names: str) -> dict[str, Any]:
    """The `openapi_extra` of a route that takes a form of these fields."""
    schema = {
        "type": "object",
        "properties": {name: {"type": "string", "minLength": 1, "maxLength": 256} for name in names},
        "required": list(names),
    }
    return {"requestBody": {"required": True, "content": {MEDIA_TYPE: {"schema": schema}}}}
