"""Every computed answer: one router."""

from fastapi import APIRouter

from service.computations.calculations.routes import router as calculations
from service.computations.consumption.routes import router as consumption
from service.computations.gas_forecast.routes import router as gas_forecast
from service.computations.gas_release.routes import router as gas_release
from service.computations.media_forecast.routes import router as media_forecast
from service.computations.output_balance.routes import router as output_balance
from service.computations.projection.routes import router as projection
from service.computations.rounds.routes import router as rounds
from service.computations.run_away.routes import router as run_away

router = APIRouter()
router.include_router(calculations)
router.include_router(consumption)
router.include_router(gas_forecast)
router.include_router(media_forecast)
router.include_router(gas_release)
router.include_router(output_balance)
router.include_router(run_away)
router.include_router(projection)
router.include_router(rounds)
