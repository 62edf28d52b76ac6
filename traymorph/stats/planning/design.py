"""What a trial's design can and cannot show, in words.

A difference that goes with the treatment in every tray (another block, day, age, seed lot) cannot
be told from it: such a comparison is refused, for all metrics or for those that it touches.
"""

from collections import Counter
from dataclasses import dataclass
from datetime import date

import numpy as np

from traymorph.model.comparison import TrayTable, plural
from traymorph.stats.replicates import Replicates

STEM_METRICS = ("stem_length_mm",)
FILL_METRICS = ("stem_to_leaf_ratio", "bare_stem_mm")
_FILL_DIFFERS_MM = 3.0
_DATES = ("sown_on", "harvested_on", "photographed_on")
_SHOWN = 6


@dataclass(frozen=True, slots=True)
class Objection:
    """Something that stands against a comparison.

    Parameters
    ----------
    sentence : str
        What it is and what to do.
    metrics : tuple of str
        Metrics that it touches; empty = all.
    flag : str
        For the rows of single metrics.
    """

    sentence: str
    metrics: tuple[str, ...] = ()
    flag: str = ""


def objections(
    table: TrayTable, replicates: Replicates, treatment_column: str
) -> tuple[list[Objection], list[Objection]]:
    """Look for what cannot be told from the treatment.

    Parameters
    ----------
    table : TrayTable
        The rows.
    replicates : Replicates
        What got the treatments.
    treatment_column : str
        Column that holds them; what it names itself is not held against it.

    Returns
    -------
    refusing : list of Objection
        Against every metric.
    of_metrics : list of Objection
        Against some metrics.
    """
    refusing = [
        *_too_few(replicates),
        *_crops(table, replicates, treatment_column),
        *_blocks(table, replicates),
        *_went_with_treatment(table, replicates, treatment_column),
    ]
    return refusing, [*_fill(table, replicates), *_cut(table, replicates)]


def warnings(table: TrayTable, replicates: Replicates, treatment_column: str) -> list[str]:
    """Name what makes the answer weaker without spoiling it."""
    found = []
    left_out = [
        table.text("tray_id")[row]
        for row, name in enumerate(table.text(treatment_column))
        if not name
    ]
    if left_out:
        found.append(f"{_list(left_out)}: no {treatment_column} is stated; left out.")
    counts = Counter(replicates.treatment.tolist())
    if max(counts.values()) > 2 * min(counts.values()):
        sizes = ", ".join(
            f"{name} {counts[code]}" for code, name in enumerate(replicates.treatments)
        )
        found.append(f"Treatments have very unequal numbers of {plural(replicates.kind)}: {sizes}.")
    if replicates.kind == "shelf":
        found.append(
            "Every shelf holds one treatment only, so that the shelf is the replicate: its trays "
            "are averaged."
        )
    if _with_packs(table, replicates):
        found.append(
            "Packs are compared: when they were sown, and beside what they grew, is not known; "
            "blocks are left out of the comparison."
        )
    found.extend(_ends(table, replicates))
    return found


def _with_packs(table: TrayTable, replicates: Replicates) -> bool:
    kinds = table.text("kind")
    return any(kinds[int(rows[0])] == "pack" for rows in replicates.rows)


def _too_few(replicates: Replicates) -> list[Objection]:
    names = replicates.treatments
    if len(names) < 2:
        what = f"only {names[0]}" if names else "nothing"
        return [Objection(f"A comparison needs two treatments; the table holds {what}.")]
    counts = np.bincount(replicates.treatment, minlength=len(names))
    alone = [name for name, n in zip(names, counts, strict=True) if n < 2]
    if not alone:
        return []
    one, many = replicates.kind, plural(replicates.kind)
    return [
        Objection(
            f"{_list(alone)}: one {one} only. One {one} cannot show what a treatment does, because "
            f"nothing says how far two {many} of one treatment differ; plants and photos of one "
            f"{one} do not stand in for it. Grow at least two, better four, {many} of each."
        )
    ]


def _crops(table: TrayTable, replicates: Replicates, treatment_column: str) -> list[Objection]:
    crops = {_cell(table, "crop", rows) for rows in replicates.rows} - {""}
    if len(crops) < 2 or treatment_column == "crop":
        return []
    return [
        Objection(
            f"The table mixes crops ({_list(sorted(crops))}). Compare one crop at a time: name it "
            "with --crop."
        )
    ]


def _blocks(table: TrayTable, replicates: Replicates) -> list[Objection]:
    if _with_packs(table, replicates):
        return []
    blocks = table.text("block")
    unknown = [
        name for name, rows in zip(replicates.names, replicates.rows, strict=True)
        if not blocks[rows[0]]
    ]  # fmt: skip
    if unknown and len(unknown) < len(replicates.names):
        return [
            Objection(f"{_list(unknown)}: no block is stated, but others have one. Fill in block.")
        ]
    if replicates.block is None or _connected(replicates):
        return []
    return [
        Objection(
            "Treatments do not meet in any block: what the treatment does cannot be told from "
            "what the block does. Next time put every treatment into every block."
        )
    ]


def _connected(replicates: Replicates) -> bool:
    """Whether every treatment meets every other in blocks, directly or through others."""
    block = np.asarray(replicates.block)
    reached = {0}
    while True:
        in_blocks = set(block[np.isin(replicates.treatment, list(reached))].tolist())
        newer = set(replicates.treatment[np.isin(block, list(in_blocks))].tolist())
        if newer <= reached:
            return len(reached) == len(replicates.treatments)
        reached |= newer


def _went_with_treatment(
    table: TrayTable, replicates: Replicates, treatment_column: str
) -> list[Objection]:
    """Properties of which every treatment has values of its own."""
    found = []
    stated = {
        "seed lot": ("seed_lot",),
        "day of the photo": ("photographed_on",),
        "batch": ("batch",),
        "shelf": ("shelf",) if _one_shelf_each(table, replicates) else (),
    }
    for what, columns in stated.items():
        if columns and columns[0] != treatment_column:
            cells = [_cell(table, columns[0], rows) for rows in replicates.rows]
            found.extend(_aliased(what, cells, replicates))
    if treatment_column not in _DATES:
        found.extend(_aliased("age at harvest or photo", _ages(table, replicates), replicates))
    return found


def _one_shelf_each(table: TrayTable, replicates: Replicates) -> bool:
    """Whether some treatment stood on one shelf alone.

    Several shelves to a treatment are replicates of the shelf, as in a split plot.
    """
    shelves = [_cell(table, "shelf", rows) for rows in replicates.rows]
    by_treatment: dict[int, set[str]] = {}
    for code, shelf in zip(replicates.treatment.tolist(), shelves, strict=True):
        by_treatment.setdefault(code, set()).add(shelf)
    return any(len(found) == 1 for found in by_treatment.values())


def _aliased(what: str, cells: list[str], replicates: Replicates) -> list[Objection]:
    if not all(cells):
        return []
    by_treatment: dict[int, set[str]] = {}
    for code, cell in zip(replicates.treatment.tolist(), cells, strict=True):
        by_treatment.setdefault(code, set()).add(cell)
    apart = [
        (one, other)
        for one in by_treatment
        for other in by_treatment
        if one < other and not by_treatment[one] & by_treatment[other]
    ]
    if not apart:
        return []
    shown = "; ".join(
        f"{replicates.treatments[code]}: {_list(sorted(by_treatment[code]))}"
        for code in sorted(by_treatment)
    )
    return [
        Objection(
            f"The {what} differs with the treatment ({shown}): its effect cannot be told from the "
            f"treatment's. Give every treatment the same {what}."
        )
    ]


def _ages(table: TrayTable, replicates: Replicates) -> list[str]:
    """Days from sowing to harvest, or to the photo where no harvest is stated."""
    ages = []
    for rows in replicates.rows:
        sown = _cell(table, "sown_on", rows)
        until = _cell(table, "harvested_on", rows) or _cell(table, "photographed_on", rows)
        ages.append(f"{_days(sown, until)} days" if sown and until else "")
    return ages


def _days(sown: str, until: str) -> int:
    return (date.fromisoformat(until[:10]) - date.fromisoformat(sown[:10])).days


def _fill(table: TrayTable, replicates: Replicates) -> list[Objection]:
    depth = _numbers(table, "rim_above_medium_mm", replicates)
    means = _means(depth, replicates)
    if not means or max(means) - min(means) <= _FILL_DIFFERS_MM:
        return []
    return [
        Objection(
            f"Trays are filled to depths that differ with the treatment by "
            f"{max(means) - min(means):.0f} mm, and the wall hides that much stem: "
            f"{_list(list(FILL_METRICS))} are not compared. Fill all trays alike.",
            FILL_METRICS,
            "fill_differs",
        )
    ]


def _cut(table: TrayTable, replicates: Replicates) -> list[Objection]:
    measured = [name for name in STEM_METRICS if np.isfinite(table.values.get(name, [])).any()]
    if not measured:
        return []
    stems = np.isfinite(table.values[measured[0]])
    heights = {
        _cell(table, "cut_above_medium_mm", rows) for rows in replicates.rows if stems[rows].any()
    }
    if len(heights) == 1 and "" not in heights:
        return []
    what = "is not stated for every tray" if "" in heights else "differs between trays"
    return [
        Objection(
            f"How high above the medium plants were cut {what}: {_list(measured)} is not compared. "
            "Cut all at one height and state cut_above_medium_mm in trays.csv.",
            tuple(measured),
            "cut_differs",
        )
    ]


def _ends(table: TrayTable, replicates: Replicates) -> list[str]:
    """Trays at a shelf's end get other light and air; the treatments should share them alike."""
    ends = [_cell(table, "at_edge", rows).casefold() for rows in replicates.rows]
    if not all(ends):
        return []
    at_end = np.array([end in {"yes", "true", "1"} for end in ends], dtype=np.float64)
    shares = _means(at_end, replicates)
    if not shares or max(shares) - min(shares) <= 0.34:
        return []
    shown = ", ".join(
        f"{name} {100 * share:.0f} %"
        for name, share in zip(replicates.treatments, shares, strict=True)
    )
    where = "at the edge of the rack, where light and air differ"
    return [f"Treatments are unequally often {where} ({shown})."]


def _numbers(table: TrayTable, column: str, replicates: Replicates) -> np.ndarray:
    cells = [_cell(table, column, rows) for rows in replicates.rows]
    return np.array([float(cell) if cell else np.nan for cell in cells], dtype=np.float64)


def _means(numbers: np.ndarray, replicates: Replicates) -> list[float]:
    """Mean by treatment; empty where any is unknown."""
    if not np.isfinite(numbers).all():
        return []
    count = np.bincount(replicates.treatment)
    return list(np.bincount(replicates.treatment, numbers) / np.maximum(count, 1))


def _cell(table: TrayTable, column: str, rows: np.ndarray) -> str:
    """Give the common cell of a replicate's rows; of dates and differing cells the last."""
    cells = table.columns.get(column)
    if cells is None:
        return ""
    return max(cells[int(row)] for row in rows)


def _list(names: list[str]) -> str:
    shown = names[:_SHOWN]
    more = f" and {len(names) - len(shown)} more" if len(names) > len(shown) else ""
    return ", ".join(shown) + more
