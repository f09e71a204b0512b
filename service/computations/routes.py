"""Every computed answer: one router."""

from fastapi import APIRouter

from service.computations.calculations.routes import router as calculations

router = APIRouter()
router.include_router(calculations)
