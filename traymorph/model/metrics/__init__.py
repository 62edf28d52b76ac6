"""METRICS: the one list of what is measured; CSV headers, docs and commands all read it."""

from collections.abc import Iterable
from difflib import get_close_matches

from traymorph.model.metrics.board import BOARD, PER_PLANT
from traymorph.model.metrics.colour import COLOUR, PREFIXES
from traymorph.model.metrics.overhead import OVERHEAD
from traymorph.model.metrics.side import SIDE
from traymorph.model.metrics.spec import MetricSpec

__all__ = ["METRICS", "PER_PLANT", "PREFIXES", "MetricSpec", "name_meant"]

METRICS: dict[str, MetricSpec] = {spec.name: spec for spec in (*OVERHEAD, *SIDE, *COLOUR, *BOARD)}


def name_meant(written: str, known: Iterable[str] = METRICS) -> str:
    """Advise on the name of a metric that nobody knows.

    Parameters
    ----------
    written : str
        The name as a person wrote it.
    known : iterable of str
        Names that may stand there.

    Returns
    -------
    str
        A sentence without its full stop.
    """
    word, names = written.casefold().strip().replace(" ", "_"), list(known)
    near = get_close_matches(word, names, n=1) or [name for name in names if word and word in name]
    return f"Perhaps {near[0]} was meant" if near else "`traymorph metrics` lists the metrics"
