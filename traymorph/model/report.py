"""What the page of a trial is made from: what was measured, compared and photographed."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import nan
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from traymorph.model.comparison import Comparison, TrayTable
from traymorph.model.drift import Event, MetricDrift
from traymorph.model.plates import Plates

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class GroupValues:
    """The replicates of one treatment in one metric or outcome.

    Parameters
    ----------
    treatment : str
        Name.
    names : tuple of str
        Of the replicates that have a value.
    values : ndarray, shape (n,)
        One for each of them.
    mean, ci_low, ci_high : float
        Their mean and its 95 % interval by itself, within what the metric can be; NaN with few.
    doubt : float
        Median standard uncertainty of measuring one of them; NaN where it is not stated.
    """

    treatment: str
    names: tuple[str, ...]
    values: Floats
    mean: float = nan
    ci_low: float = nan
    ci_high: float = nan
    doubt: float = nan


@dataclass(frozen=True, slots=True)
class PhotoShown:
    """A photo of a tray, with the picture of what was measured in it.

    Parameters
    ----------
    photo, view : str
        Name relative to ``photos/``; ``overhead``, ``side``, ``board`` or ``pack``, "" unknown.
    overlay : Path or None
        The picture; None where there is none.
    link : str
        Where it lies as seen from the page, as a relative URL; "" where there is none.
    flags : tuple of str
        What qualifies the photo.
    error : str
        Why nothing was measured in it; "" where something was.
    colour_error_de00 : float
        How far the card's colours are off after correction.
    """

    photo: str
    view: str
    overlay: Path | None = None
    link: str = ""
    flags: tuple[str, ...] = ()
    error: str = ""
    colour_error_de00: float = nan


@dataclass(frozen=True, slots=True, eq=False)
class DriftShown:
    """The batches of one metric.

    Parameters
    ----------
    drift : MetricDrift
        In numbers.
    sentences : tuple of str
        In words.
    link : str
        Where the picture of all its charts lies as seen from the page, as a relative URL.
    """

    drift: MetricDrift
    sentences: tuple[str, ...]
    link: str


@dataclass(frozen=True, slots=True)
class MadeBy:
    """What the numbers were made by.

    Parameters
    ----------
    page_version : str
        Version of traymorph that wrote the page.
    program_versions, mask_methods : tuple of str
        As the table of trays names them; empty where it does not.
    settings_fingerprint : str
        Hash of the settings of ``trial.toml`` that change what measuring gives.
    card_plane : str
        ``bench`` or ``rim``.
    printed_bar_mm : float
        What the printed 100 mm bar really measures.
    """

    page_version: str
    program_versions: tuple[str, ...]
    mask_methods: tuple[str, ...]
    settings_fingerprint: str
    card_plane: str
    printed_bar_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class TrialReport:
    """Everything that the page shows.

    Parameters
    ----------
    name : str
        Of the trial: its title, or its folder.
    treatment_meaning : str
        What the treatments are; "" where ``trial.toml`` does not say.
    tray_sizes_mm : tuple of pair of float
        Inside length and width of the trays, each size once; empty where not stated.
    table : TrayTable
        Trays with metrics and outcomes of single trays.
    metrics, outcomes : tuple of str
        Names of ``table.values`` that were measured in a photo, and that were weighed or counted.
    treatment_column : str
        Column that holds the treatments.
    primary : str or None
        The metric declared before the trial.
    groups : mapping of str to tuple of GroupValues
        By metric or outcome: the replicates of each treatment, in the order shown.
    replicate : str
        What a replicate is: ``tray``, ``lot`` or ``shelf``.
    comparison : Comparison or None
        Differences between treatments; None where there are none to tell.
    not_compared : str
        Why there is no comparison; "" where there is one.
    outcome_sections : mapping of str to tuple of str
        Title and sentences on laboratory, keeping, tasting and lots.
    plates : Plates
        Typical trays side by side.
    drift : tuple of DriftShown
        Charts of batches; empty where there are too few.
    drift_notes : tuple of str
        Sentences that qualify the charts of batches.
    events : tuple of Event
        What happened between batches.
    photos : mapping of str to tuple of PhotoShown
        By tray.
    made_by : MadeBy
        Versions and settings.
    missing : tuple of str
        Sentences on what is not there.
    """

    name: str
    treatment_meaning: str
    tray_sizes_mm: tuple[tuple[float, float], ...]
    table: TrayTable
    metrics: tuple[str, ...]
    outcomes: tuple[str, ...]
    treatment_column: str
    primary: str | None
    groups: Mapping[str, tuple[GroupValues, ...]]
    replicate: str
    comparison: Comparison | None
    not_compared: str
    outcome_sections: Mapping[str, tuple[str, ...]]
    plates: Plates
    drift: tuple[DriftShown, ...]
    drift_notes: tuple[str, ...]
    events: tuple[Event, ...]
    photos: Mapping[str, tuple[PhotoShown, ...]]
    made_by: MadeBy
    missing: tuple[str, ...] = field(default=())
