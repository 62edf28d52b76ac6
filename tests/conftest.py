"""What tests of several packages share: a database server, started once where one is wanted."""

import pytest

from tests.postgresql_server import find_binaries, running_server


@pytest.fixture(scope="session")
def postgresql():
    """A PostgreSQL server; the tests that want one are skipped where none is installed."""
    if find_binaries() is None:
        pytest.skip("PostgreSQL is not installed (Debian: apt-get install postgresql)")
    with running_server() as server:
        yield server
