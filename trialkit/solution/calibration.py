"""A site's effective alkalinity from its own records: pH before and after so much acid, read on a strip."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import log_ndtr, stdtrit

from trialkit.domain.arrays import FloatArray
from trialkit.domain.errors import NotComputed, WrongCall
from trialkit.solution.carbonate import ph_after

LOWEST_MG_L, HIGHEST_MG_L, STEPS = 2.0, 600.0, 400
STRIDE = 8
# Scatter of readings beyond the strip's steps, pH: from eyes that agree to strips gone stale (common practice).
SCATTERS = np.geomspace(0.05, 1.0, 30)
FEWEST_READINGS = 3
CONFIDENCE = 0.95


@dataclass(frozen=True)
class EffectiveAlkalinity:
    """What a site's records say about its water."""

    value: Annotated[float, "mg/L as calcium carbonate: the most likely, and a profile-likelihood interval."]
    lower: Annotated[float, "mg/L as calcium carbonate: the most likely, and a profile-likelihood interval."]
    upper: Annotated[float, "mg/L as calcium carbonate: the most likely, and a profile-likelihood interval."]
    scatter_ph: Annotated[float, "Standard deviation of readings about the prediction, beyond the strip's steps."]
    readings: int
    bounded: Annotated[
        bool, "Whether the interval ends where the search does: the records tell no upper (or lower) end."
    ]


def effective_alkalinity(
    acid: str | Sequence[str],
    acid_mol_l: ArrayLike,
    ph_before: ArrayLike,
    ph_after_reading: ArrayLike,
    *,
    phosphate_mol_l: ArrayLike = 0.0,
    strip_step: float = 0.5,
) -> EffectiveAlkalinity:
    r"""Estimate alkalinity from pH before and after acid.

    A reading of r on a strip with steps s says that pH lay between r - s/2 and r + s/2 (interval censoring). With
    normal scatter :math:`σ` about the predicted pH f(a) of `ph_after` the likelihood of alkalinity a is
    :math:`\prod_i Φ((r_i + s/2 - f_i(a))/σ) - Φ((r_i - s/2 - f_i(a))/σ)`, maximised over σ at each a of a fine grid;
    the interval is where twice the log-likelihood is within :math:`n \log(1 + t^2 / (n - 1))` of its maximum, the exact
    bound of normal errors. A grid cannot fail to converge, and the same records give the same numbers.

    Parameters
    ----------
    acid : str or sequence of str
        The acid of every record, or of each, by its name in `trialkit.solution.ACIDS`.
    acid_mol_l, ph_before, ph_after_reading, phosphate_mol_l : array
        One element for each record, shape (n,). Records without acid tell nothing of alkalinity and may be left out.
    strip_step : float
        Zero for a meter.

    Raises
    ------
    WrongCall
        If the arrays differ in length.
    NotComputed
        With fewer than three readings after acid.

    Examples
    --------
    >>> truth = ph_after(acid="acetic", acid_mol_l=[1e-3, 2e-3, 3e-3], alkalinity_mg_l_caco3=120.0, ph_start=7.5)
    >>> found = effective_alkalinity("acetic", [1e-3, 2e-3, 3e-3], [7.5] * 3, truth, strip_step=0.0)
    >>> 118 < found.value < 122
    True
    """
    moles, before, reading = (
        np.atleast_1d(np.asarray(v, dtype=float)) for v in (acid_mol_l, ph_before, ph_after_reading)
    )
    if not len(moles) == len(before) == len(reading):
        raise WrongCall("Each record needs an amount of acid, a pH before and a pH after.")
    if len(moles) < FEWEST_READINGS:
        raise NotComputed(f"Alkalinity needs {FEWEST_READINGS} readings of pH before and after acid, at least.")
    phosphate = np.broadcast_to(np.asarray(phosphate_mol_l, dtype=float), moles.shape)
    names = np.array([acid] * len(moles) if isinstance(acid, str) else list(acid))

    def predict(alkalinity: FloatArray) -> FloatArray:
        predicted = np.empty((len(alkalinity), len(moles)))
        for name in dict.fromkeys(names.tolist()):
            own = names == name
            # Buckets of a garden are mixed alike, but for a few.
            mixed, which = np.unique(np.array([moles[own], before[own], phosphate[own]]), axis=1, return_inverse=True)
            predicted[:, own] = ph_after(
                acid=name,
                acid_mol_l=mixed[0],
                alkalinity_mg_l_caco3=alkalinity[:, None],
                ph_start=mixed[1],
                phosphate_mol_l=mixed[2],
            )[:, which]
        return predicted

    def likelihoods(predicted: FloatArray) -> FloatArray:
        return np.array([_log_likelihood(reading - predicted, scatter, strip_step) for scatter in SCATTERS])

    count = len(moles)
    # Of normal errors, twice the log-likelihood ratio is n log(1 + t^2 / (n - 1)): exact where chi-squared is not.
    drop = count * np.log1p(stdtrit(count - 1, (1 + CONFIDENCE) / 2) ** 2 / (count - 1))
    grid = np.geomspace(LOWEST_MG_L, HIGHEST_MG_L, STEPS)
    # Some points of the grid tell where the likelihood is high: only there is each looked at.
    some = np.append(np.arange(0, STEPS - 1, STRIDE), STEPS - 1)
    coarse = likelihoods(predict(grid[some])).max(axis=0)
    near = some[2 * (coarse.max() - coarse) <= drop]
    grid = grid[max(near[0] - STRIDE, 0) : near[-1] + STRIDE + 1]
    likelihood = likelihoods(predict(grid))
    profile = likelihood.max(axis=0)
    best = int(profile.argmax())
    beyond = 2 * (profile[best] - profile) - drop
    within = np.flatnonzero(beyond <= 0)
    return EffectiveAlkalinity(
        value=float(grid[best]),
        lower=_crossing(grid, beyond, within[0], -1),
        upper=_crossing(grid, beyond, within[-1], 1),
        scatter_ph=float(SCATTERS[likelihood[:, best].argmax()]),
        readings=count,
        bounded=bool(within[0] == 0 or within[-1] == len(grid) - 1),
    )


def _crossing(grid: FloatArray, beyond: FloatArray, inside: int, step: int) -> float:
    """Find where the bound is passed between a point of the grid inside and its neighbour outside."""
    outside = inside + step
    if not 0 <= outside < len(grid):
        return float(grid[inside])
    share = beyond[inside] / (beyond[inside] - beyond[outside])
    return float(grid[inside] + share * (grid[outside] - grid[inside]))


def _log_likelihood(off: FloatArray, scatter: float, step: float) -> FloatArray:
    """Log-likelihood of readings that are off the prediction by so much; shape (alkalinities,)."""
    if step == 0.0:
        return np.asarray((-0.5 * (off / scatter) ** 2 - np.log(scatter)).sum(axis=1))
    low, high = (-np.abs(off) - step / 2) / scatter, (-np.abs(off) + step / 2) / scatter
    # By symmetry the interval is looked at from its lower side, where the logarithms keep their digits.
    upper, lower = log_ndtr(high), log_ndtr(low)
    return np.asarray((upper + np.log1p(-np.exp(lower - upper))).sum(axis=1))
