"""``python -m tests.benchmarks.false_alarms``: how often a comparison cries wolf.

Trials without any effect of the treatment, with variation between blocks, trays and plants, go
through the comparison as a user's would. Written into docs/statistics.md.
"""

from __future__ import annotations

import argparse
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context

import numpy as np

from traymorph.model.comparison import Question, TrayTable
from traymorph.stats.treatments.compare import compare_treatments

_EXPLORATORY = 8
_SHARED = 0.5
"""Correlation between the metrics of a tray."""
_PLANTS = 20
_BLOCK_SD, _TRAY_SD, _PLANT_SD = 6.0, 4.0, 8.0


@dataclass(frozen=True)
class Design:
    """A trial to be repeated.

    Attributes
    ----------
    name : as the table shows it
    trays : replicates of each treatment
    blocks : whether each replicate of every treatment shares a block
    control : whether the first treatment is a named control
    spread : standard deviation between trays of each treatment, to the usual one
    """

    name: str
    trays: tuple[int, ...]
    blocks: bool = False
    control: bool = True
    spread: tuple[float, ...] = ()


DESIGNS = (
    Design("2 treatments, 3 trays", (3, 3)),
    Design("2 treatments, 5 trays", (5, 5)),
    Design("2 treatments, 8 trays", (8, 8)),
    Design("2 treatments, 4 and 10 trays, spread 2 : 1", (4, 10), spread=(2.0, 1.0)),
    Design("2 treatments, 10 and 5 trays, spread 1 : 3", (10, 5), spread=(1.0, 3.0)),
    Design("2 treatments in 3 blocks", (3, 3), blocks=True),
    Design("2 treatments in 6 blocks", (6, 6), blocks=True),
    Design("4 treatments against a control, 5 trays", (5, 5, 5, 5)),
    Design("4 treatments against a control in 5 blocks", (5, 5, 5, 5), blocks=True),
    Design("3 treatments, all pairs, 5 trays", (5, 5, 5), control=False),
    Design("3 treatments, all pairs, in 5 blocks", (5, 5, 5), blocks=True, control=False),
)


def main() -> int:
    """Simulate every design and print the table."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.false_alarms")
    parser.add_argument("--trials", type=int, default=10_000)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--seed", type=int, default=1)
    arguments = parser.parse_args()
    print("| design | primary | exploratory family | intervals hold |")
    print("|---|---|---|---|")
    for design in DESIGNS:
        primary, family, held = _rates(design, arguments)
        error = 100 * np.sqrt(0.05 * 0.95 / arguments.trials)
        print(
            f"| {design.name} | {100 * primary:.2f} % | {100 * family:.2f} % "
            f"| {100 * held:.2f} % |",
            flush=True,
        )
    print(f"\n{arguments.trials} trials each; standard error {error:.2f} points at 5 %.")
    return 0


def _rates(design: Design, arguments: argparse.Namespace) -> tuple[float, float, float]:
    shares = np.array_split(np.arange(arguments.trials), max(arguments.workers, 1))
    seeds = np.random.SeedSequence([arguments.seed, DESIGNS.index(design)]).spawn(len(shares))
    jobs = [(design, len(share), seed) for share, seed in zip(shares, seeds, strict=True)]
    if arguments.workers <= 1:
        counts = [count_alarms(*job) for job in jobs]
    else:
        with ProcessPoolExecutor(arguments.workers, mp_context=get_context("spawn")) as pool:
            counts = list(pool.map(count_alarms, *zip(*jobs, strict=True)))
    total = np.sum(counts, axis=0) / arguments.trials
    return float(total[0]), float(total[1]), float(total[2])


def count_alarms(design: Design, trials: int, seed: np.random.SeedSequence) -> np.ndarray:
    """Count trials with a false alarm in the primary metric, in the others, and held intervals.

    Parameters
    ----------
    design : Design
        What is repeated.
    trials : int
        How often.
    seed : SeedSequence
        Of the random numbers.

    Returns
    -------
    ndarray of int, shape (3,)
        An interval counts as held where all of the primary metric's hold at once.
    """
    rng = np.random.default_rng(seed)
    names = [f"treatment {k}" for k in range(len(design.trays))]
    treatment = tuple(name for name, n in zip(names, design.trays, strict=True) for _ in range(n))
    block = np.concatenate([np.arange(n) for n in design.trays])
    spread = np.repeat(design.spread or [1.0] * len(names), design.trays)
    metrics = ["primary", *(f"other {k}" for k in range(_EXPLORATORY))]
    question = Question(control=names[0] if design.control else None, primary="primary")
    columns = {
        "tray_id": tuple(f"T{k}" for k in range(len(treatment))),
        "treatment": treatment,
        **({"block": tuple(f"block {k}" for k in block)} if design.blocks else {}),
    }
    found = np.zeros(3, dtype=np.int64)
    unknown = np.full(len(treatment), np.nan)
    for _ in range(trials):
        values = _trial(rng, len(metrics), block if design.blocks else None, spread)
        table = TrayTable(
            columns,
            dict(zip(metrics, values, strict=True)),
            dict.fromkeys(metrics, unknown),
            (frozenset(),) * len(treatment),
            dict.fromkeys(metrics, "1"),
        )
        rows = compare_treatments(table, question, metrics).differences
        primary = [row for row in rows if row.family == "primary"]
        found[0] += any(row.p_adjusted <= 0.05 for row in primary)
        found[1] += any(row.p_adjusted <= 0.05 for row in rows if row.family == "exploratory")
        found[2] += all(row.ci_low <= 0.0 <= row.ci_high for row in primary)
    return found


def _trial(
    rng: np.random.Generator, metrics: int, block: np.ndarray | None, spread: np.ndarray
) -> np.ndarray:
    """Tray means, shape (metrics, trays): block, tray, and the mean over the tray's plants."""
    trays = len(spread)
    common = rng.normal(size=trays)
    own = rng.normal(size=(metrics, trays))
    tray = _TRAY_SD * (np.sqrt(_SHARED) * common + np.sqrt(1.0 - _SHARED) * own)
    plants = _PLANT_SD * rng.normal(size=(metrics, trays, _PLANTS)).mean(axis=2)
    values = 100.0 + spread * (tray + plants)
    if block is not None:
        values = values + _BLOCK_SD * rng.normal(size=(metrics, int(block.max()) + 1))[:, block]
    return values


if __name__ == "__main__":
    sys.exit(main())
