"""first tables

Revision: 0001
Before it:
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects import postgresql

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

IDENTIFIER = sa.LargeBinary(16).with_variant(postgresql.UUID(), "postgresql")


def upgrade() -> None:
    op.create_table(
        "audit_entries",
        sa.Column("chain_id", IDENTIFIER, nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("actor_id", IDENTIFIER, nullable=False),
        sa.Column("origin", sa.String(64), nullable=False),
        sa.Column("why", sa.String(), nullable=True),
        sa.Column("before", sa.Text(), nullable=True),
        sa.Column("after", sa.Text(), nullable=True),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.Column("digest", sa.LargeBinary(), nullable=False),
        sa.Column("previous", sa.LargeBinary(), nullable=False),
        sa.Column("hash", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("chain_id", "seq", name=op.f("pk_audit_entries")),
    )
    op.create_table(
        "chain_heads",
        sa.Column("chain_id", IDENTIFIER, nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("hash", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("chain_id", name=op.f("pk_chain_heads")),
    )
    op.create_table(
        "events",
        sa.Column("chain_id", IDENTIFIER, nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(32), nullable=False),
        sa.Column("thing_id", IDENTIFIER, nullable=False),
        sa.Column("action", sa.String(16), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("digest", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("chain_id", "seq", "position", name=op.f("pk_events")),
    )
    with op.batch_alter_table("events", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_events_thing_id"), ["thing_id"], unique=False)

    op.create_table(
        "methods",
        sa.Column("id", IDENTIFIER, nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(200), nullable=False),
        sa.Column("quantity", sa.String(40), nullable=False),
        sa.Column("repeatability", sa.Text(), nullable=True),
        sa.Column("sd", sa.Float(), nullable=True),
        sa.Column("relative_sd", sa.Float(), nullable=True),
        sa.Column("described_at", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_methods")),
        sa.UniqueConstraint("quantity", "name", name=op.f("uq_methods_quantity_name")),
    )
    op.create_table(
        "people",
        sa.Column("id", IDENTIFIER, nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(120), nullable=False),
        sa.Column("created_at", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_people")),
    )
    op.create_table(
        "sign_in_attempts",
        sa.Column("key", sa.LargeBinary(), nullable=False),
        sa.Column("failures", sa.Integer(), nullable=False),
        sa.Column("failed_at", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("key", name=op.f("pk_sign_in_attempts")),
    )
    with op.batch_alter_table("sign_in_attempts", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_sign_in_attempts_failed_at"), ["failed_at"], unique=False)

    op.create_table(
        "sites",
        sa.Column("id", IDENTIFIER, nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("tag", sa.String(40), nullable=False),
        sa.Column("name", sa.String(200), nullable=False),
        sa.Column("time_zone", sa.String(64), nullable=False),
        sa.Column("country", sa.String(2), nullable=True),
        sa.Column("units", sa.Text(), nullable=False),
        sa.Column("retention_years", sa.Text(), nullable=False),
        sa.Column("exposure_limits", sa.Text(), nullable=True),
        sa.Column("described_at", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sites")),
        sa.UniqueConstraint("tag", name=op.f("uq_sites_tag")),
    )
    op.create_table(
        "devices",
        sa.Column("id", IDENTIFIER, nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("site_id", IDENTIFIER, nullable=False),
        sa.Column("name", sa.String(40), nullable=False),
        sa.Column("secret_hash", sa.LargeBinary(), nullable=False),
        sa.Column("opened_by", IDENTIFIER, nullable=False),
        sa.Column("created_at", sa.BigInteger(), nullable=False),
        sa.Column("expires_at", sa.BigInteger(), nullable=False),
        sa.Column("closed_at", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(["site_id"], ["sites.id"], name=op.f("fk_devices_site_id_sites")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_devices")),
        sa.UniqueConstraint("secret_hash", name=op.f("uq_devices_secret_hash")),
    )
    with op.batch_alter_table("devices", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_devices_site_id"), ["site_id"], unique=False)

    op.create_table(
        "gas_lines",
        sa.Column("id", IDENTIFIER, nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("site_id", IDENTIFIER, nullable=False),
        sa.Column("tag", sa.String(40), nullable=False),
        sa.Column("name", sa.String(200), nullable=True),
        sa.Column("described_at", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["site_id"], ["sites.id"], name=op.f("fk_gas_lines_site_id_sites")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_gas_lines")),
        sa.UniqueConstraint("site_id", "id", name="uq_gas_lines_site_id_id"),
        sa.UniqueConstraint("site_id", "tag", name=op.f("uq_gas_lines_site_id_tag")),
    )
    op.create_table(
        "grants",
        sa.Column("id", IDENTIFIER, nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("person_id", IDENTIFIER, nullable=False),
        sa.Column("site_id", IDENTIFIER, nullable=True),
        sa.Column("role", sa.String(16), nullable=True),
        sa.ForeignKeyConstraint(["person_id"], ["people.id"], name=op.f("fk_grants_person_id_people")),
        sa.ForeignKeyConstraint(["site_id"], ["sites.id"], name=op.f("fk_grants_site_id_sites")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_grants")),
    )
    with op.batch_alter_table("grants", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_grants_site_id"), ["site_id"], unique=False)
        batch_op.create_index(
            "uq_grants_person_installation",
            ["person_id"],
            unique=True,
            sqlite_where=sa.text("site_id IS NULL"),
            postgresql_where=sa.text("site_id IS NULL"),
        )
        batch_op.create_index("uq_grants_person_site", ["person_id", "site_id"], unique=True)

    op.create_table(
        "imports",
        sa.Column("id", IDENTIFIER, nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("site_id", IDENTIFIER, nullable=False),
        sa.Column("state", sa.String(16), nullable=False),
        sa.Column("file_name", sa.String(200), nullable=False),
        sa.Column("file_digest", sa.String(64), nullable=False),
        sa.Column("mapping", sa.Text(), nullable=False),
        sa.Column("headings", sa.Text(), nullable=False),
        sa.Column("again", sa.Integer(), nullable=False),
        sa.Column("counts", sa.Text(), nullable=False),
        sa.Column("started_at", sa.BigInteger(), nullable=False),
        sa.Column("started_by", IDENTIFIER, nullable=False),
        sa.Column("finished_at", sa.BigInteger(), nullable=True),
        sa.Column("undone_reason", sa.String(), nullable=True),
        sa.ForeignKeyConstraint(["site_id"], ["sites.id"], name=op.f("fk_imports_site_id_sites")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_imports")),
    )
    with op.batch_alter_table("imports", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_imports_site_id"), ["site_id"], unique=False)

    op.create_table(
        "lots",
        sa.Column("id", IDENTIFIER, nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("number", sa.String(200), nullable=False),
        sa.Column("method_id", IDENTIFIER, nullable=True),
        sa.Column("opened_at", sa.BigInteger(), nullable=True),
        sa.Column("expires_on", sa.Date(), nullable=True),
        sa.Column("described_at", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["method_id"], ["methods.id"], name=op.f("fk_lots_method_id_methods")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_lots")),
    )
    op.create_table(
        "passwords",
        sa.Column("person_id", IDENTIFIER, nullable=False),
        sa.Column("hash", sa.String(200), nullable=False),
        sa.Column("set_at", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["person_id"], ["people.id"], name=op.f("fk_passwords_person_id_people")),
        sa.PrimaryKeyConstraint("person_id", name=op.f("pk_passwords")),
    )
    op.create_table(
        "pins",
        sa.Column("person_id", IDENTIFIER, nullable=False),
        sa.Column("hash", sa.String(200), nullable=False),
        sa.Column("set_at", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["person_id"], ["people.id"], name=op.f("fk_pins_person_id_people")),
        sa.PrimaryKeyConstraint("person_id", name=op.f("pk_pins")),
    )
    op.create_table(
        "record_versions",
        sa.Column("record_id", IDENTIFIER, nullable=False),
        sa.Column("kind", sa.String(32), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("site_id", IDENTIFIER, nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("replaced_at", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["site_id"], ["sites.id"], name=op.f("fk_record_versions_site_id_sites")),
        sa.PrimaryKeyConstraint("record_id", "kind", "version", name=op.f("pk_record_versions")),
    )
    with op.batch_alter_table("record_versions", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_record_versions_site_id"), ["site_id"], unique=False)

    op.create_table(
        "sign_in_links",
        sa.Column("secret_hash", sa.LargeBinary(), nullable=False),
        sa.Column("person_id", IDENTIFIER, nullable=False),
        sa.Column("expires_at", sa.BigInteger(), nullable=False),
        sa.Column("used_at", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(["person_id"], ["people.id"], name=op.f("fk_sign_in_links_person_id_people")),
        sa.PrimaryKeyConstraint("secret_hash", name=op.f("pk_sign_in_links")),
    )
    op.create_table(
        "subjects",
        sa.Column("id", IDENTIFIER, nullable=False),
        sa.Column("site_id", IDENTIFIER, nullable=False),
        sa.Column("kind", sa.String(32), nullable=False),
        sa.Column("label_code", sa.String(16), nullable=False),
        sa.ForeignKeyConstraint(["site_id"], ["sites.id"], name=op.f("fk_subjects_site_id_sites")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_subjects")),
        sa.UniqueConstraint("label_code", name=op.f("uq_subjects_label_code")),
        sa.UniqueConstraint("site_id", "id", name=op.f("uq_subjects_site_id_id")),
    )
    with op.batch_alter_table("subjects", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_subjects_site_id"), ["site_id"], unique=False)

    op.create_table(
        "tokens",
        sa.Column("id", IDENTIFIER, nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(120), nullable=False),
        sa.Column("site_id", IDENTIFIER, nullable=True),
        sa.Column("role", sa.String(16), nullable=False),
        sa.Column("scopes", sa.Text(), nullable=True),
        sa.Column("secret_hash", sa.LargeBinary(), nullable=False),
        sa.Column("created_at", sa.BigInteger(), nullable=False),
        sa.Column("created_by", IDENTIFIER, nullable=False),
        sa.Column("expires_at", sa.BigInteger(), nullable=True),
        sa.Column("revoked_at", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(["site_id"], ["sites.id"], name=op.f("fk_tokens_site_id_sites")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_tokens")),
        sa.UniqueConstraint("secret_hash", name=op.f("uq_tokens_secret_hash")),
    )
    with op.batch_alter_table("tokens", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_tokens_site_id"), ["site_id"], unique=False)

    op.create_table(
        "additions",
        sa.Column("id", IDENTIFIER, nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("site_id", IDENTIFIER, nullable=False),
        sa.Column("subject_id", IDENTIFIER, nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("state", sa.String(16), nullable=False),
        sa.Column("entered", sa.Text(), nullable=False),
        sa.Column("sent_digest", sa.LargeBinary(), nullable=False),
        sa.Column("recorded_at", sa.BigInteger(), nullable=False),
        sa.Column("recorded_by", IDENTIFIER, nullable=False),
        sa.Column("changed_at", sa.BigInteger(), nullable=True),
        sa.Column("changed_by", IDENTIFIER, nullable=True),
        sa.Column("correction_reason", sa.String(), nullable=True),
        sa.Column("kind", sa.String(16), nullable=False),
        sa.Column("ended_at", sa.BigInteger(), nullable=True),
        sa.Column("canonical", sa.Text(), nullable=False),
        sa.Column("relative_sd", sa.Float(), nullable=True),
        sa.Column("flagged", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(
            ["site_id", "subject_id"],
            ["subjects.site_id", "subjects.id"],
            name=op.f("fk_additions_site_id_subject_id_subjects"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_additions")),
    )
    with op.batch_alter_table("additions", schema=None) as batch_op:
        batch_op.create_index("ix_additions_site_id_at", ["site_id", "at"], unique=False)
        batch_op.create_index("ix_additions_subject_id_at", ["subject_id", "kind", "at"], unique=False)

    op.create_table(
        "browser_sessions",
        sa.Column("id", IDENTIFIER, nullable=False),
        sa.Column("secret_hash", sa.LargeBinary(), nullable=False),
        sa.Column("person_id", IDENTIFIER, nullable=False),
        sa.Column("created_at", sa.BigInteger(), nullable=False),
        sa.Column("expires_at", sa.BigInteger(), nullable=False),
        sa.Column("ended_at", sa.BigInteger(), nullable=True),
        sa.Column("seen_at", sa.BigInteger(), nullable=True),
        sa.Column("means", sa.String(16), nullable=False),
        sa.Column("device_id", IDENTIFIER, nullable=True),
        sa.ForeignKeyConstraint(["device_id"], ["devices.id"], name=op.f("fk_browser_sessions_device_id_devices")),
        sa.ForeignKeyConstraint(["person_id"], ["people.id"], name=op.f("fk_browser_sessions_person_id_people")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_browser_sessions")),
        sa.UniqueConstraint("secret_hash", name=op.f("uq_browser_sessions_secret_hash")),
    )
    with op.batch_alter_table("browser_sessions", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_browser_sessions_device_id"), ["device_id"], unique=False)

    op.create_table(
        "commissionings",
        sa.Column("id", IDENTIFIER, nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("site_id", IDENTIFIER, nullable=False),
        sa.Column("subject_id", IDENTIFIER, nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("state", sa.String(16), nullable=False),
        sa.Column("entered", sa.Text(), nullable=False),
        sa.Column("sent_digest", sa.LargeBinary(), nullable=False),
        sa.Column("recorded_at", sa.BigInteger(), nullable=False),
        sa.Column("recorded_by", IDENTIFIER, nullable=False),
        sa.Column("changed_at", sa.BigInteger(), nullable=True),
        sa.Column("changed_by", IDENTIFIER, nullable=True),
        sa.Column("correction_reason", sa.String(), nullable=True),
        sa.Column("procedure", sa.String(40), nullable=False),
        sa.Column("content", sa.Text(), nullable=False),
        sa.Column("evidence", sa.Text(), nullable=False),
        sa.Column("signed_at", sa.BigInteger(), nullable=True),
        sa.Column("signed_by", IDENTIFIER, nullable=True),
        sa.Column("signed_note", sa.String(), nullable=True),
        sa.Column("completed_at", sa.BigInteger(), nullable=True),
        sa.Column("cut_off_tested_at", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(
            ["site_id", "subject_id"],
            ["subjects.site_id", "subjects.id"],
            name=op.f("fk_commissionings_site_id_subject_id_subjects"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_commissionings")),
    )
    with op.batch_alter_table("commissionings", schema=None) as batch_op:
        batch_op.create_index("ix_commissionings_site_id_at", ["site_id", "at"], unique=False)
        batch_op.create_index("ix_commissionings_subject_id_at", ["subject_id", "procedure", "at"], unique=False)

    op.create_table(
        "equipment",
        sa.Column("id", IDENTIFIER, nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("site_id", IDENTIFIER, nullable=False),
        sa.Column("tag", sa.String(40), nullable=False),
        sa.Column("kind", sa.String(32), nullable=False),
        sa.Column("name", sa.String(200), nullable=True),
        sa.Column("specification", sa.Text(), nullable=False),
        sa.Column("state", sa.String(16), nullable=False),
        sa.Column("room_id", IDENTIFIER, nullable=True),
        sa.Column("described_at", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["site_id", "id"], ["subjects.site_id", "subjects.id"], name=op.f("fk_equipment_site_id_id_subjects")
        ),
        sa.ForeignKeyConstraint(
            ["site_id", "room_id"],
            ["subjects.site_id", "subjects.id"],
            name=op.f("fk_equipment_site_id_room_id_subjects"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_equipment")),
        sa.UniqueConstraint("site_id", "tag", name=op.f("uq_equipment_site_id_tag")),
    )
    op.create_table(
        "failed_rows",
        sa.Column("import_id", IDENTIFIER, nullable=False),
        sa.Column("row", sa.Integer(), nullable=False),
        sa.Column("site_id", IDENTIFIER, nullable=False),
        sa.Column("cells", sa.Text(), nullable=False),
        sa.Column("error", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["import_id"], ["imports.id"], name=op.f("fk_failed_rows_import_id_imports")),
        sa.ForeignKeyConstraint(["site_id"], ["sites.id"], name=op.f("fk_failed_rows_site_id_sites")),
        sa.PrimaryKeyConstraint("import_id", "row", name=op.f("pk_failed_rows")),
    )
    with op.batch_alter_table("failed_rows", schema=None) as batch_op:
        batch_op.create_index("ix_failed_rows_site_id", ["site_id"], unique=False)

    op.create_table(
        "feeds",
        sa.Column("id", IDENTIFIER, nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("site_id", IDENTIFIER, nullable=False),
        sa.Column("from_at", sa.BigInteger(), nullable=False),
        sa.Column("to_at", sa.BigInteger(), nullable=True),
        sa.Column("described_at", sa.BigInteger(), nullable=False),
        sa.Column("reactor_id", IDENTIFIER, nullable=False),
        sa.Column("system_id", IDENTIFIER, nullable=False),
        sa.Column("share", sa.Float(), nullable=False),
        sa.CheckConstraint("to_at IS NULL OR to_at >= from_at", name=op.f("ck_feeds_ends_after_it_begins")),
        sa.ForeignKeyConstraint(
            ["site_id", "reactor_id"], ["subjects.site_id", "subjects.id"], name="fk_feeds_reactor_id_subjects"
        ),
        sa.ForeignKeyConstraint(
            ["site_id", "system_id"], ["subjects.site_id", "subjects.id"], name="fk_feeds_system_id_subjects"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_feeds")),
    )
    with op.batch_alter_table("feeds", schema=None) as batch_op:
        batch_op.create_index("ix_feeds_reactor_id", ["reactor_id"], unique=False)
        batch_op.create_index("ix_feeds_site_id", ["site_id"], unique=False)
        batch_op.create_index("ix_feeds_system_id", ["system_id"], unique=False)
        batch_op.create_index(
            "uq_feeds_open",
            ["reactor_id", "system_id"],
            unique=True,
            sqlite_where=sa.text("to_at IS NULL"),
            postgresql_where=sa.text("to_at IS NULL"),
        )

    op.create_table(
        "gas_line_members",
        sa.Column("id", IDENTIFIER, nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("site_id", IDENTIFIER, nullable=False),
        sa.Column("from_at", sa.BigInteger(), nullable=False),
        sa.Column("to_at", sa.BigInteger(), nullable=True),
        sa.Column("described_at", sa.BigInteger(), nullable=False),
        sa.Column("line_id", IDENTIFIER, nullable=False),
        sa.Column("equipment_id", IDENTIFIER, nullable=False),
        sa.Column("kind", sa.String(32), nullable=False),
        sa.CheckConstraint("to_at IS NULL OR to_at >= from_at", name=op.f("ck_gas_line_members_ends_after_it_begins")),
        sa.ForeignKeyConstraint(
            ["site_id", "equipment_id"],
            ["subjects.site_id", "subjects.id"],
            name="fk_gas_line_members_equipment_id_subjects",
        ),
        sa.ForeignKeyConstraint(
            ["site_id", "line_id"], ["gas_lines.site_id", "gas_lines.id"], name="fk_gas_line_members_line_id_gas_lines"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_gas_line_members")),
    )
    with op.batch_alter_table("gas_line_members", schema=None) as batch_op:
        batch_op.create_index("ix_gas_line_members_equipment_id", ["equipment_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_gas_line_members_line_id"), ["line_id"], unique=False)
        batch_op.create_index("ix_gas_line_members_site_id", ["site_id"], unique=False)
        batch_op.create_index(
            "uq_gas_line_members_open",
            ["equipment_id"],
            unique=True,
            sqlite_where=sa.text("to_at IS NULL"),
            postgresql_where=sa.text("to_at IS NULL"),
        )

    op.create_table(
        "handovers",
        sa.Column("id", IDENTIFIER, nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("site_id", IDENTIFIER, nullable=False),
        sa.Column("subject_id", IDENTIFIER, nullable=True),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("state", sa.String(16), nullable=False),
        sa.Column("entered", sa.Text(), nullable=False),
        sa.Column("sent_digest", sa.LargeBinary(), nullable=False),
        sa.Column("recorded_at", sa.BigInteger(), nullable=False),
        sa.Column("recorded_by", IDENTIFIER, nullable=False),
        sa.Column("changed_at", sa.BigInteger(), nullable=True),
        sa.Column("changed_by", IDENTIFIER, nullable=True),
        sa.Column("correction_reason", sa.String(), nullable=True),
        sa.Column("shift", sa.String(40), nullable=True),
        sa.Column("acknowledged_at", sa.BigInteger(), nullable=True),
        sa.Column("acknowledged_by", IDENTIFIER, nullable=True),
        sa.ForeignKeyConstraint(
            ["site_id", "subject_id"],
            ["subjects.site_id", "subjects.id"],
            name=op.f("fk_handovers_site_id_subject_id_subjects"),
        ),
        sa.ForeignKeyConstraint(["site_id"], ["sites.id"], name=op.f("fk_handovers_site_id_sites")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_handovers")),
    )
    with op.batch_alter_table("handovers", schema=None) as batch_op:
        batch_op.create_index("ix_handovers_site_id_at", ["site_id", "at"], unique=False)
        batch_op.create_index("ix_handovers_subject_id_at", ["subject_id", "shift", "at"], unique=False)

    op.create_table(
        "imported_records",
        sa.Column("import_id", IDENTIFIER, nullable=False),
        sa.Column("record_id", IDENTIFIER, nullable=False),
        sa.Column("kind", sa.String(32), nullable=False),
        sa.Column("site_id", IDENTIFIER, nullable=False),
        sa.ForeignKeyConstraint(["import_id"], ["imports.id"], name=op.f("fk_imported_records_import_id_imports")),
        sa.ForeignKeyConstraint(["site_id"], ["sites.id"], name=op.f("fk_imported_records_site_id_sites")),
        sa.PrimaryKeyConstraint("import_id", "record_id", "kind", name=op.f("pk_imported_records")),
    )
    with op.batch_alter_table("imported_records", schema=None) as batch_op:
        batch_op.create_index("ix_imported_records_site_id", ["site_id"], unique=False)

    op.create_table(
        "installations",
        sa.Column("id", IDENTIFIER, nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("site_id", IDENTIFIER, nullable=False),
        sa.Column("from_at", sa.BigInteger(), nullable=False),
        sa.Column("to_at", sa.BigInteger(), nullable=True),
        sa.Column("described_at", sa.BigInteger(), nullable=False),
        sa.Column("equipment_id", IDENTIFIER, nullable=False),
        sa.Column("host_id", IDENTIFIER, nullable=False),
        sa.CheckConstraint("to_at IS NULL OR to_at >= from_at", name=op.f("ck_installations_ends_after_it_begins")),
        sa.ForeignKeyConstraint(
            ["site_id", "equipment_id"],
            ["subjects.site_id", "subjects.id"],
            name="fk_installations_equipment_id_subjects",
        ),
        sa.ForeignKeyConstraint(
            ["site_id", "host_id"], ["subjects.site_id", "subjects.id"], name="fk_installations_host_id_subjects"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_installations")),
    )
    with op.batch_alter_table("installations", schema=None) as batch_op:
        batch_op.create_index("ix_installations_equipment_id", ["equipment_id"], unique=False)
        batch_op.create_index("ix_installations_host_id", ["host_id"], unique=False)
        batch_op.create_index("ix_installations_site_id", ["site_id"], unique=False)
        batch_op.create_index(
            "uq_installations_open",
            ["equipment_id"],
            unique=True,
            sqlite_where=sa.text("to_at IS NULL"),
            postgresql_where=sa.text("to_at IS NULL"),
        )

    op.create_table(
        "maintenance_plans",
        sa.Column("id", IDENTIFIER, nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("site_id", IDENTIFIER, nullable=False),
        sa.Column("subject_id", IDENTIFIER, nullable=False),
        sa.Column("what", sa.String(200), nullable=False),
        sa.Column("kind", sa.String(16), nullable=False),
        sa.Column("recurrence", sa.String(200), nullable=False),
        sa.Column("counts_from", sa.String(16), nullable=False),
        sa.Column("from_at", sa.BigInteger(), nullable=False),
        sa.Column("to_at", sa.BigInteger(), nullable=True),
        sa.Column("procedure", sa.String(), nullable=True),
        sa.Column("described_at", sa.BigInteger(), nullable=False),
        sa.CheckConstraint("to_at IS NULL OR to_at >= from_at", name=op.f("ck_maintenance_plans_ends_after_it_begins")),
        sa.ForeignKeyConstraint(
            ["site_id", "subject_id"],
            ["subjects.site_id", "subjects.id"],
            name=op.f("fk_maintenance_plans_site_id_subject_id_subjects"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_maintenance_plans")),
    )
    with op.batch_alter_table("maintenance_plans", schema=None) as batch_op:
        batch_op.create_index("ix_maintenance_plans_site_id", ["site_id"], unique=False)
        batch_op.create_index("ix_maintenance_plans_subject_id", ["subject_id"], unique=False)

    op.create_table(
        "photos",
        sa.Column("id", IDENTIFIER, nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("site_id", IDENTIFIER, nullable=False),
        sa.Column("subject_id", IDENTIFIER, nullable=True),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("state", sa.String(16), nullable=False),
        sa.Column("entered", sa.Text(), nullable=False),
        sa.Column("sent_digest", sa.LargeBinary(), nullable=False),
        sa.Column("recorded_at", sa.BigInteger(), nullable=False),
        sa.Column("recorded_by", IDENTIFIER, nullable=False),
        sa.Column("changed_at", sa.BigInteger(), nullable=True),
        sa.Column("changed_by", IDENTIFIER, nullable=True),
        sa.Column("correction_reason", sa.String(), nullable=True),
        sa.Column("of_kind", sa.String(32), nullable=True),
        sa.Column("of_id", IDENTIFIER, nullable=True),
        sa.Column("width", sa.Integer(), nullable=False),
        sa.Column("height", sa.Integer(), nullable=False),
        sa.Column("size_bytes", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(
            ["site_id", "subject_id"],
            ["subjects.site_id", "subjects.id"],
            name=op.f("fk_photos_site_id_subject_id_subjects"),
        ),
        sa.ForeignKeyConstraint(["site_id"], ["sites.id"], name=op.f("fk_photos_site_id_sites")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_photos")),
    )
    with op.batch_alter_table("photos", schema=None) as batch_op:
        batch_op.create_index("ix_photos_of_id", ["of_id"], unique=False)
        batch_op.create_index("ix_photos_site_id_at", ["site_id", "at"], unique=False)
        batch_op.create_index("ix_photos_subject_id_at", ["subject_id", "of_kind", "at"], unique=False)

    op.create_table(
        "pin_tries",
        sa.Column("device_id", IDENTIFIER, nullable=False),
        sa.Column("person_id", IDENTIFIER, nullable=False),
        sa.Column("failures", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["device_id"], ["devices.id"], name=op.f("fk_pin_tries_device_id_devices")),
        sa.ForeignKeyConstraint(["person_id"], ["people.id"], name=op.f("fk_pin_tries_person_id_people")),
        sa.PrimaryKeyConstraint("device_id", "person_id", name=op.f("pk_pin_tries")),
    )
    op.create_table(
        "placements",
        sa.Column("tank_id", IDENTIFIER, nullable=False),
        sa.Column("from_at", sa.BigInteger(), nullable=False),
        sa.Column("site_id", IDENTIFIER, nullable=False),
        sa.Column("system_id", IDENTIFIER, nullable=False),
        sa.ForeignKeyConstraint(
            ["site_id", "system_id"], ["subjects.site_id", "subjects.id"], name="fk_placements_system_subjects"
        ),
        sa.ForeignKeyConstraint(
            ["site_id", "tank_id"],
            ["subjects.site_id", "subjects.id"],
            name=op.f("fk_placements_site_id_tank_id_subjects"),
        ),
        sa.PrimaryKeyConstraint("tank_id", "from_at", name=op.f("pk_placements")),
    )
    with op.batch_alter_table("placements", schema=None) as batch_op:
        batch_op.create_index("ix_placements_system_id", ["system_id"], unique=False)

    op.create_table(
        "readings",
        sa.Column("id", IDENTIFIER, nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("site_id", IDENTIFIER, nullable=False),
        sa.Column("subject_id", IDENTIFIER, nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("state", sa.String(16), nullable=False),
        sa.Column("entered", sa.Text(), nullable=False),
        sa.Column("sent_digest", sa.LargeBinary(), nullable=False),
        sa.Column("recorded_at", sa.BigInteger(), nullable=False),
        sa.Column("recorded_by", IDENTIFIER, nullable=False),
        sa.Column("changed_at", sa.BigInteger(), nullable=True),
        sa.Column("changed_by", IDENTIFIER, nullable=True),
        sa.Column("correction_reason", sa.String(), nullable=True),
        sa.Column("quantity", sa.String(40), nullable=False),
        sa.Column("value", sa.Float(), nullable=False),
        sa.Column("unit", sa.String(40), nullable=False),
        sa.Column("method", sa.String(200), nullable=True),
        sa.Column("lot_id", IDENTIFIER, nullable=True),
        sa.Column("purpose", sa.String(16), nullable=False),
        sa.Column("relative_sd", sa.Float(), nullable=True),
        sa.Column("flagged", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(["lot_id"], ["lots.id"], name=op.f("fk_readings_lot_id_lots")),
        sa.ForeignKeyConstraint(
            ["site_id", "subject_id"],
            ["subjects.site_id", "subjects.id"],
            name=op.f("fk_readings_site_id_subject_id_subjects"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_readings")),
    )
    with op.batch_alter_table("readings", schema=None) as batch_op:
        batch_op.create_index("ix_readings_site_id_at", ["site_id", "at"], unique=False)
        batch_op.create_index("ix_readings_subject_id_at", ["subject_id", "quantity", "at"], unique=False)

    op.create_table(
        "rooms",
        sa.Column("id", IDENTIFIER, nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("site_id", IDENTIFIER, nullable=False),
        sa.Column("tag", sa.String(40), nullable=False),
        sa.Column("name", sa.String(200), nullable=False),
        sa.Column("free_volume", sa.Text(), nullable=True),
        sa.Column("height", sa.Text(), nullable=True),
        sa.Column("air_changes_per_hour", sa.Float(), nullable=True),
        sa.Column("below_ground", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(
            ["site_id", "id"], ["subjects.site_id", "subjects.id"], name=op.f("fk_rooms_site_id_id_subjects")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_rooms")),
        sa.UniqueConstraint("site_id", "tag", name=op.f("uq_rooms_site_id_tag")),
    )
    op.create_table(
        "series",
        sa.Column("id", IDENTIFIER, nullable=False),
        sa.Column("site_id", IDENTIFIER, nullable=False),
        sa.Column("subject_id", IDENTIFIER, nullable=False),
        sa.Column("quantity", sa.String(40), nullable=False),
        sa.Column("method", sa.String(200), nullable=True),
        sa.Column("first_at", sa.BigInteger(), nullable=True),
        sa.Column("last_at", sa.BigInteger(), nullable=True),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["site_id", "subject_id"],
            ["subjects.site_id", "subjects.id"],
            name=op.f("fk_series_site_id_subject_id_subjects"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_series")),
        sa.UniqueConstraint("site_id", "id", name=op.f("uq_series_site_id_id")),
    )
    with op.batch_alter_table("series", schema=None) as batch_op:
        batch_op.create_index("ix_series_subject_id_quantity", ["subject_id", "quantity"], unique=False)

    op.create_table(
        "set_points",
        sa.Column("id", IDENTIFIER, nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("site_id", IDENTIFIER, nullable=False),
        sa.Column("subject_id", IDENTIFIER, nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("state", sa.String(16), nullable=False),
        sa.Column("entered", sa.Text(), nullable=False),
        sa.Column("sent_digest", sa.LargeBinary(), nullable=False),
        sa.Column("recorded_at", sa.BigInteger(), nullable=False),
        sa.Column("recorded_by", IDENTIFIER, nullable=False),
        sa.Column("changed_at", sa.BigInteger(), nullable=True),
        sa.Column("changed_by", IDENTIFIER, nullable=True),
        sa.Column("correction_reason", sa.String(), nullable=True),
        sa.Column("quantity", sa.String(40), nullable=False),
        sa.Column("value", sa.Float(), nullable=False),
        sa.Column("unit", sa.String(40), nullable=False),
        sa.Column("relative_sd", sa.Float(), nullable=True),
        sa.ForeignKeyConstraint(
            ["site_id", "subject_id"],
            ["subjects.site_id", "subjects.id"],
            name=op.f("fk_set_points_site_id_subject_id_subjects"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_set_points")),
    )
    with op.batch_alter_table("set_points", schema=None) as batch_op:
        batch_op.create_index("ix_set_points_site_id_at", ["site_id", "at"], unique=False)
        batch_op.create_index("ix_set_points_subject_id_at", ["subject_id", "quantity", "at"], unique=False)

    op.create_table(
        "stock_changes",
        sa.Column("id", IDENTIFIER, nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("site_id", IDENTIFIER, nullable=False),
        sa.Column("subject_id", IDENTIFIER, nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("state", sa.String(16), nullable=False),
        sa.Column("entered", sa.Text(), nullable=False),
        sa.Column("sent_digest", sa.LargeBinary(), nullable=False),
        sa.Column("recorded_at", sa.BigInteger(), nullable=False),
        sa.Column("recorded_by", IDENTIFIER, nullable=False),
        sa.Column("changed_at", sa.BigInteger(), nullable=True),
        sa.Column("changed_by", IDENTIFIER, nullable=True),
        sa.Column("correction_reason", sa.String(), nullable=True),
        sa.Column("kind", sa.String(16), nullable=False),
        sa.Column("count", sa.Integer(), nullable=True),
        sa.Column("to_subject_id", IDENTIFIER, nullable=True),
        sa.ForeignKeyConstraint(
            ["site_id", "subject_id"],
            ["subjects.site_id", "subjects.id"],
            name=op.f("fk_stock_changes_site_id_subject_id_subjects"),
        ),
        sa.ForeignKeyConstraint(
            ["site_id", "to_subject_id"],
            ["subjects.site_id", "subjects.id"],
            name=op.f("fk_stock_changes_site_id_to_subject_id_subjects"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_stock_changes")),
    )
    with op.batch_alter_table("stock_changes", schema=None) as batch_op:
        batch_op.create_index("ix_stock_changes_site_id_at", ["site_id", "at"], unique=False)
        batch_op.create_index("ix_stock_changes_subject_id_at", ["subject_id", "kind", "at"], unique=False)
        batch_op.create_index("ix_stock_changes_to_subject_id", ["to_subject_id"], unique=False)

    op.create_table(
        "systems",
        sa.Column("id", IDENTIFIER, nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("site_id", IDENTIFIER, nullable=False),
        sa.Column("tag", sa.String(40), nullable=False),
        sa.Column("name", sa.String(200), nullable=False),
        sa.Column("room_id", IDENTIFIER, nullable=True),
        sa.Column("boron_factor", sa.Float(), nullable=False),
        sa.Column("quarantine_class", sa.String(16), nullable=False),
        sa.Column("described_at", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["site_id", "id"], ["subjects.site_id", "subjects.id"], name=op.f("fk_systems_site_id_id_subjects")
        ),
        sa.ForeignKeyConstraint(
            ["site_id", "room_id"],
            ["subjects.site_id", "subjects.id"],
            name=op.f("fk_systems_site_id_room_id_subjects"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_systems")),
        sa.UniqueConstraint("site_id", "tag", name=op.f("uq_systems_site_id_tag")),
    )
    op.create_table(
        "takeovers",
        sa.Column("id", IDENTIFIER, nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("site_id", IDENTIFIER, nullable=False),
        sa.Column("subject_id", IDENTIFIER, nullable=True),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("state", sa.String(16), nullable=False),
        sa.Column("entered", sa.Text(), nullable=False),
        sa.Column("sent_digest", sa.LargeBinary(), nullable=False),
        sa.Column("recorded_at", sa.BigInteger(), nullable=False),
        sa.Column("recorded_by", IDENTIFIER, nullable=False),
        sa.Column("changed_at", sa.BigInteger(), nullable=True),
        sa.Column("changed_by", IDENTIFIER, nullable=True),
        sa.Column("correction_reason", sa.String(), nullable=True),
        sa.Column("shift", sa.String(40), nullable=True),
        sa.Column("read_to", sa.Integer(), nullable=False),
        sa.Column("as_of", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["site_id", "subject_id"],
            ["subjects.site_id", "subjects.id"],
            name=op.f("fk_takeovers_site_id_subject_id_subjects"),
        ),
        sa.ForeignKeyConstraint(["site_id"], ["sites.id"], name=op.f("fk_takeovers_site_id_sites")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_takeovers")),
    )
    with op.batch_alter_table("takeovers", schema=None) as batch_op:
        batch_op.create_index("ix_takeovers_site_id_at", ["site_id", "at"], unique=False)
        batch_op.create_index("ix_takeovers_subject_id_at", ["subject_id", "shift", "at"], unique=False)

    op.create_table(
        "tanks",
        sa.Column("id", IDENTIFIER, nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("site_id", IDENTIFIER, nullable=False),
        sa.Column("tag", sa.String(40), nullable=False),
        sa.Column("name", sa.String(200), nullable=False),
        sa.Column("gross_volume", sa.Text(), nullable=True),
        sa.Column("dimensions", sa.Text(), nullable=True),
        sa.Column("displaced_volume", sa.Text(), nullable=True),
        sa.Column("described_at", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["site_id", "id"], ["subjects.site_id", "subjects.id"], name=op.f("fk_tanks_site_id_id_subjects")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_tanks")),
        sa.UniqueConstraint("site_id", "tag", name=op.f("uq_tanks_site_id_tag")),
    )
    op.create_table(
        "maintenance_events",
        sa.Column("id", IDENTIFIER, nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("site_id", IDENTIFIER, nullable=False),
        sa.Column("subject_id", IDENTIFIER, nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("state", sa.String(16), nullable=False),
        sa.Column("entered", sa.Text(), nullable=False),
        sa.Column("sent_digest", sa.LargeBinary(), nullable=False),
        sa.Column("recorded_at", sa.BigInteger(), nullable=False),
        sa.Column("recorded_by", IDENTIFIER, nullable=False),
        sa.Column("changed_at", sa.BigInteger(), nullable=True),
        sa.Column("changed_by", IDENTIFIER, nullable=True),
        sa.Column("correction_reason", sa.String(), nullable=True),
        sa.Column("kind", sa.String(16), nullable=False),
        sa.Column("plan_id", IDENTIFIER, nullable=True),
        sa.Column("what_key", sa.String(), nullable=False),
        sa.Column("restores", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["plan_id"], ["maintenance_plans.id"], name=op.f("fk_maintenance_events_plan_id_maintenance_plans")
        ),
        sa.ForeignKeyConstraint(
            ["site_id", "subject_id"],
            ["subjects.site_id", "subjects.id"],
            name=op.f("fk_maintenance_events_site_id_subject_id_subjects"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_maintenance_events")),
    )
    with op.batch_alter_table("maintenance_events", schema=None) as batch_op:
        batch_op.create_index("ix_maintenance_events_plan_id_at", ["plan_id", "at"], unique=False)
        batch_op.create_index("ix_maintenance_events_site_id_at", ["site_id", "at"], unique=False)
        batch_op.create_index("ix_maintenance_events_subject_id_at", ["subject_id", "kind", "at"], unique=False)

    op.create_table(
        "photo_pictures",
        sa.Column("photo_id", IDENTIFIER, nullable=False),
        sa.Column("site_id", IDENTIFIER, nullable=False),
        sa.Column("jpeg", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["photo_id"], ["photos.id"], name=op.f("fk_photo_pictures_photo_id_photos")),
        sa.ForeignKeyConstraint(["site_id"], ["sites.id"], name=op.f("fk_photo_pictures_site_id_sites")),
        sa.PrimaryKeyConstraint("photo_id", name=op.f("pk_photo_pictures")),
    )
    with op.batch_alter_table("photo_pictures", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_photo_pictures_site_id"), ["site_id"], unique=False)

    op.create_table(
        "recalibrations",
        sa.Column("id", IDENTIFIER, nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("site_id", IDENTIFIER, nullable=False),
        sa.Column("subject_id", IDENTIFIER, nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("state", sa.String(16), nullable=False),
        sa.Column("entered", sa.Text(), nullable=False),
        sa.Column("sent_digest", sa.LargeBinary(), nullable=False),
        sa.Column("recorded_at", sa.BigInteger(), nullable=False),
        sa.Column("recorded_by", IDENTIFIER, nullable=False),
        sa.Column("changed_at", sa.BigInteger(), nullable=True),
        sa.Column("changed_by", IDENTIFIER, nullable=True),
        sa.Column("correction_reason", sa.String(), nullable=True),
        sa.Column("series_id", IDENTIFIER, nullable=False),
        sa.Column("quantity", sa.String(40), nullable=False),
        sa.Column("method", sa.String(200), nullable=True),
        sa.Column("to_at", sa.BigInteger(), nullable=False),
        sa.Column("slope", sa.Float(), nullable=False),
        sa.Column("shift", sa.Float(), nullable=False),
        sa.ForeignKeyConstraint(
            ["site_id", "series_id"],
            ["series.site_id", "series.id"],
            name=op.f("fk_recalibrations_site_id_series_id_series"),
        ),
        sa.ForeignKeyConstraint(
            ["site_id", "subject_id"],
            ["subjects.site_id", "subjects.id"],
            name=op.f("fk_recalibrations_site_id_subject_id_subjects"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_recalibrations")),
    )
    with op.batch_alter_table("recalibrations", schema=None) as batch_op:
        batch_op.create_index("ix_recalibrations_series_id", ["series_id"], unique=False)
        batch_op.create_index("ix_recalibrations_site_id_at", ["site_id", "at"], unique=False)
        batch_op.create_index("ix_recalibrations_subject_id_at", ["subject_id", "quantity", "at"], unique=False)

    op.create_table(
        "series_batches",
        sa.Column("id", IDENTIFIER, nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("site_id", IDENTIFIER, nullable=False),
        sa.Column("series_id", IDENTIFIER, nullable=False),
        sa.Column("subject_id", IDENTIFIER, nullable=False),
        sa.Column("quantity", sa.String(40), nullable=False),
        sa.Column("method", sa.String(200), nullable=True),
        sa.Column("unit", sa.String(40), nullable=False),
        sa.Column("conditions", sa.Text(), nullable=False),
        sa.Column("first_at", sa.BigInteger(), nullable=False),
        sa.Column("last_at", sa.BigInteger(), nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.Column("digest", sa.LargeBinary(), nullable=False),
        sa.Column("recorded_at", sa.BigInteger(), nullable=False),
        sa.Column("recorded_by", IDENTIFIER, nullable=False),
        sa.ForeignKeyConstraint(
            ["site_id", "series_id"],
            ["series.site_id", "series.id"],
            name=op.f("fk_series_batches_site_id_series_id_series"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_series_batches")),
    )
    with op.batch_alter_table("series_batches", schema=None) as batch_op:
        batch_op.create_index("ix_series_batches_series_id", ["series_id"], unique=False)

    op.create_table(
        "series_blocks",
        sa.Column("series_id", IDENTIFIER, nullable=False),
        sa.Column("last_at", sa.BigInteger(), nullable=False),
        sa.Column("batch_id", IDENTIFIER, nullable=False),
        sa.Column("site_id", IDENTIFIER, nullable=False),
        sa.Column("first_at", sa.BigInteger(), nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.Column("hours", sa.LargeBinary(), nullable=True),
        sa.Column("points", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(
            ["batch_id"], ["series_batches.id"], name=op.f("fk_series_blocks_batch_id_series_batches")
        ),
        sa.ForeignKeyConstraint(
            ["site_id", "series_id"],
            ["series.site_id", "series.id"],
            name=op.f("fk_series_blocks_site_id_series_id_series"),
        ),
        sa.PrimaryKeyConstraint("series_id", "last_at", "batch_id", name=op.f("pk_series_blocks")),
    )


def downgrade() -> None:
    op.drop_table("series_blocks")
    with op.batch_alter_table("series_batches", schema=None) as batch_op:
        batch_op.drop_index("ix_series_batches_series_id")

    op.drop_table("series_batches")
    with op.batch_alter_table("recalibrations", schema=None) as batch_op:
        batch_op.drop_index("ix_recalibrations_subject_id_at")
        batch_op.drop_index("ix_recalibrations_site_id_at")
        batch_op.drop_index("ix_recalibrations_series_id")

    op.drop_table("recalibrations")
    with op.batch_alter_table("photo_pictures", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_photo_pictures_site_id"))

    op.drop_table("photo_pictures")
    with op.batch_alter_table("maintenance_events", schema=None) as batch_op:
        batch_op.drop_index("ix_maintenance_events_subject_id_at")
        batch_op.drop_index("ix_maintenance_events_site_id_at")
        batch_op.drop_index("ix_maintenance_events_plan_id_at")

    op.drop_table("maintenance_events")
    op.drop_table("tanks")
    with op.batch_alter_table("takeovers", schema=None) as batch_op:
        batch_op.drop_index("ix_takeovers_subject_id_at")
        batch_op.drop_index("ix_takeovers_site_id_at")

    op.drop_table("takeovers")
    op.drop_table("systems")
    with op.batch_alter_table("stock_changes", schema=None) as batch_op:
        batch_op.drop_index("ix_stock_changes_to_subject_id")
        batch_op.drop_index("ix_stock_changes_subject_id_at")
        batch_op.drop_index("ix_stock_changes_site_id_at")

    op.drop_table("stock_changes")
    with op.batch_alter_table("set_points", schema=None) as batch_op:
        batch_op.drop_index("ix_set_points_subject_id_at")
        batch_op.drop_index("ix_set_points_site_id_at")

    op.drop_table("set_points")
    with op.batch_alter_table("series", schema=None) as batch_op:
        batch_op.drop_index("ix_series_subject_id_quantity")

    op.drop_table("series")
    op.drop_table("rooms")
    with op.batch_alter_table("readings", schema=None) as batch_op:
        batch_op.drop_index("ix_readings_subject_id_at")
        batch_op.drop_index("ix_readings_site_id_at")

    op.drop_table("readings")
    with op.batch_alter_table("placements", schema=None) as batch_op:
        batch_op.drop_index("ix_placements_system_id")

    op.drop_table("placements")
    op.drop_table("pin_tries")
    with op.batch_alter_table("photos", schema=None) as batch_op:
        batch_op.drop_index("ix_photos_subject_id_at")
        batch_op.drop_index("ix_photos_site_id_at")
        batch_op.drop_index("ix_photos_of_id")

    op.drop_table("photos")
    with op.batch_alter_table("maintenance_plans", schema=None) as batch_op:
        batch_op.drop_index("ix_maintenance_plans_subject_id")
        batch_op.drop_index("ix_maintenance_plans_site_id")

    op.drop_table("maintenance_plans")
    with op.batch_alter_table("installations", schema=None) as batch_op:
        batch_op.drop_index(
            "uq_installations_open", sqlite_where=sa.text("to_at IS NULL"), postgresql_where=sa.text("to_at IS NULL")
        )
        batch_op.drop_index("ix_installations_site_id")
        batch_op.drop_index("ix_installations_host_id")
        batch_op.drop_index("ix_installations_equipment_id")

    op.drop_table("installations")
    with op.batch_alter_table("imported_records", schema=None) as batch_op:
        batch_op.drop_index("ix_imported_records_site_id")

    op.drop_table("imported_records")
    with op.batch_alter_table("handovers", schema=None) as batch_op:
        batch_op.drop_index("ix_handovers_subject_id_at")
        batch_op.drop_index("ix_handovers_site_id_at")

    op.drop_table("handovers")
    with op.batch_alter_table("gas_line_members", schema=None) as batch_op:
        batch_op.drop_index(
            "uq_gas_line_members_open", sqlite_where=sa.text("to_at IS NULL"), postgresql_where=sa.text("to_at IS NULL")
        )
        batch_op.drop_index("ix_gas_line_members_site_id")
        batch_op.drop_index(batch_op.f("ix_gas_line_members_line_id"))
        batch_op.drop_index("ix_gas_line_members_equipment_id")

    op.drop_table("gas_line_members")
    with op.batch_alter_table("feeds", schema=None) as batch_op:
        batch_op.drop_index(
            "uq_feeds_open", sqlite_where=sa.text("to_at IS NULL"), postgresql_where=sa.text("to_at IS NULL")
        )
        batch_op.drop_index("ix_feeds_system_id")
        batch_op.drop_index("ix_feeds_site_id")
        batch_op.drop_index("ix_feeds_reactor_id")

    op.drop_table("feeds")
    with op.batch_alter_table("failed_rows", schema=None) as batch_op:
        batch_op.drop_index("ix_failed_rows_site_id")

    op.drop_table("failed_rows")
    op.drop_table("equipment")
    with op.batch_alter_table("commissionings", schema=None) as batch_op:
        batch_op.drop_index("ix_commissionings_subject_id_at")
        batch_op.drop_index("ix_commissionings_site_id_at")

    op.drop_table("commissionings")
    with op.batch_alter_table("browser_sessions", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_browser_sessions_device_id"))

    op.drop_table("browser_sessions")
    with op.batch_alter_table("additions", schema=None) as batch_op:
        batch_op.drop_index("ix_additions_subject_id_at")
        batch_op.drop_index("ix_additions_site_id_at")

    op.drop_table("additions")
    with op.batch_alter_table("tokens", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_tokens_site_id"))

    op.drop_table("tokens")
    with op.batch_alter_table("subjects", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_subjects_site_id"))

    op.drop_table("subjects")
    op.drop_table("sign_in_links")
    with op.batch_alter_table("record_versions", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_record_versions_site_id"))

    op.drop_table("record_versions")
    op.drop_table("pins")
    op.drop_table("passwords")
    op.drop_table("lots")
    with op.batch_alter_table("imports", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_imports_site_id"))

    op.drop_table("imports")
    with op.batch_alter_table("grants", schema=None) as batch_op:
        batch_op.drop_index("uq_grants_person_site")
        batch_op.drop_index(
            "uq_grants_person_installation",
            sqlite_where=sa.text("site_id IS NULL"),
            postgresql_where=sa.text("site_id IS NULL"),
        )
        batch_op.drop_index(batch_op.f("ix_grants_site_id"))

    op.drop_table("grants")
    op.drop_table("gas_lines")
    with op.batch_alter_table("devices", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_devices_site_id"))

    op.drop_table("devices")
    op.drop_table("sites")
    with op.batch_alter_table("sign_in_attempts", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_sign_in_attempts_failed_at"))

    op.drop_table("sign_in_attempts")
    op.drop_table("people")
    op.drop_table("methods")
    with op.batch_alter_table("events", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_events_thing_id"))

    op.drop_table("events")
    op.drop_table("chain_heads")
    op.drop_table("audit_entries")
