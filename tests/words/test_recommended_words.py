"""Sentences about recommended defaults: made from facts, in the measures that are asked for."""

from collections.abc import Iterator
from dataclasses import replace

from small_recommended import NEW, OLD, small_recommended
from trialkit.documents.pooled import CombinedGain, TrialGain, TrialGains
from trialkit.documents.recommended import FewTrials, Gaps, NitrogenAlone, Recommended
from trialkit.words import default_words as words
from trialkit.words.measures import Measures


def every_sentence(document: Recommended, measures: Measures) -> Iterator[str]:
    """All that tells a dose."""
    yield from words.what_is_not_known(document, measures)
    yield from words.not_compared(document, measures)
    yield from words.changes(document, measures)
    yield words.next_question(document, measures)
    yield words.why_next(document, measures)


def test_measures_switch_every_sentence() -> None:
    """In metric ones no spoon is left, in kitchen ones no gram, and both say both: 5 g a level teaspoon."""
    document = replace(small_recommended(), gaps=Gaps((), (), (NEW,), None))
    kitchen, metric, both = (" ".join(every_sentence(document, way)) for way in ("kitchen", "metric", "both"))
    assert "teaspoon" not in metric
    assert " g " not in kitchen
    assert kitchen.count("8 level teaspoons of nutrient") == metric.count("40 g of nutrient") == 5
    assert both.count("8 level teaspoons (40 g) of nutrient") == 5


def test_the_same_nitrogen_from_another_product() -> None:
    """Half as strong, twice as much of it is the same default, said in the measures that are asked for."""
    usual = small_recommended()
    assert usual.change is not None
    thin = replace(usual.change.recommended, product="Thin Blend", treatment=replace(OLD, dose_tsp=12.0))
    document = replace(usual, recommended=thin)
    assert list(words.changes(document))[-1] == (
        "The default stays as it was: 12 teaspoons of Thin Blend bring the nitrogen that 6 of Blend L 9-12-30 did."
    )
    assert "60 g of Thin Blend bring the nitrogen that 30 g of" in list(words.changes(document, "metric"))[-1]


def test_another_default_and_evidence_that_is_the_same() -> None:
    """The old default and the new are named; where nothing came or went, that is said."""
    document = small_recommended()
    assert list(words.changes(document)) == [
        "New evidence: trial-2, summer 2027.",
        "The default changes from Larkmoor Butter with 6 level teaspoons of nutrient a bucket and white vinegar 5 % to "
        "Fenleaf with 8 level teaspoons of nutrient a bucket and white vinegar 5 %.",
    ]
    assert document.change is not None
    anew = replace(document, recommended=document.current, change=replace(document.change, added=()))
    assert list(words.changes(anew)) == [
        "The evidence is the same; it was worked out anew.",
        "The default stays as it was.",
    ]


def test_what_the_trials_cannot_tell() -> None:
    """Each gap has its sentence, with the trade's word for the factor."""
    gaps = Gaps(
        few_trials=(FewTrials("cultivar", 1), FewTrials("acidifier", 2)),
        not_separated=("trial", "trial_site"),
        tried_once=(OLD,),
        nitrogen_alone=NitrogenAlone("Thin Blend", ("Blend L", "Blend M")),
    )
    said = list(words.what_is_not_known(replace(small_recommended(), gaps=gaps)))
    assert [sentence[:40] for sentence in said] == [
        "Only 1 trial varied cultivars: how much ",
        "Only 2 trials varied acids: how much the",
        "These records cannot tell how much effec",
        "Tried in one trial only, and so not reco",
        "No trial used this much of Thin Blend: t",
    ]
    assert "between trials and gardens" in said[2]
    assert "calculated from Blend L, Blend M by nitrogen" in said[4]


def test_how_much_trials_differ() -> None:
    """Nothing after one trial; of two how many were ahead; from three the spread, or that there is none to be seen."""

    def differ(*gains: float, tau_g: float = 0.0) -> str:
        trials = tuple(TrialGain(f"t{i}", "", gain, 5.0, 3) for i, gain in enumerate(gains))
        combined = CombinedGain(10.0, 3.0, 1.0, 19.0, -4.0, 24.0, tau_g, 0.0, 12.0, 0.4, 3.0, len(gains))
        return words.heterogeneity(TrialGains(trials, combined if len(gains) > 1 else None, (), ()))

    assert differ(5.0) == "One trial alone says nothing of how much seasons differ."
    assert differ(5.0, -1.0).startswith("It was ahead in one of the two trials.")
    assert "so few might hide a standard deviation of 12 g" in differ(5.0, 6.0, 7.0)
    assert "so few" not in differ(*[5.0] * 6)
    assert "a standard deviation of 8 g (between 0 and 12 g): 40 %" in differ(5.0, -6.0, 7.0, tau_g=8.0)
    assert differ(5.0, -6.0, 7.0).startswith("It was ahead in 2 of 3 trials.")
    assert differ(5.0, -6.0, 7.0).endswith("find -4 to 24 g.")
