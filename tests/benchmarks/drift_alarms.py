"""How soon `traymorph drift` finds a slide, and how often it cries wolf: invented seasons.

Batches are independent and normal; twenty are the baseline, twenty more follow, with or without a
lasting shift from the first of these on. ``python -m tests.benchmarks.drift_alarms``
"""

import argparse

import numpy as np

from traymorph.model.drift import CUSUM_DOWN, CUSUM_UP, EWMA, INDIVIDUALS, SELF_DOWN, SELF_UP
from traymorph.stats.drift.baseline import level_of
from traymorph.stats.drift.charts import WEIGHT, cusums, ewma, individuals, self_starting
from traymorph.stats.drift.run_lengths import ewma_width, shewhart_run_length

_LIMIT = 5.0
_WATCHED = 20


def season(values, baseline):
    """Names of the charts that signal after the baseline, with the batch of the first signal."""
    charts = list(self_starting(values, _LIMIT))
    if baseline:
        level = level_of(values[:baseline])
        width = ewma_width(WEIGHT, shewhart_run_length())
        charts = [individuals(values, level), ewma(values, level, width)]
        charts += cusums(values, level, _LIMIT)
    found = {}
    for chart in charts:
        places = [k for k, signal in enumerate(chart.signals) if signal and k >= baseline]
        if places:
            found[chart.name] = places[0] - baseline + 1
    return found


def share(found, names):
    return np.mean([any(name in one for name in names) for one in found])


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seasons", type=int, default=1000)
    seasons = parser.parse_args().seasons
    draw = np.random.default_rng(5)
    for baseline in (20, 50):
        for shift in (0.0, 1.0, 2.0):
            found = []
            for _ in range(seasons):
                values = draw.standard_normal(baseline + _WATCHED)
                values[baseline:] += shift
                found.append(season(values, baseline))
            parts = {
                "individuals": (INDIVIDUALS,), "EWMA": (EWMA,), "CUSUM": (CUSUM_UP, CUSUM_DOWN),
                "any": (INDIVIDUALS, EWMA, CUSUM_UP, CUSUM_DOWN),
            }  # fmt: skip
            shares = ", ".join(f"{name} {share(found, held):.0%}" for name, held in parts.items())
            first = [min(one.values()) for one in found if one]
            print(f"baseline {baseline}, shift {shift:g}: {shares}; median first signal in batch "
                  f"{np.median(first):.0f}")  # fmt: skip
    found = [season(draw.standard_normal(20), 0) for _ in range(seasons)]
    print(f"self-starting, 20 steady batches: {share(found, (SELF_UP, SELF_DOWN)):.0%}")


if __name__ == "__main__":
    main()
