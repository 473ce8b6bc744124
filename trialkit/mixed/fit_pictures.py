"""Pictures of one fitted model."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from scipy.special import ndtri

from trialkit.mixed.fit_drawing import draw_effects, draw_means, draw_residuals
from trialkit.mixed.means import Weights
from trialkit.mixed.multivariate_t import require_confidence
from trialkit.mixed.predictions import Predictions
from trialkit.mixed.refusals import MixedModelError

if TYPE_CHECKING:
    from matplotlib.axes import Axes


@dataclass(frozen=True, eq=False)
class Pictures(Predictions):
    """Means, residuals and predicted effects of one fitted model as matplotlib axes."""

    def plot_means(
        self, factors: str, *, weights: Weights = "equal", confidence: float = 0.95, ax: Axes | None = None
    ) -> Axes:
        """Draw marginal means with their limits.

        Parameters
        ----------
        factors, weights, confidence
            As in `means`. The first factor stands along the axis; combinations of the others have a colour and a mark.
        ax : matplotlib.axes.Axes, optional
            Where to draw; new ones if not given.

        Returns
        -------
        matplotlib.axes.Axes

        Raises
        ------
        NotEstimable, MixedModelError
            As from `means`.

        Examples
        --------
        >>> from trialkit.mixed import example, fit_mixed
        >>> fit = fit_mixed(example.small_trial(), "weight_g ~ dose", ["block"])
        >>> axes = fit.plot_means("dose")
        >>> axes.get_xlabel(), axes.get_ylabel()
        ('dose', 'weight_g')
        """
        table = self.means(factors, weights=weights, confidence=confidence)
        return draw_means(table, "mean", self._response_name, ax)

    def plot_residuals(self, *, ax: Axes | None = None) -> Axes:
        """Draw standardised residuals against fitted values, predicted random effects counted in both.

        Of rows that vary alike about one in twenty lies beyond the dashed lines, at two standard deviations.

        Parameters
        ----------
        ax : matplotlib.axes.Axes, optional
            Where to draw; new ones if not given.

        Returns
        -------
        matplotlib.axes.Axes

        Raises
        ------
        MixedModelError
            If the model was fitted by ML.

        Examples
        --------
        >>> from trialkit.mixed import example, fit_mixed
        >>> fit = fit_mixed(example.small_trial(), "weight_g ~ dose", ["block"])
        >>> fit.plot_residuals().get_ylabel()
        'Residual, in standard deviations'
        """
        table = self.residuals()
        fitted = self.response - table["conditional"].to_numpy()
        return draw_residuals(fitted, table["standardised"].to_numpy(), self._response_name, ax)

    def plot_random_effects(
        self, term: str, part: str | None = None, *, confidence: float = 0.95, ax: Axes | None = None
    ) -> Axes:
        """Draw the predicted effects of a random term, the largest on top, with limits.

        The limits are the effect and normal quantiles of its standard error, the variances taken as known.

        Parameters
        ----------
        term : str
            As it was named in `fit_mixed`.
        part : str, optional
            Of a term with slopes: ``"level"`` or the column of a slope; the first if not given.
        confidence : float
        ax : matplotlib.axes.Axes, optional
            Where to draw; new ones if not given.

        Returns
        -------
        matplotlib.axes.Axes

        Raises
        ------
        MixedModelError
            If there is no such random term, or no such part of it.

        Examples
        --------
        >>> from trialkit.mixed import example, fit_mixed
        >>> fit = fit_mixed(example.small_trial(), "weight_g ~ dose", ["block"])
        >>> [label.get_text() for label in fit.plot_random_effects("block").get_yticklabels()]
        ['1', '2', '3', '4']
        """
        require_confidence(confidence)
        table, parts = self.random_effects(term), self._term(term).parts
        shown = parts[0] if part is None else part
        if shown not in parts:
            raise MixedModelError(f"{part!r} is no part of the random term {term!r}: {', '.join(parts)}.")
        if len(parts) > 1:
            table = table.xs(shown, level="part")
        half = float(ndtri((1 + confidence) / 2)) * table["se"]
        slope = "" if shown == "level" else f" a unit of {shown}"
        return draw_effects(table["effect"], half, f"Effect on {self._response_name}{slope}", ax)

    @property
    def _response_name(self) -> str:
        return self.model.fixed.formula.response
