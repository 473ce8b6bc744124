"""Predictions for new rows: against lme4, nlme and emmeans, and their errors against n x n matrices."""

import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from scipy.stats import t as student

from trialkit.mixed import MixedFit, MixedModelError, example, fit_mixed
from trialkit.mixed.mixed_model_equations import MixedModelEquations
from trialkit.mixed.new_rows import read_new_rows

FOLDER = Path(__file__).parents[1] / "reference" / "nested_fits"
EXPECTED = json.loads((FOLDER / "nested_fits.json").read_text(encoding="utf-8"))["predictions"]
LABELS = dict.fromkeys(("Worker", "Machine", "batch", "cask", "Subject", "Sex"), str)


def data_of(name: str) -> pd.DataFrame:
    """Data of a case; labels are read as text."""
    data = pd.read_csv(FOLDER / f"{name}.csv", dtype=LABELS)
    return data.assign(Sex=pd.Categorical(data["Sex"], ["Male", "Female"])) if "Sex" in data else data


def fitted(name: str, **options: Any) -> MixedFit:
    """The engine's fit of a case, by restricted likelihood."""
    case = EXPECTED[name]
    return fit_mixed(data_of(name), case["formula"], case["random"], residual_by=case.get("residual_by"), **options)


def rows_of(name: str) -> pd.DataFrame:
    """The new rows of a case."""
    return pd.DataFrame(EXPECTED[name]["rows"])


@pytest.mark.parametrize("name", EXPECTED)
def test_predictions_of_lme4_and_nlme(name: str) -> None:
    """Of the population, with all random effects, and with those of one term; levels never seen among them."""
    fit, case = fitted(name), EXPECTED[name]
    for random, theirs in ((False, case["population"]), (True, case["all"]), *(case.get("some") or {}).items()):
        ours = fit.predict(rows_of(name), random=random)
        assert_allclose(ours["prediction"], theirs, rtol=1e-6)
        assert_allclose(ours["prediction"], fit.predict(rows_of(name), random=random, interval=None)["prediction"])


@pytest.mark.parametrize("name", [name for name in EXPECTED if "emmeans" in EXPECTED[name]])
def test_limits_of_the_population_are_those_of_emmeans(name: str) -> None:
    """Kenward and Roger's standard errors, degrees of freedom and limits."""
    theirs = pd.DataFrame(EXPECTED[name]["emmeans"])
    ours = fitted(name).predict(theirs, random=False)
    assert_allclose(ours["prediction"], theirs["emmean"], rtol=1e-6)
    assert_allclose(ours["se"], theirs["SE"], rtol=1e-6)
    assert_allclose(ours["df"], theirs["df"], rtol=1e-5)
    assert_allclose(ours[["lower", "upper"]], theirs[["lower.CL", "upper.CL"]], rtol=1e-6)


@dataclass(frozen=True)
class Dense:
    """A prediction the long way round: n x n matrices, and differences in place of derivatives."""

    x: np.ndarray
    x_new: np.ndarray
    z: list[np.ndarray]
    z_new: list[np.ndarray]
    counted: list[bool]
    fresh: list[list[float]]
    own: list[np.ndarray]
    own_new: list[float]
    covariances: Callable[[np.ndarray], list[np.ndarray]]

    def error(self, theta: np.ndarray, w: np.ndarray) -> tuple[float, float, float]:
        """Henderson's variance; what estimation adds to it; Satterthwaite's degrees of freedom."""
        plain, steps = self._variance(theta), 1e-4 * np.sqrt(np.diag(w))
        moves = np.diag(steps)
        ends = [(theta + move, theta - move, 2 * step) for move, step in zip(moves, steps, strict=True)]
        slope = np.array([(self._variance(high) - self._variance(low)) / width for high, low, width in ends])
        weights = [(self._weights(high) - self._weights(low)) / width for high, low, width in ends]
        between = np.array([[first @ self._v(theta) @ second for second in weights] for first in weights])
        return plain, plain + 2 * float((w * between).sum()), 2 * plain**2 / float(slope @ w @ slope)

    def _v(self, theta: np.ndarray) -> np.ndarray:
        v = sum(value * np.diag(own) for value, own in zip(theta[-len(self.own) :], self.own, strict=True))
        for z, g in zip(self.z, self.covariances(theta), strict=True):
            v = v + z @ np.kron(np.eye(z.shape[1] // len(g)), g) @ z.T
        return np.asarray(v)

    def _shared(self, theta: np.ndarray) -> tuple[np.ndarray, float]:
        """Covariance of the data with the random part of the new row, and the variance of that."""
        shared, alone = np.zeros(len(self.x)), 0.0
        for z, z_new, counts, fresh, g in zip(
            self.z, self.z_new, self.counted, self.fresh, self.covariances(theta), strict=True
        ):
            whole = np.kron(np.eye(z.shape[1] // len(g)), g)
            shared += counts * (z @ whole @ z_new)
            alone += counts * float(z_new @ whole @ z_new) + float(np.array(fresh) @ g @ np.array(fresh))
        return shared, alone + float(theta[-len(self.own) :] @ np.array(self.own_new))

    def _weights(self, theta: np.ndarray) -> np.ndarray:
        shared, inverse = self._shared(theta)[0], np.linalg.inv(self._v(theta))
        phi = np.linalg.inv(self.x.T @ inverse @ self.x)
        return np.asarray(inverse @ shared + inverse @ self.x @ phi @ (self.x_new - self.x.T @ inverse @ shared))

    def _variance(self, theta: np.ndarray) -> float:
        """Henderson's, as he writes it."""
        (shared, alone), inverse = self._shared(theta), np.linalg.inv(self._v(theta))
        left = self.x_new - self.x.T @ inverse @ shared
        phi = np.linalg.inv(self.x.T @ inverse @ self.x)
        return float(alone - shared @ inverse @ shared + left @ phi @ left)


def dummies(column: pd.Series, like: pd.Series | None = None) -> np.ndarray:
    """A column a level; levels never seen are nil."""
    levels = sorted((column if like is None else like).unique())
    return np.array([[float(value == level) for level in levels] for value in column])


def dense_of(name: str, row: int, counted: list[bool], *, new_head: bool) -> Dense:
    """One new row of a case."""
    data, new = data_of(name), rows_of(name)
    ones, values = [1.0], [1.0]
    if name == "machines":
        x, x_new = dummies(data["Machine"]), dummies(new["Machine"], data["Machine"])
        groups = [(each["Worker"], each["Worker"] + each["Machine"]) for each in (data, new)]
    elif name == "pastes":
        x, x_new = np.ones((len(data), 1)), np.ones((len(new), 1))
        groups = [(each["batch"] + each["cask"], each["batch"]) for each in (data, new)]
    elif name in ("oxboys", "girls"):
        x, x_new = (np.column_stack([np.ones(len(each)), each["age"]]) for each in (data, new))
        groups = [(each["Subject"],) for each in (data, new)]
        values = [1.0, new.loc[row, "age"]]
    else:
        sex = [dummies(each["Sex"].astype(str), data["Sex"].astype(str)) for each in (data, new)]
        x, x_new = (np.hstack([s, s * each[["age"]].to_numpy()]) for s, each in zip(sex, (data, new), strict=True))
        groups = [(each["Subject"],) for each in (data, new)]
    z = [dummies(group) for group in groups[0]]
    z_new = [dummies(group, like)[row] for group, like in zip(groups[1], groups[0], strict=True)]
    seen = [each.any() for each in z_new]
    if len(values) > 1:
        z = [np.stack([z[0], z[0] * data[["age"]].to_numpy()], axis=2).reshape(len(data), -1)]
        z_new = [np.kron(z_new[0], values)]
    by = data["Sex"] if name == "orthodont" else pd.Series("all", data.index)
    own = [(by == level).to_numpy(float) for level in dict.fromkeys(by)]
    own_new = [float(new_head and new.loc[row].get("Sex", "all") in ("all", level)) for level in dict.fromkeys(by)]
    if name != "orthodont":
        own_new = [float(new_head)]

    def covariances(theta: np.ndarray) -> list[np.ndarray]:
        if len(values) > 1:
            return [np.array([[theta[0], theta[2]], [theta[2], theta[1]]])]
        return [np.array([[value]]) for value in theta[: len(z)]]

    fresh = [
        [float((counts and not was) or (new_head and not counts)) * value for value in (values if values else ones)]
        for counts, was in zip(counted, seen, strict=True)
    ]
    return Dense(x, x_new[row], z, z_new, counted, fresh, own, own_new, covariances)


CHOICES = [
    (name, random, interval)
    for name, case in EXPECTED.items()
    for random in (True, False, *(case.get("some") or {}))
    for interval in ("mean", "new head")
]


@pytest.mark.parametrize(("name", "random", "interval"), CHOICES)
def test_errors_of_prediction_the_long_way_round(name: str, random: Any, interval: Any) -> None:
    """Variance of the error, what the estimation of the variances adds, degrees of freedom and limits."""
    fit, new = fitted(name), rows_of(name)
    found = fit.predict(new, random=random, interval=interval, confidence=0.9)
    terms = [term.name for term in fit.model.terms]
    counted = [random is True or random == term for term in terms]
    theta = pd.concat([fit.variances, fit.covariances])[list(fit.model.parameter_names)].to_numpy()
    w = fit.variance_covariance.loc[list(fit.model.parameter_names), list(fit.model.parameter_names)].to_numpy()
    for row in range(len(new)):
        _, adjusted, df = dense_of(name, row, counted, new_head=interval == "new head").error(theta, w)
        ours = found.iloc[row]
        assert ours["se"] == pytest.approx(np.sqrt(adjusted), rel=1e-6)
        assert ours["df"] == pytest.approx(df, rel=1e-5)
        half = student.ppf(0.95, ours["df"]) * ours["se"]
        assert_allclose(ours[["lower", "upper"]].astype(float), ours["prediction"] + np.array([-half, half]))


def test_henderson_with_variances_as_known() -> None:
    """With nothing to estimate nothing is added; the effects are those of `random_effects`."""
    fit, terms = fitted("pastes"), ("batch:cask", "batch")
    equations = MixedModelEquations(fit.model, fit.point)
    new = read_new_rows(fit.model, rows_of("pastes"), terms, new_head=False)[0]
    error = equations.errors(new, np.zeros((3, 3)))
    for row, plain in enumerate(error.plain):
        dense = dense_of("pastes", row, [True, True], new_head=False)
        theirs = dense.error(fit.variances.to_numpy(), np.eye(3))[0]
        assert plain * fit.prepared.scale[0] ** 2 == pytest.approx(theirs, rel=1e-9)
    assert (error.adjusted == error.plain).all()
    effects = np.concatenate([fit.random_effects(term)["effect"] for term in terms])
    assert_allclose(equations.effects(fit.prepared.means[0]) * fit.prepared.scale[0], effects, atol=1e-10)


def test_the_rows_of_the_data_are_predicted_as_they_were_fitted() -> None:
    """Without random effects they are `fitted`, with them what `conditional` residuals leave."""
    fit, data = fitted("machines"), data_of("machines")
    residuals = fit.residuals()
    assert_allclose(fit.predict(data, random=False)["prediction"], residuals["fitted"])
    assert_allclose(fit.predict(data)["prediction"], data["score"] - residuals["conditional"])


def test_many_rows_go_in_passes(monkeypatch: pytest.MonkeyPatch) -> None:
    """A row's answer does not depend on the rows that stand beside it."""
    fit, data = fitted("machines"), data_of("machines")
    whole = fit.predict(data, interval="new head")
    monkeypatch.setattr("trialkit.mixed.mixed_model_equations.PASS_ELEMENTS", 50)
    pd.testing.assert_frame_equal(fit.predict(data, interval="new head"), whole)
    pd.testing.assert_frame_equal(fit.predict(data.iloc[[7]], interval="new head"), whole.iloc[[7]])


def test_levels_never_seen_are_said() -> None:
    """By row and term; terms that do not count are not asked for, nor are their columns."""
    fit = fitted("machines")
    found = fit.predict(rows_of("machines"))
    assert found["never_seen"].to_list() == ["", "", "Worker, Worker:Machine"] * 2
    only = fit.predict(rows_of("machines")[["Machine"]], random=False, interval="new head")
    assert (only["never_seen"] == "").all()
    some = fit.predict(pd.DataFrame({"Worker": ["1"], "Machine": ["B"]}), random="Worker")
    assert list(some.columns) == ["prediction", "se", "df", "lower", "upper", "never_seen", "estimable"]


def test_levels_are_known_by_their_text() -> None:
    """A number where the data had text, a category or another order: the same levels."""
    fit, new = fitted("machines"), rows_of("machines")
    other = new.assign(Worker=new["Worker"].astype(int), Machine=pd.Categorical(new["Machine"], ["C", "B", "A"]))
    pd.testing.assert_frame_equal(fit.predict(other), fit.predict(new))


def test_a_fit_without_random_terms() -> None:
    """Ordinary least squares: classical limits for a mean and for one row more."""
    fit = fit_mixed(example.small_trial(), "weight_g ~ dose")
    mean, head = (fit.predict(pd.DataFrame({"dose": ["2"]}), interval=which).loc[0] for which in ("mean", "new head"))
    residual = float(fit.variances["residual"])
    assert [mean["se"], head["se"]] == pytest.approx([np.sqrt(residual / 4), np.sqrt(residual / 4 + residual)])
    assert [mean["df"], head["df"]] == pytest.approx([9, 9])
    half = student.ppf(0.975, 9) * head["se"]
    assert [head["lower"], head["upper"]] == pytest.approx([92 - half, 92 + half])


def test_negative_variances() -> None:
    """A term whose variance was left free and came out negative: predictions, and se where the error has a variance."""
    data = pd.read_csv(FOLDER.parent / "mixed_models" / "dyestuff2_boundary.csv", dtype={"Batch": str})
    fit = fit_mixed(data, "Yield ~ 1", "Batch", bounds="strata")
    assert fit.variances["Batch"] < 0
    found = fit.predict(data, interval="new head")
    assert_allclose(found["prediction"], data["Yield"] - fit.residuals()["conditional"])
    assert (found["se"] > 0).all()
    assert fit.predict(data)["se"].isna().all()


def test_a_singular_term() -> None:
    """A correlation of 1: the population's limits are those of the coefficients, and known levels are predicted."""
    trial = example.small_trial()
    fit = fit_mixed(trial, "weight_g ~ dose_tsp", "block with dose_tsp")
    assert fit.singular == ("block with dose_tsp",)
    at_zero = fit.predict(pd.DataFrame({"dose_tsp": [0.0]}), random=False).iloc[0]
    told = fit.coefficients.loc["Intercept"]
    assert_allclose(
        at_zero[["prediction", "se", "df", "lower", "upper"]].astype(float),
        told[["estimate", "se", "df", "lower", "upper"]],
    )
    found = fit.predict(trial)
    assert_allclose(found["prediction"], trial["weight_g"] - fit.residuals()["conditional"])
    assert (found["se"] > 0).all()


def test_the_population_is_what_means_and_coefficients_say() -> None:
    """Without random effects se, degrees of freedom and limits are Kenward and Roger's, whatever the random part."""
    for random in ("block", ["block", "dose_tsp by block"], "block with dose_tsp"):
        trial = example.small_trial()
        fit = fit_mixed(trial, "weight_g ~ dose", random)
        found, means = fit.predict(trial.head(3), random=False), fit.means("dose")
        assert_allclose(
            found[["prediction", "se", "df", "lower", "upper"]], means[["mean", "se", "df", "lower", "upper"]]
        )


def test_combinations_never_tried_are_not_estimable() -> None:
    """They have missing values, as in `means`."""
    data = data_of("machines").assign(shift=lambda rows: np.where(rows["Worker"] < "4", "day", "night"))
    tried = data[(data["Machine"] != "C") | (data["shift"] != "night")]
    fit = fit_mixed(tried, "score ~ Machine * shift", "Worker")
    found = fit.predict(pd.DataFrame({"Machine": ["A", "C"], "shift": ["night", "night"], "Worker": ["5", "5"]}))
    assert found["estimable"].to_list() == [True, False]
    assert found.loc[1, ["prediction", "se", "df", "lower", "upper"]].isna().all()
    assert found.loc[0].notna().all()


def test_no_rows() -> None:
    """An empty frame has an empty answer."""
    assert fitted("machines").predict(rows_of("machines").iloc[:0]).empty


def test_everything_wrong_with_the_rows_is_told_at_once() -> None:
    """Columns, levels, values and kinds, each with its rows."""
    fit = fit_mixed(data_of("orthodont"), "distance ~ age * Sex", "Subject", residual_by="Sex")
    wrong = pd.DataFrame({"age": [8, None, np.inf, 9], "Sex": ["Male", "male", None, "Other"]}, index=[5, 6, 7, 8])
    with pytest.raises(MixedModelError) as refused:
        fit.predict(wrong)
    assert str(refused.value) == (
        "The new rows cannot be used. Column 'age' lacks a value in row 6. Column 'age' is infinite in row 7. Column "
        "'Sex' lacks a value in row 7. Column 'Sex' has 'male', 'Other' in row 6, 8, which the data of the fit did "
        "not have; they had Male, Female. There is no column 'Subject'."
    )
    with pytest.raises(MixedModelError, match="Column 'age' must be numbers, as in the data of the fit; it is"):
        fit.predict(pd.DataFrame({"age": ["8"], "Sex": ["Male"]}), random=False)


REFUSED = [
    ({"random": "Day"}, "'Day' is not a random term of this model: Worker, Worker:Machine. Or use True or False"),
    ({"random": 5}, "random is 5"),
    ({"interval": "new"}, "'new' is no kind of interval: use 'mean', 'new head' or None"),
    ({"confidence": 95}, "The confidence is 95"),
]


@pytest.mark.parametrize(("asked", "message"), REFUSED)
def test_questions_are_refused_in_words(asked: dict[str, Any], message: str) -> None:
    """An unknown term, interval or confidence."""
    with pytest.raises(MixedModelError, match=message):
        fitted("machines").predict(rows_of("machines"), **asked)


def test_other_things_than_frames_are_refused() -> None:
    """A dictionary is no frame."""
    with pytest.raises(MixedModelError, match="The new rows are of type dict: give a pandas DataFrame"):
        fitted("machines").predict({"Machine": ["A"]})  # type: ignore[arg-type]


def test_full_likelihood_predicts_without_limits() -> None:
    """Predictions alone; limits are refused."""
    fit, new = fitted("machines", method="ml"), rows_of("machines")
    found = fit.predict(new, interval=None)
    assert list(found.columns) == ["prediction", "never_seen", "estimable"]
    assert found["prediction"].notna().all()
    with pytest.raises(MixedModelError, match="fit with method='reml', or use interval=None"):
        fit.predict(new)
