"""Roles people hold on a site, and the rights (token scopes) each role brings."""

from __future__ import annotations

from enum import StrEnum


class Right(StrEnum):
    """What an operation needs. A token's scopes are rights, at most those of its role."""

    READ = "read"
    RECORD = "record"
    CORRECT = "correct"
    DESCRIBE = "describe"
    ADMINISTER = "administer"


class Role(StrEnum):
    """What somebody is on a site, in rising order of trust."""

    READER = "reader"
    KEEPER = "keeper"
    LIFE_SUPPORT = "life_support"
    SUPERVISOR = "supervisor"
    ADMINISTRATOR = "administrator"


_KEEPER = frozenset({Right.READ, Right.RECORD, Right.CORRECT})

RIGHTS: dict[Role, frozenset[Right]] = {
    Role.READER: frozenset({Right.READ}),
    Role.KEEPER: _KEEPER,
    Role.LIFE_SUPPORT: _KEEPER,
    Role.SUPERVISOR: _KEEPER | {Right.DESCRIBE},
    Role.ADMINISTRATOR: _KEEPER | {Right.DESCRIBE, Right.ADMINISTER},
}

CORRECTS_OTHERS = frozenset({Role.SUPERVISOR, Role.ADMINISTRATOR})
SIGNS_HOLD_POINTS = frozenset({Role.LIFE_SUPPORT, Role.SUPERVISOR, Role.ADMINISTRATOR})


def highest(*roles: Role | None) -> Role | None:
    """The role of most trust among these, or None when there is none."""
    held = [role for role in roles if role is not None]
    return max(held, key=list(Role).index, default=None)
