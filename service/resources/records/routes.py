"""Everything recorded: one router."""

from fastapi import APIRouter

from service.resources.records.additions.routes import router as additions
from service.resources.records.audit.routes import router as audit
from service.resources.records.changes.routes import router as changes
from service.resources.records.commissionings.routes import router as commissionings
from service.resources.records.handovers.routes import router as handovers
from service.resources.records.maintenance_events.routes import router as maintenance_events
from service.resources.records.maintenance_plans.routes import router as maintenance_plans
from service.resources.records.photos.routes import router as photos
from service.resources.records.procedures.routes import router as procedures
from service.resources.records.readings.routes import router as readings
from service.resources.records.recalibrations.routes import router as recalibrations
from service.resources.records.series.routes import router as series
from service.resources.records.stock_changes.routes import router as stock_changes
from service.resources.records.takeovers.routes import router as takeovers

router = APIRouter()
PARTS = (
    readings,
    series,
    recalibrations,
    additions,
    maintenance_events,
    maintenance_plans,
    stock_changes,
    handovers,
    takeovers,
    photos,
    procedures,
    commissionings,
    changes,
    audit,
)
for part in PARTS:
    router.include_router(part)
