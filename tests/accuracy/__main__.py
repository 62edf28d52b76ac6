"""``python -m tests.accuracy RENDERED_SET --out DIR``: the tables of docs/accuracy.md.

Beside the tables, ``DIR/worst/METRIC`` holds pictures of the scenes that are farthest off.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from tests.accuracy.pictures import draw_worst
from tests.accuracy.readings import BOTH_VIEWS, read_scene
from tests.accuracy.tables import report
from traymorph.model.photo import View


def main() -> int:
    """Measure what has not been measured yet, draw the worst, then print the tables."""
    parser = argparse.ArgumentParser(prog="python -m tests.accuracy", description=__doc__)
    parser.add_argument("rendered", type=Path, help="folder with one sub-folder per scene")
    parser.add_argument("--out", type=Path, required=True, help="where readings are kept")
    parser.add_argument("--light", choices=["all", "white", "grow"], default="white")
    parser.add_argument(
        "--without-side", action="store_true", help="as if no side photo had been taken"
    )
    arguments = parser.parse_args()
    out = arguments.out / "without_side" if arguments.without_side else arguments.out
    views = (View.OVERHEAD,) if arguments.without_side else BOTH_VIEWS
    out.mkdir(parents=True, exist_ok=True)
    scenes = []
    for truth in sorted(arguments.rendered.glob("*/truth.json")):
        scene = read_scene(truth.parent, out, views)
        print(truth.parent.name, *scene["failures"], file=sys.stderr, flush=True)
        if arguments.light == "all" or (scene["light"] == "grow") == (arguments.light == "grow"):
            scenes.append(scene)
    draw_worst(scenes, arguments.rendered, out)
    print(report(scenes))
    return 0


if __name__ == "__main__":
    sys.exit(main())
