"""A plan in words: the map, what the trial can find, what it cannot tell apart."""

import math
import re
import textwrap
from collections import Counter

from traymorph.model.metrics import METRICS
from traymorph.model.photo import View
from traymorph.model.plan import Measuring, Plan, Spread
from traymorph.report.rack_map import rack_map

_WIDTH = 96
_PLURAL = {"tray": "trays", "shelf": "shelves"}


def plan_lines(plan: Plan) -> tuple[str, ...]:
    """Give everything that plan.txt holds, line by line.

    Codes for tasting are not in it: only the one who serves should see them.
    """
    lines: list[str] = []
    if plan.wanted is not None:
        lines += [
            "Where each tray stands, from left to right (for the one who sows):",
            "",
            *rack_map(plan.trays, plan.wanted.block_name),
            "",
            f"Drawn by lot with --seed {plan.wanted.seed}.",
            "",
        ]
    lines += power_lines(plan)
    if plan.warnings:
        lines += ["", "What this trial cannot tell, or tells weakly:"]
        for warning in plan.warnings:
            lines += _wrapped(warning, "  - ", "    ")
    return tuple(lines)


def _wrapped(text: str, first: str = "", further: str = "") -> list[str]:
    """Break into lines, never between a number and its unit."""
    held = re.sub(r"(?<=\d) (?=%|\w{1,2}\b)", "\N{NO-BREAK SPACE}", text)
    lines = textwrap.wrap(held, _WIDTH, initial_indent=first, subsequent_indent=further)
    return [line.replace("\N{NO-BREAK SPACE}", " ") for line in lines]


def power_lines(plan: Plan) -> list[str]:
    """Say what numbers of trays find."""
    spread, what = plan.spread, _PLURAL[plan.replicate]
    lines = _wrapped(spread_sentence(spread, what))
    if plan.measuring is not None:
        lines += _wrapped(measuring_sentence(plan.measuring, spread))
    if plan.unstudied:
        lines += _wrapped(plan.unstudied)
    if plan.comparisons > 1:
        said = (
            f"{plan.comparisons} pairs of treatments share the 5 % of false alarms, so that each "
            "takes a larger difference."
        )
        lines += _wrapped(said)
    head = (f"{what} of each", "found 8 of 10", "9 of 10", "simulated")
    body = [
        (
            str(row.n),
            amount(row.difference_80, spread.unit),
            amount(row.difference_90, spread.unit),
            f"{100 * row.simulated_80:.0f} of 100",
        )
        for row in plan.power
    ]
    planned = _planned(plan)
    marks = ["", *("  < this plan" if row.n == planned else "" for row in plan.power)]
    widths = [max(len(line[place]) for line in [head, *body]) for place in range(len(head))]
    lines += ["", f"Smallest difference in {spread.metric} that is found (two-sided, 5 %):"]
    lines += [
        "  " + "  ".join(cell.rjust(width) for cell, width in zip(line, widths, strict=True)) + mark
        for line, mark in zip([head, *body], marks, strict=True)
    ]
    lines.append("  simulated: how often drawn trials found the difference of the second column")
    if plan.wanted is not None and METRICS[spread.metric].view is View.BOARD:
        said = (
            f"{spread.metric} is measured on cut plants, so that every tray needs a board photo; "
            "a metric of other photos is counted with --metric, for example canopy_cover_pct."
        )
        lines += ["", *_wrapped(said)]
    if plan.needed is not None:
        lines += ["", *_wrapped(f"{needed_sentence(plan)}{_with_photos(plan)}")]
    return lines


def _planned(plan: Plan) -> int:
    """Count the trays or shelves that each treatment gets; 0 where nothing is planned."""
    of_shelves = plan.replicate == "shelf"
    units = {(tray.treatment, tray.shelf if of_shelves else tray.tray_id) for tray in plan.trays}
    return min(Counter(treatment for treatment, _ in units).values(), default=0)


def amount(number: float, unit: str) -> str:
    """Write a difference with its unit."""
    digits = f"{number:.3g}" if number < 100 else f"{number:.0f}"
    return f"{digits} {unit}" if unit != "1" else digits


def spread_sentence(spread: Spread, what: str) -> str:
    """Say how far trays or shelves are taken to differ, and how well that is known."""
    said = (
        f"{what.capitalize()} of one treatment and block are taken to differ in {spread.metric} "
        f"by a standard deviation of {amount(spread.sd, spread.unit)} ({spread.source})"
    )
    if not spread.factors:
        return f"{said}."
    low, high = (amount(spread.sd * factor, spread.unit) for factor in spread.factors)
    return f"{said}; so few leave it anywhere between {low} and {high} (90 % interval)."


def measuring_sentence(measuring: Measuring, spread: Spread) -> str:
    """Say what measuring has in the spread, and what more photos of each tray bring."""
    found = amount(measuring.sd, spread.unit)
    study = f"study of the measuring, {measuring.source}"
    if measuring.beyond:
        return (
            f"One person and phone scatter by {found} on single trays ({study}), more than trays "
            "are taken to differ: the two do not fit. Look whether photos have become better "
            "since, or state the spread with --spread."
        )
    first, *further = measuring.rows
    left = amount(first.sd, spread.unit) + "".join(
        f", over {row.photos} photos {amount(row.sd, spread.unit)}" for row in further
    )
    return (
        f"{measuring.share_pct:.0f} % of that variance is measuring: one person and phone scatter "
        f"by {found} on single trays ({study}). Averaged over {first.photos} photos of each tray "
        f"the standard deviation is {left}."
    )


def _with_photos(plan: Plan) -> str:
    """Say how many trays more photos save."""
    if plan.measuring is None or plan.measuring.beyond or plan.needed is None:
        return ""
    first, *further = plan.measuring.rows
    more = "".join(f", with {row.photos} photos {row.n_80}" for row in further)
    return (
        f" Those numbers hold for one photo of each tray; with {first.photos} photos, averaged, "
        f"{first.n_80} {_PLURAL[plan.replicate]} find it 8 times out of 10{more}."
    )


def needed_sentence(plan: Plan) -> str:
    """Say how many trays the difference asked for takes."""
    needed, what = plan.needed, _PLURAL[plan.replicate]
    if needed is None:
        return ""
    size = amount(needed.difference, plan.spread.unit)
    said = (
        f"A difference of {size} takes {needed.n_80} {what} of each treatment to be found 8 times "
        f"out of 10, {needed.n_90} to be found 9 times."
    )
    if math.isfinite(needed.planned_power):
        said += (
            f" This plan finds it {100 * needed.planned_power:.0f} times out of 100 by formula, "
            f"{100 * needed.simulated_power:.0f} in simulated trials of its own layout."
        )
    return said
