"""The notation of random terms: what it says, how its parameters are named, what is refused."""

import numpy as np
import pandas as pd
import pytest

from trialkit.mixed import ConfoundedTerm, FormulaError, MixedModelError, fit_binomial
from trialkit.mixed.censored import fit_censored
from trialkit.mixed.model import build_model
from trialkit.mixed.random_terms import read_term

COLUMNS = ["site", "block", "days", "dose", "spread with care", "sown by hand"]


def growth() -> pd.DataFrame:
    """Draw heads of a dozen sites over five days of weighing."""
    rng = np.random.default_rng(3)
    site, days = np.repeat(np.arange(12), 5), np.tile(np.arange(5.0), 12)
    level, slope = rng.normal(0, 10, 12), rng.normal(0, 3, 12)
    weight = 100 + level[site] + (8 + slope[site]) * days + rng.normal(0, 4, 60)
    data = pd.DataFrame({"site": site.astype(str), "days": days, "dose": np.tile([2.0, 4, 6], 20), "weight_g": weight})
    return data.assign(block=np.tile(["a", "b"], 30), lost=1)


@pytest.mark.parametrize(
    ("text", "name", "grouping", "level", "slopes"),
    [
        ("site", "site", "site", True, ()),
        ("site:block", "site:block", "site:block", True, ()),
        ("days by site", "days by site", "site", False, ("days",)),
        ("site  with days", "site with days", "site", True, ("days",)),
        ("site:block with days,dose", "site:block with days,dose", "site:block", True, ("days", "dose")),
        ("spread with care", "spread with care", "spread with care", True, ()),
        ("site:sown by hand", "site:sown by hand", "site:sown by hand", True, ()),
    ],
)
def test_terms_are_read(text: str, name: str, grouping: str, level: bool, slopes: tuple[str, ...]) -> None:
    """Each way of writing a term says what it says; a column that is so named comes first."""
    read = read_term(text, COLUMNS)
    assert (read.name, read.grouping, read.level, read.slopes) == (name, grouping, level, slopes)


def test_parameters_are_named() -> None:
    """Variances go by the names that independent terms have, too; covariances say which two they join."""
    model = build_model(growth(), "weight_g ~ days", ["site with days, dose", "dose by block"])[0]
    variances = ("site", "days by site", "dose by site")
    covariances = ("site with days", "site with dose", "days with dose by site")
    assert model.variance_names == (*variances, "dose by block", "residual")
    assert model.covariance_names == covariances
    assert model.parameter_names == (*variances, *covariances, "dose by block", "residual")


@pytest.mark.parametrize(
    ("random", "error", "said"),
    [
        (["site", "site with days"], ConfoundedTerm, "'site' in site, site with days"),
        (["days by site", "site with days"], ConfoundedTerm, "'days by site'"),
        (["site with days", "days by site"], ConfoundedTerm, "named twice"),
        (["site with days, days"], FormulaError, "names a slope twice"),
        (["site with block"], FormulaError, "'site:block'|subject:block"),
        (["(days | site)"], FormulaError, "write 'subject' for a level"),
        (["days by (site)"], FormulaError, "write 'subject' for a level"),
        ([" by site"], FormulaError, "No column named"),
        (["site with "], FormulaError, "No column named"),
        (["site with hours"], FormulaError, "No column named 'hours'"),
    ],
)
def test_refusals(random: list[str], error: type[MixedModelError], said: str) -> None:
    """What cannot be meant is refused with what may be written."""
    with pytest.raises(error, match=said):
        build_model(growth(), "weight_g ~ days", random)


def test_counts_and_censored_days_have_levels_only() -> None:
    """Their models know no slopes, and say so."""
    data = growth()
    with pytest.raises(FormulaError, match="levels only"):
        fit_binomial(data.assign(lost=[0, 1] * 30), "lost ~ dose", ["site with days"])
    bounds = data.assign(lower=data["days"], upper=data["days"] + 1)
    with pytest.raises(FormulaError, match="levels only"):
        fit_censored(bounds, "ready ~ dose", ["site with days"], seed=1)
