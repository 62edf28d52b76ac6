"""What measuring gives: one row per tray and day, one check per photo, one line per failure."""

from dataclasses import dataclass, field
from datetime import date
from math import floor, isfinite, log10, nan, sqrt


@dataclass(frozen=True, slots=True)
class Measured:
    """A value with its standard uncertainty, in the metric's unit; NaN = not measured."""

    value: float = nan
    u: float = nan

    def with_doubt(self) -> str:
        """Write value ± standard uncertainty, both to the digits that the doubt allows.

        The uncertainty gets two significant digits at most (JCGM 100:2008, 7.2.6). What was not
        measured is a dash.
        """
        if not isfinite(self.value):
            return "–"
        if not isfinite(self.u) or self.u <= 0:
            return f"{self.value:.4g}"
        decimals = max(0, 1 - floor(log10(self.u)))
        return f"{self.value:.{decimals}f} ± {self.u:.{decimals}f}"


@dataclass(frozen=True, slots=True)
class PrintUsed:
    """A registered print of the card whose own colours were aimed at.

    Parameters
    ----------
    card_id : str
        What the grower calls it.
    colours_sha256 : str
        Hash of its registered colours, which tells one registration from the next.
    """

    card_id: str
    colours_sha256: str


@dataclass(frozen=True, slots=True)
class Provenance:
    """What a row was made from and by.

    Parameters
    ----------
    program_version : str
        Version of traymorph.
    settings_fingerprint : str
        Hash of every setting and size that went into the row.
    card_versions : tuple of int
        Layout versions of the cards seen.
    photo_sha256 : tuple of str
        Hashes of the photos used.
    mask_method : str
        Which model made the masks, with its version.
    prints : tuple of PrintUsed or None
        Registered prints that stand in the photos; empty where the card's nominal colours were
        aimed at, None where an older version did not note it.
    """

    program_version: str
    settings_fingerprint: str
    card_versions: tuple[int, ...]
    photo_sha256: tuple[str, ...]
    mask_method: str
    prints: tuple[PrintUsed, ...] | None = None


@dataclass(frozen=True, slots=True)
class PlantSpread:
    """How a metric spreads between the plants of a tray; NaN with fewer than two plants.

    Parameters
    ----------
    sd : float
        Standard deviation between plants, n - 1 in the denominator, in the metric's unit.
    n_plants : int
        Number of plants behind it.
    """

    sd: float = nan
    n_plants: int = 0

    @property
    def standard_error(self) -> float:
        """Standard error of the mean over plants, in the metric's unit; NaN without spread."""
        return self.sd / sqrt(self.n_plants) if self.n_plants else nan


@dataclass(frozen=True, slots=True)
class TrayRow:
    """Metrics of one tray on one day.

    Parameters
    ----------
    tray_id : str
        The tray or pack.
    photographed_on : date or None
        The day.
    columns : dict of str to str
        Its row of trays.csv.
    metrics : dict of str to Measured
        By the names of ``METRICS``.
    flags : tuple of str
        What qualifies them.
    provenance : Provenance
        What they were made from.
    spread : dict of str to PlantSpread
        Of the metrics that cut plants have for themselves; empty without a board photo.
    n_plants : int or None
        Cut plants behind the board metrics; None without a board photo.
    """

    tray_id: str
    photographed_on: date | None
    columns: dict[str, str]
    metrics: dict[str, Measured]
    flags: tuple[str, ...]
    provenance: Provenance
    spread: dict[str, PlantSpread] = field(default_factory=dict)
    n_plants: int | None = None


@dataclass(frozen=True, slots=True)
class PlantRow:
    """One cut plant on a board.

    Parameters
    ----------
    photo, tray_id : str
        Where it lies and whose it is.
    plant : int
        Its number on the photo's overlay, from 1.
    x_mm, y_mm : float
        Where it lies: the cut end of its stem (its middle where no stem is told), in the card's
        frame.
    metrics : dict of str to Measured
        By the names of ``METRICS``; those of ``PER_PLANT`` and the board's colour columns.
    flags : tuple of str
        What qualifies them, or why the plant is left out of the means.
    photographed_on : date or None
        The day.
    """

    photo: str
    tray_id: str
    plant: int
    x_mm: float
    y_mm: float
    metrics: dict[str, Measured]
    flags: tuple[str, ...]
    photographed_on: date | None = None


@dataclass(frozen=True, slots=True)
class PhotoCheck:
    """What is known of one photo; NaN where a failed photo tells nothing."""

    photo: str
    tray_id: str
    view: str
    sha256: str = ""
    mm_per_px: float = nan
    tilt_deg: float = nan
    card_residual_px: float = nan
    colour_error_de00: float = nan
    sharpness: float = nan
    clipped_pct: float = nan
    flags: tuple[str, ...] = ()
    error: str = ""


@dataclass(frozen=True, slots=True)
class Failure:
    """Why a tray or a photo gave nothing."""

    tray_id: str
    photo: str
    message: str
    exit_code: int


@dataclass(frozen=True, slots=True)
class TrayResult:
    """Everything a tray's measuring hands back: rows (one per day), checks, failures, plants."""

    tray_id: str
    rows: tuple[TrayRow, ...]
    checks: tuple[PhotoCheck, ...]
    failures: tuple[Failure, ...] = field(default=())
    plants: tuple[PlantRow, ...] = field(default=())
