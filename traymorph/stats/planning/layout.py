"""Where each tray stands: treatments drawn by lot within blocks.

Randomised complete blocks (Fisher 1935, The Design of Experiments, ch. 4): every block holds every
treatment equally often, so that what shelf, side or day does falls on all treatments alike. Where
a treatment can only be given to a whole shelf, shelves are drawn by lot instead.

Light and air differ at the ends of shelves. Of many draws the first is taken that shares the ends
most evenly among the treatments (rerandomisation: Morgan, K. L. & Rubin, D. B. 2012, Annals of
Statistics 40, 1263-1282).
"""

from collections import Counter
from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np

from traymorph.errors import DesignError
from traymorph.model.plan import PlannedTray, Wanted

_CODES = range(100, 1000)
_DRAWS = 100
_Rows = list[list[str]]


def lay_out(wanted: Wanted) -> tuple[PlannedTray, ...]:
    """Draw the places of all trays.

    Parameters
    ----------
    wanted : Wanted
        The trial; the same ``seed`` draws the same places.

    Returns
    -------
    tuple of PlannedTray
        In the order in which they stand; names follow that order and so tell nothing.

    Raises
    ------
    DesignError
        There are more blocks than trays of a treatment, or whole shelves do not hold what they
        should.
    """
    _check(wanted)
    draw = np.random.default_rng(wanted.seed)
    trays: list[PlannedTray] = []
    digits = max(2, len(str(wanted.trays * len(wanted.treatments))))
    shelves = 0
    for block, rows in enumerate(_evenly_ended(wanted, draw)):
        if wanted.block_name == "day":
            shelves = 0  # the same shelves every day
        for row in rows:
            shelves += 1
            for position, treatment in enumerate(row, start=1):
                name = f"{wanted.id_prefix}{len(trays) + 1:0{digits}d}"
                trays.append(
                    PlannedTray(
                        tray_id=name,
                        treatment=treatment,
                        block=str(block + 1),
                        shelf=str(shelves),
                        position=position,
                        at_edge=position in {1, len(row)},
                        sown_on=_day(wanted, block),
                    )
                )
    return tuple(trays)


def blind_codes(wanted: Wanted) -> dict[str, str]:
    """Draw a three-digit code for each treatment, none twice.

    Three random digits are what tasters are served by custom (ISO 4120:2021); another stream of
    the same seed, so that the codes say nothing of the places.
    """
    draw = np.random.default_rng([wanted.seed, 3])
    codes = draw.choice(np.array(_CODES), size=len(wanted.treatments), replace=False)
    return {name: str(code) for name, code in zip(wanted.treatments, codes, strict=True)}


def _check(wanted: Wanted) -> None:
    if wanted.blocks > wanted.trays:
        msg = (
            f"{wanted.blocks} blocks cannot each hold every treatment with {wanted.trays} trays "
            "of each."
        )
        raise DesignError(msg, hint=f"Take at most {wanted.trays} blocks, or more trays.")
    if not wanted.whole_shelves:
        return
    fullest = _share(wanted, 0)
    if fullest < 2:
        msg = "Whole shelves of one tray each are single trays."
        raise DesignError(msg, hint="Leave out --whole-shelves, or take more trays.")
    if wanted.across is not None and fullest > wanted.across:
        msg = f"A whole shelf would hold {fullest} trays, but only {wanted.across} stand across."
        raise DesignError(msg, hint="Take more blocks, or fewer trays.")


def _share(wanted: Wanted, block: int) -> int:
    """Trays of each treatment in a block: as equal as the numbers allow, larger ones first."""
    whole, rest = divmod(wanted.trays, wanted.blocks)
    return whole + (block < rest)


def _evenly_ended(wanted: Wanted, draw: np.random.Generator) -> list[_Rows]:
    """Shelves of all blocks, with the ends of shelves shared as evenly as any of the draws has it.

    Every treatment is as likely as any other to stand in any place.
    """
    drawn = (
        [_rows(wanted, _share(wanted, block), draw) for block in range(wanted.blocks)]
        for _ in range(_DRAWS)
    )
    return min(drawn, key=lambda blocks: _unevenness(wanted.treatments, blocks))


def _unevenness(treatments: Sequence[str], blocks: list[_Rows]) -> int:
    """By how many ends of shelves the treatment with most exceeds the one with fewest."""
    ends = Counter(
        treatment
        for rows in blocks
        for row in rows
        for position, treatment in enumerate(row)
        if position in {0, len(row) - 1}
    )
    counts = [ends[treatment] for treatment in treatments]
    return max(counts) - min(counts)


def _rows(wanted: Wanted, each: int, draw: np.random.Generator) -> _Rows:
    """Treatments of a block, shelf by shelf."""
    names = wanted.treatments
    if wanted.whole_shelves:
        return [[names[code]] * each for code in draw.permutation(len(names))]
    across = wanted.across or len(names) * each
    if across < len(names) * each:
        # Several shelves make a block: treatments are drawn in rounds of all of them, so that no
        # shelf is left to one treatment by chance.
        rounds = [draw.permutation(len(names)) for _ in range(each)]
        order = np.concatenate(rounds)
    else:
        order = draw.permutation(np.repeat(np.arange(len(names)), each))
    return [
        [names[code] for code in order[start : start + across]]
        for start in range(0, len(order), across)
    ]


def _day(wanted: Wanted, block: int) -> date | None:
    if wanted.sown_on is None:
        return None
    return wanted.sown_on + timedelta(days=block if wanted.block_name == "day" else 0)
