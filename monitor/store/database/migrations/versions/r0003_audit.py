"""Who changed what: a list that only grows."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    """Add the list; SQLite itself then refuses to change or shorten it."""
    op.create_table(
        "audit",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("at_utc_ns", sa.BigInteger, nullable=False),
        sa.Column("who", sa.String(120), nullable=False),
        sa.Column("what", sa.String(80), nullable=False),
        sa.Column("subject", sa.String(300), nullable=False),
    )
    if op.get_bind().dialect.name == "sqlite":
        for verb in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER audit_no_{verb.lower()} BEFORE {verb} ON audit "
                "BEGIN SELECT RAISE(ABORT, 'the audit log only grows'); END"
            )


def downgrade() -> None:
    """Drop the list; the store itself never goes back."""
    op.drop_table("audit")
