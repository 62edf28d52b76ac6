"""Ledgers of older versions: brought up to date with every row kept, or left as they were."""

import sqlite3
from contextlib import closing

import pytest

from traymorph.errors import StoreError
from traymorph.store import migrations
from traymorph.store.ledger import open_ledger
from traymorph.store.rows import content_hash, content_of
from traymorph.store.schema import SCHEMA_VERSION

FINGERPRINT = "f" * 64

# As the first version of the ledger made its tables.
VERSION_1 = """
CREATE TABLE schema_versions (version INTEGER NOT NULL, applied_at VARCHAR(40) NOT NULL,
    PRIMARY KEY (version));
CREATE TABLE runs (run_id VARCHAR(36) NOT NULL, trial TEXT NOT NULL,
    started_at VARCHAR(40) NOT NULL, PRIMARY KEY (run_id));
CREATE TABLE measurements (measurement_id INTEGER NOT NULL, trial TEXT NOT NULL,
    tray_id TEXT NOT NULL, input_fingerprint VARCHAR(64) NOT NULL,
    content_hash VARCHAR(64) NOT NULL, recorded_at VARCHAR(40) NOT NULL,
    PRIMARY KEY (measurement_id),
    UNIQUE (trial, tray_id, input_fingerprint, content_hash));
CREATE TABLE tray_rows (measurement_id INTEGER NOT NULL, position INTEGER NOT NULL,
    tray_id TEXT NOT NULL, photographed_on VARCHAR(10), metrics TEXT NOT NULL,
    flags TEXT NOT NULL, program_version VARCHAR(40) NOT NULL,
    settings_fingerprint VARCHAR(64) NOT NULL, card_versions TEXT NOT NULL,
    photo_sha256 TEXT NOT NULL, mask_method TEXT NOT NULL,
    PRIMARY KEY (measurement_id, position),
    FOREIGN KEY(measurement_id) REFERENCES measurements (measurement_id));
CREATE TABLE photo_checks (measurement_id INTEGER NOT NULL, position INTEGER NOT NULL,
    photo TEXT NOT NULL, tray_id TEXT NOT NULL, view VARCHAR(20) NOT NULL,
    sha256 VARCHAR(64) NOT NULL, mm_per_px FLOAT, tilt_deg FLOAT, card_residual_px FLOAT,
    colour_error_de00 FLOAT, sharpness FLOAT, clipped_pct FLOAT, flags TEXT NOT NULL,
    error TEXT NOT NULL, PRIMARY KEY (measurement_id, position),
    FOREIGN KEY(measurement_id) REFERENCES measurements (measurement_id));
CREATE TABLE failures (measurement_id INTEGER NOT NULL, position INTEGER NOT NULL,
    tray_id TEXT NOT NULL, photo TEXT NOT NULL, message TEXT NOT NULL,
    exit_code INTEGER NOT NULL, PRIMARY KEY (measurement_id, position),
    FOREIGN KEY(measurement_id) REFERENCES measurements (measurement_id));
CREATE TABLE kept (kept_id INTEGER NOT NULL, run_id VARCHAR(36) NOT NULL,
    measurement_id INTEGER NOT NULL, columns TEXT NOT NULL, PRIMARY KEY (kept_id),
    FOREIGN KEY(run_id) REFERENCES runs (run_id),
    FOREIGN KEY(measurement_id) REFERENCES measurements (measurement_id));
CREATE INDEX kept_by_run ON kept (run_id);
INSERT INTO schema_versions VALUES (1, '2026-11-01T08:00:00+00:00');
"""
TABLES = ("runs", "measurements", "tray_rows", "photo_checks", "failures", "kept")


def _columns(connection, table):
    found = connection.execute(f"PRAGMA table_info({table})").fetchall()
    # name, must be given, part of the key; types are only hints in SQLite
    return {(name, bool(given), key) for _, name, _, given, _, key in found}


def _rows(connection, table, columns="*"):
    query = f"SELECT {columns} FROM {table} ORDER BY rowid"  # noqa: S608 - names from this file
    return connection.execute(query).fetchall()


@pytest.fixture
def old(tmp_path, result):
    """A ledger of version 1 that holds one tray, written by hand."""
    place = tmp_path / "traymorph.sqlite"
    content = content_of(result)
    with closing(sqlite3.connect(place)) as connection:
        connection.executescript(VERSION_1)
        connection.execute("INSERT INTO runs VALUES ('r', '.', '2026-11-01T08:00:00+00:00')")
        connection.execute(
            "INSERT INTO measurements VALUES (1, '.', '007', ?, ?, '2026-11-01T08:00:01+00:00')",
            (FINGERPRINT, content_hash(content)),
        )
        for table in ("tray_rows", "photo_checks", "failures"):
            known = [name for name, *_ in _columns(connection, table)]
            for position, row in enumerate(content[table]):
                held = {"measurement_id": 1, "position": position, **row}
                cells = {name: held[name] for name in known}
                marks = ", ".join(f":{name}" for name in known)
                connection.execute(
                    f"INSERT INTO {table} ({', '.join(known)}) VALUES ({marks})",  # noqa: S608
                    cells,
                )
        columns = (
            '[{"tray_id": "007", "crop": "pea", "treatment": "=dense", "block": "", "batch": "NA"},'
            ' {"tray_id": "007", "crop": "pea", "treatment": "=dense", "block": "", "batch": "NA"}]'
        )
        connection.execute("INSERT INTO kept VALUES (1, 'r', 1, ?)", (columns,))
        connection.commit()
    return place


def test_an_old_ledger_keeps_every_row(old, result):
    with closing(sqlite3.connect(old)) as connection:
        names = {
            table: ", ".join(sorted(name for name, *_ in _columns(connection, table)))
            for table in TABLES
        }
        before = {table: _rows(connection, table, names[table]) for table in TABLES}
    assert all(before.values())
    with open_ledger(old) as ledger:
        assert repr(ledger.find("007", FINGERPRINT)) == repr(result)
        assert repr(ledger.latest()) == repr([result])
    with closing(sqlite3.connect(old)) as connection:
        assert {table: _rows(connection, table, names[table]) for table in TABLES} == before
        versions = [version for version, _ in _rows(connection, "schema_versions")]
    assert versions == list(range(1, SCHEMA_VERSION + 1))


def test_an_old_ledger_becomes_as_a_new_one(old, tmp_path):
    open_ledger(old).close()
    open_ledger(tmp_path / "new.sqlite").close()
    with (
        closing(sqlite3.connect(old)) as migrated,
        closing(sqlite3.connect(tmp_path / "new.sqlite")) as new,
    ):
        listed = "SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name"
        tables = [name for (name,) in new.execute(listed)]
        assert [name for (name,) in migrated.execute(listed)] == tables
        assert "cut_plants" in tables
        for table in tables:
            assert _columns(migrated, table) == _columns(new, table), table


def test_an_old_ledger_takes_cut_plants_and_knows_old_trays_again(old, result, board_result):
    with open_ledger(old) as ledger:
        run = ledger.begin_run()
        ledger.record(run, FINGERPRINT, result)
        ledger.record(run, "e" * 64, board_result)
        assert repr(ledger.find("007", "e" * 64)) == repr(board_result)
    with closing(sqlite3.connect(old)) as connection:
        assert len(_rows(connection, "measurements")) == 2, "the old tray is not stored twice"


def test_a_change_that_breaks_off_leaves_the_old_ledger(old, monkeypatch):
    broken = {2: (*migrations._TO_VERSION[2], "CREATE NONSENSE")}  # noqa: SLF001 - a power cut
    monkeypatch.setattr(migrations, "_TO_VERSION", broken)
    with pytest.raises(StoreError):
        open_ledger(old)
    monkeypatch.undo()
    with closing(sqlite3.connect(old)) as connection:
        assert [version for version, _ in _rows(connection, "schema_versions")] == [1]
        assert "n_plants" not in {name for name, *_ in _columns(connection, "tray_rows")}
    open_ledger(old).close()


def test_opening_again_changes_nothing(old):
    open_ledger(old).close()
    with closing(sqlite3.connect(old)) as connection:
        before = _rows(connection, "schema_versions")
    open_ledger(old).close()
    with closing(sqlite3.connect(old)) as connection:
        assert _rows(connection, "schema_versions") == before
