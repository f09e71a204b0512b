"""/v1/calculations: the computations with their inputs in the request and no records."""

from fastapi import APIRouter

from service.computations.calculations import carbonate_system, conversion

router = APIRouter(prefix="/calculations", tags=["calculations"])
router.include_router(carbonate_system.router)
router.include_router(conversion.router)
