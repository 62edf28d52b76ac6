"""Plates have one scale that is true, hide nothing and carry nothing of the phone."""

import io
from dataclasses import replace

import cv2
import numpy as np
import pytest
from PIL import Image

from traymorph.model.viewpoint import Viewpoint
from traymorph.report.plates import (
    GROUND,
    LARGEST_BYTES,
    TALLEST_PX,
    WIDEST_PX,
    Cutting,
    Flattened,
    common_frame,
    jpeg_of,
    with_bar,
)

SIZE = (1600, 1200)
FOCAL = 1300.0


def camera(tilt_deg=0.0, *, eye=(40.0, 20.0, 520.0), turn_deg=0.0):
    """A phone over the point (eye_x, eye_y), tilted about its own horizontal axis."""
    tilt, turn = np.radians([tilt_deg, turn_deg])
    about_x = np.array(
        [[1, 0, 0], [0, np.cos(tilt), -np.sin(tilt)], [0, np.sin(tilt), np.cos(tilt)]]
    )
    about_z = np.array(
        [[np.cos(turn), -np.sin(turn), 0], [np.sin(turn), np.cos(turn), 0], [0, 0, 1]]
    )
    rotation = about_x @ about_z
    at = np.array([eye[0], eye[1], -eye[2]])
    matrix = np.array([[FOCAL, 0, 799.5], [0, FOCAL, 599.5], [0, 0, 1]])
    return Viewpoint(
        matrix, np.zeros(2), rotation, -rotation @ at, SIZE, 0.01, 0.5, focal_from_exif=True
    )


def photo_of_dots(viewpoint, dots_mm, height_mm, radius_mm=3.0):
    """Black dots on white in a plane; projected here by hand, not by the program."""
    rgb = np.full((SIZE[1], SIZE[0], 3), 255, np.uint8)
    turn = np.linspace(0, 2 * np.pi, 60)
    rim = radius_mm * np.column_stack([np.cos(turn), np.sin(turn)])
    for dot in dots_mm:
        at = np.column_stack([rim + dot, np.full(len(rim), -height_mm)])
        seen = at @ viewpoint.rotation.T + viewpoint.translation
        px = seen[:, :2] / seen[:, 2:] * FOCAL + [799.5, 599.5]
        cv2.fillPoly(rgb, [np.round(px * 16).astype(np.int32)], (0, 0, 0), cv2.LINE_AA, 4)
    return rgb


def centres(picture):
    """Centroids of the dark dots, ordered by row, then column; (x, y) with whole pixel centres."""
    dark = (255.0 - cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY).astype(float)) / 255.0
    count, labels = cv2.connectedComponents((dark > 0.3).astype(np.uint8))
    rows, columns = np.indices(dark.shape)
    found = []
    for label in range(1, count):
        here = labels == label
        share = dark[here] / dark[here].sum()
        found.append((columns[here] @ share, rows[here] @ share))
    return np.array(sorted(found, key=lambda one: (round(one[1] / 20), one[0])))


def cutting(viewpoint, box=(-110.0, -70.0, 110.0, 70.0), *, height_mm=40.0, turn_deg=0.0):
    turn = np.radians(turn_deg)
    along = np.array([np.cos(turn), np.sin(turn)])
    return Cutting(viewpoint, np.array([40.0, 20.0]), along, height_mm, box)


@pytest.mark.parametrize(("tilt", "turn"), [(0.0, 0.0), (10.0, 0.0), (-9.0, 30.0), (9.0, 90.0)])
def test_a_known_length_in_the_plane_is_as_long_as_the_scale_says(tilt, turn):
    viewpoint = camera(tilt, turn_deg=turn)
    turned = np.radians(turn)
    axes = np.array([[np.cos(turned), np.sin(turned)], [-np.sin(turned), np.cos(turned)]])
    corners = np.array([[-90.0, -50.0], [90.0, -50.0], [-90.0, 50.0], [90.0, 50.0]])
    rgb = photo_of_dots(viewpoint, [40.0, 20.0] + corners @ axes, 40.0)
    one = cutting(viewpoint, turn_deg=turn)
    frame = common_frame([one])
    flat = Flattened(rgb, one, frame)
    found = centres(flat.picture(flat.rgb))
    # 180 mm across and 100 mm down, within 1 %; and where they stand, to half a pixel
    across = np.linalg.norm(found[1] - found[0]) / frame.px_per_mm
    down = np.linalg.norm(found[2] - found[0]) / frame.px_per_mm
    assert across == pytest.approx(180.0, rel=0.003)
    assert down == pytest.approx(100.0, rel=0.003)
    wanted = (corners - [frame.left_mm, frame.top_mm]) * frame.px_per_mm - 0.5
    assert found == pytest.approx(wanted, abs=0.5)


def test_at_another_height_the_same_length_is_not():
    viewpoint = camera()
    rgb = photo_of_dots(viewpoint, [[-50.0, 20.0], [130.0, 20.0]], 40.0)
    one = cutting(viewpoint, height_mm=0.0)
    frame = common_frame([one])
    flat = Flattened(rgb, one, frame)
    a, b = centres(flat.picture(flat.rgb))
    # similar triangles: from 520 mm up, what lies 40 mm high looks 520 / 480 times larger
    assert np.linalg.norm(b - a) / frame.px_per_mm == pytest.approx(180 * 520 / 480, rel=0.005)


def test_all_plates_of_a_view_share_the_largest_frame_and_the_coarsest_scale():
    near, far = camera(), camera(eye=(40.0, 20.0, 1500.0))
    small = cutting(near, (-20.0, -10.0, 20.0, 10.0))
    frame = common_frame([small])
    # 40 mm over 860 pixels would be finer than the photo: 1300 / 480 pixels to the millimetre
    assert frame.px_per_mm == pytest.approx(1300 / 480, rel=1e-6)
    frame = common_frame([small, cutting(far, (-10.0, -90.0, 60.0, 30.0))])
    assert (frame.left_mm, frame.top_mm) == (-20.0, -90.0)
    assert frame.px_per_mm == pytest.approx(1300 / 1460, rel=1e-6)
    assert frame.width_px == round(80 * frame.px_per_mm)
    assert frame.height_px == round(120 * frame.px_per_mm)


def test_no_plate_is_larger_than_a_page_wants():
    wide = common_frame([cutting(camera(eye=(40, 20, 140)), (-300.0, -50.0, 300.0, 50.0))])
    tall = common_frame([cutting(camera(eye=(40, 20, 140)), (-50.0, -300.0, 50.0, 300.0))])
    assert (wide.width_px, tall.height_px) == (WIDEST_PX, TALLEST_PX)


def test_beyond_the_photo_and_beyond_the_part_is_neutral_ground():
    viewpoint = camera()
    rgb = np.full((SIZE[1], SIZE[0], 3), (40, 120, 30), np.uint8)
    one = cutting(viewpoint, (-400.0, -60.0, 400.0, 60.0))
    frame = common_frame([one])
    flat = Flattened(rgb, one, frame)
    picture = flat.picture(flat.rgb)
    # the photo is 1600 * 480 / 1300 = 591 mm wide at this height
    edge = (400 - 591 / 2) * frame.px_per_mm
    assert np.all(picture[:, : int(edge) - 2] == GROUND)
    assert np.all(picture[:, int(edge) + 2 : -int(edge) - 2] == (40, 120, 30))
    left = replace(one, columns_px=(-np.inf, 800.0))
    picture = Flattened(rgb, left, frame).picture(flat.rgb)
    shown = np.all(picture == (40, 120, 30), axis=(0, 2))
    assert np.flatnonzero(shown).max() == pytest.approx(frame.width_px / 2, abs=2)


def test_shrinking_averages_and_does_not_pick():
    rgb = np.zeros((SIZE[1], SIZE[0], 3), np.uint8)
    rgb[::2] = 200  # lines one pixel wide, far finer than the plate
    viewpoint = camera()
    one = cutting(viewpoint, (-260.0, -190.0, 260.0, 190.0))
    frame = common_frame([one])
    flat = Flattened(rgb, one, frame)
    picture = flat.picture(flat.rgb)
    assert frame.px_per_mm < 0.65 * one.photo_px_per_mm
    assert np.all(np.abs(picture.astype(int) - 100) < 45)
    assert picture.mean() == pytest.approx(100.0, abs=2.0)


@pytest.mark.parametrize(
    ("px_per_mm", "length_mm"), [(1.48, 100.0), (2.7, 50.0), (8.0, 20.0), (16.0, 10.0)]
)
def test_the_bar_is_as_long_as_its_number_says(px_per_mm, length_mm):
    plain = np.full((400, 860, 3), 120, np.uint8)
    drawn = with_bar(plain, px_per_mm)
    white = np.all(drawn == 255, axis=2)
    runs = [np.flatnonzero(row) for row in white[360:]]
    # the bar is the longest unbroken run of white
    longest = max(
        (len(piece) for run in runs for piece in np.split(run, np.flatnonzero(np.diff(run) > 1) + 1)
         if len(run)),
    )  # fmt: skip
    assert longest == pytest.approx(length_mm * px_per_mm, abs=1)
    assert np.all(drawn[:350] == 120)


def test_the_bar_shows_on_white_and_on_black():
    for tone in (0, 255):
        plain = np.full((400, 860, 3), tone, np.uint8)
        drawn = with_bar(plain, 2.7).astype(int)
        assert np.abs(drawn - tone).max() > 200


def test_a_plate_carries_no_data_of_phone_or_place():
    data = jpeg_of(np.full((50, 80, 3), 90, np.uint8))
    image = Image.open(io.BytesIO(data))
    assert not image.getexif()
    assert set(image.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
    assert b"Exif" not in data
    assert b"http" not in data


def test_even_noise_stays_small_and_keeps_its_size():
    noise = np.random.default_rng(3).integers(0, 256, (640, 860, 3)).astype(np.uint8)
    busy = cv2.GaussianBlur(noise, (0, 0), 1.0)
    busy = cv2.normalize(busy, None, 0, 255, cv2.NORM_MINMAX)
    data = jpeg_of(busy)
    assert len(data) <= LARGEST_BYTES
    assert Image.open(io.BytesIO(data)).size == (860, 640)
    assert jpeg_of(busy) == data
