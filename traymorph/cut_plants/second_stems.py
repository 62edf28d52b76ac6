"""A second stem beyond a plant's node: another plant whose cut lies under this one.

Only one cut is seen then, and the ways from it lead on from the first plant's node along the second
plant's stem. Stalks are thinner than their stem and much shorter.
"""

import numpy as np

from traymorph.cut_plants.nodes import Node
from traymorph.cut_plants.parting import Parting
from traymorph.cut_plants.skeleton import Rooted, Skeleton

_LENGTH, _WIDTH = 0.5, 0.65
"""Length over the photo's usual stem, and width over that of the plant's own stem, from which what
leads on is a stem. Over 24 rendered boards the longest stalks have 0.4 of both, second stems 0.7 to
1.0 of the length and 0.74 to 0.86 of the width."""


def has_second_stem(
    skeleton: Skeleton, ways: Rooted, parting: Parting, node: Node, usual_length: float
) -> bool:
    """Whether another stem leads on from a plant's node.

    Parameters
    ----------
    skeleton : Skeleton
        Of the plant.
    ways : Rooted
        From its cut.
    parting : Parting
        Leaf against stem.
    node : Node
        Where its stem ends.
    usual_length : float
        Of the photo's stems, cells.
    """
    least = _LENGTH * usual_length
    own = float(np.median(skeleton.radius[ways.path(node.cell)]))
    children = ways.children()
    front = [node.cell]
    while front:
        cell = front.pop()
        ahead = [c for c in children[cell] if parting.part[c] == 0]
        front += ahead
        if not ahead and ways.distance[cell] - ways.distance[node.cell] >= least:
            beyond = ways.path(cell)
            beyond = beyond[ways.distance[beyond] > ways.distance[node.cell]]
            if float(np.median(skeleton.radius[beyond])) >= _WIDTH * own:
                return True
    return False
