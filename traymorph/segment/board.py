"""Which pixels of a board photo are plant: cut plants of any colour on a plain board."""

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.color import rgb2lab

from traymorph.errors import BoardError
from traymorph.segment import board_distractors, board_outline
from traymorph.segment.board_evidence import stands_out
from traymorph.segment.board_rim import faint_share, settle_rims
from traymorph.segment.board_surface import Departure, depart

Floats = NDArray[Any]  # float32; OpenCV's type hints say no more
Flags = NDArray[np.bool_]

METHOD = "board surface 2"

# Pixels in which plants are looked for, mm; their outlines are found in the picture's own.
_DETECT_MM = 0.25
# Width of a photo without a card, mm.
_USUAL_FIELD_MM = 350.0
# Round the card nothing is told: its edge is thick and casts a shadow.
_CARD_MARGIN_MM = 1.0
# Contrast with the board, in the noise, below which a pixel's class is unsure, and the share of
# the outlines that may be faint before another board is advised.
_ALIKE = 12.0
_FAINT_SHARE = 0.02
# Where outlines lie, pixels: their mean over a board scatters by so much about the true one, stems
# more than leaves (24 rendered boards), and noise moves an edge by its blur over the contrast.
_BEST_EDGE_PX, _EDGE_BLUR_PX = 0.15, 1.5
# Things of more than this chroma and area are vivid; one crop, its hulls and crumbs show two or
# three hues apart, a printed cloth many. In steps of 30 degrees, of two things or more each.
_VIVID_CHROMA = 25.0
_VIVID_MM2 = 1.5
_HUE_STEP_DEG = 30.0
_PATTERN_HUES = 5


@dataclass(frozen=True, slots=True, eq=False)
class BoardPlants:
    """The plants of a board photo.

    Parameters
    ----------
    plant : ndarray of float32, shape (h, w)
        Share of plant per pixel, 0..1.
    doubt : ndarray of float32, shape (h, w)
        Probability that the pixel's class (plant or not) is wrong, 0 to 0.5.
    board : ndarray of bool, shape (h, w)
        Where the board is, with what lies on it.
    edge_u_px : float
        Standard uncertainty of where outlines lie, the same all round, pixels.
    flags : tuple of str
        ``board_too_alike``, ``board_unclear``, ``no_plants_on_board``.
    method : str
        Which model this is, with its version.
    """

    plant: NDArray[np.float32]
    doubt: NDArray[np.float32]
    board: Flags
    edge_u_px: float
    flags: tuple[str, ...]
    method: str


def segment_board(
    rgb: NDArray[np.uint8], *, mm_per_px: float | None, ignore: Flags | None
) -> BoardPlants:
    """Tell cut plants from the board they lie on and from what else lies there.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (h, w, 3)
        The upright photo, sRGB-encoded, reduced by area averaging to 0.12-0.2 mm per pixel;
        corrected for the light where a card was seen.
    mm_per_px : float or None
        Size of a pixel of ``rgb`` at the card; None where no card was seen.
    ignore : ndarray of bool, shape (h, w), or None
        True where the card lies: never plant.

    Returns
    -------
    BoardPlants

    Raises
    ------
    BoardError
        Where no plain board is seen.
    """
    height, width = rgb.shape[:2]
    mm = mm_per_px if mm_per_px is not None else _USUAL_FIELD_MM / max(height, width)
    hidden = _hidden(rgb, ignore, mm)
    factor = max(_DETECT_MM / mm, 1.0)
    size = (max(round(width / factor), 1), max(round(height / factor), 1))
    reduced = np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), np.uint8)
    covered = cv2.resize(hidden.astype(np.float32), size, interpolation=cv2.INTER_AREA) > 0
    away = depart(reduced, mm * width / size[0], covered)
    found = stands_out(away, mm * width / size[0]) & ~covered & away.on_board
    contrast = away.contrast()
    told = board_distractors.sort(
        found, away.outside, away.seen[1:], away.seen[0], contrast, mm * width / size[0]
    )
    if mm_per_px is not None:
        _refuse_pattern(found, reduced, mm * width / size[0])
    share, rims = settle_rims(board_outline.refine(told.plants, reduced, rgb, mm), rgb)
    share[hidden] = 0.0
    return BoardPlants(
        plant=share,
        doubt=_doubt(share, contrast, told),
        board=cv2.resize(
            away.on_board.astype(np.uint8), (width, height), interpolation=cv2.INTER_NEAREST
        )
        > 0,
        edge_u_px=_edge_u_px(contrast, told.plants),
        flags=_flags(away, faint_share(rims, away.noise), told),
        method=METHOD,
    )


def _refuse_pattern(found: Flags, corrected: NDArray[np.uint8], mm: float) -> None:
    """Refuse a board on which vivid things of many hues lie or are printed."""
    count, labels = cv2.connectedComponents(found.astype(np.uint8), connectivity=8)
    places = labels[found]
    lab = rgb2lab(corrected[found].astype(np.float32) / np.float32(255.0))
    size = np.bincount(places, minlength=count)
    a, b = (
        np.bincount(places, lab[:, axis], minlength=count) / np.maximum(size, 1) for axis in (1, 2)
    )
    vivid = (size * mm**2 > _VIVID_MM2) & (np.hypot(a, b) > _VIVID_CHROMA)
    hue = np.degrees(np.arctan2(b[vivid], a[vivid])) % 360.0
    things = np.bincount((hue // _HUE_STEP_DEG).astype(int), minlength=1)
    if int((things > 1).sum()) >= _PATTERN_HUES:
        message = "The board is patterned: vivid things of many colours lie on it."
        raise BoardError(message, hint="Use a plain, smooth board of one colour without pattern.")


def _hidden(rgb: NDArray[np.uint8], ignore: Flags | None, mm: float) -> Flags:
    if ignore is None:
        return np.zeros(rgb.shape[:2], dtype=bool)
    reach = max(round(_CARD_MARGIN_MM / mm), 1)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
    return np.asarray(cv2.dilate(ignore.astype(np.uint8), kernel) > 0)


def _doubt(share: Floats, contrast: Floats, told: board_distractors.Sorted) -> Floats:
    """Mixed pixels, faint plants and what was left out are doubtful."""
    faint = 0.5 * np.exp(-contrast / np.float32(_ALIKE)) * told.plants
    faint = np.maximum(faint, np.float32(0.25) * told.others)
    size = (share.shape[1], share.shape[0])
    wrong = cv2.resize(faint.astype(np.float32), size, interpolation=cv2.INTER_LINEAR)
    doubt = 1 - share
    np.minimum(doubt, share, out=doubt)
    np.maximum(doubt, wrong, out=doubt)
    return np.clip(doubt, 0.0, 0.5, out=doubt)


def _edge_u_px(contrast: Floats, plants: Flags) -> float:
    if not plants.any():
        return float("nan")
    return float(
        np.hypot(_BEST_EDGE_PX, _EDGE_BLUR_PX / max(float(np.median(contrast[plants])), 1.0))
    )


def _flags(away: Departure, faint: float, told: board_distractors.Sorted) -> tuple[str, ...]:
    flags = []
    if not told.plants.any():
        flags.append("no_plants_on_board")
    elif faint > _FAINT_SHARE:
        flags.append("board_too_alike")
    if told.unclear or away.skin:
        flags.append("board_unclear")
    return tuple(flags)
