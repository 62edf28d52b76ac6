"""Opening the ledger's database, and what its errors mean to a person."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, inspect, select
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, IntegrityError

from traymorph.errors import StoreError
from traymorph.store.migrations import bring_up_to_date
from traymorph.store.schema import SCHEMA_VERSION, metadata, schema_versions

_WAIT_S = 30.0  # for another run that is writing; a write takes milliseconds
_WRITES = "traymorph_writes"


def open_database(location: str | Path) -> Engine:
    """Open a ledger, making it where there is none.

    Parameters
    ----------
    location : str or Path
        A file, or a database URL (``sqlite:///...``).

    Raises
    ------
    StoreError
        It cannot be opened or written, is no ledger, or was written by a newer version.
    """
    url = _url_of(location)
    path = Path(url.database or "")
    if not path.parent.is_dir():
        msg = f"The ledger's folder {path.parent} does not exist."
        raise StoreError(msg, hint="Make the folder or give another place with --ledger.")
    engine = create_engine(url, connect_args={"timeout": _WAIT_S})
    event.listen(engine, "connect", _prepare)
    event.listen(engine, "begin", _begin)
    try:
        with writing(engine) as connection:
            _check_or_make(connection, path)
    except StoreError:
        engine.dispose()
        raise
    return engine


@contextmanager
def writing(engine: Engine) -> Iterator[Connection]:
    """Give a transaction that writes: all of it is kept, or nothing.

    Raises
    ------
    StoreError
        The database cannot be written.
    """
    with (
        _told(engine),
        engine.connect().execution_options(**{_WRITES: True}) as connection,
        connection.begin(),
    ):
        yield connection


@contextmanager
def reading(engine: Engine) -> Iterator[Connection]:
    """Give a transaction that reads one state of the ledger.

    Raises
    ------
    StoreError
        The database cannot be read.
    """
    with _told(engine), engine.connect() as connection, connection.begin():
        yield connection


def now() -> str:
    """Time in UTC as ISO 8601, to the second."""
    return datetime.now(UTC).isoformat(timespec="seconds")


def _url_of(location: str | Path) -> URL:
    if isinstance(location, Path) or "://" not in location:
        return URL.create("sqlite", database=str(Path(location).absolute()))
    try:
        url = make_url(location)
    except (ArgumentError, ValueError) as err:
        msg = "The ledger's place is not a usable database URL."
        raise StoreError(
            msg, hint="Give a file, or a URL like sqlite:////farm/ledger.sqlite."
        ) from err
    if url.get_backend_name() != "sqlite" or not url.database:
        shown = url.render_as_string(hide_password=True)
        msg = f"Ledgers at {shown} are not supported by this version."
        raise StoreError(msg, hint="Give a file, or a URL like sqlite:////farm/ledger.sqlite.")
    return url


def _prepare(connection: sqlite3.Connection, _record: object) -> None:
    # Transactions are begun by _begin, so that a writer locks at once instead of failing late.
    connection.isolation_level = None
    cursor = connection.cursor()
    cursor.execute("PRAGMA foreign_keys = ON")
    cursor.execute("PRAGMA journal_mode = WAL")  # readers and one writer side by side
    cursor.execute("PRAGMA synchronous = FULL")  # what was recorded survives a power cut
    cursor.close()


def _begin(connection: Connection) -> None:
    writes = connection.get_execution_options().get(_WRITES, False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _check_or_make(connection: Connection, path: Path) -> None:
    present = set(inspect(connection).get_table_names())
    if not present:
        metadata.create_all(connection)
        connection.execute(
            schema_versions.insert().values(version=SCHEMA_VERSION, applied_at=now())
        )
        return
    if schema_versions.name not in present:
        msg = f"{path} is a database, but not a ledger of traymorph."
        raise StoreError(msg, hint="Give another place with --ledger; this file was left alone.")
    version = connection.execute(select(schema_versions.c.version)).scalars().all()
    newest = max(version, default=0)
    if newest > SCHEMA_VERSION:
        msg = (
            f"{path} was written by a newer traymorph (ledger version {newest}, this one reads "
            f"{SCHEMA_VERSION})."
        )
        raise StoreError(msg, hint="Update traymorph: pip install --upgrade traymorph.")
    for step in bring_up_to_date(connection, newest):
        connection.execute(schema_versions.insert().values(version=step, applied_at=now()))


@contextmanager
def _told(engine: Engine) -> Iterator[None]:
    try:
        yield
    except IntegrityError:
        raise
    except DBAPIError as err:
        raise _store_error(engine.url.database, err.orig) from err


def _store_error(place: str | None, cause: Any) -> StoreError:  # noqa: ANN401 - drivers differ
    code = getattr(cause, "sqlite_errorcode", 0) & 0xFF  # without the extended part
    told = {
        sqlite3.SQLITE_NOTADB: (
            "is no database",
            "Move it away or give another place with --ledger; it was left alone.",
        ),
        sqlite3.SQLITE_CORRUPT: ("is damaged", "Restore it from a copy, or move it away."),
        sqlite3.SQLITE_READONLY: (
            "cannot be written",
            "Check permissions, or give a place that can be written with --ledger.",
        ),
        sqlite3.SQLITE_CANTOPEN: (
            "cannot be opened",
            "Check the folder and its permissions, or give another place with --ledger.",
        ),
        sqlite3.SQLITE_BUSY: (
            f"is being written by another run for more than {_WAIT_S:.0f} s",
            "Wait for the other run to end and try again; nothing was lost.",
        ),
        sqlite3.SQLITE_FULL: ("cannot grow: the disk is full", "Make room and run again."),
    }
    what, hint = told.get(code, (f"cannot be used ({cause})", "Check the file and its disk."))
    return StoreError(f"The ledger {place} {what}.", hint=hint)
