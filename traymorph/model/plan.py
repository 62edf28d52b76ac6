"""What the planning of a trial takes and gives."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from math import nan


@dataclass(frozen=True, slots=True)
class Wanted:
    """The trial that a person wants laid out.

    Parameters
    ----------
    treatments : tuple of str
        At least two, all different.
    trays : int
        Trays of each treatment.
    blocks : int
        Blocks that the trays of each treatment are spread over.
    block_name : str
        What a block is: ``shelf``, ``side`` of the room or ``day``.
    across : int or None
        Trays that stand side by side on a shelf; None = as many as a block needs.
    whole_shelves : bool
        A treatment is given to a whole shelf (hours of light), not to single trays.
    crop, batch, seed_lot : str
        As they stand in trays.csv.
    sown_on : date or None
        Day of sowing; of the first block where blocks are days.
    id_prefix : str
        What names of trays begin with.
    seed : int
        Of the drawing of lots.
    """

    treatments: tuple[str, ...]
    trays: int
    blocks: int = 1
    block_name: str = "shelf"
    across: int | None = None
    whole_shelves: bool = False
    crop: str = ""
    batch: str = ""
    seed_lot: str = ""
    sown_on: date | None = None
    id_prefix: str = "T"
    seed: int = 0


@dataclass(frozen=True, slots=True)
class PlannedTray:
    """One tray and its place.

    Parameters
    ----------
    tray_id, treatment, block, shelf : str
        As they stand in trays.csv.
    position : int
        From the left on its shelf, from 1.
    at_edge : bool
        First or last of its shelf.
    sown_on : date or None
        Planned day of sowing.
    """

    tray_id: str
    treatment: str
    block: str
    shelf: str
    position: int
    at_edge: bool
    sown_on: date | None = None


@dataclass(frozen=True, slots=True)
class Spread:
    """How far trays of one treatment and block differ.

    Parameters
    ----------
    metric : str
        Name of the metric.
    sd : float
        Standard deviation between trays.
    unit : str
        Of ``sd``; ``%`` = per cent of the mean, ``points`` = percentage points.
    source : str
        Where it comes from, in words.
    df : float
        Degrees of freedom behind it; NaN where it was stated.
    mean : float
        Mean of the metric, in its own unit; NaN where unknown.
    factors : tuple of float
        The true spread lies between these multiples of ``sd`` (90 % interval); empty if unknown.
    """

    metric: str
    sd: float
    unit: str
    source: str
    df: float = nan
    mean: float = nan
    factors: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Scatter:
    """What a study of the measuring found of one metric.

    Parameters
    ----------
    metric : str
        Name of the metric.
    sd : float
        Standard deviation of one person and phone on single trays, in the metric's unit.
    mean : float
        Of all measurements of the study.
    source : str
        What it rests on, in words.
    """

    metric: str
    sd: float
    mean: float
    source: str


@dataclass(frozen=True, slots=True)
class PhotosRow:
    """What several photos of each tray, averaged, make of the spread.

    Parameters
    ----------
    photos : int
        Of each tray.
    sd : float
        Spread that is left, in its unit.
    n_80 : int or None
        Trays of each treatment that find the difference asked for 8 times out of 10.
    """

    photos: int
    sd: float
    n_80: int | None = None


@dataclass(frozen=True, slots=True)
class Measuring:
    """The part that measuring has in the spread between trays.

    Parameters
    ----------
    sd : float
        Scatter of one person and phone, in the spread's unit.
    share_pct : float
        Of the variance between trays photographed once.
    beyond : bool
        Repeats scatter more than trays, so that study and spread do not fit.
    source : str
        The study, in words.
    rows : tuple of PhotosRow
        By photos of each tray.
    """

    sd: float
    share_pct: float
    beyond: bool
    source: str
    rows: tuple[PhotosRow, ...]


@dataclass(frozen=True, slots=True)
class PowerRow:
    """What a number of trays can find.

    Parameters
    ----------
    n : int
        Replicates of each treatment.
    difference_80, difference_90 : float
        Smallest difference found 8 and 9 times out of 10, by formula, in the spread's unit.
    simulated_80 : float
        Share of simulated trials that found ``difference_80``.
    """

    n: int
    difference_80: float
    difference_90: float
    simulated_80: float


@dataclass(frozen=True, slots=True)
class TraysNeeded:
    """How many trays of each treatment a difference takes.

    Parameters
    ----------
    difference : float
        In the spread's unit.
    n_80, n_90 : int
        To find it 8 and 9 times out of 10, by formula.
    planned_power : float
        How often the plan finds it, by formula; NaN where nothing is planned.
    simulated_power : float
        The same from simulated trials in the plan's own layout.
    """

    difference: float
    n_80: int
    n_90: int
    planned_power: float = nan
    simulated_power: float = nan


@dataclass(frozen=True, slots=True)
class Plan:
    """A trial laid out, and what it can show.

    Parameters
    ----------
    wanted : Wanted or None
        What was asked for; None where only the number of trays was.
    trays : tuple of PlannedTray
        In the order in which they stand.
    blind_codes : mapping of str to str
        Three-digit code of each treatment, for tasting.
    spread : Spread
        The spread reckoned with.
    comparisons : int
        Pairs of treatments that share the 5 %.
    power : tuple of PowerRow
        By number of replicates.
    needed : TraysNeeded or None
        For the difference asked for.
    warnings : tuple of str
        What the layout cannot tell apart or tells weakly, in words.
    replicate : str
        ``tray`` or ``shelf``.
    measuring : Measuring or None
        Its part in the spread, where a study tells it.
    unstudied : str
        Why a study that is there does not tell it, in words; "" otherwise.
    """

    wanted: Wanted | None
    trays: tuple[PlannedTray, ...]
    blind_codes: Mapping[str, str]
    spread: Spread
    comparisons: int
    power: tuple[PowerRow, ...]
    needed: TraysNeeded | None = None
    warnings: tuple[str, ...] = field(default=())
    replicate: str = "tray"
    measuring: Measuring | None = None
    unstudied: str = ""
