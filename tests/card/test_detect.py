"""Finding the card: against places that the tests' own camera knows exactly."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from tests.card.conftest import Lens, Look, Studio, decode, place_card
from traymorph.card.detect import sight_card
from traymorph.card.layout import DICTIONARY, card_layout
from traymorph.errors import (
    CardNotFoundError,
    CardPartlyHiddenError,
    CardTooTiltedError,
    ExitCode,
    TwoCardsError,
    WrongCardRoleError,
)
from traymorph.model.card import CardRole

SMALL = Lens(2000, 1500)


def corner_error(studio, role, place, sighting):
    """Root mean square distance of the posed marker corners from the truth, px."""
    view = sighting.viewpoint
    misses = []
    for marker_id, corners in card_layout(role).markers.items():
        posed = view.project(np.column_stack([corners, np.zeros(4)]))
        misses.append(posed - studio.corners(role, place)[marker_id])
    return float(np.sqrt(np.mean(np.sum(np.concatenate(misses) ** 2, axis=1))))


@pytest.mark.parametrize(
    ("turn", "tilt", "axis"),
    [
        (0, 0, 0),
        (45, 12, 20),
        (90, 30, 80),
        (135, 45, 130),
        (180, 45, 0),
        (233, 20, 45),
        (300, 8, 0),
    ],
)
def test_corners_lie_within_a_tenth_of_a_pixel_at_12_megapixels(turn, tilt, axis):
    studio = Studio(seed=turn)
    place = place_card(600, tilt, turn, axis, at=(0.2, -0.12))
    sighting = sight_card(studio.photograph((CardRole.SIDE, place)))
    assert sighting.role is CardRole.SIDE
    assert sighting.version == 1
    assert sighting.markers_seen == sighting.markers_printed == 8
    assert sighting.residual_px < 0.1
    assert corner_error(studio, CardRole.SIDE, place, sighting) < 0.1
    view = sighting.viewpoint
    assert view.tilt_deg == pytest.approx(tilt, abs=max(0.2, 3 * view.tilt_u_deg))
    assert view.position_mm[2] == pytest.approx(place.distance_mm, rel=0.01)
    outline = studio.lens.project(place.to_camera(card_layout(CardRole.SIDE).outline))
    assert np.abs(sighting.outline_px - outline).max() < 0.3


@pytest.mark.parametrize("tilt", [0, 45])
@pytest.mark.parametrize("lens", [Lens(4000, 3000), Lens(3000, 4000)])
def test_a_card_of_a_twelfth_of_the_photos_width(lens, tilt):
    studio = Studio(lens, Look(blur_px=1.0, noise=0.01, jpeg=80))
    place = place_card(12 * lens.focal_px * 120 / lens.width, tilt, 25, 70, at=(0.1, 0.2))
    sighting = sight_card(studio.photograph((CardRole.OVERHEAD, place)), CardRole.OVERHEAD)
    assert sighting.markers_seen >= 7
    assert corner_error(studio, CardRole.OVERHEAD, place, sighting) < 0.2


@pytest.mark.parametrize(
    "look",
    [
        Look(tone=0.0, sharpen=0.0),
        Look(tone=0.8, sharpen=1.5),
        Look(blur_px=2.0, sharpen=0.0),
        Look(light=(1.3, 1.3, 1.3)),
        Look(light=(0.1, 0.1, 0.1), noise=0.02),
        Look(light=(1.1, 0.09, 1.2)),
        Look(shadow=0.4),
    ],
    ids=["plain", "contrasty", "blurred", "overexposed", "dark", "grow-light", "half-shaded"],
)
def test_neither_the_phones_curve_nor_the_light_moves_the_corners(look):
    studio = Studio(SMALL, look)
    place = place_card(400, 15, 30, 60)
    sighting = sight_card(studio.photograph((CardRole.BOARD, place)))
    assert corner_error(studio, CardRole.BOARD, place, sighting) < 0.15


def test_dark_markers_do_not_shrink():
    """Tone curve and sharpening eat into dark markers; a mean shift inwards would show it."""
    studio = Studio(SMALL, Look(tone=0.8, sharpen=1.5, blur_px=1.0, noise=0.001, jpeg=95))
    place = place_card(400)
    photo = studio.photograph((CardRole.BOARD, place))
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(DICTIONARY))
    plain = detector.detectMarkers(cv2.cvtColor(photo.rgb, cv2.COLOR_RGB2GRAY))[0]
    side_mm = np.mean([np.ptp(quad.reshape(4, 2), axis=0) for quad in plain])
    view = sight_card(photo).viewpoint
    square = np.array([[0.0, 0.0, 0.0], [15.0, 0.0, 0.0]])
    posed = np.ptp(view.project(square)[:, 0])
    expected = 15.0 * studio.lens.focal_px / 400
    assert posed == pytest.approx(expected, abs=0.03)
    assert abs(side_mm - expected) > 5 * abs(posed - expected)  # what plain corners would give


@pytest.mark.slow
def test_stated_doubts_hold():
    """Random phones, places and looks: the true distance and plane lie within what is stated."""
    rng = np.random.default_rng(5)
    within, twice, leaning = [], [], []
    for draw in range(40):
        # True focal lengths that EXIF rounds to 26 mm, and up to 1.5 % of focus breathing.
        focal = rng.uniform(25.5, 26.49) * rng.uniform(1.0, 1.015)
        lens = Lens(2000, 1500, min(focal, 26.49), k1=rng.normal(0, 0.015))
        look = Look(
            light=tuple(rng.uniform(0.5, 1.0, 3)),
            blur_px=rng.uniform(0.5, 1.2),
            noise=rng.uniform(0.002, 0.015),
            tone=rng.uniform(0, 0.7),
            sharpen=rng.uniform(0, 1),
            jpeg=int(rng.integers(75, 96)),
        )
        place = place_card(
            rng.uniform(300, 650),
            rng.uniform(0, 40),
            *rng.uniform(0, 360, 2),
            at=tuple(rng.uniform(-1, 1, 2) * (0.35, 0.22)),
        )
        photo = Studio(lens, look, draw).photograph((CardRole.OVERHEAD, place))
        view = sight_card(photo).viewpoint
        off = abs(view.position_mm[2] / place.distance_mm - 1) / view.distance_u_rel
        lean = np.degrees(np.arccos(min(1.0, view.rotation[:, 2] @ place.rotation[:, 2])))
        within.append(off < 1)
        twice.append(off < 2)
        leaning.append(lean < 2 * view.tilt_u_deg)
    # A normal error lies within one standard uncertainty in 68 %, within two in 95 % of cases.
    assert np.mean(within) >= 0.68
    assert np.mean(twice) >= 0.95
    assert np.mean(leaning) >= 0.95


def test_without_exif_a_common_lens_is_assumed_and_the_doubt_grows():
    studio = Studio(replace(SMALL, focal_35mm=24.0))
    place = place_card(450, 5)
    photo = studio.photograph((CardRole.OVERHEAD, place), exif=False)
    known = studio.photograph((CardRole.OVERHEAD, place))
    view, sure = sight_card(photo).viewpoint, sight_card(known).viewpoint
    assert not view.focal_from_exif
    assert sure.focal_from_exif
    assert view.distance_u_rel > 4 * sure.distance_u_rel
    assert abs(view.position_mm[2] / place.distance_mm - 1) < 2 * view.distance_u_rel
    # Lengths on the card's own plane do not need the lens.
    corners = studio.corners(CardRole.OVERHEAD, place)
    first, last = corners[0][0], corners[4][2]
    span = np.linalg.norm(np.diff(view.on_plane(np.array([first, last]), 0.0), axis=0))
    assert span == pytest.approx(np.hypot(112.0, 82.0), rel=0.002)


def test_a_bar_printed_short_makes_everything_smaller():
    photo = Studio(SMALL).photograph((CardRole.BOARD, place_card(400, 10)))
    plain, short = sight_card(photo), sight_card(photo, printed_bar_mm=98.6)
    assert short.viewpoint.position_mm == pytest.approx(
        plain.viewpoint.position_mm * 0.986, rel=1e-4
    )
    square = np.array([[900.0, 700.0], [1000.0, 700.0]])
    lengths = [
        np.linalg.norm(np.diff(sighting.viewpoint.on_plane(square, 0.0), axis=0))
        for sighting in (plain, short)
    ]
    assert lengths[1] / lengths[0] == pytest.approx(0.986, rel=1e-4)
    assert short.outline_px == pytest.approx(plain.outline_px, abs=0.02)
    assert short.colour.error_de00 == pytest.approx(plain.colour.error_de00, abs=0.1)


# Outside check: cut shapes of known area, by elementary geometry 10 x 10, pi 10^2, 30 x 30 mm.
CIRCLE = np.linspace(0, 2 * np.pi, 720, endpoint=False)
SHAPES = {
    100.0: np.array([[128.0, 5], [138, 5], [138, 15], [128, 15]]),
    314.16: 10 * np.column_stack([np.cos(CIRCLE), np.sin(CIRCLE)]) + (140.0, 32.0),
    900.0: np.array([[128.0, 50], [158, 50], [158, 80], [128, 80]]),
}


@pytest.mark.slow
@pytest.mark.parametrize("tilt", [0, 20, 40])
def test_shapes_beside_the_card_measure_their_area(tilt):
    studio = Studio(Lens(4000, 3000), Look(tone=0.2))
    place = place_card(550, tilt, 15, 65, at=(-0.1, 0.05))

    def paint(scene, low):
        def fill(points, value):
            pixels = (studio.lens.project(place.to_camera(points)) - low + 0.5) * 4 - 0.5
            mask = np.zeros((scene.shape[0] * 4, scene.shape[1] * 4), np.uint8)
            cv2.fillPoly(mask, [np.round(pixels * 256).astype(np.int32)], 255, shift=8)
            share = cv2.resize(mask, scene.shape[1::-1], interpolation=cv2.INTER_AREA)
            share = (share / 255.0)[:, :, None]
            return scene * (1 - share) + value * share

        scene = fill(np.array([[122.0, 0], [168, 0], [168, 90], [122, 90]]), 0.7)
        for points in SHAPES.values():
            scene = fill(points, 0.08)
        return scene

    photo = studio.photograph((CardRole.BOARD, place), paint=paint)
    view = sight_card(photo).viewpoint
    linear = decode(photo.rgb[:, :, 1]).astype(np.float32)
    cell = 0.05
    for area, points in SHAPES.items():
        low, high = points.min(axis=0) - 1.5, points.max(axis=0) + 1.5
        axes = [np.arange(a + cell / 2, b, cell) for a, b in zip(low, high, strict=True)]
        x, y = np.meshgrid(*axes)
        grid = np.column_stack([x.ravel(), y.ravel(), np.zeros(x.size)])
        at = view.project(grid).astype(np.float32).reshape(*x.shape, 2)
        seen = cv2.remap(linear, at[..., 0], at[..., 1], cv2.INTER_LINEAR)
        paper, ink = np.percentile(seen, (97, 25))
        measured = np.clip((paper - seen) / (paper - ink), 0, 1).sum() * cell**2
        measured -= _noise_area(seen, paper, ink) * cell**2
        assert measured == pytest.approx(area, rel=0.01)


def _noise_area(seen, paper, ink):
    """Paper noise counted as ink, estimated from the rim of 0.5 mm round the shape."""
    rim = np.ones(seen.shape, dtype=bool)
    rim[10:-10, 10:-10] = False
    return (
        np.clip((paper - seen[rim]) / (paper - ink), 0, 1).mean()
        * (np.clip((paper - seen) / (paper - ink), 0, 1) < 0.2).sum()
    )


def _leaf_over(studio, place, middle_mm, radius_mm):
    def paint(scene, low):
        points = middle_mm + radius_mm * np.column_stack([np.cos(CIRCLE), np.sin(CIRCLE)])
        pixels = studio.lens.project(place.to_camera(points)) - low
        cv2.fillPoly(scene, [np.round(pixels).astype(np.int32)], (0.05, 0.2, 0.03))
        return scene

    return paint


def test_a_leaf_over_part_of_a_marker_does_no_harm():
    studio = Studio(SMALL)
    place = place_card(400, 10, 20)
    paint = _leaf_over(studio, place, np.array([4.0, 4.0]), 9.0)
    sighting = sight_card(studio.photograph((CardRole.OVERHEAD, place), paint=paint))
    assert sighting.markers_seen == 7
    assert corner_error(studio, CardRole.OVERHEAD, place, sighting) < 0.15


def refusal(error, photo, expected=None):
    with pytest.raises(error) as refused:
        sight_card(photo, expected)
    assert refused.value.exit_code == ExitCode.CARD
    assert refused.value.message.startswith("made.jpg: ")
    assert refused.value.hint.endswith(".")
    assert "\n" not in str(refused.value)
    return str(refused.value)


def test_a_card_mostly_covered_is_refused():
    studio = Studio(SMALL)
    place = place_card(400, 10, 20)
    paint = _leaf_over(studio, place, np.array([60.0, 95.0]), 78.0)
    photo = studio.photograph((CardRole.OVERHEAD, place), paint=paint)
    assert "covered" in refusal(CardPartlyHiddenError, photo)


def test_a_card_cut_off_by_the_photos_edge_is_refused():
    studio = Studio(SMALL)
    photo = studio.photograph((CardRole.OVERHEAD, place_card(400, at=(0.64, 0.0))))
    assert "edge" in refusal(CardPartlyHiddenError, photo, CardRole.OVERHEAD)


def test_no_card():
    studio = Studio(SMALL)
    for expected in (None, CardRole.SIDE):
        told = refusal(CardNotFoundError, studio.photograph(), expected)
        assert "no reference card" in told
        assert "megapixels" not in told


def test_no_card_in_a_photo_of_few_pixels_asks_for_the_original():
    photo = replace(Studio(SMALL).photograph(), rgb=np.full((500, 640, 3), 128, np.uint8))
    told = refusal(CardNotFoundError, photo)
    assert "The photo has only 0.3 megapixels: send the original." in told


def test_clutter_and_a_lone_marker_are_no_card_and_no_second_card():
    studio = Studio(SMALL)
    rng = np.random.default_rng(3)
    place = place_card(400, 10, at=(0.2, 0.1))
    with_card = studio.photograph((CardRole.SIDE, place)).rgb.copy()
    blocks = (rng.random((75, 40)) < 0.5).astype(np.uint8) * 180 + 40
    marker = cv2.aruco.generateImageMarker(
        cv2.aruco.getPredefinedDictionary(DICTIONARY),
        next(iter(card_layout(CardRole.SIDE).markers)),
        84,
    )
    for rgb in (with_card, studio.photograph().rgb.copy()):
        rgb[:, :480] = np.kron(blocks, np.ones((20, 12), np.uint8))[:1500, :480, None]
        rgb[700:830, 520:650] = 255
        rgb[723:807, 543:627] = marker[:, :, None]
        photo = replace(studio.photograph(), rgb=rgb)
        if rgb is with_card:
            assert sight_card(photo, CardRole.SIDE).markers_seen == 8
        else:
            refusal(CardNotFoundError, photo, CardRole.SIDE)


def test_two_cards_of_one_role_are_refused_and_two_roles_are_not():
    studio = Studio(SMALL)
    left, right = place_card(500, 5, 10, at=(-0.3, 0)), place_card(500, 30, 60, at=(0.25, 0.1))
    photo = studio.photograph((CardRole.SIDE, left), (CardRole.SIDE, right))
    assert "two side cards" in refusal(TwoCardsError, photo)
    both = studio.photograph((CardRole.SIDE, left), (CardRole.OVERHEAD, right))
    assert sight_card(both).role is CardRole.SIDE  # seen larger: it faces the camera
    assert sight_card(both, CardRole.OVERHEAD).role is CardRole.OVERHEAD
    twice = studio.photograph(
        (CardRole.SIDE, left),
        (CardRole.OVERHEAD, right),
        (CardRole.OVERHEAD, place_card(500, at=(0, -0.25))),
    )
    assert sight_card(twice, CardRole.SIDE).role is CardRole.SIDE


def test_the_card_of_another_view_is_refused():
    photo = Studio(SMALL).photograph((CardRole.SIDE, place_card(450)))
    said = refusal(WrongCardRoleError, photo, CardRole.OVERHEAD)
    assert "side card is seen where the overhead card is expected" in said


def test_a_card_seen_too_flat_is_refused():
    studio = Studio(Lens(4000, 3000), Look(blur_px=0.5))
    photo = studio.photograph((CardRole.OVERHEAD, place_card(300, 66, 10, 0)))
    assert "degrees" in refusal(CardTooTiltedError, photo)


def test_a_photo_turned_by_any_quarter_gives_the_same_camera():
    studio = Studio(SMALL)
    photo = studio.photograph((CardRole.OVERHEAD, place_card(450, 12, 30, at=(0.2, 0.1))))
    upright = sight_card(photo).viewpoint
    for turns in (1, 2, 3):
        turned = replace(photo, rgb=np.ascontiguousarray(np.rot90(photo.rgb, turns)))
        view = sight_card(turned).viewpoint
        assert view.position_mm == pytest.approx(upright.position_mm, abs=0.5)
