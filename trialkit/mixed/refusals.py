"""What the engine refuses to do, each as one clear sentence."""

import pandas as pd


class MixedModelError(ValueError):
    """A model that cannot be fitted, or a question that the fit cannot answer.

    All refusals of `trialkit.mixed` are of this kind.

    Examples
    --------
    >>> from trialkit.mixed import example, fit_mixed
    >>> fit_mixed(example.small_trial(), "weight_g ~ dose", ["block"]).means("cultivar")
    Traceback (most recent call last):
    trialkit.mixed.refusals.MixedModelError: 'cultivar' is not a factor of the model 'weight_g ~ dose'; its factors:
    dose.
    """


class FormulaError(MixedModelError):
    """The formula, or a column that it names, cannot be used.

    Examples
    --------
    >>> from trialkit.mixed import example, fit_mixed
    >>> fit_mixed(example.small_trial(), "weight_g ~ dosis")
    Traceback (most recent call last):
    trialkit.mixed.refusals.FormulaError: No column named 'dosis' in the data.
    """


class ConfoundedTerm(MixedModelError):
    """A random term that cannot be told apart from another part of the model.

    Examples
    --------
    >>> from trialkit.mixed import example, fit_mixed
    >>> one_block_a_dose = example.small_trial().assign(bench=lambda heads: heads["block"])
    >>> fit_mixed(one_block_a_dose, "weight_g ~ dose", ["block", "bench"])
    Traceback (most recent call last):
    trialkit.mixed.refusals.ConfoundedTerm: The random terms 'block' and 'bench' group the rows alike: keep one of them.
    """


class NoVariation(MixedModelError):
    """Nothing is left over to estimate a variance from.

    Examples
    --------
    >>> from trialkit.mixed import example, fit_mixed
    >>> fit_mixed(example.small_trial().head(3), "weight_g ~ dose")
    Traceback (most recent call last):
    trialkit.mixed.refusals.NoVariation: 3 rows for 3 fixed effects: none is left to estimate a variance from.
    """


class NotConverged(MixedModelError):
    """The variances did not settle; the message says what was tried.

    Examples
    --------
    Variances left free may run off in a tiny trial; held at zero or above they settle.

    >>> from trialkit.mixed import NotConverged, example, fit_mixed
    >>> try:
    ...     fit = fit_mixed(example.small_trial(), "weight_g ~ dose", ["block"], bounds="strata")
    ... except NotConverged:
    ...     fit = fit_mixed(example.small_trial(), "weight_g ~ dose", ["block"])
    >>> fit.bounds
    'strata'
    """


class NotEstimable(MixedModelError):
    """A mean or contrast that the data say nothing about.

    Examples
    --------
    >>> from trialkit.mixed import example, fit_mixed
    >>> apart = example.small_trial().assign(site=lambda heads: heads["dose"].map({"2": "a", "4": "b", "6": "b"}))
    >>> fit_mixed(apart, "weight_g ~ site + dose", ["block"]).compare("dose", "versus", "4")
    Traceback (most recent call last):
    trialkit.mixed.refusals.NotEstimable: Not determined by the data, so not compared: 2 - 4. Ask for the others by
    name, with 'contrasts'.
    """


class Separation(MixedModelError):
    """Counts that the fixed part splits into all and none, so that no finite estimate is the likeliest.

    Attributes
    ----------
    rows : pandas.Index
        Labels of the rows that are split off. Without them the likelihood of the rest is the same.

    Examples
    --------
    >>> from trialkit.mixed import example, fit_binomial
    >>> spared = example.small_counts().assign(lost=lambda heads: heads["lost"].where(heads["dose"] != "2", 0))
    >>> fit_binomial(spared, "lost ~ dose", ["block"], trials="heads")
    Traceback (most recent call last):
    trialkit.mixed.refusals.Separation: All or none came of every trial with dose 2, so that no finite estimate is the
    likeliest: leave these rows out, or a factor that splits them off.
    """

    def __init__(self, message: str, rows: pd.Index) -> None:
        super().__init__(message)
        self.rows = rows
