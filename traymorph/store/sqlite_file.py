"""A ledger in a file: how SQLite is opened so that nothing is lost, and what its errors mean."""

import sqlite3
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.engine import URL

from traymorph.errors import StoreError


def sqlite_url(path: Path) -> URL:
    """Name a file as SQLAlchemy does."""
    return URL.create("sqlite", database=str(path.absolute()))


def sqlite_engine(url: URL, wait_s: float) -> Engine:
    """Make an engine whose every connection survives a power cut and waits for other runs.

    Parameters
    ----------
    url : URL
        With a file's path as its database.
    wait_s : float
        How long to wait for another run that is writing.

    Raises
    ------
    StoreError
        The file's folder does not exist, or the file is a folder itself.
    """
    file = Path(url.database or "")
    folder = file.parent
    if not folder.is_dir():
        msg = f"The ledger's folder {folder} does not exist."
        raise StoreError(msg, hint="Make the folder or give another place with --ledger.")
    if file.is_dir():
        msg = f"The ledger {file} is a folder."
        raise StoreError(msg, hint=f"Name a file in it with --ledger: {file / 'ledger.sqlite'}")
    engine = create_engine(url, connect_args={"timeout": wait_s})
    event.listen(engine, "connect", _prepare)
    return engine


def begin_in_file(connection: Connection, *, writes: bool) -> None:
    """Begin a transaction; one that writes locks at once instead of failing late."""
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def sqlite_error(place: str, cause: Any, wait_s: float) -> StoreError:  # noqa: ANN401
    """Say what an error of the driver means to a person.

    Parameters
    ----------
    place : str
        The file.
    cause : object
        What the driver raised.
    wait_s : float
        How long was waited for other runs.
    """
    code = getattr(cause, "sqlite_errorcode", 0) & 0xFF  # without the extended part
    told = {
        sqlite3.SQLITE_NOTADB: (
            "is no database",
            "Move it away or give another place with --ledger; it was left alone.",
        ),
        sqlite3.SQLITE_CORRUPT: (
            "is damaged",
            "Restore it from a copy, or move it away: the photos are measured again.",
        ),
        sqlite3.SQLITE_READONLY: (
            "cannot be written",
            "Check permissions, or give a place that can be written with --ledger.",
        ),
        sqlite3.SQLITE_CANTOPEN: (
            "cannot be opened",
            "Check the folder and its permissions, or give another place with --ledger.",
        ),
        sqlite3.SQLITE_BUSY: (
            f"is being written by another run for more than {wait_s:.0f} s",
            "Wait for the other run to end and try again; nothing was lost.",
        ),
        sqlite3.SQLITE_FULL: ("cannot grow: the disk is full", "Make room and run again."),
    }
    what, hint = told.get(code, (f"cannot be used ({cause})", "Check the file and its disk."))
    return StoreError(f"The ledger {place} {what}.", hint=hint)


def _prepare(connection: sqlite3.Connection, _record: object) -> None:
    # Transactions are begun by begin_in_file, not by the driver.
    connection.isolation_level = None
    cursor = connection.cursor()
    cursor.execute("PRAGMA foreign_keys = ON")
    cursor.execute("PRAGMA journal_mode = WAL")  # readers and one writer side by side
    cursor.execute("PRAGMA synchronous = FULL")  # what was recorded survives a power cut
    cursor.close()
