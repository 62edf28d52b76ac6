"""Flags in words beside the number that they touch."""

from collections.abc import Sequence

from markupsafe import Markup, escape

from traymorph.flags import FLAGS
from traymorph.model.metrics import METRICS
from traymorph.model.metrics.colour import COLOUR
from traymorph.model.photo import View
from traymorph.model.report import TrialReport
from traymorph.report.page import told, wording
from traymorph.report.page.numbers import Numbers, isolated

_COLOURS = frozenset(spec.name for spec in COLOUR)
_OF_OPENING = frozenset({
    "canopy_cover_pct", "projected_leaf_area_cm2", "overhang_area_cm2", "evenness_cv_pct",
    "largest_gap_cm2",
})  # fmt: skip
_TOUCH_OPENING = frozenset({
    "tray_uncertain", "tray_cut_off", "scale_disagrees", "card_plane_doubtful",
})  # fmt: skip
_TOUCH_COVER = frozenset({"closed_canopy"})
_TOUCH_VIEW = {
    View.OVERHEAD: frozenset({
        "height_assumed", "height_from_settings", "masks_uncertain", "masks_disagree",
    }),
    View.SIDE: frozenset({
        "edge_plants", "canopy_below_rim", "scale_disagrees", "masks_uncertain", "masks_disagree",
        "plants_behind", "camera_low",
    }),
    View.BOARD: frozenset({
        "few_plants", "board_too_alike", "board_unclear", "blade_folded", "blades_overlap",
        "plants_touch", "stem_unclear", "leaf_incomplete", "cut_differs", "heap",
    }),
}  # fmt: skip
_TOUCH_COLOUR = frozenset({
    "card_nominal", "colour_cut_off", "colour_doubtful", "card_shaded", "light_unfit_for_colour",
})  # fmt: skip
_TOUCH_ALL = frozenset({"blurred", "dark", "low_resolution", "card_residual"})
_MOST_NAMED = 4


def touching(metric: str) -> frozenset[str]:
    """Tell which flags of a tray touch a metric; none of an outcome that was weighed or counted."""
    spec = METRICS.get(metric)
    if spec is None:
        return frozenset()
    if metric in _COLOURS:
        return _TOUCH_COLOUR | _TOUCH_ALL
    touch = _TOUCH_VIEW.get(spec.view, frozenset()) | _TOUCH_ALL
    if metric in _OF_OPENING:
        touch |= _TOUCH_OPENING | _TOUCH_COVER
    return touch


def flags_said(report: TrialReport, metric: str, numbers: Numbers) -> tuple[Markup, ...]:
    """Say which flags touch a metric, and in which trays.

    Parameters
    ----------
    report : TrialReport
        The trial.
    metric : str
        The metric.
    numbers : Numbers
        How numbers are written.
    """
    table = report.table
    treatments = table.text(report.treatment_column)
    trays = table.text("tray_id")
    rows = [row for row, kind in enumerate(table.text("kind"))
            if kind != "pack" and (treatments[row] or not any(treatments))]  # fmt: skip
    wanted = touching(metric)
    said = []
    for flag in FLAGS:
        held = [row for row in rows if flag in wanted and flag in table.flags[row]]
        if held:
            who = _who(held, rows, trays, treatments)
            meaning = FLAGS[flag].meaning.split("; ")[-1].rstrip(".")
            meaning = numbers.sentence(meaning[:1].lower() + meaning[1:])
            said.append(escape(wording.FLAGGED).format(who=who, meaning=meaning))
    return tuple(said)


def _who(
    held: Sequence[int], rows: Sequence[int], trays: Sequence[str], treatments: Sequence[str]
) -> Markup:
    """Name trays: all, all of some treatments, a few by name, or how many of how many."""
    flagged = {trays[row] for row in held}
    everyone = {trays[row] for row in rows}
    if flagged == everyone:
        return escape(wording.EVERY_TRAY_HERE)
    of_treatment = {treatments[row] for row in held}
    if {trays[row] for row in rows if treatments[row] in of_treatment} == flagged:
        named = escape(wording.AND).join(told.at(one) for one in dict.fromkeys(
            treatments[row] for row in held))  # fmt: skip
        return escape(wording.EVERY_OF).format(treatment=named)
    if len(flagged) <= _MOST_NAMED:
        return Markup(", ").join(map(isolated, sorted(flagged)))
    return escape(wording.SOME).format(some=len(flagged), all=len(everyone))
