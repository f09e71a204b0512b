"""`ooid check`"""

from __future__ import annotations

from collections.abc import Iterator

from sqlmodel import Session, select

from service.cli.opening import reading
from service.cli.progress import done, say
from service.cli.refusal import Refusal
from service.storage.trail import AuditEntry, ChainHead
from service.storage.trail import faults as faults_of_chain


def check() -> None:
    """Walk every chain of the audit trail and every kept row; fail when anything was edited behind the service."""
    with reading() as work:
        say("Walking the audit trail ...")
        found = 0
        for fault in faults(work.session):
            print(fault, flush=True)
            found += 1
    if found:
        raise Refusal(f"{found} {'fault' if found == 1 else 'faults'} found. Compare with a backup before going on.")
    done("The audit trail is whole, and every row is as it was recorded.")


def faults(session: Session) -> Iterator[str]:
    """Everything that is not as the audit trail has it."""
    chains = {*session.exec(select(ChainHead.chain_id)), *session.exec(select(AuditEntry.chain_id).distinct())}
    for chain_id in sorted(chains):
        for fault in faults_of_chain(session, chain_id):
            yield f"chain {chain_id}: {fault}"
