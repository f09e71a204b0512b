"""/v1/additions"""

from service.resources.keeping.record_routes import record_routes
from service.resources.places.sites.queries import id_named
from service.resources.records.additions.actions import ADDITIONS

router = record_routes(ADDITIONS, site_named=id_named)
