"""What a plan says, sentence by sentence."""

from dataclasses import replace
from typing import Any

import pytest

from small_plan import small_plan
from trialkit.documents.plan import (
    EnlargementGain,
    Event,
    HeadsLimit,
    LargerTrials,
    PracticeBuckets,
    Refusal,
    SensitivityRow,
    ShoppingItem,
    SufficientSize,
    VarianceSource,
)
from trialkit.layouts.layout_warning import LayoutWarning
from trialkit.words.calendar_words import event_detail, event_title
from trialkit.words.layout_words import warning_sentence
from trialkit.words.plan_words import (
    advice_sentences,
    answer_sentences,
    changed_words,
    gain_sentence,
    heads_sentence,
    larger_sentence,
    practice_sentence,
    refusal_sentence,
    source_words,
    summary,
)
from trialkit.words.shopping_words import item_name, item_note

GAIN = EnlargementGain("blocks", 24, 96, 192.0, 0.412, 0.55, 12.345, 10.0, widens_scope=False)
SITES, BLOCKS = SufficientSize("sites", 19, 171, 24), SufficientSize("blocks", 9, 216, 16)


@pytest.mark.parametrize(
    ("found", "expected"),
    [
        (gain_sentence(GAIN, 15.0, "volunteer"),
         "Another volunteer in each garden (24 more buckets, 96 more heads, 192.00 more to pay): the chance of finding "
         "a difference of 15 g goes from 41 % to 55 %, and the expected interval from plus or minus 12.3 g to 10.0 g."),
        (gain_sentence(replace(GAIN, kind="sites", added_cost=0.0, widens_scope=True), 12.5, "block"),
         "Another garden (24 more buckets, 96 more heads): the chance of finding a difference of 12.5 g goes from 41 % "
         "to 55 %, and the expected interval from plus or minus 12.3 g to 10.0 g. Only with it do the answers hold for "
         "gardens at large, whose own differences then count."),
        (heads_sentence(HeadsLimit(81 / (81 + 225 / 4), 9.0, 15.0, 4)),
         "Buckets treated alike differ by about 9 g however many heads they hold; with 4 heads a bucket that is "
         "already 59 % of the variance of a bucket's mean. More heads can only shrink the other 41 %: heads of one "
         "bucket share its solution, so they are not new trials of the treatment."),
        (practice_sentence(PracticeBuckets(2, 6, 0.5, 0.6), 10.0),
         "2 buckets of the current practice for each one of another treatment (layout.practice_buckets; 6 more "
         "buckets): every treatment is compared with it, so the chance of finding 10 g goes from about 50 % to 60 %."),
        (larger_sentence(LargerTrials((SITES, BLOCKS), 1000), 12.5, 0.8, "volunteer"),
         "For a chance of 80 % of finding 12.5 g it would take about 19 gardens (171 buckets), or 9 volunteers in each "
         "garden (216 buckets), all else alike."),
        (larger_sentence(LargerTrials((replace(SITES, count=None), BLOCKS), 1000), 12.5, 0.8, "block"),
         "For a chance of 80 % of finding 12.5 g it would take about 9 blocks in each garden (216 buckets), all else "
         "alike."),
        (larger_sentence(
             LargerTrials((replace(SITES, count=None), replace(BLOCKS, count=None)), 1000), 0.5, 0.8, "block"),
         "No trial of this kind with up to 1000 buckets has a chance of 80 % of finding 0.5 g, not even with 24 "
         "gardens or 16 blocks in each: ask for a larger margin, or try fewer treatments at once."),
        (refusal_sentence(Refusal("not analysable", detail="two terms")),
         "A trial laid out like this could not be analysed: add a block or a garden, or take fewer treatments. (For a "
         "statistician: two terms)"),
        (refusal_sentence(Refusal("not comparable")),
         "No treatment shares a block or garden with the current practice: none can be compared."),
        (refusal_sentence(Refusal("simulations failed", 6, 100)),
         "6 of 100 simulated trials could not be analysed, so the power would say little: this layout has too few "
         "blocks or buckets for its model. Add a block or garden, or take fewer treatments."),
        (refusal_sentence(Refusal("nothing fitted", 100, 100)),
         "None of 100 simulated trials could be analysed: this layout is too small."),
        (source_words(VarianceSource("common practice")), "common practice, no source"),
        (source_words(VarianceSource("trial.toml")), "trial.toml, and common practice, no source, for the rest"),
        (source_words(VarianceSource("earlier trial", "Last autumn")), "the trial “Last autumn”"),
        (changed_words(SensitivityRow("all", 0.5, 0.9, 5.0)), "everything, half"),
        (changed_words(SensitivityRow("bucket", 2.0, 0.4, 20.0)), "buckets treated alike, double"),
        (event_title(Event("visit", 3, 8, 48, None)), "Visit 3 of 8"),
        (event_title(Event("visit", 8, 8, 63, None)), "Visit 8 of 8, the last harvest"),
        (event_detail(Event("visit", 8, 8, 63, None)),
         "Cut what is ready; record every head that is left as not ready, dead, bolted or missing."),
        (warning_sentence(LayoutWarning("few error degrees of freedom", effect="cultivar", error_df=5)),
         "The effect of cultivar is judged by 5 degrees of freedom for error; below 12 intervals widen fast. Add "
         "blocks or gardens."),
        (warning_sentence(LayoutWarning("confounded with blocks", effect="cultivar:dose_tsp")),
         "No part of the layout estimates the whole effect of cultivar by dose: it is mixed up with blocks. Make "
         "blocks larger, or spread its levels over every block."),
        (warning_sentence(LayoutWarning("missing combinations", effect="dose_tsp", estimable_in_part=True)),
         "Combinations of levels are missing, so the effect of dose cannot be estimated in full. Add the combinations "
         "of levels that are missing."),
    ],
)  # fmt: skip
def test_sentences(found: str, expected: str) -> None:
    """Each fact has its sentence."""
    assert found == expected


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({}, "Another head in each bucket buys most in one step; decision.cost_per_bucket is not given"),
        ({"priced": True}, "Another head in each bucket buys most for what it costs."),
        ({"tells_more": False}, "None of the three changes makes this trial tell more."),
    ],
)
def test_what_buys_most(changes: dict[str, Any], expected: str) -> None:
    """The best change is named first, with or without costs; then each change, the heads and the practice."""
    plan = small_plan()
    gains = tuple(sorted(plan.advice.gains, key=lambda gain: gain.kind != "heads"))
    advice = advice_sentences(replace(plan, advice=replace(plan.advice, gains=gains, **changes)))
    assert advice[0].startswith(expected)
    assert len(advice) == 6


def test_a_trial_that_finds_nothing_of_any_size() -> None:
    """Where no difference has the power wanted, a dash stands for it."""
    plan = small_plan()
    nothing = replace(plan, difference=replace(plan.difference, detectable_g=None))
    assert "; one of – g with 80 %." in summary(nothing)[0]
    assert "one of – g with a chance of 80 %" in answer_sentences(nothing)[0]


def test_names_and_notes_of_what_is_needed() -> None:
    """A bucket has its volume, seed its cultivar; a nutrient that nobody named is what is usually given."""
    needed = small_plan().shopping
    named = {item_name(item, needed): item_note(item, needed) for item in needed.items}
    assert named["bucket with a lid, 20 L"] == "one a place in the layout"
    assert named["net cup"] == "2 a bucket"
    assert named["seed of Fenleaf"] == "one a head, 85 % coming up, 10 % more"
    assert named["Blend L"] == "what the buckets get and 10 % more"
    unnamed = ShoppingItem("nutrient", None, 24, "bucket")
    assert item_name(unnamed, needed) == "nutrient"
    assert item_note(unnamed, needed) == "trial.toml names no dose: what is usually given"
    vinegar = ShoppingItem("acidifier", "white vinegar 5 %", 3904, "mL")
    assert item_note(vinegar, needed) == "4 bottles of 1 L: by each garden's alkalinity, and 10 % more"
    assumed = replace(needed, waters_assumed=2)
    assert item_note(vinegar, assumed).endswith("; 2 gardens of unknown alkalinity taken as medium")
    assert item_note(ShoppingItem("acidifier", "citric acid", 80, "g"), needed).startswith("1 pack of 100 g:")
    assert item_name(ShoppingItem("seed", None, 50, "seed"), needed) == "lettuce seed"
