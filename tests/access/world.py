"""A service with two sites, and everybody who may knock: the ground on which authorisation is tried."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any
from uuid import UUID, uuid4

from support.house import House

from service.access.rights import RIGHTS, Right, Role
from service.storage import trail

Content = Callable[["World"], dict[str, Any]]


@dataclass(frozen=True)
class Caller:
    """One kind of caller: a role (None: not known at all), held at home, elsewhere, or everywhere."""

    name: str
    role: Role | None = None
    place: str = "home"

    def holds(self, right: Right | None) -> bool:
        """Whether the role brings a right, wherever it is held."""
        return self.role is not None and (right is None or right in RIGHTS[self.role])


CALLERS = (
    Caller("anonymous"),
    Caller("revoked"),
    Caller("expired"),
    *(Caller(role.value, role) for role in Role),
    Caller("keeper of another site", Role.KEEPER, "elsewhere"),
    Caller("administrator of another site", Role.ADMINISTRATOR, "elsewhere"),
    Caller("administrator of the installation", Role.ADMINISTRATOR, "everywhere"),
)


@dataclass(frozen=True)
class Ask:
    """A valid request but for its method and path template, which the API's own description gives."""

    path: dict[str, str] = field(default_factory=dict)
    json: Any = None
    content: bytes | None = None
    query: dict[str, str] = field(default_factory=dict)
    headers: dict[str, str] = field(default_factory=dict)


class World:
    """A home site with a system on it, a site elsewhere, and a token for every caller."""

    def __init__(self, house: House) -> None:
        self.house = house
        self._numbers = itertools.count(1)
        self.hours = itertools.count(1)
        self._read: dict[str, Any] = {}
        self.site = self.house.a_site(tag="home-of-corals", name="The Reefhouse")
        self.elsewhere = self.house.a_site(tag="elsewhere", name="The other house")
        self.system = self.house.a_system(self.site, name="Home loop")
        self.tokens = {caller.name: self._token(caller) for caller in CALLERS}
        self.sessions = {caller.name: self._session(caller) for caller in CALLERS}

    def _token(self, caller: Caller) -> str | None:
        if caller.name == "anonymous":
            return None
        if caller.name == "expired":
            return self.house.token("administrator", expires=self.house.now - timedelta(seconds=1))
        if caller.name == "revoked":
            return self._revoked()
        return self.house.token(str(caller.role), site=self._site_of(caller))

    def _session(self, caller: Caller) -> str | None:
        """A browser of a person with the caller's role; whoever has none comes with a token, if any."""
        if caller.role is None:
            return self.tokens[caller.name]
        return self.house.person(str(caller.role), site=self._site_of(caller))

    def _site_of(self, caller: Caller) -> str | None:
        sites: dict[str, str | None] = {"home": self.site["id"], "elsewhere": self.elsewhere["id"], "everywhere": None}
        return sites[caller.place]

    def _revoked(self) -> str:
        made = self.house.call("POST", "/v1/tokens", {"name": "revoked", "role": "administrator"})
        self.house.call("POST", f"/v1/tokens/{made['id']}/revocation")
        secret: str = made["secret"]
        return secret

    def tag(self) -> str:
        """A tag that nothing has."""
        return f"new-{next(self._numbers)}"

    def at(self, **ago: float) -> str:
        """An instant so long ago."""
        return (self.house.now - timedelta(**ago)).isoformat()

    def new(self, path: str, content: Content) -> Any:
        """Something new at a path of the API, described by the administrator of the installation."""
        return self.house.call("POST", f"/v1/{path}", content(self))

    def one(self, path: str, content: Content) -> Any:
        """Something at a path of the API to read, made once."""
        if path not in self._read:
            self._read[path] = self.new(path, content)
        return self._read[path]

    def record(self, path: str, content: Content, by: Caller) -> Any:
        """A new record, of the caller's own when they may record at home, so that they may correct it."""
        own = by.place == "home" and by.holds(Right.RECORD)
        token = self.tokens[by.name] if own else ""
        return self.house.call("PUT", f"/v1/{path}/{uuid4()}", content(self), token=token)

    def piece(self, kind: str, **fields: Any) -> Any:
        """New equipment at home."""
        content = {"site_id": self.site["id"], "tag": self.tag(), "kind": kind, **fields}
        return self.new("equipment", lambda _world: content)

    def as_read(self, path: str, row: Any) -> dict[str, str]:
        """The header that changes the version which stands now."""
        version = self.house.call("GET", f"/v1/{path}/{row['id']}")["version"]
        return {"If-Match": f'"{version}"'}

    def ask(self, caller: Caller, method: str, template: str, ask: Ask, *, by_person: bool = False) -> Any:
        """The response to a caller's request, by token or as a person who is signed in."""
        credential = (self.sessions if by_person else self.tokens)[caller.name]
        options: dict[str, Any] = {"headers": ask.headers, "params": ask.query}
        if ask.json is not None:
            options["json"] = ask.json
        if ask.content is not None:
            options["content"] = ask.content
        return self.house.send(method, template.format(**ask.path), token=credential, **options)

    def heads(self) -> tuple[Any, ...]:
        """Where the home site's chain and the installation's stand: they move with every change."""
        with self.house.database.read() as session:
            chains = (UUID(self.site["id"]), trail.INSTALLATION)
            return tuple((head.seq, head.hash) if (head := trail.head(session, chain)) else None for chain in chains)

    def home_marks(self) -> tuple[str, ...]:
        """What an answer to somebody of another site must never contain."""
        return self.site["id"], self.site["tag"], self.system["id"], self.system["tag"]
