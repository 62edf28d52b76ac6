"""Photographs of a drawn board: cut plants and the card in one plane, seen by a tilted phone."""

import cv2
import numpy as np
from PIL import Image

from tests.segment.board_pictures import BOARDS, CROPS, FINE, MM_PER_PX, Picture
from traymorph.card.draw import card_picture
from traymorph.card.layout import card_layout
from traymorph.model.card import CardRole

CARD_MM = (120.0, 90.0)
FOCAL_35MM = 26.0
FRAME_DIAGONAL_MM = 43.2666  # 36 x 24 mm: by Pythagoras
_MM_PER_INCH = 25.4


class Board:
    """A board with the card at its middle and plants wherever they are laid, mm from its corner.

    Plants lie in the board's plane, without height: what is read from the photo is smaller than
    drawn by the lift that the program takes off.
    """

    def __init__(self, board="blue", crop="green", seed=0):
        self.picture = Picture(
            width_mm=250.0, height_mm=180.0, board=BOARDS[board], seed=seed, fall=0.0
        )
        self.board, self.crop = BOARDS[board], crop
        self.card_at = np.array([65.0, 50.0])

    def plant(self, x, y, length=30.0):
        """A straight stem of 1.2 mm from the cut at (x, y) upwards, two stalks, two blades."""
        leaf, cut, node = CROPS[self.crop]
        at = np.array([x, y - length])
        for sign in (-1.0, 1.0):
            tip = at + np.array([sign * 4.5, -4.0])
            self.picture.thread([at, tip], 0.8, [node, node])
            self.picture.leaf(tip[0] + sign * 3.5, tip[1] - 3.0, 11.0, 8.0, -sign * 40.0, leaf)
        self.picture.thread([(x, y), at], 1.2, [cut, node])
        return self

    def cloth(self, period_mm=7.0):
        """Make the board a checked cloth."""
        rows, columns = (
            (np.arange(n) / self.picture.per_mm // period_mm).astype(int) % 2
            for n in self.picture.plant.shape
        )
        self.picture.colour[rows[:, None] != columns[None, :]] *= np.float32(4.0)
        return self

    def row(self, xs, y, lengths):
        for x, length in zip(xs, lengths, strict=True):
            self.plant(x, y, length)
        return self

    @property
    def leaf_mm2(self):
        """Area of all blades together."""
        leaf = (self.picture.plant > 0) & (self.picture.stem == 0)
        return float(leaf.sum()) * (MM_PER_PX / FINE) ** 2

    def photograph(self, path, *, height=260.0, tilt_deg=6.0, size=(2400, 1800), with_card=True):
        """Write a JPEG as a phone would, its lens in the EXIF data."""
        rgb, _, _ = self.picture.shoot(quality=0, blur_px=0, noise=0.8, sharpen=0)
        if with_card:
            layout = card_layout(CardRole.BOARD)
            printed = card_picture(layout, _MM_PER_INCH / MM_PER_PX)
            left, top = np.round(self.card_at / MM_PER_PX).astype(int)
            rgb[top : top + printed.shape[0], left : left + printed.shape[1]] = printed
        to_photo = self._homography(height, tilt_deg, size)
        seen = cv2.warpPerspective(
            rgb, to_photo, size, flags=cv2.INTER_LINEAR, borderValue=tuple(map(float, self.board))
        )
        light = 1.0 - 0.15 * np.linspace(0, 1, size[0])[None, :, None]
        seen = np.clip(cv2.GaussianBlur(seen, (0, 0), 0.6) * light, 0, 255).astype(np.uint8)
        exif = Image.Exif()
        exif.get_ifd(0x8769)[0xA405] = round(FOCAL_35MM)  # EXIF 2.32: FocalLengthIn35mmFilm
        path.parent.mkdir(parents=True, exist_ok=True)
        Image.fromarray(seen).save(path, quality=92, exif=exif.tobytes())
        return path

    def _homography(self, height, tilt_deg, size):
        """Pixels of the drawn board to pixels of the photo; the phone aims at the card."""
        focal = FOCAL_35MM / FRAME_DIAGONAL_MM * float(np.hypot(*size))
        tilt = np.radians(tilt_deg)
        turn = np.array(
            [[1, 0, 0], [0, np.cos(tilt), -np.sin(tilt)], [0, np.sin(tilt), np.cos(tilt)]]
        )
        middle = self.card_at + np.array(CARD_MM) / 2
        away = np.array([0.0, 0.0, height / np.cos(tilt)])
        lens = np.array([[focal, 0, (size[0] - 1) / 2], [0, focal, (size[1] - 1) / 2], [0, 0, 1.0]])
        plane = lens @ np.column_stack([turn[:, 0], turn[:, 1], away])
        from_board = np.array([[1, 0, -middle[0]], [0, 1, -middle[1]], [0, 0, 1.0]])
        to_mm = np.array(
            [[MM_PER_PX, 0, MM_PER_PX / 2], [0, MM_PER_PX, MM_PER_PX / 2], [0, 0, 1.0]]
        )
        return plane @ from_board @ to_mm
