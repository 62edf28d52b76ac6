"""Brings a ledger of an older version up to date; no row is changed or lost.

The statements are those of their time and are never edited: a ledger may be of any age. They are
run inside the transaction that opens the ledger, so that it is of one version or the next, never
between.
"""

from sqlalchemy import Connection

_TO_VERSION = {
    2: (
        "ALTER TABLE tray_rows ADD COLUMN n_plants INTEGER",
        "ALTER TABLE tray_rows ADD COLUMN spread TEXT",
        """
        CREATE TABLE cut_plants (
            measurement_id INTEGER NOT NULL REFERENCES measurements (measurement_id),
            position INTEGER NOT NULL,
            photo TEXT NOT NULL,
            tray_id TEXT NOT NULL,
            plant INTEGER NOT NULL,
            photographed_on VARCHAR(10),
            x_mm FLOAT(53),
            y_mm FLOAT(53),
            metrics TEXT NOT NULL,
            flags TEXT NOT NULL,
            PRIMARY KEY (measurement_id, position)
        )
        """,
    ),
    3: (
        "ALTER TABLE tray_rows ADD COLUMN prints TEXT",
        "CREATE INDEX measurements_by_input ON measurements (input_fingerprint)",
        "CREATE INDEX kept_by_measurement ON kept (measurement_id)",
    ),
}


def bring_up_to_date(connection: Connection, version: int) -> list[int]:
    """Take a ledger from its version to the newest.

    Parameters
    ----------
    connection : Connection
        In a transaction that writes.
    version : int
        The ledger's version.

    Returns
    -------
    list of int
        The versions that it went through, to be noted in the ledger.
    """
    steps = [step for step in sorted(_TO_VERSION) if step > version]
    for step in steps:
        for statement in _TO_VERSION[step]:
            connection.exec_driver_sql(statement)
    return steps
