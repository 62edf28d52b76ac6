"""What tests of several packages share: a database server, started once where one is wanted."""

import os

import pytest
from hypothesis import settings

from tests.postgresql_server import find_binaries, running_server

# The tests run in several processes already: linear algebra in threads besides would only get in
# their way. Read when NumPy is first imported, which is after this.
os.environ.setdefault("OMP_NUM_THREADS", "1")

# How long one example takes says more about what else runs than about the code.
settings.register_profile("several processes", deadline=None)
settings.load_profile("several processes")


@pytest.fixture(scope="session")
def postgresql():
    """A PostgreSQL server; the tests that want one are skipped where none is installed."""
    if find_binaries() is None:
        pytest.skip("PostgreSQL is not installed (Debian: apt-get install postgresql)")
    with running_server() as server:
        yield server
