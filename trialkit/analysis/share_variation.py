"""How unlike gardens, blocks and buckets are in the heads that they lose: a logistic mixed model of counts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated

import numpy as np
import pandas as pd

from trialkit.analysis.derived_model import derive_model
from trialkit.mixed import BinomialFit, MixedModelError, Separation, fit_binomial
from trialkit.stats.shares import Clusters


@dataclass(frozen=True)
class ShareVariation:
    """What makes marketable shares vary."""

    clusters: Annotated[tuple[Clusters, ...], "Gardens, blocks and what else the randomisation leaves, but buckets."]
    bucket: Annotated[float, "Variance of the logit between buckets treated alike."]
    sd_logit: Annotated[dict[str, float], "Standard deviations as fitted, by term."]


def share_variation(buckets: pd.DataFrame, treatment: Sequence[str], strata: Sequence[str]) -> ShareVariation | None:
    """Fit the model that the randomisation implies to the heads that were marketable; None where that cannot be.

    Treatments, and gardens, of which all or none came tell nothing of what varies, and are left out: the likelihood of
    the others is the same.

    Parameters
    ----------
    buckets : pandas.DataFrame
        A row each: bucket, site, the places that the strata name, the joint ``treatment`` and the treatment columns,
        heads ``recorded`` and of these ``usable``.
    treatment, strata : sequence of str
        As for `derive_model`.
    """
    left = buckets
    while len(left):
        model = derive_model(left, treatment, strata)
        random = [*model.random, *["bucket"] * bool(left["recorded"].max() > 1)]
        if not random:
            return None
        joint = "treatment" if left["treatment"].nunique() > 1 else "1"
        try:
            fit = fit_binomial(left, model.formula("usable", joint), random, trials="recorded")
        except Separation as split:
            left = left.drop(index=split.rows)
        except MixedModelError:
            return None
        else:
            return _variation(fit, buckets, strata)
    return None


def _variation(fit: BinomialFit, buckets: pd.DataFrame, strata: Sequence[str]) -> ShareVariation:
    """Variances of a fit, each with its degrees of freedom.

    The means over gardens, of all and of each treatment, are taken off what gardens differ by, and the likelihood does
    not count that; other terms lie within gardens.
    """
    levels = {term.name: len(term.levels) for term in fit.model.terms}
    gardens = buckets["site"].nunique()
    clusters = []
    for term, variance in fit.variances.items():
        if variance and term != "bucket":
            of = buckets.groupby(str(term).split(":"), sort=False, observed=True).ngroup().to_numpy()
            lost = 0.0 if term in strata else 1 / (gardens - 1)
            df = (levels[str(term)] - (0 if term == "site" else gardens)) / (1 + lost)
            clusters.append(Clusters(of, float(variance), max(1.0, df), lost))
    sd = {str(term): float(np.sqrt(variance)) for term, variance in fit.variances.items()}
    return ShareVariation(tuple(clusters), float(fit.variances.get("bucket", 0.0)), sd)
