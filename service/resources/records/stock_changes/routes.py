"""/v1/stock-changes"""

from service.resources.keeping.record_routes import record_routes
from service.resources.places.sites.queries import id_named
from service.resources.records.stock_changes.actions import STOCK_CHANGES

router = record_routes(STOCK_CHANGES, site_named=id_named)
