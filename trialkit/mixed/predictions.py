"""What a fit says of rows that were not in its data."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
import pandas as pd

from trialkit.domain.arrays import FloatArray
from trialkit.mixed.arguments import named_terms
from trialkit.mixed.levels_and_rows import LevelsAndRows
from trialkit.mixed.mixed_model_equations import MixedModelEquations, NewRows
from trialkit.mixed.multivariate_t import require_confidence, t_quantile
from trialkit.mixed.new_rows import read_new_rows
from trialkit.mixed.refusals import MixedModelError
from trialkit.mixed.small_sample import variance_covariance


@dataclass(frozen=True, eq=False)
class Predictions(LevelsAndRows):
    """Predictions of one fitted model for new rows."""

    def predict(
        self,
        rows: pd.DataFrame,
        *,
        random: bool | str | Sequence[str] = True,
        interval: Literal["mean", "new head"] | None = "mean",
        confidence: float = 0.95,
    ) -> pd.DataFrame:
        """Predict new rows, with random effects or without.

        A known level of a random term adds its predicted effect. One never seen adds zero, and its variance counts in
        the interval. Without random effects the predictions are of the population: ``X b``.

        Parameters
        ----------
        rows : pandas.DataFrame
            Columns of the fixed part and of the random terms that count, as in the data of the fit.
        random : bool, str or sequence of str
            Random terms whose effects count: all, none, or those named.
        interval : {"mean", "new head"}, optional
            Limits for the mean of such rows, given the effects that count; or for one head more, with its residual and
            with levels never seen of the terms that do not count. None gives predictions alone, by either likelihood.
        confidence : float

        Returns
        -------
        pandas.DataFrame
            By row, in units of the response: prediction, se (of the prediction error), df, lower, upper; then
            ``never_seen``, the random terms whose level the data did not have, and ``estimable``: a row that the data
            do not determine has missing values.

            The variance of the error is Henderson's (1975), with what the estimation of the variances adds. Without
            random effects se and df are Kenward and Roger's (1997). With them the addition is Harville and Jeske's
            (1992), its extension, and df are Satterthwaite's of the variance of the error; limits are then approximate.

        Raises
        ------
        MixedModelError
            If a row has a level of a factor that the data did not have, or a column or value is missing (all at once);
            if a term, an interval or a confidence is unknown; if limits are asked of a fit by ML.

        Examples
        --------
        Of block 1, 4 g below the mean, nine tenths count. A block never seen is predicted by the mean, whose variance
        is 4, and adds its own, 12.

        >>> from trialkit.mixed import example, fit_mixed
        >>> fit = fit_mixed(example.small_trial(), "weight_g ~ dose", ["block"])
        >>> rows = pd.DataFrame({"dose": ["2", "2"], "block": ["1", "9"]})
        >>> fit.predict(rows)[["prediction", "se", "never_seen"]].round(3)
           prediction     se never_seen
        0        88.4  1.449
        1        92.0  4.000      block
        >>> fit.predict(rows, random=False)[["prediction", "se", "df"]].round(3).iloc[0].to_list()
        [92.0, 2.0, 4.235]
        """
        counted = self._counted(random)
        if interval not in ("mean", "new head", None):
            raise MixedModelError(f"{interval!r} is no kind of interval: use 'mean', 'new head' or None.")
        require_confidence(confidence)
        if interval is not None and self.method != "reml":
            raise MixedModelError(
                "Limits need the restricted likelihood: fit with method='reml', or use interval=None."
            )
        new, estimable = read_new_rows(self.model, rows, counted, new_head=interval == "new head")
        random_part = self._equations.random_part(new, self._effects) * self.prepared.scale[0] if counted else 0.0
        table = {"prediction": np.where(estimable, self._estimated(new.x) + random_part, np.nan)}
        if interval is not None:
            table |= self._limits(table["prediction"], new, confidence)
        told = pd.DataFrame(table, index=rows.index)
        return told.assign(never_seen=self._never_seen(new, counted), estimable=estimable)

    def _limits(self, prediction: FloatArray, new: NewRows, confidence: float) -> dict[str, FloatArray]:
        covariance = variance_covariance(self.point, self.record.free, self.record.directions)[0]
        error = self._equations.errors(new, covariance)
        known = np.isfinite(prediction) & (error.plain > 0)
        se = np.sqrt(np.where(known, error.adjusted, np.nan)) * self.prepared.scale[0]
        df = np.where(known, error.df, np.nan)
        half = np.full(len(se), np.nan)
        half[known] = t_quantile(confidence, df[known]) * se[known]
        return {"se": se, "df": df, "lower": prediction - half, "upper": prediction + half}

    def _counted(self, random: bool | str | Sequence[str]) -> tuple[str, ...]:
        """Random terms that count."""
        names = tuple(term.name for term in self.model.terms)
        if isinstance(random, bool):
            return names if random else ()
        asked = named_terms(random)
        unknown = [name for name in asked if name not in names]
        if unknown:
            known = ", ".join(names) or "it has none"
            raise MixedModelError(
                f"{', '.join(map(repr, unknown))} is not a random term of this model: {known}. Or use True or False."
            )
        return asked

    def _never_seen(self, new: NewRows, counted: Sequence[str]) -> list[str]:
        """Of each row, the terms that count and whose level the data did not have."""
        levels = {t.name: each for t, each in zip(self.model.terms, new.levels, strict=True) if t.name in counted}
        return [
            ", ".join(n for n, each in levels.items() if each is not None and each[i] < 0) for i in range(len(new.x))
        ]

    @cached_property
    def _equations(self) -> MixedModelEquations:
        return MixedModelEquations(self.model, self.point)

    @cached_property
    def _effects(self) -> FloatArray:
        return self._equations.effects(self.prepared.means[0])
