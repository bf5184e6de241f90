"""What holds for every test."""

from __future__ import annotations

import gc
import os
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from sqlalchemy import Connection

# As the command line does, before NumPy is there; and several tests run side by side.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

MIGRATIONS_ARE_TESTED_IN = "tests/store/"
LONG_FILES_IN = [
    "browser", "trust", "board", "service", "release", "jobs", "analysis", "cli", "newtons_calibration", "demo",
    "shapes", "pipeline", "reports", "physics", "coaching",
]  # fmt: skip
"""Folders whose files take longest: with a worker for each file, none of these may be the last to begin."""


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers() -> int:
    """Start a worker more than there are processors: tests that wait for real time leave a fifth of them idle."""
    return len(os.sched_getaffinity(0)) + 1


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with the files that take long."""
    here = Path(__file__).parent

    def rank(item: pytest.Item) -> int:
        folder = item.path.relative_to(here).parts[0] if item.path.is_relative_to(here) else ""
        return [*LONG_FILES_IN, folder].index(folder)

    items.sort(key=rank)


def pytest_collection_finish() -> None:
    """Leave what was imported out of every later search for garbage, and search less often: it was a tenth of all."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(20_000, 20, 20)


@pytest.fixture(scope="session", autouse=True)
def new_databases_at_once() -> Iterator[None]:
    """Make a new database's tables by the statements that the migrations came to, once they have run.

    Hundreds of tests begin with an empty database, and the migrations give all of them the same one. Where migrations
    are tested, and in every database that has tables already, they run.
    """
    from monitor.store.database import engine

    migrate = engine._migrate
    made: list[str] = []

    def migrate_or_repeat(connection: Connection) -> None:
        here = os.environ.get("PYTEST_CURRENT_TEST", "").startswith(MIGRATIONS_ARE_TESTED_IN)
        if here or connection.dialect.name != "sqlite" or _things(connection):
            migrate(connection)
        elif made:
            for statement in made:
                connection.exec_driver_sql(statement)
        else:
            migrate(connection)
            made.extend(_as_statements(connection))

    engine._migrate = migrate_or_repeat
    yield
    engine._migrate = migrate


def _things(connection: Connection) -> list[tuple[str, str, str]]:
    """Return kind, name and statement of a database's tables and indexes."""
    result = connection.exec_driver_sql(
        "SELECT type, name, sql FROM sqlite_master WHERE sql IS NOT NULL AND name NOT LIKE 'sqlite!_%' ESCAPE '!'"
    )
    return [(kind, name, sql) for kind, name, sql in result]


def _as_statements(connection: Connection) -> list[str]:
    """Return what makes a database like this new one: tables without a row, indexes, the revision."""
    things = _things(connection)
    for kind, name, _ in things:
        if kind == "table" and name != "alembic_version":
            assert connection.exec_driver_sql(f'SELECT count(*) FROM "{name}"').scalar() == 0
    (revision,) = connection.exec_driver_sql("SELECT version_num FROM alembic_version").scalars()
    return [sql for *_, sql in things] + [f"INSERT INTO alembic_version VALUES ('{revision}')"]
