"""Adding people, changing their names and roles, and signing them in and out."""

from __future__ import annotations

from datetime import datetime
from uuid import UUID

from service.access import signing_in
from service.access.caller import Work
from service.access.models import Grant, Person
from service.access.rights import Right, Role
from service.errors import Conflict, Fault, NotAllowed
from service.http.conditional import require_version
from service.resources.people.persons import queries
from service.resources.people.persons.models import PersonPatch, PersonSent
from service.resources.people.sites import SiteNamed, existing
from service.resources.people.watched import GRANT, PERSON, enter, grant_body, person_body
from service.storage.types import new_id


def add(work: Work, sent: PersonSent, site_named: SiteNamed) -> Person:
    """The new person with a first role. Raises NotAllowed for a role beyond the caller's own."""
    site_id = existing(work, site_named, sent.site_id, pointer="/site_id")
    work.caller.require(Right.ADMINISTER, site_id)
    _refuse_namesake(work, sent.name)
    person = Person(id=new_id(), name=sent.name, created_at=work.at)
    work.session.add(person)
    enter(work, PERSON, person, "added")
    _set_role(work, person, site_id, sent.role)
    return person


def change(work: Work, person_id: UUID, patch: PersonPatch, if_match: str | None, site_named: SiteNamed) -> Person:
    """The person after a change of name or roles. Raises NotFound, NotAllowed, Stale or VersionRequired."""
    person = queries.found(work, person_id)
    require_version(if_match, person.version)
    before = person_body(person)
    if patch.name is not None and patch.name != person.name:
        _require_all_of(work, person)
        _refuse_namesake(work, patch.name)
        person.name = patch.name
    for index, given in enumerate(patch.roles or []):
        site_id = existing(work, site_named, given.site_id, pointer=f"/roles/{index}/site_id")
        work.caller.require(Right.ADMINISTER, site_id)
        _set_role(work, person, site_id, given.role)
    person.version += 1
    enter(work, PERSON, person, "changed", before=before)
    return person


def make_link(work: Work, person_id: UUID) -> tuple[str, datetime]:
    """The path of a new one-time sign-in link, and when it expires. Needs all that the person may do."""
    person = queries.found(work, person_id)
    _require_all_of(work, person)
    secret = signing_in.make_link(work.session, person.id, at=work.at)
    enter(work, PERSON, person, "link_made")
    return f"/sign-in/{secret}", work.at + signing_in.LINK_LASTS


def sign_out_everywhere(work: Work, person_id: UUID) -> None:
    """End every session and spend every open link of a person."""
    person = queries.found(work, person_id)
    _require_all_of(work, person)
    signing_in.end_sessions_of(work.session, person.id, at=work.at, actor=work.caller.actor)


def _set_role(work: Work, person: Person, site_id: UUID | None, role: Role | None) -> None:
    if role is not None:
        work.caller.require_covers(role, None, site_id)
    held = next((grant for grant in queries.grants_of(work.session, person.id) if grant.site_id == site_id), None)
    if held is None:
        if role is not None:
            given = Grant(id=new_id(), person_id=person.id, site_id=site_id, role=role)
            work.session.add(given)
            enter(work, GRANT, given, "given")
        return
    if held.role == role:
        return
    before = grant_body(held)
    held.role = role
    held.version += 1
    enter(work, GRANT, held, "taken_away" if role is None else "changed", before=before)


def _require_all_of(work: Work, person: Person) -> None:
    """Whoever signs somebody in, or out, or renames them, must hold all that this person may do, everywhere."""
    for grant in queries.grants_of(work.session, person.id):
        if grant.role is None:
            continue
        if not work.caller.has(Right.ADMINISTER, grant.site_id):
            raise NotAllowed("This person holds a role elsewhere too. Ask an administrator of the installation.")
        work.caller.require_covers(Role(grant.role), None, grant.site_id)


def _refuse_namesake(work: Work, name: str) -> None:
    if queries.named(work.session, work.caller.scope_of(Right.ADMINISTER), name):
        detail = (
            f"Somebody here is called '{name}' already. Choose a name that tells them apart, or change their roles."
        )
        raise Conflict(detail, (Fault("/name", detail, name),))
