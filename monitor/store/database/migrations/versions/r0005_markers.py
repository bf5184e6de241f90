"""A coach's markers (cue, pain, note) beside the measurement, at a time within a stay."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"


def upgrade() -> None:
    """Add the table."""
    op.create_table(
        "marker",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("stay_id", sa.Integer, sa.ForeignKey("stay.id"), nullable=False),
        sa.Column("kind", sa.String(16), nullable=False),
        sa.Column("at_s", sa.Float, nullable=False),
        sa.Column("text", sa.Text, nullable=False),
        sa.Column("pain", sa.Integer),
        sa.Column("made_by", sa.String(120), nullable=False),
        sa.Column("made_utc_ns", sa.BigInteger, nullable=False),
        sa.Column("removed_utc_ns", sa.BigInteger),
        sa.Column("removed_by", sa.String(120)),
    )
    op.create_index("ix_marker_stay_id", "marker", ["stay_id"])


def downgrade() -> None:
    """Drop the table; the store itself never goes back."""
    op.drop_table("marker")
