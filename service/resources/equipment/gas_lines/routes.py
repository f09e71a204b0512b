"""/v1/equipment/{cylinder_id}/swap"""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Path, Response

from service.access.rights import Right
from service.errors import Conflict, NotFound, TooLarge, Unacceptable
from service.http.caller import DoorOf
from service.http.problems import may_refuse
from service.http.shapes import Id
from service.resources.equipment.gas_lines.models import SwapRead, SwapSent
from service.resources.equipment.gas_lines.swap import swapped

router = APIRouter()


@router.post(
    "/equipment/{cylinder_id}/swap",
    response_model=SwapRead,
    status_code=201,
    responses={
        **may_refuse(Unacceptable, NotFound, Conflict, TooLarge),
        200: {"model": SwapRead, "description": "Known already: confirmed"},
    },
    tags=["equipment"],
)
def swap_cylinder(
    cylinder_id: Annotated[Id, Path(description="The cylinder that is taken off.")],
    sent: SwapSent,
    door: DoorOf,
    response: Response,
) -> Any:
    """Swap a cylinder for another on its gas line, in one call that is safe to repeat."""
    with door.write(Right.RECORD) as work:
        answer, is_new = swapped(work, cylinder_id, sent)
        response.status_code = 201 if is_new else 200
        return answer
