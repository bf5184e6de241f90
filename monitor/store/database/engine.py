"""Opens the database with the promises that this program makes, and brings its tables up to date."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable
from contextlib import closing
from functools import partial
from json import dumps
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, inspect, make_url, text
from sqlalchemy.engine import URL
from sqlalchemy.exc import ArgumentError, DatabaseError, NoSuchModuleError

from monitor.store.database.schema import REVISIONS
from monitor.store.errors import DatabaseNewer, DatabaseNotOpened, DatabaseNotOurs
from monitor.store.files.folder import private_file

BUSY_TIMEOUT_s = 10.0
_MIGRATION_KEY = 0x68616E67  # any number will do, as long as every version uses the same
_one_migration = threading.Lock()  # Alembic keeps its context in globals


def database_url(place: str | Path) -> URL:
    """Return the database's URL from a URL or from the path of an SQLite file.

    Raises
    ------
    DatabaseNotOpened
        The URL cannot be read, or names a database that lives in memory.
    """
    try:
        url = (
            make_url(place)
            if isinstance(place, str) and "://" in place
            else URL.create("sqlite", database=str(Path(place).expanduser()))
        )
    except ArgumentError as error:
        raise DatabaseNotOpened(
            what="The database's address cannot be read.",
            means="It is not known where holds should be kept.",
            do="Give the path of a file, or an address like postgresql+psycopg://user@host/name.",
        ) from error
    if url.get_backend_name() == "sqlite" and url.database in (None, "", ":memory:"):
        raise DatabaseNotOpened(
            what="The database's address names no file.",
            means="Holds kept in memory would be lost.",
            do="Give the path of a file.",
        )
    return url


def open_engines(url: URL) -> tuple[Engine, Engine]:
    """Open the database, make or update its tables, and return the engine for the writer and the one for readers.

    SQLite: WAL journal, ``synchronous=FULL`` (a commit that was acknowledged survives a power cut), foreign keys on,
    a writer that takes its lock at the beginning of a transaction, readers that cannot write.

    Raises
    ------
    DatabaseNotOpened, DatabaseNotOurs, DatabaseNewer
    """
    is_sqlite = url.get_backend_name() == "sqlite"
    if is_sqlite:
        check_sqlite_file(Path(str(url.database)), url)
    writer, readers = _engine(url, "BEGIN IMMEDIATE"), _engine(url, "BEGIN")
    if is_sqlite:
        _set_up_sqlite(writer, read_only=False)
        _set_up_sqlite(readers, read_only=True)
    try:
        # The transaction's lock keeps a second program from migrating at the same time.
        with writer.begin() as connection:
            if connection.dialect.name == "postgresql":
                connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": _MIGRATION_KEY})
            revision = _check_revision(connection, url)
            if revision != REVISIONS[-1]:
                _migrate(connection)
    except (DatabaseError, sqlite3.Error) as error:
        _close(writer, readers)
        why = error.orig if isinstance(error, DatabaseError) and error.orig else error
        raise _not_opened(url, str(why)) from error
    except BaseException:
        _close(writer, readers)
        raise
    return writer, readers


def _engine(url: URL, begin: str) -> Engine:
    """Make an engine; the driver of another database may be missing."""
    is_sqlite = url.get_backend_name() == "sqlite"
    # The writer has one connection for ever; readers may run in many threads.
    options: dict[str, Any] = {"connect_args": {"timeout": BUSY_TIMEOUT_s}} if is_sqlite else {"pool_pre_ping": True}
    try:
        engine = create_engine(
            url, json_serializer=partial(dumps, allow_nan=False, separators=(",", ":"), ensure_ascii=False), **options
        )
    except (ImportError, NoSuchModuleError) as error:
        raise DatabaseNotOpened(
            what=f"The driver for {url.drivername} is not installed.",
            means="The database cannot be reached; nothing was stored.",
            do="Install the driver into this environment, or leave the address out to use a file.",
        ) from error
    if is_sqlite:
        event.listen(engine, "begin", partial(_begin, statement=begin))
    return engine


def _begin(connection: Connection, statement: str) -> None:
    connection.exec_driver_sql(statement)


def _set_up_sqlite(engine: Engine, *, read_only: bool) -> None:
    """Set every new connection's pragmas."""
    pragmas = ["foreign_keys=ON", "synchronous=FULL"]
    pragmas += ["query_only=ON"] if read_only else ["journal_mode=WAL"]

    def connected(connection: sqlite3.Connection, _record: object) -> None:
        # The driver's own idea of transactions would commit before each change of a table.
        connection.isolation_level = None
        for pragma in pragmas:
            connection.execute(f"PRAGMA {pragma}").close()

    listener: Callable[..., None] = connected
    event.listen(engine, "connect", listener)


def check_sqlite_file(path: Path, url: URL) -> None:
    """Look at an existing file without changing it; make a private one where there is none.

    Raises
    ------
    DatabaseNotOpened, DatabaseNotOurs, DatabaseNewer
    """
    try:
        private_file(path)
        with path.open("rb") as file:
            head = file.read(16)
    except OSError as error:
        raise _not_opened(url, error.strerror or str(error)) from error
    if head and head != b"SQLite format 3\0":
        raise _not_ours(url)
    if not head:
        return
    try:
        tables, revisions = _tables_and_revisions(path, "ro")
    except sqlite3.Error as error:
        if not path.with_name(f"{path.name}-journal").exists():
            raise _not_opened(url, str(error)) from error
        # A program was ended in the middle of a change and left a note of how to take it back: SQLite does that when
        # it may write, and until then nobody can read.
        try:
            tables, revisions = _tables_and_revisions(path, "rw")
        except sqlite3.Error as again:
            raise _not_opened(url, str(again)) from again
    _judge(tables, revisions, url)


def _tables_and_revisions(path: Path, mode: str) -> tuple[set[str], list[str]]:
    with closing(
        sqlite3.connect(f"{path.absolute().as_uri()}?mode={mode}", uri=True, timeout=BUSY_TIMEOUT_s)
    ) as connection:
        tables = {name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
        rows = connection.execute("SELECT version_num FROM alembic_version") if "alembic_version" in tables else ()
        return tables, [str(row[0]) for row in rows]


def _check_revision(connection: Connection, url: URL) -> str | None:
    """Return the revision of the tables, None where there are none."""
    tables = set(inspect(connection).get_table_names())
    if "alembic_version" not in tables:
        return _judge(tables, [], url)
    rows = connection.execute(text("SELECT version_num FROM alembic_version"))
    return _judge(tables, [str(row[0]) for row in rows], url)


def _judge(tables: set[str], revisions: list[str], url: URL) -> str | None:
    """Refuse what is not ours and what is newer than this code."""
    if not tables:
        return None
    if "alembic_version" not in tables:
        raise _not_ours(url)
    unknown = [revision for revision in revisions if revision not in REVISIONS]
    if unknown:
        raise DatabaseNewer(
            what=f"The database {_name(url)} has revision {unknown[0]}; this program knows up to {REVISIONS[-1]}.",
            means="It was written by a newer version; it was left as it is.",
            do="Update this program, or give another data folder.",
        )
    return revisions[0] if revisions else None


def _migrate(connection: Connection) -> None:
    """Bring the tables to the last revision, within the caller's transaction."""
    # Alembic is slow to import on a small board and mostly not needed.
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations").replace("%", "%%"))
    config.attributes["connection"] = connection
    with _one_migration:
        command.upgrade(config, "head")


def _close(*engines: Engine) -> None:
    for engine in engines:
        engine.dispose()


def _name(url: URL) -> str:
    """Return what a person calls the database; a password is never shown."""
    return str(url.database) if url.get_backend_name() == "sqlite" else url.render_as_string(hide_password=True)


def _not_opened(url: URL, why: str) -> DatabaseNotOpened:
    return DatabaseNotOpened(
        what=f"The database {_name(url)} cannot be opened: {why.strip()}.",
        means="Earlier holds cannot be read and new ones cannot be kept.",
        do="Check that its folder is there and may be written to, and that the disk is not full; hang-monitor doctor "
        "tells whether the file is whole, and makes a new one out of a damaged one.",
    )


def _not_ours(url: URL) -> DatabaseNotOurs:
    return DatabaseNotOurs(
        what=f"{_name(url)} is no database of this program.",
        means="It was left as it is.",
        do="Give another data folder, or the path of a file that is not there yet.",
    )
