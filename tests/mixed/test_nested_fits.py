"""Likelihoods, criteria and likelihood ratios: against lme4 and nlme (tests/reference/nested_fits), and refusals."""

import json
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from scipy.stats import chi2

from trialkit.mixed import BinomialFit, MixedFit, MixedModelError, compare_fits, example, fit_binomial, fit_mixed

FOLDER = Path(__file__).parents[1] / "reference" / "nested_fits"
EXPECTED = json.loads((FOLDER / "nested_fits.json").read_text(encoding="utf-8"))
LABELS = dict.fromkeys(("Worker", "Machine", "batch", "cask", "Subject", "Sex", "herd", "period", "record"), str)


def data_of(name: str) -> pd.DataFrame:
    """Data of a case; labels are read as text."""
    data = pd.read_csv(FOLDER / f"{name}.csv", dtype=LABELS)
    return data.assign(Sex=pd.Categorical(data["Sex"], ["Male", "Female"])) if "Sex" in data else data


def fitted(case: dict[str, Any]) -> MixedFit:
    """The engine's fit of a case."""
    asked = {"method": case.get("method", "reml"), "residual_by": case.get("residual_by")}
    return fit_mixed(data_of(case["data"]), case["formula"], case["random"], **asked)


def logistic(name: str) -> BinomialFit:
    """The engine's fit of a case of counts."""
    case, counts = (
        EXPECTED["logistic"]["fits"][name],
        pd.read_csv(FOLDER.parent / "binomial" / "cbpp.csv", dtype=LABELS),
    )
    return fit_binomial(counts, case["formula"], case["random"], trials="size")


@pytest.mark.parametrize("name", EXPECTED["fits"])
def test_likelihoods_and_criteria(name: str) -> None:
    """Log likelihood, AIC and BIC; restricted ones leave out ``log|X'X|`` there, which depends on how X is coded."""
    case = EXPECTED["fits"][name]
    fit = fitted(case)
    apart = case["log_determinant_XtX"] if case["method"] == "reml" else 0.0
    assert fit.parameters == case["parameters"]
    assert fit.log_likelihood == pytest.approx(case["log_likelihood"] + apart / 2, rel=1e-9)
    assert fit.aic == pytest.approx(case["aic"] - apart, rel=1e-9)
    if "bic" in case:
        assert fit.bic == pytest.approx(case["bic"] - apart, rel=1e-9)


@pytest.mark.parametrize("ratio", EXPECTED["ratios"], ids=lambda ratio: f"{ratio['small']}-{ratio['large']}")
def test_likelihood_ratios(ratio: dict[str, Any]) -> None:
    """Chi-square, degrees of freedom and p of lme4's anova."""
    check_ratio(*(fitted(EXPECTED["fits"][ratio[which]]) for which in ("small", "large")), ratio)


@pytest.mark.parametrize(
    "ratio", EXPECTED["logistic"]["ratios"], ids=lambda ratio: f"{ratio['small']}-{ratio['large']}"
)
def test_likelihood_ratios_of_counts(ratio: dict[str, Any]) -> None:
    """Likewise of glmer's fits."""
    small, large = (logistic(ratio[which]) for which in ("small", "large"))
    check_ratio(small, large, ratio, 1e-5)
    for fit, case in ((fit, EXPECTED["logistic"]["fits"][ratio[w]]) for fit, w in ((small, "small"), (large, "large"))):
        assert [fit.parameters, fit.aic, fit.bic] == pytest.approx([case["parameters"], case["aic"], case["bic"]])


def check_ratio(small: Any, large: Any, expected: dict[str, Any], tolerance: float = 1e-7) -> None:
    """Compare one likelihood ratio."""
    table = compare_fits(small, large)
    found = table.loc[2]
    assert found["chi_square"] == pytest.approx(expected["chi_square"], rel=tolerance, abs=1e-7)
    assert found["df"] == expected["df"]
    assert found["p"] == pytest.approx(expected["p"], rel=100 * tolerance)
    assert table["aic"].to_list() == [small.aic, large.aic]


def of_machines(formula: str, random: Any, **options: Any) -> MixedFit:
    """A fit of the machines."""
    return fit_mixed(data_of("machines"), formula, random, **options)


def of_pastes(random: Any, **options: Any) -> MixedFit:
    """A fit of the pastes."""
    return fit_mixed(data_of("pastes"), "strength ~ 1", random, **options)


@pytest.mark.parametrize("method", ["ml", "reml"])
def test_one_variance_more_has_a_mixture(method: Any) -> None:
    """Half of chi-square on no degrees of freedom and half on one: p is halved, and the note says why."""
    found = compare_fits(of_pastes("batch:cask", method=method), of_pastes(["batch:cask", "batch"], method=method)).loc[
        2
    ]
    assert found["p_mixture"] == pytest.approx(found["p"] / 2)
    assert found["note"] == "p is conservative: the smaller fit holds a variance at zero, the edge of its range."


def test_a_variance_and_fixed_effects_have_a_mixture() -> None:
    """Two means and a variance more: the tails on two and on three degrees of freedom."""
    small, large = (
        of_machines("score ~ 1", "Worker", method="ml"),
        of_machines("score ~ Machine", ["Worker", "Worker:Machine"], method="ml"),
    )
    found = compare_fits(small, large).loc[2]
    assert found["df"] == 3
    assert found["p_mixture"] == pytest.approx((chi2.sf(found["chi_square"], 2) + chi2.sf(found["chi_square"], 3)) / 2)


def test_several_variances_have_none() -> None:
    """Their mixture depends on the design: p is called conservative, and there is no other."""
    found = compare_fits(of_pastes([], method="ml"), of_pastes(["batch:cask", "batch"], method="ml")).loc[2]
    assert pd.isna(found["p_mixture"])
    assert found["note"] == "p is conservative: the smaller fit holds 2 variances at zero, the edge of their range."


def test_a_variance_that_may_be_negative_has_no_edge() -> None:
    """Left free, zero is a value like any other."""
    found = compare_fits(of_pastes([], bounds="strata"), of_pastes("batch", bounds="strata")).loc[2]
    assert found["note"] == ""
    assert pd.isna(found["p_mixture"])


def test_fixed_effects_alone_have_no_edge() -> None:
    """Nothing is held at a bound; fits of one kind can stand in a row."""
    fits = [of_machines(f, r, method="ml") for f, r in (("score ~ 1", "Worker"), ("score ~ Machine", "Worker"))]
    table = compare_fits(*fits, of_machines("score ~ Machine", ["Worker", "Worker:Machine"], method="ml"))
    assert list(table.index) == [1, 2, 3]
    assert table["note"].map(bool).to_list() == [False, False, True]
    assert table.loc[1, ["chi_square", "df", "p", "p_mixture"]].isna().all()


def test_a_variance_at_zero_in_both_is_said() -> None:
    """Where another variance came to zero as well, the mixture would not hold."""
    even = example.small_trial().assign(bench=["a", "b", "c", "b", "c", "a", "c", "a", "b", "a", "b", "c"])
    small, large = (fit_mixed(even, "weight_g ~ dose", random) for random in ("bench", ["bench", "block"]))
    found = compare_fits(small, large).loc[2]
    assert pd.isna(found["p_mixture"])
    assert found["note"].endswith("There is no p_mixture: bench of the smaller fit is at the edge by estimate, too.")


def test_a_singular_term_in_both_is_said() -> None:
    """A correlation of 1 lies at the edge, too."""
    trial = example.small_trial().assign(bench=["a", "b", "c", "a", "b", "c", "b", "c", "a", "c", "a", "b"])
    small, large = (
        fit_mixed(trial, "weight_g ~ dose_tsp", random)
        for random in ("block with dose_tsp", ["block with dose_tsp", "bench"])
    )
    found = compare_fits(small, large).loc[2]
    assert pd.isna(found["p_mixture"])
    assert "block with dose_tsp of the smaller fit is at the edge by estimate, too" in found["note"]


def test_a_variance_that_comes_to_zero_gains_nothing() -> None:
    """The likelihoods are the same: chi-square 0, p 1."""
    even = example.small_trial().assign(bench=["a", "b", "c", "b", "c", "a", "c", "a", "b", "a", "b", "c"])
    small, large = (fit_mixed(even, "weight_g ~ dose", random) for random in ("block", ["block", "bench"]))
    found = compare_fits(small, large).loc[2]
    assert found[["chi_square", "p", "p_mixture"]].to_list() == pytest.approx([0, 1, 1], abs=1e-4)


def test_terms_are_known_by_what_they_group() -> None:
    """A term is nested under any name: a column of joint levels is the joint term."""
    pastes = data_of("pastes").assign(sample=lambda data: data["batch"] + data["cask"])
    small = fit_mixed(pastes, "strength ~ 1", "sample")
    large = fit_mixed(pastes, "strength ~ 1", ["batch:cask", "batch"])
    assert compare_fits(small, large).loc[2, "df"] == 1


REFUSED = {
    "fixed parts by restricted likelihood": (
        lambda: (of_machines("score ~ 1", "Worker"), of_machines("score ~ Machine", "Worker")),
        "restricted likelihoods compare random parts alone: fit both with method='ml'",
    ),
    "methods": (
        lambda: (of_pastes("batch"), of_pastes(["batch", "batch:cask"], method="ml")),
        "One was fitted with method='reml', the other with method='ml'",
    ),
    "bounds": (
        lambda: (of_pastes("batch"), of_pastes(["batch", "batch:cask"], bounds="strata")),
        "with bounds='nonnegative', the other with bounds='strata'",
    ),
    "rows": (
        lambda: (
            of_pastes("batch"),
            fit_mixed(data_of("pastes").iloc[1:], "strength ~ 1", ["batch", "batch:cask"]),
        ),
        r"of other rows or responses \(60 and 59 rows used\)",
    ),
    "responses": (
        lambda: (
            of_pastes("batch"),
            fit_mixed(data_of("pastes").assign(strength=range(60)), "strength ~ 1", ["batch", "batch:cask"]),
        ),
        "of other rows or responses",
    ),
    "random parts": (
        lambda: (of_pastes("batch"), fit_mixed(data_of("pastes"), "strength ~ 1", ["batch:cask", "cask"])),
        "The larger fit lacks 'batch' of the smaller one's random terms",
    ),
    "fixed parts": (
        lambda: (
            of_machines("score ~ Machine", [], method="ml"),
            of_machines("score ~ Worker", "Machine", method="ml"),
        ),
        "The fixed part of 'score ~ Machine' is no part of that of 'score ~ Worker'",
    ),
    "residuals": (
        lambda: (
            of_machines("score ~ Machine", [], residual_by="Machine"),
            of_machines("score ~ Machine", ["Worker", "Worker:Machine"], residual_by="Worker"),
        ),
        "The residual variances by 'Machine' are no part of the larger fit's",
    ),
    "the larger first": (
        lambda: (of_pastes(["batch", "batch:cask"]), of_pastes("batch")),
        "Of two fits the second has more parameters: here 4 and 3",
    ),
    "kinds": (lambda: (logistic("mean"), of_pastes("batch")), "One is linear, the other logistic"),
    "one": (lambda: (of_pastes("batch"),), "Give two fits or more"),
    "no fit": (lambda: (of_pastes("batch"), 5), "Give two fits or more"),
}


@pytest.mark.parametrize(("fits", "message"), REFUSED.values(), ids=REFUSED)
def test_what_cannot_be_compared_is_refused(fits: Any, message: str) -> None:
    """Each reason is said in words."""
    with pytest.raises(MixedModelError, match=message):
        compare_fits(*fits())


def test_all_reasons_are_told_at_once() -> None:
    """Several reasons stand in one message."""
    with pytest.raises(MixedModelError) as refused:
        compare_fits(
            of_machines("score ~ 1", "Machine"),
            of_machines("score ~ Machine", ["Worker", "Worker:Machine"], bounds="strata"),
        )
    assert str(refused.value).count("bounds=") == 2
    assert "lacks 'Machine'" in str(refused.value)
    assert "restricted likelihoods" in str(refused.value)
