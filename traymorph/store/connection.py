"""Opening the ledger's database, and telling its errors; the same for a file and for a server."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

from sqlalchemy import Connection, Engine, event, inspect, select
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, IntegrityError

from traymorph.errors import StoreError
from traymorph.store.migrations import bring_up_to_date
from traymorph.store.postgresql import (
    begin_on_server,
    is_postgresql,
    postgresql_engine,
    postgresql_error,
    postgresql_place,
)
from traymorph.store.schema import SCHEMA_VERSION, metadata, schema_versions
from traymorph.store.sqlite_file import begin_in_file, sqlite_engine, sqlite_error, sqlite_url

_WAIT_S = 30.0  # for another run that is writing; a write takes milliseconds
_WRITES = "traymorph_writes"
_GIVE_A_PLACE = (
    "Give a file, or a URL like sqlite:////farm/ledger.sqlite or postgresql://user@host/farm."
)


def open_database(location: str | Path) -> Engine:
    """Open a ledger, making it where there is none.

    Parameters
    ----------
    location : str or Path
        A file, or a database URL (``sqlite:///...``, ``postgresql://...``).

    Raises
    ------
    StoreError
        It cannot be opened or written, is no ledger, or was written by a newer version.
    MissingDependencyError
        The driver of a server is not installed.
    """
    url = _url_of(location)
    engine = postgresql_engine(url) if is_postgresql(url) else sqlite_engine(url, _WAIT_S)
    event.listen(engine, "begin", _begin)
    try:
        with writing(engine) as connection:
            _check_or_make(connection, place_of(engine))
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


def folder_of(engine: Engine) -> Path | None:
    """Folder that a ledger's file lies in; None for one on a server."""
    if is_postgresql(engine.url):
        return None
    return Path(engine.url.database or "").resolve().parent


def place_of(engine: Engine) -> str:
    """Name a ledger in messages, without its password."""
    if is_postgresql(engine.url):
        return postgresql_place(engine.url)
    return engine.url.database or ""


def _url_of(location: str | Path) -> URL:
    if isinstance(location, Path) or "://" not in location:
        return sqlite_url(Path(location))
    try:
        url = make_url(location)
    except (ArgumentError, ValueError) as err:
        msg = "The ledger's place is not a usable database URL."
        raise StoreError(msg, hint=_GIVE_A_PLACE) from err
    if not is_postgresql(url) and url.get_backend_name() != "sqlite":
        msg = f"Ledgers in a database of the kind {url.drivername} are not supported."
        raise StoreError(msg, hint=_GIVE_A_PLACE)
    if not url.database:
        msg = f"The ledger's URL names no {'database' if is_postgresql(url) else 'file'}."
        raise StoreError(msg, hint=_GIVE_A_PLACE)
    return url


def _begin(connection: Connection) -> None:
    writes = bool(connection.get_execution_options().get(_WRITES, False))
    if is_postgresql(connection.engine.url):
        begin_on_server(connection, writes=writes, wait_s=_WAIT_S)
    else:
        begin_in_file(connection, writes=writes)


def _check_or_make(connection: Connection, place: str) -> None:
    present = set(inspect(connection).get_table_names())
    if not present:
        metadata.create_all(connection)
        connection.execute(
            schema_versions.insert().values(version=SCHEMA_VERSION, applied_at=now())
        )
        return
    if schema_versions.name not in present:
        msg = f"{place} is a database, but not a ledger of traymorph."
        raise StoreError(
            msg, hint="Give a place of its own with --ledger; this database was left alone."
        )
    newest = max(connection.execute(select(schema_versions.c.version)).scalars(), default=0)
    if newest > SCHEMA_VERSION:
        msg = (
            f"{place} was written by a newer traymorph (ledger version {newest}, this one reads "
            f"{SCHEMA_VERSION})."
        )
        raise StoreError(msg, hint="Update traymorph: pip install --upgrade traymorph.")
    if newest < 1:
        msg = f"The ledger {place} is damaged: it does not say of which version it is."
        raise StoreError(msg, hint="Restore it from a copy, or give another place with --ledger.")
    for step in bring_up_to_date(connection, newest):
        connection.execute(schema_versions.insert().values(version=step, applied_at=now()))


@contextmanager
def _told(engine: Engine) -> Iterator[None]:
    try:
        yield
    except IntegrityError:
        raise
    except DBAPIError as err:
        explain = postgresql_error if is_postgresql(engine.url) else sqlite_error
        raise explain(place_of(engine), err.orig, _WAIT_S) from err
