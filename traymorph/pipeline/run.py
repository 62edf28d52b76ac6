"""Runs a trial's jobs, keeps every tray in the ledger as it is done, and writes the tables.

An interrupted run loses at most the trays being measured: the next one finds the others in the
ledger. Tables are written from what the ledger holds, so ``results/`` may be deleted at any time.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from traymorph.config.lists import loose_trial, read_trial
from traymorph.config.settings import Settings, read_settings
from traymorph.errors import ExitCode, StoreError
from traymorph.model.results import Failure, PhotoCheck, PlantRow, TrayResult
from traymorph.model.trial import TraySize
from traymorph.pipeline.attribution import attribute_by_labels
from traymorph.pipeline.calibrate import cards_of_samples, read_colours
from traymorph.pipeline.copies import refuse_copies
from traymorph.pipeline.executors import choose_executor
from traymorph.pipeline.jobs import TrayJob, plan_jobs
from traymorph.pipeline.measure_tray import measure_tray
from traymorph.pipeline.study_doubts import scatter_beyond_doubt, with_study_doubts
from traymorph.store.ledger import Ledger, open_ledger
from traymorph.store.measured_files import write_photo_checks, write_plants, write_tray_metrics

Progress = Callable[[int, int], None]


def _to_nobody(_done: int, _all: int) -> None:
    """Tell nobody."""


@dataclass(frozen=True, slots=True)
class Watching:
    """Who is told how far the work is.

    Parameters
    ----------
    labels : callable
        Told (photos looked at for labels, photos in all) before any tray is measured.
    trays : callable
        Told (trays done, trays in all) after each tray.
    """

    labels: Progress = _to_nobody
    trays: Progress = _to_nobody


_UNWATCHED = Watching()


@dataclass(frozen=True, slots=True)
class RunReport:
    """What a run gave.

    Parameters
    ----------
    results : tuple of TrayResult
        In the order of the lists.
    failures : tuple of Failure
        Photos and trays that gave nothing, in the order of the lists.
    list_columns : tuple of str
        Header of trays.csv.
    reused : int
        Trays taken from the ledger because nothing about them had changed.
    out : Path or None
        Where tables and pictures lie.
    ledger : str
        Where a ledger is that is not the folder's own, without its password; "" otherwise.
    """

    results: tuple[TrayResult, ...]
    failures: tuple[Failure, ...]
    list_columns: tuple[str, ...]
    reused: int
    out: Path | None
    ledger: str = ""

    @property
    def checks(self) -> tuple[PhotoCheck, ...]:
        """One per photo, those included that nothing attributes to a tray."""
        strays = (failure for failure in self.failures if failure.photo and not failure.tray_id)
        return (
            *(check for result in self.results for check in result.checks),
            *(PhotoCheck(stray.photo, "", "", error=stray.message) for stray in strays),
        )

    @property
    def plants(self) -> tuple[PlantRow, ...]:
        """Every cut plant on a board, tray by tray."""
        return tuple(plant for result in self.results for plant in result.plants)

    @property
    def exit_code(self) -> ExitCode:
        """0 when nothing failed; the shared cause when nothing was measured; else 9."""
        if not self.failures:
            return ExitCode.DONE
        codes = {failure.exit_code for failure in self.failures}
        measured = any(result.rows for result in self.results)
        if not measured and len(codes) == 1:
            return ExitCode(codes.pop())
        return ExitCode.SOME_FAILED


def measure_folder(
    folder: Path,
    *,
    out: Path | None = None,
    ledger_location: str | None = None,
    workers: int = 1,
    with_masks: bool = False,
    watching: Watching = _UNWATCHED,
) -> RunReport:
    """Measure every tray of a trial folder.

    Parameters
    ----------
    folder : Path
        The trial folder.
    out : Path or None
        Where results go; ``results/`` in the trial folder when None.
    ledger_location : str or None
        Path or URL of the ledger; ``traymorph.sqlite`` in the trial folder when None.
    workers : int
        Processes to use.
    with_masks : bool
        Write class masks too.
    watching : Watching
        Who is told how far the work is.

    Raises
    ------
    SettingsError, ListError
        Before anything is measured or written.
    StoreError
        The ledger cannot be used.
    """
    settings = read_settings(folder)
    scatter = scatter_beyond_doubt(folder, settings)
    trial, unattributed = attribute_by_labels(
        read_trial(folder, settings),
        settings.tray_size(),
        workers=workers,
        progress=watching.labels,
    )
    trial, copies = refuse_copies(trial)
    cards = cards_of_samples(read_colours(folder), trial.samples)
    target = out or folder / "results"
    _make_room(target)
    jobs, failures = plan_jobs(
        trial,
        settings,
        overlays=target / "overlays",
        masks=target / "masks" if with_masks else None,
        cards=cards,
    )
    own = folder / "traymorph.sqlite"
    with open_ledger(ledger_location or own, folder) as ledger:
        results, reused = _run_jobs(jobs, ledger, workers, watching.trays)
        elsewhere = "" if Path(ledger.place).resolve() == own.resolve() else ledger.place
    report = RunReport(
        results=tuple(with_study_doubts(results, scatter)),
        failures=(
            *unattributed,
            *copies,
            *failures,
            *(f for result in results for f in result.failures),
        ),
        list_columns=trial.list_columns,
        reused=reused,
        out=target,
        ledger=elsewhere,
    )
    write_tables(report, target)
    return report


def measure_photos(
    photos: list[Path],
    *,
    size: TraySize,
    out: Path | None = None,
    workers: int = 1,
    progress: Progress = _to_nobody,
) -> RunReport:
    """Measure loose photos, each a sample named by its file; nothing is kept without ``out``.

    Parameters
    ----------
    photos : list of Path
        The photos.
    size : TraySize
        Sizes of the tray, as far as they are known.
    out : Path or None
        Where tables and overlays go; nothing is written when None.
    """
    settings = Settings()
    trial = loose_trial(photos, size)
    jobs, failures = plan_jobs(
        trial,
        settings,
        overlays=out / "overlays" if out else None,
        masks=None,
        heed_labels=False,
    )
    if out:
        _make_room(out)
    results = []
    for _, result in choose_executor(workers, len(jobs)).run(measure_tray, jobs):
        results.append(result)
        progress(len(results), len(jobs))
    order = {sample.tray_id: place for place, sample in enumerate(trial.samples)}
    results.sort(key=lambda result: order[result.tray_id])
    report = RunReport(
        results=tuple(results),
        failures=(*failures, *(f for result in results for f in result.failures)),
        list_columns=(),
        reused=0,
        out=out,
    )
    if out:
        write_tables(report, out)
    return report


def write_tables(report: RunReport, out: Path) -> None:
    """Write ``tray_metrics.csv``, ``plants.csv`` and ``photo_checks.csv``, each whole."""
    rows = [row for result in report.results for row in result.rows]
    write_tray_metrics(out / "tray_metrics.csv", rows, report.list_columns)
    write_plants(out / "plants.csv", report.plants)
    write_photo_checks(out / "photo_checks.csv", report.checks)


def _make_room(out: Path) -> None:
    """Find out before anything is measured whether results can be written at all."""
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as err:
        msg = f"The folder {out} cannot be made ({err.strerror})."
        raise StoreError(msg, hint="Name another folder with --out.") from err


def _run_jobs(
    jobs: list[TrayJob], ledger: Ledger, workers: int, progress: Progress
) -> tuple[list[TrayResult], int]:
    """Take unchanged trays from the ledger, measure the others, record each as it is done."""
    done: dict[str, TrayResult] = {}
    fingerprints = {job.sample.tray_id: job.fingerprint() for job in jobs}
    for job in jobs:
        known = ledger.find(job.sample.tray_id, fingerprints[job.sample.tray_id])
        if known is not None and _pictures_there(job, known):
            done[job.sample.tray_id] = _with_columns(known, job.sample.columns)
    reused = len(done)
    waiting = [job for job in jobs if job.sample.tray_id not in done]
    progress(reused, len(jobs))
    if jobs:
        run_id = ledger.begin_run()
        for tray_id, known in done.items():
            ledger.record(run_id, fingerprints[tray_id], known)
        for job, result in choose_executor(workers, len(waiting)).run(measure_tray, waiting):
            tray_id = job.sample.tray_id
            ledger.record(run_id, fingerprints[tray_id], result)
            done[tray_id] = result
            progress(len(done), len(jobs))
    return [done[job.sample.tray_id] for job in jobs], reused


def _with_columns(known: TrayResult, columns: dict[str, str]) -> TrayResult:
    """Give a known tray the columns that trays.csv holds today."""
    return replace(known, rows=tuple(replace(row, columns=columns) for row in known.rows))


def _pictures_there(job: TrayJob, known: TrayResult) -> bool:
    """Whether a known tray was measured whole and every picture of it still exists."""
    return not known.failures and all(picture.exists() for picture in job.pictures())
