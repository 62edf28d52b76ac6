"""What colours leaf and stem have in one photo of cut plants."""

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt

from traymorph.cut_plants.centre_line import probe
from traymorph.cut_plants.colours import TissueColours, learn, to_lab
from traymorph.cut_plants.silhouettes import Run, Silhouette
from traymorph.cut_plants.skeleton import Ints, Mask, Skeleton, end_branches

Floats = NDArray[Any]

_SURELY_BLADE = 1.8
"""Distance from the outline, in half widths of the stem, from which a cell is surely blade."""
_TIP_SHARE = 0.5
"""Outer share of a free end other than the cut that is leaf in plants whose blades are as narrow
as their stems."""
_LEAST_APART = 2.5
"""Standard deviations between the colours of such tips and of stems, below which they do not
differ."""
_LIMITS = (2.0, 7.0)
"""Log-odds of a cell's colour, at most, where leaf and stem are alike and where they are as unlike
as green and white."""
_CLEAR, _STEM_WITHIN = 4.0, 2.2
"""Limit of the log-odds of one cell, and the mean log-odds up to which a cell amid a blade is
stem: the mean over a narrow stem holds some of the blade beside it, and young stems among leaves
are greener than those near the cut, from which their colour was learnt."""
_END_CELLS = 5
_MOST_CELLS = 2000


def colours_of_photo(
    pieces: list[Silhouette], labs: list[Floats], half_width: float
) -> TissueColours | None:
    """Colours of leaf and stem from the sure cells of all pieces; None where there are too few."""
    leaf, stem = [], []
    for piece, lab in zip(pieces, labs, strict=True):
        if piece.runs:
            cells = _sure(piece, piece.runs[0], lab, half_width)
            leaf.append(cells[0])
            stem.append(cells[1])
    if not leaf:
        return None
    colours = learn(np.vstack(leaf), np.vstack(stem))
    if colours is not None:
        return colours
    tips = [_tips(piece, lab) for piece, lab in zip(pieces, labs, strict=True) if piece.runs]
    colours = learn(np.vstack(tips), np.vstack(stem))
    return colours if colours is not None and colours.apart >= _LEAST_APART else None


def colours_of_plant(
    piece: Silhouette, run: Run, lab: Floats, photo: TissueColours
) -> TissueColours:
    """Draw the photo's colours towards those of one plant."""
    return learn(*_sure(piece, run, lab, run.half_width), photo) or photo


def smooth_lab(rgb: NDArray[np.uint8], piece: Silhouette) -> Floats:
    """L*, a*, b* within a piece's box, each cell averaged with its neighbours of the same piece."""
    lab = to_lab(np.ascontiguousarray(rgb[piece.box]))
    inside = piece.mask.astype(np.float32)
    total = cv2.blur(lab * inside[..., None], (3, 3))
    weight = cv2.blur(inside, (3, 3))
    mean: Floats = total / np.maximum(weight, np.float32(1e-3))[..., None]
    return mean


def leaf_odds(lab: Floats, colours: TissueColours | None) -> Floats | None:
    """Log-odds of leaf by colour in each cell; None where the photo taught no colours.

    They are held within limits that grow with how far apart leaf and stem are: the discriminant
    takes every cell for one of the two and grows without bounds, while stalks and veins are
    neither.
    """
    if colours is None:
        return None
    limit = np.float32(np.clip(colours.apart, *_LIMITS))
    odds: Floats = np.clip(colours.leaf_odds(lab), -limit, limit)
    return odds


def at_skeleton(odds: Floats | None, skeleton: Skeleton) -> NDArray[np.float64] | None:
    """Read log-odds at the cells of a skeleton."""
    return None if odds is None else probe(odds, skeleton.points)


def through_leaves(parts: NDArray[np.intp], odds: Floats, half_width: float) -> NDArray[np.intp]:
    """Parts of a plant whose stem is seen through and over its leaves, by colour.

    Parameters
    ----------
    parts : ndarray of int, shape (h, w)
        0 stem, k blade k.
    odds : ndarray of float32, shape (h, w)
        Log-odds of leaf.
    half_width : float
        Of the stem, cells; what is smaller is no stem.

    Returns
    -------
    ndarray of int, shape (h, w)
        Only turns blade into stem.
    """
    smooth = cv2.GaussianBlur(np.clip(odds, -_CLEAR, _CLEAR), (0, 0), max(0.3 * half_width, 0.6))
    stem = (parts > 0) & (smooth < _STEM_WITHIN)
    size = 2 * max(round(0.5 * half_width), 1) + 1
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))
    whole = cv2.morphologyEx((stem | (parts == 0)).astype(np.uint8), cv2.MORPH_OPEN, disc)
    return np.where(stem & (whole > 0), 0, parts)


def under_leaves(parts: NDArray[np.intp], hidden: Mask, odds: Floats) -> NDArray[np.intp]:
    """Parts of a plant with the blade that hides a stretch of its stem.

    Parameters
    ----------
    parts : ndarray of int, shape (h, w)
        0 stem, k blade k, -1 outside.
    hidden : ndarray of bool, shape (h, w)
        Where the stem runs unseen.
    odds : ndarray of float32, shape (h, w)
        Log-odds of leaf.

    Returns
    -------
    ndarray of int, shape (h, w)
        What has a leaf's colour there belongs to the nearest blade.
    """
    covered = hidden & (odds > 0)
    if not covered.any() or not (parts > 0).any():
        return parts
    nearest = distance_transform_edt(parts <= 0, return_distances=False, return_indices=True)
    return np.where(covered, parts[tuple(nearest)], parts)


def beside_stems(parts: NDArray[np.intp], odds: Floats, half_width: float) -> NDArray[np.intp]:
    """Parts of a plant whose blades reach back beside the stem or a stalk, by colour.

    There the silhouette is one band of stem and blade, and its skeleton tells but one of them.

    Parameters
    ----------
    parts : ndarray of int, shape (h, w)
        0 stem, k blade k, -1 outside.
    odds : ndarray of float32, shape (h, w)
        Log-odds of leaf.
    half_width : float
        Of the stem, cells; what is smaller is no lobe.

    Returns
    -------
    ndarray of int, shape (h, w)
        Only turns stem into blade, where it goes on from one.
    """
    if not (parts > 0).any():
        return parts
    inside = (parts >= 0).astype(np.float32)
    total, weight = (
        cv2.GaussianBlur(layer, (0, 0), max(0.3 * half_width, 0.6))
        for layer in (np.clip(odds, -_CLEAR, _CLEAR) * inside, inside)
    )
    smooth = total / np.maximum(weight, np.float32(1e-3))
    leaf = (parts == 0) & (smooth > _STEM_WITHIN)
    size = 2 * max(round(0.5 * half_width), 1) + 1
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))
    whole = cv2.morphologyEx((leaf | (parts > 0)).astype(np.uint8), cv2.MORPH_OPEN, disc)
    _, pieces = cv2.connectedComponents(((whole > 0) & (leaf | (parts > 0))).astype(np.uint8))
    goes_on = np.isin(pieces, np.unique(pieces[parts > 0])) & (pieces > 0)
    nearest = distance_transform_edt(parts <= 0, return_distances=False, return_indices=True)
    return np.where(leaf & goes_on, parts[tuple(nearest)], parts)


def _tips(piece: Silhouette, lab: Floats) -> Floats:
    """Colours along the outer part of every free end but the cut."""
    cut = int(piece.runs[0].cells[0])
    tips = [
        branch[: max(int(_TIP_SHARE * len(branch)), 1)]
        for branch in end_branches(piece.skeleton)
        if int(branch[0]) != cut and len(branch) < len(piece.skeleton.points)
    ]
    return _at(lab, piece.skeleton, np.concatenate(tips)) if tips else lab[:0, 0]


def _at(lab: Floats, skeleton: Skeleton, cells: Ints) -> Floats:
    at = np.round(skeleton.points[cells]).astype(int)
    at = np.clip(at, 0, np.array(lab.shape[:2])[::-1] - 1)
    colours: Floats = lab[at[:, 1], at[:, 0]]
    return colours


def _sure(piece: Silhouette, run: Run, lab: Floats, half_width: float) -> tuple[Floats, Floats]:
    depth = cv2.distanceTransform(piece.mask.astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_3)
    leaf = lab[depth >= _SURELY_BLADE * half_width]
    leaf = leaf[:: max(len(leaf) // _MOST_CELLS, 1)]
    return leaf, _at(lab, piece.skeleton, run.cells[_END_CELLS:])
