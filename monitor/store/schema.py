"""Tables of the database. A change here needs a migration beside it in ``migrations/versions``."""

from __future__ import annotations

from sqlalchemy import (
    JSON,
    BigInteger,
    Boolean,
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    String,
    Table,
)

REVISIONS: tuple[str, ...] = ("0001",)
"""Schema revisions in order; the last is what this code needs. A revision not listed here is of a newer program."""

metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
        "pk": "pk_%(table_name)s",
    }
)

# One row for each description that was ever in force, found again by the hash of its content.
rig = Table(
    "rig",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("sha256", String(64), nullable=False, unique=True),
    Column("description", JSON, nullable=False),
    Column("created_utc_ns", BigInteger, nullable=False),
)

calibration = Table(
    "calibration",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("sha256", String(64), nullable=False, unique=True),
    Column("dated", String(40), nullable=False, default=""),
    Column("content", JSON, nullable=False),
    Column("created_utc_ns", BigInteger, nullable=False),
)

stay = Table(
    "stay",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("uid", String(64), nullable=False, unique=True),
    Column("started_utc_ns", BigInteger, nullable=False),
    Column("ended_utc_ns", BigInteger),
    Column("journal", String(255), nullable=False),
    Column("rig_id", ForeignKey("rig.id"), nullable=False),
    Column("calibration_id", ForeignKey("calibration.id")),
    Column("clock_rate", Float),
    Column("quality", JSON(none_as_null=True)),
    Column("interrupted", Boolean(create_constraint=False), nullable=False, default=False),
    Index(None, "started_utc_ns", "uid"),
)

# The whole result stands in ``result``; the columns repeat what lists, sums and reports select by.
hold = Table(
    "hold",
    metadata,
    Column("uid", String(80), primary_key=True),
    Column("stay_id", ForeignKey("stay.id"), nullable=False, index=True),
    Column("number", Integer, nullable=False),
    Column("onset_utc_ns", BigInteger, nullable=False),
    Column("utc_offset_s", Integer),
    Column("duration_s", Float, nullable=False),
    Column("duration_u_s", Float, nullable=False),
    Column("kind", String(16)),
    Column("support", String(16)),
    Column("beta_mean", Float),
    Column("alpha_mean", Float),
    Column("alpha_u", Float),
    Column("alpha_direct", Boolean(create_constraint=False), nullable=False),
    Column("clean_s", Float),
    Column("dose_bw_s", Float),
    Column("bodyweight_N", Float),
    Column("bodyweight_u_N", Float),
    Column("result", JSON, nullable=False),
    Column("measurement_version", Integer, nullable=False),
    Column("revised", Integer, nullable=False, default=0),
    Column("created_utc_ns", BigInteger, nullable=False),
    Column("changed_utc_ns", BigInteger, nullable=False),
    Column("withdrawn_utc_ns", BigInteger),
    Index(None, "onset_utc_ns", "uid"),
)

setting = Table(
    "setting",
    metadata,
    Column("key", String(128), primary_key=True),
    Column("value", JSON, nullable=False),
    Column("changed_utc_ns", BigInteger, nullable=False),
)
