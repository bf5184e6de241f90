"""People, what is known of them, who hangs, and corrections of holds."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"

SEARCHED = ("withdrawn_utc_ns", "hidden", "seen_kind", "support", "duration_s", "alpha_mean")


def _of_person(table: str) -> sa.Column[str]:
    return sa.Column(
        "person_uid", sa.String(40), sa.ForeignKey("person.uid", name=f"fk_{table}_person_uid_person"), nullable=False
    )


def upgrade() -> None:
    """Add tables; old stays belong to nobody, old holds are seen as they were measured."""
    op.create_table(
        "person",
        sa.Column("uid", sa.String(40), primary_key=True),
        sa.Column("name", sa.String(120), nullable=False),
        sa.Column("stature_m", sa.Float),
        sa.Column("notes", sa.Text, nullable=False),
        sa.Column("consent_on", sa.String(10)),
        sa.Column("units", sa.String(8), nullable=False),
        sa.Column("time_zone", sa.String(64), nullable=False),
        sa.Column("created_utc_ns", sa.BigInteger, nullable=False),
        sa.Column("changed_utc_ns", sa.BigInteger, nullable=False),
        sa.Column("erased_utc_ns", sa.BigInteger),
    )
    op.create_table(
        "intake",
        sa.Column("id", sa.Integer, primary_key=True),
        _of_person("intake"),
        sa.Column("at_utc_ns", sa.BigInteger, nullable=False),
        sa.Column("answers", sa.JSON, nullable=False),
        sa.Column("outcome", sa.JSON, nullable=False),
    )
    op.create_table(
        "pain_entry",
        sa.Column("id", sa.Integer, primary_key=True),
        _of_person("pain_entry"),
        sa.Column("at_utc_ns", sa.BigInteger, nullable=False),
        sa.Column("pain", sa.Integer, nullable=False),
        sa.Column("place", sa.String(16)),
        sa.Column("symptoms", sa.JSON, nullable=False),
        sa.Column("hold_uid", sa.String(80)),
        sa.Column("item", sa.String(40)),
        sa.Column("tried", sa.JSON, nullable=False),
        sa.Column("note", sa.Text, nullable=False),
    )
    op.create_table(
        "programme",
        sa.Column("id", sa.Integer, primary_key=True),
        _of_person("programme"),
        sa.Column("since_utc_ns", sa.BigInteger, nullable=False),
        sa.Column("content", sa.JSON, nullable=False),
    )
    op.create_table(
        "manual_hang",
        sa.Column("id", sa.Integer, primary_key=True),
        _of_person("manual_hang"),
        sa.Column("at_utc_ns", sa.BigInteger, nullable=False),
        sa.Column("duration_s", sa.Float, nullable=False),
        sa.Column("kind", sa.String(16)),
        sa.Column("note", sa.Text, nullable=False),
        sa.Column("created_utc_ns", sa.BigInteger, nullable=False),
        sa.Column("removed_utc_ns", sa.BigInteger),
    )
    for table in ("intake", "pain_entry", "programme", "manual_hang"):
        op.create_index(f"ix_{table}_person_uid", table, ["person_uid"])
    op.create_table(
        "correction",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("stay_id", sa.Integer, sa.ForeignKey("stay.id", name="fk_correction_stay_id_stay"), nullable=False),
        sa.Column("hold_uid", sa.String(80), nullable=False),
        sa.Column("kind", sa.String(16), nullable=False),
        sa.Column("content", sa.JSON, nullable=False),
        sa.Column("reason", sa.Text, nullable=False),
        sa.Column("made_by", sa.String(120), nullable=False),
        sa.Column("at_utc_ns", sa.BigInteger, nullable=False),
        sa.Column("undone_utc_ns", sa.BigInteger),
        sa.Column("undone_by", sa.String(120)),
    )
    op.create_index("ix_correction_stay_id", "correction", ["stay_id"])
    op.create_index("ix_correction_hold_uid", "correction", ["hold_uid"])
    # A plain ALTER leaves the rows where they are; to build the tables anew would break what refers to them.
    for table in ("stay", "hold"):
        op.execute(
            f"ALTER TABLE {table} ADD COLUMN person_uid VARCHAR(40) "
            f"CONSTRAINT fk_{table}_person_uid_person REFERENCES person (uid)"
        )
    op.execute(
        "ALTER TABLE hold ADD COLUMN made_by INTEGER CONSTRAINT fk_hold_made_by_correction REFERENCES correction (id)"
    )
    op.add_column("hold", sa.Column("seen_kind", sa.String(16)))
    op.add_column("hold", sa.Column("hidden", sa.String(16)))
    op.add_column("hold", sa.Column("target_s", sa.Float))
    op.add_column("hold", sa.Column("ending", sa.String(16)))
    op.execute("UPDATE hold SET seen_kind = kind")
    op.create_index("ix_stay_person_uid", "stay", ["person_uid"])
    op.create_index("ix_hold_of_person", "hold", ["person_uid", "onset_utc_ns", "uid", *SEARCHED])
    op.create_index("ix_hold_search", "hold", ["onset_utc_ns", "uid", *SEARCHED])


def downgrade() -> None:
    """Go back to holds of nobody; the store itself never does."""
    for index in ("ix_hold_search", "ix_hold_of_person"):
        op.drop_index(index, "hold")
    op.drop_index("ix_stay_person_uid", "stay")
    for column in ("ending", "target_s", "hidden", "seen_kind", "made_by", "person_uid"):
        op.drop_column("hold", column)
    op.drop_column("stay", "person_uid")
    for table in ("correction", "manual_hang", "programme", "pain_entry", "intake", "person"):
        op.drop_table(table)
