"""What every described thing and every record has in common: identity, versions, the audit trail, and their routes."""
