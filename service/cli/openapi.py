"""`ooid openapi`"""

from __future__ import annotations

import json
from importlib.resources import files
from pathlib import Path
from typing import Annotated

import typer

from service.cli.refusal import Refusal
from service.main import create_app
from service.settings import Settings
from service.storage.database import Database


def openapi(
    check: Annotated[bool, typer.Option("--check", help="Only compare; fail when the file is out of date.")] = False,
    file: Annotated[
        Path | None, typer.Option(help="The file; openapi/openapi.json of the checkout by default.")
    ] = None,
) -> None:
    """Write the API's description (OpenAPI 3.1), or check that the committed one is current."""
    path = file or _in_checkout()
    current = document()
    if check:
        if not path.is_file() or path.read_bytes() != current.encode():
            raise Refusal(f"{path} is not what the service describes. Run `ooid openapi` and look at the difference.")
        print(f"{path} is current.")
        return
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(current.encode())
    print(path)


def document() -> str:
    """The API's description as committed: readable, ending with a newline."""
    never_opened = Database("sqlite:///never-opened.db")
    app = create_app(Settings(), database=never_opened)
    return json.dumps(app.openapi(), indent=2, ensure_ascii=False) + "\n"


def _in_checkout() -> Path:
    root = Path(str(files("service"))).parent
    if not (root / "pyproject.toml").is_file():
        raise Refusal("This is not a checkout of the project. Say where to write with --file.")
    return root / "openapi" / "openapi.json"
