"""A ledger on a PostgreSQL server: how it is opened, and what its errors mean.

Runs that write wait for one another as in a file, by one advisory lock of the database, so that
tables are made once and rows are numbered in the order in which they are kept.
"""

from typing import Any

from sqlalchemy import Connection, Engine, create_engine
from sqlalchemy.engine import URL

from traymorph.errors import MissingDependencyError, StoreError

_NAMES = ("postgresql", "postgres", "postgresql+psycopg")
_WRITERS_LOCK = 0x7472_6179_6D6F_7270  # any number will do if it is always the same: "traymorp"
_CONNECT_WAIT_S = 10
# A server that vanished from the network is given up after about a minute (libpq's parameters).
_GIVE_UP = {
    "keepalives_idle": 30,
    "keepalives_interval": 10,
    "keepalives_count": 3,
    "tcp_user_timeout": 60_000,
}


def is_postgresql(url: URL) -> bool:
    """Whether a URL names a database on a PostgreSQL server."""
    return url.drivername in _NAMES


def postgresql_engine(url: URL) -> Engine:
    """Make an engine; nothing is connected yet.

    A connection that broke while trays were being measured is made anew for the next one.

    Parameters
    ----------
    url : URL
        Parts that it leaves out (user, password, ...) come from libpq's environment variables
        and password file.

    Raises
    ------
    MissingDependencyError
        The driver is not installed.
    """
    wanted = {"connect_timeout": _CONNECT_WAIT_S, **_GIVE_UP}
    stated = {name: value for name, value in wanted.items() if name not in url.query}
    try:
        return create_engine(
            url.set(drivername="postgresql+psycopg"), connect_args=stated, pool_pre_ping=True
        )
    except ImportError as err:
        msg = "This ledger is on PostgreSQL, but the driver psycopg cannot be loaded."
        raise MissingDependencyError(
            msg, hint="Install it: pip install 'traymorph[postgresql]'"
        ) from err


def postgresql_place(url: URL) -> str:
    """Name a database in messages: without the password, wherever the URL holds it."""
    shown = URL.create(
        "postgresql",
        username=url.username,
        host=url.host,
        port=url.port,
        database=url.database,
    )
    return shown.render_as_string(hide_password=True)


def begin_on_server(connection: Connection, *, writes: bool, wait_s: float) -> None:
    """Begin a transaction: a writer waits for its turn, a reader sees one state throughout.

    Parameters
    ----------
    connection : Connection
        At the beginning of a transaction.
    writes : bool
        Whether it writes.
    wait_s : float
        How long to wait for others that hold what is needed.
    """
    if not writes:
        connection.exec_driver_sql("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
    connection.exec_driver_sql(f"SET LOCAL lock_timeout = {max(1, round(1000 * wait_s))}")
    if not writes:
        return
    connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_WRITERS_LOCK})")


# By SQLSTATE (PostgreSQL documentation, appendix A); its first two letters where all of a class
# mean the same to a person.
_TOLD = {
    "42501": (
        "cannot be written: its user lacks the right",
        "Have the user given the right to make and write tables, or name another in the URL.",
    ),
    "25006": ("cannot be written: the server only reads", "Give the URL of the main server."),
    "53100": ("cannot grow: the server's disk is full", "Make room there and run again."),
    "57": (
        "was lost: the server is shutting down or broke the connection",
        "Start the server and run again; every tray recorded so far is kept.",
    ),
    "08": (
        "was lost: the connection to the server broke",
        "Check the network and the server, and run again; every tray recorded so far is kept.",
    ),
    "XX": ("is damaged", "Have the server's log looked at, and restore the database from a copy."),
}


def postgresql_error(place: str, cause: Any, wait_s: float) -> StoreError:  # noqa: ANN401
    """Say what an error of the driver means to a person.

    Parameters
    ----------
    place : str
        The database, as :func:`postgresql_place` names it.
    cause : object
        What the driver raised.
    wait_s : float
        How long was waited for other runs.
    """
    state = getattr(cause, "sqlstate", None)
    if state == "55P03":
        what = f"is being written by another run for more than {wait_s:.0f} s"
        hint = "Wait for the other run to end and try again; nothing was lost."
    elif state is None:
        # Before there is a connection the driver hands on the server's words without a code.
        what = f"cannot be reached: {_first_line(cause)}"
        hint = (
            "Check that the server runs, and host, port, database, user and password; "
            "every tray recorded so far is kept."
        )
    else:
        fallback = (f"cannot be used ({_first_line(cause)})", "Check the server and its log.")
        what, hint = _TOLD.get(state) or _TOLD.get(state[:2]) or fallback
    return StoreError(f"The ledger {place} {what}.", hint=hint)


def _first_line(cause: object) -> str:
    lines = str(cause).splitlines() or [""]
    return " ".join(lines[0].removeprefix("connection failed: ").split()).rstrip(".")
