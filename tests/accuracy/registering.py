"""``python -m tests.accuracy.registering``: leaf colour before and after a print is registered.

Made prints under made daylight and lamps, by made phones (tests/card/prints.py): one phone takes
the daylight photo, another the photo that is measured.
"""

import argparse

import numpy as np

from tests.card.prints import (
    DAYLIGHTS,
    LAMPS,
    ROLE,
    Phone,
    as_photo,
    ink_errors,
    leaf_errors,
    photograph,
    registered,
    true_lab,
    viewpoint,
)
from traymorph.card.colour import correct, fit_colour
from traymorph.card.layout import card_layout
from traymorph.card.registering import read_print
from traymorph.model.card import CardSighting, ColourFit

_LAYOUT, _VIEW = card_layout(ROLE), viewpoint()
_SIGHTING = CardSighting(
    role=ROLE,
    version=1,
    viewpoint=_VIEW,
    outline_px=_VIEW.project(np.column_stack([_LAYOUT.outline, np.zeros(4)])),
    residual_px=0.0,
    markers_seen=8,
    markers_printed=8,
    colour=ColourFit(np.eye(3), 0.0, shows_colour=True),
    shaded=False,
)
_WAYS = ("not registered", "daylight photo", "measured values")


def main() -> None:
    """Print the table of docs/accuracy.md."""
    parser = argparse.ArgumentParser(prog="python -m tests.accuracy.registering")
    parser.add_argument("--prints", type=int, default=24, help="prints per line")
    parser.add_argument("--seed", type=int, default=2026)
    arguments = parser.parse_args()
    print("| print is off by | " + " | ".join(f"{way}: mean | 95 %" for way in _WAYS) + " |")
    print("|---" * (1 + 2 * len(_WAYS)) + "|")
    for low, high in ((0.5, 2.0), (2.0, 4.0), (4.0, 6.0), (6.0, 8.0)):
        errors = leaf_colour_errors(low, high, arguments.prints, arguments.seed)
        cells = [f"{np.mean(e):.1f} | {np.percentile(e, 95):.1f}" for e in errors.values()]
        print(f"| {low:g}–{high:g} | " + " | ".join(cells) + " |", flush=True)


def leaf_colour_errors(low: float, high: float, prints: int, seed: int) -> dict:
    """CIEDE2000 of ten leaf colours, (prints, 10), for each way of registering."""
    rng = np.random.default_rng([seed, int(10 * low)])
    errors: dict = {way: [] for way in _WAYS}
    for k in range(prints):
        printed = ink_errors(rng, rng.uniform(low, high))
        daylight, _ = photograph(printed, Phone.some(rng), DAYLIGHTS[k % 4], rng)
        read = read_print(as_photo(daylight), _SIGHTING)
        cards = (
            None,
            registered({patch.name: patch.lab for patch in read}),
            registered(true_lab(printed)),
        )
        rgb, leaves = photograph(printed, Phone.some(rng), LAMPS[k % 4], rng)
        for way, card in zip(_WAYS, cards, strict=True):
            fit, _ = fit_colour(rgb, _LAYOUT, _VIEW, 1.0, card)
            errors[way].append(leaf_errors(correct(leaves, fit)))
    return errors


if __name__ == "__main__":
    main()
