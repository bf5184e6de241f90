"""Results of earlier versions of the measurement stay when a hold is measured anew."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    """Add the table."""
    op.create_table(
        "earlier_result",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("hold_uid", sa.String(80), sa.ForeignKey("hold.uid"), nullable=False),
        sa.Column("measurement_version", sa.Integer, nullable=False),
        sa.Column("bodyweight_N", sa.Float),
        sa.Column("bodyweight_u_N", sa.Float),
        sa.Column("result", sa.JSON, nullable=False),
        sa.Column("replaced_utc_ns", sa.BigInteger, nullable=False),
    )
    op.create_index("ix_earlier_result_hold_uid", "earlier_result", ["hold_uid"])


def downgrade() -> None:
    """Drop the table; the store itself never goes back."""
    op.drop_table("earlier_result")
