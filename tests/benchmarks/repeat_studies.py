"""How well `traymorph repeatability` finds what is put in: invented studies of the measuring.

Sources are independent and normal. ``python -m tests.benchmarks.repeat_studies`` prints, for each
study, the mean of every estimated component over its truth and how often 95 % intervals hold.
"""

import argparse
from dataclasses import dataclass

import numpy as np

from traymorph.stats.measuring.repeat_designs import Cells, find_design

_TRUE = {"batch": 0.8, "tray": 1.0, "operator": 0.3, "tray_by_operator": 0.2, "repeat": 0.4}
_OF_MEASURING = ("operator", "tray_by_operator", "repeat")


@dataclass(frozen=True)
class Study:
    name: str
    trays: int
    operators: int
    photos: int
    lost: float = 0.0
    own_trays: bool = False
    batches: int = 0

    def cells(self):
        tray, operator, _ = np.indices((self.trays, self.operators, self.photos)).reshape(3, -1)
        if self.own_trays:
            mine = tray % self.operators == operator
            tray, operator = tray[mine], operator[mine]
        batch = tray * self.batches // self.trays if self.batches else None
        kept = np.random.default_rng(99).random(len(tray)) >= self.lost
        return Cells(tray, operator, batch).only(np.flatnonzero(kept))


STUDIES = (
    Study("10 trays, 3 people, 3 photos", 10, 3, 3),
    Study("the same, a quarter of the photos lost", 10, 3, 3, lost=0.25),
    Study("the same, half of the photos lost", 10, 3, 3, lost=0.5),
    Study("10 trays, 2 people, 2 photos", 10, 2, 2),
    Study("10 trays, 3 people, 1 photo", 10, 3, 1),
    Study("8 trays, 1 person, 3 photos", 8, 1, 3),
    Study("12 trays, 3 people with 4 trays each, 3 photos", 12, 3, 3, own_trays=True),
    Study("4 batches of 3 trays, 1 person, 2 photos", 12, 1, 2, batches=4),
    Study("4 batches of 3 trays, 2 people, 2 photos", 12, 2, 2, batches=4),
)


def run(study, trials, seed):
    """Mean estimate over truth by source, share of intervals that hold by source or sum."""
    cells = study.cells()
    design = find_design(cells)
    truth = {name: _TRUE[name] ** 2 for name in design.layout.names}
    codes = {"batch": cells.batch, "tray": cells.tray, "operator": cells.operator,
             "tray_by_operator": cells.cell}  # fmt: skip
    draw = np.random.default_rng(seed)
    found = {name: [] for name in truth}
    holds = {name: [] for name in (*truth, "measuring", "share of measuring")}
    measuring = sum(truth.get(name, 0.0) for name in _OF_MEASURING)
    for _ in range(trials):
        values = draw.normal(0, _TRUE["repeat"], len(cells.tray))
        for name in (one for one in codes if one in truth):
            values += draw.normal(0, _TRUE[name], codes[name].max() + 1)[codes[name]]
        for name, variance in zip(
            design.layout.names, design.layout.estimate(values).variances, strict=True
        ):
            found[name].append(variance / truth[name])
        chosen, _, _ = design.choose(values)
        part = chosen.estimate(values)
        drawn = np.maximum(part.draws, 0.0)
        mine = [k for k, name in enumerate(part.names) if name in _OF_MEASURING]
        asked = dict(zip(part.names, drawn.T, strict=True))
        asked["measuring"] = drawn[:, mine].sum(axis=1)
        asked["share of measuring"] = asked["measuring"] / drawn.sum(axis=1)
        true = {**truth, "measuring": measuring,
                "share of measuring": measuring / sum(truth.values())}  # fmt: skip
        for name, one in asked.items():
            low, high = np.quantile(one, [0.025, 0.975])
            holds[name].append(low <= true[name] <= high)
    return (
        {name: float(np.mean(held)) for name, held in found.items()},
        {name: float(np.mean(held)) for name, held in holds.items() if held},
    )


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--trials", type=int, default=1500)
    parser.add_argument("--seed", type=int, default=0)
    options = parser.parse_args()
    for study in STUDIES:
        found, holds = run(study, options.trials, options.seed)
        print(study.name)
        print("  mean over truth:", ", ".join(f"{k} {v:.2f}" for k, v in found.items()))
        print("  intervals hold: ", ", ".join(f"{k} {100 * v:.1f} %" for k, v in holds.items()))


if __name__ == "__main__":
    main()
