"""The program's structure holds."""

import ast
import os
import subprocess
import sys
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
MODULES = sorted((ROOT / "traymorph").rglob("*.py"))


@cache
def tree(module):
    return ast.parse(module.read_text(encoding="utf-8"))


@cache
def libraries(module):
    """First parts of all names that a module imports, wherever in it."""
    names = set()
    for node in ast.walk(tree(module)):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            names.add(node.module or "")
    return {name.split(".")[0] for name in names}


@pytest.mark.slow
def test_import_contract_holds(tmp_path):
    command = Path(sys.executable).with_name("lint-imports")
    told = subprocess.run(  # noqa: S603 - a tool of the test environment
        [command, "--config", ROOT / "pyproject.toml", "--cache-dir", tmp_path],
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert told.returncode == 0, told.stdout + told.stderr
    assert "0 broken" in told.stdout


@pytest.mark.parametrize("module", MODULES, ids=lambda path: str(path.relative_to(ROOT)))
def test_module_says_what_it_is_for_and_prints_nothing(module):
    parsed = tree(module)
    if module.name != "__main__.py" or parsed.body:
        assert (ast.get_docstring(parsed) or "").strip(), "a module docstring is missing"
    calls = [node.func for node in ast.walk(parsed) if isinstance(node, ast.Call)]
    prints = [call for call in calls if isinstance(call, ast.Name) and call.id == "print"]
    assert not prints, "results go through the command line, the rest through logging"


@pytest.mark.parametrize(
    ("library", "allowed"),
    [
        ("click", {"cli"}),
        ("sqlalchemy", {"store"}),
        ("pydantic", {"config"}),
        ("reportlab", {"card/pdf.py", "report/labels.py"}),
        ("segno", {"report/labels.py"}),
        ("zxingcpp", {"intake/labels.py"}),
        ("pi_heif", {"intake"}),
    ],
)
def test_a_library_is_known_in_its_own_place_only(library, allowed):
    users = {
        module.relative_to(ROOT / "traymorph").as_posix()
        for module in MODULES
        if library in libraries(module)
    }
    assert users, f"{library} is used nowhere"
    strangers = [one for one in users if one not in allowed and one.split("/")[0] not in allowed]
    assert not strangers
