"""`ooid person`"""

from __future__ import annotations

from typing import Annotated
from uuid import UUID

import typer

from service.access.caller import Work
from service.access.models import Person
from service.access.password_sign_in import put
from service.access.passwords import Hasher, require_good_password
from service.access.rights import Role
from service.cli.opening import EVERY_SITE, reading, site_id_of, writing
from service.cli.refusal import Refusal
from service.http.shapes import UUID_TEXT
from service.resources.people.persons import actions, queries
from service.resources.people.persons.models import PersonSent
from service.resources.places.sites.queries import id_named, visible
from service.settings import Settings

app = typer.Typer(help="Add and list people, and make links that sign them in.", no_args_is_help=True)


@app.command("add")
def add(
    name: Annotated[str, typer.Option(help="The name that records show.")],
    role: Annotated[Role, typer.Option(help="What they are there.")],
    site: Annotated[str | None, typer.Option(help="A site's tag or id; without it, the whole installation.")] = None,
    password: Annotated[bool, typer.Option("--password", help="Ask for a first password, twice.")] = False,
) -> None:
    """Add a person. Prints the path of a link that signs them in once, within the hour."""
    hashed = _asked(name) if password else None
    with writing() as work:
        sent = PersonSent.model_validate({"name": name, "role": role, "site_id": site_id_of(work, site)})
        person = actions.add(work, sent, id_named)
        if hashed is not None:
            put(work.session, person.id, hashed, at=work.at, actor=work.caller.actor)
        path, _expires = actions.make_link(work, person.id)
    print(path)


@app.command("password")
def password(person: Annotated[str, typer.Argument(help="The person's id or name.")]) -> None:
    """Set a person's password, asked for twice. Every session and unused link of theirs ends."""
    with reading() as work:
        person_id = _id_of(work, person)
        name = work.session.get_one(Person, person_id).name
    hashed = _asked(name)
    with writing() as work:
        put(work.session, person_id, hashed, at=work.at, actor=work.caller.actor)
        actions.sign_out_everywhere(work, person_id)


@app.command("link")
def link(person: Annotated[str, typer.Argument(help="The person's id or name.")]) -> None:
    """Make a new link that signs a person in once, within the hour. Prints its path."""
    with writing() as work:
        path, _expires = actions.make_link(work, _id_of(work, person))
    print(path)


@app.command("sign-out")
def sign_out(person: Annotated[str, typer.Argument(help="The person's id or name.")]) -> None:
    """End every session and unused link of a person, as after a lost phone."""
    with writing() as work:
        actions.sign_out_everywhere(work, _id_of(work, person))


@app.command("list")
def list_all() -> None:
    """List people, one a line: id, name, and what they are where."""
    with reading() as work:
        tags = {site.id: site.tag for site in visible(work.session, EVERY_SITE)}
        for person in queries.shown(work.session, EVERY_SITE, queries.visible(work.session, EVERY_SITE)):
            roles = [
                f"{role['role']} on {'every site' if role['site_id'] is None else tags[role['site_id']]}"
                for role in person["roles"]
            ]
            print(person["id"], person["name"], ", ".join(roles) or "no role", sep="\t")


def _asked(name: str) -> str:
    """The hash of a password typed at a prompt: as an argument it would stand in the shell's history."""
    typed: str = typer.prompt("Password", hide_input=True, confirmation_prompt=True, err=True)
    require_good_password(typed, name=name, pointer="/password")
    return Hasher(Settings()).hash(typed)


def _id_of(work: Work, text: str) -> UUID:
    if UUID_TEXT.match(text):
        return UUID(text)
    named = queries.named(work.session, EVERY_SITE, text)
    if len(named) != 1:
        how_many = "Nobody" if not named else "More than one person"
        raise Refusal(f"{how_many} is called '{text}'. Take the id from `ooid person list`.")
    return named[0].id
