"""Things that get into a photo at its edge: a hand and forearm, a hose. Lengths in mm."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tests.scenes import meshes
from tests.scenes.colour import paint
from tests.scenes.items import Item
from tests.scenes.strewn import closed_tube

SKINS = ((224, 172, 142), (198, 142, 108), (140, 92, 66))
FINGERS_MM = 46.0  # how far the fingers reach beyond where they bend
HOSES = {"green": (52, 112, 62), "black": (36, 36, 38), "yellow": (206, 176, 60)}


def forearm(tip: NDArray, way: NDArray, lift: float, skin: tuple[int, int, int]) -> Item:
    """A forearm with a hand.

    Parameters
    ----------
    tip : (2,) where the fingers bend
    way : (2,) unit vector from the fingers to the elbow
    lift : height of the palm's middle
    skin : sRGB
    """
    tint = paint(*skin)
    parts = []
    s = np.linspace(0, 1, 30)
    wrist = np.array([*(tip + way * 95), lift + 6.0])
    arm = wrist + s[:, None] * np.array([*(way * 330), 50.0])
    parts.append(closed_tube(arm, 26 + 16 * s, np.repeat(tint[None], 30, 0), meshes.OTHER, 28))
    frame = np.array([[[*way, 0.0], [-way[1], way[0], 0], [0, 0, 1.0]]])
    palm = np.array([[*(tip + way * 62), lift]])
    parts.append(meshes.ellipsoids(palm, frame, np.array([[52.0, 40, 17]]), tint[None, None],
                                   part=meshes.OTHER, detail=(20, 28)))  # fmt: skip
    for k, turn in enumerate((-0.9, -0.22, 0.0, 0.2, 0.4)):
        c, r = np.cos(turn), np.sin(turn)
        ahead = -np.array([c * way[0] - r * way[1], r * way[0] + c * way[1]])
        reach = (58, 74, 80, 74, 60)[k]
        start = palm[0, :2] + 26 * ahead
        bow = 14 * np.sin(np.pi * s)
        height = lift - 4.0 + bow - 12 * s
        finger = np.column_stack([start + s[:, None] * reach * ahead, height])
        parts.append(closed_tube(finger, 9.5 - 2.2 * s, np.repeat(tint[None], 30, 0),
                                 meshes.OTHER, 20))  # fmt: skip
    mesh = meshes.join(parts).recast(meshes.OTHER)
    return Item("hand", mesh, "coloured", None, 0.8, 0.35)


def hose(start: NDArray, way: NDArray, rest: tuple[float, float], colour: str) -> Item:
    """A hose that comes from far away, lies up against the tray's rim and hangs over it a little.

    Parameters
    ----------
    start : (2,) where its mouth is
    way : (2,) unit vector away from the tray
    rest : height of the mouth and of the rest of the hose
    colour : one of `HOSES`
    """
    s = np.linspace(0, 1, 60)
    side = np.array([-way[1], way[0]])
    reach = 620.0 * s
    wave = 46.0 * np.sin(2.2 * np.pi * s) * s
    height = rest[1] + (rest[0] - rest[1]) * np.exp(-((reach / 70.0) ** 2))
    xy = start + reach[:, None] * way + wave[:, None] * side
    tint = np.repeat(paint(*HOSES[colour])[None], len(s), 0)
    line = np.column_stack([xy, height])
    mesh = closed_tube(line, np.full(len(s), 8.5), tint, meshes.OTHER, 24)
    return Item("hose", mesh.recast(meshes.OTHER), "coloured", None, 1.2, 0.3)


def at_edge(intruder: dict, opening: dict) -> Item:
    """Put a hand or a hose at one of the tray's edges.

    Parameters
    ----------
    intruder : `kind` ("hand" or "hose"), `side` ("-x", "+x", "-y", "+y"), `along` (-1..1 of that
        side), `turn_deg` from the side's normal, `over_mm` (how far it reaches in over the rim's
        inner edge), `look` (number of the skin or name of the hose's colour)
    opening : sizes of the tray
    """
    sign = -1.0 if intruder["side"].startswith("-") else 1.0
    half = np.array([opening["inside_length_mm"], opening["inside_width_mm"]]) / 2
    axis = 0 if intruder["side"].endswith("x") else 1
    at = np.zeros(2)
    at[axis] = sign * (half[axis] - intruder["over_mm"])
    at[1 - axis] = intruder["along"] * 0.8 * half[1 - axis]
    out = np.zeros(2)
    out[axis] = sign
    turn = np.radians(intruder["turn_deg"])
    c, s = np.cos(turn), np.sin(turn)
    way = np.array([c * out[0] - s * out[1], s * out[0] + c * out[1]])
    rim = opening["rim_above_bench_mm"]
    if intruder["kind"] == "hand":
        return forearm(at + FINGERS_MM * way, way, rim + 22.0, SKINS[intruder["look"]])
    return hose(at, way, (rim + 9.0, 9.0), intruder["look"])
