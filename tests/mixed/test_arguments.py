"""What a fit may be asked for: one name where several may stand, and words for all that is neither."""

from typing import Any

import pandas as pd
import pytest

from trialkit.mixed import FormulaError, MixedModelError, example, fit_binomial, fit_mixed

TRIAL = example.small_trial()
COUNTS = example.small_counts()


@pytest.mark.parametrize("random", ["block", ("block",), pd.Series(["block"]), iter(["block"]), {"block": 1}.keys()])
def test_one_name_is_a_list_of_one(random: Any) -> None:
    """A text is one term, not its letters; any sequence of texts will do."""
    assert fit_mixed(TRIAL, "weight_g ~ dose", random) == fit_mixed(TRIAL, "weight_g ~ dose", ["block"])


def test_one_name_is_a_list_of_one_for_counts() -> None:
    """Likewise for logistic models."""
    asked = {"trials": "heads"}
    assert fit_binomial(COUNTS, "lost ~ dose", "block", **asked) == fit_binomial(
        COUNTS, "lost ~ dose", ["block"], **asked
    )


@pytest.mark.parametrize("random", [5, None, True, [1], ["block", 2], b"block", [["block"]]])
def test_what_is_no_name_is_refused(random: Any) -> None:
    """The message shows what was given and how to write it."""
    how = r"random (is|has) .*name columns, such as random='block'"
    with pytest.raises(MixedModelError, match=how):
        fit_binomial(COUNTS, "lost ~ dose", random, trials="heads")
    with pytest.raises(MixedModelError, match=how):
        fit_mixed(TRIAL, "weight_g ~ dose", random)


def test_everything_of_a_wrong_kind_is_told_at_once() -> None:
    """Data, formula and columns that are not what they must be, in one message."""
    with pytest.raises(FormulaError) as refused:
        fit_mixed(TRIAL.to_dict(), 3, "block", residual_by=["site"])  # type: ignore[arg-type]
    assert str(refused.value) == (
        "The data are of type dict: give a pandas DataFrame, such as pd.DataFrame(data). The formula is 3: give a "
        "text, such as 'weight_g ~ dose'. The column residual_by is of type list: give its name, a text."
    )
    with pytest.raises(FormulaError, match="The column trials is of type list"):
        fit_binomial(COUNTS, "lost ~ dose", "block", trials=["heads"])  # type: ignore[arg-type]
    with pytest.raises(MixedModelError, match="points is 'many'"):
        fit_binomial(COUNTS, "lost ~ dose", "block", trials="heads", points="many")  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("formula", "shown"),
    [
        ("weight_g ~ dose | block", "'|'"),
        ("weight_g ~ dose + (1 | block)", "'|'"),
        ("weight_g ~ dose || block", "'||'"),
        ("weight_g = dose", "'='"),
        ("weight_g ~ dose & block", "'&'"),
        ("weight_g ~ [dose]", "'[' and ']'"),
        ("weight_g ~ dose ~ block", "cannot be read"),
        ("weight_g ~ dose block", "cannot be read"),
        ("weight_g ~ 2 * dose", "cannot be read"),
    ],
)
def test_wrong_signs_are_named_with_what_may_stand(formula: str, shown: str) -> None:
    """What cannot be read says which sign is wrong and which may stand there."""
    with pytest.raises(FormulaError, match=r"Between column names may stand: \+ \(and\), : ") as refused:
        fit_mixed(TRIAL, formula)
    assert shown in str(refused.value)


@pytest.mark.parametrize("right", ["dose * bench", "dose / bench", "(dose + bench)^2", "dose + bench + dose:bench"])
def test_the_signs_named_are_understood(right: str) -> None:
    """Each sign that the message names fits, all of them to the same means of the combinations."""
    bench = TRIAL.assign(bench=["a", "a", "b", "b", "a", "b"] * 2)
    fit = fit_mixed(bench, f"weight_g ~ {right}")
    assert sorted(fit.residuals()["fitted"].round(9).unique()) == sorted(
        bench.groupby(["dose", "bench"])["weight_g"].mean().round(9).unique()
    )


def test_a_name_in_backquotes_may_hold_any_sign() -> None:
    """Columns are found by their names, whatever these hold."""
    renamed = TRIAL.rename(columns={"dose": "dose | tsp"})
    assert fit_mixed(renamed, "weight_g ~ `dose | tsp`", "block").means("dose | tsp")["mean"].round(6).to_list() == [
        92,
        100,
        102,
    ]
