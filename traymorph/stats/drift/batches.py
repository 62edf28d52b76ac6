"""From rows per tray and day to batches: one value for each, in the order of their days.

The batch is what is watched, its trays are replicates within it. Of a tray's days the last one
counts on which the metric was measured.
"""

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

import numpy as np
from numpy.typing import NDArray

from traymorph.errors import DesignError, ListError
from traymorph.model.comparison import TrayTable
from traymorph.model.drift import Batches

Floats = NDArray[np.float64]
Codes = NDArray[np.intp]

_SOWN_WITHIN_DAYS = 7
_PHOTOGRAPHED_WITHIN_DAYS = 21
"""A name whose trays lie further apart was given to two batches (common practice, no source)."""
_SAME_AGE_DAYS = 1
_SHOWN = 6
_OWN = frozenset(
    {"tray_id", "batch", "photographed_on", "sown_on", "harvested_on", "kind", "crop", "lot",
     "block", "position", "at_edge"}
)  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class _Rows:
    """Rows that belong to batches, with codes in the order of the batches' days."""

    names: tuple[str, ...]
    batch: Codes
    tray: Codes
    day: Codes


def find_batches(table: TrayTable, metrics: Sequence[str]) -> Batches:
    """Gather the trays of each batch.

    Parameters
    ----------
    table : TrayTable
        Trays of one crop; packs count only where the table holds nothing else.
    metrics : sequence of str
        To average.

    Raises
    ------
    DesignError
        No batch is named, or several crops are mixed.
    ListError
        Batches have no day, or trays so far apart in time that they cannot be one batch; all are
        named.
    """
    used, warnings = _used(table)
    names, codes = _coded(table.text("batch"), used)
    crop = _one_crop(table, used, codes, names)
    sown, taken = (_ordinals(table.text(c), used) for c in ("sown_on", "photographed_on"))
    _check_days(names, codes, sown, taken)
    first = _first_days(codes, len(names), taken, sown)
    order = np.array(sorted(range(len(names)), key=lambda k: (first[k], _natural(names[k]))))
    place = np.empty(len(order), dtype=np.intp)
    place[order] = np.arange(len(order))
    _, trays = _coded(table.text("tray_id"), used)
    rows = _Rows(tuple(names[k] for k in order), place[codes], trays, taken)
    by_day = np.lexsort((rows.day, rows.tray, rows.batch))
    found = {metric: _averages(table.values[metric][used], rows, by_day) for metric in metrics}
    return Batches(
        rows.names,
        tuple(date.fromordinal(int(first[k])) for k in order),
        {metric: means for metric, (means, _, _) in found.items()},
        {metric: sds for metric, (_, sds, _) in found.items()},
        {metric: counts for metric, (_, _, counts) in found.items()},
        {c: _shared(table, c, used, rows) for c in table.columns if c not in _OWN},
        crop,
        (*warnings, *_order_of_names(rows.names), *_ages(rows, sown)),
    )


def _used(table: TrayTable) -> tuple[Codes, list[str]]:
    """Rows with a batch, trays before packs, and what was left out."""
    packs = np.array([kind == "pack" for kind in table.text("kind")])
    named = np.array([bool(name) for name in table.text("batch")])
    if not named.any():
        msg = "No tray of the table has a batch, and drift is watched from batch to batch."
        raise DesignError(msg, hint="Fill in the column batch of trays.csv.")
    left = [] if packs.all() or not packs.any() else [f"{packs.sum()} packs are left out"]
    kept = named if packs.all() else named & ~packs
    without = int((~named).sum())
    if without:
        left.append(f"{without} rows without a batch are left out")
    if not kept.any():
        msg = "Only packs have a batch in a table that holds trays too."
        raise DesignError(msg, hint="Fill in the column batch of trays.csv for the trays.")
    return np.flatnonzero(kept), [f"{' and '.join(left)}."] if left else []


def _coded(cells: tuple[str, ...], used: Codes) -> tuple[tuple[str, ...], Codes]:
    """Names in the order in which they first appear, and the code of each row."""
    codes: dict[str, int] = {}
    places = [codes.setdefault(cells[row], len(codes)) for row in used.tolist()]
    return tuple(codes), np.array(places, dtype=np.intp)


def _one_crop(table: TrayTable, used: Codes, codes: Codes, names: tuple[str, ...]) -> str:
    cells = table.text("crop")
    crops = [cells[row] for row in used.tolist()]
    written: dict[str, str] = {}
    for crop in dict.fromkeys(crops):
        if crop:
            written.setdefault(crop.casefold(), crop)
    if len(written) < 2:
        return next(iter(written.values()), "")
    seen: dict[str, set[str]] = {}
    for crop, code in zip(crops, codes, strict=True):
        if crop:
            seen.setdefault(names[code], set()).add(crop.casefold())
    mixed = sorted(name for name, held in seen.items() if len(held) > 1)
    where = f", in one batch even ({_listed(mixed)})" if mixed else ""
    msg = f"The table mixes crops: {_listed(sorted(written.values()))}{where}."
    hint = "Name one with --crop, and correct the crop where it is a misprint."
    raise DesignError(msg, hint=hint)


def _ordinals(cells: tuple[str, ...], used: Codes) -> Codes:
    """Days as numbers; 0 where the cell is empty."""
    known = {cell: datetime.fromisoformat(cell).toordinal() if cell else 0 for cell in set(cells)}
    return np.array([known[cells[row]] for row in used.tolist()], dtype=np.intp)


def _first_days(codes: Codes, n: int, *kinds: Codes) -> Codes:
    """First day of each batch, of the first kind that it has; 0 = none."""
    first = np.zeros(n, dtype=np.intp)
    for days in kinds:
        earliest = np.full(n, np.iinfo(np.intp).max)
        held = days > 0
        np.minimum.at(earliest, codes[held], days[held])
        first = np.where((first == 0) & (earliest < np.iinfo(np.intp).max), earliest, first)
    return first


def _check_days(names: tuple[str, ...], codes: Codes, sown: Codes, taken: Codes) -> None:
    n = len(names)
    first = _first_days(codes, n, taken, sown)
    problems = []
    plain = [" ".join(name.casefold().split()) for name in names]
    often = Counter(plain)
    alike = [name for name, one in zip(names, plain, strict=True) if often[one] > 1]
    if alike:
        problems.append(f"that differ in spelling alone: {_listed(alike)} (write one everywhere)")
    undated = [names[k] for k in np.flatnonzero(first == 0)]
    if undated:
        problems.append(f"without a day: {_listed(undated)} (fill in photographed_on or sown_on)")
    wrong = sorted({names[k] for k in codes[(taken > 0) & (sown > 0) & (taken < sown)]})
    if wrong:
        problems.append(f"photographed before they were sown: {_listed(wrong)} (correct the days)")
    far = _too_far_apart(codes, n, sown, taken)
    if len(far):
        two = _listed([names[k] for k in far])
        problems.append(
            f"with days too far apart for one batch: {two} (sown over more than "
            f"{_SOWN_WITHIN_DAYS} days; if two batches bear one name, give each its own)"
        )
    if problems:
        msg = f"Batches {'; '.join(problems)}."
        raise ListError(msg, hint="Correct trays.csv and measure again, or correct the table.")


def _too_far_apart(codes: Codes, n: int, sown: Codes, taken: Codes) -> Codes:
    """Batches sown over too many days, or photographed so where no day of sowing is known."""
    spans = []
    for days in (sown, taken):
        last = np.zeros(n, dtype=np.intp)
        np.maximum.at(last, codes, days)
        spans.append(np.where(last > 0, last - _first_days(codes, n, days), -1))
    unsown = (spans[0] < 0) & (spans[1] > _PHOTOGRAPHED_WITHIN_DAYS)
    return np.flatnonzero((spans[0] > _SOWN_WITHIN_DAYS) | unsown)


def _averages(values: Floats, rows: _Rows, by_day: Codes) -> tuple[Floats, Floats, Codes]:
    """Mean, standard deviation and number of trays of every batch; rows sorted by tray and day."""
    n = len(rows.names)
    held = by_day[np.isfinite(values[by_day])]
    batch, tray = rows.batch[held], rows.tray[held]
    last = np.append((np.diff(batch) != 0) | (np.diff(tray) != 0), True)[: len(held)]
    batch, kept = batch[last], values[held[last]]
    counts = np.bincount(batch, minlength=n)
    with np.errstate(invalid="ignore", divide="ignore"):
        means = np.bincount(batch, kept, minlength=n) / counts
        squares = np.bincount(batch, (kept - means[batch]) ** 2, minlength=n)
        sds = np.where(counts > 1, np.sqrt(squares / (counts - 1)), np.nan)
    return means, sds, counts


def _shared(table: TrayTable, column: str, used: Codes, rows: _Rows) -> tuple[str, ...]:
    """Give what all trays of a batch have in a column; "" where they differ."""
    cells = table.text(column)
    pairs = set(zip(rows.batch.tolist(), (cells[row] for row in used.tolist()), strict=True))
    found = [""] * len(rows.names)
    kinds = Counter(batch for batch, _ in pairs)
    for batch, cell in pairs:
        if kinds[batch] == 1:
            found[batch] = cell
    return tuple(found)


def _order_of_names(names: tuple[str, ...]) -> list[str]:
    """Ask about numbered batches whose days run against their numbers."""
    if len({re.sub(r"\d+", "", name) for name in names}) > 1:
        return []
    numbers = [[int(part) for part in re.findall(r"\d+", name)] for name in names]
    against = [
        f"{names[k]} after {names[k - 1]}"
        for k in range(1, len(names))
        if numbers[k] < numbers[k - 1]
    ]
    if not against:
        return []
    where = _listed(against)
    return [
        f"Batches stand in the order of their days, not of their names: {where}. Check the days."
    ]


def _ages(rows: _Rows, sown: Codes) -> list[str]:
    """Warn of batches photographed at ages that differ."""
    held = (sown > 0) & (rows.day > 0)
    if not held.any():
        return []
    n = len(rows.names)
    ages = (rows.day - sown)[held]
    counts = np.bincount(rows.batch[held], minlength=n)
    known = counts > 0
    means = np.bincount(rows.batch[held], ages, minlength=n)[known] / counts[known]
    if np.ptp(means) <= _SAME_AGE_DAYS:
        return []
    told = (
        f"Batches were photographed at ages from {means.min():.0f} to {means.max():.0f} days: part "
        "of what differs between them is age. Photograph every batch at the same age."
    )
    return [told]


def _natural(name: str) -> tuple[tuple[int, str], ...]:
    """Sort batch 9 before batch 10."""
    parts = re.split(r"(\d+)", name)
    return tuple((int(part), "") if part.isdigit() else (-1, part) for part in parts)


def _listed(names: Sequence[str]) -> str:
    more = f" and {len(names) - _SHOWN} more" if len(names) > _SHOWN else ""
    return ", ".join(names[:_SHOWN]) + more
