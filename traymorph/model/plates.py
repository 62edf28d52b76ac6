"""Pictures of typical trays at one scale, and what stands where there is none."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, eq=False)
class Plate:
    """One view of one tray, cut out and scaled so that plates of a view compare by eye.

    Parameters
    ----------
    treatment, tray_id : str
        Whose plants they are.
    view : str
        ``overhead``, ``side``, ``board`` or ``pack``.
    photo : str
        File relative to ``photos/``.
    jpeg : bytes
        The picture, sRGB, without any metadata.
    width_px, height_px : int
        Its size.
    px_per_mm : float
        Scale in the plane measured; the same for all plates of a view. NaN for a pack.
    true_colour : bool
        Whether colours are corrected by the card; False where the light or the card forbade it.
    """

    treatment: str
    tray_id: str
    view: str
    photo: str
    jpeg: bytes
    width_px: int
    height_px: int
    px_per_mm: float
    true_colour: bool


@dataclass(frozen=True, slots=True)
class PlateGap:
    """A plate that cannot be shown.

    Parameters
    ----------
    treatment, view : str
        Which plate.
    reason : str
        Why there is none, and what to do, in a sentence.
    """

    treatment: str
    view: str
    reason: str


@dataclass(frozen=True, slots=True)
class Plates:
    """All plates of a trial.

    Parameters
    ----------
    rule : str
        How the typical tray of each treatment was chosen, in a sentence.
    shown : tuple of Plate
        Grouped by view, treatments in their order.
    gaps : tuple of PlateGap
        What is missing.
    """

    rule: str
    shown: tuple[Plate, ...]
    gaps: tuple[PlateGap, ...]
