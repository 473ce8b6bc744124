"""Step 7: comparisons answered, with p values and limits that hold for the whole family."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Literal

import numpy as np
import pandas as pd
from scipy.special import stdtr

from trialkit.domain.arrays import FloatArray
from trialkit.mixed.contrasts import Contrasts
from trialkit.mixed.fixed import FixedDesign
from trialkit.mixed.means import MeanRows
from trialkit.mixed.multivariate_t import largest_of_pairs, largest_t, t_quantile
from trialkit.mixed.refusals import MixedModelError, NotEstimable
from trialkit.mixed.small_sample import SmallSample

Adjustment = Literal["tukey", "dunnett", "holm", "sidak", "none"]

# The first is used unless another is asked for.
ADJUSTMENTS: Mapping[str, tuple[Adjustment, ...]] = {
    "all-pairs": ("tukey", "holm", "sidak", "none"),
    "versus": ("dunnett", "holm", "sidak", "none"),
    "trend": ("none", "holm", "sidak"),
    "custom": ("none", "holm", "sidak"),
}


@dataclass(frozen=True)
class PosedComparison:
    """Comparisons asked of a fit, one family after another."""

    within: Annotated[
        tuple[str, ...], "Factors whose joint levels each have a family of their own; none for a single family."
    ]
    places: Annotated[tuple[tuple[object, ...], ...], "Those joint levels."]
    contrasts: Annotated[Contrasts, "Over the levels compared, the same in every family."]
    families: Annotated[tuple[FloatArray, ...], "Shape (comparisons, p). Contrasts in the orthogonal basis."]

    def tables(self, answer: Callable[[pd.Index, FloatArray], pd.DataFrame]) -> pd.DataFrame:
        """Answer every family, and put the tables one under another with the place in front."""
        answers = [answer(self.contrasts.index, family) for family in self.families]
        if not self.within:
            return answers[0]
        keys = [place[0] if len(place) == 1 else place for place in self.places]
        return pd.concat(answers, keys=keys, names=[*self.within, *self.contrasts.index.names])


def pose(
    fixed: FixedDesign, means: MeanRows, within: int, choose: Callable[[Sequence[str]], Contrasts]
) -> PosedComparison:
    """Put comparisons in the orthogonal basis, having checked that the data determine each.

    It is the comparison that must be determined, not the means: two treatments grown in the same blocks can be
    compared although no block links them to the others.

    `means` are of the factors within which to compare, `within` in number, then of those compared.

    Raises
    ------
    NotEstimable
        Naming the comparisons that are not determined.
    MixedModelError
        If the model gives a comparison no difference to look at.
    """
    places = tuple(dict.fromkeys(level[:within] for level in means.levels))
    size = len(means.levels) // len(places)
    contrasts = choose([":".join(map(str, level[within:])) for level in means.levels[:size]])
    rows = [contrasts.weights @ part for part in means.rows.reshape(len(places), size, -1)]
    names = [
        name + (f" at {':'.join(map(str, place))}" if within else "") for place in places for name in contrasts.names
    ]
    _refuse_undetermined(fixed, np.concatenate(rows), names)
    _refuse_nil(np.concatenate(rows), float(np.abs(means.rows).max()), names)
    families = tuple(fixed.to_orthogonal(part) for part in rows)
    return PosedComparison(means.names[:within], places, contrasts, families)


def _refuse_undetermined(fixed: FixedDesign, rows: FloatArray, names: Sequence[str]) -> None:
    bad = [name for name, good in zip(names, fixed.estimable(rows), strict=True) if not good]
    if bad:
        rest = "" if len(bad) == len(names) else " Ask for the others by name, with 'contrasts'."
        raise NotEstimable(f"Not determined by the data, so not compared: {', '.join(bad)}.{rest}")


def _refuse_nil(rows: FloatArray, size: float, names: Sequence[str]) -> None:
    nil = [name for name, row in zip(names, rows, strict=True) if np.abs(row).max() <= 1e-12 * size]
    if nil:
        raise MixedModelError(
            f"Nothing to compare: in this model these are alike by construction: {', '.join(nil)}. "
            "Name the effect in the formula, or give weights that are not all zero."
        )


def comparison_table(
    index: pd.Index, contrasts: FloatArray, small: SmallSample, adjust: Adjustment, levels: int, confidence: float
) -> pd.DataFrame:
    """Estimates with adjusted p values and simultaneous limits.

    Tukey means Tukey-Kramer, for `levels` means; Dunnett is by the exact multivariate t with the correlation of the
    fitted (Kenward-Roger) covariance and each comparison's own d.f.; Holm's limits are unadjusted, since Holm gives
    none. Contrasts are in the orthogonal basis.
    """
    estimate, se, df = _answers(small, contrasts)
    t = estimate / se
    correlation = (contrasts @ small.adjusted[0] @ contrasts.T) / np.outer(se, se)
    p, critical = _adjusted(adjust, np.abs(t), df, correlation, levels, confidence)
    columns = {"estimate": estimate, "se": se, "df": df, "t": t, "p": p}
    return pd.DataFrame(columns | {"lower": estimate - critical * se, "upper": estimate + critical * se}, index=index)


def equivalence_table(
    index: pd.Index, contrasts: FloatArray, small: SmallSample, margin: float, confidence: float
) -> pd.DataFrame:
    """Two one-sided t tests that each contrast lies inside plus or minus the margin (Schuirmann 1987).

    The larger of the two p values counts; it is below ``1 - confidence`` exactly where the limits at
    ``2 confidence - 1`` lie inside the margins.
    """
    estimate, se, df = _answers(small, contrasts)
    t_lower, t_upper = (estimate + margin) / se, (estimate - margin) / se
    p = np.maximum(stdtr(df, -t_lower), stdtr(df, t_upper))
    half = t_quantile(2 * confidence - 1, df) * se
    columns = {"estimate": estimate, "se": se, "df": df, "t_lower": t_lower, "t_upper": t_upper, "p": p}
    limits = {"lower": estimate - half, "upper": estimate + half, "equivalent": p < 1 - confidence}
    return pd.DataFrame(columns | limits, index=index)


def adjustment(family: str, adjust: Adjustment | None) -> Adjustment:
    """How the p values of a family are adjusted: as asked, where that goes with the family."""
    known = ADJUSTMENTS.get(family, ())
    if not known:
        raise MixedModelError(f"{family!r} is no family of comparisons: use 'all-pairs', 'versus' or 'trend'.")
    if adjust is not None and adjust not in known:
        raise MixedModelError(f"{adjust!r} does not go with {family!r}: use one of {', '.join(known)}.")
    return adjust or known[0]


def _answers(small: SmallSample, contrasts: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Estimate, standard error and degrees of freedom of each contrast."""
    estimate, se, df = small.estimate(contrasts)[0], small.contrast_se(contrasts)[0], small.contrast_df(contrasts)[0]
    if not (np.isfinite(se) & (se > 0)).all():
        raise MixedModelError(
            "Kenward and Roger's variance of a comparison is not positive here, as there is too little to estimate the "
            "variances from. Use fewer random terms, or hold the variances at zero or above."
        )
    return estimate, se, df


def _adjusted(
    adjust: Adjustment, t: FloatArray, df: FloatArray, correlation: FloatArray, levels: int, confidence: float
) -> tuple[FloatArray, FloatArray]:
    """Adjusted p values and critical values, each of shape (c,)."""
    raw = 2 * stdtr(df, -t)
    if adjust == "none":
        return raw, t_quantile(confidence, df)
    if adjust in ("tukey", "dunnett"):
        largest = largest_of_pairs(levels) if adjust == "tukey" else largest_t(correlation)
        p = np.array([1 - largest.probability(c, v) for c, v in zip(t, df, strict=True)])
        critical = {v: largest.quantile(confidence, v) for v in dict.fromkeys(_rounded(df))}
        return p, np.array([critical[v] for v in _rounded(df)])
    from statsmodels.stats.multitest import multipletests

    if adjust == "holm":
        return np.asarray(multipletests(raw, method="holm")[1]), t_quantile(confidence, df)
    within = confidence ** (1 / len(t))
    return np.asarray(multipletests(raw, method="sidak")[1]), t_quantile(within, df)


def _rounded(df: FloatArray) -> list[float]:
    """Degrees of freedom to ten digits: equal ones share a critical value."""
    return [float(f"{v:.9e}") for v in df]
