"""What makes marketable shares vary, as the analysis fits it."""

import numpy as np
import pandas as pd
import pytest
from share_coverage import STRATA, Case, trial

from trialkit.analysis.share_variation import share_variation
from trialkit.mixed import fit_binomial

UNLIKE = Case(5, 4, 1.2, 0.0)


def usable_of(buckets: pd.DataFrame, treatment: str, usable: int) -> pd.DataFrame:
    """The same buckets with so many usable heads in each of one treatment."""
    return buckets.assign(usable=buckets["usable"].where(buckets["treatment"] != treatment, usable))


def test_it_is_the_model_of_the_randomisation() -> None:
    """Gardens, their blocks, what they do to a cultivar, and buckets; gardens have one degree of freedom less."""
    buckets = trial(UNLIKE, 1)
    found = share_variation(buckets, ["cultivar"], STRATA)
    assert found is not None
    terms = ["site", "site:block", "site:cultivar", "bucket"]
    fit = fit_binomial(buckets, "usable ~ treatment", terms, trials="recorded")
    assert found.sd_logit == pytest.approx(np.sqrt(fit.variances).to_dict(), abs=1e-5)
    assert found.clusters[0].variance == pytest.approx(fit.variances["site"], rel=1e-4)
    assert (found.clusters[0].df, found.clusters[0].lost) == (4.0, 0.25)
    assert found.bucket == pytest.approx(fit.variances["bucket"], abs=1e-6)


@pytest.mark.parametrize("usable", [0, 4])
def test_a_treatment_of_which_all_or_none_came_says_nothing_of_what_varies(usable: int) -> None:
    """It is left out, and the rest gives the same."""
    buckets = usable_of(trial(UNLIKE, 2), "2", usable)
    found = share_variation(buckets, ["cultivar"], STRATA)
    rest = share_variation(buckets[buckets["treatment"] != "2"], ["cultivar"], STRATA)
    assert found is not None
    assert rest is not None
    assert found.sd_logit == rest.sd_logit
    assert all(len(one.of) == len(buckets) for one in found.clusters)


def test_two_gardens_are_these_two() -> None:
    """Fewer gardens than can stand for others are fixed, one of which lost nothing: blocks and buckets are left."""
    buckets = trial(Case(2, 6, 0.0, 0.0), 3)
    whole = buckets.assign(usable=buckets["usable"].where(buckets["site"] == "0", 4))
    for some in (buckets, whole):
        found = share_variation(some, ["cultivar"], STRATA)
        assert found is not None
        assert set(found.sd_logit) == {"site:block", "bucket"}


def test_where_nothing_can_be_fitted_that_is_said() -> None:
    """Nothing lost at all; buckets that live and die as a whole; one garden and block with one head a bucket."""
    buckets = trial(UNLIKE, 4)
    whole = buckets.assign(usable=4 * np.tile([0, 1, 1], len(buckets))[: len(buckets)])
    alone = trial(Case(1, 1, 0.0, 0.0), 5).assign(recorded=1, usable=[0, 1, 1, 1])
    for some in (buckets.assign(usable=4), whole, alone):
        assert share_variation(some, ["cultivar"], STRATA) is None
