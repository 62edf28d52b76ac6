"""Command line of the training: ``python -m tests.tissue_model train --data DIR --out FILE``."""

import argparse
import json
import sys
from pathlib import Path

import cv2
import numpy as np

from tests.tissue_model.blend import blend
from tests.tissue_model.judge import Predict, contact_sheet, judged, summary
from tests.tissue_model.photographs import gate
from tests.tissue_model.scenes import read_folder
from tests.tissue_model.spoil import SPOILS
from tests.tissue_model.train import Settings, showing, train
from traymorph.segment.learned import LearnedTissue


def main() -> int:
    """Read the arguments and run a command."""
    parser = argparse.ArgumentParser(prog="python -m tests.tissue_model", description=__doc__)
    commands = parser.add_subparsers(dest="command", required=True)
    learn = commands.add_parser("train", help="learn from rendered scenes and export")
    learn.add_argument("--data", type=Path, action="append", required=True, help="may be repeated")
    learn.add_argument("--out", type=Path, required=True, help="the ONNX file to write")
    learn.add_argument("--minutes", type=float, default=7.0, help="of training alone")
    learn.add_argument("--seed", type=int, default=1)
    learn.add_argument(
        "--leave-out",
        default="",
        metavar="KIND",
        help="judge by this crop alone, or by pea-like, red or brown leaves",
    )
    learn.add_argument("--start", default="", metavar="ONNX", help="go on from this network")
    learn.add_argument("--batch", type=int, default=48)
    learn.add_argument("--crop-px", type=int, default=448, help="multiple of 32")
    learn.add_argument("--textures", type=int, default=320, help="kept at a time")
    learn.add_argument("--texture-px", type=int, default=768)
    join = commands.add_parser("blend", help="mean of the weights of several runs from one start")
    join.add_argument("runs", type=Path, nargs="+", metavar="ONNX")
    join.add_argument("--out", type=Path, required=True, help="the ONNX file to write")
    check = commands.add_parser("judge", help="figures of an ONNX file on scenes and photographs")
    check.add_argument("--model", type=Path, required=True)
    check.add_argument("--data", type=Path, action="append", default=[], help="may be repeated")
    check.add_argument("--showing", default="", metavar="KIND", help="only these scenes")
    check.add_argument("--spoilt", action="store_true", help="blurred, too light, too dark as well")
    check.add_argument("--photographs", type=Path, help="folder with photos/ and masks/")
    check.add_argument("--sheet", type=Path, help="PNG of photo, truth and prediction")
    arguments = parser.parse_args()
    return {"train": _train, "blend": _blend, "judge": _judge}[arguments.command](arguments)


def _train(arguments: argparse.Namespace) -> int:
    settings = Settings(
        arguments.minutes,
        arguments.seed,
        arguments.leave_out,
        arguments.start,
        arguments.batch,
        arguments.crop_px,
        arguments.textures,
        arguments.texture_px,
    )
    train(arguments.data, arguments.out, settings)
    return 0


def _blend(arguments: argparse.Namespace) -> int:
    blend(arguments.runs, arguments.out)
    return 0


def _judge(arguments: argparse.Namespace) -> int:
    model = LearnedTissue(arguments.model.read_bytes())

    def predict(rgb: np.ndarray) -> np.ndarray:
        leaf, stem = model.shares(rgb)
        return np.stack([1 - leaf - stem, leaf, stem])

    if arguments.photographs:
        for width, figures in gate(predict, arguments.photographs).items():
            print("photographs", width, json.dumps(figures))  # noqa: T201
    if arguments.data:
        _judge_scenes(predict, arguments)
    return 0


def _judge_scenes(predict: Predict, arguments: argparse.Namespace) -> None:
    photos = [photo for folder in arguments.data for photo in read_folder(folder, threads=2)]
    photos = showing(photos, arguments.showing) if arguments.showing else photos
    if arguments.spoilt:
        for name, spoil in SPOILS.items():
            rows = judged(lambda rgb, spoil=spoil: predict(spoil(rgb)), photos, calibrated=True)
            print(name, json.dumps(summary(rows)))  # noqa: T201
        return
    for name, calibrated in (("calibrated", True), ("as photographed", False)):
        rows = judged(predict, photos, calibrated=calibrated)
        for view, table in summary(rows).items():
            print(name, view, json.dumps(table))  # noqa: T201
        for row in sorted(rows, key=lambda r: r["plant"])[:5]:
            print(json.dumps(row))  # noqa: T201
    if arguments.sheet:
        sheet = contact_sheet(predict, photos[:24], calibrated=True)
        cv2.imwrite(str(arguments.sheet), sheet[..., ::-1])


if __name__ == "__main__":
    sys.exit(main())
