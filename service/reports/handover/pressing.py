"""How much a line of a handover presses: danger first, then animals, then gas and figures, then what was changed."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from service.reports.weekly.findings import urgency

DANGER, ANIMALS, SOON, CHANGED, ORDINARY = range(5)
FOUND = (DANGER, ANIMALS, SOON, CHANGED)  # by the urgency of a finding
KINDS = {"set_point": CHANGED, "swap": CHANGED, "corrected": CHANGED, "withdrawn": CHANGED}


def presses(line: Mapping[str, Any]) -> int:
    """0 for danger to 4 for the ordinary; what is gone presses no more. Our own order, as in the weekly headline."""
    kind = line["kind"]
    if kind == "finding":
        return FOUND[urgency(line["code"])]
    if kind == "stock":
        return ANIMALS if line["why"] == "lost" else ORDINARY
    if kind == "reading":
        return CHANGED if line["shown_for"] == ["set_aside"] else SOON
    return KINDS.get(kind, ORDINARY)
