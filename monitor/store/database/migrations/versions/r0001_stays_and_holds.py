"""Rigs, calibrations, stays, holds and settings."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the first tables."""
    op.create_table(
        "rig",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("description", sa.JSON, nullable=False),
        sa.Column("created_utc_ns", sa.BigInteger, nullable=False),
        sa.UniqueConstraint("sha256", name="uq_rig_sha256"),
    )
    op.create_table(
        "calibration",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("dated", sa.String(40), nullable=False),
        sa.Column("content", sa.JSON, nullable=False),
        sa.Column("created_utc_ns", sa.BigInteger, nullable=False),
        sa.UniqueConstraint("sha256", name="uq_calibration_sha256"),
    )
    op.create_table(
        "stay",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("uid", sa.String(64), nullable=False),
        sa.Column("started_utc_ns", sa.BigInteger, nullable=False),
        sa.Column("ended_utc_ns", sa.BigInteger),
        sa.Column("journal", sa.String(255), nullable=False),
        sa.Column("rig_id", sa.Integer, sa.ForeignKey("rig.id", name="fk_stay_rig_id_rig"), nullable=False),
        sa.Column(
            "calibration_id", sa.Integer, sa.ForeignKey("calibration.id", name="fk_stay_calibration_id_calibration")
        ),
        sa.Column("clock_rate", sa.Float),
        sa.Column("quality", sa.JSON),
        sa.Column("interrupted", sa.Boolean, nullable=False),
        sa.UniqueConstraint("uid", name="uq_stay_uid"),
    )
    op.create_index("ix_stay_started_utc_ns_uid", "stay", ["started_utc_ns", "uid"])
    op.create_table(
        "hold",
        sa.Column("uid", sa.String(80), primary_key=True),
        sa.Column("stay_id", sa.Integer, sa.ForeignKey("stay.id", name="fk_hold_stay_id_stay"), nullable=False),
        sa.Column("number", sa.Integer, nullable=False),
        sa.Column("onset_utc_ns", sa.BigInteger, nullable=False),
        sa.Column("utc_offset_s", sa.Integer),
        sa.Column("duration_s", sa.Float, nullable=False),
        sa.Column("duration_u_s", sa.Float, nullable=False),
        sa.Column("kind", sa.String(16)),
        sa.Column("support", sa.String(16)),
        sa.Column("beta_mean", sa.Float),
        sa.Column("alpha_mean", sa.Float),
        sa.Column("alpha_u", sa.Float),
        sa.Column("alpha_direct", sa.Boolean, nullable=False),
        sa.Column("clean_s", sa.Float),
        sa.Column("dose_bw_s", sa.Float),
        sa.Column("bodyweight_N", sa.Float),
        sa.Column("bodyweight_u_N", sa.Float),
        sa.Column("result", sa.JSON, nullable=False),
        sa.Column("measurement_version", sa.Integer, nullable=False),
        sa.Column("revised", sa.Integer, nullable=False),
        sa.Column("created_utc_ns", sa.BigInteger, nullable=False),
        sa.Column("changed_utc_ns", sa.BigInteger, nullable=False),
        sa.Column("withdrawn_utc_ns", sa.BigInteger),
    )
    op.create_index("ix_hold_stay_id", "hold", ["stay_id"])
    op.create_index("ix_hold_onset_utc_ns_uid", "hold", ["onset_utc_ns", "uid"])
    op.create_table(
        "setting",
        sa.Column("key", sa.String(128), primary_key=True),
        sa.Column("value", sa.JSON, nullable=False),
        sa.Column("changed_utc_ns", sa.BigInteger, nullable=False),
    )


def downgrade() -> None:
    """Drop everything; the store itself never goes back."""
    for table in ("setting", "hold", "stay", "calibration", "rig"):
        op.drop_table(table)
