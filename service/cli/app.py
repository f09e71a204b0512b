"""`ooid`: the command and its subcommands."""

from __future__ import annotations

import sys
from collections.abc import Sequence

import typer

from service import __version__
from service.cli import person, token
from service.cli.check import check
from service.cli.demo import demo
from service.cli.export import export
from service.cli.import_ import import_
from service.cli.migrate import migrate
from service.cli.openapi import openapi
from service.cli.refusal import Refusal, expected_faults
from service.cli.serve import serve

app = typer.Typer(
    name="ooid",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)
app.command()(demo)
app.command()(serve)
app.command()(migrate)
app.command()(openapi)
app.command()(check)
app.command("import")(import_)
app.command()(export)
app.add_typer(token.app, name="token")
app.add_typer(person.app, name="person")


def _show_version(wanted: bool) -> None:
    if wanted:
        print(__version__)
        raise typer.Exit


@app.callback()
def ooid(
    version: bool = typer.Option(False, "--version", callback=_show_version, is_eager=True, help="Print the version."),
) -> None:
    """Husbandry records and computations for people who keep many stony-coral systems."""


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line (or these arguments). Ends the process; an expected fault is one line and exit 1."""
    try:
        with expected_faults():
            app(args=None if arguments is None else list(arguments))
    except Refusal as refusal:
        print(f"ooid: {refusal}", file=sys.stderr)
        sys.exit(1)
