"""Which components a study of measuring can tell: who measured which tray how often.

Operators (people or phones) that share trays are crossed with them; operators who each had trays of
their own are the outer level of a nested design; one operator leaves trays, and batches of them,
alone. What a design cannot tell apart is left together and said so.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import fdtrc

from traymorph.errors import DesignError
from traymorph.model.repeatability import BATCH, BY_OPERATOR, OPERATOR, REPEAT, TRAY
from traymorph.stats.measuring.variance_components import Codes, Effect, Floats, Layout

POOL_ABOVE = 0.25
"""p of ``tray_by_operator`` above which it is pooled into what is left (Bancroft 1964, Biometrics
20:427-442)."""


@dataclass(frozen=True, slots=True, eq=False)
class Cells:
    """Levels of each measurement, shape (n,) each, codes 0, 1, 2 ...

    Parameters
    ----------
    tray, operator : ndarray of int
        Tray (on one day), and who photographed it.
    batch : ndarray of int or None
        Batch of each tray; None where they have none.
    """

    tray: Codes
    operator: Codes
    batch: Codes | None = None

    def only(self, kept: Codes) -> "Cells":
        """Give these measurements alone, codes counted anew."""
        batch = None if self.batch is None else _anew(self.batch[kept])
        return Cells(_anew(self.tray[kept]), _anew(self.operator[kept]), batch)

    @property
    def cell(self) -> Codes:
        """Code of each pair of tray and operator."""
        return _anew(self.tray * (int(self.operator.max()) + 1) + self.operator)

    @property
    def n_trays(self) -> int:
        """Trays."""
        return int(self.tray.max()) + 1

    @property
    def n_operators(self) -> int:
        """Operators."""
        return int(self.operator.max()) + 1

    @property
    def balanced(self) -> bool:
        """Whether every operator measured every tray (or own tray) equally often."""
        counts = np.bincount(self.cell)
        even = len(set(counts.tolist())) == 1
        crossed = len(counts) in {self.n_trays, self.n_trays * self.n_operators}
        outer = self.operator if self.design == "nested" else self.batch
        if outer is None:
            return even and crossed
        _, first = np.unique(self.tray, return_index=True)
        return even and crossed and len(set(np.bincount(outer[first]).tolist())) == 1

    @property
    def design(self) -> str:
        """``one_operator``, ``crossed`` or ``nested``."""
        if self.n_operators == 1:
            return "one_operator"
        return "crossed" if len(np.unique(self.cell)) > self.n_trays else "nested"


@dataclass(frozen=True, slots=True, eq=False)
class Design:
    """A layout of components, and what was done about ``tray_by_operator``.

    Parameters
    ----------
    layout : Layout
        With it, where it can be told.
    pooled : Layout or None
        Without it.
    interaction : str
        ``kept`` where it can be told, ``inseparable`` where operators repeated no tray, else empty.
    """

    layout: Layout
    pooled: Layout | None
    interaction: str

    def choose(self, values: Floats) -> tuple[Layout, str, float]:
        """Pool ``tray_by_operator`` where nothing speaks for it; gives layout, what was done, p."""
        if self.pooled is None:
            return self.layout, self.interaction, np.nan
        squares = dict(zip(self.layout.names, self.layout.mean_squares(values), strict=True))
        df = dict(zip(self.layout.names, self.layout.df.tolist(), strict=True))
        if squares[REPEAT] <= 0.0:
            return self.layout, self.interaction, np.nan
        ratio = squares[BY_OPERATOR] / squares[REPEAT]
        p = float(fdtrc(df[BY_OPERATOR], df[REPEAT], ratio))
        if p > POOL_ABOVE:
            return self.pooled, "pooled", p
        return self.layout, "kept", p


def find_design(cells: Cells) -> Design:
    """Find what measurements laid out like this can tell.

    Parameters
    ----------
    cells : Cells
        Of the measurements that gave a value.

    Raises
    ------
    DesignError
        They tell nothing of the measuring: one tray only, or none measured twice.
    """
    if cells.n_trays < 2:
        msg = "one tray only was measured again, so that the spread between trays is not known"
        raise DesignError(msg, hint="Photograph five trays or more, each at least twice.")
    makers = {"one_operator": _one_operator, "crossed": _crossed, "nested": _nested}
    design = makers[cells.design](cells)
    if design.layout.df[-1] < 1:
        msg = "no tray was measured twice by one person and phone"
        if cells.design == "crossed":
            msg = "too few trays were measured by more than one person or phone"
        raise DesignError(msg, hint="Photograph every tray at least twice.")
    return design


def _one_operator(cells: Cells) -> Design:
    batches = None if cells.batch is None else replace(cells, operator=cells.batch)
    outer = [] if batches is None or not _tells(batches) else [(BATCH, batches.operator)]
    return Design(_levels([*outer, (TRAY, cells.tray)]), None, "")


def _nested(cells: Cells) -> Design:
    outer = [(OPERATOR, cells.operator)] if _tells(cells) else []
    return Design(_levels([*outer, (TRAY, cells.tray)]), None, "")


def _tells(cells: Cells) -> bool:
    """Whether an outer level can be told from the trays: several of both."""
    return 1 < cells.n_operators < cells.n_trays


def _levels(levels: Sequence[tuple[str, Codes]]) -> Layout:
    """Each level within the one before."""
    around = np.zeros_like(levels[0][1])
    effects = []
    for name, codes in levels:
        effects.append(Effect(name, codes, (codes,), (around,)))
        around = codes
    return Layout([*effects, Effect(REPEAT, None, (), (around,))])


def _crossed(cells: Cells) -> Design:
    tray, operator, batch, cell = cells.tray, cells.operator, cells.batch, cells.cell
    both = (tray, operator)
    effects = [
        Effect(TRAY, tray, both, (operator,)),
        Effect(OPERATOR, operator, both, (tray,)),
    ]
    if batch is not None and _tells(replace(cells, operator=batch)):
        within = Effect(TRAY, tray, both, (batch, operator))
        outer = Effect(BATCH, batch, (batch, operator), (operator,))
        effects = [outer, within, effects[1]]
    effects = _with_freedom(effects)
    additive = Layout([*effects, Effect(REPEAT, None, (), both)])
    by_operator = Effect(BY_OPERATOR, cell, (cell,), both)
    if len(np.unique(cell)) == len(cell):
        return Design(additive, None, "inseparable")
    if not _with_freedom([by_operator]):
        return Design(additive, None, "")
    whole = Layout([*effects, by_operator, Effect(REPEAT, None, (), (cell,))])
    return Design(whole, additive, "kept")


def _with_freedom(effects: Sequence[Effect]) -> list[Effect]:
    """Leave out what has no degree of freedom of its own."""
    return [one for one in effects if Layout([one]).df[0] > 0]


def _anew(codes: Codes) -> Codes:
    return np.asarray(np.unique(codes, return_inverse=True)[1], dtype=np.intp).reshape(-1)
