"""A person's deliberate swings, whose amplitude somebody measured: their own kappa."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"


def upgrade() -> None:
    """Add the table."""
    op.create_table(
        "swing_calibration",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("person_uid", sa.String(40), sa.ForeignKey("person.uid"), nullable=False),
        sa.Column("hold_uid", sa.String(80), nullable=False),
        sa.Column("at_utc_ns", sa.BigInteger, nullable=False),
        sa.Column("after_s", sa.Float, nullable=False),
        sa.Column("measured_deg", sa.Float, nullable=False),
        sa.Column("u_measured_deg", sa.Float, nullable=False),
        sa.Column("told_deg", sa.Float, nullable=False),
        sa.Column("kappa", sa.Float, nullable=False),
        sa.Column("u_rel", sa.Float, nullable=False),
        sa.Column("removed_utc_ns", sa.BigInteger),
    )
    op.create_index("ix_swing_calibration_person_uid", "swing_calibration", ["person_uid"])


def downgrade() -> None:
    """Drop the table; the store itself never goes back."""
    op.drop_table("swing_calibration")
