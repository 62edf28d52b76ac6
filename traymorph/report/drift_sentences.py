"""What the charts of batches say, in plain sentences: what moved, since when, how much."""

import math
from collections.abc import Sequence

from traymorph.model.drift import INDIVIDUALS, MOVING_RANGE, STANDARD, WITHIN, MetricDrift, Move
from traymorph.report.sentences import words_of

_ASKED_CPK = 1.33
_SHOWN = 8
_MOST_MOVES = 6
_CHARTS = {
    "individuals": "individuals chart",
    "ewma": "EWMA",
    "cusum_up": "CUSUM",
    "cusum_down": "CUSUM",
    "self_starting_up": "self-starting CUSUM",
    "self_starting_down": "self-starting CUSUM",
}


def drift_sentences(one: MetricDrift, coincidences: Sequence[Sequence[str]]) -> tuple[str, ...]:
    """Say what one metric did.

    Parameters
    ----------
    one : MetricDrift
        The metric.
    coincidences : sequence of sequence of str
        For each of its moves, what else changed near its begin.
    """
    said = [_moved(one, move, near) for move, near in zip(one.moves, coincidences, strict=True)]
    if len(said) > _MOST_MOVES:
        earlier = len(said) - _MOST_MOVES
        often = "once" if earlier == 1 else f"{earlier} times"
        said = [f"{one.metric} moved {often} before: drift.csv has it all.", *said[earlier:]]
    if not said and math.isfinite(one.sigma):
        said.append(
            f"{one.metric}: no lasting move and no batch beyond the control limits "
            f"among {len(one.names)} batches."
        )
    return (*said, *_jumps(one), *_uneven(one), *_runs(one), *_held_to_standard(one))


def _moved(one: MetricDrift, move: Move, near: Sequence[str]) -> str:
    words = words_of(one.metric, one.unit)
    away = move.mean - one.centre
    direction = words.more if away > 0 else words.less
    share = f", {100.0 * away / one.centre:+.0f} %" if one.unit in _SIZES else ""
    digits = _decimals(away, 2)
    unit = _UNITS.get(one.unit, f" {one.unit}")
    amount = f"{abs(away):.{digits}f}{_UNITS.get(words.unit, f' {words.unit}')}"
    size = (
        f"{amount} {direction} than the baseline's {one.centre:.{digits}f}{unit} "
        f"({move.mean:.{digits}f}{unit}{share})"
    )
    place = f"batch {one.names[move.start]} ({one.days[move.start].isoformat()})"
    charts = ", ".join(dict.fromkeys(_CHARTS[name] for name in move.charts))
    if move.charts == (INDIVIDUALS,):
        said = f"{words.subject} {size} in {place}: a single batch beyond the limits ({charts})."
    else:
        still = move.end == len(one.names) - 1
        until = "" if still else f" until batch {one.names[move.end]}"
        first = one.names[move.signalled]
        said = (
            f"{words.subject} {size}, probably since {place}{until}; first signalled in batch "
            f"{first} ({charts})."
        )
    return said + _close(near) + _in_baseline(one, move)


_SIZES = {"mm", "mm2", "cm2", "mg", "g"}
_UNITS = {"": "", "1": "", "deg": "°", "°": "°", "mm2": " mm²", "cm2": " cm²", "cm2/g": " cm²/g"}
"""Units that are not written as their name after a space."""


def _close(near: Sequence[str]) -> str:
    if not near:
        return ""
    return f" Near that time: {'; '.join(near)}. That may be chance, or the cause."


def _in_baseline(one: MetricDrift, move: Move) -> str:
    if not one.baseline[move.signalled]:
        return ""
    return (
        " This lies in the baseline and stays in it: where a cause is known, leave the batch out "
        "with --leave-out."
    )


def _jumps(one: MetricDrift) -> list[str]:
    """Name steps that no move explains."""
    explained = {k for move in one.moves for k in (*range(move.start, move.end + 1), move.end + 1)}
    names = [name for k, name in _signals(one, MOVING_RANGE) if k not in explained]
    if not names:
        return []
    return [f"{one.metric} jumped more than usual from the batch before to {_listed(names)}."]


def _uneven(one: MetricDrift) -> list[str]:
    high = [name for k, name in _signals(one, WITHIN) if _signal(one, WITHIN, k) == "above"]
    low = [name for k, name in _signals(one, WITHIN) if _signal(one, WITHIN, k) == "below"]
    said = []
    if high:
        said.append(f"Trays differ more among themselves than usual in {_listed(high)} "
                    f"({one.metric}).")  # fmt: skip
    if low:
        said.append(f"Trays differ less among themselves than usual in {_listed(low)} "
                    f"({one.metric}): look whether one tray was measured twice.")  # fmt: skip
    return said


def _runs(one: MetricDrift) -> list[str]:
    broken: dict[str, list[str]] = {}
    for k, name in _signals(one, INDIVIDUALS):
        for rule in _signal(one, INDIVIDUALS, k).split():
            if ":" in rule:
                broken.setdefault(rule, []).append(name)
    return [
        f"{one.metric} breaks the run rule {rule} in {_listed(names)}."
        for rule, names in broken.items()
    ]


def _held_to_standard(one: MetricDrift) -> list[str]:
    chart = next((chart for chart in one.charts if chart.name == STANDARD), None)
    if chart is None:
        return []
    unit = _UNITS.get(one.unit, f" {one.unit}")
    low, high = float(chart.lower[-1]), float(chart.upper[-1])
    bounds = " and ".join(
        f"{word} {_number(bound)}{unit}"
        for word, bound in (("at least", low), ("at most", high))
        if math.isfinite(bound)
    )
    failing = [name for _, name in _signals(one, STANDARD)]
    verb = "fails" if len(failing) == 1 else "fail"
    outcome = (
        f"{len(failing)} of {len(one.names)} batches {verb} it: {_listed(failing)}"
        if failing
        else f"all {len(one.names)} batches keep it"
    )
    said = [f"Standard for {one.metric}, {bounds}: {outcome}."]
    held = one.capability
    if held is not None:
        caution = " It foretells nothing while batches move." if one.moves else ""
        said.append(
            f"Capability of {one.metric}: Cpk {held.cpk:.2f} (95 % interval {held.low:.2f} to "
            f"{held.high:.2f}, {held.n} batches; {_ASKED_CPK} is commonly asked for).{caution}"
        )
    return said


def _signals(one: MetricDrift, name: str) -> list[tuple[int, str]]:
    """Places and names of the batches that signal on a chart."""
    return [
        (k, one.names[k])
        for chart in one.charts
        if chart.name == name
        for k, signal in enumerate(chart.signals)
        if signal
    ]


def _signal(one: MetricDrift, name: str, place: int) -> str:
    return next(chart.signals[place] for chart in one.charts if chart.name == name)


def _number(value: float) -> str:
    """Three significant digits, no exponent."""
    return f"{value:.{_decimals(value, 3)}f}"


def _decimals(value: float, significant: int) -> int:
    """Digits after the point that show so many significant ones."""
    return max(0, significant - 1 - math.floor(math.log10(abs(value)))) if value else 0


def _listed(names: Sequence[str]) -> str:
    more = f" and {len(names) - _SHOWN} more" if len(names) > _SHOWN else ""
    return ", ".join(names[:_SHOWN]) + more
