"""`ooid check`"""

from __future__ import annotations

from service.cli.opening import reading
from service.cli.progress import done, say
from service.cli.refusal import Refusal
from service.resources.records.checking import faults


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
