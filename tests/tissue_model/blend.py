"""One network from several that went on from the same start: the mean of their weights.

Runs from one start with different seeds end in one basin, and the mean of their weights is mostly
better than the best of them, at the cost of one (Wortsman, M. et al. 2022, "Model soups", PMLR
162:23965-23998).
"""

import copy
import hashlib
import json
from pathlib import Path

import numpy as np
import torch

from tests.tissue_model.export import write_facts, write_onnx, write_parity
from tests.tissue_model.network import TissueNet

_SHARED = ("settings", "photos", "typical_mm_per_px")


def blend(runs: list[Path], out: Path) -> None:
    """Write ``out`` with .json and .parity.npz beside it.

    Parameters
    ----------
    runs : the ONNX files of finished runs, each with its .pt, .json and .parity.npz beside it
    out : the ONNX file to write
    """
    states = [torch.load(run.with_suffix(".pt"), map_location="cpu") for run in runs]
    facts = [json.loads(run.with_suffix(".json").read_text("utf-8")) for run in runs]
    net = TissueNet()
    net.load_state_dict(mean_of(states))
    out.parent.mkdir(parents=True, exist_ok=True)
    with np.load(runs[0].with_suffix(".parity.npz")) as example:
        write_parity(copy.deepcopy(net), example["rgb"], out.with_suffix(".parity.npz"))
    write_onnx(copy.deepcopy(net), out)
    recipes = [one["recipe_sha256"] for one in facts]
    told = {
        "onnx_sha256": hashlib.sha256(out.read_bytes()).hexdigest(),
        "mean_of": recipes,
        "steps": [one["steps"] for one in facts],
        "seeds": [one["settings"]["seed"] for one in facts],
        **{name: facts[0][name] for name in _SHARED},
    }
    recipe = hashlib.sha256("".join(recipes).encode()).hexdigest()
    write_facts(net, out.with_suffix(".json"), recipe, told)


def mean_of(states: list[dict[str, torch.Tensor]]) -> dict[str, torch.Tensor]:
    """Mean of weights and of the norms' statistics, entry by entry."""
    return {
        name: torch.stack([state[name].double() for state in states]).mean(0).to(one.dtype)
        for name, one in states[0].items()
    }
