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
    Text,
)

REVISIONS: tuple[str, ...] = ("0001", "0002", "0003", "0004", "0005", "0006", "0007")
"""Schema revisions in order; the last is what this code needs. A revision not listed here is of a newer program."""

FORMER_TABLES = {"session": "stay"}
FORMER_COLUMNS = {"session_id": "stay_id", "corrected_kind": "seen_kind"}
"""Names up to revision 0006, for reading an older file that has not been migrated."""

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

# Nothing but the name is needed: initials do. An erased person keeps an empty row: the uid is never given twice.
person = Table(
    "person",
    metadata,
    Column("uid", String(40), primary_key=True),
    Column("name", String(120), nullable=False),
    Column("stature_m", Float),
    Column("notes", Text, nullable=False, default=""),
    Column("consent_on", String(10)),
    Column("units", String(8), nullable=False, default="kgf"),
    Column("time_zone", String(64), nullable=False, default="UTC"),
    Column("created_utc_ns", BigInteger, nullable=False),
    Column("changed_utc_ns", BigInteger, nullable=False),
    Column("erased_utc_ns", BigInteger),
)

intake = Table(
    "intake",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("person_uid", ForeignKey("person.uid"), nullable=False, index=True),
    Column("at_utc_ns", BigInteger, nullable=False),
    Column("answers", JSON, nullable=False),
    Column("outcome", JSON, nullable=False),
)

pain_entry = Table(
    "pain_entry",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("person_uid", ForeignKey("person.uid"), nullable=False, index=True),
    Column("at_utc_ns", BigInteger, nullable=False),
    Column("pain", Integer, nullable=False),
    Column("place", String(16)),
    Column("symptoms", JSON, nullable=False),
    Column("hold_uid", String(80)),
    Column("item", String(40)),
    Column("tried", JSON, nullable=False),
    Column("note", Text, nullable=False, default=""),
)

programme = Table(
    "programme",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("person_uid", ForeignKey("person.uid"), nullable=False, index=True),
    Column("since_utc_ns", BigInteger, nullable=False),
    Column("content", JSON, nullable=False),
)

# Hangs away from the rig, entered by hand: never mixed up with what was measured.
manual_hang = Table(
    "manual_hang",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("person_uid", ForeignKey("person.uid"), nullable=False, index=True),
    Column("at_utc_ns", BigInteger, nullable=False),
    Column("duration_s", Float, nullable=False),
    Column("kind", String(16)),
    Column("note", Text, nullable=False, default=""),
    Column("created_utc_ns", BigInteger, nullable=False),
    Column("removed_utc_ns", BigInteger),
)

session = Table(
    "session",
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
    Column("person_uid", ForeignKey("person.uid")),
    Index(None, "started_utc_ns", "uid"),
    Index(None, "person_uid"),
)

# A coach's word beside the measurement, never instead of it: what everyone sees follows from both.
correction = Table(
    "correction",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("session_id", ForeignKey("session.id"), nullable=False, index=True),
    Column("hold_uid", String(80), nullable=False, index=True),
    Column("kind", String(16), nullable=False),
    Column("content", JSON, nullable=False),
    Column("reason", Text, nullable=False),
    Column("made_by", String(120), nullable=False),
    Column("at_utc_ns", BigInteger, nullable=False),
    Column("undone_utc_ns", BigInteger),
    Column("undone_by", String(120)),
)

# The whole result stands in ``result``; the columns repeat what lists, sums and reports select by. ``corrected_kind``
# and ``hidden`` are what corrections make of a measured hold; rows with ``made_by`` are made by a correction.
hold = Table(
    "hold",
    metadata,
    Column("uid", String(80), primary_key=True),
    Column("session_id", ForeignKey("session.id"), nullable=False, index=True),
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
    Column("person_uid", ForeignKey("person.uid")),
    Column("corrected_kind", String(16)),
    Column("hidden", String(16)),
    Column("made_by", ForeignKey("correction.id")),
    Column("target_s", Float),
    Column("ending", String(16)),
    Index(None, "onset_utc_ns", "uid"),
    # Wide, so that a search reads the index and not the rows with their long results.
    Index(
        "ix_hold_of_person",
        "person_uid",
        "onset_utc_ns",
        "uid",
        "withdrawn_utc_ns",
        "hidden",
        "corrected_kind",
        "support",
        "duration_s",
        "alpha_mean",
    ),
    Index(
        "ix_hold_search",
        "onset_utc_ns",
        "uid",
        "withdrawn_utc_ns",
        "hidden",
        "corrected_kind",
        "support",
        "duration_s",
        "alpha_mean",
    ),
)

# What a coach noted of an instant; the time is that of the session's holds. Nothing of it changes a measurement.
marker = Table(
    "marker",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("session_id", ForeignKey("session.id"), nullable=False, index=True),
    Column("kind", String(16), nullable=False),
    Column("at_s", Float, nullable=False),
    Column("text", Text, nullable=False, default=""),
    Column("pain", Integer),
    Column("made_by", String(120), nullable=False),
    Column("made_utc_ns", BigInteger, nullable=False),
    Column("removed_utc_ns", BigInteger),
    Column("removed_by", String(120)),
)

# What somebody measured of a deliberate swing, and the kappa that follows: the person's own pendulum.
swing_calibration = Table(
    "swing_calibration",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("person_uid", ForeignKey("person.uid"), nullable=False, index=True),
    Column("hold_uid", String(80), nullable=False),
    Column("at_utc_ns", BigInteger, nullable=False),
    Column("after_s", Float, nullable=False),
    Column("measured_deg", Float, nullable=False),
    Column("u_measured_deg", Float, nullable=False),
    Column("told_deg", Float, nullable=False),
    Column("kappa", Float, nullable=False),
    Column("u_rel", Float, nullable=False),
    Column("removed_utc_ns", BigInteger),
)

setting = Table(
    "setting",
    metadata,
    Column("key", String(128), primary_key=True),
    Column("value", JSON, nullable=False),
    Column("changed_utc_ns", BigInteger, nullable=False),
)

# Grows only: in SQLite triggers refuse to change or delete a row.
audit = Table(
    "audit",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("at_utc_ns", BigInteger, nullable=False),
    Column("who", String(120), nullable=False),
    Column("what", String(80), nullable=False),
    Column("subject", String(300), nullable=False, default=""),
)

earlier_result = Table(
    "earlier_result",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("hold_uid", ForeignKey("hold.uid"), nullable=False, index=True),
    Column("measurement_version", Integer, nullable=False),
    Column("bodyweight_N", Float),
    Column("bodyweight_u_N", Float),
    Column("result", JSON, nullable=False),
    Column("replaced_utc_ns", BigInteger, nullable=False),
)
