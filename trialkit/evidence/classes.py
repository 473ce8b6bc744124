"""Classes that matter for advice: a garden's water, its kind, and the season; each class's gain, shrunk to the others'.

A class with little evidence borrows from the rest, and one with none borrows all that it is told: the normal
hierarchical model of Gelman et al. (2013, Bayesian Data Analysis, 3rd edition, section 5.4), integrated over the
standard deviation between classes on a grid.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import ndtr

from trialkit.documents.pooled import ClassGain
from trialkit.domain.thresholds import FEWEST_RANDOM_LEVELS
from trialkit.solution.mixing import ALKALINITY_CLASSES
from trialkit.stats.meta import combine

FloatArray = NDArray[np.float64]

GRID = 400
WIDEST = 5.0
"""Standard deviations between classes are looked at up to so many times the prior's scale."""
SEASONS = {"spring": "spring", "summer": "summer", "autumn": "autumn", "fall": "autumn", "winter": "winter"}


def water_class(alkalinity: float | None) -> str | None:
    """Return the class of a water by its alkalinity, mg/L as calcium carbonate.

    Examples
    --------
    >>> water_class(35.0), water_class(120.0), water_class(500.0), water_class(None)
    ('low', 'high', 'very high', None)
    """
    if alkalinity is None or not np.isfinite(alkalinity):
        return None
    return next((name for name, _, upper in ALKALINITY_CLASSES if alkalinity < upper), ALKALINITY_CLASSES[-1][0])


def season_class(season: str) -> str | None:
    """Return the season that a text names first.

    Examples
    --------
    >>> season_class("Autumn 2026"), season_class("early fall"), season_class("2026")
    ('autumn', 'autumn', None)
    """
    words = "".join(mark if mark.isalpha() else " " for mark in season.lower()).split()
    return next((SEASONS[word] for word in words if word in SEASONS), None)


def class_gains(
    effects: FloatArray,
    variances: FloatArray,
    labels: Sequence[str],
    gardens: Sequence[int],
    names: Sequence[str],
    scale: float,
    confidence: float = 0.95,
) -> tuple[ClassGain, ...]:
    """Shrink the gains of classes to each other.

    Parameters
    ----------
    effects, variances : ndarray, shape (k,)
        Gains of one treatment over another in each trial and class, with their sampling variances.
    labels : sequence of str
        Class of each.
    gardens : sequence of int
        Behind each.
    names : sequence of str
        All classes that are to be told something.
    scale : float
        How much gains are thought to differ between classes before any is seen: scale of a half-normal prior of their
        standard deviation, in the unit of the effects.
    confidence : float

    Returns
    -------
    tuple of ClassGain
        One for each name.
    """
    own = [_own(effects, variances, [label == name for label in labels]) for name in names]
    known = np.array([one is not None for one in own])
    means = np.array([one[0] for one in own if one is not None])
    errors = np.array([one[1] for one in own if one is not None])
    spread = np.linspace(0.0, WIDEST * scale, GRID)
    total = errors**2 + spread[:, None] ** 2  # (grid, classes with evidence)
    precision = (1 / total).sum(1)
    middle = (means / total).sum(1) / precision
    log_weight = -0.5 * (spread / scale) ** 2 - 0.5 * np.log(precision)
    log_weight -= 0.5 * (np.log(total) + (means - middle[:, None]) ** 2 / total).sum(1)
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    found, at = [], 0
    for name, one in zip(names, own, strict=True):
        mine = [label == name for label in labels]
        if one is None:
            centre, variance, share = middle, 1 / precision + spread**2, np.ones(GRID)
        else:
            share = errors[at] ** 2 / total[:, at]  # of the class's own estimate that gives way to the common mean
            centre = (1 - share) * means[at] + share * middle
            variance = (1 - share) * errors[at] ** 2 + share**2 / precision
            at += 1
        low, high = (_quantile(centre, np.sqrt(variance), weight, p) for p in _tails(confidence))
        found.append(
            ClassGain(
                name=name,
                units=sum(mine),
                gardens=sum(count for count, yes in zip(gardens, mine, strict=True) if yes),
                own=None if one is None else one[0],
                own_se=None if one is None else one[1],
                gain=float(weight @ centre),
                lower=low,
                upper=high,
                borrowed=1.0 if one is None else float(weight @ share),
            )
        )
    assert at == known.sum()
    return tuple(found)


def _tails(confidence: float) -> tuple[float, float]:
    return (1 - confidence) / 2, (1 + confidence) / 2


def _own(effects: FloatArray, variances: FloatArray, mine: Sequence[bool]) -> tuple[float, float] | None:
    """Gain and its standard error from a class's own trials; one trial has its own error only."""
    y, v = effects[list(mine)], variances[list(mine)]
    if len(y) == 0:
        return None
    if len(y) == 1:
        return float(y[0]), float(np.sqrt(v[0]))
    enough = len(y) >= FEWEST_RANDOM_LEVELS
    together = combine(y, v, between=enough)
    return float(together.estimates[0]), float((together.careful_se if enough else together.model_se)[0])


def _quantile(centre: FloatArray, sd: FloatArray, weight: FloatArray, p: float) -> float:
    """Quantile of a mixture of normals."""
    low, high = float((centre - 9 * sd).min()), float((centre + 9 * sd).max())
    return float(brentq(lambda x: float(weight @ ndtr((x - centre) / sd)) - p, low, high, xtol=1e-10))
