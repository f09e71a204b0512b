"""Where records live: database doors, column types, subjects, the audit trail. Knows nothing of the web."""

from service.storage import base as base  # the naming convention must stand before any table is defined
