"""Checks of the model that change what the report says."""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trialkit.analysis.answer import Check
from trialkit.analysis.wording import p_value

FEWEST_ERROR_DF = 12  # EPPO PP 1/152(4), 2012: at least 12 residual degrees of freedom
SUSPICIOUS_P = 0.01
FEWEST_BUCKETS_TO_TEST = 8
ROUNDING = 1e-9


@dataclass(frozen=True)
class BucketResiduals:
    """Bucket means less their treatment and block means.

    Attributes
    ----------
    buckets : pandas.DataFrame
        bucket, site, and columns ``residual`` (response's unit) and ``studentised`` (externally studentised).
    df : int
        Degrees of freedom left.
    """

    buckets: pd.DataFrame
    df: int


def bucket_residuals(heads: pd.DataFrame, response: str) -> BucketResiduals:
    """Residuals of bucket means on treatment and block, each bucket counted once.

    Externally studentised: ``e / (s_(i) sqrt(1 - h))`` (Cook & Weisberg 1982, Residuals and Influence in
    Regression, sec. 2.2).
    """
    keys = ["bucket", "site", "block", "treatment"]
    buckets = heads.groupby(keys, observed=True, as_index=False)[response].mean()
    block = buckets.groupby(["site", "block"]).ngroup().to_numpy()
    columns = [_dummies(block), _dummies(pd.factorize(buckets["treatment"])[0])]
    u, s, _ = np.linalg.svd(np.column_stack(columns), full_matrices=False)
    basis = u[:, s > 1e-10 * s[0]]
    y = buckets[response].to_numpy(float)
    residual = y - basis @ (basis.T @ y)
    df = len(y) - basis.shape[1]
    spare = np.maximum(1 - (basis**2).sum(1), 1e-12)
    with np.errstate(divide="ignore", invalid="ignore"):
        deleted = (residual @ residual - residual**2 / spare) / (df - 1)
        studentised = residual / np.sqrt(deleted * spare)
    return BucketResiduals(buckets.assign(residual=residual, studentised=studentised), df)


def _dummies(codes: NDArray[np.intp]) -> NDArray[np.float64]:
    return np.eye(int(codes.max()) + 1)[codes]


def model_checks(heads: pd.DataFrame, response: str, unit: str, error_df: tuple[str, float]) -> Iterator[Check]:
    """Check replication, the shape and spread of bucket residuals, and single buckets that stand out.

    Parameters
    ----------
    heads : pandas.DataFrame
        One row a head, with bucket, site, block, ``treatment`` and the response.
    response, unit : str
    error_df : tuple of (str, float)
        The effect with the fewest degrees of freedom for error, and these.
    """
    yield _replication(*error_df)
    residuals = bucket_residuals(heads, response)
    if residuals.buckets["residual"].abs().max() <= ROUNDING * heads[response].abs().max():
        yield Check(
            "residuals",
            "Variation between like buckets",
            "Buckets treated alike in a block do not differ at all.",
            "Records of living things vary: were these weighed, or written down from one figure?",
            False,
        )
        return
    if residuals.df < FEWEST_BUCKETS_TO_TEST:
        yield Check(
            "residuals",
            "Buckets enough to check the model",
            f"Only {residuals.df} degrees of freedom are left among the bucket means.",
            "The intervals rest on the assumption that buckets vary alike and symmetrically; it could not be checked.",
            False,
        )
        return
    yield _shape(residuals)
    if residuals.buckets["site"].nunique() > 1:
        yield _spread(residuals)
    yield _outlier(residuals, unit)


def _replication(effect: str, df: float) -> Check:
    ok = df >= FEWEST_ERROR_DF
    return Check(
        "replication",
        "Replication",
        f"Least is known of {effect}: {df:.1f} degrees of freedom for error; {FEWEST_ERROR_DF} or more are usual.",
        "Nothing to do."
        if ok
        else "Intervals are wide because there are few buckets or gardens; another season would help most.",
        ok,
    )


def _evidence(p: float) -> str:
    """Say how much a test's p value speaks for its alternative."""
    strength = "strong" if p < SUSPICIOUS_P else "weak" if p < 0.1 else "no"
    return f"{strength} evidence ({p_value(p)})"


def _shape(residuals: BucketResiduals) -> Check:
    """Shapiro & Wilk's test of the bucket residuals, by pingouin."""
    import pingouin

    row = pingouin.normality(residuals.buckets["residual"]).iloc[0]
    ok = bool(row["pval"] >= SUSPICIOUS_P)
    return Check(
        "shape",
        "Shape of the variation between buckets",
        f"Over {len(residuals.buckets)} buckets, {_evidence(float(row['pval']))} against a bell shape (Shapiro-Wilk).",
        "Nothing to do."
        if ok
        else "A few buckets are far from the rest or the spread is lopsided: read the intervals as approximate.",
        ok,
    )


def _spread(residuals: BucketResiduals) -> Check:
    """Levene's test of equal spread between sites, by pingouin."""
    import pingouin

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # a site with too few buckets is reported by the missing p, not by a warning
        table = pingouin.homoscedasticity(residuals.buckets, dv="residual", group="site", method="levene")
    p = float(table["pval"].iloc[0])
    spread = residuals.buckets.groupby("site")["residual"].std()
    ok = not p < SUSPICIOUS_P
    return Check(
        "spread",
        "Spread within each garden",
        f"Standard deviations between like buckets run from {spread.min():.3g} to {spread.max():.3g} "
        f"(Levene: {_evidence(p)} that they differ).",
        "Nothing to do."
        if ok
        else f"Buckets at {spread.idxmax()} vary most: its results count for more than they should.",
        ok,
    )


def _outlier(residuals: BucketResiduals, unit: str) -> Check:
    """Look at the bucket with the largest studentised residual, allowing for having looked at all (Bonferroni)."""
    from scipy.special import stdtr

    at = residuals.buckets["studentised"].abs().idxmax()
    row = residuals.buckets.loc[at]
    p = min(1.0, 2 * float(stdtr(residuals.df - 1, -abs(row["studentised"]))) * len(residuals.buckets))
    ok = p >= SUSPICIOUS_P
    return Check(
        "outlier",
        "Single buckets that stand out",
        f"Bucket {row['bucket']} at {row['site']} lies {abs(row['residual']):.3g} {unit} "
        f"{'above' if row['residual'] > 0 else 'below'} what its treatment and block lead one to expect "
        f"({'may well be chance' if ok else 'hardly chance'}: {p_value(p)}, allowing for all buckets).",
        "Nothing to do."
        if ok
        else "Look at this bucket's record before relying on the answer: a slip of the pen is likely.",
        ok,
    )
