"""Sentences about recommended defaults: made from facts, in the measures that are asked for."""

from collections.abc import Iterator
from dataclasses import replace

import pytest

from small_recommended import ACID, OLD, PROPOSED, small_recommended
from trialkit.documents.decision import Gain, Verdict
from trialkit.documents.recommended import NitrogenAlone, PracticePart, Recommended, TrialName
from trialkit.words import default_words as words
from trialkit.words.measures import Measures


def every_sentence(document: Recommended, measures: Measures) -> Iterator[str]:
    """All that tells a dose."""
    yield from words.what_is_not_known(document)
    yield from words.changes(document, measures)
    yield words.next_trial(document, measures)
    yield words.set_beside(document, measures)


def test_measures_switch_every_sentence() -> None:
    """In metric ones no spoon is left, in kitchen ones no gram, and both say both: 5 g a level teaspoon."""
    kitchen, metric, both = (
        " ".join(every_sentence(small_recommended(), way)) for way in ("kitchen", "metric", "both")
    )
    assert "teaspoon" not in metric
    assert " g " not in kitchen
    assert kitchen.count("8 level teaspoons of nutrient") == metric.count("40 g of nutrient") == 3
    assert both.count("8 level teaspoons (40 g) of nutrient") == 2
    assert "7 and 8 level teaspoons (35 and 40 g) of nutrient" in both


def test_the_same_nitrogen_from_another_product() -> None:
    """Half as strong, twice as much of it is the same default, said in the measures that are asked for."""
    usual = small_recommended()
    assert usual.change is not None
    thin = replace(usual.change.recommended, product="Thin Blend", treatment=replace(OLD, dose_tsp=12.0))
    document = replace(usual, recommended=thin)
    assert list(words.changes(document, "kitchen"))[-1] == (
        "The default stays as it was. 12 teaspoons of Thin Blend bring the nitrogen that 6 of Blend L 9-12-30 did."
    )
    assert "60 g of Thin Blend bring the nitrogen that 30 g of" in list(words.changes(document, "metric"))[-1]


def test_the_same_nitrogen_with_another_part() -> None:
    """A feed that gains calcium nitrate takes fewer spoons of its base for the same nitrogen: all of it is named."""
    usual = small_recommended()
    assert usual.change is not None
    parts = (PracticePart("calcium nitrate", 2.0, 5.0),)
    fed = replace(usual.change.recommended, parts=parts, treatment=replace(OLD, dose_tsp=4.0))
    assert list(words.changes(replace(usual, recommended=fed), "kitchen"))[-1] == (
        "The default stays as it was. 4 teaspoons of Blend L 9-12-30 with calcium nitrate bring the nitrogen that 6 of "
        "Blend L 9-12-30 did."
    )


@pytest.mark.parametrize(
    ("measures", "said"),
    [
        ("kitchen", "3 level teaspoons of calcium nitrate and 1 level teaspoon of Epsom salt"),
        ("metric", "15 g of calcium nitrate and 4 g of Epsom salt"),
    ],
)
def test_the_answer_says_what_goes_in_beside_the_nutrient(measures: Measures, said: str) -> None:
    """In order and in the measures asked for; nothing where the feed is one product."""
    usual = small_recommended()
    parts = (PracticePart("calcium nitrate", 3.0, 5.0), PracticePart("Epsom salt", 1.0, 4.0))
    fed = replace(usual, recommended=replace(usual.recommended, parts=parts))
    told = f"After the nutrient, stir {said} into each bucket."
    assert words.answer(fed, measures) == (*words.answer(usual, measures), told)


def test_another_default_and_evidence_that_is_the_same() -> None:
    """The old default and the new are named; where nothing came or went, that is said."""
    document = small_recommended()
    assert list(words.changes(document, "kitchen")) == [
        "New evidence: trial-2, summer 2027.",
        "The default was Larkmoor Butter with 6 level teaspoons of nutrient a bucket and white vinegar 5 %.",
        "It is now Fenleaf with 8 level teaspoons of nutrient a bucket and white vinegar 5 %.",
    ]
    assert document.change is not None
    anew = replace(document, recommended=document.current, change=replace(document.change, added=()))
    assert list(words.changes(anew, "kitchen")) == [
        "The evidence is the same, and was analysed anew.",
        "The default stays as it was.",
    ]


def test_what_rested_on_withdrawn_evidence_is_no_practice() -> None:
    """Where the last default went with its evidence, the reader is told what is set beside instead."""
    usual = small_recommended()
    assert usual.change is not None
    gone = replace(usual.change, added=(), withdrawn=(TrialName("trial-1", ""),), recommended=usual.recommended)
    said = list(words.changes(replace(usual, change=gone), "kitchen"))
    assert said[0] == "Withdrawn: trial-1, season not stated."
    assert said[-1] == (
        "What rested on withdrawn evidence no longer counts. The default is now compared with Larkmoor Butter with 6 "
        "level teaspoons of nutrient a bucket and white vinegar 5 %."
    )


def test_what_the_trials_cannot_tell() -> None:
    """Trials without both, gardens in which the choice was not tried, and a product that nobody tried so much of."""
    document = replace(small_recommended(), nitrogen_alone=NitrogenAlone("Thin Blend", ("Blend L", "Blend M")))
    assert list(words.what_is_not_known(document)) == [
        "In 1 trial no garden had both this treatment and the current practice (trial-2, summer 2027). What was tried "
        "there still counts.",
        "This treatment was not yet tried in water of high alkalinity and gardens of the kind “school”. What is said "
        "of these comes from other gardens.",
        "No trial used this much of Thin Blend. The dose is calculated from Blend L, Blend M by nitrogen alone, and "
        "the other elements differ. Try it before you print it.",
    ]
    kept = replace(document, decision=replace(document.decision, verdict=Verdict.KEEP))
    assert any(said.startswith("The best alternative was not yet tried in") for said in words.what_is_not_known(kept))


@pytest.mark.parametrize(
    ("gains", "said"),
    [
        ((None,), "No trial had {} in one garden."),
        ((24.4,), "One trial had {} in its gardens. As recorded, the gain was 24 g."),
        ((-0.3,), "One trial had {} in its gardens. As recorded, the gain was 0 g."),
        ((31.0, 24.0), "2 trials had {} in their gardens. As recorded, it was ahead in both of them, with gains of"),
        ((-3.0, 24.0, None), "2 trials had {} in their gardens. As recorded, it was ahead in 1 of them, with gains of"),
        ((-3.0, -1.0), "2 trials had {} in their gardens. As recorded, it was ahead in none of them, with gains of -3"),
        ((3.0, 1.0, 2.0), "3 trials had {} in their gardens. As recorded, it was ahead in all of them, with gains of"),
    ],
)
def test_trial_by_trial(gains: tuple[float | None, ...], said: str) -> None:
    """How many trials had both and were ahead, and the one gain of all beside."""
    document = small_recommended()
    trials = tuple(replace(document.evidence[0], gain=gain) for gain in gains)
    found = words.trial_by_trial(replace(document, evidence=trials))
    assert found.startswith(said.format("both this treatment and the current practice"))
    assert found.endswith(" From all trials together we expect a gain of 27 g.")


def test_where_the_acid_comes_from() -> None:
    """Beside chemistry, by so many mixings; by chemistry alone; not spoken of where there is none."""
    document = small_recommended()
    assert list(words.acid_taken(document)) == [
        "The amounts of acid on the handout are 1.06 times what chemistry says (95 % interval 0.97 to 1.16). That is "
        "what 168 mixings in 9 gardens of the trials took. Even in the water of least alkalinity of its class, no "
        "amount brings the pH below 5. None is raised so far that by chemistry the pH there would fall below 5.25."
    ]
    alone = replace(document, acid_ratio=None)
    assert list(words.acid_taken(alone)) == [
        "The amounts of acid on the handout are as chemistry has them. No trial's readings tell what waters took."
    ]
    assert list(words.acid_taken(replace(alone, acid=()))) == []


def test_garden_by_garden() -> None:
    """Between what the gain lies; one gain in all is said as one."""
    document = small_recommended()
    assert words.gains_by_garden(document).startswith(
        "From one kind of garden to another, the expected gain goes from 24 g to 30 g. This treatment was not yet tried"
    )
    same = tuple(replace(one, gain=Gain(27.0, 1.0, 50.0), tried=True) for one in document.by_garden)
    assert words.gains_by_garden(replace(document, by_garden=same)) == (
        "The expected gain is 27 g in every kind of garden."
    )


def test_the_next_trial() -> None:
    """What it compares, in how many buckets, what it is expected to bring, and where it would tell most."""
    document = small_recommended()
    assert words.next_trial(document, "kitchen") == (
        "This is the next trial worth most. Cultivars: Fenleaf and Larkmoor Butter. Doses: 7 and 8 level teaspoons of "
        "nutrient a bucket. Acid: white vinegar 5 %. In all: 4 treatments in 24 buckets at 3 gardens, 2 blocks in each."
    )
    assert words.why_next(document) == (
        "By it, the next handout should gain 1.4 g per transplanted head. The chance that it changes what is "
        "recommended is 21 in 100. It would tell most in water of high alkalinity and gardens of the kind “school”, "
        "where this treatment was not yet tried."
    )
    assert words.next_question(PROPOSED) == (
        "Which should our next handout recommend: Fenleaf or Larkmoor Butter; 7 or 8 level teaspoons of nutrient a "
        "bucket?"
    )
    assert "where" not in words.why_next(replace(document, by_garden=()))
    volunteers = replace(PROPOSED, block_size=3, acidifiers=(ACID, "none"))
    assert "Acids: white vinegar 5 % and no acid." in words.proposed_words(volunteers)
    assert words.proposed_words(volunteers).endswith("3 gardens, 3 with each volunteer.")


def test_no_next_trial() -> None:
    """Where nothing is worth its buckets, and where nothing fits the limits."""
    document = small_recommended()
    idle = replace(document, next_trial=replace(PROPOSED, value_g=0.04, worth_it=False))
    assert words.next_trial(idle) == "No further trial of these treatments is worth its buckets. Try something new."
    unsettled = replace(idle, decision=replace(idle.decision, verdict=Verdict.CHANGE_AND_TEST))
    assert words.next_trial(unsettled) == (
        "What is still open is small: no further trial of these treatments alone is worth its buckets. Test them again "
        "beside something new."
    )
    assert "less than 0.1 g per transplanted head" in words.why_next(idle)
    assert "less than 0.01 oz per" in words.why_next(idle, "kitchen")
    none = replace(document, next_trial=None)
    assert "limits of the newest protocol" in words.next_trial(none)
    assert "[limits]" in words.why_next(none)
