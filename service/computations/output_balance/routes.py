"""/v1/equipment/{id}/output-balance: what a reactor delivers against what is asked of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Annotated, Any

from fastapi import APIRouter, Path, Request, Response

from service.computations.answers import sources_of
from service.computations.output_balance.answer import answered_all
from service.computations.output_balance.changes import WRONG_FLOW, ReactorHistory, changes, is_in_doubt, is_steady
from service.computations.output_balance.gather import ReactorRecords, gather
from service.computations.output_balance.lacks import missing, missing_of_gas
from service.computations.output_balance.models import OutputBalanceRead
from service.computations.output_balance.situation import Situation
from service.computations.pulls import UNCHANGED, AskedAt, held_already, resolved, tag_for
from service.errors import NotFound, Unacceptable
from service.http.caller import DoorOf
from service.http.problems import may_refuse
from service.http.shapes import Id
from service.resources.equipment.gas_lines.models import REACTOR
from service.resources.equipment.pieces import queries as pieces
from service.resources.equipment.pieces.specifications import of_kind
from service.science.level_change import level_change

router = APIRouter(prefix="/equipment", tags=["reactors"])


@router.get(
    "/{reactor_id}/output-balance",
    response_model=OutputBalanceRead,
    responses={**UNCHANGED, **may_refuse(NotFound, Unacceptable)},
)
def read_output_balance(
    reactor_id: Annotated[Id, Path(description="The reactor's id.")],
    request: Request,
    response: Response,
    door: DoorOf,
    at: AskedAt = None,
) -> Any:
    """What a reactor delivers, what its systems take, and what its gas does."""
    with door.read() as work:
        reactor = pieces.one(work.session, work.scope, reactor_id, pointer="reactor_id", place="path")
        pieces.require_kind(reactor, REACTOR, pointer="reactor_id", place="path")
        instant = at or resolved(work.session, [reactor.site_id], work.at)
        tag = tag_for(work.session, request, site_ids=[reactor.site_id], at=instant, form="json")
        response.headers["ETag"] = tag
        held = held_already(request, tag)
        return held or shown(gather(work.session, [reactor], instant)[reactor.id])


def seen_with(situation: Situation, history: ReactorHistory, changed: Sequence[dict[str, Any]]) -> Situation:
    """The situation with what its history says of how far its drip can be trusted."""
    doubts = any(each["code"] == WRONG_FLOW for each in changed) or is_in_doubt(history)
    return replace(situation, doubts_flow=doubts, is_steady=is_steady(history))


def shown(records: ReactorRecords) -> dict[str, Any]:
    """One reactor's answer; every key is there whether or not the records can answer."""
    return shown_all([records])[0]


def shown_all(every: Sequence[ReactorRecords]) -> list[dict[str, Any]]:
    """The answer of each reactor, all computed at once."""
    changed = [changes(records.history) for records in every]
    situations = [
        seen_with(records.situation, records.history, own) for records, own in zip(every, changed, strict=True)
    ]
    return [_shown(*each) for each in zip(every, situations, changed, answered_all(situations), strict=True)]


def _shown(
    records: ReactorRecords, situation: Situation, changed: Sequence[dict[str, Any]], answer: dict[str, Any]
) -> dict[str, Any]:
    chambers = of_kind(REACTOR, records.reactor.specification).chambers
    if chambers > 1:
        answer["assumptions"].append(
            f"The {chambers} chambers in series are counted as one: from the tank to the last outlet."
        )
    return {
        **answer,
        "reactor_id": records.reactor.id,
        "at": records.at,
        "findings": [*changed, *answer["findings"]],  # a cause before what it brings about
        "sources": [*answer["sources"], *sources_of(level_change)],
        "used": {"checks": {quantity: each.at for quantity, each in records.checks.items()}},
        "set_aside": [],
        "missing": [
            *missing(situation, records.stale),
            *missing_of_gas(situation, is_on_line=records.is_on_line, is_alone=records.is_alone_on_line),
        ],
    }
