"""What trays and lots gave: weights, and what follows from them by area, seed, pack, day and price.

A lot is what was weighed together. Its weight stays one number: the lot is the replicate, and its
trays only say how many they were and how large.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
from numpy.typing import NDArray

from traymorph.model.comparison import TrayTable
from traymorph.model.outcomes import Finding, Prices
from traymorph.model.trial import TraySize

Floats = NDArray[np.float64]

_WEIGHTS = ("fresh_weight", "dry_weight", "seed_weight")
_MM2_PER_M2 = 1e6


@dataclass(frozen=True, slots=True, eq=False)
class _Grown:
    """What is known of trays or lots; one entry each, NaN where it is not."""

    weights: Mapping[str, Floats]
    trays: Floats
    area_m2: Floats
    days: Floats


def with_outcomes(
    table: TrayTable, findings: Sequence[Finding], prices: Prices, size: TraySize
) -> TrayTable:
    """Add the outcomes of single trays to a table of trays.

    Parameters
    ----------
    table : TrayTable
        One row per tray and day.
    findings : sequence of Finding
        Of kind ``tray``; those on lots are left out.
    prices : Prices
        For packs and margin.
    size : TraySize
        Sizes of trays whose row gives none.

    Returns
    -------
    TrayTable
        With further names in ``values``, ``doubts`` and ``units``; the same value in every row of
        a tray.
    """
    trays = table.text("tray_id")
    single = [one for one in findings if one.subject.level == "tray_id"]
    if not single:
        return table
    stated = _stated(single, trays)
    grown = _Grown(
        {name: stated[name] for name in _WEIGHTS if name in stated},
        np.ones(len(table)),
        _areas(table, size),
        _days(table),
    )
    worth, worth_units = _worked_out(grown, prices)
    units = {one.what: one.unit for one in single} | worth_units
    return _joined(table, stated | worth, units)


def lot_table(
    table: TrayTable, findings: Sequence[Finding], prices: Prices, size: TraySize
) -> TrayTable | None:
    """Make a table of lots, one row each; None where no row is about a lot.

    Parameters
    ----------
    table : TrayTable
        Trays with a column ``lot``.
    findings : sequence of Finding
        Of kind ``tray``. Seed may be stated of the lot or of each of its trays.
    prices : Prices
        For packs and margin.
    size : TraySize
        Sizes of trays whose row gives none.
    """
    of_lots = [one for one in findings if one.subject.level == "lot"]
    if not of_lots:
        return None
    lots = tuple(dict.fromkeys(one.subject.name for one in of_lots))
    first_rows = _first_rows(table)
    members = _members(table, lots, first_rows)
    count = np.array([len(members[lot]) for lot in lots], dtype=np.float64)
    areas, days = _areas(table, size), _days(table)
    weights = {name: sums for name, sums in _stated(of_lots, lots).items() if name in _WEIGHTS}
    if "seed_weight" not in weights:
        weights |= _seed_of_trays(findings, table, members)
    grown = _Grown(
        weights,
        count,
        np.array([areas[members[lot]].sum() for lot in lots]),
        np.array([days[members[lot]].mean() for lot in lots]),
    )
    values, units = _worked_out(grown, prices)
    for name, weight in grown.weights.items():
        values[f"{name}_per_tray"], units[f"{name}_per_tray"] = weight / count, "g"
    others = [one for one in of_lots if one.what not in _WEIGHTS]
    values |= _stated(others, lots)
    units |= {one.what: one.unit for one in others}
    columns = {
        name: tuple(_common(cells, members[lot]) for lot in lots)
        for name, cells in table.columns.items()
        if name not in {"tray_id", "lot", "kind", "photographed_on"}
    }
    if not all(columns.get("block", ())):
        columns.pop("block", None)
    # Packs of a distinct lot are one replicate each, which is what a lot of trays is here.
    columns |= {"tray_id": lots, "lot": lots, "kind": ("pack",) * len(lots)}
    empty = TrayTable(columns, {}, {}, (frozenset(),) * len(lots), {})
    return _joined(empty, values, units)


def _stated(findings: Sequence[Finding], names: Sequence[str]) -> dict[str, Floats]:
    """Values by name; several cuts of one tray or lot add up."""
    sums: dict[str, dict[str, float]] = {}
    for one in findings:
        held = sums.setdefault(one.what, {})
        held[one.subject.name] = held.get(one.subject.name, 0.0) + one.value
    return {
        what: np.array([held.get(name, np.nan) for name in names], dtype=np.float64)
        for what, held in sums.items()
    }


def _seed_of_trays(
    findings: Sequence[Finding], table: TrayTable, members: Mapping[str, NDArray[np.intp]]
) -> dict[str, Floats]:
    """Seed of every lot as the sum of its trays; NaN where that of a tray is not known."""
    single = [
        one for one in findings
        if one.subject.level == "tray_id" and one.what == "seed_weight"
    ]  # fmt: skip
    if not single:
        return {}
    seed = _stated(single, table.text("tray_id"))["seed_weight"]
    return {"seed_weight": np.array([seed[rows].sum() for rows in members.values()])}


def _worked_out(grown: _Grown, prices: Prices) -> tuple[dict[str, Floats], dict[str, str]]:
    fresh = grown.weights.get("fresh_weight")
    if fresh is None:
        return {}, {}
    values: dict[str, Floats] = {"yield_g_per_m2": fresh / grown.area_m2}
    units = {"yield_g_per_m2": "g/m2"}
    seed = grown.weights.get("seed_weight")
    if seed is not None:
        values["yield_g_per_g_seed"], units["yield_g_per_g_seed"] = fresh / seed, "g/g"
    if prices.pack_fill_g is not None:
        values["packs"] = fresh / prices.pack_fill_g / grown.trays
        units["packs"] = "packs"
    values["g_per_tray_day"] = fresh / grown.trays / grown.days
    units["g_per_tray_day"] = "g/day"
    margin = _margin(grown, fresh, seed, prices)
    if margin is not None:
        values["margin_per_tray"] = margin
        units["margin_per_tray"] = prices.currency or "money"
    known = {name for name, numbers in values.items() if np.isfinite(numbers).any()}
    return (
        {name: values[name] for name in values if name in known},
        {name: units[name] for name in units if name in known},
    )


def _margin(grown: _Grown, fresh: Floats, seed: Floats | None, prices: Prices) -> Floats | None:
    """Give what a tray brings less what it costs; NaN where a stated cost cannot be counted."""
    weight = fresh / grown.trays
    if prices.price_per_kg is not None:
        left = weight / 1000.0 * prices.price_per_kg
    elif prices.price_per_pack is not None and prices.pack_fill_g is not None:
        left = weight / prices.pack_fill_g * prices.price_per_pack
    else:
        return None
    if prices.cost_per_tray is not None:
        left = left - prices.cost_per_tray
    if prices.cost_per_pack is not None and prices.pack_fill_g is not None:
        left = left - weight / prices.pack_fill_g * prices.cost_per_pack
    if prices.cost_per_tray_day is not None:
        left = left - grown.days * prices.cost_per_tray_day
    if prices.seed_cost_per_kg is not None:
        sown = np.full(len(fresh), np.nan) if seed is None else seed / grown.trays
        left = left - sown / 1000.0 * prices.seed_cost_per_kg
    return left


def _areas(table: TrayTable, size: TraySize) -> Floats:
    """Inside area of every row's tray, m2."""
    length = _sizes(table, "inside_length_mm", size.inside_length_mm)
    width = _sizes(table, "inside_width_mm", size.inside_width_mm)
    return length * width / _MM2_PER_M2


def _sizes(table: TrayTable, column: str, otherwise: float | None) -> Floats:
    missing = np.nan if otherwise is None else otherwise
    return np.array([float(cell or missing) for cell in table.text(column)], dtype=np.float64)


def _days(table: TrayTable) -> Floats:
    """Days from sowing to harvest; NaN where either is not stated."""
    known: dict[tuple[str, str], float] = {}
    pairs = list(zip(table.text("sown_on"), table.text("harvested_on"), strict=True))
    for sown, harvested in set(pairs):
        if sown and harvested:
            taken = date.fromisoformat(harvested[:10]) - date.fromisoformat(sown[:10])
            # Cut on the day of sowing cannot be meant; a division by it would be infinite.
            known[sown, harvested] = float(taken.days) if taken.days > 0 else np.nan
    return np.array([known.get(pair, np.nan) for pair in pairs], dtype=np.float64)


def _first_rows(table: TrayTable) -> dict[str, int]:
    first: dict[str, int] = {}
    for row, tray in enumerate(table.text("tray_id")):
        first.setdefault(tray, row)
    return first


def _members(
    table: TrayTable, lots: Sequence[str], first_rows: Mapping[str, int]
) -> dict[str, NDArray[np.intp]]:
    """Give one row for each tray of every lot."""
    of_lot: dict[str, list[int]] = {lot: [] for lot in lots}
    lot_cells = table.text("lot")
    for row in first_rows.values():
        if lot_cells[row] in of_lot:
            of_lot[lot_cells[row]].append(row)
    return {lot: np.array(rows, dtype=np.intp) for lot, rows in of_lot.items()}


def _common(cells: tuple[str, ...], rows: NDArray[np.intp]) -> str:
    """Give what all trays of a lot share; "" where they differ."""
    held = {cells[row] for row in rows}
    return held.pop() if len(held) == 1 else ""


def _joined(table: TrayTable, values: Mapping[str, Floats], units: Mapping[str, str]) -> TrayTable:
    unknown = np.full(len(table), np.nan)
    return replace(
        table,
        values={**table.values, **values},
        doubts={**table.doubts, **dict.fromkeys(values, unknown)},
        units={**table.units, **units},
    )
