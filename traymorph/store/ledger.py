"""The ledger: takes what trays gave, keeps it for good, gives it back for unchanged trays.

One transaction per tray: after an interruption every finished tray is there and no half one.

Trials are told apart by where their folders are (see :func:`open_ledger`). What is *found* goes by
content alone: the fingerprint holds the photos' bytes and everything else that a result depends on,
so a folder that was moved or renamed is not measured again, and another trial's tray of the same
name is never taken for its own.
"""

import platform
from pathlib import Path
from types import TracebackType
from typing import Self
from uuid import uuid4

from sqlalchemy import Connection, Engine, RowMapping, Select, func, insert, select

from traymorph.errors import ExitCode, StoreError
from traymorph.model.results import TrayResult
from traymorph.store.connection import (
    folder_of,
    now,
    open_database,
    place_of,
    reading,
    writing,
)
from traymorph.store.rows import Content, columns_of, content_hash, content_of, result_of
from traymorph.store.schema import (
    cut_plants,
    failures,
    kept,
    measurements,
    photo_checks,
    runs,
    tray_rows,
)

_CONTENT = (tray_rows, photo_checks, cut_plants, failures)
# Failures that lie in the installation and not in photos: another attempt may well succeed.
_WORTH_ANOTHER_TRY = (ExitCode.BUG, ExitCode.STORE, ExitCode.MISSING_DEPENDENCY)


class Ledger:
    """Results of one trial in a ledger that may hold several.

    Parameters
    ----------
    engine : Engine
        An opened ledger.
    trial : str
        Name of the trial in it.
    """

    def __init__(self, engine: Engine, trial: str) -> None:
        self._engine = engine
        self._trial = trial

    @property
    def place(self) -> str:
        """Where the ledger is, in words: a file, or a database's URL without its password."""
        return place_of(self._engine)

    def begin_run(self) -> str:
        """Note that a run begins.

        Returns
        -------
        str
            Its id, for :meth:`record`.
        """
        run_id = str(uuid4())
        with writing(self._engine) as connection:
            connection.execute(
                insert(runs).values(
                    run_id=run_id,
                    trial=self._trial,
                    started_at=now(),
                )
            )
        return run_id

    def find(self, tray_id: str, fingerprint: str) -> TrayResult | None:
        """Look up what a tray gave when it was last measured from the same inputs.

        This trial's own result comes first, then that of the same tray and inputs under another
        folder's name: the folder was moved, or is a copy.

        Parameters
        ----------
        tray_id : str
            The tray.
        fingerprint : str
            Hash of everything that the tray's result depends on: photos, sizes, settings and
            version of the program.

        Returns
        -------
        TrayResult or None
            With the columns of trays.csv as they were then. None where there is none, or where
            it failed for reasons that lie in the installation.
        """
        newest = (
            _kept_results()
            .where(
                measurements.c.input_fingerprint == fingerprint,
                measurements.c.tray_id == tray_id,
            )
            .order_by((measurements.c.trial == self._trial).desc(), kept.c.kept_id.desc())
            .limit(1)
        )
        with reading(self._engine) as connection:
            results = self._results(connection, newest)
        if not results:
            return None
        (result,) = results
        if any(failure.exit_code in _WORTH_ANOTHER_TRY for failure in result.failures):
            return None
        return result

    def record(self, run_id: str, fingerprint: str, result: TrayResult) -> None:
        """Keep what a tray gave, in one transaction.

        A result that is in the ledger already (found by :meth:`find`, or measured by another
        run at the same time) is not stored twice; the run only notes that it stands.

        Parameters
        ----------
        run_id : str
            As :meth:`begin_run` gave it.
        fingerprint : str
            As for :meth:`find`.
        result : TrayResult
            Everything that it gave.
        """
        content = content_of(result)
        key = {
            "trial": self._trial,
            "tray_id": result.tray_id,
            "input_fingerprint": fingerprint,
            "content_hash": content_hash(content),
        }
        with writing(self._engine) as connection:
            present = select(measurements.c.measurement_id).filter_by(**key)
            measurement_id = connection.execute(present).scalar_one_or_none()
            if measurement_id is None:
                measurement_id = _add(connection, key, content)
            connection.execute(
                insert(kept).values(
                    run_id=run_id, measurement_id=measurement_id, columns=columns_of(result)
                )
            )

    def latest(self) -> list[TrayResult]:
        """Give each tray's latest result, in the order in which trays were last kept."""
        newest = (
            select(func.max(kept.c.kept_id).label("kept_id"))
            .join(measurements, measurements.c.measurement_id == kept.c.measurement_id)
            .where(measurements.c.trial == self._trial)
            .group_by(measurements.c.tray_id)
            .subquery()
        )
        wanted = (
            _kept_results()
            .join(newest, newest.c.kept_id == kept.c.kept_id)
            .order_by(kept.c.kept_id)
        )
        with reading(self._engine) as connection:
            return self._results(connection, wanted)

    def _results(
        self, connection: Connection, wanted: Select[tuple[int, str, str]]
    ) -> list[TrayResult]:
        found = connection.execute(wanted).all()
        ids = select(wanted.subquery().c.measurement_id)
        content: dict[int, dict[str, list[RowMapping]]] = {
            one.measurement_id: {table.name: [] for table in _CONTENT} for one in found
        }
        for table in _CONTENT:
            held = select(table).where(table.c.measurement_id.in_(ids)).order_by(table.c.position)
            for row in connection.execute(held).mappings():
                content[row["measurement_id"]][table.name].append(row)
        try:
            return [
                result_of(one.tray_id, content[one.measurement_id], one.columns) for one in found
            ]
        except (ValueError, TypeError) as err:
            msg = f"The ledger {place_of(self._engine)} is damaged: a row of it cannot be read."
            raise StoreError(
                msg,
                hint="Restore it from a copy, or give another place with --ledger: the photos are "
                "measured again.",
            ) from err

    def close(self) -> None:
        """Close the database."""
        self._engine.dispose()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()


def open_ledger(location: str | Path, folder: Path | None = None) -> Ledger:
    """Open a ledger, making it where there is none.

    Parameters
    ----------
    location : str or Path
        File or database URL.
    folder : Path or None
        The trial folder, which tells trials apart in a ledger that holds several: by its path as
        seen from the ledger's own folder where it lies below it, so that both can be moved
        together; else by the machine's name and its full path. None = the folder that the
        ledger's file itself lies in, or the working folder for one on a server.

    Returns
    -------
    Ledger
        To be closed, or used in a ``with`` statement.

    Raises
    ------
    StoreError
        It cannot be opened or written, is no ledger, or was written by a newer version.
    MissingDependencyError
        It is on a server whose driver is not installed.
    """
    engine = open_database(location)
    place = folder_of(engine)
    trial = (folder or place or Path()).resolve()
    return Ledger(engine, _trial_name(trial, place))


def _trial_name(folder: Path, place: Path | None) -> str:
    if place is not None and folder.is_relative_to(place):
        return folder.relative_to(place).as_posix()
    return f"{platform.node()}:{folder.as_posix()}"


def _kept_results() -> Select[tuple[int, str, str]]:
    return select(kept.c.measurement_id, measurements.c.tray_id, kept.c.columns).join(
        measurements, measurements.c.measurement_id == kept.c.measurement_id
    )


def _add(connection: Connection, key: dict[str, str], content: Content) -> int:
    added = connection.execute(insert(measurements).values(**key, recorded_at=now()))
    (measurement_id,) = added.inserted_primary_key or (0,)
    for table in _CONTENT:
        rows = [
            {"measurement_id": measurement_id, "position": position, **row}
            for position, row in enumerate(content[table.name])
        ]
        if rows:
            connection.execute(insert(table), rows)
    return int(measurement_id)
