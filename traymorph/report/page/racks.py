"""The trial's map: every tray where it stood, with the declared metric's value."""

import re
from dataclasses import dataclass

import numpy as np
from markupsafe import Markup

from traymorph.model.report import TrialReport
from traymorph.report.page import wording
from traymorph.report.page.numbers import Numbers
from traymorph.report.page.sections import ordered_metrics, treatment_marks, treatments_of

_MOST_ACROSS = 12


@dataclass(frozen=True, slots=True)
class CellShown:
    """A tray in its place."""

    tray_id: str
    treatment: str
    mark: Markup
    value: str
    bar_pct: float


@dataclass(frozen=True, slots=True)
class ShelfShown:
    """One shelf, from its left to its right end; None = nothing known of the place."""

    name: str
    cells: tuple[CellShown | None, ...]


@dataclass(frozen=True, slots=True)
class BlockShown:
    """One block with its shelves."""

    name: str
    across: int
    shelves: tuple[ShelfShown, ...]


def rack(report: TrialReport, numbers: Numbers) -> tuple[BlockShown, ...]:
    """Lay the trays out; nothing of a block where a tray's position is not recorded.

    Nothing at all of several batches without treatments: places that were used again and again
    show nothing.
    """
    table = report.table
    placed = [table.text(name) for name in ("block", "shelf", "position")]
    metric = mapped_metric(report)
    several = len(set(table.text("batch")) - {""}) > 1
    if metric is None or (several and len(treatments_of(report)) < 2):
        return ()
    last = {tray: row for row, tray in enumerate(table.text("tray_id"))}
    rows = [row for row in last.values() if any(cells[row] for cells in placed)]
    batches = table.text("batch") if several else ("",) * len(table)
    blocks: dict[tuple[str, str], dict[str, list[int]]] = {}
    for row in rows:
        block = blocks.setdefault((batches[row], placed[0][row]), {})
        block.setdefault(placed[1][row], []).append(row)
    cells = _Cells(report, metric, rows, numbers)
    return tuple(
        _block(wording.place_name(*block), blocks[block], placed[2], cells)
        for block in sorted(blocks, key=lambda one: (_natural(one[0]), _natural(one[1])))
        if all(_is_place(placed[2][row]) for held in blocks[block].values() for row in held)
    )


def mapped_metric(report: TrialReport) -> str | None:
    """Name the metric that the map shows: the declared one, else the foremost."""
    first, further = ordered_metrics(report)
    names = [*first, *further, *report.outcomes]
    return report.primary if report.primary in names else next(iter(names), None)


def _block(
    name: str,
    shelves: dict[str, list[int]],
    positions: tuple[str, ...],
    cells: "_Cells",
) -> BlockShown:
    shown = tuple(
        ShelfShown(shelf, _in_places(shelves[shelf], positions, cells))
        for shelf in sorted(shelves, key=_natural)
    )
    return BlockShown(name, max(len(shelf.cells) for shelf in shown), shown)


def _is_place(cell: str) -> bool:
    return cell.isdecimal() and 1 <= int(cell) <= _MOST_ACROSS


def _in_places(
    rows: list[int], positions: tuple[str, ...], cells: "_Cells"
) -> tuple[CellShown | None, ...]:
    held = {int(positions[row]): row for row in rows}
    if len(held) < len(rows):  # two trays claim one place: show them in their order
        return tuple(cells.cell(row) for row in rows)
    return tuple(
        cells.cell(held[place]) if place in held else None for place in range(1, max(held) + 1)
    )


class _Cells:
    """Makes cells of one metric."""

    def __init__(self, report: TrialReport, metric: str, rows: list[int], numbers: Numbers) -> None:
        self._report, self._metric, self._numbers = report, metric, numbers
        self._marks = treatment_marks(report)
        known = report.table.values[metric][rows]
        known = known[np.isfinite(known)] if np.isfinite(known).any() else np.zeros(1)
        self._low, self._high = float(known.min()), float(known.max())

    def cell(self, row: int) -> CellShown:
        """Make a tray's cell."""
        table = self._report.table
        treatment = table.text(self._report.treatment_column)[row]
        value = float(table.values[self._metric][row])
        if not np.isfinite(value):
            written, share = wording.NOT_MEASURED_CELL, 0.0
        else:
            unit = table.units.get(self._metric, "")
            written = self._numbers.with_unit(self._numbers.rough(value), unit)
            span = self._high - self._low
            share = 100.0 * (value - self._low) / span if span > 0 else 50.0
        mark = self._marks.get(treatment, Markup())
        return CellShown(table.text("tray_id")[row], treatment, mark, written, max(share, 3.0))


def _natural(name: str) -> list[tuple[int, int, str]]:
    """Sort 2 before 10."""
    return [
        (0, int(one), "") if one.isdecimal() else (1, 0, one.casefold())
        for one in re.split(r"([0-9]+)", name)
        if one
    ]
