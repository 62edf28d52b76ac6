"""From trained weights to what the package carries: ONNX, its facts, and a picture for the test."""

import hashlib
import json
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import torch

from tests.tissue_model.network import CLASSES, STRIDE, TissueNet, weight_count
from tests.tissue_model.scenes import Rendered

_OPSET = 13
_EXAMPLE_PX = 512


def recipe_hash(settings: dict, photos: list[Rendered]) -> str:
    """SHA-256 of the training code, its settings and the pixels that it learned from."""
    digest = hashlib.sha256()
    for source in sorted(Path(__file__).parent.glob("*.py")):
        digest.update(source.read_bytes())
    digest.update(json.dumps(settings, sort_keys=True).encode())
    for photo in photos:
        digest.update(photo.scene.encode())
        digest.update(np.ascontiguousarray(photo.pixels[::16, ::16]))
    return digest.hexdigest()


def write_onnx(net: TissueNet, target: Path) -> None:
    """Batch norms are folded into the convolutions; any size in multiples of 32 may go in."""
    net = net.eval().cpu().float()
    example = torch.zeros(1, 3, _EXAMPLE_PX, _EXAMPLE_PX)
    partial = target.with_suffix(".part")
    torch.onnx.export(
        net,
        (example,),
        str(partial),
        dynamo=False,
        opset_version=_OPSET,
        input_names=["rgb"],
        output_names=["scores"],
    )
    partial.replace(target)


def write_facts(net: TissueNet, target: Path, recipe: str, facts: dict) -> None:
    """The JSON beside the ONNX file."""
    made = datetime.now(UTC).date().isoformat()
    record = {
        "version": f"{made}.{recipe[:8]}",
        "recipe_sha256": recipe,
        "made_on": made,
        "classes": list(CLASSES),
        "stride": STRIDE,
        "weights": weight_count(net),
        **facts,
    }
    target.write_text(_lines(record) + "\n", encoding="utf-8")


def _lines(record: dict) -> str:
    """JSON with one line for each entry."""
    entries = ",\n".join(
        f" {json.dumps(key)}: {json.dumps(value)}" for key, value in record.items()
    )
    return "{\n" + entries + "\n}"


@torch.no_grad()
def write_parity(net: TissueNet, rgb: np.ndarray, target: Path) -> None:
    """A small picture ``rgb`` (uint8) and PyTorch's ``scores`` of it (float16, (12, h/2, w/2))."""
    net = net.eval().cpu().float()
    height, width = (min(n, 128) // STRIDE * STRIDE for n in rgb.shape[:2])
    top, left = (rgb.shape[0] - height) // 2, (rgb.shape[1] - width) // 2
    picture = np.ascontiguousarray(rgb[top : top + height, left : left + width])
    x = torch.from_numpy(picture).permute(2, 0, 1).unsqueeze(0).float() / 255
    np.savez_compressed(target, rgb=picture, scores=net(x)[0].numpy().astype(np.float16))
