"""Days that were seen only between bounds, drawn from what the rest of the trial says: data augmentation.

Tanner & Wong (1987), J. Am. Stat. Assoc. 82, 528-540. Many chains run side by side, each ending in one completed set of
days. A step has two halves. Imputation: each head's day is drawn from its normal distribution, cut to its bounds, given
its bucket's expected day. Posterior: standard deviations given the completed days, by Metropolis's rule (Metropolis et
al. 1953) on the engine's restricted likelihood, which is the marginal likelihood under a flat prior of the fixed
effects (Harville 1974, Biometrika 61, 383-385); then fixed and random effects together from their normal posterior, by
solving for perturbed data (Garcia-Cortes & Sorensen 1996, Genet. Sel. Evol. 28, 121-126). The prior of the variances is
Jeffreys's (1946, Proc. R. Soc. A 186, 453-461), from the engine's expected information; nothing is approximated but the
length of the chains.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from trialkit.mixed.likelihood import evaluate
from trialkit.mixed.model import Model, prepare, starting_variances
from trialkit.mixed.products import CrossProducts
from trialkit.mixed.scoring import maximise, refuse_confounded
from trialkit.mixed.woodbury import Solved, solve

FloatArray = NDArray[np.float64]

# Of a random walk in k dimensions, in standard deviations: Gelman, Roberts & Gilks (1996), Bayesian Statistics 5, 599.
WALK = 2.4
WALKS_A_STEP = 2


@dataclass(frozen=True)
class Bounds:
    """What was seen of each head used, in the order of the model's rows.

    Attributes
    ----------
    lower, upper : ndarray, shape (heads,)
        Days; infinite where open, equal where the day is known.
    """

    lower: FloatArray
    upper: FloatArray

    @cached_property
    def open(self) -> NDArray[np.bool_]:
        """Heads whose day is not known exactly."""
        return self.lower < self.upper

    def starts(self, rng: np.random.Generator, count: int) -> FloatArray:
        """Days to start from, shape (count, heads): the middle, or somewhere beyond an open-ended bound."""
        ends = np.concatenate([self.lower, self.upper])
        beyond = ends[np.isfinite(ends)].std() * np.abs(rng.standard_normal((count, len(self.lower))))
        low = np.where(np.isfinite(self.lower), self.lower, self.upper - 2 * beyond)
        high = np.where(np.isfinite(self.upper), self.upper, self.lower + 2 * beyond)
        return np.asarray(np.where(self.open, (low + high) / 2, self.lower))


def complete(model: Model, bounds: Bounds, rng: np.random.Generator, *, sets: int, burn_in: int) -> FloatArray:
    """Draw completed sets of days, each from the end of a chain of its own.

    Parameters
    ----------
    model : Model
        With one residual variance.
    bounds : Bounds
    rng : numpy.random.Generator
    sets : int
        How many.
    burn_in : int
        Steps of every chain.

    Returns
    -------
    ndarray, shape (sets, heads)

    Raises
    ------
    ConfoundedTerm, NoVariation
        As from `trialkit.mixed.fit_mixed`.
    """
    order = np.lexsort((bounds.upper, bounds.lower, model.cells.codes))
    days = bounds.starts(rng, sets)
    sd, walk = _first_sd(model, days)
    # Draws go to heads in an order of their own, so that the order of the rows does not matter.
    drawn = order[bounds.open[order]]
    cells, lower, upper = model.cells.codes[drawn], bounds.lower[drawn], bounds.upper[drawn]
    for _ in range(burn_in):
        sd = _walked(model, days, sd, walk, rng)
        expected = _expected_days(model, days, sd, rng)[:, cells]
        residual = sd[:, -1:]
        z = normal_between((lower - expected) / residual, (upper - expected) / residual, rng)
        days[:, drawn] = np.clip(expected + residual * z, lower, upper)
    return days


def normal_between(low: FloatArray, high: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Standard normals cut to bounds, elementwise, by inversion in the tail where digits are to be had.

    Bounds beyond 37 standard deviations, where no probability is left to hold, give the nearer bound.
    """
    flip = low + high > 0
    low, high = np.where(flip, -high, low), np.where(flip, -low, high)
    from_low = ndtr(low)
    tail = from_low + rng.random(low.shape) * (ndtr(high) - from_low)
    z = np.clip(ndtri(np.maximum(tail, np.finfo(float).tiny)), low, high)
    return np.asarray(np.where(flip, -z, z))


def _first_sd(model: Model, days: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Standard deviations of the first completed days, shape (sets, k), and steps for the walk, shape (k,)."""
    prepared = prepare(model, days)
    start = evaluate(model.cross_products(prepared), starting_variances(model)[None], restricted=True)
    refuse_confounded(start, model.variance_names)
    point, _ = maximise(start, restricted=True, bounded=True)
    variances = point.variances * prepared.scale[:, None] ** 2
    spread = np.sqrt(np.diagonal(np.linalg.pinv(point.expected.mean(0)))) * (prepared.scale**2).mean()
    middle = variances.mean(0)
    step = np.sqrt(middle + spread) - np.sqrt(middle)
    return np.sqrt(variances), WALK / np.sqrt(len(step)) * step


def _walked(model: Model, days: FloatArray, sd: FloatArray, walk: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Standard deviations after some steps of a random walk, reflected at zero, on the restricted likelihood."""
    prepared = prepare(model, days)
    products, scale = model.cross_products(prepared), prepared.scale[:, None]
    criterion = _criterion(products, sd / scale)
    for _ in range(WALKS_A_STEP):
        tried = np.abs(sd + walk * rng.standard_normal(sd.shape))
        there = _criterion(products, tried / scale)
        taken = there < criterion + 2 * rng.standard_exponential(len(sd))
        sd, criterion = np.where(taken[:, None], tried, sd), np.where(taken, there, criterion)
    return sd


def _criterion(products: CrossProducts, sd: FloatArray) -> FloatArray:
    """-2 log posterior of the standard deviations but for a constant, shape (sets,); infinite where there is none.

    Jeffreys's prior of the variances is the root of the determinant of their information; each variance is a standard
    deviation squared, which adds a factor of each.
    """
    there = evaluate(products, sd**2, restricted=True)
    sign, log_information = np.linalg.slogdet(there.expected)
    with np.errstate(divide="ignore", invalid="ignore"):
        posterior = there.criterion - log_information - 2 * np.log(sd).sum(1)
    return np.where(np.isfinite(posterior) & (sign > 0), posterior, np.inf)


def _coefficients(solved: Solved) -> FloatArray:
    return np.asarray(np.linalg.solve(solved.x_x, solved.x_y[..., None])[..., 0])


def _expected_days(model: Model, days: FloatArray, sd: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Draw the expected day of each cell, fixed and random effects together, shape (sets, cells).

    Effects and errors u*, e* are drawn from the model and taken off the days; estimates from what is left plus u* have
    the posterior's mean and covariance. The effect of the term with one level a cell follows, given all the others.
    """
    codes, sizes, x = model.cells.codes, model.cells.sizes, model.fixed.orthogonal[model.fixed_row]
    sets, of_term = len(days), dict(zip(model.in_columns, range(len(model.in_columns)), strict=True))
    own = sd[:, [model.diagonal]] if model.diagonal is not None else np.zeros((sets, 1))
    noise = np.sqrt(own**2 + sd[:, -1:] ** 2 / sizes) * rng.standard_normal((sets, len(sizes)))
    effects = {term: sd[:, [term]] * rng.standard_normal((sets, len(model.terms[term].levels))) for term in of_term}
    perturbation = noise + sum(effect[:, model.terms[term].codes] for term, effect in effects.items())
    prepared = prepare(model, days - perturbation[:, codes])
    scale = prepared.scale[:, None]
    solved = solve(model.cross_products(prepared), (sd / scale) ** 2)
    coefficients = _coefficients(solved)
    expected = prepared.offset[:, None] + (prepared.fitted + scale * coefficients) @ x.T
    z_r = solved.z_y - (solved.z_x @ coefficients[:, None, :, None])[..., 0]
    predicted = scale[..., None] * solved.spread[:, None] * z_r
    columns, blocks = dict(solved.design.column_terms), model.blocks
    for term, at in of_term.items():
        place = (slice(None), blocks.level_block[at], columns[term].start + blocks.level_column[at])
        expected = expected + (effects[term] + predicted[place])[:, model.terms[term].codes]
    if model.diagonal is None:
        return expected
    share = own**2 / (own**2 + sd[:, -1:] ** 2 / sizes)
    left = model.cells.means(days - expected[:, codes])[0]
    return expected + share * left + np.sqrt(share / sizes) * sd[:, -1:] * rng.standard_normal(left.shape)
