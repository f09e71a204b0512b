"""/v1/takeovers"""

from service.resources.keeping.record_routes import record_routes
from service.resources.places.sites.queries import id_named
from service.resources.records.takeovers.actions import TAKEOVERS

router = record_routes(TAKEOVERS, site_named=id_named)
