"""Reference cases computed with lme4, lmerTest, pbkrtest, emmeans and mvtnorm (tests/reference/README.md).

Each file of tests/reference/mixed_models names its data's publication; the tolerances are those of that README.
"""

from typing import Any

import numpy as np
import pytest

from against_r import PAIRS, check_control, check_pairs
from trialkit.mixed import MixedFit, NotEstimable, letters


def names_as_r(fit: MixedFit) -> dict[str, str]:
    """R's names of the model-matrix columns, by ours."""
    plain = {n: n.replace("[T.", "").replace("]", "") for n in fit.model.fixed.names}
    return {ours: "(Intercept)" if ours == "Intercept" else theirs for ours, theirs in plain.items()}


def test_criterion_and_variances(mixed_case: Any, fit: MixedFit) -> None:
    """The restricted likelihood reaches the reference's maximum, at the same variances."""
    expected = mixed_case.expected["restricted_likelihood"]
    assert fit.criterion == pytest.approx(expected["minus_2_log_likelihood_contrast_invariant"], rel=1e-9, abs=1e-8)
    total = sum(expected["variances"].values())
    for name, value in expected["variances"].items():
        assert fit.variances[name] == pytest.approx(value, rel=1e-6, abs=1e-8 * total)
    assert set(fit.at_zero) == set(expected["on_boundary"])


def test_covariance_of_the_variances(mixed_case: Any, fit: MixedFit) -> None:
    """The inverse expected information agrees over the variances that are not at zero."""
    expected = mixed_case.expected["restricted_likelihood"]["covariance_of_variance_estimates_expected_information"]
    at = [expected["terms"].index(name) for name in fit.variance_covariance.index]
    block = np.array(expected["matrix"], float)[np.ix_(at, at)]
    np.testing.assert_allclose(fit.variance_covariance, block, rtol=2e-6, atol=1e-7 * np.abs(block).max())


def test_maximum_likelihood(mixed_case: Any) -> None:
    """The same model by full likelihood."""
    expected = mixed_case.expected["maximum_likelihood"]
    fit = mixed_case.fit(method="ml")
    assert fit.criterion == pytest.approx(expected["minus_2_log_likelihood"], rel=1e-9, abs=1e-8)
    total = sum(expected["variances"].values())
    for name, value in expected["variances"].items():
        assert fit.variances[name] == pytest.approx(value, rel=1e-6, abs=1e-8 * total)


def test_unbounded_variances(mixed_case: Any) -> None:
    """Left free, a variance may be negative; the solution is the reference's, and its likelihood no worse."""
    expected = mixed_case.expected["unbounded_variances"]
    fit = mixed_case.fit(bounds="strata")
    if expected is None:
        assert fit.criterion == pytest.approx(mixed_case.fit().criterion, rel=1e-9)
        return
    assert fit.criterion == pytest.approx(expected["minus_2_log_likelihood_contrast_invariant"], rel=1e-9)
    total = sum(map(abs, expected["variances"].values()))
    for name, value in expected["variances"].items():
        assert fit.variances[name] == pytest.approx(value, rel=1e-6, abs=1e-8 * total)
    for entry in expected["fixed_effects"]:
        ours = {theirs: name for name, theirs in names_as_r(fit).items()}[entry["term"]]
        row = fit.coefficients.loc[ours]
        assert row["se"] == pytest.approx(entry["standard_error_kenward_roger"], rel=1e-6)
        assert row["df"] == pytest.approx(entry["df_kenward_roger"], rel=1e-6)


def test_fixed_effects(mixed_case: Any, fit: MixedFit) -> None:
    """Estimates, Kenward-Roger standard errors, d.f., t and p of every fixed effect; aliased columns are named."""
    theirs = names_as_r(fit)
    sd = mixed_case.data[mixed_case.expected["data"]["response"]].std()
    table = fit.coefficients.rename(index=theirs)
    assert [theirs[name] for name in fit.aliased] == mixed_case.expected["model"]["columns_dropped_as_aliased"]
    for entry in mixed_case.expected["fixed_effects"]:
        row = table.loc[entry["term"]]
        assert row["estimate"] == pytest.approx(entry["estimate"], abs=1e-8 * sd)
        assert row["se"] == pytest.approx(entry["standard_error_kenward_roger"], rel=1e-7)
        assert row["df"] == pytest.approx(entry["df_kenward_roger"], rel=1e-6)
        assert row["t"] == pytest.approx(entry["t_kenward_roger"], rel=1e-6, abs=1e-8)
        assert row["p"] == pytest.approx(entry["p_kenward_roger"], rel=2e-6, abs=1e-10)


@pytest.mark.parametrize(("kind", "block"), [("model", "model_covariance"), ("kenward-roger", "kenward_roger")])
def test_covariance_of_the_fixed_effects(mixed_case: Any, fit: MixedFit, kind: Any, block: str) -> None:
    """Model-based and Kenward-Roger covariance matrices."""
    expected = mixed_case.expected[block]["fixed_effects_covariance"]
    theirs = names_as_r(fit)
    ours = fit.covariance(kind).rename(index=theirs, columns=theirs).loc[expected["terms"], expected["terms"]]
    matrix = np.array(expected["matrix"], float)
    scale = np.sqrt(np.outer(np.diag(matrix), np.diag(matrix)))
    np.testing.assert_allclose(ours / scale, matrix / scale, rtol=0, atol=2e-7)


TESTS = [("kenward-roger", "kenward_roger"), ("satterthwaite", "satterthwaite_expected_information")]


@pytest.mark.parametrize(("ddf", "block"), TESTS)
def test_f_tests(mixed_case: Any, fit: MixedFit, ddf: Any, block: str) -> None:
    """Partial F tests with both kinds of denominator d.f., by term where every combination was tried."""
    tests = mixed_case.expected["type_3_tests"]
    table = fit.anova(ddf)
    entries = tests.get(block, [])
    assert list(table.index) == [entry["term"] for entry in entries]
    if fit.aliased:  # type III tests are not unique then: test_f_tests_of_given_contrasts has them
        return
    for entry in entries:
        # Fai & Cornelius' d.f. depend on the basis of the hypothesis; for a lone term the reference's is another one
        # than ours (differences from the first level), and test_f_tests_of_given_contrasts has that basis.
        check_test(table.loc[entry["term"]], entry, same_basis=ddf == "kenward-roger" or len(entries) > 1)


@pytest.mark.parametrize(("ddf", "block"), TESTS)
def test_f_tests_of_given_contrasts(mixed_case: Any, fit: MixedFit, ddf: Any, block: str) -> None:
    """F tests of the exact hypotheses that the reference gives as contrast matrices."""
    tests = mixed_case.expected["type_3_tests"]
    for entry in tests.get(block, []):
        contrasts = mixed_case.contrasts(tests["contrast_matrices"][entry["term"]], fit)
        check_test(vars(fit.test(contrasts, ddf)), entry)


def check_test(ours: Any, entry: dict[str, Any], *, same_basis: bool = True) -> None:
    """Compare one F test at the stated tolerances."""
    assert ours["numerator_df"] == entry["numerator_df"]
    assert ours["f"] == pytest.approx(entry["f"], rel=1e-6)
    if not same_basis:
        return
    assert ours["denominator_df"] == pytest.approx(entry["denominator_df"], rel=1e-6)
    assert ours["p"] == pytest.approx(entry["p"], rel=2e-6, abs=1e-10)


def label(row: dict[str, Any], factors: list[str]) -> Any:
    """The label of a mean in our index."""
    return row[factors[0]] if len(factors) == 1 else tuple(row[factor] for factor in factors)


def test_means(mixed_case: Any, fit: MixedFit) -> None:
    """Estimated marginal means with limits; means of combinations never tried are refused."""
    sd = mixed_case.data[mixed_case.expected["data"]["response"]].std()
    for block in mixed_case.expected["estimated_marginal_means"]:
        table = fit.means(":".join(block["factors"])).to_dict("index")
        for entry in block["table"]:
            row = table[label(entry, block["factors"])]
            assert row["estimable"] == entry["estimable"]
            if not entry["estimable"]:
                assert np.isnan(row["mean"])
                continue
            assert row["mean"] == pytest.approx(entry["estimate"], abs=1e-8 * sd)
            assert row["se"] == pytest.approx(entry["standard_error_kenward_roger"], rel=1e-7)
            assert row["df"] == pytest.approx(entry["df_kenward_roger"], rel=1e-6)
            assert row["lower"] == pytest.approx(entry["lower_kenward_roger"], rel=1e-6, abs=1e-7 * sd)
            assert row["upper"] == pytest.approx(entry["upper_kenward_roger"], rel=1e-6, abs=1e-7 * sd)


@pytest.mark.parametrize(("adjust", "name"), PAIRS)
def test_all_pairs(mixed_case: Any, fit: MixedFit, adjust: Any, name: str) -> None:
    """All pairs of means: estimates, d.f., adjusted p and simultaneous limits."""
    for block in mixed_case.expected["estimated_marginal_means"]:
        if "pairwise" not in block:
            continue
        table = fit.compare(":".join(block["factors"]), "all-pairs", adjust=adjust)
        check_pairs(table, block["pairwise"], name)


def test_versus_control(mixed_case: Any, fit: MixedFit) -> None:
    """Dunnett's comparisons by the exact multivariate t, each with its own d.f."""
    for block in mixed_case.expected["estimated_marginal_means"]:
        control = block.get("versus_control")
        if not control:
            continue
        table = fit.compare(":".join(block["factors"]), "versus", control["control"])
        for row, entry in zip(check_control(table, control["table"], 1e-7), control["table"], strict=True):
            assert row["lower"] == pytest.approx(entry["lower_dunnett"], rel=1e-6, abs=1e-6 * row["se"])


def test_letters(mixed_case: Any, fit: MixedFit) -> None:
    """Two means share a letter exactly where Tukey's p is above 0.05."""
    for block in mixed_case.expected["estimated_marginal_means"]:
        if "letters" in block:
            check_letters(fit, ":".join(block["factors"]), block["letters"])


def check_letters(fit: MixedFit, factors: str, expected: dict[str, Any]) -> None:
    """Compare which pairs share a letter, the content of a letter display."""
    means = fit.means(factors)["mean"].sort_values(ascending=False)
    order = [":".join(x) if isinstance(x, tuple) else x for x in means.index]
    pairs = fit.compare(factors)
    given = letters(order, list(pairs.index[pairs["p"] < 0.05]))
    shared = {frozenset((a, b)) for a, b in pairs.index if set(given[a]) & set(given[b])}
    assert shared == {frozenset(pair) for pair in expected["pairs_not_different"]}
    assert "a" in given[order[0]]


def test_random_effects(mixed_case: Any, fit: MixedFit) -> None:
    """Predicted effects and their standard errors of prediction."""
    for term, entries in mixed_case.expected["random_effects"].items():
        table = fit.random_effects(term)
        sd = max(np.sqrt(fit.variances[term]), 1e-6)
        for entry in entries:
            row = table.loc[entry["level"]]
            assert row["effect"] == pytest.approx(entry["predicted"], abs=1e-7 * sd, rel=1e-6)
            assert row["se"] == pytest.approx(entry["prediction_error_sd"], abs=1e-7 * sd, rel=1e-6)


def test_untried_combination_is_refused_by_name(fit: MixedFit) -> None:
    """A comparison that needs a combination never tried is refused, and the message names it."""
    if not fit.aliased:
        return
    with pytest.raises(NotEstimable, match="Victory"):
        fit.compare("Variety")
