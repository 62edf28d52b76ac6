"""What a planned trial can show, and what it cannot tell apart, before anything is sown."""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from traymorph.model.comparison import TrayTable
from traymorph.model.plan import PlannedTray, PowerRow, Spread, TraysNeeded, Wanted
from traymorph.stats.planning import design
from traymorph.stats.planning.power import (
    power,
    replicates_needed,
    residual_freedom,
    simulated_power,
    smallest_effect,
)
from traymorph.stats.replicates import Replicates, find_replicates

Codes = NDArray[np.intp]

LEVEL = 0.05
_COLUMN = "treatment"
_SHOWN = (2, 3, 4, 5, 6, 8, 10, 12, 16, 20)
_GOOD = 4
"""Replicates of each treatment from which on a trial is worth the work (common practice)."""
_TRIALS = 4000
_MANY = 500
"""From here on degrees of freedom are plenty, whatever the blocks."""
_NEVER = 1e6


def planned_table(trays: Sequence[PlannedTray], wanted: Wanted) -> TrayTable:
    """Give the plan in the form that a comparison takes, nothing measured yet."""
    columns = {
        "tray_id": tuple(tray.tray_id for tray in trays),
        "crop": (wanted.crop,) * len(trays),
        _COLUMN: tuple(tray.treatment for tray in trays),
        "block": tuple(tray.block for tray in trays),
        "batch": (wanted.batch,) * len(trays),
        "kind": ("tray",) * len(trays),
        "sown_on": tuple(tray.sown_on.isoformat() if tray.sown_on else "" for tray in trays),
        "seed_lot": (wanted.seed_lot,) * len(trays),
        "shelf": tuple(tray.shelf for tray in trays),
        "at_edge": tuple("yes" if tray.at_edge else "no" for tray in trays),
    }
    return TrayTable(columns, {}, {}, (frozenset(),) * len(trays), {})


def judge(trays: Sequence[PlannedTray], wanted: Wanted) -> tuple[list[str], list[str], Replicates]:
    """Look for what the plan cannot tell from the treatment, as a comparison would.

    Parameters
    ----------
    trays : sequence of PlannedTray
        The plan.
    wanted : Wanted
        What was asked for.

    Returns
    -------
    refusing : list of str
        What would make any comparison of it void.
    warnings : list of str
        What makes it weaker.
    replicates : Replicates
        What gets the treatments.
    """
    table = planned_table(trays, wanted)
    replicates = find_replicates(table, _COLUMN, None)
    refusing, _ = design.objections(table, replicates, _COLUMN)
    warnings = [
        *_few(replicates),
        *_one_block(wanted, replicates),
        *_whole_shelves(replicates),
        *design.warnings(table, replicates, _COLUMN),
        *_one_batch(wanted),
    ]
    return [one.sentence for one in refusing], warnings, replicates


def smallest_permutation_p(replicates: Replicates) -> float:
    """Least p that exchanging the labels of the first two treatments can give."""
    block = np.zeros(len(replicates.treatment), np.intp)
    if replicates.block is not None:
        block = replicates.block
    arrangements = 1
    mirrored = True
    for code in np.unique(block):
        here = replicates.treatment[block == code]
        one, other = int((here == 0).sum()), int((here == 1).sum())
        arrangements *= math.comb(one + other, one)
        mirrored &= one == other
    return (2 if mirrored else 1) / arrangements


def _few(replicates: Replicates) -> list[str]:
    each = min(np.bincount(replicates.treatment, minlength=len(replicates.treatments)))
    found = []
    what = "shelves" if replicates.kind == "shelf" else f"{replicates.kind}s"
    if 2 <= each < _GOOD:
        found.append(
            f"Fewer than four {what} of each treatment: only large differences will be found, and "
            "one failed tray may spoil the trial."
        )
    least = smallest_permutation_p(replicates)
    if each >= 2 and least > LEVEL:
        found.append(
            f"A permutation test of {each} {what} against {each}"
            f"{' within these blocks' if replicates.block is not None else ''} cannot go below "
            f"p = {least:.2f}, however large the difference: the answer will rest on the t test "
            "alone."
        )
    return found


def _one_block(wanted: Wanted, replicates: Replicates) -> list[str]:
    if replicates.kind == "shelf" or wanted.blocks > 1:
        return []
    said = (
        "All trays are one block: what a shelf, a side of the room or a day does to its trays "
        "widens the spread instead of being taken off, and the answer holds for this place and "
        "day only. Use --blocks to spread every treatment over several."
    )
    return [said]


def _whole_shelves(replicates: Replicates) -> list[str]:
    if replicates.kind != "shelf":
        return []
    said = (
        "How far whole shelves of one treatment differ is not known beforehand; they are taken to "
        "differ as single trays do. If your shelves differ by more, so must the treatments."
    )
    return [said]


def _one_batch(wanted: Wanted) -> list[str]:
    if wanted.block_name == "day" and wanted.blocks > 1:
        return []
    said = (
        "One sowing: weather, water and seed of this week are the same for all trays, so that the "
        "answer holds for this sowing. Repeat the trial before you change how you grow."
    )
    return [said]


def comparisons(treatments: int, *, with_control: bool) -> int:
    """Pairs that share the chance of a false alarm: with the control, or all."""
    return treatments - 1 if with_control else math.comb(treatments, 2)


def power_table(
    wanted: Wanted | None, spread: Spread, pairs: int, planned: int
) -> tuple[PowerRow, ...]:
    """Smallest difference that each number of replicates finds.

    Parameters
    ----------
    wanted : Wanted or None
        Two treatments without blocks when None.
    spread : Spread
        Between replicates of one treatment and block.
    pairs : int
        That share the level (Bonferroni: a little cautious).
    planned : int
        Replicates of each treatment in the plan, always among the rows; 0 without a plan.
    """
    level = LEVEL / pairs
    treatments = len(wanted.treatments) if wanted else 2
    blocks = wanted.blocks if wanted else 1
    rows = []
    for n in sorted({*_SHOWN, planned} - {0, 1}):
        held = min(blocks, n)
        df = residual_freedom(treatments, n, held)
        found = [smallest_effect(n, chance, level=level, df=df) for chance in (0.8, 0.9)]
        treatment = np.tile(np.arange(treatments, dtype=np.intp), n)
        block = np.repeat(np.arange(n, dtype=np.intp) % held, treatments) if held > 1 else None
        simulated = simulated_power(treatment, block, found[0], level=level, trials=_TRIALS)
        rows.append(PowerRow(n, found[0] * spread.sd, found[1] * spread.sd, simulated))
    return tuple(rows)


def trays_needed(
    difference: float, spread: Spread, pairs: int, replicates: Replicates | None = None
) -> TraysNeeded:
    """How many replicates of each treatment a difference takes, and what the plan makes of it.

    Parameters
    ----------
    difference : float
        In the unit of ``spread``.
    spread : Spread
        Between replicates.
    pairs : int
        That share the level.
    replicates : Replicates or None
        Of the plan.
    """
    level = LEVEL / pairs
    effect = difference / spread.sd
    treatments = len(replicates.treatments) if replicates else 2
    blocks = len(replicates.blocks) if replicates else 0
    n_80, n_90 = (
        _smallest_number(effect, chance, level, treatments, blocks) for chance in (0.8, 0.9)
    )
    if replicates is None:
        return TraysNeeded(difference, n_80, n_90)
    each = int(np.bincount(replicates.treatment).min())
    df = residual_freedom(treatments, each, blocks)
    return TraysNeeded(
        difference,
        n_80,
        n_90,
        power(effect, each, level=level, df=df),
        simulated_power(
            replicates.treatment, replicates.block, effect, level=level, trials=_TRIALS
        ),
    )


def _smallest_number(
    effect: float, chance: float, level: float, treatments: int, blocks: int
) -> int:
    """Fewest replicates of each treatment that find an effect, in a design of these blocks."""
    about = replicates_needed(effect, chance, level=level)
    if about > _MANY:
        return math.ceil(min(about, _NEVER))
    n = max(2, math.floor(about / 2.0))
    while True:
        df = residual_freedom(treatments, n, min(blocks, n))
        if power(effect, n, level=level, df=df) >= chance:
            return n
        n += 1
