"""Plain pages that need no scripts: signing in, and what a problem means."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response

from service.http.forms import Form, html

STYLE_PATH = "/plain.css"
STYLE = """\
:root { color-scheme: light dark; --paper: #f5f8f2; --ink: #1a2521; --rule: #7d9185; --link: #0f5a63; }
@media (prefers-color-scheme: dark) { :root { --paper: #131917; --ink: #e2e8e2; --rule: #6d8076; --link: #8fcbd3; } }
html { background: var(--paper); color: var(--ink); font: 1.0625rem/1.5 "Segoe UI", Roboto, Arial, sans-serif; }
body { max-width: 34rem; margin: 6vh auto 3rem; padding: 0 1rem; }
main { border-top: 3px double var(--rule); }
h1, h2 { font-family: Palatino, "Liberation Serif", Georgia, serif; font-weight: 500; line-height: 1.25; }
h1 { font-size: 1.7rem; }
h2 { font-size: 1.25rem; margin-top: 2rem; }
button, input, select { font: inherit; min-height: 48px; box-sizing: border-box; color: inherit;
  background: none; border: 1px solid var(--rule); border-radius: 0; }
select option { background: var(--paper); }
input[readonly] { border-style: dotted; }
button { padding: 0 1.5rem; cursor: pointer; }
:focus-visible { outline: 3px solid var(--link); outline-offset: 2px; }
input, select { display: block; width: 100%; padding: 0 .5rem; margin-bottom: 1rem; }
a, a:visited { color: var(--link); }
form { margin: 1rem 0; }
main > p > a { display: inline-block; padding: .5rem 0; }
"""

router = APIRouter(tags=["pages"])


@router.get(
    STYLE_PATH,
    response_class=Response,
    responses={200: {"description": "The style sheet of plain pages", "content": {"text/css": {}}}},
)
async def read_plain_style() -> Response:
    """The style sheet of plain pages."""
    return Response(STYLE, media_type="text/css", headers={"Cache-Control": "max-age=86400"})


def page(
    title: str,
    paragraphs: list[str],
    *,
    button: tuple[str, str] | None = None,
    forms: Sequence[Form] = (),
    links: Sequence[tuple[str, str]] = (),
    status: int = 200,
) -> Response:
    """A page of plain text; `button` is the words on a button and the path it posts to, `links` are words and paths.

    Everything is escaped.
    """
    text = "\n".join(f"<p>{escape(paragraph)}</p>" for paragraph in paragraphs)
    form = ""
    if button is not None:
        words, path = button
        form = f'<form method="post" action="{escape(path)}"><button type="submit">{escape(words)}</button></form>'
    form += "\n".join(html(each) for each in forms)
    form += "".join(f'<p><a href="{escape(path)}">{escape(words)}</a></p>' for words, path in links)
    return HTMLResponse(
        f"""<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="robots" content="noindex">
<title>{escape(title)}</title>
<link rel="stylesheet" href="{STYLE_PATH}">
</head>
<body>
<main>
<h1>{escape(title)}</h1>
{text}
{form}
</main>
</body>
</html>
""",
        status_code=status,
        headers={"Cache-Control": "no-store"},
    )


def wants_page(accept: str | None) -> bool:
    """Whether whoever asks is a browser at a page, not a script."""
    return "text/html" in (accept or "").lower()
