"""`ooid serve`"""

from __future__ import annotations

from typing import Annotated

import typer

from service.cli.lock import sole_use
from service.cli.opening import opened
from service.cli.serving import address_of, listening, require_safe
from service.cli.serving import serve as serve_on
from service.main import create_app
from service.settings import Settings


def serve(
    host: Annotated[str | None, typer.Option(help="The address to listen on; OOID_HOST, else 127.0.0.1.")] = None,
    port: Annotated[int | None, typer.Option(min=0, max=65535, help="The port; OOID_PORT, else 8017.")] = None,
    tls_proxy: Annotated[
        str | None,
        typer.Option(
            help="Address of the proxy that speaks TLS in front; its X-Forwarded-For and -Proto are believed."
        ),
    ] = None,
    insecure: Annotated[bool, typer.Option("--insecure", help="Serve beyond this machine without TLS.")] = False,
) -> None:
    """Serve. The database must be at the schema of this version: run `ooid migrate` first."""
    given = {"host": host, "port": port, "insecure": insecure or None}
    settings = Settings(**{name: value for name, value in given.items() if value is not None})  # type: ignore[arg-type]
    require_safe(settings, behind_proxy=tls_proxy is not None)
    with opened(settings) as database, sole_use(settings.url):
        app = create_app(settings, database=database)
        listener = listening(settings.host, settings.port)
        print(f"Ooid serves on {address_of(listener)}", flush=True)
        serve_on(app, listener, trusted_proxy=tls_proxy)
