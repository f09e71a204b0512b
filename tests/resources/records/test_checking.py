"""Whatever is edited behind the service's back is found: rows, versions, changes, entries, heads."""

from __future__ import annotations

import re
from uuid import UUID, uuid4

import pytest
from sqlalchemy import text
from sqlmodel import Session
from support.house import House

from service.resources.records.checking import faults


def found(house: House) -> list[str]:
    """Every fault."""
    with house.database.read() as session:
        return told(session)


def told(session: Session) -> list[str]:
    """Every fault but the tokens that a test house slips in by itself, which are rightly reported."""
    sentences = list(faults(session))
    return [
        sentence for sentence in sentences if not re.fullmatch(r"token \S+ has no entry in the audit trail", sentence)
    ]


def found_after(house: House, statement: str, ids: dict[str, UUID]) -> list[str]:
    """Every fault after an edit, as by somebody with a database client; the edit is taken back."""
    is_sqlite = house.database.is_sqlite
    used = {name: id_.bytes if is_sqlite else id_ for name, id_ in ids.items() if f":{name}" in statement}
    with house.database.engine.connect() as connection:
        assert connection.execute(text(statement), used).rowcount > 0, f"it touched nothing: {statement}"
        with Session(connection) as session:
            sentences = told(session)
        connection.rollback()
    return sentences


def some_records(house: House) -> dict[str, UUID]:
    """A site with a record of every kind, one of them corrected."""
    site = house.a_site()
    system = house.a_system(site)["id"]
    at = house.now.isoformat()
    reading = house.a_reading(system)
    change = {"value": 8.4, "reason": "misread"}
    house.call("POST", f"/v1/readings/{reading['id']}/corrections", change, headers={"If-Match": '"1"'})
    dose = {"kind": "dose", "system_id": system, "started_at": at, "alkalinity": {"value": 100, "unit": "meq"}}
    event = {"subject_id": system, "kind": "corrective", "performed_at": at, "what": "new pump"}
    stock = {"subject_id": system, "kind": "added", "at": at, "what": "colonies"}
    handover = f"/v1/handovers/{uuid4()}"
    house.call("PUT", handover, {"site_id": site["id"], "text": "All is well.", "written_at": at})
    house.call("POST", f"{handover}/acknowledgement")
    added = house.call("PUT", f"/v1/additions/{uuid4()}", dose)
    house.call("PUT", f"/v1/maintenance-events/{uuid4()}", event)
    house.call("PUT", f"/v1/stock-changes/{uuid4()}", stock)
    house.call("POST", "/v1/methods", {"name": "a kit", "quantity": "alkalinity", "relative_sd": 0.03})
    return {"site": UUID(site["id"]), "reading": UUID(reading["id"]), "dose": UUID(added["id"])}


def test_what_was_recorded_is_whole(house: House) -> None:
    some_records(house)
    person = house.call("POST", "/v1/people", {"name": "Somebody", "role": "keeper"})
    house.call("POST", f"/v1/people/{person['id']}/sign-in-links")
    assert found(house) == []


EDITS = [
    ("UPDATE readings SET value = value + 0.1 WHERE id = :reading", "reading {reading} was edited"),
    ("UPDATE readings SET at = at + 1 WHERE id = :reading", "reading {reading} was edited: at"),
    ("UPDATE readings SET state = 'withdrawn' WHERE id = :reading", "reading {reading} was edited"),
    ("UPDATE readings SET version = 1 WHERE id = :reading", "reading {reading} was edited"),
    ("UPDATE readings SET entered = '3' WHERE id = :reading", "reading {reading} was edited"),
    ("DELETE FROM readings WHERE id = :reading", "reading {reading} is gone"),
    ("UPDATE additions SET canonical = '{}' WHERE id = :dose", "addition {dose} was edited"),
    ("UPDATE additions SET ended_at = 5 WHERE id = :dose", "addition {dose} was edited: ended_at"),
    ("UPDATE record_versions SET body = '{}' WHERE record_id = :reading", "version 1 of reading {reading} was edited"),
    ("DELETE FROM record_versions WHERE record_id = :reading", "version 1 of reading {reading} is gone"),
    ("UPDATE sites SET name = 'Elsewhere' WHERE id = :site", "site {site} was edited"),
    ("UPDATE methods SET relative_sd = 0.5", "was edited"),
    ("UPDATE set_points SET value = 5", "was edited"),
    ("UPDATE audit_entries SET why = 'nothing' WHERE why = 'misread'", "was edited"),
    ("UPDATE audit_entries SET at = at - 1 WHERE chain_id = :site AND seq = 2", "entry 2 was edited"),
    ("DELETE FROM audit_entries WHERE chain_id = :site AND seq = 2", "entry 2 is missing"),
    ("DELETE FROM audit_entries WHERE chain_id = :site AND seq = 2", "under entry 2, which does not exist"),
    ("UPDATE events SET version = 7 WHERE chain_id = :site AND seq = 2", "listed under entry 2 were edited"),
    ("DELETE FROM events WHERE chain_id = :site AND seq = 3", "has no entry in the audit trail"),
    ("UPDATE events SET kind = 'raeding' WHERE thing_id = :reading", "kind 'raeding' cannot be compared"),
    ("UPDATE chain_heads SET seq = seq - 1 WHERE chain_id = :site", "head of the chain is not its last entry"),
    ("DELETE FROM chain_heads WHERE chain_id = :site", "head of the chain is not its last entry"),
]


def test_every_edit_is_reported(house: House) -> None:
    ids = some_records(house)
    for statement, expected in EDITS:
        sentences = found_after(house, statement, ids)
        assert any(expected.format(**ids) in sentence for sentence in sentences), (statement, sentences)
    assert found(house) == []


SLIPPED_IN = """
INSERT INTO stock_changes
(id, version, site_id, subject_id, at, state, entered, sent_digest, recorded_at,
recorded_by, kind) SELECT :reading, version, site_id, subject_id, at, state, entered, sent_digest, recorded_at,
recorded_by, kind FROM stock_changes"""


def test_a_row_slipped_in_is_reported(house: House) -> None:
    ids = some_records(house)
    expected = [f"stock_change {ids['reading']} has no entry in the audit trail"]
    assert found_after(house, SLIPPED_IN, ids) == expected


def test_more_rows_than_a_batch_are_all_compared(house: House, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("service.resources.records.checking.BATCH", 2)
    system = house.a_system()["id"]
    for value in (8.0, 8.1, 8.2, 8.3, 8.4):
        house.a_reading(system, value)
    assert found(house) == []
    assert len(found_after(house, "UPDATE readings SET value = value + 0.1", {})) == 5
