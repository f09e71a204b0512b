"""Plain pages that need no scripts: signing in, and what a problem means."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response

from service.http.forms import Form, html

STYLE_PATH = "/plain.css"
STYLE = """\
:root { color-scheme: light dark; font: 1.125rem/1.5 system-ui, sans-serif; }
body { max-width: 34rem; margin: 12vh auto 0; padding: 0 1rem; }
h1 { font-size: 1.5rem; }
h2 { font-size: 1.2rem; margin-top: 2rem; }
button, input, select { font: inherit; min-height: 48px; box-sizing: border-box; }
button { padding: 0 1.5rem; cursor: pointer; }
input, select { display: block; width: 100%; padding: 0 .5rem; margin-bottom: 1rem; }
a, a:visited { color: inherit; }
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
