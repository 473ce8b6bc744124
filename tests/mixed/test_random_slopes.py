"""Random slopes and correlated effects against lme4, lmerTest, pbkrtest and nlme (tests/reference/README.md)."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from against_r import REFERENCE
from dense_mixed import Dense, dense
from trialkit.mixed import MixedFit, MixedModelError, NoVariation, fit_mixed, refit_many

FOLDER = REFERENCE / "random_slopes"
CASES = sorted(path.stem for path in FOLDER.glob("*.json") if not path.stem.startswith("nlme"))
SINGULAR = [name for name in CASES if name.endswith("_singular")]
REGULAR = [name for name in CASES if name not in SINGULAR]
AS_TEXT = ["Subject", "Sex", "Rat", "Diet", "Dog", "Side", "Wafer", "Site", "s", "d", "service"]


def read(name: str) -> pd.DataFrame:
    """Data of a case."""
    return pd.read_csv(FOLDER / f"{name}.csv", dtype=dict.fromkeys(AS_TEXT, str))


def expected_of(name: str) -> dict[str, Any]:
    """What R found."""
    found: dict[str, Any] = json.loads((FOLDER / f"{name}.json").read_text(encoding="utf-8"))
    return found


def parameters(fit: MixedFit) -> pd.Series:
    """Variances and covariances."""
    return pd.concat([fit.variances, fit.covariances])


def fitted(name: str, **options: Any) -> MixedFit:
    """Fit a case."""
    model = expected_of(name)["model"]
    random = model["random"] if isinstance(model["random"], list) else [model["random"]]
    return fit_mixed(read(name), model["fixed"], random, **options)


@pytest.mark.parametrize("name", REGULAR)
@pytest.mark.parametrize(("method", "entry"), [("reml", "restricted"), ("ml", "maximum")])
def test_likelihood_and_parameters(name: str, method: str, entry: str) -> None:
    """Criterion, variances and covariances by restricted and full likelihood."""
    found, fit = expected_of(name)[entry], fitted(name, method=method)
    assert fit.criterion == pytest.approx(found["criterion"], rel=1e-9, abs=1e-8)
    ours = parameters(fit)
    assert set(ours.index) == set(found["parameters"])
    for parameter, value in found["parameters"].items():
        assert ours[parameter] == pytest.approx(value, rel=1e-6)
    assert fit.at_zero == fit.singular == ()


@pytest.mark.parametrize("name", REGULAR)
def test_fixed_effects(name: str) -> None:
    """Estimates, Kenward and Roger's standard errors and degrees of freedom, F tests, Satterthwaite's F."""
    found, fit = expected_of(name), fitted(name)
    table, anova, satterthwaite = fit.coefficients, fit.anova(), fit.anova("satterthwaite")
    for row, entry in zip(table.itertuples(), found["fixed"], strict=True):
        assert row.estimate == pytest.approx(entry["estimate"], rel=1e-8)
        assert row.se == pytest.approx(entry["se_kenward_roger"], rel=1e-7)
        assert row.df == pytest.approx(entry["df_kenward_roger"], rel=1e-6)
    for entry in found["tests"]:
        row = anova.loc[entry["term"]]
        assert row["f"] == pytest.approx(entry["f_kenward_roger"], rel=1e-6)
        assert row["denominator_df"] == pytest.approx(entry["df_kenward_roger"], rel=1e-6)
        # lmerTest knows the information to the digits of numerical derivatives.
        assert satterthwaite.loc[entry["term"], "f"] == pytest.approx(entry["f_satterthwaite"], rel=1e-6)


@pytest.mark.parametrize("name", ["sleepstudy_correlated", "orthodont_slopes", "bodyweight_diets"])
def test_satterthwaite_where_the_data_are_balanced(name: str) -> None:
    """Where observed and expected information say the same of a test, its degrees of freedom are lmerTest's."""
    found, table = expected_of(name), fitted(name).anova("satterthwaite")
    for entry in found["tests"]:
        ours = table.loc[entry["term"], "denominator_df"]
        assert ours == pytest.approx(entry["df_satterthwaite"], rel=1e-6)


@pytest.mark.parametrize("name", REGULAR)
def test_predicted_levels_and_slopes(name: str) -> None:
    """Predicted effects and their standard errors of prediction, by level and part."""
    found, fit = expected_of(name), fitted(name)
    terms = [term.name for term in fit.model.terms]
    for term, rows in zip(terms, found["random_effects"], strict=True):
        table = fit.random_effects(term)
        effects = np.array([np.atleast_1d(row["effect"]) for row in rows])
        errors = np.array([np.atleast_1d(row["se"]) for row in rows])
        place = {str(level): i for i, level in enumerate(fit.model.terms[terms.index(term)].levels)}
        order = [place[row["level"]] for row in rows]
        np.testing.assert_allclose(
            table["effect"].to_numpy().reshape(effects.shape)[order], effects, atol=1e-7 * np.abs(effects).max()
        )
        np.testing.assert_allclose(table["se"].to_numpy().reshape(errors.shape)[order], errors, rtol=1e-6)


@pytest.mark.parametrize("name", SINGULAR)
def test_singular_covariance_matrix_is_said(name: str) -> None:
    """A correlation of 1 or -1 is found, at no worse a likelihood than lme4's, and said."""
    for method, entry in (("reml", "restricted"), ("ml", "maximum")):
        found, fit = expected_of(name)[entry], fitted(name, method=method)
        assert fit.criterion <= found["criterion"] + 1e-9
        assert fit.criterion == pytest.approx(found["criterion"], rel=1e-9, abs=1e-8)
        for parameter, value in found["parameters"].items():  # as far as lme4's search went
            assert parameters(fit)[parameter] == pytest.approx(value, rel=2e-5)
        assert fit.singular == (next(t.name for t in fit.model.terms if t.name.endswith(ENDS[name])),)
        correlation = fit.random_covariance(fit.singular[0]).iloc[0, 2]
        assert abs(correlation) == pytest.approx(1, abs=1e-9)
    assert np.isfinite(fitted(name).anova().to_numpy()).all()


ENDS = {"wafer_singular": "Site with voltage", "dialyzer_singular": "Subject with pressure"}


def test_unlike_residual_variances() -> None:
    """Slopes beside a residual variance for each sex, as nlme has them."""
    found = expected_of("nlme_unlike_residuals")
    fit = fit_mixed(read("orthodont_slopes"), "distance ~ age * Sex", ["Subject with age"], residual_by="Sex")
    assert fit.criterion == pytest.approx(found["criterion"], rel=1e-9, abs=1e-8)
    for parameter, value in found["parameters"].items():
        assert parameters(fit)[parameter] == pytest.approx(value, rel=5e-6)  # nlme stops earlier
    np.testing.assert_allclose(fit.coefficients["estimate"], found["fixed"], rtol=1e-6)


def test_years_far_from_nought_cost_no_digits() -> None:
    """Where a slope's column starts is no matter: only what is said of its nought changes."""
    data = read("sleepstudy_correlated")
    near = fit_mixed(data, "Reaction ~ Days", ["Subject with Days"])
    far = fit_mixed(data.assign(Days=data["Days"] + 2000), "Reaction ~ Days", ["Subject with Days"])
    assert far.criterion == pytest.approx(near.criterion, rel=1e-10)
    assert far.variances["Days by Subject"] == pytest.approx(near.variances["Days by Subject"], rel=1e-8)
    assert far.anova().loc["Days", "f"] == pytest.approx(near.anova().loc["Days", "f"], rel=1e-8)
    level = near.covariances["Subject with Days"] - 2000 * near.variances["Days by Subject"]
    assert far.covariances["Subject with Days"] == pytest.approx(level, rel=1e-8)


def heads_by_day() -> pd.DataFrame:
    """Two heads a bucket weighed as young plants of several ages, in gardens that differ in growth."""
    rng = np.random.default_rng(5)
    garden, age = np.repeat(np.arange(8), 12), np.tile(np.repeat([20.0, 25, 30], 4), 8)
    bucket, dose = np.arange(96) // 2, np.tile(["2", "4"], 48)
    weight = 3 * age + rng.normal(0, 8, 8)[garden] + rng.normal(0, 0.7, 8)[garden] * (age - 25)
    weight = weight + rng.normal(0, 3, 48)[bucket] + rng.normal(0, 4, 96) + 5 * (dose == "4")
    return pd.DataFrame({"garden": garden.astype(str), "age": age, "bucket": bucket.astype(str), "dose": dose}).assign(
        weight_g=weight
    )


def dense_of(data: pd.DataFrame) -> Dense:
    """The same with n x n matrices."""
    return dense(data, "weight_g", ["dose"], ["garden with age", "bucket"], covariates=["age"])


def test_residuals_and_leaving_out_agree_with_dense_matrices() -> None:
    """Residuals, leverage and leaving out a row, beside slopes."""
    data = heads_by_day()
    fit = fit_mixed(data, "weight_g ~ dose + age", ["garden with age", "bucket"])
    plain = dense_of(data)
    theta = fit.point.variances[0] * fit.prepared.scale[0] ** 2
    inverse, phi, p = plain.projection(theta)
    table = fit.residuals()
    np.testing.assert_allclose(table["marginal"], plain.y - plain.x @ plain.estimate(theta), atol=1e-8)
    np.testing.assert_allclose(table["conditional"], theta[-1] * (p @ plain.y), atol=1e-8)
    np.testing.assert_allclose(table["standardised"], p @ plain.y / np.sqrt(np.diag(p)), atol=1e-8)
    np.testing.assert_allclose(table["leverage"], np.diag(plain.x @ phi @ plain.x.T @ inverse), atol=1e-9)
    left_out = data.drop(index=7)
    change = fit.leave_one_out().loc[7]
    rest = dense_of(left_out)
    assert change["age"] == pytest.approx(rest.estimate(theta)[2] - plain.estimate(theta)[2], rel=1e-7)


def test_simulated_responses_have_the_fitted_covariance() -> None:
    """Drawn responses vary as V says, and refitting them side by side is fitting them one by one."""
    data = heads_by_day()
    fit = fit_mixed(data, "weight_g ~ dose + age", ["garden with age", "bucket"])
    drawn = fit.simulate(np.random.default_rng(1), 20_000)
    v = dense_of(data).v(fit.point.variances[0] * fit.prepared.scale[0] ** 2)
    sampling = np.sqrt((v**2 + np.outer(np.diag(v), np.diag(v))) / len(drawn))
    assert np.abs((np.cov(drawn.T) - v) / sampling).max() < 5
    refits = refit_many(fit, drawn[:3])
    for i, response in enumerate(drawn[:3]):
        alone = fit_mixed(data.assign(weight_g=response), fit.formula, ["garden with age", "bucket"])
        assert refits.criterion[i] == pytest.approx(alone.criterion, rel=1e-10)
        assert refits.tests["age"].f[i] == pytest.approx(alone.anova().loc["age", "f"], rel=1e-6)
        names = list(alone.model.parameter_names)
        np.testing.assert_allclose(refits.variances[i], parameters(alone)[names], rtol=1e-6, atol=1e-8)


def test_means_and_comparisons_with_slopes() -> None:
    """Means and comparisons take Kenward and Roger's quantities, whatever the algebra."""
    fit = fit_mixed(heads_by_day(), "weight_g ~ dose + age", ["garden with age", "bucket"])
    pair = fit.compare("dose").iloc[0]
    assert pair["df"] == pytest.approx(fit.anova().loc["dose", "denominator_df"])
    assert pair["t"] ** 2 == pytest.approx(fit.anova().loc["dose", "f"])
    assert float(np.diff(fit.means("dose")["mean"])[0]) == pytest.approx(-pair["estimate"])


def test_what_slopes_cannot_have() -> None:
    """Variances left free, and slopes that take up everything, are refused in words."""
    data = heads_by_day()
    with pytest.raises(MixedModelError, match="use bounds='nonnegative'"):
        fit_mixed(data, "weight_g ~ age", ["garden with age"], bounds="strata")
    exact = data.assign(weight_g=data["age"] * data["garden"].astype(float))
    with pytest.raises(NoVariation, match="take up all the variation"):
        fit_mixed(exact, "weight_g ~ age", ["age by garden"])
    with pytest.raises(MixedModelError, match="not a random term"):
        fit_mixed(data, "weight_g ~ age", ["garden with age"]).random_covariance("age by garden")


def test_the_script_is_kept() -> None:
    """Every case is made by the script beside it."""
    script = Path(FOLDER / "from_r.R").read_text(encoding="utf-8")
    assert all(f'"{name}"' in script for name in CASES)
