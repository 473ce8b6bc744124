"""The engine beside general libraries, where these can express the same model."""

import warnings

import numpy as np
import pandas as pd
import pingouin
import pytest
import statsmodels.formula.api as smf
from statsmodels.stats.anova import AnovaRM

from trialkit.mixed import fit_mixed


@pytest.fixture(scope="module")
def heads() -> pd.DataFrame:
    """Twelve buckets in four blocks, three doses, five heads each, of which some were lost."""
    rng = np.random.default_rng(11)
    data = pd.MultiIndex.from_product([range(4), ["2", "4", "6"], range(5)], names=["block", "dose", "head"]).to_frame(
        index=False
    )
    data["bucket"] = np.arange(len(data)) // 5
    data["weight_g"] = (
        100
        + 6.0 * data["dose"].astype(int)
        + 9 * rng.standard_normal(12)[data["bucket"]]
        + 12 * rng.standard_normal(len(data))
    )
    return data


@pytest.mark.parametrize("lost", [0, 7])
@pytest.mark.parametrize("method", ["reml", "ml"])
def test_statsmodels_finds_the_same_fit(heads: pd.DataFrame, lost: int, method: str) -> None:
    """Statsmodels' MixedLM with buckets as groups: estimates, variances and likelihood, balanced or not.

    Its restricted likelihood leaves out log|X'X| (Harville 1974), which ours keeps to be the same in every coding.
    """
    data = heads.drop(index=np.random.default_rng(1).choice(len(heads), lost, replace=False))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs = smf.mixedlm("weight_g ~ C(dose)", data, groups=data["bucket"]).fit(
            reml=method == "reml", method="bfgs", gtol=1e-10
        )
    ours = fit_mixed(data, "weight_g ~ dose", ["bucket"], method=method)  # type: ignore[arg-type]
    x = pd.get_dummies(data["dose"], drop_first=True).assign(one=1.0).to_numpy(float)
    coding = np.linalg.slogdet(x.T @ x)[1] if method == "reml" else 0.0
    assert ours.variances["residual"] == pytest.approx(theirs.scale, rel=1e-5)
    assert ours.variances["bucket"] == pytest.approx(float(theirs.cov_re.iloc[0, 0]), rel=1e-4)
    assert ours.criterion == pytest.approx(-2 * theirs.llf - coding, rel=1e-8)
    if method == "reml":
        assert ours.coefficients["estimate"].to_numpy() == pytest.approx(theirs.fe_params.to_numpy(), rel=1e-5)


def test_the_classical_analysis_of_a_balanced_trial(heads: pd.DataFrame) -> None:
    """Blocks as subjects, doses within: pingouin's and statsmodels' repeated-measures F is that of free variances."""
    ours = fit_mixed(heads, "weight_g ~ dose", ["block", "bucket"], bounds="strata").anova().loc["dose"]
    means = heads.groupby(["block", "dose"], as_index=False)["weight_g"].mean()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of its own calls to pandas
        table = pingouin.rm_anova(means, dv="weight_g", within="dose", subject="block", detailed=True).iloc[0]
    other = AnovaRM(means, "weight_g", "block", within=["dose"]).fit().anova_table.iloc[0]
    assert ours["f"] == pytest.approx(table["F"], rel=1e-8)
    assert ours["f"] == pytest.approx(other["F Value"], rel=1e-8)
    assert (ours["numerator_df"], ours["denominator_df"]) == pytest.approx((2, 6), rel=1e-8)
    assert ours["p"] == pytest.approx(other["Pr > F"], rel=1e-7)
