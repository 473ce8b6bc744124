"""Assumed variances: which term takes which, half and double, earlier trials."""

import pytest

from trialkit.documents.plan import VarianceSource
from trialkit.domain.errors import WrongCall
from trialkit.planning.assumptions import GROUPINGS, Assumptions

TREATMENT = ("cultivar", "dose_tsp")


@pytest.mark.parametrize(
    ("term", "expected"),
    [
        ("site", 225.0), ("site:block", 36.0), ("site:block:whole_plot", 25.0), ("site:cultivar", 9.0),
        ("site:dose_tsp", 9.0), ("volunteer", 36.0), ("site:row", 36.0), ("bucket", 81.0), ("residual", 225.0),
    ],
)  # fmt: skip
def test_each_term_takes_its_variance(term: str, expected: float) -> None:
    """Random terms of every layout have an assumed variance."""
    assert Assumptions().variance_of(term, TREATMENT) == expected


def test_the_source_is_said() -> None:
    """Defaults say that they are nobody's measurement."""
    assert Assumptions().source == VarianceSource("common practice")


def test_sensitivity_has_half_and_double_of_each() -> None:
    """All variances together and each alone, half and double."""
    others = Assumptions().sensitivity()
    assert set(others) == {(name, factor) for name in ("all", *GROUPINGS) for factor in (0.5, 2.0)}
    assert others["bucket", 0.5] == Assumptions(bucket=40.5)
    assert others["all", 2.0].head == 450.0


def test_an_earlier_trial_goes_before_the_defaults() -> None:
    """What a trial estimated is used, a negative estimate as zero; the rest keeps its default."""
    estimated = {"site": 300.0, "bucket": -4.0, "site:dose_tsp": 2.0, "residual": 150.0}
    assumed = Assumptions.from_variances(estimated, VarianceSource("earlier trial", "Autumn 2026"))
    assert [assumed.variance_of(term, TREATMENT) for term in estimated] == [300, 0, 2, 150]
    assert assumed.variance_of("site:cultivar", TREATMENT) == 9.0
    assert assumed.source.trial == "Autumn 2026"


@pytest.mark.parametrize("wrong", [{"bucket": -1.0}, {"site": float("nan")}, {"head": 0.0}, {"named": {"row": -1.0}}])
def test_impossible_variances_are_refused(wrong: dict[str, float]) -> None:
    """Variances are not negative, and heads always differ."""
    with pytest.raises(WrongCall):
        Assumptions(**wrong)  # type: ignore[arg-type]
