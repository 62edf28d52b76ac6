"""Checks of the training's own parts; skipped without PyTorch."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest

pytest.importorskip("torch", reason="training needs the extra [train]")
import torch

from tests.tissue_model.augment import CropMaker
from tests.tissue_model.blend import mean_of
from tests.tissue_model.chance import Chance
from tests.tissue_model.export import write_onnx
from tests.tissue_model.kinds import BROWN, PEA_LIKE, RED, kinds_of
from tests.tissue_model.light import luminance
from tests.tissue_model.loss import tissue_loss
from tests.tissue_model.network import FIRST_FORM, FORM, Form, TissueNet
from tests.tissue_model.photographs import gate
from tests.tissue_model.recolour import Recolour
from tests.tissue_model.resume import load_exported
from tests.tissue_model.scenes import PixelStore, Rendered, read_folder
from tests.tissue_model.spoil import SPOILS
from tests.tissue_model.textures import TextureBank, TextureMaker
from tests.tissue_model.train import split

CPU = torch.device("cpu")


def rendered(view: str, mm_per_px: float, seed: int) -> Rendered:
    """A photo of grey ground with one disc of leaf and one bar of stem."""
    pixels = np.full((120, 160, 8), 0, np.uint8)
    pixels[..., :3] = 130
    yy, xx = np.mgrid[:120, :160]
    disc = (yy - 50) ** 2 + (xx - 60) ** 2 < 30**2
    pixels[disc, :3], pixels[disc, 3] = (60, 140, 50), 255
    pixels[95:103, 20:140, :3], pixels[95:103, 20:140, 4] = (230, 228, 212), 255
    kinds = frozenset({"random", RED} if seed == 1 else {"random"})
    gain = np.ones(3, np.float32)
    return Rendered(f"{view}{seed}", view, "random", kinds, mm_per_px, gain, pixels)


@pytest.fixture(scope="module")
def maker() -> CropMaker:
    photos = [rendered("board", 0.2, 0), rendered("overhead", 0.3, 1), rendered("side", 0.3, 2)]
    chance = Chance(3, CPU)
    return CropMaker(PixelStore(photos, CPU, 1), TextureBank(chance, 4, 64, 4), chance, 64)


def test_what_is_left_out_judges_and_does_not_teach() -> None:
    photos = [rendered("side", 0.3, seed) for seed in range(3)]
    teach, held = split(photos, RED)
    assert [p.scene for p in teach] == ["side0", "side2"]
    assert [p.scene for p in held] == ["side1"]
    with pytest.raises(SystemExit, match="no scene shows 'pea-like'; there are random, red"):
        split(photos, PEA_LIKE)


def test_kinds_of_a_scene_are_its_own_crop_and_its_neighbours() -> None:
    plants = {"crop": "amaranth_red", "growth": None, "seed": 1, "age": None}
    spec = {"crop": "pea", "seed": 2, "views": {"side": {}}, "neighbours": [{"plants": plants}]}
    assert kinds_of(spec) == {"pea", PEA_LIKE, "amaranth_red", RED}
    assert kinds_of({**spec, "neighbours": []}) == {"pea", PEA_LIKE}
    bronze = {**spec, "neighbours": [], "growth": {"leaf_srgb": [[0.5, 0.36, 0.2]] * 2}}
    assert kinds_of(bronze) == {"pea", PEA_LIKE, BROWN}


def test_without_reds_no_leaf_or_stem_is_painted_red() -> None:
    shares = torch.ones(400, 2, 8, 8)
    grey = torch.full((400, 3, 8, 8), 0.2)
    for reds in (True, False):
        recolour = Recolour(Chance(3, CPU), reds=reds)
        painted = recolour(grey.clone(), shares, (1.0, 0.0), np.zeros(400, bool))
        red, green = painted[:, 0].mean((1, 2)), painted[:, 1].mean((1, 2))
        assert bool((red > 2.5 * green).any()) == reds


def test_brown_leaves_are_painted_in_true_colours_alone() -> None:
    shares = torch.ones(400, 2, 8, 8)
    grey = torch.full((400, 3, 8, 8), 0.2)
    true_colours = np.arange(400) < 200
    painted = {}
    for browns in (True, False):
        recolour = Recolour(Chance(3, CPU), browns=browns)
        painted[browns] = recolour(grey.clone(), shares, (1.0, 0.0), true_colours)
    changed = (painted[True][:200] - painted[False][:200]).abs().amax((1, 2, 3)) > 0.01
    assert int(changed.sum()) >= 4
    red, green, blue = painted[True][:200][changed].mean((2, 3)).T
    assert ((red > green) & (green > blue)).float().mean() > 0.8


def test_dice_from_above_is_taken_apart() -> None:
    truth = torch.zeros(2, 4, 8, 8)
    truth[0, 2, :, :1], truth[1, 2] = 1.0, 1.0  # few stems from above, many from the side
    truth[:, 0] = 1 - truth[:, 2]
    found = torch.stack([truth[0, :3] * 0 + torch.tensor([9.0, 0, 0]).view(3, 1, 1),
                         truth[1, :3] * 9])  # fmt: skip
    weight = torch.ones(2, 1, 8, 8)
    apart = tissue_loss(found, truth, weight, torch.tensor([1, 0]))
    together = tissue_loss(found, truth, weight, torch.tensor([0, 0]))
    # The stems missed from above are all of their group and an eighth of both.
    assert apart > together


def test_batches_hold_sound_numbers(maker: CropMaker) -> None:
    for _ in range(4):
        picture, truth, weight, above = maker.batch(8)
        assert above.shape == (8,)
        assert picture.shape == (8, 3, 64, 64)
        assert torch.isfinite(picture).all()
        assert picture.min() >= 0
        assert picture.max() <= 1
        assert truth.sum(1).sub(1).abs().max() < 0.02
        assert weight.min() >= 0
        assert weight.max() <= 1


def test_boards_are_seen_finer_than_trays(maker: CropMaker) -> None:
    photo, _, matrix = maker.places(4000)
    step = np.sqrt(np.abs(np.linalg.det(matrix))) * maker.store.mm_per_px[photo]
    # Scales are drawn log-normally about 0.2 mm a pixel for boards and 0.3 mm for trays.
    for number, typical in ((0, 0.2), (1, 0.3), (2, 0.3)):
        assert np.median(step[photo == number]) == pytest.approx(typical, rel=0.06)


def test_ground_made_alike_is_as_light_as_its_plants(maker: CropMaker) -> None:
    old = torch.full((40, 3, 64, 64), 0.1)
    part = torch.zeros(40, 5, 64, 64)
    part[:, 0, :40], part[:, 1, 40:] = 1.0, 1.0
    texture = maker.as_light_as(old, part, torch.full_like(old, 0.4))
    light = luminance(texture).mean((1, 2, 3))
    alike = (light - 0.1).abs() < 1e-4
    assert 3 <= int(alike.sum()) <= 24
    assert ((light[~alike] - 0.4).abs() < 1e-4).all()


def test_sheen_falls_on_leaves_alone(maker: CropMaker) -> None:
    before = torch.full((60, 3, 64, 64), 0.1)
    shares = torch.zeros(60, 5, 64, 64)
    shares[:, 0, :, :32] = 1.0
    after = maker.glaze(before.clone(), shares)
    assert torch.equal(after[..., 32:], before[..., 32:])
    assert (after[..., :32] >= before[..., :32]).all()
    assert after.max() > 0.2


def test_cast_shadows_fall_behind_what_is_high() -> None:
    height = torch.zeros(1, 1, 96, 96)
    height[..., 44:52, 44:52] = 1.0
    light = TextureMaker(Chance(1, CPU), 96).cast_shadows(height)[0, 0]
    assert light.max() == 1.0
    assert (light[44:52, 44:52] == 1.0).all()
    dark = (light < 0.95).float()
    assert 20 < dark.sum() < 1500


@pytest.mark.parametrize("name", list(SPOILS))
def test_a_spoilt_photo_keeps_its_size_and_changes_in_the_way_it_says(name: str) -> None:
    rgb = np.random.default_rng(2).integers(40, 160, (64, 96, 3), dtype=np.uint8)
    spoilt = SPOILS[name](rgb.copy()).astype(float)
    assert spoilt.shape == rgb.shape
    light, detail = spoilt.mean() - rgb.mean(), spoilt.std() / rgb.std()
    changed = {
        "as it is": not light and detail == 1,
        "JPEG of quality 25": abs(light) < 2 and detail < 1,
        "blur of 1.5 px": abs(light) < 1 and detail < 0.5,
        "sharpened by 1.5": detail > 1.5,
        "1.9 times the light": light > 20,
        "a third of the light, noise of 9": light < -20,
        "two fifths of the colour gone": abs(light) < 5 and detail < 0.9,
        "too warm by 1.35 and 0.6": (spoilt - rgb)[..., 0].mean()
        > 5
        > (spoilt - rgb)[..., 2].mean(),
    }
    assert changed[name]


def test_gate_gives_known_overlaps(tmp_path: Path) -> None:
    (tmp_path / "photos").mkdir()
    (tmp_path / "masks").mkdir()
    picture = np.full((720, 960, 3), (110, 120, 140), np.uint8)  # BGR
    picture[:, :480] = (40, 160, 60)
    mask = np.zeros_like(picture)
    mask[:, :480] = (0, 0, 200)
    cv2.imwrite(str(tmp_path / "photos" / "a.jpg"), picture)
    cv2.imwrite(str(tmp_path / "masks" / "a.png"), mask)

    def left_quarter(rgb: np.ndarray) -> np.ndarray:
        shares = np.zeros((3, *rgb.shape[:2]), np.float32)
        shares[1, :, : rgb.shape[1] // 4] = 1.0
        return shares

    figures = gate(left_quarter, tmp_path)
    # A quarter found of the half that is plant: overlap 1/2.
    assert figures["800"]["mean"] == pytest.approx(0.5, abs=0.01)
    assert figures["2G-R-B"]["worst"] == pytest.approx(1.0, abs=0.01)


def test_a_gate_without_masks_or_photos_says_so(tmp_path: Path) -> None:
    with pytest.raises(SystemExit, match=r"holds no photos"):
        gate(lambda rgb: rgb, tmp_path)
    with pytest.raises(SystemExit, match="holds no rendered scenes"):
        read_folder(tmp_path)


def a_network(seed: int, form: Form = FORM) -> TissueNet:
    """Random weights, with norms that have seen something."""
    torch.manual_seed(seed)
    net = TissueNet(form)
    for parameter in net.parameters():
        parameter.data += 0.1 * torch.randn_like(parameter)
    net.train()(torch.rand(4, 3, 64, 64))
    return net


def an_exported_network(folder: Path, form: Form = FORM) -> tuple[Path, torch.Tensor, torch.Tensor]:
    """Its file, crops, and the scores that it gives for them."""
    pytest.importorskip("onnx", reason="training needs the extra [train]")
    net, crops = a_network(1, form).eval(), torch.rand(8, 3, 64, 64)
    wanted = net(crops).detach()
    write_onnx(net, folder / "before.onnx")
    return folder / "before.onnx", crops, wanted


@pytest.mark.filterwarnings("ignore:You are using the legacy TorchScript:DeprecationWarning")
def test_a_network_of_the_first_form_goes_on_in_the_larger_one(tmp_path: Path) -> None:
    before, crops, wanted = an_exported_network(tmp_path, FIRST_FORM)
    after = TissueNet()
    load_exported(after, before, crops)
    assert (after.eval()(crops) - wanted).abs().max() < 1e-3 * float(wanted.abs().mean())
    # What is new learns: the first step already moves the weights that listen to it.
    after.train()(crops).square().mean().backward()
    assert after.last.weight.grad[:, FIRST_FORM.widths[0] :].abs().max() > 0


@pytest.mark.filterwarnings("ignore:You are using the legacy TorchScript:DeprecationWarning")
def test_a_network_goes_on_from_where_it_was_exported(tmp_path: Path) -> None:
    before, crops, wanted = an_exported_network(tmp_path)
    after = a_network(2)
    load_exported(after, before, crops)
    scale = float(wanted.abs().mean())
    assert (after.eval()(crops) - wanted).abs().max() < 1e-3 * scale
    # In training the norms go by the crops at hand; these are the ones that they were set by.
    assert (after.train()(crops) - wanted).abs().mean() < 0.02 * scale


@pytest.mark.filterwarnings("ignore:You are using the legacy TorchScript:DeprecationWarning")
def test_a_crop_without_numbers_does_not_spoil_a_network_that_goes_on(tmp_path: Path) -> None:
    before, crops, wanted = an_exported_network(tmp_path)
    after, spoilt = a_network(2), torch.cat([crops, torch.full((1, 3, 64, 64), torch.nan)])
    load_exported(after, before, spoilt)
    assert (after.eval()(crops) - wanted).abs().max() < 1e-3 * float(wanted.abs().mean())


def test_what_is_painted_black_can_be_painted_again() -> None:
    shares = torch.ones(60, 2, 16, 16)
    nearly_black = torch.full((60, 3, 16, 16), 0.001)
    nearly_black[:, :, :2] = -1e-9  # as rounding leaves it
    painted = Recolour(Chance(3, CPU))(nearly_black, shares, (1.0, 1.0), np.zeros(60, bool))
    assert torch.isfinite(painted).all()


def test_the_mean_of_weights_keeps_kinds_and_counts() -> None:
    one, other = (a_network(seed).state_dict() for seed in (3, 4))
    mean = mean_of([one, other])
    torch.testing.assert_close(mean["last.weight"], (one["last.weight"] + other["last.weight"]) / 2)
    assert {k: v.dtype for k, v in mean.items()} == {k: v.dtype for k, v in one.items()}
    TissueNet().load_state_dict(mean)
