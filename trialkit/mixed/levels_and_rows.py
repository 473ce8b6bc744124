"""What a fit says of single levels of random terms and of single rows."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from trialkit.domain.arrays import FloatArray
from trialkit.mixed.effects import FixedEffects
from trialkit.mixed.likelihood import Evaluation
from trialkit.mixed.prediction import (
    RowInverse,
    cell_inverse,
    head_inverse,
    leave_one_out,
    predict_columns,
    predict_diagonal,
)
from trialkit.mixed.random_terms import RandomTerm
from trialkit.mixed.refusals import MixedModelError


@dataclass(frozen=True, eq=False)
class LevelsAndRows(FixedEffects):
    """Predicted effects, residuals, leverage and simulated responses of one fitted model."""

    def random_effects(self, term: str) -> pd.DataFrame:
        """Predicted effects of a random term.

        Best linear unbiased predictions; the standard error counts that the fixed effects were estimated
        (Henderson 1975, Biometrics 31, 423-447).

        Parameters
        ----------
        term : str
            As it was named in `fit_mixed`.

        Returns
        -------
        pandas.DataFrame
            By level (``a:b`` for joint levels): effect and se of prediction, in units of the response; of a term with
            several parts by level and part (``level``, then the slopes).

        Raises
        ------
        MixedModelError
            If there is no such random term.

        Examples
        --------
        Each block's deviation shrinks by ``3 x 12 / (3 x 12 + 4)``.

        >>> from trialkit.mixed import example, fit_mixed
        >>> fit = fit_mixed(example.small_trial(), "weight_g ~ dose", ["block"])
        >>> fit.random_effects("block")["effect"].round(6).to_dict()
        {'1': -3.6, '2': -1.8, '3': 1.8, '4': 3.6}
        """
        position = self._position(term)
        chosen, scale = self.model.terms[position], self.prepared.scale[0]
        effect, se = self._predict(position, chosen)
        levels = [str(level) for level in chosen.levels]
        index = pd.Index(levels, name=term)
        if len(chosen.parts) > 1:
            index = pd.MultiIndex.from_product([levels, chosen.parts], names=[chosen.grouping, "part"])
        return pd.DataFrame({"effect": effect.ravel() * scale, "se": se.ravel() * scale}, index=index)

    def residuals(self) -> pd.DataFrame:
        """Residuals of every row used.

        Returns
        -------
        pandas.DataFrame
            By row label: ``fitted`` is ``X b`` and ``marginal`` the rest; ``conditional`` takes the predicted random
            effects off too (all three in units of the response), and ``standardised`` divides it by its own standard
            deviation. ``leverage`` is the diagonal of ``X Phi X'V^-1``, which adds up to the number of fixed effects.

        Raises
        ------
        MixedModelError
            If the model was fitted by ML.

        Examples
        --------
        >>> from trialkit.mixed import example, fit_mixed
        >>> fit = fit_mixed(example.small_trial(), "weight_g ~ dose", ["block"])
        >>> fit.residuals().iloc[0].round(4).to_dict()  # 90 g less 92 g, less -3.6 g
        {'fitted': 92.0, 'marginal': -2.0, 'conditional': 1.6, 'standardised': 1.1041, 'leverage': 0.25}
        """
        codes, rows = self.model.cells.codes, self._row_inverse
        basis = self.model.fixed.orthogonal[self.model.fixed_row]
        fitted = self._fitted
        with np.errstate(invalid="ignore", divide="ignore"):  # a row that determines an effect alone has no residual
            standardised = np.where(rows.own > 0, rows.residual / np.sqrt(np.abs(rows.own)), np.nan)
        table = {
            "fitted": fitted,
            "marginal": self.response - fitted,
            "conditional": self._residual_variances / self.prepared.scale[0] * rows.residual,
            "standardised": standardised,
            "leverage": ((basis @ self.point.phi[0])[codes] * rows.x).sum(1),
        }
        return pd.DataFrame(table, index=self.model.row_labels)

    def leave_one_out(self, term: str = "residual") -> pd.DataFrame:
        """Change of the fixed effects when one bucket, or one head, is left out, without refitting.

        The variances stay as they were estimated (Christensen, Pearson & Johnson 1992, Technometrics 34, 38-45).

        Parameters
        ----------
        term : str
            The random term with one level a cell (the bucket), or ``"residual"`` for single rows.

        Returns
        -------
        pandas.DataFrame
            One row a level (or row used), one column a fixed effect: estimate without it less estimate with it, in
            units of the response. Missing where the rest no longer determines the effects.

        Raises
        ------
        MixedModelError
            If leaving out a level of the term needs a refit.

        Examples
        --------
        >>> from trialkit.mixed import example, fit_mixed
        >>> fit = fit_mixed(example.small_trial(), "weight_g ~ dose")
        >>> fit.leave_one_out().loc[0].round(4).to_dict()  # 92 becomes the mean of 88, 95 and 95
        {'Intercept': 0.6667, 'dose[T.4]': -0.6667, 'dose[T.6]': -0.6667}
        """
        diagonal = None if self.model.diagonal is None else self.model.terms[self.model.diagonal]
        if term == "residual":
            index, change = self.model.row_labels, leave_one_out(self.point.phi[0], self._row_inverse)
        elif diagonal is not None and term == diagonal.name:
            order = np.argsort(diagonal.codes)
            index = pd.Index([str(level) for level in diagonal.levels], name=term)
            change = leave_one_out(self.point.phi[0], self._cell_inverse)[order]
        else:
            known = "'residual'" if diagonal is None else f"'residual' or {diagonal.name!r}"
            raise MixedModelError(f"Leaving out levels of {term!r} needs a refit; without one: {known}.")
        return pd.DataFrame(change @ self._kept_basis.T * self.prepared.scale[0], index, self._kept_names)

    def simulate(self, rng: np.random.Generator, n: int) -> FloatArray:
        """Draw responses from the fitted model; a negative variance counts as zero.

        Parameters
        ----------
        rng : numpy.random.Generator
        n : int
            How many.

        Returns
        -------
        ndarray, shape (n, rows used)
            In units of the response.

        Raises
        ------
        MixedModelError
            If the model was fitted by ML.

        Examples
        --------
        >>> from trialkit.mixed import example, fit_mixed
        >>> fit = fit_mixed(example.small_trial(), "weight_g ~ dose", ["block"])
        >>> drawn = fit.simulate(np.random.default_rng(1), 4000)
        >>> drawn.shape, int(drawn.mean().round()), int(drawn.var(axis=0).mean().round())
        ((4000, 12), 98, 16)
        """
        heads, cells = len(self._fitted), self.model.cells.codes
        responses: FloatArray = self._fitted + np.sqrt(self._residual_variances) * rng.standard_normal((n, heads))
        for position, term in enumerate(self.model.terms):
            if not term.slopes:
                sd = np.sqrt(max(float(self.variances[term.name]), 0.0))
                responses += (sd * rng.standard_normal((n, len(term.levels))))[:, term.codes[cells]]
                continue
            values, vectors = np.linalg.eigh(self._random_covariance(position))
            root = vectors * np.sqrt(np.maximum(values, 0.0))
            drawn = rng.standard_normal((n, len(term.levels), len(term.parts))) @ root.T
            responses += np.einsum("nca,ca->nc", drawn[:, term.codes], term.columns)[:, cells]
        return responses

    @property
    def _fitted(self) -> FloatArray:
        """``X b`` of each row used."""
        basis = self.model.fixed.orthogonal[self.model.fixed_row]
        return np.asarray(self.small.estimate(basis)[0, self.model.cells.codes])

    @property
    def _residual_variances(self) -> FloatArray:
        """Residual variance of each row used."""
        each = self.variances.to_numpy()[-len(self.model.residual.levels) :]
        return np.asarray(each[self.model.residual.codes][self.model.cells.codes])

    @cached_property
    def _cell_inverse(self) -> RowInverse:
        if not isinstance(self.point, Evaluation):
            from trialkit.mixed.absorbed_prediction import absorbed_cell_inverse

            return absorbed_cell_inverse(self.point)
        return cell_inverse(self.point, self.model.blocks, self.prepared.means[0], self.model.cells.sizes)

    @cached_property
    def _row_inverse(self) -> RowInverse:
        cells, scale = self.model.cells, float(self.prepared.scale[0])
        deviations = cells.means(self.response[None] - self.prepared.offset)[1][0] / scale
        residual = self._residual_variances / scale**2
        return head_inverse(self._cell_inverse, cells.codes, cells.sizes, deviations, residual)

    def _predict(self, position: int, term: RandomTerm) -> tuple[FloatArray, FloatArray]:
        """Predicted effects and their standard errors, in the scale of the fit, shape (levels,) or (levels, parts)."""
        if not isinstance(self.point, Evaluation):
            from trialkit.mixed.absorbed_prediction import predict_parts

            return predict_parts(self.point, position)
        if position == self.model.diagonal:
            effect, se = predict_diagonal(self.point, self._cell_inverse, position, self.model.cells.sizes)
            order = np.argsort(term.codes)
            return effect[order], se[order]
        at, blocks = self.model.in_columns.index(position), self.model.blocks
        return predict_columns(self.point, position, blocks.level_block[at], blocks.level_column[at])
