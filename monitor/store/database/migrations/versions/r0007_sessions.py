"""The table of stays becomes that of sessions, and a hold's ``seen_kind`` its ``corrected_kind``."""

from __future__ import annotations

from alembic import op

revision = "0007"
down_revision = "0006"

_INDEXES = (
    ("session", "ix_stay_started_utc_ns_uid", "ix_session_started_utc_ns_uid", ["started_utc_ns", "uid"]),
    ("session", "ix_stay_person_uid", "ix_session_person_uid", ["person_uid"]),
    ("correction", "ix_correction_stay_id", "ix_correction_session_id", ["session_id"]),
    ("hold", "ix_hold_stay_id", "ix_hold_session_id", ["session_id"]),
    ("marker", "ix_marker_stay_id", "ix_marker_session_id", ["session_id"]),
)
_CONSTRAINTS = (
    ("session", "pk_stay", "pk_session"),
    ("session", "uq_stay_uid", "uq_session_uid"),
    ("session", "fk_stay_rig_id_rig", "fk_session_rig_id_rig"),
    ("session", "fk_stay_calibration_id_calibration", "fk_session_calibration_id_calibration"),
    ("session", "fk_stay_person_uid_person", "fk_session_person_uid_person"),
    ("correction", "fk_correction_stay_id_stay", "fk_correction_session_id_session"),
    ("hold", "fk_hold_stay_id_stay", "fk_hold_session_id_session"),
    ("marker", "fk_marker_stay_id_stay", "fk_marker_session_id_session"),
)


def upgrade() -> None:
    """Rename the table, the columns, and the indexes and constraints named after them; no row changes."""
    for table, old, _new, _columns in _INDEXES:
        op.drop_index(old, "stay" if table == "session" else table)
    op.rename_table("stay", "session")
    for table in ("correction", "hold", "marker"):
        # Plain SQL: Alembic would rebuild the whole table on SQLite, which is able to rename a column by itself.
        op.execute(f"ALTER TABLE {table} RENAME COLUMN stay_id TO session_id")
    op.execute("ALTER TABLE hold RENAME COLUMN seen_kind TO corrected_kind")
    for table, _old, new, columns in _INDEXES:
        op.create_index(new, table, columns)
    _rename_constraints([(table, old, new) for table, old, new in _CONSTRAINTS])


def downgrade() -> None:
    """Go back to the old names; the store itself never does."""
    _rename_constraints([(table, new, old) for table, old, new in _CONSTRAINTS])
    for table, _old, new, _columns in _INDEXES:
        op.drop_index(new, table)
    op.execute("ALTER TABLE hold RENAME COLUMN corrected_kind TO seen_kind")
    for table in ("correction", "hold", "marker"):
        op.execute(f"ALTER TABLE {table} RENAME COLUMN session_id TO stay_id")
    op.rename_table("session", "stay")
    for table, old, _new, columns in _INDEXES:
        old_table = "stay" if table == "session" else table
        op.create_index(old, old_table, [column.replace("session_id", "stay_id") for column in columns])


def _rename_constraints(renames: list[tuple[str, str, str]]) -> None:
    """Rename constraints in place.

    SQLite has no statement for it. Building the tables anew would need foreign keys switched off, which a transaction
    cannot do; editing the stored definition is what SQLite's documentation of ALTER TABLE advises for changes that do
    not touch the stored rows.
    """
    connection = op.get_bind()
    if connection.dialect.name != "sqlite":
        for table, old, new in renames:
            op.execute(f"ALTER TABLE {table} RENAME CONSTRAINT {old} TO {new}")
        return
    version = connection.exec_driver_sql("PRAGMA schema_version").scalar_one()
    connection.exec_driver_sql("PRAGMA writable_schema=ON")
    for table, old, new in renames:
        connection.exec_driver_sql(
            "UPDATE sqlite_master SET sql = replace(sql, ?, ?) WHERE type = 'table' AND name = ?",
            (f"CONSTRAINT {old} ", f"CONSTRAINT {new} ", table),
        )
    # A higher version makes every connection read the definitions again.
    connection.exec_driver_sql(f"PRAGMA schema_version={version + 1}")
    connection.exec_driver_sql("PRAGMA writable_schema=OFF")
