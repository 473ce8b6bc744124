"""What is asked of the means: weights, contrasts, trends, what the data determine, and what is refused."""

from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trialkit.mixed import MixedModelError, NotEstimable, fit_mixed
from trialkit.mixed.contrasts import orthogonal_polynomials
from trialkit.mixed.example import small_trial

# Fisher & Yates (1963), Statistical Tables for Biological, Agricultural and Medical Research, 6th ed., table XXIII.
TEXTBOOK = {
    3: [[-1, 0, 1], [1, -2, 1]],
    4: [[-3, -1, 1, 3], [1, -1, -1, 1], [-1, 3, -3, 1]],
    5: [[-2, -1, 0, 1, 2], [2, -1, -2, -1, 2], [-1, 2, 0, -2, 1], [1, -4, 6, -4, 1]],
    6: [[-5, -3, -1, 1, 3, 5], [5, -1, -4, -4, -1, 5], [-5, 7, 4, -4, -7, 5], [1, -3, 2, 2, -3, 1],
        [-1, 5, -10, 10, -5, 1]],
}  # fmt: skip


@given(st.sampled_from(sorted(TEXTBOOK)), st.floats(-100, 100), st.floats(0.01, 100))
def test_equally_spaced_doses_have_the_textbook_coefficients(size: int, first: float, step: float) -> None:
    """Whatever the first dose and the step, the trends are those of Fisher & Yates' table, scaled to length 1."""
    textbook = np.array(TEXTBOOK[size], float)
    ours = orthogonal_polynomials(first + step * np.arange(size))
    np.testing.assert_allclose(ours, textbook / np.linalg.norm(textbook, axis=1)[:, None], atol=1e-9)


@given(st.lists(st.integers(-50, 50), min_size=2, max_size=8, unique=True))
def test_trends_are_orthogonal_at_any_spacing(scores: list[int]) -> None:
    """Trends have length 1, are orthogonal to one another and add up to zero, in whatever order the doses stand."""
    rows = orthogonal_polynomials(np.array(scores, float))
    np.testing.assert_allclose(rows @ rows.T, np.eye(len(scores) - 1), atol=1e-10)
    np.testing.assert_allclose(rows.sum(1), 0, atol=1e-10)
    order = np.argsort(scores)
    sorted_rows = orthogonal_polynomials(np.sort(np.array(scores, float)))
    np.testing.assert_allclose(rows[:, order], sorted_rows, atol=1e-6)


def trial(seed: int, lost: float = 0.2) -> pd.DataFrame:
    """Two cultivars at four unevenly spaced doses in five blocks, some buckets lost, sun hours beside."""
    rng = np.random.default_rng(seed)
    rows = [(b, c, d) for b in "12345" for c in ("Fenleaf", "Paleheart") for d in ("1", "2", "4", "8")]
    data = pd.DataFrame(rows, columns=["block", "cultivar", "dose"])
    data["sun_hours"] = rng.uniform(4, 9, len(data))
    block = data["block"].map(dict(zip("12345", rng.normal(0, 5, 5), strict=True)))
    data["weight_g"] = 100 + block + 3 * np.log2(data["dose"].astype(float)) + rng.normal(0, 4, len(data))
    return data[(rng.random(len(data)) > lost) | (data["block"] == "1")]  # every combination stays in one block


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 2**32 - 1), st.permutations("1248"), st.permutations(("Fenleaf", "Paleheart")))
def test_recoding_changes_no_answer(seed: int, doses: list[str], cultivars: list[str]) -> None:
    """Another order of the levels, hence another reference level, leaves trends, contrasts and slopes as they were."""
    data = trial(seed, lost=0.1)
    levels = {"dose": doses, "cultivar": cultivars}
    recoded = data.assign(**{name: pd.Categorical(data[name], order) for name, order in levels.items()})
    formula = "weight_g ~ cultivar * dose + cultivar * sun_hours"
    fits = [fit_mixed(each, formula, ["block"]) for each in (data, recoded)]
    custom = {"high less low": {"8": 0.5, "4": 0.5, "1": -1}}
    questions = [
        lambda fit: fit.compare("dose", "trend", within="cultivar"),
        lambda fit: fit.compare("dose", "versus", "2", "sidak", within="cultivar"),
        lambda fit: fit.contrasts("dose", custom, weights="proportional"),
        lambda fit: fit.slopes("sun_hours", "cultivar"),
        lambda fit: fit.compare("cultivar", "versus", "Fenleaf", slope_of="sun_hours"),
    ]
    for question in questions:
        first, second = (question(fit).astype(float) for fit in fits)
        np.testing.assert_allclose(second.loc[list(first.index)], first, rtol=1e-5, atol=1e-6)


def test_proportional_weights_follow_the_buckets() -> None:
    """Weighted by their share of the rows, the means of cells average to the share-weighted mean of cell means."""
    data = trial(1)
    fit = fit_mixed(data, "weight_g ~ cultivar * dose")
    share = data["dose"].value_counts(normalize=True)
    cells = data.groupby(["cultivar", "dose"])["weight_g"].mean()
    for cultivar, mean in fit.means("cultivar", weights="proportional")["mean"].items():
        assert mean == pytest.approx((cells[cultivar] * share).sum(), rel=1e-12)
        assert fit.means("cultivar")["mean"][cultivar] == pytest.approx(cells[cultivar].mean(), rel=1e-12)


def test_proportional_weights_of_two_factors_are_joint() -> None:
    """Averaging over two factors takes the share of each combination, and a combination never tried counts nothing."""
    data = trial(2)
    data["site"] = np.where(data["block"] > "3", "church", "school")
    kept = data[~((data["site"] == "church") & (data["dose"] == "8"))]
    fit = fit_mixed(kept, "weight_g ~ cultivar + dose * site")
    shares = kept.groupby(["dose", "site"]).size() / len(kept)
    rows = fit.means("cultivar:dose:site")["mean"].loc["Fenleaf"]
    expected = sum(share * rows[place] for place, share in shares.items())
    assert fit.means("cultivar", weights="proportional")["mean"]["Fenleaf"] == pytest.approx(expected, rel=1e-12)
    assert not fit.means("dose").loc["8", "estimable"]  # with equal weights it would need the combination never tried


def test_weights_of_the_users_own() -> None:
    """Weights need not add up to 1; a level left out counts nothing; all weight on one level is the mean there."""
    fit = fit_mixed(trial(3), "weight_g ~ cultivar * dose", ["block"])
    cells = fit.means("cultivar:dose")["mean"]["Fenleaf"]
    two = fit.means("cultivar", weights={"dose": {"2": 3, "8": 1}})["mean"]["Fenleaf"]
    assert two == pytest.approx(0.75 * cells["2"] + 0.25 * cells["8"], rel=1e-12)
    only = fit.compare("cultivar", weights={"dose": {"4": 1}}, adjust="none")
    within = fit.compare("cultivar", within="dose", adjust="none").loc["4"]
    np.testing.assert_allclose(only, within, rtol=1e-9)


def test_a_slope_is_the_change_of_the_mean() -> None:
    """The slope at a level is the difference of its means with the covariate one unit apart, others at their means."""
    data = trial(4).assign(rain_mm=lambda d: np.arange(len(d)) % 7.0)
    fit = fit_mixed(data, "weight_g ~ cultivar * sun_hours + sun_hours:rain_mm + rain_mm", ["block"])
    moved = fit_mixed(data.assign(sun_hours=data["sun_hours"] - data["sun_hours"].mean() + 1.0), fit.formula, ["block"])
    names = moved.model.fixed.names
    beta = dict(zip(names, moved.coefficients["estimate"], strict=True))
    at_mean_rain = beta["sun_hours"] + beta["sun_hours:rain_mm"] * data["rain_mm"].mean()
    slopes = fit.slopes("sun_hours", "cultivar")["slope"]
    assert slopes["Fenleaf"] == pytest.approx(at_mean_rain, rel=1e-8)
    other = at_mean_rain + beta["cultivar[T.Paleheart]:sun_hours"]
    assert slopes["Paleheart"] == pytest.approx(other, rel=1e-8)
    assert fit.slopes("sun_hours").loc["sun_hours", "slope"] == pytest.approx(slopes.mean(), rel=1e-10)


def test_each_place_is_a_family_of_its_own() -> None:
    """Comparing inside levels adjusts over the comparisons of one level, not over all of them."""
    fit = fit_mixed(trial(5, lost=0.0), "weight_g ~ cultivar * dose", ["block"])
    holm = fit.compare("dose", adjust="holm", within="cultivar")
    plain = fit.compare("dose", adjust="none", within="cultivar")
    for cultivar in ("Fenleaf", "Paleheart"):
        smallest = plain.loc[cultivar, "p"].min()
        assert holm.loc[cultivar, "p"].min() == pytest.approx(min(1, 6 * smallest), rel=1e-9)
    assert holm.index.names == ["cultivar", "first", "second"]
    both = fit.compare("dose", "versus", "1", within="cultivar")
    assert list(both.index.names) == ["cultivar", "level"]
    assert list(both.loc["Fenleaf"].index) == ["2", "4", "8"]


def test_custom_contrasts_of_joint_levels() -> None:
    """A contrast between combinations names them 'a:b'; one that is no difference gives a weighted sum of means."""
    fit = fit_mixed(trial(6), "weight_g ~ cultivar * dose", ["block"])
    means = fit.means("cultivar:dose")["mean"]
    interaction = {"Fenleaf:8": 1, "Fenleaf:1": -1, "Paleheart:8": -1, "Paleheart:1": 1}
    table = fit.contrasts("cultivar:dose", {"interaction": interaction, "one": {"Fenleaf:1": 1}})
    gain = means["Fenleaf", "8"] - means["Fenleaf", "1"] - means["Paleheart", "8"] + means["Paleheart", "1"]
    assert table.loc["interaction", "estimate"] == pytest.approx(gain, rel=1e-9)
    assert table.loc["one", "estimate"] == pytest.approx(means["Fenleaf", "1"], rel=1e-9)


def test_a_difference_is_compared_although_its_means_are_not_determined() -> None:
    """Means that average over a combination never tried are refused; differences in which it cancels are compared."""
    data = trial(7, lost=0.0).assign(site=lambda d: np.where(d["block"] > "3", "church", "school"))
    data = data[~((data["site"] == "church") & (data["cultivar"] == "Paleheart"))]
    fit = fit_mixed(data, "weight_g ~ site * cultivar + dose")
    with pytest.raises(NotEstimable, match="dose"):
        fit.means("dose")
    table = fit.compare("dose", "versus", "1")
    plain = fit_mixed(data.assign(cell=data["site"] + data["cultivar"]), "weight_g ~ cell + dose")
    np.testing.assert_allclose(table, plain.compare("dose", "versus", "1"), rtol=1e-8)
    assert len(fit.compare("dose")) == 6
    assert len(fit.equivalence("dose", 5.0, "versus", "1")) == 3


def test_treatments_in_separate_blocks() -> None:
    """Two pairs of treatments that no block links: each pair is compared, the rest is refused by name."""
    rng = np.random.default_rng(8)
    data = pd.DataFrame({"block": np.repeat(list("1234"), 4), "treatment": list("abab") * 2 + list("cdcd") * 2})
    data["weight_g"] = rng.normal(100, 5, 16)
    fit = fit_mixed(data, "weight_g ~ block + treatment")
    means = data.groupby("treatment")["weight_g"].mean()
    table = fit.contrasts("treatment", {"a less b": {"a": 1, "b": -1}, "c less d": {"c": 1, "d": -1}})
    assert list(table["estimate"]) == pytest.approx([means["a"] - means["b"], means["c"] - means["d"]], rel=1e-9)
    with pytest.raises(NotEstimable, match="a - c, a - d, b - c, b - d") as refusal:
        fit.compare("treatment")
    assert "a - b" not in str(refusal.value)
    with pytest.raises(NotEstimable, match="c - a, d - a"):
        fit.compare("treatment", "versus", "a")
    with pytest.raises(NotEstimable, match="No mean of 'treatment'"):
        fit.means("treatment")


@pytest.mark.parametrize("margin", [3.0, 10.0])
def test_equivalence_is_limits_inside_the_margins(margin: float) -> None:
    """Means count as equivalent exactly where the limits at 90 % lie inside the margins (Schuirmann 1987)."""
    table = fit_mixed(small_trial(), "weight_g ~ dose", ["block"]).equivalence("dose", margin)
    inside = (table["lower"] > -margin) & (table["upper"] < margin)
    assert (table["equivalent"] == inside).all()
    assert (table["equivalent"] == (table["p"] < 0.05)).all()


QUESTIONS: dict[str, tuple[Any, str]] = {
    "unknown factor": (lambda fit: fit.means("cultivars"), "'cultivars' is not a factor"),
    "factor twice": (lambda fit: fit.compare("dose", within="dose"), "named twice"),
    "unknown covariate": (lambda fit: fit.slopes("rain_mm"), "'rain_mm' is not a covariate"),
    "factor as covariate": (lambda fit: fit.slopes("dose"), "its covariates: sun_hours"),
    "slopes alike": (lambda fit: fit.compare("dose", slope_of="sun_hours"), "alike by construction"),
    "no such family": (lambda fit: fit.compare("dose", "each"), "no family"),
    "no such adjustment": (lambda fit: fit.compare("dose", "trend", adjust="tukey"), "does not go with 'trend'"),
    "no reference": (lambda fit: fit.compare("dose", "versus"), "Name the reference"),
    "unknown reference": (lambda fit: fit.compare("dose", "versus", "3"), "'3' is not among the levels: 1, 2, 4, 8"),
    "reference without use": (lambda fit: fit.compare("dose", reference="1"), "'versus' only"),
    "trend of names": (lambda fit: fit.compare("cultivar", "trend"), "levels that are numbers"),
    "no contrast": (lambda fit: fit.contrasts("dose", {}), "No contrast"),
    "unknown level": (lambda fit: fit.contrasts("dose", {"x": {"3": 1}}), "'3' of 'x'"),
    "nil contrast": (lambda fit: fit.contrasts("dose", {"x": {"1": 0}}), "Nothing to compare"),
    "weight that is no number": (lambda fit: fit.contrasts("dose", {"x": {"1": np.nan}}), "not a number"),
    "no such weighting": (lambda fit: fit.means("dose", weights="even"), "'even'"),
    "weights of what is asked": (lambda fit: fit.means("dose", weights={"dose": {"1": 1}}), "averaged over"),
    "weights of no level": (lambda fit: fit.means("dose", weights={"cultivar": {"Z": 1}}), "'Z' is no level"),
    "negative weights": (lambda fit: fit.means("dose", weights={"cultivar": {"Fenleaf": -1}}), "zero or above"),
    "confidence in percent": (lambda fit: fit.means("dose", confidence=95), "confidence is 95"),
    "no margin": (lambda fit: fit.equivalence("dose", 0.0), "margin is 0.0"),
    "equivalence below a half": (lambda fit: fit.equivalence("dose", 5.0, confidence=0.4), "above 0.5"),
    "no such covariance": (lambda fit: fit.covariance("robust"), "'robust'"),
    "no such test": (lambda fit: fit.anova("wald"), "'wald'"),
}


@pytest.mark.parametrize("name", QUESTIONS)
def test_questions_without_an_answer_are_refused_in_one_sentence(name: str) -> None:
    """What cannot be answered is refused, and the message names what was wrong."""
    question, words = QUESTIONS[name]
    fit = fit_mixed(trial(9), "weight_g ~ cultivar * dose + cultivar * sun_hours", ["block"])
    with pytest.raises(MixedModelError, match=words):
        question(fit)


def test_full_likelihood_gives_no_comparisons() -> None:
    """A fit by full likelihood, which understates the variances, is refused tests and limits."""
    fit = fit_mixed(small_trial(), "weight_g ~ dose", ["block"], method="ml")
    for question in (lambda: fit.compare("dose"), lambda: fit.means("dose"), lambda: fit.equivalence("dose", 5.0)):
        with pytest.raises(MixedModelError, match="method='reml'"):
            question()
