"""Ledgers of older versions: brought up to date with every row kept, or left as they were."""

import threading
from pathlib import Path

import pytest

from tests.store.databases import execute, shape
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


# Version 2 added what cut plants need.
VERSION_2 = """
ALTER TABLE tray_rows ADD COLUMN n_plants INTEGER;
ALTER TABLE tray_rows ADD COLUMN spread TEXT;
CREATE TABLE cut_plants (measurement_id INTEGER NOT NULL, position INTEGER NOT NULL,
    photo TEXT NOT NULL, tray_id TEXT NOT NULL, plant INTEGER NOT NULL,
    photographed_on VARCHAR(10), x_mm FLOAT, y_mm FLOAT, metrics TEXT NOT NULL,
    flags TEXT NOT NULL, PRIMARY KEY (measurement_id, position),
    FOREIGN KEY(measurement_id) REFERENCES measurements (measurement_id));
INSERT INTO schema_versions VALUES (2, '2026-11-10T08:00:00+00:00');
"""


def _make(place, script):
    """Make tables as an old version did; numbers that count up are declared as each kind does."""
    for counted in ("measurements (measurement_id INTEGER", "kept (kept_id INTEGER"):
        if not isinstance(place, Path):
            script = script.replace(counted, counted.replace("INTEGER", "SERIAL"))
    execute(place, *(one for one in script.split(";") if one.strip()))


def _add(place, table, cells):
    marks = ", ".join("?" for _ in cells)
    statement = f"INSERT INTO {table} ({', '.join(cells)}) VALUES ({marks})"  # noqa: S608
    execute(place, statement, parameters=tuple(cells.values()))


def _rows(place, table, columns):
    return sorted(execute(place, f"SELECT {columns} FROM {table}"), key=repr)  # noqa: S608


@pytest.fixture(params=[1, 2])
def old(request, place, result):
    """A ledger of an older version that holds one tray, written by hand.

    No release made one of these on a server; the steps must run there all the same, as the next
    will have to.
    """
    _make(place, VERSION_1)
    if request.param == 2:
        _make(place, VERSION_2)
    content = content_of(result)
    moment = "2026-11-01T08:00:01+00:00"
    _add(place, "runs", {"run_id": "r", "trial": ".", "started_at": moment})
    _add(
        place,
        "measurements",
        {
            "trial": ".", "tray_id": "007", "input_fingerprint": FINGERPRINT,
            "content_hash": content_hash(content), "recorded_at": moment,
        },
    )  # fmt: skip
    tables = shape(place)
    for table in ("tray_rows", "photo_checks", "failures"):
        known = {name for name, _ in tables[table]["columns"]}
        for position, row in enumerate(content[table]):
            held = {"measurement_id": 1, "position": position, **row}
            _add(place, table, {name: cell for name, cell in held.items() if name in known})
    columns = (
        '[{"tray_id": "007", "crop": "pea", "treatment": "=dense", "block": "", "batch": "NA"},'
        ' {"tray_id": "007", "crop": "pea", "treatment": "=dense", "block": "", "batch": "NA"}]'
    )
    _add(place, "kept", {"run_id": "r", "measurement_id": 1, "columns": columns})
    return place


def _versions(place):
    return [version for (version,) in execute(place, "SELECT version FROM schema_versions")]


def test_an_old_ledger_keeps_every_row(old, result):
    names = {
        table: ", ".join(sorted(name for name, _ in held["columns"]))
        for table, held in shape(old).items()
        if table in TABLES
    }
    before = {table: _rows(old, table, names[table]) for table in TABLES}
    assert all(before.values())
    with open_ledger(old) as ledger:
        assert repr(ledger.find("007", FINGERPRINT)) == repr(result)
        assert result.rows[0].provenance.prints is None, "what was not noted is not invented"
    assert {table: _rows(old, table, names[table]) for table in TABLES} == before
    assert sorted(_versions(old)) == list(range(1, SCHEMA_VERSION + 1))


def test_an_old_ledger_becomes_as_a_new_one(old, new_place):
    new = new_place()
    open_ledger(old).close()
    open_ledger(new).close()
    wanted = shape(new)
    assert "cut_plants" in wanted
    assert ("prints", True) in wanted["tray_rows"]["columns"]
    assert shape(old) == wanted


def test_an_old_ledger_takes_cut_plants_and_knows_old_trays_again(old, result, board_result):
    with open_ledger(old) as ledger:
        run = ledger.begin_run()
        ledger.record(run, FINGERPRINT, result)
        ledger.record(run, "e" * 64, board_result)
        assert repr(ledger.find("007", "e" * 64)) == repr(board_result)
    (trials,) = execute(old, "SELECT count(DISTINCT trial), count(*) FROM measurements")
    # under the name that the folder has today the old tray stands once more, by its old hash
    assert trials in ((1, 2), (2, 3))
    hashes = {one for (one,) in execute(old, "SELECT content_hash FROM measurements")}
    assert len(hashes) == 2, "the old tray is known by its hash"


def test_a_change_that_breaks_off_leaves_the_old_ledger(old, monkeypatch):
    before, held = shape(old), _versions(old)
    steps = migrations._TO_VERSION  # noqa: SLF001 - a power cut in the last step
    broken = steps | {SCHEMA_VERSION: (*steps[SCHEMA_VERSION], "CREATE NONSENSE")}
    monkeypatch.setattr(migrations, "_TO_VERSION", broken)
    with pytest.raises(StoreError):
        open_ledger(old)
    monkeypatch.undo()
    assert shape(old) == before
    assert _versions(old) == held
    open_ledger(old).close()


def test_opening_again_changes_nothing(old):
    open_ledger(old).close()
    before = shape(old), _rows(old, "schema_versions", "version, applied_at")
    open_ledger(old).close()
    assert (shape(old), _rows(old, "schema_versions", "version, applied_at")) == before


@pytest.mark.parametrize("age", ["new", "old"])
def test_programs_that_open_one_ledger_at_once_change_it_once(place, age):
    if age == "old":
        _make(place, VERSION_1)
    told = []

    def open_it():
        try:
            open_ledger(place).close()
        except Exception as err:  # noqa: BLE001 - a thread's errors would be lost
            told.append(err)

    threads = [threading.Thread(target=open_it) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert told == []
    wanted = [SCHEMA_VERSION] if age == "new" else list(range(1, SCHEMA_VERSION + 1))
    assert sorted(_versions(place)) == wanted
