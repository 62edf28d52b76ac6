"""Photo files in, upright sRGB photos out; everything else is refused in its own words."""

import hashlib
import io
import struct
import sys
from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from tests.intake.icc import P3_PRIMARIES, matrix_profile, p3_as_srgb
from traymorph.errors import (
    ExitCode,
    MissingDependencyError,
    PhotoSizeError,
    UnreadablePhotoError,
    UnsupportedFormatError,
)
from traymorph.intake.photos import read_photo

HEIC = Path(__file__).parent / "data" / "patches_p3.heic"
_ONCE = settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])


def _scene(height=500, width=700):
    """Smooth colours with a mark in one corner, so that no flip or turn goes unseen."""
    rows, columns = np.mgrid[0:height, 0:width]
    rgb = np.dstack([rows * 255 // height, columns * 255 // width, np.full_like(rows, 90)])
    rgb[:60, :120] = [250, 30, 20]
    return rgb.astype(np.uint8)


def _saved(path, rgb=None, **options):
    Image.fromarray(_scene() if rgb is None else rgb).save(path, **options)
    return path


def _jpeg(**options):
    file = io.BytesIO()
    Image.fromarray(_scene()).save(file, "JPEG", quality=90, **options)
    return file.getvalue()


def _with_segment(jpeg, payload, marker=0xE1):
    """The JPEG with one more segment right after its start."""
    segment = bytes([0xFF, marker]) + struct.pack(">H", len(payload) + 2) + payload
    return jpeg[:2] + segment + jpeg[2:]


def _file(folder, data, name="photo.jpg"):
    path = folder / name
    path.write_bytes(data)
    return path


# --- what is read


def test_a_jpeg_reads_as_a_reference_library_reads_it(tmp_path):
    path = _saved(tmp_path / "a.jpg", quality=95)
    photo = read_photo(path)
    reference = np.asarray(Image.open(path), dtype=int)
    assert np.abs(photo.rgb.astype(int) - reference).max() <= 2  # decoders round differently
    assert photo.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert photo.path == path
    assert photo.size_px == (700, 500)
    assert not photo.rgb.flags.writeable


@pytest.mark.parametrize("suffix", [".png", ".jpg"])
@pytest.mark.parametrize("orientation", range(1, 9))
def test_photos_come_upright(tmp_path, orientation, suffix):
    # Orientation values: Exif 3.0 (CIPA DC-008), tag 0x0112; (row 0 is, column 0 is).
    sides = {
        1: ("top", "left"),
        2: ("top", "right"),
        3: ("bottom", "right"),
        4: ("bottom", "left"),
        5: ("left", "top"),
        6: ("right", "top"),
        7: ("right", "bottom"),
        8: ("left", "bottom"),
    }
    upright = _scene()
    stored = upright
    first_row, first_column = sides[orientation]
    if first_row in {"left", "right"}:  # the stored rows run along the upright columns
        stored = stored.transpose(1, 0, 2)
    stored = stored[::-1] if first_row in {"bottom", "right"} else stored
    stored = stored[:, ::-1] if first_column in {"bottom", "right"} else stored
    exif = Image.Exif()
    exif[0x0112] = orientation
    path = _saved(tmp_path / f"a{suffix}", np.ascontiguousarray(stored), exif=exif)
    rgb = read_photo(path).rgb
    assert rgb.shape == upright.shape
    difference = np.abs(rgb.astype(int) - upright)
    assert difference.mean() < (3 if suffix == ".jpg" else 1e-9)


def test_lens_and_time_come_from_the_exif_data(tmp_path):
    exif = Image.Exif()
    details = exif.get_ifd(0x8769)
    details[0xA405], details[0x9003] = 26, "2026:11:13 08:15:30"
    camera = read_photo(_saved(tmp_path / "a.jpg", exif=exif)).camera
    assert camera.focal_35mm == 26.0
    assert camera.taken_on.isoformat() == "2026-11-13T08:15:30"


@pytest.mark.parametrize(("focal", "taken"), [(0, "0000:00:00 00:00:00"), (65535, "yesterday")])
def test_unknown_lens_and_time_stay_unknown(tmp_path, focal, taken):
    exif = Image.Exif()
    details = exif.get_ifd(0x8769)
    details[0xA405], details[0x9003] = focal, taken
    camera = read_photo(_saved(tmp_path / "a.jpg", exif=exif)).camera
    assert camera.focal_35mm is None
    assert camera.taken_on is None


@_ONCE
@given(st.binary(max_size=300), st.sampled_from([b"II*\0\x08\0\0\0", b"MM\0*\0\0\0\x08", b""]))
def test_damaged_exif_data_never_fail_a_photo(tmp_path, garbage, start):
    data = _with_segment(_jpeg(), b"Exif\0\0" + start + garbage)
    assert read_photo(_file(tmp_path, data)).rgb.shape[2] == 3


def test_a_png_of_16_bits_is_rounded_to_8(tmp_path):
    codes = np.arange(65536, dtype=np.uint16).reshape(256, 256)
    deep = np.dstack([np.tile(codes, (3, 3))] * 3)
    path = tmp_path / "a.png"
    path.write_bytes(cv2.imencode(".png", deep)[1].tobytes())
    expected = np.rint(deep / 257.0)
    assert np.array_equal(read_photo(path).rgb, expected)


@pytest.mark.parametrize("mode", ["L", "P", "1", "I;16"])
def test_png_kinds_without_three_channels(tmp_path, mode):
    grey = Image.fromarray(_scene()).convert("L")
    if mode == "I;16":
        picture = Image.fromarray(np.asarray(grey).astype(np.uint16) * 257)
    elif mode == "P":
        picture = Image.fromarray(_scene()).quantize(32)
    else:
        picture = grey.convert(mode)
    picture.save(tmp_path / "a.png")
    expected = np.asarray((grey if mode == "I;16" else picture).convert("RGB"))
    assert np.array_equal(read_photo(tmp_path / "a.png").rgb, expected)


def test_transparency_lies_over_white(tmp_path):
    alpha = np.full((500, 700, 1), 255, np.uint8)
    alpha[:250] = 0
    alpha[250:300] = 51  # a fifth
    _saved(tmp_path / "a.png", np.dstack([np.full((500, 700, 3), 100, np.uint8), alpha]))
    rgb = read_photo(tmp_path / "a.png").rgb
    assert (rgb[0, 0] == 255).all()
    assert (rgb[270, 0] == 224).all()  # 0.2 * 100 + 0.8 * 255
    assert (rgb[400, 0] == 100).all()


def test_a_grey_and_a_cmyk_jpeg_read_as_rgb(tmp_path):
    for mode in ("L", "CMYK"):
        path = tmp_path / f"{mode}.jpg"
        Image.fromarray(_scene()).convert(mode).save(path, quality=95)
        expected = np.asarray(Image.open(path).convert("RGB"), dtype=int)
        assert np.abs(read_photo(path).rgb.astype(int) - expected).max() <= 2


def test_the_content_counts_and_not_the_name(tmp_path):
    _saved(tmp_path / "a.png").rename(tmp_path / "a.jpg")
    assert np.array_equal(read_photo(tmp_path / "a.jpg").rgb, _scene())


def test_what_follows_the_picture_does_not_matter(tmp_path):
    assert read_photo(_file(tmp_path, _jpeg() + b"\0\0\0\x18ftypmp42" + b"\0" * 999)).size_px


# --- HEIC


def test_a_heic_photo_is_read():
    pytest.importorskip("pi_heif", reason="reads HEIC; comes with the extra heic")
    photo = read_photo(HEIC)
    assert photo.size_px == (720, 480)
    assert photo.camera.focal_35mm == 26.0
    assert photo.camera.taken_on.isoformat() == "2026-11-13T08:15:00"
    centres = photo.rgb[[120, 120, 360, 360], [180, 540, 180, 540]].astype(int)
    drawn = [[234, 51, 35], [120, 160, 90], [200, 200, 200], [60, 80, 160]]  # data/README.md
    assert np.abs(centres - p3_as_srgb(drawn)).max() <= 4  # lossy codes


def test_a_heic_photo_cut_short_is_refused(tmp_path):
    pytest.importorskip("pi_heif", reason="reads HEIC; comes with the extra heic")
    data = HEIC.read_bytes()
    for share in (0.3, 0.6, 0.9):
        path = _file(tmp_path, data[: int(len(data) * share)], "a.heic")
        with pytest.raises(UnreadablePhotoError, match="damaged HEIC photo or cut short"):
            read_photo(path)


def test_heic_without_its_library_says_what_to_install(monkeypatch):
    monkeypatch.setitem(sys.modules, "pi_heif", None)
    with pytest.raises(MissingDependencyError) as caught:
        read_photo(HEIC)
    assert 'pip install "traymorph[heic]"' in caught.value.hint
    assert "Most compatible" in caught.value.hint
    assert caught.value.exit_code is ExitCode.MISSING_DEPENDENCY


# --- what is refused


@_ONCE
@given(st.floats(0.001, 0.9999))
def test_a_jpeg_cut_anywhere_is_refused(tmp_path, share):
    exif = Image.Exif()
    exif[0x010E] = "x" * 50
    data = _with_segment(_jpeg(exif=exif), b"Exif\0\0" + _thumbnail())
    path = _file(tmp_path, data[: max(4, int(len(data) * share))])
    with pytest.raises(UnreadablePhotoError, match="cut short"):
        read_photo(path)


def _thumbnail():
    file = io.BytesIO()
    Image.fromarray(_scene(60, 80)).save(file, "JPEG")
    return file.getvalue()


@pytest.mark.parametrize("share", [0.1, 0.5, 0.99])
def test_a_progressive_jpeg_and_a_png_cut_short_are_refused(tmp_path, share):
    _saved(tmp_path / "whole.png")
    for data in (_jpeg(progressive=True), (tmp_path / "whole.png").read_bytes()):
        path = _file(tmp_path, data[: int(len(data) * share)])
        with pytest.raises(UnreadablePhotoError, match="cut short"):
            read_photo(path)


def test_a_progressive_jpeg_is_read(tmp_path):
    assert read_photo(_file(tmp_path, _jpeg(progressive=True))).size_px == (700, 500)


def test_a_jpeg_filled_up_with_zeros_is_refused(tmp_path):
    data = _jpeg()
    half = len(data) // 2
    with pytest.raises(UnreadablePhotoError, match="cut short"):
        read_photo(_file(tmp_path, data[:half] + b"\0" * half))


def test_damage_in_a_png_is_refused(tmp_path):
    data = bytearray(_saved(tmp_path / "a.png").read_bytes())
    middle = len(data) // 2
    data[middle : middle + 8] = b"\x55" * 8
    with pytest.raises(UnreadablePhotoError, match=r"damaged PNG"):
        read_photo(_file(tmp_path, bytes(data)))


@pytest.mark.parametrize(
    ("data", "error", "expected"),
    [
        (b"", UnreadablePhotoError, "is empty"),
        (b"not a photo at all\n" * 9, UnreadablePhotoError, "holds text"),
        ("Gedächtnis\n".encode() * 99, UnreadablePhotoError, "holds text"),
        (bytes(range(256)) * 4, UnreadablePhotoError, "not a JPEG, PNG or HEIC"),
        (b"\xff\xd8\xff\xe0", UnreadablePhotoError, "cut short"),
        (b"\xff\xd8\xff\xd9", UnreadablePhotoError, "damaged JPEG"),
        (b"GIF89a" + b"\0" * 99, UnsupportedFormatError, "GIF"),
        (b"RIFF\0\0\0\0WEBPVP8 ", UnsupportedFormatError, "WebP"),
        (b"II*\0" + b"\0" * 99, UnsupportedFormatError, "TIFF or camera raw"),
        (b"BM" + b"\0" * 99, UnsupportedFormatError, "BMP"),
        (b"\0\0\0\x1cftypavif\0\0\0\0avifmif1miaf", UnsupportedFormatError, "AVIF"),
        (b"\0\0\0\x1cftypmif1\0\0\0\0avifmif1miaf", UnsupportedFormatError, "AVIF"),
        (b"\0\0\0\x14ftypqt  \0\0\0\0qt  ", UnsupportedFormatError, "a film"),
    ],
)
def test_other_files_are_refused_in_their_own_words(tmp_path, data, error, expected):
    with pytest.raises(error, match=expected) as caught:
        read_photo(_file(tmp_path, data))
    assert caught.value.hint
    assert caught.value.exit_code is ExitCode.PHOTO


def test_a_folder_and_a_missing_file_are_refused(tmp_path):
    (tmp_path / "a.jpg").mkdir()
    with pytest.raises(UnreadablePhotoError, match="is a folder"):
        read_photo(tmp_path / "a.jpg")
    with pytest.raises(UnreadablePhotoError, match="There is no photo"):
        read_photo(tmp_path / "b.jpg")


def test_too_few_and_too_many_pixels_are_refused(tmp_path):
    with pytest.raises(PhotoSizeError, match=r"0\.2 megapixels \(500 x 400\), too few"):
        read_photo(_saved(tmp_path / "small.png", _scene(400, 500)))


@pytest.mark.parametrize("side", [8000, 14000, 60000])
def test_a_picture_too_large_is_refused_before_it_is_decoded(tmp_path, side):
    # Only the header is changed: were it decoded, it would be told to be damaged.
    data = bytearray(_jpeg())
    frame = data.index(b"\xff\xc0")
    data[frame + 5 : frame + 9] = struct.pack(">HH", side, side)
    with pytest.raises(PhotoSizeError, match="60"):
        read_photo(_file(tmp_path, bytes(data)))


def test_a_profile_is_applied_on_the_way(tmp_path):
    rgb = np.full((500, 700, 3), (120, 160, 90), np.uint8)
    path = _saved(tmp_path / "a.png", rgb, icc_profile=matrix_profile(P3_PRIMARIES))
    assert np.abs(read_photo(path).rgb[0, 0] - p3_as_srgb([120, 160, 90])).max() <= 1
