"""Published trials through the analysis: what a handbook or another program finds, found again.

Quadratic-plateau curves are in tests/mixed/test_curves.py, censored days in test_censored.py, oats in test_oats.py.
"""

import json
from pathlib import Path

import pandas as pd
import pytest
from statsmodels.stats.weightstats import ttost_paired

from trialkit.analysis.derived_model import derive_model
from trialkit.analysis.fitting import fit_response
from trialkit.mixed import fit_mixed

REFERENCE = Path(__file__).parents[1] / "reference"

# Hours of sleep gained by ten patients under two drugs: Student (1908), Biometrika 6, 1-25, after Cushny & Peebles.
FIRST = (0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0)
SECOND = (1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4)


def test_npk_with_its_confounded_interaction() -> None:
    """Yates's 2^3 of peas, N:P:K confounded with blocks: F and d.f. of both strata as R's aov gives them.

    Data: Venables & Ripley (2002), Modern Applied Statistics with S, sec. 6.7; R 4.2.2 aov with Error(block).
    """
    expected = json.loads((REFERENCE / "strata_anova" / "npk_confounded.json").read_text(encoding="utf-8"))
    data = pd.read_csv(REFERENCE / "strata_anova" / expected["data"]["file"])
    factors = ["N", "P", "K"]
    plots = data.assign(site="one", bucket=[f"plot {i}" for i in range(len(data))])
    for column in (*factors, "block"):
        plots[column] = plots[column].astype(str)
    plots["treatment"] = plots[factors].agg("".join, axis=1)
    model = derive_model(plots, factors, ("site:block",))
    fits = fit_response("yield", plots, model)
    assert fits.bounds == "strata"
    table = fits.crossed.anova()
    for stratum, errors in (("block", 4), ("Within", 12)):
        for row in expected["strata"][stratum]:
            if row["term"] == "Residuals":
                continue
            found = table.loc[row["term"]]
            assert found["f"] == pytest.approx(row["f"], rel=1e-6)
            assert found["denominator_df"] == pytest.approx(errors, rel=1e-6)
            assert found["p"] == pytest.approx(row["p"], rel=1e-5)


@pytest.mark.parametrize("margin", [1.0, 2.0, 3.0])
def test_two_drugs_alike_within_a_margin(margin: float) -> None:
    """Student's sleep: two one-sided tests as statsmodels makes them of the pairs."""
    rows = [(f"p{i}", drug, gain) for drug, gains in (("1", FIRST), ("2", SECOND)) for i, gain in enumerate(gains)]
    data = pd.DataFrame(rows, columns=["patient", "drug", "gain"])
    fit = fit_mixed(data, "gain ~ drug", ["patient"], bounds="strata")
    found = fit.equivalence("drug", margin, "versus", "1").loc["2"]
    p, _, _ = ttost_paired(pd.Series(SECOND).to_numpy(), pd.Series(FIRST).to_numpy(), -margin, margin)
    assert found["estimate"] == pytest.approx(1.58)
    assert found["p"] == pytest.approx(float(p))
    assert bool(found["equivalent"]) == (p < 0.05)
