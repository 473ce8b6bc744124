"""A fit on one screen: its own figures, nothing more, and nothing that a column's name could do to a notebook."""

import re
from html.parser import HTMLParser

import pandas as pd
import pytest

from trialkit.mixed import example, fit_binomial, fit_mixed

TRIAL = example.small_trial()
EVEN = TRIAL.assign(bench=["a", "b", "c", "b", "c", "a", "c", "a", "b", "a", "b", "c"])


class Tags(HTMLParser):
    """Tags of a page, and its text."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note a tag; none may carry a script."""
        assert not [name for name, _ in attrs if name.startswith("on")]
        self.tags.add(tag)

    def handle_data(self, data: str) -> None:
        """Note text."""
        self.text += data


def test_tables_are_those_of_the_fit() -> None:
    """Variances, fixed effects and tests as the fit has them."""
    fit = fit_mixed(TRIAL, "weight_g ~ dose", "block")
    tables = fit.summary().tables
    assert list(tables) == ["Variances", "Fixed effects", "Tests of the terms"]
    pd.testing.assert_frame_equal(tables["Fixed effects"], fit.coefficients)
    pd.testing.assert_frame_equal(tables["Tests of the terms"], fit.anova())
    assert tables["Variances"]["variance"].to_dict() == fit.variances.to_dict()


def test_what_is_left_out_or_too_small_is_said() -> None:
    """Rows without a value, variances at zero, aliased columns."""
    lost = EVEN.assign(dose_again=EVEN["dose"], weight_g=EVEN["weight_g"].where(EVEN.index > 0))
    text = str(fit_mixed(lost, "weight_g ~ dose + dose_again", ["block", "bench"]).summary())
    assert "11 rows, 1 more left out for want of a value; random terms: block (4 levels), bench (3 levels)" in text
    assert "Variances at zero, too small to measure: bench" in text
    assert "Columns that others already say: dose_again[T.4], dose_again[T.6]" in text


def test_a_fit_by_full_likelihood_has_no_tests() -> None:
    """It has estimates, and says that the variances are taken as known."""
    summary = fit_mixed(TRIAL, "weight_g ~ dose", "block", method="ml").summary()
    assert list(summary.tables) == ["Variances", "Fixed effects, variances taken as known"]
    table = summary.tables["Fixed effects, variances taken as known"]
    assert table["estimate"].round(6).to_list() == [92, 8, 10]
    assert table["se"].round(6).to_list() == [1.732051, 1.224745, 1.224745]  # (9 + 3) / 4, 2 x 3 / 4


def test_a_mean_alone_and_no_random_terms() -> None:
    """What there is nothing of has no table."""
    summary = fit_mixed(TRIAL, "weight_g ~ 1").summary()
    assert list(summary.tables) == ["Variances", "Fixed effects"]
    assert "random terms: none" in str(summary)


def test_slopes_have_their_correlations() -> None:
    """A correlated term has a table of its own."""
    rows = pd.DataFrame({"days": [0.0, 1, 2] * 8, "plant": [name for name in "abcdefgh" for _ in range(3)]})
    bent = {name: 3 * (i % 4) + 0.1 * i for i, name in enumerate("abcdefgh")}
    high = [
        10 * "abcdefgh".index(plant) % 7 + (5 + bent[plant]) * days + (0.3 * i) % 1
        for i, (days, plant) in enumerate(zip(rows["days"], rows["plant"], strict=True))
    ]
    fit = fit_mixed(rows.assign(high=high), "high ~ days", "plant with days")
    tables = fit.summary().tables
    pd.testing.assert_frame_equal(
        tables["Standard deviations and correlations of plant with days"], fit.random_covariance("plant with days")
    )
    assert "plant with days (8 levels)" in str(fit.summary())


def test_counts() -> None:
    """A logistic fit tells how its likelihood was found."""
    fit = fit_binomial(example.small_counts(), "lost ~ dose", "block", trials="heads")
    text = str(fit.summary())
    assert text.startswith("Logistic mixed model by likelihood, Laplace's approximation: lost ~ dose\n12 rows; random")
    assert "log likelihood -17.95, AIC 43.90, BIC 45.84 (4 parameters)" in text
    pd.testing.assert_frame_equal(fit.summary().tables["Fixed effects, in logits"], fit.coefficients)
    nine = fit_binomial(example.small_counts(), "lost ~ dose", "block", trials="heads", points=9)
    assert "by likelihood, quadrature with 9 points" in str(nine.summary())


@pytest.mark.parametrize("counts", [False, True])
def test_html_says_what_the_text_says_and_escapes_names(counts: bool) -> None:
    """Names of columns and levels are text, whatever they hold; every number of the text is there."""
    name, level = "<script>alert(1)</script>", "<img src=x onerror=alert(1)>"
    data = example.small_counts() if counts else TRIAL
    hostile = data.rename(columns={"dose": name}).replace({name: {"2": "0", "4": level}})
    fit = (
        fit_binomial(hostile, f"lost ~ `{name}`", "block", trials="heads")
        if counts
        else fit_mixed(hostile, f"weight_g ~ `{name}`", "block")
    )
    page = Tags()
    page.feed(fit._repr_html_())
    assert page.tags <= {"p", "b", "br", "table", "thead", "tbody", "tr", "th", "td"}
    assert level in page.text
    assert name in page.text
    numbers = set(re.findall(r"-?\d+\.\d+", str(fit.summary())))
    assert numbers <= set(re.findall(r"-?\d+\.\d+", page.text))
    assert len(numbers) > 10


def test_the_summary_is_its_text() -> None:
    """Shown by itself it is what printing it shows."""
    summary = fit_mixed(TRIAL, "weight_g ~ dose", "block").summary()
    assert repr(summary) == str(summary)
