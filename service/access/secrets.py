"""Secrets with 256 random bits: shown once, stored as SHA-256. A fast hash is right for what cannot be guessed."""

from __future__ import annotations

import hashlib
import secrets

TOKEN_PREFIX = "ooid_"  # noqa: S105 - the public prefix that makes a leaked token easy to search for


def new_token() -> str:
    """A bearer token: the prefix and 43 characters."""
    return TOKEN_PREFIX + secrets.token_urlsafe(32)


def new_secret() -> str:
    """A secret for a link or a cookie, 43 characters."""
    return secrets.token_urlsafe(32)


def hashed(secret: str) -> bytes:
    """The 32 bytes under which a secret is stored and found."""
    return hashlib.sha256(secret.encode()).digest()
