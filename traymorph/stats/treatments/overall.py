"""Do treatments differ at all? Analysis of variance, as published examples check it."""

from dataclasses import dataclass

import numpy as np
from scipy.special import fdtrc

from traymorph.stats.treatments.contrasts import Codes, Floats


@dataclass(frozen=True, slots=True)
class Variance:
    """Analysis of variance of treatments, in one way or within blocks.

    Parameters
    ----------
    between, within : float
        Mean squares of treatments and of what is left.
    df_between, df_within : int
        Their degrees of freedom.
    """

    between: float
    within: float
    df_between: int
    df_within: int

    @property
    def f(self) -> float:
        """Ratio of both mean squares."""
        return self.between / self.within

    @property
    def p(self) -> float:
        """Probability of an F at least as large when treatments do not differ."""
        return float(fdtrc(self.df_between, self.df_within, self.f))


def analyse_variance(values: Floats, treatment: Codes, block: Codes | None = None) -> Variance:
    """Part the spread of values into treatments and what is left.

    Parameters
    ----------
    values : ndarray, shape (n,)
        One per tray, none missing.
    treatment : ndarray of int, shape (n,)
        Codes 0, 1, 2 ...
    block : ndarray of int, shape (n,), or None
        With blocks the treatments are adjusted for them.
    """
    # Centred first: values that agree in their leading digits keep the others.
    away = values - values.mean()
    away = away - away.mean()
    if block is None:
        without = float(away @ away)
        df_without = len(values) - 1
        design = _columns(treatment)
    else:
        blocks = _columns(block)
        without, df_without = _left(away, blocks)
        design = np.hstack([blocks, _columns(treatment)[:, 1:]])
    left, df_left = _left(away, design)
    df_between = df_without - df_left
    return Variance((without - left) / df_between, left / df_left, df_between, df_left)


def _columns(codes: Codes) -> Floats:
    columns = np.zeros((len(codes), int(codes.max()) + 1))
    columns[np.arange(len(codes)), codes] = 1.0
    return columns


def _left(values: Floats, design: Floats) -> tuple[float, int]:
    """Sum of squares that a least squares fit leaves, and its degrees of freedom."""
    q, _ = np.linalg.qr(design)
    left = values - q @ (q.T @ values)
    return float(left @ left), len(values) - design.shape[1]
