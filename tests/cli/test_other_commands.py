"""`traymorph card`, `traymorph metrics`, help, and what a fresh machine may lack."""

import json
import subprocess
import sys
import xml.etree.ElementTree as ET

import pytest
from PIL import Image

from tests.cli.running import TRIAL, traymorph
from traymorph import __version__
from traymorph.errors import ExitCode
from traymorph.flags import FLAGS
from traymorph.model.metrics import METRICS

HEAVY = ("cv2", "skimage", "scipy", "pandas", "numpy", "PIL", "sqlalchemy", "pydantic", "reportlab")


def python(code, **more):
    return subprocess.run(  # noqa: S603 - our own interpreter and code
        [sys.executable, "-c", code], capture_output=True, text=True, check=False, **more
    )


class TestCard:
    @pytest.mark.parametrize("role", ["overhead", "side", "board"])
    def test_png_has_the_card_s_size_by_its_dpi(self, tmp_path, role):
        out = tmp_path / f"{role}.png"
        outcome = traymorph("card", out, "--role", role, "--dpi", 150)
        assert outcome.code == 0, outcome.stderr
        assert outcome.stdout == ""
        with Image.open(out) as picture:
            # PNG stores whole pixels per metre (W3C PNG, pHYs): half of one is 0.0127 dpi.
            assert picture.info["dpi"] == pytest.approx((150, 150), abs=0.0128)
            assert min(picture.size) / 150 * 25.4 > 50, "a card is larger than 5 cm"

    def test_svg_is_in_millimetres(self, tmp_path):
        out = tmp_path / "side.svg"
        assert traymorph("card", out, "--role", "side").code == 0
        root = ET.parse(out).getroot()  # noqa: S314 - written by ourselves
        assert root.tag.endswith("svg")
        assert root.attrib["width"].endswith("mm")

    @pytest.mark.parametrize("paper", ["a4", "letter"])
    def test_pdf_without_role_holds_them_all(self, tmp_path, paper):
        out = tmp_path / "cards.PDF"
        assert traymorph("card", out, "--paper", paper).code == 0
        assert out.read_bytes().startswith(b"%PDF-")
        assert b"%%EOF" in out.read_bytes()[-64:]

    @pytest.mark.parametrize(
        ("arguments", "words"),
        [
            (["card.jpg", "--role", "side"], ".png"),
            (["card", "--role", "side"], ".pdf"),
            (["card.png"], "--role"),
            (["card.svg"], "--role"),
            (["card.pdf", "--role", "top"], "top"),
            (["card.pdf", "--paper", "a3"], "a3"),
            (["card.png", "--role", "side", "--dpi", "10"], "--dpi"),
            ([], "OUT"),
        ],
    )
    def test_wrong_use_is_explained(self, tmp_path, monkeypatch, arguments, words):
        monkeypatch.chdir(tmp_path)
        outcome = traymorph("card", *arguments)
        assert outcome.code == 2
        assert words in outcome.stderr
        assert list(tmp_path.iterdir()) == []

    def test_a_place_that_cannot_be_written_is_named(self, tmp_path):
        (tmp_path / "no folder").write_text("", encoding="utf-8")
        outcome = traymorph("card", tmp_path / "no folder" / "card.pdf")
        assert outcome.code == ExitCode.STORE
        assert "card.pdf cannot be written" in outcome.stderr
        assert "Traceback" not in outcome.stderr


class TestMetrics:
    def test_every_metric_and_flag_is_explained(self):
        outcome = traymorph("metrics")
        assert outcome.code == 0
        lines = outcome.stdout.splitlines()
        for spec in METRICS.values():
            assert f"{spec.name}  [{spec.unit}]  from the {spec.view} photo" in lines
        assert set(FLAGS) <= set(lines)
        assert outcome.stderr == ""

    def test_a_reader_who_stops_early_is_no_failure(self):
        # A pipe holds less than the text is long, so that writing meets its closed end.
        with subprocess.Popen(
            [sys.executable, "-m", "traymorph", "metrics"],
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        ) as running:  # fmt: skip
            running.stdout.close()
            said = running.stderr.read()
        assert running.returncode == 0
        assert said == ""

    def test_json_holds_the_same(self):
        content = json.loads(traymorph("metrics", "--json").stdout)
        assert [one["name"] for one in content["metrics"]] == list(METRICS)
        assert [one["name"] for one in content["flags"]] == list(FLAGS)
        assert all(one["definition"] and one["source"] for one in content["metrics"])


class TestHelp:
    def test_help_names_every_command(self):
        outcome = traymorph("--help")
        assert outcome.code == 0
        for name in ("card", "measure", "metrics"):
            assert name in outcome.stdout

    def test_no_argument_at_all_shows_help(self):
        outcome = traymorph()
        assert outcome.code in {0, 2}
        assert "measure" in outcome.stdout + outcome.stderr

    def test_version(self):
        assert __version__ in traymorph("--version").stdout

    @pytest.mark.parametrize(
        "code", ["import traymorph", "from traymorph.cli.main import run; run(['--help'])"]
    )
    def test_no_heavy_library_is_loaded(self, code):
        told = python(f"{code}\nimport sys\nprint('LOADED', *sys.modules)")
        assert told.returncode == 0, told.stderr
        loaded = set(told.stdout.split("LOADED", 1)[1].split())
        assert "traymorph" in loaded
        assert loaded.isdisjoint(HEAVY)


class TestMissingLibraries:
    @pytest.mark.parametrize(
        "words",
        [
            "libGL.so.1: cannot open shared object file: No such file or directory",
            "libgthread-2.0.so.0: cannot open shared object file: No such file or directory",
        ],
    )
    def test_opencv_without_system_libraries(self, tmp_path, words):
        (tmp_path / "cv2.py").write_text(f"raise ImportError({words!r})\n")
        photo = TRIAL / "photos" / "T01" / "T01_side.jpg"
        told = python(
            f"import sys; sys.path.insert(0, {str(tmp_path)!r})\n"
            "from traymorph.cli.main import run\n"
            f"sys.exit(run(['measure', {str(photo)!r}]))"
        )
        assert told.returncode == 8, told.stderr
        assert "OpenCV cannot be loaded" in told.stderr
        assert "apt install libgl1" in told.stderr
        assert "Traceback" not in told.stderr

    def test_another_missing_library_is_named(self):
        told = python(
            "import sys; sys.modules['sqlalchemy'] = None\n"
            "from traymorph.cli.main import run\n"
            f"sys.exit(run(['measure', {str(TRIAL)!r}]))"
        )
        assert told.returncode == 8, told.stderr
        assert "sqlalchemy" in told.stderr
        assert "pip install" in told.stderr
