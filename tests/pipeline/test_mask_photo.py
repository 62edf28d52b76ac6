"""`traymorph.mask_photo`: class masks on the upright photo's pixel grid."""

import logging
import shutil

import numpy as np
import pytest
from PIL import Image

import traymorph
from tests.cli.running import TRIAL
from traymorph.errors import UnreadablePhotoError

pytestmark = pytest.mark.slow

T01_OVERHEAD = TRIAL / "photos" / "T01" / "T01_overhead.jpg"


@pytest.fixture(scope="module")
def upright_mask():
    return traymorph.mask_photo(T01_OVERHEAD)


def test_values_and_type(upright_mask):
    assert upright_mask.dtype == np.uint8
    assert upright_mask.shape == (1096, 1460)
    assert set(np.unique(upright_mask)) == {0, 1, 2, 3}


def test_classes_lie_where_the_scene_has_them(upright_mask):
    # From the scene's class shares: leaf 0.44, card 0.024 of the picture.
    assert np.mean(upright_mask == 1) == pytest.approx(0.44, abs=0.06)
    assert np.mean(upright_mask == 3) == pytest.approx(0.024, abs=0.003)


def test_a_photo_stored_on_its_side_gives_the_mask_of_the_upright_one(tmp_path, upright_mask):
    with Image.open(T01_OVERHEAD) as picture:
        exif = picture.getexif()
        # EXIF 2.32, tag 0x0112: 6 = rotate clockwise by a quarter to see it upright.
        exif[0x0112] = 6
        stored = picture.transpose(Image.Transpose.ROTATE_90)
        stored.save(tmp_path / "turned.jpg", quality=95, exif=exif.tobytes())
    turned = traymorph.mask_photo(str(tmp_path / "turned.jpg"))
    assert turned.shape == upright_mask.shape
    # Another compression and no trial beside it: nearly the same pixels all the same.
    both = np.logical_and(turned == 1, upright_mask == 1).sum()
    either = np.logical_or(turned == 1, upright_mask == 1).sum()
    assert both / either > 0.9


def test_without_a_card_it_works_and_warns(tmp_path, caplog):
    with Image.open(T01_OVERHEAD) as picture:
        picture.crop((0, 230, 1460, 1096)).save(tmp_path / "nocard.jpg", quality=90)
    with caplog.at_level(logging.WARNING, logger="traymorph"):
        mask = traymorph.mask_photo(tmp_path / "nocard.jpg", view="overhead")
    assert mask.shape == (866, 1460)
    assert mask.dtype == np.uint8
    assert set(np.unique(mask)) <= {0, 1, 2}
    assert np.mean(mask == 1) > 0.3
    assert any("uncalibrated" in record.getMessage() for record in caplog.records)


def test_an_unreadable_photo_is_an_error_of_its_own(tmp_path):
    (tmp_path / "letter.jpg").write_text("no photo")
    with pytest.raises(UnreadablePhotoError, match=r"letter\.jpg"):
        traymorph.mask_photo(tmp_path / "letter.jpg")


def test_an_unknown_view_is_refused():
    with pytest.raises(ValueError, match="'below' is not known; write overhead, side, board, pack"):
        traymorph.mask_photo(T01_OVERHEAD, view="below")


def test_a_broken_list_beside_the_photo_does_not_stop_it(tmp_path, caplog):
    folder = tmp_path / "photos"
    folder.mkdir()
    (tmp_path / "trial.toml").write_text("[tray")
    shutil.copy(T01_OVERHEAD, folder)
    with caplog.at_level(logging.WARNING, logger="traymorph"):
        mask = traymorph.mask_photo(folder / T01_OVERHEAD.name)
    assert {1, 3} <= set(np.unique(mask))
    assert any("lists are not used" in record.getMessage() for record in caplog.records)
