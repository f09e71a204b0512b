#!/bin/sh
# Runs once, when the primary is made: lets the standby in, and makes every commit wait for it from the next start on.
set -eu
psql -v ON_ERROR_STOP=1 -v password="$OOID_STANDBY_PASSWORD" -U "$POSTGRES_USER" -d "$POSTGRES_DB" <<'SQL'
CREATE ROLE standby WITH REPLICATION LOGIN PASSWORD :'password';
ALTER SYSTEM SET synchronous_standby_names = 'FIRST 1 (standby)';
SQL
echo "host replication standby all scram-sha-256" >> "$PGDATA/pg_hba.conf"
