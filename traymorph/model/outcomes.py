"""What was weighed, kept, tasted or sent to a laboratory, as ``outcomes.csv`` lists it."""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from math import nan


class Kind(StrEnum):
    """What a row of ``outcomes.csv`` is about."""

    TRAY = "tray"
    LABORATORY = "laboratory"
    KEEPING = "keeping"
    KEEPING_SCORE = "keeping_score"
    TRIANGLE = "triangle"
    PAIRED = "paired"
    TASTE_SCORE = "taste_score"


@dataclass(frozen=True, slots=True)
class Subject:
    """What a row is about.

    Parameters
    ----------
    level : str
        ``tray_id``, ``lot``, ``treatment`` or ``batch``: the column that names it.
    name : str
        As it stands there.
    treatment : str
        The treatment that all of it had; "" where none is stated.
    replicate : str
        Name of the thing that got the treatment as a whole: the tray, the lot or the batch; "" for
        a treatment, whose trays are mixed together.
    """

    level: str
    name: str
    treatment: str
    replicate: str


@dataclass(frozen=True, slots=True)
class Finding:
    """One row of ``outcomes.csv``.

    Parameters
    ----------
    line : int
        Line of the file.
    kind : Kind
        What it is about.
    subject : Subject
        Whom it is about.
    what : str
        Name of the outcome or analyte.
    value : float
        In ``unit``; where ``below_limit``, the laboratory's limit.
    unit : str
        Weights are in g, contents in the unit of their analyte's first row.
    basis : str
        ``fresh``, ``dry`` or "".
    below_limit : bool
        The laboratory found less than ``value``.
    on_date : date or None
        When it was found.
    storage_c : float
        Temperature at which it was kept, °C; NaN where not stated.
    still_good : bool
        The pack was still good when watching it ended after ``value`` days.
    n : int
        Number of tests; 0 where it has no meaning.
    taster : str
        Who scored it.
    against : str
        The other treatment of a triangle test or a preference.
    """

    line: int
    kind: Kind
    subject: Subject
    what: str
    value: float
    unit: str
    basis: str = ""
    below_limit: bool = False
    on_date: date | None = None
    storage_c: float = nan
    still_good: bool = False
    n: int = 0
    taster: str = ""
    against: str = ""


@dataclass(frozen=True, slots=True)
class Outcomes:
    """Everything that ``outcomes.csv`` holds besides the weights of cut plants.

    Parameters
    ----------
    findings : tuple of Finding
        In the order of the list.
    """

    findings: tuple[Finding, ...] = ()

    def of(self, *kinds: Kind) -> tuple[Finding, ...]:
        """Give the findings of some kinds."""
        return tuple(one for one in self.findings if one.kind in kinds)


@dataclass(frozen=True, slots=True)
class Prices:
    """What a tray brings and costs, as typed in ``trial.toml``; None = not stated.

    Parameters
    ----------
    pack_fill_g : float or None
        Fresh weight that goes into a pack.
    price_per_pack, price_per_kg : float or None
        What is paid; one of them.
    cost_per_tray, cost_per_pack, cost_per_tray_day, seed_cost_per_kg : float or None
        Medium, labour and the like; the pack; a day of the shelf; seed.
    currency : str
        Unit of all of them.
    """

    pack_fill_g: float | None = None
    price_per_pack: float | None = None
    price_per_kg: float | None = None
    cost_per_tray: float | None = None
    cost_per_pack: float | None = None
    cost_per_tray_day: float | None = None
    seed_cost_per_kg: float | None = None
    currency: str = ""
