"""/v1/recalibrations"""

from service.resources.keeping.record_routes import record_routes
from service.resources.places.sites.queries import id_named
from service.resources.records.recalibrations.actions import RECALIBRATIONS

router = record_routes(RECALIBRATIONS, site_named=id_named)
