"""What is said of plates: which trays they show and why, and why there is none."""

from collections.abc import Sequence

from traymorph.model.photo import View
from traymorph.model.plates import Plate
from traymorph.report.page.wording import metric_name

PACK = "pack"
_FROM = {
    View.OVERHEAD.value: "from above",
    View.SIDE.value: "from the side",
    View.BOARD.value: "on the board",
    View.PACK.value: "in the pack",
}
_MOST_NAMED = 6


def column_name(treatment: str, kind: str, *, trays_too: bool) -> str:
    """Name the column of plates that a treatment's trays or packs stand in.

    Parameters
    ----------
    treatment : str
        As trays.csv has it; "" where it names none.
    kind : str
        ``tray`` or ``pack``.
    trays_too : bool
        Whether trays of the same treatment have a column of their own.
    """
    if kind != "pack":
        return treatment
    if not treatment:
        return PACK
    return f"{treatment}, {PACK}" if trays_too else treatment


def not_photographed(kind: str, view: View) -> str:
    """Say that no tray or pack of a treatment has a photo of a view."""
    return f"No {kind} of it was photographed {_FROM[view.value]}."


def rule_sentence(
    primary: str | None, others: Sequence[str], shown: Sequence[Plate], last: Sequence[str] = ()
) -> str:
    """Say how typical trays were chosen, and which they are.

    Parameters
    ----------
    primary : str or None
        The metric that came first.
    others : sequence of str
        Metrics that decided after it, or without it.
    shown : sequence of Plate
        The plates, at least one.
    last : sequence of str
        Trays that come last whatever their numbers.
    """
    if primary is None and len(others) == 1:
        (primary,), others = others, ()
    by_all = f"its medians of {len(others)} metrics, each in units of its usual spread"
    if len(others) == 1:
        by_all = f"its median {metric_name(others[0])}"
    if primary is not None:
        nearest = f"to its treatment's median {metric_name(primary)}"
        if others:
            nearest += f" (between equals, to {by_all})"
    elif others:
        nearest = f"to {by_all}".replace("its medians", "its treatment's medians")
    else:
        nearest = "to the top of the list, since no metric was measured in every tray"
    return (
        f"Not the prettiest but the most typical tray is shown: of those photographed in a view, "
        f"the one nearest {nearest}.{_who(shown)}{_last(last)}"
    )


def _last(trays: Sequence[str]) -> str:
    if not trays:
        return ""
    named = ", ".join(trays[:_MOST_NAMED]) + (" and others" if len(trays) > _MOST_NAMED else "")
    return f" Shown only where there is no other, since extent, scale or colour is unsure: {named}."


def _who(shown: Sequence[Plate]) -> str:
    """Name trays and views: ``15 g: T03 (from above, from the side), T01 (on the board).``."""
    views: dict[str, dict[str, list[str]]] = {}
    for plate in shown:
        views.setdefault(plate.treatment, {}).setdefault(plate.tray_id, []).append(
            _FROM[plate.view]
        )
    if len(views) > _MOST_NAMED:
        return ""  # captions name them
    said = []
    for treatment, trays in views.items():
        named = ", ".join(f"{tray} ({', '.join(seen)})" for tray, seen in trays.items())
        said.append(f"{treatment}: {named}" if treatment else named)
    return f" {'; '.join(said)}."
