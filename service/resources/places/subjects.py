"""New subjects, and finding the subject of a record within a caller's scope."""

from __future__ import annotations

import secrets
from uuid import UUID

from sqlmodel import Session

from service.access.caller import Scope
from service.errors import Fault, NotFound
from service.storage.subjects import Subject
from service.storage.types import new_id

LABEL_ALPHABET = "23456789abcdefghjkmnpqrstuvwxyz"  # nothing that a wet label lets you misread
LABEL_LENGTH = 8


def new_subject(session: Session, site_id: UUID, kind: str) -> Subject:
    """A new subject on a site, added to the session, with a random code for its label."""
    code = "".join(secrets.choice(LABEL_ALPHABET) for _ in range(LABEL_LENGTH))
    subject = Subject(id=new_id(), site_id=site_id, kind=kind, label_code=code)
    session.add(subject)
    session.flush()
    return subject


def subject_of(session: Session, scope: Scope, subject_id: UUID, *, pointer: str = "/subject_id") -> Subject:
    """The subject with this id within the scope. Raises NotFound, also for another site's, naming the field."""
    subject = session.get(Subject, subject_id)
    if subject is None or subject.site_id not in scope:
        detail = "Nothing is described under this id. Describe it first, or check the id."
        raise NotFound(detail, (Fault(pointer, detail, str(subject_id)),))
    return subject
