"""Everything recorded: one router."""

from fastapi import APIRouter

from service.resources.records.additions.routes import router as additions
from service.resources.records.readings.routes import router as readings

router = APIRouter()
router.include_router(readings)
router.include_router(additions)
