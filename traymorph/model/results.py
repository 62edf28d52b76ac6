"""What measuring gives: one row per tray and day, one check per photo, one line per failure."""

from dataclasses import dataclass, field
from datetime import date
from math import floor, isfinite, log10, nan


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
    """

    program_version: str
    settings_fingerprint: str
    card_versions: tuple[int, ...]
    photo_sha256: tuple[str, ...]
    mask_method: str


@dataclass(frozen=True, slots=True)
class TrayRow:
    """Metrics of one tray on one day."""

    tray_id: str
    photographed_on: date | None
    columns: dict[str, str]
    metrics: dict[str, Measured]
    flags: tuple[str, ...]
    provenance: Provenance


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
    """Everything a tray's measuring hands back: its rows (one per day), photo checks, failures."""

    tray_id: str
    rows: tuple[TrayRow, ...]
    checks: tuple[PhotoCheck, ...]
    failures: tuple[Failure, ...] = field(default=())
