"""/v1/calculations: the computations with their inputs in the request and no records."""

from fastapi import APIRouter

from service.computations.calculations import (
    carbonate_system,
    conversion,
    correction,
    cylinder_content,
    gas_release,
    limewater,
    net_calcification,
    net_water_volume,
    output_balance,
    run_away,
    salinity,
)

router = APIRouter(prefix="/calculations", tags=["calculations"])
router.include_router(carbonate_system.router)
router.include_router(conversion.router)
router.include_router(cylinder_content.router)
router.include_router(gas_release.router)
router.include_router(output_balance.router)
router.include_router(net_calcification.router)
router.include_router(run_away.router)
router.include_router(limewater.router)
router.include_router(correction.router)
router.include_router(net_water_volume.router)
router.include_router(salinity.router)
