"""One picture per photo that shows at a glance what was measured in it."""

import itertools
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from traymorph.model.masks import PlantMasks
from traymorph.model.metrics import METRICS, PREFIXES
from traymorph.model.photo import View
from traymorph.model.results import Measured
from traymorph.model.tray import TrayOpening, TrayOverhead, TraySide
from traymorph.model.viewpoint import Viewpoint
from traymorph.report.canvas import BLUE, INK, ORANGE, Canvas, Legend
from traymorph.report.lettering import text_length
from traymorph.report.swatch import leaf_swatch

_MARGIN = 0.04
_BAR_MM = 50.0
_TICK_MM, _LABEL_MM, _LABEL_SIZE = 10.0, 50.0, 9
_RULER_MM, _LONG_MM = 8.0, 6.0  # from the tray to the ruler, and its longer marks
_WORDS_SHARE = 0.04  # width of the ruler's words over the tray's length; the margin gives the rest
_OVERHEAD_TITLES = {
    "canopy_cover_pct": "canopy cover",
    "projected_leaf_area_cm2": "leaf area from above",
    "overhang_area_cm2": "overhang",
    "evenness_cv_pct": "unevenness of the stand",
    "largest_gap_cm2": "largest gap",
    "yellowed_pct": "yellowed leaf",
    "blade_width_mm": "blade width",
    "greenness_index": "greenness index",
    "leaf_l": "lightness L*",
    "leaf_hue_deg": "hue",
    "leaf_colour_spread_de00": "colour spread, CIEDE2000",
    "edge_to_middle_de00": "edge to middle, CIEDE2000",
}
_SIDE_TITLES = {
    "canopy_height_mm": "canopy height",
    "canopy_height_p95_mm": "tallest part",
    "canopy_height_cv_pct": "unevenness of height",
    "bare_stem_mm": "bare stem above rim",
    "leaf_layer_mm": "leaf layer",
    "stem_to_leaf_ratio": "stem : leaf in this view",
}
_PACK_TITLES = {
    "pack_greenness_index": "greenness index",
    "pack_yellowed_pct": "yellowed leaf",
    "pack_leaf_hue_deg": "hue",
}
_HEIGHT_LINE = (
    "highest plant along the tray as seen (the value allows for plants farther back); dashed ends "
    "do not count"
)
UNIT_SIGNS = {"cm2": "cm²", "mm2": "mm²", "deg": "°", "1": ""}
FADED = (216, 213, 206)


@dataclass(frozen=True, slots=True, eq=False)
class HeightLine:
    """The highest plant point of each column along a tray.

    Parameters
    ----------
    points_px : ndarray, shape (n, 2)
        Photo pixels, from one end of the tray to the other.
    counts : ndarray of bool, shape (n,)
        Whether the column is among the heights; those at the ends are not.
    """

    points_px: NDArray[np.float64]
    counts: NDArray[np.bool_]


def overhead_overlay(
    tray: TrayOverhead,
    card_px: NDArray[np.float64],
    plane_mm: float,
    title: str,
    metrics: dict[str, Measured],
) -> Image.Image:
    """Draw an overhead photo: own plants in full colour, opening, gaps, stems, card, mm bar.

    Parameters
    ----------
    tray : TrayOverhead
        What was measured.
    card_px : ndarray, shape (4, 2)
        The card's corners, photo pixels.
    plane_mm : float
        Height of the plane of areas above the card, mm; the bar is true there.
    title : str
        Tray and photo.
    metrics : dict of str to Measured
        Values to print.
    """
    shown = [card_px]
    opening_px = None
    if tray.opening is not None:
        opening_px = _outline_px(tray.opening, tray.viewpoint)
        shown.append(opening_px)
    masks = tray.masks
    canvas = Canvas(tray.rgb, masks.scale, crop(masks.rather_plant, masks.scale, shown))
    stem = canvas.layer(masks.stem)
    plant = canvas.layer(masks.leaf) + stem
    canvas.fade_all_but(plant)
    if opening_px is not None:
        canvas.hatch(_inside(canvas, opening_px) & (plant < 0.5), BLUE)
        canvas.path(opening_px, BLUE, 2.0, closed=True)
    canvas.tint((stem >= 0.5).astype(np.float32), ORANGE, 0.75)
    canvas.path(card_px, INK, 1.2, closed=True, dashed=True)
    canvas.write("card", canvas.to_canvas(card_px).min(axis=0), anchor="ld")
    middle = (card_px if opening_px is None else opening_px).mean(axis=0)
    canvas.scale_bar(_canvas_px_per_mm(canvas, tray, middle, plane_mm), _BAR_MM, card_px)
    legend = [
        Legend(FADED, "not counted: faded"),
        Legend(ORANGE, "stem"),
        Legend(BLUE, "tray opening; hatched: no plant", line=True),
        Legend(INK, "reference card (dashed)", line=True),
    ]
    return canvas.finish(title, _values(metrics, _OVERHEAD_TITLES), legend, leaf_swatch(metrics))


def side_overlay(
    tray: TraySide,
    rgb: NDArray[np.uint8],
    card_px: NDArray[np.float64],
    line: HeightLine,
    title: str,
    metrics: dict[str, Measured],
) -> Image.Image:
    """Draw a side photo: leaf in full colour, stems tinted, rim, medium, height profile, ruler.

    Parameters
    ----------
    tray : TraySide
        What was measured.
    rgb : ndarray of uint8, shape (h, w, 3)
        The reduced, colour-corrected photo.
    card_px : ndarray, shape (4, 2)
        The card's corners, photo pixels.
    line : HeightLine
        The highest plants along the tray.
    title : str
        Tray and photo.
    metrics : dict of str to Measured
        Values to print.
    """
    wall = tray.wall
    rim_px = _wall_line(tray, 0.0)
    shown = [card_px, rim_px]
    medium_px = None
    if tray.size.rim_above_medium_mm is not None:
        medium_px = _wall_line(tray, tray.size.rim_above_medium_mm)
        shown += [medium_px, _ruler_room(tray)]
    masks = tray.masks
    canvas = Canvas(rgb, masks.scale, crop(masks.rather_plant, masks.scale, shown))
    stem = canvas.layer(masks.stem)
    canvas.fade_all_but(canvas.layer(masks.leaf) + stem)
    canvas.tint((stem >= 0.5).astype(np.float32), ORANGE, 0.6)
    canvas.path(rim_px, BLUE, 2.0)
    if medium_px is not None:
        canvas.path(medium_px, BLUE, 1.5, dashed=True)
    _draw_heights(canvas, line)
    canvas.path(card_px, INK, 1.2, closed=True, dashed=True)
    canvas.write("card", canvas.to_canvas(card_px).min(axis=0), anchor="ld")
    per_mm = float(np.linalg.norm(canvas.to_canvas(rim_px)[-1] - canvas.to_canvas(rim_px)[0])) / (
        wall.right_x_mm - wall.left_x_mm
    )
    canvas.scale_bar(per_mm, _BAR_MM, card_px)
    _ruler(canvas, tray, float(metrics["canopy_height_p95_mm"].value))
    rim = "rim of the front wall"
    legend = [
        Legend(FADED, "not counted: faded"),
        Legend(ORANGE, "stem"),
        Legend(BLUE, rim if medium_px is None else f"{rim}; dashed: medium behind it", line=True),
        Legend(INK, _HEIGHT_LINE, line=True),
    ]
    return canvas.finish(title, _values(metrics, _SIDE_TITLES), legend)


def pack_overlay(
    rgb: NDArray[np.uint8],
    masks: PlantMasks,
    card_px: NDArray[np.float64],
    title: str,
    metrics: dict[str, Measured],
) -> Image.Image:
    """Draw an opened pack: its leaves in full colour, stems tinted, the card.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (h, w, 3)
        The reduced, colour-corrected photo.
    masks : PlantMasks
        What the pack holds.
    card_px : ndarray, shape (4, 2)
        The card's corners, photo pixels.
    title : str
        Pack and photo.
    metrics : dict of str to Measured
        Values to print.
    """
    canvas = Canvas(rgb, masks.scale, crop(masks.rather_plant, masks.scale, [card_px]))
    canvas.fade_all_but(canvas.layer(masks.plant))
    canvas.tint((canvas.layer(masks.stem) >= 0.5).astype(np.float32), ORANGE, 0.75)
    canvas.path(card_px, INK, 1.2, closed=True, dashed=True)
    canvas.write("card", canvas.to_canvas(card_px).min(axis=0), anchor="ld")
    legend = [
        Legend(FADED, "not counted: faded"),
        Legend(ORANGE, "stem"),
        Legend(INK, "reference card (dashed)", line=True),
    ]
    swatch = leaf_swatch(metrics, PREFIXES[View.PACK])
    return canvas.finish(title, _values(metrics, _PACK_TITLES), legend, swatch)


def plain_overlay(
    rgb: NDArray[np.uint8],
    scale: float,
    plant: NDArray[np.float32],
    card_px: NDArray[np.float64],
    title: str,
) -> Image.Image:
    """Draw a photo whose tray was not found: what was taken for plant, and the card."""
    height, width = rgb.shape[:2]
    canvas = Canvas(rgb, scale, (0.0, 0.0, width * scale, height * scale))
    canvas.fade_all_but(canvas.layer(plant))
    canvas.path(card_px, INK, 1.2, closed=True, dashed=True)
    canvas.write("card", canvas.to_canvas(card_px).min(axis=0), anchor="ld")
    return canvas.finish(title, [], [Legend(FADED, "not taken for plant: faded")])


def _values(metrics: dict[str, Measured], titles: dict[str, str]) -> list[str]:
    lines = []
    for name, words in titles.items():
        measured = metrics.get(name, Measured())
        unit = UNIT_SIGNS.get(METRICS[name].unit, METRICS[name].unit)
        read = f"{measured.with_doubt()} {unit}" if np.isfinite(measured.value) else "not measured"
        lines.append(f"{words}  {read}".rstrip())
    return lines


def _outline_px(opening: TrayOpening, viewpoint: Viewpoint) -> NDArray[np.float64]:
    corners = np.vstack([opening.corners_mm, opening.corners_mm[:1]])
    # Lens distortion bends the edges: each is drawn through several points.
    share = np.linspace(0, 1, 20, endpoint=False)[:, None]
    edges = [a + share * (b - a) for a, b in itertools.pairwise(corners)]
    flat = np.vstack(edges)
    return viewpoint.project(np.column_stack([flat, np.full(len(flat), opening.rim_height_mm)]))


def _wall_line(tray: TraySide, below_rim_mm: float) -> NDArray[np.float64]:
    wall = tray.wall
    x = np.linspace(wall.left_x_mm, wall.right_x_mm, 30)
    y = wall.rim_y_mm + wall.rim_slope * (x - wall.left_x_mm) + below_rim_mm
    return tray.viewpoint.project(np.column_stack([x, y, np.zeros_like(x)]))


def _draw_heights(canvas: Canvas, line: HeightLine) -> None:
    """Draw the highest plants along the tray, thin and dashed where they do not count."""
    counted = np.flatnonzero(line.counts)
    if len(counted) < 2:
        return
    first, last = counted[0], counted[-1]
    for end in (line.points_px[: first + 1], line.points_px[last:]):
        if len(end) > 1:
            canvas.path(end, INK, 1.0, dashed=True)
    canvas.path(line.points_px[first : last + 1], INK, 1.5)


def _ruler_room(tray: TraySide) -> NDArray[np.float64]:
    """Leftmost point of the ruler's words, photo pixels, shape (1, 2)."""
    wall = tray.wall
    words_mm = _WORDS_SHARE * (wall.right_x_mm - wall.left_x_mm)
    left = wall.left_x_mm - _RULER_MM - _LONG_MM - words_mm
    return tray.viewpoint.project(np.array([[left, wall.rim_y_mm, 0.0]]))


def _ruler(canvas: Canvas, tray: TraySide, top_mm: float) -> None:
    """Heights above the medium, in the plane of the front wall, at its left end."""
    wall, above = tray.wall, tray.size.rim_above_medium_mm
    if above is None or not np.isfinite(top_mm):
        return
    foot = wall.rim_y_mm + above
    last = max(_LABEL_MM, _TICK_MM * np.ceil(top_mm / _TICK_MM))
    x = wall.left_x_mm - _RULER_MM
    marks = np.arange(0.0, last + 1.0, _TICK_MM)
    spine = np.array([[x, foot, 0.0], [x, foot - last, 0.0]])
    canvas.path(tray.viewpoint.project(spine), INK, 1.2)
    labelled = []
    for mark in marks:
        long = mark % _LABEL_MM == 0
        tick = np.array(
            [[x, foot - mark, 0.0], [x - (_LONG_MM if long else 3.0), foot - mark, 0.0]]
        )
        ends = tray.viewpoint.project(tick)
        canvas.path(ends, INK, 1.0)
        if long:
            labelled.append((f"{mark:g}" if mark else "0 mm", canvas.to_canvas(ends)[1]))
    for words, tip in labelled:  # after all ticks, so that none runs over words
        least = text_length(words, _LABEL_SIZE * canvas.unit) + 4 * canvas.unit
        at = np.array([max(tip[0] - 4 * canvas.unit, least), tip[1]])
        canvas.write(words, at, size=_LABEL_SIZE, anchor="rm")


def crop(
    plant: NDArray[np.bool_], scale: float, shown_px: list[NDArray[np.float64]]
) -> tuple[float, float, float, float]:
    """Bounding box of the tray's plants and of what is drawn, with a margin; photo pixels."""
    left, top, width, height = cv2.boundingRect(plant.astype(np.uint8))
    points = [points for points in shown_px if len(points)]
    if width:
        corners = np.array([[left, top], [left + width - 1, top + height - 1]], dtype=float)
        points.append(corners * scale)
    everything = np.vstack(points)
    low, high = everything.min(axis=0), everything.max(axis=0)
    margin = _MARGIN * float((high - low).max())
    return (
        float(low[0] - margin),
        float(low[1] - margin),
        float(high[0] + margin),
        float(high[1] + margin),
    )


def _inside(canvas: Canvas, outline_px: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Canvas pixels within a closed outline."""
    filled = np.zeros(canvas.rgb.shape[:2], dtype=np.uint8)
    cv2.fillPoly(filled, [np.round(canvas.to_canvas(outline_px)).astype(np.int32)], 1)
    return filled.astype(bool)


def _canvas_px_per_mm(
    canvas: Canvas, tray: TrayOverhead, at_px: NDArray[np.float64], plane_mm: float
) -> float:
    """Canvas pixels that one millimetre covers at a photo pixel, in the plane of the leaves."""
    there = tray.viewpoint.on_plane(at_px[None], plane_mm)[0]
    ends = np.array([[*there, plane_mm], [there[0] + 10.0, there[1], plane_mm]])
    drawn = canvas.to_canvas(tray.viewpoint.project(ends))
    return float(np.linalg.norm(drawn[1] - drawn[0])) / 10.0
