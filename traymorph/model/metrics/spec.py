"""What is said of every metric, whatever photo it is read from."""

from dataclasses import dataclass

from traymorph.model.photo import View

OWN_DEFINITION = "own definition"


@dataclass(frozen=True, slots=True)
class MetricSpec:
    """One column of ``results/tray_metrics.csv``.

    Parameters
    ----------
    name : str
        Column name; ``<name>_u`` holds its standard uncertainty.
    unit : str
        Unit symbol, ``1`` for a plain ratio.
    view : View
        The photo that it is read from.
    definition : str
        What the number is, in words that stand alone.
    source : str
        Published definition, or ``own definition``.
    low, high : float
        Values outside these limits cannot be meant.
    """

    name: str
    unit: str
    view: View
    definition: str
    source: str
    low: float
    high: float
