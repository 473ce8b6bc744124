"""`fit_binomial` and what can be asked of shares."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
import pandas as pd
from scipy.special import expit, ndtr, ndtri

from trialkit.domain.arrays import FloatArray
from trialkit.mixed.arguments import named_terms, require_kinds
from trialkit.mixed.binomial_likelihood import BinomialPoint, place
from trialkit.mixed.binomial_search import BinomialRecord, curvature_at, require_overlap, search
from trialkit.mixed.blocks import is_nested
from trialkit.mixed.fitted import Fitted
from trialkit.mixed.means import Weights, averaging_weights, mean_rows
from trialkit.mixed.model import Model, build_counts_model
from trialkit.mixed.multivariate_t import require_confidence, t_quantile
from trialkit.mixed.refusals import MixedModelError, NotEstimable

NODES = 41
"""Of the average over levels of the random terms: exact to twelve digits up to standard deviations of two logits."""


def fit_binomial(
    data: pd.DataFrame,
    formula: str,
    random: str | Sequence[str],
    *,
    trials: str | None = None,
    points: int = 1,
) -> BinomialFit:
    """Fit a logistic model of counts with independent normal effects of random terms, by maximum likelihood.

    ``logit p = X b + sum_k Z_k u_k``; the integral over u is Laplace's, or adaptive quadrature's where asked for.

    Parameters
    ----------
    data : pandas.DataFrame
        One row a count, such as a bucket. Columns as in `fit_mixed`; rows that lack a value, or have no trial, are
        dropped and counted.
    formula : str
        Column of the successes and fixed part, such as ``"usable ~ cultivar * dose"``; column names only.
    random : str or sequence of str
        Random terms, one at least: columns, or ``"a:b"`` for joint levels; nested or crossed. A term may have a level
        for every row, as buckets whose heads fare alike.
    trials : str, optional
        Column of what the successes are out of; without it each row is one trial, its response 0 or 1.
    points : int
        Of the quadrature, where there is one random term; 1 is Laplace's approximation.

    Returns
    -------
    BinomialFit
        What can be asked of it: its methods.

    Raises
    ------
    FormulaError, ConfoundedTerm, Separation, NotConverged
        See `trialkit.mixed.refusals`; each says what to change.

    Examples
    --------
    >>> from trialkit.mixed import example, fit_binomial
    >>> fit = fit_binomial(example.small_counts(), "lost ~ dose", ["block"], trials="heads")
    >>> fit
    BinomialFit('lost ~ dose', random=['block'], 12 counts, log likelihood -17.95)
    """
    require_kinds(data, formula, trials=trials)
    terms = named_terms(random)
    if not isinstance(points, int | float) or points < 1 or points != int(points):
        raise MixedModelError(f"points is {points!r}: give a whole number, 1 for Laplace's approximation.")
    if not terms:
        raise MixedModelError("Name at least one random term, such as random=['site'].")
    if points > 1 and len(terms) > 1:
        raise MixedModelError(f"Quadrature is over one random term, and there are {len(terms)}: leave points at 1.")
    model, successes, of = build_counts_model(data, formula, terms, trials)
    require_overlap(model, successes, of)
    point, record = search(place(model, successes, of), points, terms)
    return BinomialFit(formula, points, model, successes, of, point, record)


@dataclass(frozen=True, repr=False, eq=False)
class BinomialFit(Fitted):
    """A fitted logistic model of counts and what can be asked of it.

    Attributes
    ----------
    formula : str
    points : int
        As asked for.
    model : Model
        The design: fixed part, random terms, cells, blocks.
    successes, trials : ndarray, shape (rows used,)
    point : BinomialPoint
        Likelihood, modes and derivatives at the estimates.
    record : BinomialRecord
        How the parameters were found.

    Examples
    --------
    >>> from trialkit.mixed import example, fit_binomial
    >>> fit = fit_binomial(example.small_counts(), "lost ~ dose", ["block"], trials="heads", points=9)
    >>> fit.formula, fit.points, fit.record.left < 1e-9
    ('lost ~ dose', 9, True)
    """

    formula: str
    points: int
    model: Model
    successes: FloatArray
    trials: FloatArray
    point: BinomialPoint
    record: BinomialRecord

    def __repr__(self) -> str:
        """Say what was fitted, in a line."""
        return (
            f"BinomialFit({self.formula!r}, random={list(self.names)}, {self.model.heads} counts, "
            f"log likelihood {self.log_likelihood:.2f})"
        )

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the random terms.

        Returns
        -------
        tuple of str

        Examples
        --------
        >>> from trialkit.mixed import example, fit_binomial
        >>> fit_binomial(example.small_counts(), "lost ~ dose", ["block"], trials="heads").names
        ('block',)
        """
        return tuple(term.name for term in self.model.terms)

    @property
    def _free(self) -> dict[str, bool]:
        return dict(zip(self.names, self.record.free, strict=True))

    @property
    def _told(self) -> tuple[str, list[str], dict[str, pd.DataFrame]]:
        by = "Laplace's approximation" if self.points == 1 else f"quadrature with {self.points} points"
        variances = self.variances.to_frame().assign(sd=np.sqrt(self.variances))
        title = f"Logistic mixed model by likelihood, {by}"
        return title, [], {"Variances, in squared logits": variances, "Fixed effects, in logits": self.coefficients}

    @property
    def log_likelihood(self) -> float:
        """Log likelihood, the binomial coefficients counted.

        Returns
        -------
        float

        Examples
        --------
        >>> from trialkit.mixed import example, fit_binomial
        >>> round(fit_binomial(example.small_counts(), "lost ~ dose", ["block"], trials="heads").log_likelihood, 3)
        -17.948
        """
        return -self.point.deviance / 2

    @property
    def variances(self) -> pd.Series:
        """Estimated variances of the random terms.

        Returns
        -------
        pandas.Series
            By name, in squared logits.

        Examples
        --------
        >>> from trialkit.mixed import example, fit_binomial
        >>> fit = fit_binomial(example.small_counts(), "lost ~ dose", ["block"], trials="heads")
        >>> fit.variances.round(3).to_dict()
        {'block': 0.708}
        """
        return pd.Series(self.point.theta**2, index=list(self.names), name="variance")

    @property
    def coefficients(self) -> pd.DataFrame:
        """Fixed effects in the data's coding, the first level of each factor being the reference.

        Returns
        -------
        pandas.DataFrame
            One row a column of the model matrix that is not aliased: estimate, se, z, p, and 95 % limits lower, upper,
            in logits. The standard errors count that the variances were estimated; the quantiles are the normal's, and
            too small where a term has few levels (see `means`).

        Examples
        --------
        >>> from trialkit.mixed import example, fit_binomial
        >>> fit = fit_binomial(example.small_counts(), "lost ~ dose", ["block"], trials="heads")
        >>> fit.coefficients[["estimate", "se"]].round(2).to_dict("index")["dose[T.6]"]
        {'estimate': -1.38, 'se': 0.62}
        """
        basis = self._kept_basis
        estimate, se = basis @ self.point.coefficients, np.sqrt(np.diag(self.covariance().to_numpy()))
        z, half = estimate / se, float(ndtri(0.975)) * se
        columns = {"estimate": estimate, "se": se, "z": z, "p": 2 * ndtr(-np.abs(z))}
        index = pd.Index(self._kept_names, name="column")
        return pd.DataFrame(columns | {"lower": estimate - half, "upper": estimate + half}, index=index)

    def covariance(self) -> pd.DataFrame:
        """Covariance of the fixed effects, from the curvature of the likelihood in all parameters.

        Returns
        -------
        pandas.DataFrame
            Square, by the columns that are not aliased, in squared logits.

        Examples
        --------
        >>> from trialkit.mixed import example, fit_binomial
        >>> fit = fit_binomial(example.small_counts(), "lost ~ dose", ["block"], trials="heads")
        >>> fit.covariance().shape
        (3, 3)
        """
        free = sum(self.record.free)
        basis = self._kept_basis
        return pd.DataFrame(
            basis @ self._covariance[free:, free:] @ basis.T, index=self._kept_names, columns=self._kept_names
        )

    def random_effects(self, term: str) -> pd.DataFrame:
        """Effects of a random term's levels: where they are likeliest, given the estimates.

        Parameters
        ----------
        term : str
            As it was named in `fit_binomial`.

        Returns
        -------
        pandas.DataFrame
            By level (``a:b`` for joint levels): effect, and se taking the estimates as known, in logits.

        Raises
        ------
        MixedModelError
            If there is no such random term.

        Examples
        --------
        >>> from trialkit.mixed import example, fit_binomial
        >>> fit = fit_binomial(example.small_counts(), "lost ~ dose", ["block"], trials="heads")
        >>> fit.random_effects("block")["effect"].round(1).to_dict()
        {'1': 1.0, '2': -0.3, '3': 0.4, '4': -0.9}
        """
        if term not in self.names:
            raise MixedModelError(f"{term!r} is not a random term of this model: {', '.join(self.names)}.")
        position = self.names.index(term)
        effect, se = self.point.conditional(position)
        levels = [str(level) for level in self.model.terms[position].levels]
        return pd.DataFrame({"effect": effect, "se": se}, index=pd.Index(levels, name=term))

    def means(
        self,
        factors: str,
        *,
        of: Literal["average", "typical"] = "average",
        weights: Weights = "equal",
        confidence: float = 0.95,
    ) -> pd.DataFrame:
        """Shares by level, covariates at their mean over the rows used.

        Parameters
        ----------
        factors : str
            One factor, or several joined by ``:``.
        of : {"average", "typical"}
            On average over the levels of the random terms, which is what a county gets from all its gardens and what
            counts add up to; or at a typical one, where all random effects are zero. The first lies nearer a half.
        weights : {"equal", "proportional"} or mapping
            Of the combinations of the other factors' levels, whose shares are averaged, as in `MixedFit.means`.
        confidence : float

        Returns
        -------
        pandas.DataFrame
            By level: share, its se, lower, upper, df and estimable. Limits are of the logit, by t with degrees of
            freedom after Satterthwaite (1946): what each random term adds to the variance is known as well as its
            levels are many.

        Raises
        ------
        NotEstimable
            If none of the shares is estimable.
        MixedModelError
            If a factor, level or weight is unknown.

        Examples
        --------
        >>> from trialkit.mixed import example, fit_binomial
        >>> fit = fit_binomial(example.small_counts(), "lost ~ dose", ["block"], trials="heads")
        >>> fit.means("dose")[["share", "lower", "upper"]].round(2)
              share  lower  upper
        dose
        2      0.44   0.20   0.70
        4      0.28   0.11   0.55
        6      0.19   0.06   0.44
        """
        require_confidence(confidence)
        if of not in ("average", "typical"):
            raise MixedModelError(f"{of!r} is no kind of share: use 'average' or 'typical'.")
        names = [*mean_rows(self.model, factors).names]
        others = [name for name in self.model.fixed.factors if name not in names]
        grid = mean_rows(self.model, ":".join([*names, *others]))
        asked = mean_rows(self.model, factors)
        over = averaging_weights(self.model, others, weights)
        rows = grid.rows.reshape(len(asked.levels), len(over), -1)
        used = rows[:, over > 0]
        good = np.array([self.model.fixed.estimable(some).all() for some in used])
        if not good.any():
            raise NotEstimable(f"No share of {factors!r} is determined: it averages over combinations never tried.")
        index = asked.index
        table = self._shares(used[good], over[over > 0], of == "average", confidence).set_index(index[good])
        return table.reindex(index).assign(estimable=good)

    def _shares(self, rows: FloatArray, over: FloatArray, average: bool, confidence: float) -> pd.DataFrame:
        """Shares at rows of the model matrix, shape (shares, combinations, columns), averaged over combinations."""
        shares, combinations, columns = rows.shape
        basis = self.model.fixed.to_orthogonal(rows.reshape(-1, columns)).reshape(shares, combinations, -1)
        logit, theta = basis @ self.point.coefficients, self.point.theta
        sd = float(np.sqrt((theta**2).sum())) if average else 0.0
        node, weight = np.polynomial.hermite_e.hermegauss(NODES)
        each = expit(logit[..., None] + sd * node)
        slopes = each * (1 - each) * weight / weight.sum()
        share = over @ (each @ weight / weight.sum()).T
        by_fixed = np.einsum("o,so,sop->sp", over, slopes.sum(-1), basis)
        by_sd = over @ (slopes @ node).T
        free = np.array(self.record.free)
        by_theta = by_sd[:, None] * (theta[free] / sd) if sd else np.zeros((shares, int(free.sum())))
        gradient = np.hstack([by_theta, by_fixed])
        se = np.sqrt(np.einsum("sp,pq,sq->s", gradient, self._covariance, gradient))
        df = self._freedom(by_fixed)
        half = t_quantile(confidence, df) * se / (share * (1 - share))
        middle = np.log(share / (1 - share))
        limits = {"lower": expit(middle - half), "upper": expit(middle + half)}
        return pd.DataFrame({"share": share, "se": se} | limits | {"df": df})

    def _freedom(self, combinations: FloatArray) -> FloatArray:
        """Degrees of freedom, shape (c,), of combinations of the fixed effects, shape (c, p).

        The variance of each is a sum over the random terms and the counts' own, which is known.
        """
        point, counts = self.point, self.point.counts
        weighted = point.weights[:, None] * (counts.x @ np.linalg.solve(point.information, combinations.T))
        fine = np.stack([point.theta[counts.finest] * counts.by_fine(column) for column in weighted.T], -1)
        rest = np.stack([point.theta[counts.rest_term] * counts.by_rest(column) for column in weighted.T], -1)
        solved = point.curvature.solve(fine, rest)
        known = np.zeros(len(combinations))
        for i, one in enumerate(weighted.T):
            spread = counts.spread(point.theta, solved[0][..., i], solved[1][..., i])
            left = one - point.weights * spread
            for k, term in enumerate(self.model.terms):
                of_term = point.theta[k] ** 2 * (np.bincount(term.codes, left) ** 2).sum()
                known[i] += of_term**2 / self._levels_known[k]
        total = np.einsum("cp,pq,cq->c", combinations, np.linalg.inv(point.information), combinations)
        return np.asarray(total**2 / np.maximum(known, np.finfo(float).tiny))

    @cached_property
    def _levels_known(self) -> list[int]:
        """Degrees of freedom of each term: its levels less those of the term that it lies within, or less one."""
        terms = self.model.terms
        within = [
            [len(other.levels) for other in terms if other is not term and is_nested(term, other)] for term in terms
        ]
        return [max(1, len(term.levels) - max(coarse, default=1)) for term, coarse in zip(terms, within, strict=True)]

    @cached_property
    def _covariance(self) -> FloatArray:
        """Covariance of the free standard deviations and the fixed effects in the orthogonal basis."""
        curved = curvature_at(self.point.counts, self.point, self.points, self.record.free)
        return np.asarray(2 * np.linalg.inv(curved))
