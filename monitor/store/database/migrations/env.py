"""Run by Alembic inside the transaction that the store has opened; never on its own."""

from __future__ import annotations

from alembic import context

from monitor.store.database.schema import metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    transactional_ddl=True,
    # SQLite cannot alter a column in place: Alembic then builds the table anew and copies.
    render_as_batch=True,
)
context.run_migrations()
