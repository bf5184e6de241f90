"""A stay on the rig is called a session, and the kind that corrections make of a hold is called that."""

from __future__ import annotations

from alembic import op

revision = "0007"
down_revision = "0006"

_INDEXES = (
    ("stay", "ix_stay_started_utc_ns_uid", "ix_session_started_utc_ns_uid", ["started_utc_ns", "uid"]),
    ("stay", "ix_stay_person_uid", "ix_session_person_uid", ["person_uid"]),
    ("correction", "ix_correction_stay_id", "ix_correction_session_id", ["session_id"]),
    ("hold", "ix_hold_stay_id", "ix_hold_session_id", ["session_id"]),
    ("marker", "ix_marker_stay_id", "ix_marker_session_id", ["session_id"]),
)


def upgrade() -> None:
    """Rename the table, its references and their indexes; no row changes."""
    for table, old, _new, _columns in _INDEXES:
        op.drop_index(old, table)
    op.rename_table("stay", "session")
    for table in ("correction", "hold", "marker"):
        op.alter_column(table, "stay_id", new_column_name="session_id")
    op.alter_column("hold", "seen_kind", new_column_name="corrected_kind")
    for table, _old, new, columns in _INDEXES:
        op.create_index(new, "session" if table == "stay" else table, columns)


def downgrade() -> None:
    """Go back to the old names; the store itself never goes back."""
    for table, _old, new, _columns in _INDEXES:
        op.drop_index(new, "session" if table == "stay" else table)
    op.alter_column("hold", "corrected_kind", new_column_name="seen_kind")
    for table in ("correction", "hold", "marker"):
        op.alter_column(table, "session_id", new_column_name="stay_id")
    op.rename_table("session", "stay")
    for table, old, _new, columns in _INDEXES:
        op.create_index(old, table, [column.replace("session_id", "stay_id") for column in columns])
