"""Lengths and areas of single cut plants against shapes whose answers are known."""

import math
from dataclasses import replace

import numpy as np
import pytest
from skimage.measure import label, regionprops

from traymorph.measure.board import measure_cut_plants, together
from traymorph.measure.cut_plant_grid import BoardPlane, board_grid, middle_cell
from traymorph.measure.cut_plant_losses import missing_cells
from traymorph.measure.cut_plant_means import tray_of_plants
from traymorph.measure.cut_plant_readings import BoardView
from traymorph.measure.cut_plant_sizes import (
    BLADE_LIFT_MM,
    BLADE_LIFT_U_MM,
    LEAF_SHARED_U,
    NODE_SHARED_U,
    PARTING_SHARED_MM,
    STEM_REST_MM,
)
from traymorph.model.cut_plants import Blade, CutPlant
from traymorph.model.plane_grid import PlaneGrid
from traymorph.model.trial import SampleWeight

STEP = 0.125
FINE = 5  # cells are drawn as the mean of 5 x 5 points
ALONG = np.array([1.0, 0.0])


def share(shape, inside, step=STEP):
    """Share of each cell within a shape; `inside` takes x and y in mm from cell (0, 0)."""
    at = ((np.arange(max(shape) * FINE) + 0.5) / FINE - 0.5) * step
    drawn = inside(at[None, : shape[1] * FINE], at[: shape[0] * FINE, None])
    return drawn.reshape(shape[0], FINE, shape[1], FINE).mean(axis=(1, 3)).astype(np.float32)


def disc(x, y, radius):
    return lambda at_x, at_y: (at_x - x) ** 2 + (at_y - y) ** 2 <= radius**2


def polygon(corners):
    """Convex polygon, corners clockwise as the picture shows them."""

    def inside(at_x, at_y):
        within = True
        for (ax, ay), (bx, by) in zip(corners, np.roll(corners, -1, axis=0), strict=True):
            within &= (bx - ax) * (at_y - ay) - (by - ay) * (at_x - ax) >= 0
        return within

    return inside


def plant_of(leaf, stem=None, line=(), *, width=math.nan, ends_u=0.0, **more):
    stem = np.zeros_like(leaf) if stem is None else stem
    box = tuple(slice(0, n) for n in leaf.shape)
    points = np.array(line, dtype=float).reshape(-1, 2) / STEP
    blades, flags = tuple(more.get("blades", ())), tuple(more.get("flags", ()))
    return CutPlant(box, leaf, stem, points, width / STEP, blades, flags, ends_u)


def blade(length=10.0, width=6.0, flags=()):
    ends = (np.zeros(2), np.array([length / STEP, 0.0]))
    return Blade(100.0, *ends, length / STEP, width / STEP, true_leaf=False, flags=tuple(flags))


@pytest.fixture
def view_of(make):
    """A board seen from above; from very far nothing looks larger for lying higher."""

    def view(shape=(400, 400), height=1e7, edge_u_mm=0.0, *, too_alike=False, **colour):
        return BoardView(
            rgb=np.full((*shape, 3), 120, np.uint8),
            doubt=np.zeros(shape, np.float32),
            grid=PlaneGrid(np.zeros(2), ALONG, STEP, shape, 0.0),
            viewpoint=make.above(height),
            card_mm=np.zeros(2),
            edge_u_mm=edge_u_mm,
            colour=make.colour(**colour),
            too_alike=too_alike,
        )

    return view


def read(view, *plants):
    readings, _, _ = measure_cut_plants(view, plants)
    return readings if len(readings) > 1 else readings[0]


def value(reading, name):
    return reading.readings[name].value


SQUARE = np.array([[8.0, 8.0], [38.0, 8.0], [38.0, 38.0], [8.0, 38.0]])


@pytest.mark.parametrize("angle", [0, 7, 30, 45])
def test_area_of_a_turned_square(view_of, angle):
    a = np.radians(angle)
    turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    corners = (SQUARE - 23.0) @ turn.T + 25.0
    got = read(view_of(), plant_of(share((400, 400), polygon(corners))))
    assert value(got, "leaf_area_mm2") == pytest.approx(900.0, rel=0.002)


def test_area_is_that_of_scikit_image_where_cells_are_whole(view_of):
    rng = np.random.default_rng(3)
    hard = (rng.random((60, 60)) > 0.3).astype(np.float32)
    whole = label(hard, connectivity=2)
    largest = max(regionprops(whole), key=lambda region: region.area)
    leaf = (whole == largest.label).astype(np.float32)
    got = read(view_of((60, 60)), plant_of(leaf))
    assert value(got, "leaf_area_mm2") == pytest.approx(largest.area * STEP**2, rel=1e-6)


def test_the_outline_is_as_long_as_the_circle(view_of):
    # circumference 2 pi r; the edge's doubt of 1 mm moves the area by just that
    leaf = share((400, 400), disc(25, 25, 15))
    areas = read(view_of(edge_u_mm=1.0), plant_of(leaf)).areas
    assert areas.leaf_outline == pytest.approx(2 * np.pi * 15, rel=0.02)
    assert areas.stem_outline == pytest.approx(0.0, abs=0.01)


def test_the_border_of_leaf_and_stem_is_no_outline(view_of):
    stem = share((400, 400), polygon(np.array([[5, 20], [25, 20], [25, 24], [5, 24]])))
    leaf = share((400, 400), polygon(np.array([[25, 10], [45, 10], [45, 34], [25, 34]])))
    areas = read(view_of(edge_u_mm=1.0), plant_of(leaf, stem, [(5, 22), (25, 22)], width=4)).areas
    # by counting: 20 + 4 + 20 of the stem, 24 + 20 + 20 + 20 of the leaf lie outside
    assert areas.stem_outline == pytest.approx(44.0, rel=0.05)
    assert areas.leaf_outline == pytest.approx(84.0, rel=0.05)


def test_length_of_a_centre_line_and_where_it_begins(view_of):
    t = np.linspace(0, np.pi / 2, 400)
    quarter = np.column_stack([25 + 20 * np.cos(t), 25 + 20 * np.sin(t)])
    plant = plant_of(share((400, 400), disc(25, 25, 5)), line=quarter, width=1.5)
    got = read(view_of(), plant)
    assert value(got, "stem_length_mm") == pytest.approx(10 * np.pi, rel=1e-4)
    assert value(got, "stem_width_mm") == pytest.approx(1.5)
    assert (got.x_mm, got.y_mm) == pytest.approx((45.0, 25.0))


@pytest.mark.parametrize("height", [240.0, 300.0, 500.0])
def test_what_lies_above_the_board_is_not_read_too_large(view_of, height):
    # A disc of radius 12 at the blades' height looks H / (H - h) larger in the plane of the card.
    larger = height / (height - BLADE_LIFT_MM)
    leaf = share((400, 400), disc(25, 25, 12 * larger))
    long, wide = 10 * larger, 6 * larger
    got = read(view_of(height=height), plant_of(leaf, blades=[blade(long, wide)]))
    assert value(got, "leaf_area_mm2") == pytest.approx(np.pi * 144, rel=0.002)
    assert value(got, "blade_length_mm") == pytest.approx(10.0, rel=1e-6)
    assert value(got, "board_blade_width_mm") == pytest.approx(6.0, rel=1e-6)


def test_a_stem_lies_its_radius_above_the_board(view_of):
    height, radius = 300.0, 1.0
    larger = height / (height - radius - STEM_REST_MM)
    line = [(5, 5), (5 + 40 * larger, 5)]
    plant = plant_of(share((400, 400), disc(25, 25, 5)), line=line, width=2 * radius)
    got = read(view_of(height=height), plant)
    assert value(got, "stem_length_mm") == pytest.approx(40.0, rel=1e-3)


@pytest.mark.parametrize("angle", [0.0, 60.0, 90.0, 180.0])
def test_the_face_of_a_cut_that_is_seen_beside_the_stems_end_is_taken_off(view_of, angle):
    # A cylinder of radius r on the board, projected point by point: its outline and the stem's
    # own length, both along the middle of its image.
    height, radius, length = 300.0, 1.5, 40.0
    view = view_of(height=height)
    foot = view.viewpoint.position_mm[:2]
    away = np.array([np.cos(np.radians(angle)), np.sin(np.radians(angle))])
    cut = foot + 80.0 * np.array([1.0, 0.0])
    other = cut - length * away
    lifted = radius + STEM_REST_MM

    def seen(point, z):
        return foot + (point - foot) * height / (height - z)

    heights = lifted + radius * np.linspace(-1.0, 1.0, 51)
    ends = np.array([seen(cut, z) for z in heights])
    end = ends[np.argmax(ends @ away)]
    line = [end, seen(other, lifted)]
    start = view.grid.points_mm(np.zeros(1), np.zeros(1))[0]
    plant = plant_of(
        share((400, 400), disc(25, 25, 5)), line=[p - start for p in line], width=2 * radius
    )
    got = read(view, plant)
    assert value(got, "stem_length_mm") == pytest.approx(length, abs=0.04)


@pytest.mark.parametrize("aside", [0.0, 80.0, 160.0])
def test_a_round_stem_seen_aslant_is_not_read_too_wide(view_of, aside):
    # The two lines of sight that touch a cylinder lean by asin(r / distance) about its axis.
    height, radius = 300.0, 1.5
    view = view_of(height=height)
    foot = view.viewpoint.position_mm[:2]
    above = height - radius - STEM_REST_MM
    lean, half = math.atan2(aside, above), math.asin(radius / math.hypot(aside, above))
    seen = height * (math.tan(lean + half) - math.tan(lean - half))
    away = aside * height / above
    start = view.grid.points_mm(np.zeros(1), np.zeros(1))[0]
    line = [foot + np.array([x, away]) - start for x in np.linspace(-15.0, 15.0, 30)]
    got = read(view, plant_of(share((400, 400), disc(25, 25, 5)), line=line, width=seen))
    assert value(got, "stem_width_mm") == pytest.approx(2 * radius, rel=0.003)


def test_a_plant_that_lost_a_blade_is_left_out_of_the_means_of_leaves(view_of):
    leaf = share((400, 400), disc(25, 25, 9))
    stem = [(5.0, 5.0), (25.0, 5.0)]
    whole = plant_of(leaf, line=stem, width=1.0, blades=[blade(), blade()])
    lost = plant_of(0.5 * leaf, line=stem, width=1.0, blades=[replace(blade(), area_cells=95.0)])
    both = replace(blade(flags=["blades_overlap"]), area_cells=130.0)
    covered = plant_of(leaf, line=stem, width=1.0, blades=[both])
    assert missing_cells([*[whole] * 5, lost, covered], faint=True) == [*[0.0] * 5, 105.0, 0.0]
    readings = read(view_of(), *[whole] * 5, lost)
    assert [("leaf_incomplete" in one.flags) for one in readings] == [*[False] * 5, True]
    tray = tray_of_plants(readings)
    assert tray.spread["leaf_area_mm2"].n_plants == 5
    assert tray.spread["stem_length_mm"].n_plants == 6
    assert tray.metrics["leaf_area_mm2"].value == pytest.approx(value(readings[0], "leaf_area_mm2"))
    assert u_of(readings[-1], "leaf_area_mm2").own_u >= 105.0 * STEP**2


@pytest.mark.parametrize(("faint", "lacks"), [(True, 120.0), (False, 0.0)])
def test_a_small_blade_that_may_cover_another_lacks_one_only_where_blades_get_lost(faint, lacks):
    leaf = np.ones((10, 20), np.float32)
    whole = plant_of(leaf, blades=[replace(blade(), area_cells=100.0)] * 2)
    covers = plant_of(leaf, blades=[replace(blade(flags=["blades_overlap"]), area_cells=80.0)])
    assert missing_cells([*[whole] * 5, covers], faint=faint) == [*[0.0] * 5, lacks]


def test_true_leaves_do_not_make_a_plant_without_them_incomplete():
    leaf = np.ones((10, 20), np.float32)
    seed_leaves = [replace(blade(), area_cells=100.0)] * 2
    true_leaves = [replace(blade(), area_cells=90.0, true_leaf=True)] * 2
    older = plant_of(leaf, blades=[*seed_leaves, *true_leaves])
    young = plant_of(leaf, blades=[replace(blade(flags=["blades_overlap"]), area_cells=150.0)])
    assert missing_cells([*[older] * 5, young], faint=True) == [0.0] * 6


def test_plants_whose_number_of_leaves_differs_lack_none():
    pea = [replace(blade(), true_leaf=True) for _ in range(3)]
    plants = [plant_of(np.ones((4, 4), np.float32), blades=pea[:n]) for n in (3, 3, 3, 3, 1)]
    assert missing_cells(plants, faint=True) == [0.0] * 5


def test_leaf_that_may_hold_the_stem_is_not_measured(view_of):
    leaf = share((400, 400), disc(25, 30, 10))
    got = read(view_of(), plant_of(leaf, flags=["stem_unclear"]))
    assert math.isnan(value(got, "leaf_area_mm2"))
    assert math.isnan(value(got, "blade_count"))


def test_without_a_stem_its_columns_are_empty_and_leaf_is_not(view_of):
    leaf = share((400, 400), disc(25, 30, 10))
    plant = plant_of(leaf, share((400, 400), disc(10, 10, 2)), flags=["no_node"])
    got = read(view_of(), plant)
    for name in ("stem_length_mm", "stem_width_mm", "stem_area_mm2"):
        assert math.isnan(value(got, name))
    assert math.isnan(got.metrics()["board_stem_to_leaf_ratio"].value)
    assert value(got, "leaf_area_mm2") == pytest.approx(np.pi * 100, rel=0.002)
    assert got.flags == ("no_node",)


def test_folded_blades_count_and_are_not_sized(view_of):
    blades = [blade(10, 6), blade(4, 1, ["blade_folded"])]
    got = read(view_of(), plant_of(share((400, 400), disc(25, 25, 9)), blades=blades))
    assert value(got, "blade_count") == 2
    assert value(got, "blade_length_mm") == pytest.approx(10.0)


def test_overlapping_blades_are_neither_counted_nor_sized(view_of):
    blades = [blade(10, 6), blade(4, 1, ["blade_folded"]), blade(20, 9, ["blades_overlap"])]
    got = read(view_of(), plant_of(share((400, 400), disc(25, 25, 9)), blades=blades))
    assert math.isnan(value(got, "blade_count"))
    assert value(got, "blade_length_mm") == pytest.approx(10.0)
    assert value(got, "board_blade_width_mm") == pytest.approx(6.0)
    assert got.flags == ("blade_folded", "blades_overlap")
    alone = read(view_of(), plant_of(share((400, 400), disc(25, 25, 9)), blades=blades[1:2]))
    assert math.isnan(value(alone, "blade_length_mm"))


def test_a_touching_group_is_measured_but_does_not_count(view_of):
    leaf = share((400, 400), disc(25, 25, 9))
    apart, group = read(view_of(), plant_of(leaf), plant_of(leaf, flags=["plants_touch"]))
    assert apart.counts
    assert not group.counts
    assert value(group, "leaf_area_mm2") > 0


# --- doubt


def u_of(reading, name):
    return reading.readings[name]


def test_doubt_of_the_lift_is_shared_and_shrinks_with_height(view_of):
    plant = plant_of(share((400, 400), disc(25, 25, 12)))
    near, far = (u_of(read(view_of(height=h), plant), "leaf_area_mm2") for h in (250, 500))
    # twice the lift's share of 250 mm and the card's 2 x 0.3 %, of what the lift leaves
    area = 452.4 * (1 - BLADE_LIFT_MM / 250) ** 2
    lift = 2 * BLADE_LIFT_U_MM / 250
    assert near.shared_u == pytest.approx(area * math.hypot(lift, 0.006, LEAF_SHARED_U), rel=0.01)
    left = [(1 - BLADE_LIFT_MM / height) ** 2 for height in (250, 500)]
    assert far.shared_u / left[1] < near.shared_u / left[0]


def test_doubt_of_the_outline_goes_with_its_length(view_of):
    thin = share((400, 400), polygon(np.array([[5, 20], [45, 20], [45, 22], [5, 22]])))
    got = u_of(read(view_of(edge_u_mm=0.05), plant_of(thin)), "leaf_area_mm2")
    # 84 mm of outline on 80 mm2
    relative = math.hypot(0.006, LEAF_SHARED_U)
    assert got.shared_u == pytest.approx(math.hypot(0.05 * 84, relative * 80), rel=0.05)


def test_where_blades_part_from_their_stalks_is_alike_on_all_plants(view_of):
    """The doubt of stem that it brings, stem width times length per stalk, does not average out."""
    stem = share((400, 400), polygon(np.array([[5, 5], [45, 5], [45, 7], [5, 7]])))
    leaf = share((400, 400), disc(25, 25, 12))
    line = [(5, 6), (45, 6)]
    bare = plant_of(leaf, stem, line, width=2, blades=(blade(),))
    two = plant_of(leaf, stem, line, width=2, blades=(blade(), blade()))
    one_u, two_u = (u_of(read(view_of(), plant), "stem_area_mm2").shared_u for plant in (bare, two))
    parted = math.sqrt((two_u**2 - one_u**2) / 3)
    assert parted == pytest.approx(PARTING_SHARED_MM * 80 / 42, rel=0.05)


def test_blades_that_overlap_part_from_their_stalks_less_surely(view_of):
    stem = share((400, 400), polygon(np.array([[5, 5], [45, 5], [45, 7], [5, 7]])))
    leaf, line = share((400, 400), disc(25, 25, 12)), [(5, 6), (45, 6)]
    clear, covered = (
        plant_of(leaf, stem, line, width=2, blades=(blade(), blade(flags=flags)))
        for flags in ((), ("blades_overlap",))
    )
    own = [u_of(read(view_of(), plant), "stem_area_mm2").own_u for plant in (clear, covered)]
    assert own[1] > 1.4 * own[0]


def test_doubt_of_blades_by_hand(view_of):
    """Length: where it begins, alike and by itself; width: how it slants, and both its edges."""
    leaf = share((400, 400), disc(25, 25, 12))
    plant = plant_of(leaf, blades=(blade(20.0, 10.0), blade(20.0, 10.0)))
    got = read(view_of(edge_u_mm=0.1), plant)
    length, width = (u_of(got, name) for name in ("blade_length_mm", "board_blade_width_mm"))
    assert length.shared_u == pytest.approx(math.hypot(0.06, 0.6, PARTING_SHARED_MM, 0.1))
    assert length.own_u == pytest.approx(0.5 / math.sqrt(2), rel=1e-3)
    assert width.shared_u == pytest.approx(math.hypot(0.03, 0.2, 0.2))
    assert width.own_u == pytest.approx(0.3, rel=1e-3)


def test_doubt_of_the_stem_s_ends_is_the_plant_s_own(view_of):
    line = [(5, 5), (45, 5)]
    plant = plant_of(share((400, 400), disc(25, 25, 5)), line=line, width=2, ends_u=0.5 / STEP)
    got = u_of(read(view_of(), plant), "stem_length_mm")
    assert got.own_u == pytest.approx(0.5, rel=0.01)
    assert got.shared_u == pytest.approx(math.hypot(0.003, NODE_SHARED_U) * 40, rel=0.01)


def test_doubt_of_tilt_grows_away_from_the_card(view_of):
    leaf = share((400, 400), disc(25, 25, 5))
    view = view_of(height=300.0)
    plant = plant_of(leaf, line=[(5, 5), (45, 5)], width=2)
    far = BoardView(
        view.rgb, view.doubt, view.grid, view.viewpoint, np.array([-200.0, 5.0]), 0.0, view.colour
    )
    assert (
        u_of(read(far, plant), "stem_length_mm").own_u
        > u_of(read(view, plant), "stem_length_mm").own_u
    )


def test_doubtful_masks_widen_the_doubt_of_leaf(view_of):
    plant = plant_of(share((400, 400), disc(25, 25, 12)))
    sure, unsure = view_of(), view_of()
    unsure.doubt[:] = 0.2
    assert (
        u_of(read(unsure, plant), "leaf_area_mm2").own_u
        > 2 * u_of(read(sure, plant), "leaf_area_mm2").own_u
    )


# --- colour


def test_colours_carry_the_board_s_names(view_of):
    readings, colours, flags = measure_cut_plants(
        view_of(), [plant_of(share((400, 400), disc(25, 25, 12)))]
    )
    # sRGB 120, 120, 120 is L* 50.4 by the formulae of IEC 61966-2-1 and CIE 15
    assert colours["board_leaf_l"].value == pytest.approx(50.4, abs=0.1)
    assert readings[0].colours["board_leaf_l"].value == pytest.approx(50.4, abs=0.1)
    assert "leaf_l" not in colours
    assert flags == ("hue_outside_index",)


def test_light_that_shows_no_colour_leaves_sizes(view_of):
    readings, colours, flags = measure_cut_plants(
        view_of(shows=False), [plant_of(share((400, 400), disc(25, 25, 12)))]
    )
    assert all(math.isnan(one.value) for one in colours.values())
    assert flags == ("light_unfit_for_colour",)
    assert value(readings[0], "leaf_area_mm2") > 0


def test_touching_plants_give_the_photo_no_colour(view_of):
    leaf = share((400, 400), disc(25, 25, 12))
    _, colours, _ = measure_cut_plants(view_of(), [plant_of(leaf, flags=["plants_touch"])])
    assert math.isnan(colours["board_leaf_l"].value)


def test_a_board_without_plants_is_told(view_of):
    readings, colours, flags = measure_cut_plants(view_of((1, 1)), [])
    assert readings == ()
    assert flags == ("no_plants_on_board",)
    assert all(math.isnan(one.value) for one in colours.values())


def laid(*, with_stem, without):
    leaf, stem = share((60, 60), disc(4, 4, 2)), share((60, 60), disc(2, 2, 0.5))
    whole = plant_of(leaf, stem, [[1.5, 2], [2.5, 2]], width=1.0)
    return [whole] * with_stem + [plant_of(leaf, flags=["stem_unclear"])] * without


@pytest.mark.parametrize(("with_stem", "without"), [(5, 3), (0, 8)])
def test_blades_whose_stems_the_board_hides_are_no_plants(view_of, with_stem, without):
    readings, _, _ = measure_cut_plants(
        view_of(too_alike=True), laid(with_stem=with_stem, without=without)
    )
    tray = tray_of_plants(readings, SampleWeight(0.5))
    assert len(readings) == 8
    assert all(math.isnan(one.value) for one in tray.metrics.values())
    assert tray.n_plants == 0
    assert "weight_not_used" in tray.flags


@pytest.mark.parametrize(("too_alike", "without"), [(True, 4), (False, 12)])
def test_plants_count_on_a_board_that_hides_few_stems_or_shows_them(view_of, too_alike, without):
    cut = laid(with_stem=12 - without, without=without)
    readings, _, _ = measure_cut_plants(view_of(too_alike=too_alike), cut)
    assert tray_of_plants(readings).n_plants == 12


def test_a_board_that_shows_its_plants_counts_beside_one_that_hides_them(view_of):
    hidden, _, _ = measure_cut_plants(view_of(too_alike=True), laid(with_stem=0, without=9))
    shown, _, _ = measure_cut_plants(view_of(), laid(with_stem=9, without=0))
    tray = tray_of_plants([*hidden, *shown], SampleWeight(0.5))
    assert tray.n_plants == 9
    assert math.isfinite(tray.metrics["stem_length_mm"].value)
    # nine and an unknown number of plants were weighed
    assert "plant_weight_mg" not in tray.metrics


# --- the way to the board's plane and back


def on_board(make, tilt, shape):
    viewpoint = make.above(300.0, focal=1100.0, size=(800, 600), tilt_deg=tilt)
    masks = make.masks(viewpoint, 0.0, shape)
    grid = board_grid(viewpoint, masks.leaf, 1.0)
    return masks, grid, BoardPlane(grid, viewpoint, 1.0, masks.leaf.shape)


@pytest.mark.parametrize("tilt", [0.0, 6.0, 12.0])
@pytest.mark.parametrize("at", [(0.0, 0.0), (-70.0, 40.0)])
def test_areas_are_kept_on_the_way_to_the_plane(make, tilt, at):
    masks, grid, plane = on_board(make, tilt, disc(*at, 12.0))
    area = float(plane.layer(masks.leaf).sum()) * grid.step_mm**2
    assert area == pytest.approx(np.pi * 144, rel=0.004)


def test_the_way_back_ends_where_it_began(make):
    masks, _, plane = on_board(make, 12.0, disc(-50.0, 30.0, 10.0))
    (back,) = plane.in_photo(plane.layer(masks.leaf))
    both = np.minimum(back, masks.leaf).sum() / np.maximum(back, masks.leaf).sum()
    assert both > 0.97
    assert back.shape == masks.leaf.shape


def test_columns_run_as_the_photo_shows_them(make):
    _, grid, plane = on_board(make, 0.0, lambda x, y: disc(-40, 0, 5)(x, y) | disc(40, 0, 5)(x, y))
    assert grid.along == pytest.approx([1.0, 0.0], abs=1e-6)
    assert grid.step_mm == pytest.approx(300 / 1100, rel=1e-3)
    left = plane.layer(np.eye(600, 800, dtype=np.float32))
    assert left.shape == grid.shape


def test_the_edge_of_the_photo_and_the_card_are_edges(make):
    _, grid, plane = on_board(make, 0.0, lambda x, y: (abs(x) < 200) & (abs(y) < 200))
    card = np.zeros((600, 800), bool)
    card[200:300, 300:400] = True
    edge = plane.at_edge(card)
    (column, row), (inner_x, inner_y) = (
        grid.cells(np.array([[x, y]]))[0].round().astype(int)
        for x, y in (
            ((350 - 399.5) * 300 / 1100, (250 - 299.5) * 300 / 1100),
            ((500 - 399.5) * 300 / 1100, (250 - 299.5) * 300 / 1100),
        )
    )
    assert edge[row, column]
    assert not edge[inner_y, inner_x]
    assert edge[0].all()
    assert edge[:, -1].all()


def test_plants_are_drawn_together_and_know_their_middles():
    leaf = share((100, 100), disc(6, 4, 2))
    part = (slice(10, 60), slice(20, 90))
    plant = CutPlant(part, leaf[part], 0 * leaf[part], np.zeros((0, 2)), math.nan, ())
    assert np.array(middle_cell(plant)) * STEP == pytest.approx([6, 4], abs=0.01)
    drawn, stem = together((100, 100), [plant, plant])
    assert drawn == pytest.approx(leaf)
    assert not stem.any()
