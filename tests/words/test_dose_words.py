"""What doses say and cannot tell, in words."""

from dataclasses import replace

from trialkit.documents.findings import DoseAnswer, DoseBasis, DoseGroup, DosePoint, Interval, RecommendedDose
from trialkit.domain.treatment import Treatment
from trialkit.words.dose_words import dose_sentences, not_fitted_sentence
from trialkit.words.measures import MeasureSystem

GROUP = DoseGroup(
    treatment=Treatment(),
    curves=(),
    points=tuple(DosePoint(dose, 100.0, 95.0, 105.0) for dose in (2.0, 8.0)),
    gain=Interval(59.62, 52.58, 66.7),
    p=0.21,
    recommended=(),
    levels_off=True,
)
ANSWER = DoseAnswer("fitted", None, None, (2.0, 4.0, 6.0, 8.0), 0.95, (), (), (GROUP,))


def dose(basis: DoseBasis, *, reaches_lowest: bool = False, reaches_highest: bool = False) -> RecommendedDose:
    """A dose of 6.6 teaspoons."""
    return RecommendedDose(basis, 6.6, 5.93, 7.21, 6.75, reaches_lowest, reaches_highest)


def said(group: DoseGroup) -> tuple[str, ...]:
    """What a group's curves tell of weights."""
    return dose_sentences(group, ANSWER, "g", 0.95)


def test_two_and_three_doses() -> None:
    """What they cannot tell."""
    few = replace(ANSWER, status="not fitted", not_fitted="too_few_doses", groups=())
    assert not_fitted_sentence(replace(few, doses=(2.0, 4.5))) == (
        "Only two doses were tried, 2 and 4½ level teaspoons: they tell which of the two is better, but nothing of "
        "the doses between them or beyond."
    )
    assert not_fitted_sentence(replace(few, doses=(0.0, 2.0, 4.0))) == (
        "Only three doses were tried, 0, 2 and 4 level teaspoons: a plateau cannot be told from a curve, so no dose "
        "is recommended but one of those tried. 4 doses or more could tell."
    )


def test_doses_in_grams() -> None:
    """A level teaspoon of 5 g: the unit stands once, and with both measures the grams in brackets."""
    metric, both = MeasureSystem("metric", 5.0), MeasureSystem("both", 5.0)
    few = replace(ANSWER, status="not fitted", not_fitted="too_few_doses", doses=(2.0, 4.5), groups=())
    assert not_fitted_sentence(few, metric).startswith("Only two doses were tried, 10 and 22.5 g: they tell")
    assert "tried, 2 and 4½ level teaspoons (10 and 22.5 g): they tell" in not_fitted_sentence(few, both)
    group = replace(GROUP, recommended=(dose("share of gain"),))
    assert dose_sentences(group, ANSWER, "g", 0.95, metric) == (
        "The curve recommends 33.8 g a bucket, the smallest that reaches 95 % of the gain that can be had within the "
        "range tried (95 % interval 29.6 to 36 g).",
        "From 10 g to the best dose the gain is 59.6 g (52.6 to 66.7).",
    )


def test_curves_that_cannot_be_told_apart() -> None:
    """The engine's reason is for a statistician."""
    refused = replace(ANSWER, status="not fitted", not_fitted="not_told_apart", technical="X is singular.", groups=())
    assert not_fitted_sentence(refused) == (
        "The records cannot tell the curves apart. (For a statistician: X is singular.)"
    )


def test_no_effect_recommends_nothing() -> None:
    """As far as the trial can tell."""
    assert said(GROUP) == (
        "No effect of the dose was shown between 2 and 8 level teaspoons (p = 0.21), so the curve recommends none: as "
        "far as this trial can tell, the lowest serves as well.",
    )


def test_a_dose_that_is_enough() -> None:
    """The dose in spoons, its interval, and the gain."""
    assert said(replace(GROUP, recommended=(dose("share of gain"),))) == (
        "The curve recommends 6¾ level teaspoons a bucket, the smallest that reaches 95 % of the gain that can be had "
        "within the range tried (95 % interval 5.9 to 7.2 teaspoons).",
        "From 2 level teaspoons to the best dose the gain is 59.6 g (52.6 to 66.7).",
    )


def test_what_lies_beyond_the_range_is_not_known() -> None:
    """Intervals that reach an end of the doses tried, and a line that still rises."""
    open_ended = dose("net return", reaches_lowest=True, reaches_highest=True)
    first, *rest = said(replace(GROUP, recommended=(open_ended,), levels_off=False))
    assert "the one of greatest return after the cost of the nutrient within" in first
    assert rest == [
        "The interval reaches the highest dose tried: whether more would be better still is not known.",
        "The interval reaches the lowest dose tried: whether less would do is not known.",
        "From 2 level teaspoons to the best dose the gain is 59.6 g (52.6 to 66.7).",
        "No levelling off was seen within the range tried.",
    ]
