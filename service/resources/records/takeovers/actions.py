"""Taking a site over: as many people as read the list, each in a record of their own."""

from __future__ import annotations

from typing import Any

from service.access.caller import Work
from service.resources.keeping.amounts import refused
from service.resources.keeping.records import RecordKind
from service.resources.places.sites import queries as sites
from service.resources.records.fields import refuse_ahead
from service.resources.records.handovers.actions import note_together
from service.resources.records.handovers.queries import open_notes
from service.resources.records.takeovers.models import TAKEOVER, Takeover, TakeoverRead, TakeoverSent
from service.storage.trail import head


def columns(work: Work, sent: TakeoverSent) -> dict[str, Any]:
    """The row's columns. Raises Unacceptable or NotFound, each naming its field."""
    site = sites.one(work.session, work.scope, sent.site_id)
    refuse_ahead(work, sent.as_of, "/as_of")
    refuse_ahead(work, sent.taken_at, "/taken_at")
    last = head(work.session, site.id)
    if sent.read_to > (last.seq if last else 0):
        detail = "The records of this site do not go as far. Send `read_to` of the report that was read."
        raise refused("/read_to", detail, str(sent.read_to))
    return {
        "site_id": site.id,
        "subject_id": None,
        "at": sent.taken_at,
        "shift": sent.shift,
        "read_to": sent.read_to,
        "as_of": sent.as_of,
    }


def note_what_was_read(work: Work, row: Takeover) -> None:
    """The notes on the list that was read are taken note of with it, save those that somebody did before."""
    note_together(work, open_notes(work.session, row.site_id, up_to=row.read_to))


TAKEOVERS = RecordKind(
    kept=TAKEOVER,
    singular="takeover",
    plural="takeovers",
    sent=TakeoverSent,
    read=TakeoverRead,
    columns=columns,
    topic="shift",
    follows=note_what_was_read,
    is_corrected=False,  # what was read was read: withdraw it, and take over again
)
