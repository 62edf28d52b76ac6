"""Command line of the scene maker: `python -m tests.scenes render|list|trial|pack`."""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import time
from pathlib import Path

from tests.scenes import sets
from tests.scenes.trial import pack_scenes, write_trial


def main() -> int:
    """Read the arguments and run a command."""
    parser = argparse.ArgumentParser(prog="python -m tests.scenes", description=__doc__)
    commands = parser.add_subparsers(dest="command", required=True)
    render = commands.add_parser("render", help="render the photos of a set with their truth")
    render.add_argument("--set", dest="name", choices=list(sets.SETS), required=True)
    render.add_argument("--out", type=Path, required=True)
    render.add_argument("--only", nargs="*", help="ids of scenes")
    render.add_argument("--first", type=int, default=0, help="number of the first scene")
    render.add_argument("--count", type=int, help="how many scenes")
    render.add_argument("--cards", type=Path, default=Path(".cards"))
    render.add_argument("--megapixels", type=float)
    render.add_argument("--spp", type=int, help="samples per pixel")
    render.add_argument("--workers", type=int, default=1, help="processes, for one large machine")
    render.add_argument("--budget", type=float, default=1e9, help="seconds after which to stop")
    render.add_argument("--denoise", action=argparse.BooleanOptionalAction, default=True)
    listing = commands.add_parser("list", help="name the scenes of a set")
    listing.add_argument("--set", dest="name", choices=list(sets.SETS), required=True)
    trial = commands.add_parser("trial", help="make a trial folder of a rendered set")
    trial.add_argument("--from", dest="source", type=Path, required=True)
    trial.add_argument("--out", type=Path, required=True)
    trial.add_argument("--layout", choices=["folders", "list"], default="list")
    pack = commands.add_parser("pack", help="pack rendered scenes into archives of limited size")
    pack.add_argument("--from", dest="source", type=Path, required=True)
    pack.add_argument("--out", type=Path, required=True)
    pack.add_argument("--mib", type=float, default=15.0, help="size limit of one archive")
    arguments = parser.parse_args()
    return _COMMANDS[arguments.command](arguments)


def _render(arguments: argparse.Namespace) -> int:
    specs = sets.scenes(arguments.name)
    if arguments.only:
        specs = [s for s in specs if s["id"] in arguments.only]
    last = None if arguments.count is None else arguments.first + arguments.count
    specs = specs[arguments.first : last]
    todo = [s for s in specs if not (arguments.out / s["id"] / "truth.json").exists()]
    if arguments.workers > 1 and len(todo) > 1:
        return _in_processes(arguments, [s["id"] for s in todo])
    # Only rendering needs the renderer.
    from tests.scenes.board_shoot import shoot_board  # noqa: PLC0415
    from tests.scenes.shoot import shoot_tray  # noqa: PLC0415

    options = {
        "megapixels": arguments.megapixels,
        "samples": arguments.spp,
        "denoise": arguments.denoise,
    }
    started, failed = time.perf_counter(), 0
    for number, spec in enumerate(todo, 1):
        if time.perf_counter() - started > arguments.budget:
            break
        begin = time.perf_counter()
        shoot = shoot_board if "board" in spec["views"] else shoot_tray
        result = "done"
        try:
            shoot(spec, arguments.out / spec["id"], arguments.cards, options)
        except RuntimeError as error:  # one scene must not cost the others
            failed += 1
            result = f"failed: {error}"
        spent = time.perf_counter() - begin
        print(
            f"{number}/{len(todo)} {spec['id']} {result} {spent:.1f} s", file=sys.stderr, flush=True
        )
    return int(failed > 0)


def _in_processes(arguments: argparse.Namespace, ids: list[str]) -> int:
    """Deal the scenes out to processes of their own, which never share a renderer."""
    threads = max(1, (os.cpu_count() or 1) // arguments.workers)
    running = []
    for k in range(arguments.workers):
        mine = ids[k :: arguments.workers]
        if not mine:
            continue
        command = [sys.executable, "-m", "tests.scenes", "render", "--set", arguments.name,
                   "--out", str(arguments.out), "--cards", str(arguments.cards),
                   "--budget", str(arguments.budget), "--only", *mine]  # fmt: skip
        command += [] if arguments.denoise else ["--no-denoise"]
        command += ["--spp", str(arguments.spp)] if arguments.spp else []
        command += ["--megapixels", str(arguments.megapixels)] if arguments.megapixels else []
        running.append(
            subprocess.Popen(command, env={**os.environ, "OMP_NUM_THREADS": str(threads)})  # noqa: S603
        )
    return max(process.wait() for process in running)


def _list(arguments: argparse.Namespace) -> int:
    for spec in sets.scenes(arguments.name):
        print(spec["id"], spec["crop"], spec["medium"], spec["bench"], spec["light"]["kind"])
    return 0


def _trial(arguments: argparse.Namespace) -> int:
    for folder in write_trial(arguments.source, arguments.out, arguments.layout):
        print(folder)
    return 0


def _pack(arguments: argparse.Namespace) -> int:
    for archive in pack_scenes(arguments.source, arguments.out, arguments.mib):
        print(archive)
    return 0


_COMMANDS = {"render": _render, "list": _list, "trial": _trial, "pack": _pack}

if __name__ == "__main__":
    sys.exit(main())
