"""/v1/maintenance-events"""

from service.resources.keeping.record_routes import record_routes
from service.resources.places.sites.queries import id_named
from service.resources.records.maintenance_events.actions import MAINTENANCE_EVENTS

router = record_routes(MAINTENANCE_EVENTS, site_named=id_named)
