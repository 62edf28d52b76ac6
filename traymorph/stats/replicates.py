"""From rows per tray and day to replicates: one value for each thing that got a treatment.

What got the treatment as a whole is one replicate: the tray; the lot, where several packs or trays
come from one; the shelf, where every tray of a shelf has the same treatment (a split plot's whole
plot). Counting parts of it as replicates finds differences that are not there (Hurlbert 1984,
Ecological Monographs 54:187-211).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from traymorph.model.comparison import TrayTable

Floats = NDArray[np.float64]
Codes = NDArray[np.intp]


@dataclass(frozen=True, slots=True, eq=False)
class Replicates:
    """One entry per replicate.

    Parameters
    ----------
    kind : str
        ``tray``, ``lot`` or ``shelf``.
    names : tuple of str
        What each is called.
    treatments : tuple of str
        Names of the treatments, by code.
    treatment : ndarray of int, shape (n,)
        Code of each replicate's treatment.
    blocks : tuple of str
        Names of the blocks, by code; empty without blocks.
    block : ndarray of int, shape (n,), or None
        Code of each replicate's block.
    rows : tuple of ndarray of int
        Rows of the table behind each replicate.
    """

    kind: str
    names: tuple[str, ...]
    treatments: tuple[str, ...]
    treatment: Codes
    blocks: tuple[str, ...]
    block: Codes | None
    rows: tuple[Codes, ...]


def find_replicates(table: TrayTable, treatment_column: str, control: str | None) -> Replicates:
    """Gather the rows of each replicate.

    Parameters
    ----------
    table : TrayTable
        Rows without a treatment are left out.
    treatment_column : str
        Column that holds the treatments.
    control : str or None
        It becomes the first treatment.
    """
    treatment = table.text(treatment_column)
    used = [row for row, name in enumerate(treatment) if name]
    kind, keys = _what_was_treated(table, treatment, used)
    members: dict[Key, list[int]] = {}
    for row in used:
        members.setdefault(keys[row], []).append(row)
    names = list(members)
    rows = tuple(np.array(group, dtype=np.intp) for group in members.values())
    treatments = _in_order({treatment[row] for row in used}, control)
    # Packs stood in no block, so that beside them blocks cannot be used.
    blocks = ("",) * len(table) if _packs(table, used) else table.text("block")
    block_of = [blocks[group[0]] for group in rows]
    block_names = tuple(sorted(set(block_of), key=_natural)) if all(block_of) else ()
    code = {name: number for number, name in enumerate(treatments)}
    return Replicates(
        kind,
        tuple(" ".join(part for part in name if part) for name in names),
        treatments,
        np.array([code[treatment[group[0]]] for group in rows], dtype=np.intp),
        block_names if len(block_names) > 1 else (),
        np.array([block_names.index(name) for name in block_of], dtype=np.intp)
        if len(block_names) > 1
        else None,
        rows,
    )


def values_of(table: TrayTable, replicates: Replicates, metric: str) -> tuple[Floats, Floats]:
    """Value and measuring doubt of every replicate, shape (n,) each; NaN where not measured.

    Of a tray's days the last one counts on which the metric was measured; the trays of a shelf or
    lot are averaged.
    """
    values, doubts = table.values[metric], table.doubts[metric]
    if sum(map(len, replicates.rows)) == len(replicates.rows):
        one = np.concatenate(replicates.rows)
        return values[one], doubts[one]
    trays, days = table.text("tray_id"), table.text("photographed_on")
    pairs = [_mean_of_last(rows, values, doubts, trays, days) for rows in replicates.rows]
    value, doubt = np.array(pairs, dtype=np.float64).reshape(-1, 2).T
    return value, doubt


def _mean_of_last(
    rows: Codes, values: Floats, doubts: Floats, trays: tuple[str, ...], days: tuple[str, ...]
) -> tuple[float, float]:
    last: dict[str, int] = {}
    for row in rows:
        name = trays[row]
        if np.isfinite(values[row]) and (name not in last or days[row] >= days[last[name]]):
            last[name] = int(row)
    if not last:
        return np.nan, np.nan
    chosen = list(last.values())
    # What the trays of a shelf share in doubt (card, phone) does not average out.
    return float(values[chosen].mean()), float(np.sqrt(np.mean(doubts[chosen] ** 2)))


Key = tuple[str, ...]


def _what_was_treated(
    table: TrayTable, treatment: tuple[str, ...], used: list[int]
) -> tuple[str, dict[int, Key]]:
    """Tell the kind of replicate, and for every used row the key of its replicate."""
    trays, lots = table.text("tray_id"), table.text("lot")
    packs = _packs(table, used)
    single: dict[int, Key] = {row: (trays[row],) for row in used}
    single |= {row: ("lot", lots[row]) for row in packs if lots[row]}
    if packs:
        return ("lot" if len(packs) == len(used) else "tray"), single
    blocks, shelves = table.text("block"), table.text("shelf")
    if not all(shelves[row] for row in used):
        return "tray", single
    on_shelf: dict[Key, set[str]] = {}
    treated: dict[Key, set[str]] = {}
    for row in used:
        key = (blocks[row], shelves[row])
        on_shelf.setdefault(key, set()).add(trays[row])
        treated.setdefault(key, set()).add(treatment[row])
    shared = any(len(found) > 1 for found in on_shelf.values())
    if shared and all(len(found) == 1 for found in treated.values()):
        return "shelf", {row: (blocks[row], shelves[row]) for row in used}
    return "tray", single


def _packs(table: TrayTable, used: list[int]) -> list[int]:
    kinds = table.text("kind")
    return [row for row in used if kinds[row] == "pack"]


def _in_order(names: set[str], control: str | None) -> tuple[str, ...]:
    ordered = sorted(names, key=_natural)
    if control in names:
        ordered.remove(control)
        ordered.insert(0, control)
    return tuple(ordered)


def _natural(name: str) -> tuple[tuple[int, float, str], ...]:
    """Sort 5 g before 15 g: numbers within names count as numbers."""
    parts: list[tuple[int, float, str]] = []
    number = ""
    for char in name:
        if char.isdigit() or (char == "." and number and "." not in number):
            number += char
            continue
        if number:
            parts.append((0, float(number), ""))
            number = ""
        parts.append((1, 0.0, char.casefold()))
    if number:
        parts.append((0, float(number), ""))
    return tuple(parts)
