"""/v1/people"""

# No postponed annotations here: the routes are made inside a function that brings what they need.

from typing import Annotated, Any

from fastapi import APIRouter, Path, Response

from service.access.rights import Right
from service.errors import Conflict, Malformed, NotFound, Stale, TooLarge, Unacceptable, VersionRequired
from service.http.caller import DoorOf
from service.http.conditional import IfMatch, tag_of
from service.http.paging import PageOf
from service.http.problems import may_refuse
from service.http.shapes import Id
from service.resources.people.persons import actions, queries
from service.resources.people.persons.models import PersonPatch, PersonRead, PersonSent, SignInLinkRead
from service.resources.people.sites import SiteNamed

PersonId = Annotated[Id, Path(description="The person's id.")]


def person_routes(site_named: SiteNamed) -> APIRouter:
    """The routes of people; `site_named` resolves a site within a scope."""
    router = APIRouter(prefix="/people", tags=["people"])

    @router.post(
        "",
        status_code=201,
        response_model=PersonRead,
        responses=may_refuse(Unacceptable, Conflict, NotFound, TooLarge),
    )
    def add_person(sent: PersonSent, door: DoorOf, response: Response) -> Any:
        """Add a person with a first role."""
        with door.write(Right.ADMINISTER) as work:
            person = actions.add(work, sent, site_named)
            response.headers["Location"] = f"/v1/people/{person.id}"
            response.headers["ETag"] = tag_of(person.version)
            return queries.shown(work.session, work.caller.scope_of(Right.ADMINISTER), [person])[0]

    @router.get("", response_model=list[PersonRead], responses=may_refuse(Unacceptable, Malformed))
    def list_people(door: DoorOf, page: PageOf) -> Any:
        """The people of the sites you administer."""
        with door.read(Right.ADMINISTER) as work:
            scope = work.caller.scope_of(Right.ADMINISTER)
            people = queries.visible(work.session, scope, after=page.after_id(), limit=page.limit + 1)
            return queries.shown(work.session, scope, page.close(people, lambda person: [str(person.id)]))

    @router.get("/{person_id}", response_model=PersonRead, responses=may_refuse(Unacceptable, NotFound))
    def read_person(person_id: PersonId, door: DoorOf, response: Response) -> Any:
        """One person."""
        with door.read(Right.ADMINISTER) as work:
            person = queries.found(work, person_id)
            response.headers["ETag"] = tag_of(person.version)
            return queries.shown(work.session, work.caller.scope_of(Right.ADMINISTER), [person])[0]

    @router.patch(
        "/{person_id}",
        response_model=PersonRead,
        responses=may_refuse(Unacceptable, Malformed, NotFound, Conflict, Stale, VersionRequired, TooLarge),
    )
    def change_person(
        person_id: PersonId, patch: PersonPatch, door: DoorOf, response: Response, if_match: IfMatch = None
    ) -> Any:
        """Change a person's name or roles; a role of null is taken away."""
        with door.write(Right.ADMINISTER) as work:
            person = actions.change(work, person_id, patch, if_match, site_named)
            response.headers["ETag"] = tag_of(person.version)
            return queries.shown(work.session, work.caller.scope_of(Right.ADMINISTER), [person])[0]

    @router.post(
        "/{person_id}/sign-in-links",
        status_code=201,
        response_model=SignInLinkRead,
        responses=may_refuse(Unacceptable, NotFound),
    )
    def make_sign_in_link(person_id: PersonId, door: DoorOf) -> Any:
        """Make a link that signs this person in, once, within the hour."""
        with door.write(Right.ADMINISTER) as work:
            path, expires_at = actions.make_link(work, person_id)
            return {"path": path, "expires_at": expires_at}

    @router.post("/{person_id}/sign-out", status_code=204, responses=may_refuse(Unacceptable, NotFound))
    def sign_person_out(person_id: PersonId, door: DoorOf) -> None:
        """End every session and unused sign-in link of a person, as after a lost phone."""
        with door.write(Right.ADMINISTER) as work:
            actions.sign_out_everywhere(work, person_id)

    return router
