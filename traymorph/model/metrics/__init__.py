"""METRICS: the one list of what is measured; CSV headers, docs and commands all read it."""

from traymorph.model.metrics.board import BOARD, PER_PLANT
from traymorph.model.metrics.colour import COLOUR, PREFIXES
from traymorph.model.metrics.overhead import OVERHEAD
from traymorph.model.metrics.side import SIDE
from traymorph.model.metrics.spec import MetricSpec

__all__ = ["METRICS", "PER_PLANT", "PREFIXES", "MetricSpec"]

METRICS: dict[str, MetricSpec] = {spec.name: spec for spec in (*OVERHEAD, *SIDE, *COLOUR, *BOARD)}
