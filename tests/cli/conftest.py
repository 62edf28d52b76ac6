import json
import shutil

import pytest

from tests.cli.running import TRIAL, Outcome, copy_trial, traymorph


@pytest.fixture(scope="session", autouse=True)
def _no_width_from_outside():
    """Tables are as wide as without a terminal, whatever the surroundings say of one."""
    with pytest.MonkeyPatch.context() as patch:
        patch.delenv("COLUMNS", raising=False)
        yield


@pytest.fixture(scope="session")
def truth():
    return json.loads((TRIAL / "truth.json").read_text(encoding="utf-8"))


@pytest.fixture(scope="session")
def first_run(tmp_path_factory) -> tuple:
    """The small trial, measured once: (folder, outcome). Not to be changed."""
    folder = copy_trial(tmp_path_factory.mktemp("first") / "trial")
    outcome = traymorph("measure", folder, "--masks", "--workers", 1)
    assert isinstance(outcome, Outcome)
    return folder, outcome


@pytest.fixture
def measured(first_run, tmp_path):
    """A copy of the measured trial, ledger and results included, to do with as one likes."""
    folder = tmp_path / "trial"
    shutil.copytree(first_run[0], folder)
    return folder


@pytest.fixture
def fresh(tmp_path):
    """The small trial, never measured."""
    return copy_trial(tmp_path / "trial")
