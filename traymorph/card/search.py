"""Look for the card's markers and tell which of them lie together on one card."""

from dataclasses import dataclass
from itertools import combinations

import cv2
import numpy as np
from numpy.typing import NDArray

from traymorph.card.layout import CardLayout, marker_dictionary, role_and_version
from traymorph.model.card import CardRole

# How far a marker's corners may lie from where the rest of its card predicts them, as a share
# of the marker's side: generous enough for a rough corner, far below the distance to a neighbour.
_PLACE_TOLERANCE = 0.35
_LEAST_PERIMETER_PX = 48.0
"""Below twelve pixels a side, seven cells cannot be told apart."""


@dataclass(frozen=True, slots=True, eq=False)
class Marker:
    """One marker as found: its id and its corners in the photo, shape (4, 2), px."""

    marker_id: int
    corners: NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Group:
    """Markers that lie as one card lays them out, and the mapping from mm to px they imply."""

    markers: tuple[Marker, ...]
    homography: NDArray[np.float64]


def find_markers(grey: NDArray[np.uint8], scale: float) -> dict[CardRole, list[Marker]]:
    """Find markers of known cards.

    Parameters
    ----------
    grey : ndarray of uint8, shape (height, width)
        The photo, reduced or not.
    scale : float
        Photo pixels per pixel of ``grey``.

    Returns
    -------
    dict
        Markers by the role their id belongs to, corners in photo pixels.
    """
    settings = cv2.aruco.DetectorParameters()
    settings.minMarkerPerimeterRate = _LEAST_PERIMETER_PX / max(grey.shape)
    settings.adaptiveThreshWinSizeMin = 7
    settings.adaptiveThreshWinSizeMax = 23
    settings.adaptiveThreshWinSizeStep = 16
    # Blur mixes neighbouring cells: read each cell at its middle only. Errors that the code can
    # mend are mended; what is wrong all the same does not fit a card and falls out later.
    settings.perspectiveRemovePixelPerCell = 8
    settings.perspectiveRemoveIgnoredMarginPerCell = 0.3
    settings.errorCorrectionRate = 1.0
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    settings.cornerRefinementWinSize = 2
    detector = cv2.aruco.ArucoDetector(marker_dictionary(), settings)
    quads, ids, _ = detector.detectMarkers(grey)
    found: dict[CardRole, list[Marker]] = {role: [] for role in CardRole}
    if ids is None:
        return found
    # OpenCV 4 gives ids as (n, 1), OpenCV 5 as (n,).
    for quad, marker_id in zip(quads, np.ravel(ids), strict=True):
        known = role_and_version(int(marker_id))
        if known is not None:
            corners = np.asarray(quad, dtype=np.float64).reshape(4, 2)
            found[known[0]].append(Marker(int(marker_id), (corners + 0.5) * scale - 0.5))
    return found


def group_markers(markers: list[Marker], layout: CardLayout) -> list[Group]:
    """Sort markers into cards, largest group first.

    Two markers that no single flat card explains never join, and a marker that fits no other is
    dropped: foliage now and then looks like one marker, never like two in the right places.
    """
    left = [marker for marker in markers if marker.marker_id in layout.markers]
    groups: list[Group] = []
    while True:
        best = _largest_group(left, layout)
        if best is None:
            return groups
        groups.append(best)
        left = [marker for marker in left if not _lies_on(marker, best, layout)]


def _largest_group(markers: list[Marker], layout: CardLayout) -> Group | None:
    best: Group | None = None
    for pair in combinations(markers, 2):
        if pair[0].marker_id == pair[1].marker_id:
            continue
        group = _gather(pair, markers, layout)
        if group is not None and (best is None or len(group.markers) > len(best.markers)):
            best = group
            if len(best.markers) == len(layout.markers):
                break
    return best


def _gather(pair: tuple[Marker, ...], markers: list[Marker], layout: CardLayout) -> Group | None:
    homography = _homography(pair, layout)
    if homography is None:
        return None
    members = {marker.marker_id: marker for marker in markers if _fits(marker, homography, layout)}
    if any(members.get(marker.marker_id) is not marker for marker in pair):
        return None
    chosen = tuple(members.values())
    refined = _homography(chosen, layout)
    return None if refined is None else Group(chosen, refined)


def _homography(markers: tuple[Marker, ...], layout: CardLayout) -> NDArray[np.float64] | None:
    places = np.concatenate([layout.markers[marker.marker_id] for marker in markers])
    corners = np.concatenate([marker.corners for marker in markers])
    homography, _ = cv2.findHomography(places, corners, 0)
    return None if homography is None else np.asarray(homography, dtype=np.float64)


def _fits(marker: Marker, homography: NDArray[np.float64], layout: CardLayout) -> bool:
    expected = to_photo(homography, layout.markers[marker.marker_id])
    side = float(np.mean(np.linalg.norm(marker.corners - np.roll(marker.corners, 1, 0), axis=1)))
    off = np.linalg.norm(marker.corners - expected, axis=1)
    return bool(np.max(off) < _PLACE_TOLERANCE * side)


def _lies_on(marker: Marker, group: Group, layout: CardLayout) -> bool:
    outline = to_photo(group.homography, layout.outline).astype(np.float32)
    x, y = marker.corners.mean(axis=0)
    return bool(cv2.pointPolygonTest(outline, (float(x), float(y)), measureDist=False) >= 0)


def to_photo(
    homography: NDArray[np.float64], points_mm: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Map points of the card, shape (n, 2), mm, into the photo, px."""
    mapped = np.column_stack([points_mm, np.ones(len(points_mm))]) @ homography.T
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(mapped[:, :2] / mapped[:, 2:])
