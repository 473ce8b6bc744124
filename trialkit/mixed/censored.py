"""Days that were seen only between two visits, or not before the last: the mixed model by multiple imputation."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Annotated, Literal

import numpy as np
import pandas as pd

from trialkit.domain.arrays import FloatArray
from trialkit.domain.short_repr import ShortRepr
from trialkit.mixed import MixedFit, MixedModelError, NotConverged
from trialkit.mixed.augmentation import Bounds, complete, fit_sets
from trialkit.mixed.combining import Combined, average, combine_sets
from trialkit.mixed.comparisons import Adjustment
from trialkit.mixed.contrasts import Family
from trialkit.mixed.fixed import parse_formula
from trialkit.mixed.model import Model, build_model, prepare
from trialkit.mixed.random_terms import read_term
from trialkit.mixed.refusals import FormulaError
from trialkit.mixed.scoring import FitRecord, estimate
from trialkit.mixed.small_sample import small_sample

IMPUTATIONS = 20
BURN_IN = 15
"""By then means and variances have settled from midpoints where few heads are open on one side; else blocks follow."""


class DaysNotBounded(MixedModelError):
    """Heads of some level that are all open on the same side: its mean could be anything.

    Attributes
    ----------
    term : str
    levels : tuple of str
    late : bool
        Whether its heads were not ready when last seen, and not ready already when first seen.
    """

    def __init__(self, term: str, levels: tuple[str, ...], *, late: bool) -> None:
        self.term, self.levels, self.late = term, levels, late
        names = " and ".join(map(repr, levels))
        seen = "was still not ready when last seen" if late else "was ready when first seen"
        super().__init__(
            f"Every head of {term} {names} {seen}: its mean days are not determined. Leave it out of the analysis of "
            "days, and say only that."
        )


@dataclass(frozen=True)
class SeenHeads:
    """How many heads were seen in which way: on the day itself, between two visits, not by the last, by the first."""

    exact: int
    interval: int
    right: int
    left: int


@dataclass(frozen=True, repr=False)
class CensoredFit(ShortRepr):
    """What can be asked of days to harvest that were seen between bounds; the answers are as a `MixedFit` has."""

    # As asked for.
    formula: str
    bounds: str
    model: Model
    record: Annotated[FitRecord, "How the variances of each completed set were found."]
    variances: Annotated[pd.Series, "By name, in square days, averaged over the completed sets."]
    censored: SeenHeads
    imputations: Annotated[int, "Completed sets: 1 where every day is known."]
    criterion: Annotated[
        float, "Of a trial whose every day is known, as `MixedFit.criterion`; else missing, each set having its own."
    ]
    answers: Annotated[
        CombinedAnswers, "Of the first completed set, its small-sample quantities those of all sets combined."
    ]
    days: Annotated[FloatArray, "Shape (sets, heads). The completed sets, in the order of the model's rows."]

    @property
    def expected_days(self) -> pd.Series:
        """Each head's day, averaged over the completed sets, by row label of the heads used."""
        return pd.Series(self.days.mean(0), index=self.model.row_labels)

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the variances."""
        return self.model.variance_names

    def anova(self) -> pd.DataFrame:
        """Partial F tests as from `MixedFit.anova`, combined over the sets (Li, Raghunathan & Rubin 1991)."""
        return self.answers.anova()

    def means(self, factors: str, *, confidence: float = 0.95) -> pd.DataFrame:
        """Means as from `MixedFit.means`, combined over the sets (Rubin 1987; d.f. by `combined_df`)."""
        return self.answers.means(factors, confidence=confidence)

    def mean_covariance(self, factors: str) -> pd.DataFrame:
        """Covariance of means as from `MixedFit.mean_covariance`, within sets and between them."""
        return self.answers.mean_covariance(factors)

    def compare(
        self,
        factors: str,
        family: Family = "all-pairs",
        reference: str | None = None,
        adjust: Adjustment | None = None,
        *,
        confidence: float = 0.95,
    ) -> pd.DataFrame:
        """Comparisons as from `MixedFit.compare`, their correlation that of the combined covariance."""
        return self.answers.compare(factors, family, reference, adjust, confidence=confidence)

    def equivalence(
        self,
        factors: str,
        margin: float,
        family: Family = "all-pairs",
        reference: str | None = None,
        *,
        confidence: float = 0.95,
    ) -> pd.DataFrame:
        """Two one-sided tests as from `MixedFit.equivalence`."""
        return self.answers.equivalence(factors, margin, family, reference, confidence=confidence)


@dataclass(frozen=True)
class CombinedAnswers(MixedFit):
    """A fit of one completed set that answers for all of them; only its fixed effects are asked of."""

    combined: Combined

    @cached_property
    def small(self) -> Combined:
        """The sets' small-sample quantities, combined."""
        return self.combined


def fit_censored(
    heads: pd.DataFrame,
    formula: str,
    random: Sequence[str] = (),
    *,
    bounds: Literal["nonnegative", "strata"] = "nonnegative",
    seed: int,
    imputations: int = IMPUTATIONS,
    burn_in: int = BURN_IN,
) -> CensoredFit:
    """Fit a linear mixed model to days that were seen between bounds.

    The days are drawn between their bounds given all else (`trialkit.mixed.augmentation`), variances at zero or
    above; each completed set is fitted by restricted likelihood as `fit_mixed` would, and the fits are combined
    (`trialkit.mixed.combining`). Where every day is known, the answers are `fit_mixed`'s own.

    Parameters
    ----------
    heads : pandas.DataFrame
        One row a head: ``lower`` and ``upper``, days; equal where the day is known; missing or infinite where that
        side is open, as ``upper`` is of a head not ready at the last visit. Then the columns of the model. A head open
        on both sides, or with another value missing, is left out.
    formula : str
        Response and fixed part, as for `fit_mixed`; the response is a name only.
    random : sequence of str
    bounds : {"nonnegative", "strata"}
        Of the variances of the completed sets, as for `fit_mixed`.
    seed : int
        The same seed gives the same answer, in whatever order the rows stand.
    imputations : int
        Completed sets, at least 2.
    burn_in : int
        Steps of data augmentation in a block; blocks follow each other until the chains have settled.

    Raises
    ------
    MixedModelError
        If bounds cross, if a level has no head whose day was bounded on one of the sides, if the chains do not settle,
        or as from `fit_mixed`.

    Examples
    --------
    Twelve heads looked at every third day; of dose 2 one was not ready at the last visit.

    >>> heads = pd.DataFrame({
    ...     "dose": ["2"] * 6 + ["4"] * 6,
    ...     "lower": [36.0, 39, 39, 42, 42, 45, 33, 36, 36, 36, 39, 39],
    ...     "upper": [39.0, 42, 42, 45, 45, np.inf, 36, 39, 39, 39, 42, 42],
    ... })
    >>> fit = fit_censored(heads, "days ~ dose", seed=1)
    >>> fit.censored, fit.compare("dose")["estimate"].round().to_list()
    (SeenHeads(exact=0, interval=11, right=1, left=0), [4.0])
    """
    if imputations < 2 or burn_in < 1:
        raise MixedModelError("Ask for two imputations or more, and for one step of data augmentation or more.")
    lower, upper = heads["lower"].fillna(-np.inf).to_numpy(float), heads["upper"].fillna(np.inf).to_numpy(float)
    _refuse_impossible(heads.index, lower, upper)
    day, parsed = np.where(np.isinf(lower), upper, lower), parse_formula(formula)
    known = heads.assign(**{parsed.response: np.where(np.isinf(day), np.nan, day)}).reset_index(drop=True)
    used = pd.DataFrame({"lower": lower, "upper": upper})
    texts = [read_term(term, heads.columns) for term in random]
    if any(text.slopes for text in texts):
        raise FormulaError("Days between visits are fitted with levels only: leave slopes out of the random terms.")
    columns = [*parsed.columns, *(column for text in texts for column in text.columns)]
    in_order = known[list(dict.fromkeys(columns))].assign(lower=lower, upper=upper)
    known = known.loc[in_order.sort_values(list(in_order.columns), kind="stable").index]  # draws go by place
    model, _ = build_model(known, formula, random)
    seen = Bounds(*used.loc[model.row_labels].to_numpy().T)
    _refuse_undetermined(model, known.loc[model.row_labels], seen)
    if seen.open.any():
        rng = np.random.Generator(np.random.PCG64(seed))
        held = bounds == "nonnegative"
        days = complete(model, seen, rng, sets=imputations, burn_in=burn_in, bounded=held)
    else:
        days = seen.lower[None]
    return _fit_sets(formula, bounds, model, days, _count(seen))


def fit_same_days(
    fit: CensoredFit,
    heads: pd.DataFrame,
    formula: str,
    random: Sequence[str],
    *,
    bounds: Literal["nonnegative", "strata"],
) -> CensoredFit:
    """Fit the same model, written otherwise, to the completed days of a fit; arguments as for `fit_censored`."""
    known = heads.reset_index(drop=True).loc[fit.model.row_labels]
    model, _ = build_model(known.assign(**{parse_formula(formula).response: fit.days[0]}), formula, random)
    return _fit_sets(formula, bounds, model, fit.days, fit.censored)


def _fit_sets(
    formula: str, bounds: Literal["nonnegative", "strata"], model: Model, days: FloatArray, censored: SeenHeads
) -> CensoredFit:
    """Fit completed sets, shape (sets, heads), side by side, and combine them."""
    prepared = prepare(model, days)
    if len(days) == 1:
        point, record = estimate(model, prepared, restricted=True, bounded=bounds == "nonnegative")
    else:
        point, record = fit_sets(model, prepared, bounded=bounds == "nonnegative")
        unsettled = np.count_nonzero(~record.converged)
        if unsettled:
            raise NotConverged(
                f"The variances did not settle in {unsettled} of {len(days)} sets of days drawn between the visits: "
                "the heads differ too little."
            )
    combined = combine_sets(small_sample(point, record.free, prepared))
    answers = CombinedAnswers(formula, "reml", bounds, model, days[0], prepared, point, record, combined)
    variances = average(point.variances * prepared.scale[:, None] ** 2)
    return CensoredFit(
        formula=formula,
        bounds=bounds,
        model=model,
        record=record,
        variances=pd.Series(variances, index=list(model.variance_names), name="variance"),
        censored=censored,
        imputations=len(days),
        criterion=answers.criterion if len(days) == 1 else np.nan,
        answers=answers,
        days=days,
    )


def _count(seen: Bounds) -> SeenHeads:
    right, left = np.isinf(seen.upper), np.isinf(seen.lower)
    counts = (~seen.open, seen.open & ~right & ~left, right, left)
    return SeenHeads(*(int(np.count_nonzero(of_kind)) for of_kind in counts))


def _refuse_impossible(labels: pd.Index, lower: FloatArray, upper: FloatArray) -> None:
    wrong = (lower > upper) | (lower == np.inf) | (upper == -np.inf)
    if wrong.any():
        named = ", ".join(str(label) for label in labels[wrong][:5])
        raise MixedModelError(
            f"The first day is after the last for {wrong.sum()} heads, in rows {named}: put the days right."
        )


def _refuse_undetermined(model: Model, rows: pd.DataFrame, seen: Bounds) -> None:
    """Refuse where the heads of some level of a term are all open on the same side: its mean could be anything."""
    if not np.isfinite(seen.lower + seen.upper).any():
        raise MixedModelError("No head was seen between two visits, so its days are not known: visit more often.")
    factors = set(model.fixed.factors)
    for term in model.fixed.formula.terms:
        if not term or not set(term) <= factors:
            continue
        level = rows[list(term)].astype(str).agg(":".join, axis=1)
        for side, late in ((seen.upper, True), (seen.lower, False)):
            shares = pd.Series(np.isinf(side), index=rows.index).groupby(level).all()
            if shares.any():
                raise DaysNotBounded(":".join(term), tuple(str(name) for name in shares.index[shares]), late=late)
