"""Every word of the page that is not a name of the trial's own; templates hold none.

Sentences never say more than the numbers do: a difference is *shown*, *a hint* or *not told*.
"""

import re
from collections.abc import Callable, Iterable, Sequence

from traymorph.model.comparison import plural
from traymorph.report.sentences import at_treatment

UNNAMED = "trial"
_LISTED = 12
_FEWER = 8

# --- the page
KICKER = "Microgreens trial, measured from photos"
SKIP = "Skip to the findings"
CONTENTS = "On this page"
FINDINGS, PLATES, METRICS, MAP, BATCHES, TRAYS, METHODS, MISSING = (
    "Findings", "Side by side", "Tray by tray", "Where each tray stood", "Batch after batch",
    "Each tray", "How this was measured", "Not on this page",
)  # fmt: skip
TREATMENTS = "Treatments"
NO_SAFETY = (
    "No photo shows whether food is safe to eat. Follow your local food rules and ask an "
    "accredited laboratory."
)

# --- findings
SHOWN, HINT, UNTOLD, NOT_COMPARED = "Shown", "A hint", "Not told", "Not compared"
SURETY = {"shown": SHOWN, "hint": HINT, "untold": UNTOLD}
ANSWERED = {
    "shown": "Shown by this trial",
    "hint": "A hint, no more",
    "untold": "Not told by this trial",
}
ALSO_SHOWN, HINTS = "Also shown", "Hints, no more"
FURTHER_DIFFERENCES = "Further differences and hints"
REMAINING = "What these trays do not tell"
ALL_NUMBERS = "All differences in numbers"
TO_KNOW = "To know about this comparison"
PAIR_COLUMNS = ("treatment", "against")
NUMBER_COLUMNS = (
    "difference (95 % interval)", "per cent (95 % interval)", "adjusted p", "replicates",
)  # fmt: skip
NO_PRIMARY = (
    "No metric was declared before this trial, so nothing here settles a question; what differs "
    "is a lead for the next trial, where it can be declared."
)
DECLARED_NOT_TOLD = "The metric declared before the trial is not among those that can be compared."
WHO_DECIDES = "Which one is better, grower and buyer decide."
ONE_TREATMENT = (
    "All trays have the same treatment, so there is nothing to compare. What was measured stands "
    "below."
)
NO_TREATMENT = (
    "No tray names a treatment, so there is nothing to compare. What was measured stands below."
)
NO_DIFFERENCE = "no difference"
DIFFERS = "{subject} {amount} {direction} {treatment} than {control}"
DOES_NOT_TELL = (
    "Whether {question} {more} or {less} {treatment} than {control}, these {replicates} do not "
    "tell."
)
NOT_TOLD_RANGE = (
    "Not told: anything from {span} {treatment} than {control} agrees with these {replicates}."
)
RANGE = "{low} to {high}"
RANGE_OF = "{name}: {low} to {high} {treatment} than {control}"
INTERVAL = "95 % interval {span}, from {sides}"
MEANS = "On average {first} {treatment}, {second} {control}."
POINT = "point"
SPREAD_UNDER_DOUBT = (
    "These {replicates} differ less from one another than each can be measured: measuring alone "
    "may be off by {reach}."
)
MEASURING_ALONE = "; measuring alone ±\u00a0{reach}"
MEASURING_NOTE = (
    "“Measuring alone ±” stands where trays differ less from one another than each can be measured."
)
FEW = "{sides} are few: by reshuffling alone no result here can fall below p = {p}."
FLAGGED = "{who}: {meaning}."
EVERY_TRAY_HERE = "Every tray"
EVERY_OF = "Every tray {treatment}"
SOME = "{some} of {all} trays"
AND = " and "
AGAINST = "against"
OTHER_COLUMNS = ("metric", "difference (95 % interval)", "how sure")
HOW_SURE = {
    "shown": "Even the small end, {near}, is not zero.",
    "hint": "Even the small end, {near}, is not zero, but among so many metrics looked at chance "
    "alone shows one now and then.",
    "untold": "“No difference” lies within the interval: that is no proof that they are alike.",
}
REASONS = {
    "too_few_replicates": (
        "Not compared: fewer than two {replicates} of each treatment were measured."
    ),
    "cut_differs": (
        "Not compared: plants cut at heights that differ or are not stated have stems of another "
        "length."
    ),
    "fill_differs": (
        "Not compared: {replicates} filled to different depths hide different lengths of stem."
    ),
    "no_spread": "Not compared: {replicates} of one treatment do not differ at all.",
}
CHANCE = "Some of these may be chance. To test one, name it before the next trial."

REFUSED = "{reason} That concerns {count}: {metrics}."

# --- plates
PLATES_NOTE = "Each picture is one tray, the most typical of its treatment and not the prettiest."
RANGE_AT = "{span} {treatment}"
LOWEST_TO_HIGHEST = "{metric}, lowest to highest tray: {spans}."
ALL_TRAYS = "all trays"
SLIDE = "Slide sideways to see the others."
TYPICAL = "Typical trays"
SCALE_OF_VIEW = {
    "overhead": "From above, all at one scale",
    "side": "From the side, all at one scale",
    "board": "Cut plants, all at one scale",
    "pack": "Opened packs",
}
VIEWS = {"overhead": "from above", "side": "from the side", "board": "cut plants", "pack": "pack"}
TRUE_COLOUR = "Colours corrected by the card."
AS_TAKEN = "Colours as the camera gave them, not corrected: they do not compare."

# --- metrics
DOTS_CAPTION = (
    "Each mark is one {replicate}, the long tick their mean. Where there are five or more, the bar "
    "below is the mean's own 95 % interval."
)
DOTS_NOTE = (
    "Intervals of means say how well each mean is known; they end where the metric does, such as "
    "at 100 % of cover, and with fewer than five trays there is none. Whether treatments differ is "
    "told by the interval of the difference, which counts trays of one block against each other."
)
DIFFERENCES = "Differences"
IN_PER_CENT, IN_POINTS = "In per cent", "In points"
IN_UNITS = "Differences given in other units"
FURTHER_METRICS = "Further metrics"
AXES = {"points": IN_POINTS, "%": IN_PER_CENT}
GOES_ON = "Goes on beyond the axis"
MEAN_ONLY = "mean {mean}"
SINGLES = "Measured in one tray of each treatment"
SINGLES_NOTE = "Only one tray of each was measured; two are needed to compare."
SINGLES_ALONE = "Measured in one tray"
OF_TRAY = "{value} ({tray})"
GREENNESS = "A colour, not a nutrient level."

# --- map
MAP_READ = "The bar under a value runs from the lowest to the highest tray of the trial."
SHELF, NO_BLOCK = "shelf", "Without a block"
FURTHER_PLACES = "Further blocks"
NOT_MEASURED_CELL = "not measured"

# --- outcomes
OUTCOMES_LEAD = "What was not read from photos."
_SOURCES = {
    "Lots weighed together": "weighed", "Laboratory": "analysed", "Keeping": "kept",
    "Tasting": "tasted",
}  # fmt: skip

# --- batches
BATCHES_READ = (
    "One mark for the mean of each batch. The grey ground is the baseline, dashed lines are its "
    "limits, filled squares are batches that signal, dotted lines are events by number."
)
ALL_CHARTS = "All charts of this metric"
FEW_BATCHES = "The limits rest on {n} batches, which are few."

# --- trays
EVERY_TRAY = "Said of every tray"
FLAGS_OF_TRAY = "To know about this {kind}"
ADVICE = "For the grower: what to do next time"
PHOTO_FAILED = "Nothing was measured in this photo:"
OVERLAY_MISSING = "The picture of what was measured is missing: run traymorph measure again."
NO_PHOTOS_OF_TRAY = "No photo of this {kind} is listed."
NOTHING_OF_TRAY = "Nothing was measured in this {kind}."
MEASURED, AMONG, AMONG_SAMPLES = "Measured", "Among all trays", "Among all samples"
PICTURES_READ = (
    "In the pictures plants that count keep their colour and everything else is faded. Blue is the "
    "tray's opening and rim, orange the stems."
)
AMONG_READ = (
    "± is one standard uncertainty of measuring; about 95 % of true values lie within twice that. "
    "Of cut plants it is that of the plants laid out; how they differ from one another stands in "
    "tray_metrics.csv. "
    "“Among all”: the line runs from the lowest to the highest, the short tick is the median, the "
    "dot is this one."
)
METRIC, VALUE = "Metric", "Value"
LARGER_PICTURE = "larger picture"
TO_TRAYS = "All trays"
IN_TABLE = "Further metrics of each tray stand in tray_metrics.csv."

# --- methods
DEFINITIONS = "What each number is"
CARD, LIGHT, STATISTICS, MADE, CAUTIONS = (
    "Card and scale", "Light and colour", "Statistics", "Made by", "Cautions",
)  # fmt: skip
CAUTION_SENTENCES = (
    NO_SAFETY,
    "Greenness is a colour. It is no nitrogen, chlorophyll or vitamin level.",
    (
        "What a label or an advertisement may say about nutrients is regulated: it takes values "
        "of the food as sold from an accredited laboratory, and local rules decide."
    ),
    (
        "One trial speaks of its own crop, seed lot, room and season; a second one tells whether "
        "it holds."
    ),
)
STATISTICS_SENTENCES = (
    (
        "The replicate is what got a treatment as a whole: the tray, the lot, or the shelf. "
        "Several plants or photos of one tray count as one tray."
    ),
    (
        "The metric declared before the trial is judged for its own pairs of treatments; all "
        "others are judged together, adjusted by Holm's step-down rule (1979)."
    ),
    "Per cent is the ratio of geometric means. Shares and colours differ in points or units only.",
)
PLANES = {
    "bench": "The overhead card lay on the bench.",
    "rim": "The overhead card lay at the height of the tray's rim.",
}
CARD_SENTENCE = (
    "Millimetres come from a printed card in each photo; its bar marked 100 mm measures {bar}."
)
LIGHT_SENTENCE = (
    "Colours are corrected by the card's patches to CIE D65, 2° observer. After correction the "
    "patches were off by a colour difference of {low} to {high} (CIEDE2000)."
)
LIGHT_UNKNOWN = "The table of photos does not say how well the card's colours fitted."
RELATIVE_COLOUR = (
    "The print of the card is not registered: colours compare within this trial, not with other "
    "people's."
)
UNFIT_LIGHT = "In {trays} the light lacked part of the spectrum, so no colours are given."
WRITTEN_BY = "Page written by traymorph {version}."
MEASURED_BY = "Measured by traymorph {versions}; leaf and stem told apart by {methods}."
FINGERPRINT = "Settings that change what measuring gives: {fingerprint} (SHA-256, shortened)."
METHODS_USED = "Differences: {methods}."
UNKNOWN = "an unknown method"
UNIT, DEFINITION, SOURCE = "unit", "definition", "source"

# --- missing
NOTHING_MEASURED = (
    "Nothing was measured in any tray: the columns of metrics are empty. The flags of each tray "
    "say why."
)
NO_PHOTOS = (
    "Photos: results/photo_checks.csv is not there, so no pictures are shown. Run traymorph "
    "measure on the folder to have them."
)


def not_measured(trays: Sequence[str]) -> str:
    """Say which listed trays have no row."""
    return f"Not measured: {listed(trays)}. Look at photo_checks.csv for the reason."


def overlays_missing(count: int) -> str:
    """Say how many photos have no picture beside them."""
    return (
        f"Pictures: {of(count, 'photo has', 'photos have')} no picture of what was measured in "
        "results/overlays. Run traymorph measure on the folder to have them."
    )


def columns_missing(names: Sequence[str]) -> str:
    """Say which columns the table of another version lacks."""
    return (
        f"The table of trays lacks {of(len(names), 'column', 'columns')} of this version "
        f"({listed(names, _FEWER)}): another version wrote it. Measure again to have them."
    )


def stray_photos(names: Sequence[str]) -> str:
    """Say which photos show nobody knows what."""
    which = of(len(names), "photo shows a tray", "photos show trays")
    return f"Photos: {which} that nothing names ({listed(names, _FEWER)})."


def no_batches(reason: str) -> str:
    """Say why there are no charts of batches."""
    return f"Batches: {reason}"


def listed(names: Sequence[str], most: int = _LISTED) -> str:
    """Name some, and count the others."""
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return ", ".join(names[:most]) + more


def of(count: int, one: str, several: str) -> str:
    """Count: ``1 tray``, ``6 trays``."""
    return f"{count} {one if count == 1 else several}"


def replicates(count: int, kind: str) -> str:
    """Count replicates: ``3 trays``, ``1 shelf``."""
    return of(count, kind, plural(kind))


def sides(n_treatment: int, n_control: int, kind: str) -> str:
    """Say how many replicates a difference rests on."""
    if n_treatment == n_control:
        return f"{replicates(n_treatment, kind)} a side"
    return f"{n_treatment} and {replicates(n_control, kind)}"


# --- names of metrics, as they stand over charts and in tables
_COLOURS = {
    "leaf_l": "leaf lightness L*",
    "leaf_a": "leaf a* (green to red)",
    "leaf_b": "leaf b* (blue to yellow)",
    "leaf_chroma": "strength of leaf colour, C*",
    "leaf_hue_deg": "leaf hue",
    "green_share": "share of green in leaf colour",
    "excess_green": "excess green",
    "greenness_index": "greenness index",
    "green_leaf_pct": "green leaf",
    "purple_leaf_pct": "purple or red leaf",
    "yellowed_pct": "yellowed leaf",
    "leaf_colour_share_pct": "leaf that its colour is read from",
}
_NAMES = {
    "canopy_cover_pct": "cover of the tray",
    "projected_leaf_area_cm2": "leaf area seen from above",
    "overhang_area_cm2": "overhang beyond the rim",
    "evenness_cv_pct": "unevenness of the stand",
    "largest_gap_cm2": "largest gap",
    "blade_width_mm": "width of visible blades",
    "leaf_colour_spread_de00": "unevenness of leaf colour (ΔE00)",
    "edge_to_middle_de00": "colour difference between edge and middle (ΔE00)",
    "canopy_height_mm": "height of the canopy",
    "canopy_height_p95_mm": "height of the tallest part",
    "canopy_height_cv_pct": "unevenness of height",
    "stem_to_leaf_ratio": "stem to leaf, seen from the side",
    "bare_stem_mm": "bare stem above the rim",
    "leaf_layer_mm": "depth of the leaf layer",
    "stem_length_mm": "length of cut stems",
    "stem_width_mm": "width of cut stems",
    "stem_area_mm2": "stem area of a plant",
    "leaf_area_mm2": "leaf area of a plant",
    "board_stem_to_leaf_ratio": "stem to leaf of cut plants",
    "blade_count": "blades of a plant",
    "blade_length_mm": "length of blades",
    "board_blade_width_mm": "width of blades",
    "plant_weight_mg": "weight of a plant",
    "leaf_area_per_gram_cm2": "leaf area of a gram",
    "fresh_weight": "fresh weight of a tray",
    "dry_weight": "dry weight of a tray",
    "seed_weight": "seed of a tray",
    "yield_g_per_m2": "yield",
    "yield_g_per_g_seed": "yield for a gram of seed",
    "packs": "packs of a tray",
    "g_per_tray_day": "yield for a day on the shelf",
    "margin_per_tray": "what a tray leaves over",
}
_ANY_NAME = re.compile(rf"\b(?:(?:board_|pack_)?(?:{'|'.join(_COLOURS)})|{'|'.join(_NAMES)})\b")
_OF_VIEW = {"board_": "of cut plants", "pack_": "in the pack"}
FOREMOST = (
    "canopy_cover_pct", "projected_leaf_area_cm2", "canopy_height_mm", "bare_stem_mm",
    "evenness_cv_pct", "stem_length_mm", "leaf_area_mm2", "board_stem_to_leaf_ratio",
    "fresh_weight", "greenness_index", "yellowed_pct", "pack_yellowed_pct", "pack_leaf_hue_deg",
)  # fmt: skip
"""Metrics that stand in the open; all others are one click away."""
NOTES_OF_METRICS = dict.fromkeys(
    ("greenness_index", "board_greenness_index", "pack_greenness_index"), GREENNESS
)
"""What stands under the chart of a metric."""
OF_PLATES = {
    "overhead": ("canopy_cover_pct", "projected_leaf_area_cm2", "evenness_cv_pct"),
    "side": ("canopy_height_mm", "bare_stem_mm", "leaf_layer_mm"),
    "board": ("stem_length_mm", "leaf_area_mm2", "board_stem_to_leaf_ratio"),
    "pack": ("pack_yellowed_pct", "pack_leaf_hue_deg"),
}


def metric_name(name: str) -> str:
    """Name a metric or outcome in a few words, without a capital."""
    if name in _NAMES:
        return _NAMES[name]
    if name in _COLOURS:
        return _COLOURS[name]
    for prefix, where in _OF_VIEW.items():
        known = _COLOURS.get(name.removeprefix(prefix))
        if name.startswith(prefix) and known is not None:
            return f"{known} {where}"
    return name.replace("_", " ")


def capital(text: str) -> str:
    """Begin a heading with a capital."""
    return text[:1].upper() + text[1:]


def refusal(flags: Sequence[str], kind: str) -> str:
    """Say why a metric is not compared."""
    known = [REASONS[flag].format(replicates=plural(kind)) for flag in flags if flag in REASONS]
    return known[0] if known else f"{NOT_COMPARED}: {' '.join(flags).replace('_', ' ')}."


def place_name(batch: str, block: str) -> str:
    """Name a block, with its batch where there are several."""
    named = f"Block {block}" if block else NO_BLOCK
    return f"Batch {batch}, {named[0].lower()}{named[1:]}" if batch else named


def map_lead(metric: str | None) -> str:
    """Say what the map shows."""
    return f"{capital(metric_name(metric))}, where each tray stood." if metric else ""


def further(count: int) -> str:
    """Count the metrics that are one click away."""
    return of(count, "further metric", "further metrics")


def in_words(text: str) -> str:
    """Write the names of metrics in a sentence made elsewhere as words."""
    said = _ANY_NAME.sub(lambda found: metric_name(found[0]), text)
    return capital(said) if _ANY_NAME.match(text) else said


# --- alternatives to pictures
def plate_alt(tray: str, treatment: str, view: str) -> str:
    """Describe a plate."""
    return f"Tray {tray}, {treatment}, {VIEWS.get(view, view)}"


def photo_alt(tray: str, view: str, photo: str) -> str:
    """Describe the picture of what was measured in a photo."""
    return f"What was measured in tray {tray} {VIEWS.get(view, 'in the photo')}: {photo}"


def group_said(treatment: str, values: Sequence[float], written: Callable[[float], str]) -> str:
    """Describe a row of a chart."""
    name = treatment or "All"
    return f"{name}: {', '.join(map(written, sorted(values))) or 'nothing'}."


def less_of(treatment: str) -> str:
    """Name the side of a chart on which the treatment has less."""
    return f"less {at_treatment(treatment)}"


def more_of(treatment: str) -> str:
    """Name the side of a chart on which the treatment has more."""
    return f"more {at_treatment(treatment)}"


def pair_title(heading: str, treatment: str, control: str) -> str:
    """Name a chart of differences."""
    return f"{DIFFERENCES}, {treatment} against {control}: {heading}"


def outcomes_title(sections: Iterable[str], *, weighed: bool) -> str:
    """Name what there is beside photos: ``Weighed and kept``."""
    held = [_SOURCES[name] for name in sections if name in _SOURCES]
    words = list(dict.fromkeys([*(["weighed"] if weighed else []), *held])) or ["stated"]
    return capital(", ".join(words[:-1]) + (AND if words[:-1] else "") + words[-1])


# --- what the trial was
def trays_of(trays: int, packs: int, crops: Sequence[str]) -> str:
    """Count trays and packs and name their crops."""
    counted = [of(trays, "tray", "trays")] if trays or not packs else []
    counted += [of(packs, "pack", "packs")] if packs else []
    said = " and ".join(counted)
    return f"{said} of {listed(crops)}" if crops else said


SIZE = "{length} × {width} mm"
TRAY_SIZES = "trays of {sizes} inside"


def sown(first: str, last: str) -> str:
    """Say when the trays were sown."""
    return f"sown {first}" if first == last else f"sown {first} to {last}"


def photographed(first: str, last: str, ages: Sequence[int] = ()) -> str:
    """Say when the photos were taken, and how many days after sowing."""
    said = f"photographed {first}" if first == last else f"photographed {first} to {last}"
    if not ages:
        return said
    low, high = min(ages), max(ages)
    age = of(low, "day", "days") if low == high else f"{low} to {high} days"
    return f"{said}, {age} after sowing"
