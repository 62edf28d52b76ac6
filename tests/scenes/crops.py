"""How crops look: named ones, and crops of random form and colour."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from tests.scenes.blades import Outline
from tests.scenes.colour import decode_srgb, hsv_to_rgb, paint

Colour = np.ndarray


@dataclass(frozen=True)
class Crop:
    """Form and colours of a crop; lengths in mm, angles in degrees, colours linear reflectance.

    Attributes
    ----------
    height : mean length of the stem up to the seed leaves
    spread : coefficient of variation of stem length and of blade size
    stem_width : at the foot and at the top
    stem_foot, stem_top : colours of the stem
    stalk : length of the leaf stalks
    blade : length and width of the seed leaves
    rise : angle of the seed leaves above the horizontal
    fold, cup, bend : of the blades (deg, deg over half the width, deg over the length)
    leaf, leaf_other : the two colours between which leaves vary
    rim, rim_share : colour of the margin and how strongly it shows
    mottle : strength of the mottling towards `mottle_colour`
    gloss : strength of the mirror reflection, 1 = ordinary leaf
    through : how much light passes compared with what is reflected
    true_leaf : share of plants with true leaves, and their size to the seed leaf's
    hull : share of plants that carry a hull; hull_size, hull_colours
    lean : typical lean of the stems
    form : "pair" of seed leaves, "pea" (leaflets and tendrils), "strap" (one grass leaf out of
        a sheath) or "reed" (one round leaf); the last two have neither node nor stem, `height`
        is the leaf's length and `stem_width` its width
    hook : share of stems that are still bent over (young trays)
    """

    name: str
    height: float = 60.0
    spread: float = 0.12
    stem_width: tuple[float, float] = (1.6, 1.2)
    stem_foot: Colour = field(default_factory=lambda: paint(225, 228, 200))
    stem_top: Colour = field(default_factory=lambda: paint(165, 195, 110))
    stalk: float = 6.0
    blade: tuple[float, float] = (13.0, 15.0)
    outline: Outline = field(default_factory=Outline)
    rise: float = 15.0
    fold: float = 8.0
    cup: float = 10.0
    bend: float = 25.0
    leaf: Colour = field(default_factory=lambda: paint(70, 125, 45))
    leaf_other: Colour = field(default_factory=lambda: paint(110, 155, 60))
    rim: Colour = field(default_factory=lambda: paint(90, 40, 70))
    rim_share: float = 0.0
    mottle: float = 0.0
    mottle_colour: Colour = field(default_factory=lambda: paint(90, 50, 70))
    gloss: float = 1.0
    through: float = 0.8
    true_leaf: tuple[float, float] = (0.0, 0.5)
    true_outline: Outline = field(
        default_factory=lambda: Outline(ovate=0.1, square=1.1, lobes=0.05)
    )
    hull: float = 0.0
    hull_size: tuple[float, float] = (5.0, 3.0)
    hull_colours: tuple[Colour, Colour] = field(
        default_factory=lambda: (paint(120, 85, 55), paint(95, 65, 45))
    )
    lean: float = 10.0
    form: str = "pair"
    hook: float = 0.0


HEART = Outline(ovate=-0.25, notch=0.22, base_notch=0.05, square=0.95)
KIDNEY = Outline(ovate=0.0, notch=0.16, base_notch=0.10, square=0.85)
OVAL = Outline(ovate=0.1)
STRAP = Outline(ovate=0.0, square=0.75)
LANCE = Outline(ovate=0.2, square=1.15)

NAMED: dict[str, Crop] = {
    crop.name: crop
    for crop in (
        Crop("radish_green", height=62, outline=HEART, true_leaf=(0.15, 0.45),
             leaf=paint(72, 128, 48), leaf_other=paint(120, 165, 66), hull=0.04,
             stem_foot=paint(238, 236, 220), stem_top=paint(176, 205, 120)),
        Crop("radish_purple", height=58, outline=HEART, blade=(12, 14),
             leaf=paint(92, 66, 80), leaf_other=paint(78, 92, 62), rim=paint(95, 36, 76),
             rim_share=0.8, mottle=0.5, stem_foot=paint(226, 190, 205),
             stem_top=paint(150, 60, 110), hull=0.03, true_leaf=(0.1, 0.4)),
        Crop("pea", height=95, spread=0.16, form="pea", stem_width=(2.6, 2.0), blade=(20, 14),
             outline=OVAL, leaf=paint(82, 140, 62), leaf_other=paint(128, 172, 92), stalk=9,
             stem_foot=paint(196, 212, 150), stem_top=paint(140, 180, 92), gloss=1.5, lean=14),
        Crop("sunflower", height=85, stem_width=(3.2, 2.6), blade=(27, 15), stalk=4,
             outline=Outline(ovate=0.05, square=0.9), leaf=paint(58, 118, 40),
             leaf_other=paint(96, 150, 58), stem_foot=paint(232, 230, 208),
             stem_top=paint(190, 210, 150), hull=0.22, hull_size=(11, 5.5), gloss=1.4,
             hull_colours=(paint(45, 42, 40), paint(190, 184, 172)), true_leaf=(0.1, 0.35)),
        Crop("amaranth_red", height=42, stem_width=(1.1, 0.8), blade=(11, 4.6), stalk=3,
             outline=LANCE, leaf=paint(150, 34, 62), leaf_other=paint(112, 40, 48),
             stem_foot=paint(222, 130, 150), stem_top=paint(176, 40, 84), through=1.1, rise=25),
        Crop("beet_like", height=55, stem_width=(1.7, 1.3), blade=(19, 7), stalk=4,
             outline=STRAP, leaf=paint(64, 120, 52), leaf_other=paint(92, 96, 58),
             stem_foot=paint(228, 160, 180), stem_top=paint(176, 34, 72), hull=0.08, rise=30,
             mottle=0.15, mottle_colour=paint(130, 40, 60)),
        Crop("fennel_like", height=62, stem_width=(1.0, 0.8), blade=(27, 2.6), stalk=2,
             outline=STRAP, leaf=paint(84, 146, 62), leaf_other=paint(120, 170, 84), rise=35,
             stem_foot=paint(220, 226, 190), stem_top=paint(160, 196, 112), lean=14, bend=40,
             true_leaf=(0.3, 0.6), true_outline=Outline(square=1.2, lobes=0.2, lobe_count=9)),
        Crop("basil_like", height=32, stem_width=(1.1, 0.9), blade=(7, 9), stalk=4,
             outline=KIDNEY, leaf=paint(80, 150, 50), leaf_other=paint(126, 178, 70), gloss=1.6,
             stem_foot=paint(224, 222, 190), stem_top=paint(186, 198, 136), cup=18),
        Crop("nasturtium_like", height=70, stem_width=(1.9, 1.5), blade=(19, 21), stalk=14,
             outline=Outline(square=0.9, lobes=0.03, lobe_count=5), leaf=paint(96, 150, 84),
             leaf_other=paint(140, 178, 118), stem_foot=paint(214, 196, 170),
             stem_top=paint(178, 140, 110), rise=5, cup=14, lean=14),
        Crop("buckwheat_like", height=74, stem_width=(1.9, 1.5), blade=(14, 19), stalk=7,
             outline=KIDNEY, leaf=paint(118, 158, 64), leaf_other=paint(150, 180, 84),
             stem_foot=paint(238, 206, 204), stem_top=paint(196, 88, 96), hull=0.12,
             hull_size=(6, 4), hull_colours=(paint(70, 50, 40), paint(48, 36, 30))),
        Crop("shiso_like", height=36, stem_width=(1.3, 1.0), blade=(9, 10), stalk=4,
             outline=KIDNEY, leaf=paint(84, 40, 72), leaf_other=paint(110, 62, 78), mottle=0.3,
             stem_foot=paint(200, 170, 160), stem_top=paint(130, 60, 90),
             true_leaf=(0.5, 0.9)),
        Crop("cress_like", height=48, stem_width=(1.0, 0.8), blade=(9, 5), stalk=5,
             outline=Outline(lobes=0.18, lobe_count=5), leaf=paint(86, 144, 58),
             leaf_other=paint(130, 172, 84), stem_foot=paint(240, 238, 222),
             stem_top=paint(206, 220, 170), rise=35),
        Crop("borage_like", height=56, stem_width=(2.8, 2.3), blade=(20, 16), stalk=5,
             outline=Outline(ovate=-0.12, square=0.8), leaf=paint(100, 136, 128),
             leaf_other=paint(134, 166, 152), gloss=0.6, stem_foot=paint(214, 222, 200),
             stem_top=paint(170, 190, 160), cup=20, rise=12, true_leaf=(0.2, 0.7)),
        Crop("chard_gold_like", height=64, stem_width=(1.9, 1.5), blade=(18, 8.5), stalk=6,
             outline=Outline(ovate=-0.2, square=0.85, lobes=0.05, lobe_count=8),
             leaf=paint(110, 150, 52), leaf_other=paint(150, 176, 74),
             stem_foot=paint(238, 208, 110), stem_top=paint(220, 168, 44), rise=28, hull=0.1,
             hull_size=(6, 5), gloss=1.3),
        Crop("coriander_like", height=50, stem_width=(1.1, 0.9), blade=(22, 4.6), stalk=4,
             outline=Outline(ovate=-0.05, square=0.95), leaf=paint(66, 132, 50),
             leaf_other=paint(98, 156, 70), stem_foot=paint(186, 170, 214),
             stem_top=paint(104, 80, 158), rise=32, bend=35, true_leaf=(0.75, 0.8),
             true_outline=Outline(square=0.8, lobes=0.28, lobe_count=5)),
        Crop("orach_bronze_like", height=46, stem_width=(1.4, 1.1), blade=(13, 7), stalk=4,
             outline=Outline(ovate=-0.3, square=1.0, base_notch=0.12), leaf=paint(134, 90, 52),
             leaf_other=paint(112, 96, 56), stem_foot=paint(226, 178, 140),
             stem_top=paint(216, 124, 74), rise=22, mottle=0.2,
             mottle_colour=paint(90, 50, 34)),
    )
}  # fmt: skip
# These forms and colours appear in the set kept for judging only.
ONLY_UNSEEN = ("nasturtium_like", "buckwheat_like", "shiso_like")
# These forms, the blue-grey leaves and the golden, violet and orange stems appear in the
# locked halves only.
ONLY_LOCKED = ("borage_like", "chard_gold_like", "coriander_like", "orach_bronze_like")
# Without a node to part at; on boards only.
NODELESS: dict[str, Crop] = {
    crop.name: crop
    for crop in (
        Crop("wheat_like", form="strap", height=98, spread=0.14, stem_width=(3.6, 3.2),
             leaf=paint(78, 138, 52), leaf_other=paint(112, 164, 70), through=0.9, gloss=0.8,
             stem_foot=paint(236, 234, 212), stem_top=paint(190, 208, 140), lean=12),
        Crop("onion_like", form="reed", height=92, spread=0.15, stem_width=(1.5, 1.2),
             leaf=paint(70, 128, 60), leaf_other=paint(96, 148, 84), hull=0.5, hull_size=(3.2, 2.4),
             hull_colours=(paint(26, 25, 26), paint(44, 42, 42)),
             stem_foot=paint(242, 241, 230), stem_top=paint(150, 190, 118)),
    )
}  # fmt: skip


def random_crop(rng: np.random.Generator, name: str = "random") -> Crop:
    """Draw a crop of random form and colour."""
    length = float(np.exp(rng.uniform(np.log(7), np.log(30))))
    aspect = float(np.exp(rng.uniform(np.log(0.14), np.log(1.35))))
    leaf = _leaf_colour(rng)
    other = np.clip(0.55 * leaf + 0.45 * _leaf_colour(rng), 0.004, 0.85)
    if rng.random() < 0.6:
        other = np.clip(leaf * rng.uniform(0.75, 1.7) * rng.uniform(0.85, 1.2, 3), 0.004, 0.85)
    foot, top = _stem_colours(rng, leaf)
    width = float(rng.uniform(0.9, 3.2))
    dark, light = rng.uniform(30, 120), rng.uniform(90, 215)
    striped = rng.random() < 0.4
    husk = paint(dark, dark * rng.uniform(0.65, 0.95), dark * rng.uniform(0.45, 0.9))
    return Crop(
        name,
        height=float(rng.uniform(30, 105)),
        spread=float(rng.uniform(0.06, 0.17)),
        stem_width=(width, width * float(rng.uniform(0.6, 0.95))),
        stem_foot=foot,
        stem_top=top,
        stalk=float(rng.uniform(1, 14)),
        blade=(length, max(length * aspect, 1.8)),
        outline=Outline(
            ovate=float(rng.uniform(-0.35, 0.35)),
            notch=float(rng.choice([0, rng.uniform(0.05, 0.28)])),
            base_notch=float(rng.choice([0, rng.uniform(0.02, 0.15)])),
            square=float(rng.uniform(0.75, 1.25)),
            lobes=float(rng.choice([0, 0, rng.uniform(0.03, 0.22)])),
            lobe_count=int(rng.integers(3, 10)),
        ),
        rise=float(rng.uniform(-10, 55)),
        fold=float(rng.uniform(0, 25)),
        cup=float(rng.uniform(-20, 30)),
        bend=float(rng.uniform(-15, 60)),
        leaf=leaf,
        leaf_other=other,
        rim=_leaf_colour(rng),
        rim_share=float(rng.choice([0, 0, rng.uniform(0.2, 0.9)])),
        mottle=float(rng.choice([0, 0, rng.uniform(0.1, 0.7)])),
        mottle_colour=_leaf_colour(rng),
        gloss=float(rng.uniform(0.5, 2.2)),
        through=float(rng.uniform(0.4, 1.2)),
        true_leaf=(float(rng.choice([0, rng.uniform(0.1, 1)])), float(rng.uniform(0.3, 1.1))),
        true_outline=Outline(
            ovate=float(rng.uniform(-0.2, 0.3)),
            square=float(rng.uniform(0.9, 1.2)),
            lobes=float(rng.uniform(0, 0.25)),
            lobe_count=int(rng.integers(4, 10)),
        ),
        hull=float(rng.choice([0, rng.uniform(0.02, 0.35)])),
        hull_size=(length * float(rng.uniform(0.3, 0.55)), length * float(rng.uniform(0.15, 0.3))),
        hull_colours=(husk, paint(light, light * 0.95, light * 0.85) if striped else husk * 1.25),
        lean=float(rng.uniform(5, 20)),
        form="pea" if rng.random() < 0.12 else "pair",
    )


def younger(crop: Crop, age: float) -> Crop:
    """Give the crop a few days after sowing: short, bent over, pale, small seed leaves.

    Parameters
    ----------
    age : 0 (just up) .. 1 (nearly grown)
    """
    pale = paint(226, 222, 140)
    return replace(
        crop,
        height=crop.height * (0.3 + 0.35 * age),
        blade=(crop.blade[0] * (0.5 + 0.3 * age), crop.blade[1] * (0.45 + 0.3 * age)),
        fold=45 * (1 - age) + crop.fold,
        rise=50.0,
        leaf=crop.leaf * age + pale * (1 - age),
        leaf_other=0.4 * crop.leaf_other + 0.6 * pale,
        stem_foot=paint(244, 243, 234),
        stem_top=0.5 * crop.stem_top + 0.5 * paint(240, 238, 210),
        true_leaf=(0.0, 0.5),
        hull=max(crop.hull, 0.35),
        hook=0.6 * (1 - age),
        spread=0.18,
        form="pair",
    )


def grown(crop: Crop, growth: dict) -> Crop:
    """Give the crop with a part of its habit set anew.

    Parameters
    ----------
    growth : any of `height_mm` (length of the stems), `spread`, `true_leaf` (share of plants, size
        to the seed leaf's), `gloss`, `form`, `leaf_srgb` (the two colours between which leaves
        vary, 0..1)
    """
    if "leaf_srgb" in growth:
        leaf, other = (decode_srgb(np.asarray(colour)) for colour in growth["leaf_srgb"])
        crop = replace(crop, leaf=leaf, leaf_other=other)
    return replace(
        crop,
        form=growth.get("form", crop.form),
        height=growth.get("height_mm", crop.height),
        spread=growth.get("spread", crop.spread),
        true_leaf=tuple(growth.get("true_leaf", crop.true_leaf)),
        gloss=growth.get("gloss", crop.gloss),
    )


def _leaf_colour(rng: np.random.Generator) -> Colour:
    kind = rng.choice(7, p=[0.30, 0.15, 0.10, 0.13, 0.12, 0.10, 0.10])
    hue, sat, val = (
        ((85, 125), (0.35, 0.75), (0.30, 0.65)),  # green
        ((62, 90), (0.40, 0.80), (0.45, 0.80)),  # yellow green
        ((95, 150), (0.20, 0.55), (0.20, 0.45)),  # dark, bluish green
        ((285, 345), (0.25, 0.65), (0.22, 0.50)),  # purple
        ((340, 380), (0.45, 0.85), (0.30, 0.65)),  # red, crimson
        ((48, 65), (0.35, 0.70), (0.60, 0.88)),  # yellowed
        ((70, 130), (0.12, 0.35), (0.55, 0.85)),  # pale
    )[kind]
    return decode_srgb(hsv_to_rgb(rng.uniform(*hue), rng.uniform(*sat), rng.uniform(*val)))


def _stem_colours(rng: np.random.Generator, leaf: Colour) -> tuple[Colour, Colour]:
    def one() -> Colour:
        kind = rng.choice(8, p=[0.22, 0.12, 0.18, 0.12, 0.10, 0.08, 0.08, 0.10])
        if kind == 7:
            return np.clip(leaf * rng.uniform(1.0, 1.6), 0.01, 0.8)
        hue, sat, val = (
            ((45, 75), (0.03, 0.14), (0.78, 0.97)),  # white
            ((35, 52), (0.20, 0.42), (0.65, 0.90)),  # cream, tan
            ((70, 100), (0.15, 0.40), (0.65, 0.88)),  # pale green
            ((335, 358), (0.15, 0.40), (0.70, 0.92)),  # pink
            ((335, 360), (0.55, 0.80), (0.35, 0.65)),  # crimson
            ((290, 330), (0.25, 0.55), (0.35, 0.60)),  # purple
            ((20, 40), (0.30, 0.55), (0.40, 0.65)),  # brown
        )[kind]
        return decode_srgb(hsv_to_rgb(rng.uniform(*hue), rng.uniform(*sat), rng.uniform(*val)))

    foot, top = one(), one()
    return (foot, top) if rng.random() < 0.55 else (foot, np.clip(foot * 0.85, 0.01, 0.9))
