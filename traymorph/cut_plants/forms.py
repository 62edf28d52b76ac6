"""How the plants of a crop are built, from the crop's name."""

import re
from enum import StrEnum


class PlantForm(StrEnum):
    """Where the stem of a cut plant ends."""

    PAIR = "pair"
    """Two seed leaves on stalks: the stem ends at the node where the stalks part."""
    HYPOGEAL = "hypogeal"
    """The seed leaves stay below: the stem runs from the cut to the first expanded leaf."""
    NO_NODE = "no_node"
    """A grass or an allium: leaf and stem do not part."""


_WORDS = {
    PlantForm.HYPOGEAL: {
        "pea", "peas", "lentil", "lentils", "chickpea", "chickpeas", "fava", "faba", "broad",
        "vetch",
    },
    PlantForm.NO_NODE: {
        "wheat", "wheatgrass", "barley", "barleygrass", "oat", "oats", "rye", "corn", "maize",
        "popcorn", "onion", "onions", "leek", "leeks", "chive", "chives", "garlic", "scallion",
    },
}  # fmt: skip
"""Words of a crop's name that tell its form: hypogeal germination of the pea and vetch tribe, and
monocotyledons. Common botanical knowledge, no source."""

_NOT_PEAS = re.compile(r"\b(?:sweet\s*corn\s+salad|corn\s+salad|cowpeas?|pea\s*flowers?)\b")
"""Names that hold one of the words and are plants of the pair form."""


def form_of_crop(crop: str) -> PlantForm:
    """Form of the plants of a crop.

    Parameters
    ----------
    crop : str
        The crop's name as the grower writes it; the variety may stand with it.

    Returns
    -------
    PlantForm
        ``PAIR`` where the name says nothing else: most crops are grown for their seed leaves.
    """
    name = _NOT_PEAS.sub(" ", crop.lower())
    words = set(re.findall(r"[a-z]+", name.replace("-", " ").replace("_", " ")))
    for form, known in _WORDS.items():
        if words & known:
            return form
    return PlantForm.PAIR
