"""Which tray of a treatment is typical: the one nearest the treatment's median.

A picture argues more strongly than a number, so the tray that is shown must not be picked by eye.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from traymorph.model.comparison import Question, TrayTable
from traymorph.model.metrics import METRICS
from traymorph.stats.replicates import find_replicates

Floats = NDArray[np.float64]

FORBIDDING = frozenset({
    "card_plane_doubtful", "light_unfit_for_colour", "no_plants", "no_plants_on_board",
    "scale_disagrees", "tray_cut_off",
})  # fmt: skip
"""Flags of trays that cannot stand beside others: part, scale or colour of them is not known."""
_MAD_TO_SD = 1.4826
"""Standard deviation over median absolute deviation of a normal distribution."""
_ROUNDED = 9
"""Decimals of relative deviations: beyond these, trays on both sides of a median are equal."""


@dataclass(frozen=True, slots=True)
class TypicalTrays:
    """The trays, or the packs, of one treatment, the most typical first.

    Parameters
    ----------
    treatment : str
        As the table has it; "" where no treatment is named.
    kind : str
        ``tray`` or ``pack``.
    ranked : tuple of str
        Names of trays, each once.
    """

    treatment: str
    kind: str
    ranked: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Ranking:
    """All treatments of a trial, and what their trays were ranked by.

    Parameters
    ----------
    groups : tuple of TypicalTrays
        Trays in the order of the treatments, then packs.
    primary : str or None
        The metric that came first; None where none is declared or it was not measured.
    metrics : tuple of str
        Metrics measured in all trays, which decide where the first does not.
    last : tuple of str
        Trays that come last because of a flag of ``FORBIDDING``.
    """

    groups: tuple[TypicalTrays, ...]
    primary: str | None
    metrics: tuple[str, ...]
    last: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class _Trays:
    """One entry per tray: what it got, its last value of each metric, its flags."""

    names: tuple[str, ...]
    kinds: tuple[str, ...]
    treatments: tuple[str, ...]
    values: dict[str, Floats]
    forbidden: tuple[bool, ...]


def rank_trays(table: TrayTable, question: Question) -> Ranking:
    """Order the trays of each treatment by how near they are to its median.

    First counts the distance from the median of the declared metric, then the mean distance from
    the medians of all metrics that every tray of the table has, each divided by its usual distance
    (1.4826 times the median absolute deviation from the treatments' medians, the treatments taken
    together), then the tray's name. Trays with a flag of ``FORBIDDING`` come last. Of a tray's
    days the last counts on which a metric was measured.

    Parameters
    ----------
    table : TrayTable
        One row per tray and day.
    question : Question
        Column of the treatments, the control (shown first) and the declared metric.

    Returns
    -------
    Ranking
        Packs apart from trays, since they stood elsewhere. Where no treatment is named all trays
        are one group; else trays without treatment are left out, and packs without one are a
        group.
    """
    trays = _by_tray(table, question.treatment_column)
    order = find_replicates(table, question.treatment_column, question.control).treatments
    primary = question.primary if question.primary in table.values else None
    if primary is not None and not np.isfinite(trays.values[primary]).any():
        primary = None
    names = {kind: order if kind == "tray" and order else ("", *order) for kind in ("tray", "pack")}
    wanted = {
        (treatment, kind): [
            place
            for place, got in enumerate(zip(trays.treatments, trays.kinds, strict=True))
            if got == (treatment, kind)
        ]
        for kind in ("tray", "pack")
        for treatment in names[kind]
    }
    members = {key: places for key, places in wanted.items() if places}
    common = {kind: _measured_in_all(trays, kind) for kind in ("tray", "pack")}
    groups = []
    for (treatment, kind), places in members.items():
        alike = [held for (_, other), held in members.items() if other == kind]
        ranked = _ranked(trays, places, primary, _distances(trays, places, alike, common[kind]))
        groups.append(TypicalTrays(treatment, kind, ranked))
    shown = common["tray"] or common["pack"]
    others = tuple(name for name in shown if name != primary)
    last = [name for name, out in zip(trays.names, trays.forbidden, strict=True) if out]
    return Ranking(tuple(groups), primary, others, tuple(last))


def _by_tray(table: TrayTable, treatment_column: str) -> _Trays:
    """Put the days of each tray together."""
    days, kinds = table.text("photographed_on"), table.text("kind")
    rows: dict[str, list[int]] = {}
    for row, name in enumerate(table.text("tray_id")):
        rows.setdefault(name, []).append(row)
    by_day = [sorted(held, key=lambda row: days[row]) for held in rows.values()]
    treatments = table.text(treatment_column)
    return _Trays(
        names=tuple(rows),
        kinds=tuple("pack" if kinds[held[-1]] == "pack" else "tray" for held in by_day),
        treatments=tuple(treatments[held[-1]] for held in by_day),
        values={
            name: np.array([_last(numbers[held]) for held in by_day], dtype=np.float64)
            for name, numbers in table.values.items()
        },
        forbidden=tuple(any(table.flags[row] & FORBIDDING for row in held) for held in by_day),
    )


def _last(values: Floats) -> float:
    known = values[np.isfinite(values)]
    return float(known[-1]) if len(known) else np.nan


def _measured_in_all(trays: _Trays, kind: str) -> tuple[str, ...]:
    own = [place for place, one in enumerate(trays.kinds) if one == kind]
    return tuple(
        name
        for name, values in trays.values.items()
        if own and name in METRICS and np.isfinite(values[own]).all()
    )


def _deviations(values: Floats, *, turning: bool) -> Floats:
    """Distances from the median; angles near one another count as near, 350 and 10 degrees too."""
    if turning:
        middle = np.degrees(np.angle(np.nanmean(np.exp(1j * np.radians(values)))))
        values = (values - middle + 180.0) % 360.0 - 180.0
    return np.asarray(np.abs(values - np.nanmedian(values)))


def _distances(
    trays: _Trays, places: Sequence[int], alike: Sequence[Sequence[int]], metrics: Sequence[str]
) -> Floats:
    """Mean distance of some trays from their medians, in usual distances, shape (n,)."""
    total, counted = np.zeros(len(places)), 0
    for name in metrics:
        turning = METRICS[name].unit == "deg"
        pooled = [_deviations(trays.values[name][list(held)], turning=turning) for held in alike]
        several = [one for one in pooled if len(one) > 1]
        usual = _MAD_TO_SD * float(np.median(np.concatenate(several))) if several else 0.0
        if usual > 0:
            total += _deviations(trays.values[name][list(places)], turning=turning) / usual
            counted += 1
    return np.asarray(total / max(counted, 1))


def _ranked(
    trays: _Trays, places: Sequence[int], primary: str | None, distances: Floats
) -> tuple[str, ...]:
    first = np.zeros(len(places))
    if primary is not None:
        values = trays.values[primary][list(places)]
        turning = primary in METRICS and METRICS[primary].unit == "deg"
        if np.isfinite(values).any():
            usual = float(np.nanmax(np.abs(values))) or 1.0
            first = _deviations(values, turning=turning) / usual
        first = np.where(np.isfinite(values), first, np.inf)
    keys = {
        place: (
            trays.forbidden[place],
            round(float(first[k]), _ROUNDED),
            round(float(distances[k]), _ROUNDED),
            _natural(trays.names[place]),
        )
        for k, place in enumerate(places)
    }
    return tuple(trays.names[place] for place in sorted(places, key=keys.__getitem__))


def _natural(name: str) -> tuple[int, str]:
    """T2 before T10: of names alike in kind, the shorter number comes first."""
    return len(name), name
