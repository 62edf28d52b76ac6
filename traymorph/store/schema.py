"""Tables of the ledger, in portable SQL; rows are only ever added.

A *run* is one call of the program. What it gives for a tray is a *measurement*, found again by
the fingerprint of everything that went into it. A run *keeps* measurements, new and found ones,
each with the columns that the tray's row of trays.csv had at that time.
"""

from sqlalchemy import (
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
)

SCHEMA_VERSION = 3
"""A change of tables is a step more, and a step in :mod:`traymorph.store.migrations`."""

metadata = MetaData()

schema_versions = Table(
    "schema_versions",
    metadata,
    Column("version", Integer, primary_key=True, autoincrement=False),
    Column("applied_at", String(40), nullable=False),
)

runs = Table(
    "runs",
    metadata,
    Column("run_id", String(36), primary_key=True),
    Column("trial", Text, nullable=False),
    Column("started_at", String(40), nullable=False),
)

measurements = Table(
    "measurements",
    metadata,
    Column("measurement_id", Integer, primary_key=True),
    Column("trial", Text, nullable=False),
    Column("tray_id", Text, nullable=False),
    Column("input_fingerprint", String(64), nullable=False),
    Column("content_hash", String(64), nullable=False),
    Column("recorded_at", String(40), nullable=False),
    UniqueConstraint("trial", "tray_id", "input_fingerprint", "content_hash"),
    Index("measurements_by_input", "input_fingerprint"),
)

tray_rows = Table(
    "tray_rows",
    metadata,
    Column("measurement_id", ForeignKey(measurements.c.measurement_id), primary_key=True),
    Column("position", Integer, primary_key=True, autoincrement=False),
    Column("tray_id", Text, nullable=False),
    Column("photographed_on", String(10)),
    Column("metrics", Text, nullable=False),  # JSON: {name: [value or null, uncertainty or null]}
    Column("flags", Text, nullable=False),  # separated by spaces
    Column("program_version", String(40), nullable=False),
    Column("settings_fingerprint", String(64), nullable=False),
    Column("card_versions", Text, nullable=False),  # JSON: [number]
    Column("photo_sha256", Text, nullable=False),  # JSON: [hash]
    Column("mask_method", Text, nullable=False),
    Column("n_plants", Integer),
    Column("spread", Text),  # JSON: {name: [between plants or null, number of plants]}
    Column("prints", Text),  # JSON: [[card_id, hash of its colours]]; null = not noted
)

photo_checks = Table(
    "photo_checks",
    metadata,
    Column("measurement_id", ForeignKey(measurements.c.measurement_id), primary_key=True),
    Column("position", Integer, primary_key=True, autoincrement=False),
    Column("photo", Text, nullable=False),
    Column("tray_id", Text, nullable=False),
    Column("view", String(20), nullable=False),
    Column("sha256", String(64), nullable=False),
    Column("mm_per_px", Float(53)),
    Column("tilt_deg", Float(53)),
    Column("card_residual_px", Float(53)),
    Column("colour_error_de00", Float(53)),
    Column("sharpness", Float(53)),
    Column("clipped_pct", Float(53)),
    Column("flags", Text, nullable=False),
    Column("error", Text, nullable=False),
)

cut_plants = Table(
    "cut_plants",
    metadata,
    Column("measurement_id", ForeignKey(measurements.c.measurement_id), primary_key=True),
    Column("position", Integer, primary_key=True, autoincrement=False),
    Column("photo", Text, nullable=False),
    Column("tray_id", Text, nullable=False),
    Column("plant", Integer, nullable=False),
    Column("photographed_on", String(10)),
    Column("x_mm", Float(53)),
    Column("y_mm", Float(53)),
    Column("metrics", Text, nullable=False),  # JSON, as in tray_rows
    Column("flags", Text, nullable=False),  # separated by spaces
)

failures = Table(
    "failures",
    metadata,
    Column("measurement_id", ForeignKey(measurements.c.measurement_id), primary_key=True),
    Column("position", Integer, primary_key=True, autoincrement=False),
    Column("tray_id", Text, nullable=False),
    Column("photo", Text, nullable=False),
    Column("message", Text, nullable=False),
    Column("exit_code", Integer, nullable=False),
)

kept = Table(
    "kept",
    metadata,
    Column("kept_id", Integer, primary_key=True),
    Column("run_id", ForeignKey(runs.c.run_id), nullable=False),
    Column("measurement_id", ForeignKey(measurements.c.measurement_id), nullable=False),
    Column("columns", Text, nullable=False),  # JSON: [{column: text}] for each tray row
    Index("kept_by_run", "run_id"),
    Index("kept_by_measurement", "measurement_id"),
)
