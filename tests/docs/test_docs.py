"""The documentation says what the program does."""

import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from tests.docs.reference_pages import DOCS, PAGES, error_classes
from traymorph.cli.main import cli
from traymorph.flags import FLAGS

ROOT = Path(__file__).parents[2]


@pytest.mark.parametrize("name", PAGES)
def test_reference_pages_are_fresh(name):
    written = (DOCS / name).read_text(encoding="utf-8")
    assert written == PAGES[name](), "run: python -m tests.docs.reference_pages"


def test_every_command_and_option_is_in_the_command_page():
    page = (DOCS / "commands.md").read_text(encoding="utf-8")
    context = cli.make_context("traymorph", ["--help"], resilient_parsing=True)
    for name in cli.list_commands(context):
        assert f"traymorph {name}" in page
        command = cli.get_command(context, name)
        for parameter in command.params:
            for option in parameter.opts:
                if option.startswith("--"):
                    assert option in page, f"{name} {option}"


def test_help_of_every_command_prints():
    for name in cli.commands or ["card", "measure", "metrics"]:
        outcome = CliRunner().invoke(cli, [name, "--help"])
        assert outcome.exit_code == 0, outcome.output


def test_every_error_explains_itself():
    for kind in error_classes():
        assert (kind.__doc__ or "").strip()
        assert kind.exit_code > 1, f"{kind.__name__} must not look like a bug"


def test_links_between_pages_lead_somewhere():
    pages = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *DOCS.glob("*.md")]
    for page in pages:
        for target in re.findall(r"\]\(([^)#\s]+)", page.read_text(encoding="utf-8")):
            if not target.startswith(("http:", "https:", "mailto:")):
                assert (page.parent / target).exists(), f"{page.name} -> {target}"


def test_readme_opens_with_the_job_and_has_two_one_line_commands():
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    blocks = re.findall(r"^```sh\n(.*?)^```$", text, flags=re.MULTILINE | re.DOTALL)
    assert len(blocks) >= 2
    assert all(len(block.strip().splitlines()) == 1 for block in blocks[:2])
    assert "traymorph measure sample_images" in blocks[0]
    assert "pytest" in blocks[1]


def test_flags_in_the_code_are_declared():
    used = set()
    for source in (ROOT / "traymorph").rglob("*.py"):
        used |= set(re.findall(r'flag\("(\w+)"\)', source.read_text(encoding="utf-8")))
    assert used <= set(FLAGS)
