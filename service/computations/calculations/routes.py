"""/v1/calculations: the computations with their inputs in the request and no records."""

from fastapi import APIRouter

from service.computations.calculations import (
    carbonate_system,
    conversion,
    cylinder_content,
    gas_release,
    net_calcification,
    output_balance,
    run_away,
)

router = APIRouter(prefix="/calculations", tags=["calculations"])
router.include_router(carbonate_system.router)
router.include_router(conversion.router)
router.include_router(cylinder_content.router)
router.include_router(gas_release.router)
router.include_router(output_balance.router)
router.include_router(net_calcification.router)
router.include_router(run_away.router)
