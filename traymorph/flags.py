"""Quality flags: what qualifies a number, in words a grower can act on.

Standard library only. A flag is data: its name stands in the ``flags`` columns, its meaning and
advice in ``docs/flags.md`` and on the terminal. Errors stop a tray; flags qualify a number.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Flag:
    """One thing that qualifies a number.

    Parameters
    ----------
    name : str
        As it stands in the ``flags`` column.
    meaning : str
        What was noticed and which numbers it touches.
    advice : str
        What to do next time.
    """

    name: str
    meaning: str
    advice: str


_ALL = (
    # --- photo
    Flag(
        "blurred",
        "The photo is not sharp; outlines are soft and thin stems may be lost.",
        "Rest the phone on something, wipe the lens, tap the tray to focus.",
    ),
    Flag(
        "clipped",
        "Bright parts of the photo are burnt out; their colour is unknown.",
        "Lower the exposure a little, avoid direct sun and flash.",
    ),
    Flag(
        "dark",
        "The photo is so dark that noise hides colour and outlines.",
        "Bring more white light to the tray.",
    ),
    Flag(
        "low_resolution",
        "Few pixels show each millimetre of the tray; small leaves and stems are not resolved.",
        "Send the photo in original size and go close enough that tray and card fill the picture.",
    ),
    Flag(
        "tilted",
        "The phone was held at a slant; sizes far from the card are less certain.",
        "Hold the phone level above the tray (overhead) or square to its front (side).",
    ),
    # --- card
    Flag(
        "card_residual",
        "The card's corners do not fit a flat card; it may be bent, wet or blurred.",
        "Glue the card on something stiff and flat and print a new one when it curls.",
    ),
    Flag(
        "card_partly_hidden",
        "Some of the card's markers are hidden or cut off; scale and angle are less certain.",
        "Leave the whole card in view.",
    ),
    Flag(
        "card_shaded",
        "Light falls unevenly over the card: a shadow lies across it, or a lamp stands close; "
        "which light the tray gets is less certain, and with it how light and strong its colours "
        "are.",
        "Move the lamp or the card so that card and tray stand in the same even light.",
    ),
    Flag(
        "no_card",
        "No card is in the photo: nothing is calibrated.",
        "Lay the printed card beside the tray.",
    ),
    Flag(
        "focal_assumed",
        "The photo does not say which lens took it; a common phone lens was assumed.",
        "Send the photo as the phone stored it, not through a messenger that strips its data.",
    ),
    # --- light and colour
    Flag(
        "light_unfit_for_colour",
        "The light lacks part of the spectrum (grow lamp, sodium lamp): colours are not given.",
        "Photograph under white light; take the tray out from under the grow lamp.",
    ),
    Flag(
        "colour_doubtful",
        "The card's colours fit badly after correction; colour columns are less certain.",
        "Avoid mixed light and glare on the card; check that the print is not faded.",
    ),
    Flag(
        "colour_cut_off",
        "The photo is so vivid that the phone cut off part of the leaves' colour, mostly the blue "
        "of yellow-green leaves; their chroma and hue are less certain.",
        "Photograph with the phone's natural colours, without a vivid style or filter.",
    ),
    Flag(
        "card_nominal",
        "Colours are relative to the card as designed, for this print is not registered: they "
        "compare between photos of one print, not with other people's.",
        "Register the print once: traymorph calibrate FOLDER --photo PHOTO.",
    ),
    # --- tray and plane
    Flag(
        "tray_uncertain",
        "Where the tray's opening lies is uncertain by about half a centimetre or more: leaves "
        "hide its edge and do not tell either, often because a neighbour's canopy joins them.",
        "Photograph the whole tray with some bench round it, apart from other trays; leaves that "
        "hang over the rim may stay, the uncertainties allow for them.",
    ),
    Flag(
        "tray_size_missing",
        "The tray's inside length and width are not given: cover, evenness, gaps and everything "
        "from the side need them.",
        "Give inside_length_mm and inside_width_mm in trial.toml or trays.csv, or --tray 500x250 "
        "with loose photos.",
    ),
    Flag(
        "rim_height_missing",
        "rim_above_bench_mm or rim_above_medium_mm is not given: in its place stands what is usual "
        "(rim 50 mm above the bench, medium 20 ± 10 mm below the rim), so that heights and areas "
        "are much less certain; their uncertainty allows for it.",
        "Measure both once with a ruler and write them into trial.toml or trays.csv.",
    ),
    Flag(
        "height_assumed",
        "No canopy height is known, neither from a side photo nor stated: areas are taken at the "
        "height that the canopy's outline against the rim speaks for, or at an assumed one where "
        "the tray's size is not given; their uncertainty allows for it.",
        "Add a side photo, or canopy.height_above_medium_mm in trial.toml.",
    ),
    Flag(
        "height_from_settings",
        "Areas are taken at the canopy height stated in trial.toml, not at a measured one.",
        "Add a side photo of the tray.",
    ),
    Flag(
        "tray_cut_off",
        "Part of the tray lies outside the photo.",
        "Step back until the whole tray and the card are in the picture.",
    ),
    Flag(
        "scale_disagrees",
        "Card and tray disagree about the scale: the card may lie at another height than the "
        "settings say, or the bar or the tray was measured wrongly.",
        "Check card.plane, card.printed_bar_mm and the tray's inside size.",
    ),
    Flag(
        "card_plane_doubtful",
        "The overhead photo looks as if the card lies at the other height (bench or rim of the "
        "tray) than the settings say: areas would be off by a tenth or more.",
        "Check card.plane and rim_above_bench_mm.",
    ),
    # --- view
    Flag("no_overhead_photo", "No usable overhead photo: its columns are empty.", "Take one."),
    Flag("no_side_photo", "No usable side photo: its columns are empty.", "Take one."),
    Flag(
        "closed_canopy",
        "Cover is above 97 %: it does not tell two such trays apart, and a difference to a sparser "
        "tray may be larger than it shows.",
        "Compare leaf size on cut plants laid on a board.",
    ),
    Flag(
        "edge_plants",
        "From the side one sees the plants at the tray's edge, which differ from those within.",
        "Use side columns to compare trays photographed the same way.",
    ),
    Flag(
        "plants_behind",
        "Other plants stand, or may stand, behind the tray: where its own canopy ends is less "
        "certain.",
        "Put a plain sheet of another colour behind the tray.",
    ),
    Flag(
        "camera_low",
        "The camera stood well below the canopy's top: its front rows hide what stands behind "
        "them, and heights may read too low.",
        "Hold the lens level with the canopy's top.",
    ),
    Flag(
        "no_node",
        "This crop has no node at which leaf and stem part: stem columns are empty.",
        "Use canopy height and cover.",
    ),
    Flag(
        "canopy_below_rim",
        "The plants hardly rise above the tray's wall: stems and leaf layer cannot be seen.",
        "Photograph later, or fill trays higher.",
    ),
    Flag(
        "no_plants",
        "No plant was found in the tray.",
        "Look at the overlay; check crop, light and photo.",
    ),
    # --- cut plants on a board
    Flag(
        "plants_touch",
        "Plants on the board touch or cross and could not be told apart; the group is left out of "
        "the means.",
        "Lay plants a finger's width apart.",
    ),
    Flag(
        "plant_cut_off",
        "A plant on the board is cut off by the edge of photo or board, or lies partly under the "
        "card or a hand; it is left out of the means.",
        "Leave some empty board round the plants, and keep them off the card.",
    ),
    Flag(
        "heap",
        "Plants on the board lie in a heap; what lies below cannot be measured.",
        "Lay ten to twenty-five plants singly, side by side.",
    ),
    Flag(
        "few_plants",
        "Fewer than eight plants on the board: their mean says little of the tray.",
        "Lay ten to twenty-five plants, or take another photo; photos of one tray are pooled.",
    ),
    Flag(
        "board_too_alike",
        "Stems or leaves hardly differ from the board; their outlines are uncertain.",
        "Take a board of another colour: black or blue for pale stems, white for dark plants.",
    ),
    Flag(
        "board_unclear",
        "Something other than plants and card lies on the board, or the board is patterned; it was "
        "left out as well as could be told.",
        "Use a plain board with nothing but plants and card on it.",
    ),
    Flag(
        "blade_folded",
        "A blade is folded or stands on edge: it covers less than it would lying flat.",
        "Press blades flat with a finger or a sheet of clear plastic.",
    ),
    Flag(
        "blades_overlap",
        "Blades of one plant overlap: what overlaps counts once.",
        "Spread the leaves before the photo.",
    ),
    Flag(
        "stem_unclear",
        "A plant's stem could not be followed from the cut to the node: its stem columns are "
        "empty.",
        "Lay the plant so that its stem is seen from end to end.",
    ),
    Flag(
        "leaf_incomplete",
        "A plant has a blade fewer than the others of its photo: its leaf is not in the means, and "
        "its own doubt holds what may be missing.",
        "Take a board of another colour, on which pale stalks are seen; lay blades apart.",
    ),
    Flag(
        "cut_differs",
        "Where the plants were cut above the medium is not stated: stem length is then not "
        "comparable.",
        "Give cut_above_medium_mm in trays.csv and cut every tray at the same height.",
    ),
    Flag(
        "weight_not_used",
        "outcomes.csv holds a weight of the cut plants, but no board photo is of that day, or "
        "plants touch so that it is not known how many were weighed: weight per plant is empty.",
        "Give the day of the board photo as on_date, and count the plants into n_plants.",
    ),
    Flag(
        "no_plants_on_board",
        "No plant was found on the board.",
        "Look at the overlay; check the board's colour, the light and the photo.",
    ),
    Flag(
        "doubt_from_study",
        "The study of the measuring that trial.toml names found repeats to scatter more than a "
        "photo's stated doubt: the uncertainty of such metrics is that scatter.",
        "Look for the cause (light, place of the card, height of the phone) and repeat the study.",
    ),
    # --- leaf colour
    Flag(
        "hue_outside_index",
        "The leaves are not green: the greenness index is not defined for their hue.",
        "Compare lightness, chroma and hue instead.",
    ),
    Flag(
        "yellow_throughout",
        "All leaves are yellow: yellowed leaf cannot be told from a crop that is yellow by nature, "
        "so the yellowed share is empty.",
        "Compare hue, day by day or with other trays of the crop.",
    ),
    Flag(
        "masks_uncertain",
        "Plant and surroundings are hard to tell apart in this photo; areas, gaps, leaf layer and "
        "stem-to-leaf ratio are less certain.",
        "Look at the overlay. Photograph sharply, in even white light, on a plain bench that is "
        "neither green nor the colour of the crop.",
    ),
    Flag(
        "masks_disagree",
        "Form and colour contradict each other about what is plant over much of this photo: crop, "
        "bench or background is unlike what the program learned from; areas and heights may be "
        "wrong by more than their uncertainty says.",
        "Look at the overlay before you use the numbers. Photograph on a plain bench before a "
        "plain wall, without pattern, lawn or other plants.",
    ),
)

FLAGS: dict[str, Flag] = {flag.name: flag for flag in _ALL}
