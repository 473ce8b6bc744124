"""What a plan says, sentence by sentence."""

from dataclasses import replace
from typing import Any

import pytest

from sentences import sentences, too_long
from small_plan import small_plan
from trialkit.documents.plan import (
    Dropped,
    Event,
    Plan,
    PlanVerdict,
    Refusal,
    SensitivityRow,
    ShoppingItem,
    VarianceSource,
)
from trialkit.layouts.layout_warning import LayoutWarning
from trialkit.words.calendar_words import event_detail, event_title
from trialkit.words.layout_words import warning_sentence
from trialkit.words.plan_words import (
    basis_sentence,
    chances_sentence,
    changed_words,
    design_words,
    left_open_sentence,
    now_sentences,
    power_sentences,
    refusal_sentence,
    source_words,
    summary,
    takes_sentence,
    what_to_do,
    worth_sentence,
)
from trialkit.words.shopping_words import item_name, item_note

FEW_BETWEEN = LayoutWarning("few error degrees of freedom", effect="dose_tsp", error_df=9, between_sites=True)


@pytest.mark.parametrize(
    ("found", "expected"),
    [
        (refusal_sentence(Refusal("not analysable", detail="two terms")),
         "A trial laid out like this could not be analysed. Add a block or a garden, or take fewer treatments. (For a "
         "statistician: two terms)"),
        (refusal_sentence(Refusal("not comparable")),
         "No treatment shares a block or garden with the current practice, so none can be compared."),
        (refusal_sentence(Refusal("simulations failed", 6, 100)),
         "6 of 100 simulated trials could not be analysed, so the power would say little. This layout has too few "
         "blocks or buckets for its model. Add a block or garden, or take fewer treatments."),
        (refusal_sentence(Refusal("nothing fitted", 100, 100)),
         "None of 100 simulated trials could be analysed, as this layout is too small."),
        (source_words(VarianceSource("common practice")), "common practice without a source"),
        (source_words(VarianceSource("trial.toml")), "trial.toml and, for the rest, common practice without a source"),
        (source_words(VarianceSource("earlier trial", "Last autumn")), "the trial “Last autumn”"),
        (changed_words(SensitivityRow("all", 0.5, 0.9, 5.0)), "everything, half"),
        (changed_words(SensitivityRow("bucket", 2.0, 0.4, 20.0)), "buckets treated alike, double"),
        (event_title(Event("visit", 3, 8, 48, None)), "Visit 3 of 8"),
        (event_title(Event("visit", 8, 8, 63, None)), "Visit 8 of 8, the last harvest"),
        (event_detail(Event("visit", 8, 8, 63, None)),
         "Cut and weigh what is ready. Write down what became of every head that is left."),
        (warning_sentence(LayoutWarning("few error degrees of freedom", effect="cultivar", error_df=5)),
         "The effect of cultivar is judged by 5 degrees of freedom for error. Below 12, intervals widen fast. More "
         "blocks or gardens raise that number."),
        (warning_sentence(FEW_BETWEEN),
         "The effect of dose is judged by how much it differs between gardens, with 9 degrees of freedom for error. "
         "Below 12, intervals widen fast. More gardens raise that number. More blocks in each do not."),
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


ASKED = small_plan().designs[0]


def verdict(kind: PlanVerdict, *others: dict[str, Any], **asked: Any) -> Plan:
    """A plan of that verdict: the trial asked for (24 buckets, 10 g) and others, of which the first is proposed."""
    first = replace(ASKED, value_g=10.0, **asked)
    rows = tuple(replace(ASKED, **({"kind": "size"} | other)) for other in others)
    is_as_asked = kind in (PlanVerdict.RUN, PlanVerdict.NOT_WORTH_IT) or not others
    return replace(small_plan(), verdict=kind, proposed=0 if is_as_asked else 1, designs=(first, *rows))


MORE, FEWER = {"sites": 4, "buckets": 32, "value_g": 11.96}, {"blocks": 1, "buckets": 12, "value_g": 9.24}


@pytest.mark.parametrize(
    ("plan", "expected"),
    [
        (verdict(PlanVerdict.ENLARGE, MORE),
         "Run 4 gardens with 2 blocks each instead. That takes 32 buckets instead of 24, and should bring 2.0 g more "
         "a head."),
        (verdict(PlanVerdict.ENLARGE, MORE | {"buckets": 24, "blocks": 1}),
         "Run 4 gardens with 1 block each instead. That takes 24 buckets too, and should bring 2.0 g more a head."),
        (verdict(PlanVerdict.ASK_LESS, FEWER),
         "Run 3 gardens with 1 block each instead. That takes 12 buckets instead of 24, and should bring 0.8 g less a "
         "head."),
        (verdict(PlanVerdict.ASK_LESS, FEWER | {"kind": "fewer levels", "dropped": Dropped("dose_tsp", 2.0)}),
         "Run 3 gardens with 1 block each, without 2 tsp instead. That takes 12 buckets instead of 24, and should "
         "bring 0.8 g less a head."),
        (verdict(PlanVerdict.ASK_LESS, FEWER, beyond=("heads_per_bucket", "sites")),
         "As asked for, it goes beyond the limits. It asks for 2 heads in a bucket, where 2 is the most. It asks for 3 "
         "gardens, where 6 is the most. Run 3 gardens with 1 block each instead. That takes 12 buckets instead of 24, "
         "and should bring 0.8 g less a head."),
        (verdict(PlanVerdict.ASK_LESS, beyond=("buckets_per_site",)),
         "As asked for, it goes beyond the limits. It asks for 8 buckets in a garden, where 8 is the most. No smaller "
         "trial like it was found within them. Drop treatments, or widen the limits."),
        (verdict(PlanVerdict.RUN, {"value_g": 10.4}),
         "No trial of about its size is worth 1 g a head more. Much smaller ones are worth clearly less."),
        (verdict(PlanVerdict.RUN, {"sites": 6, "buckets": 48, "value_g": 11.5}),
         "No trial of about its size is worth 1 g a head more. Much smaller ones are worth clearly less. For 1.5 g "
         "more a head, run 6 gardens with 2 blocks each. But that takes 48 buckets instead of 24."),
        (verdict(PlanVerdict.NOT_WORTH_IT),
         "No trial within the limits should bring even 1 g more a head."),
    ],
)  # fmt: skip
def test_what_to_do(plan: Plan, expected: str) -> None:
    """Each verdict has its sentence, with the numbers of the table."""
    assert what_to_do(plan) == expected


def priced(kind: PlanVerdict) -> Plan:
    """A plan where money tells."""
    plan = verdict(kind, cost=96.0)
    one = replace(plan.value.asked, value_g=10.0, kg_a_year=50.0, worth_a_year=200.0)
    return replace(plan, value=replace(plan.value, asked=one, heads_a_year=5000.0))


def test_money_is_told_where_it_is_known() -> None:
    """In the verdict, in what the trial is worth and in what it takes."""
    assert what_to_do(priced(PlanVerdict.RUN)) == "No trial within the limits is clearly worth more after its cost."
    dear = "No trial within the limits earns in a year what its buckets cost."
    assert what_to_do(priced(PlanVerdict.NOT_WORTH_IT)) == dear
    assert worth_sentence(priced(PlanVerdict.RUN)) == (
        "By the trial as asked for, the next handout should gain 10 g per transplanted head. That is 50 kg a year on "
        "5000 heads, worth 200."
    )
    assert takes_sentence(priced(PlanVerdict.RUN).designs[0]).endswith(
        "visits of gardens over the harvest and 96 for buckets."
    )


@pytest.mark.parametrize(
    ("source", "expected"),
    [
        (
            "common practice",
            "This rests on common practice without a source. We assume that 10 % of the gardens give up.",
        ),
        ("ledger", "This rests on the 3 trials of the ledger. We assume that 10 % of the gardens give up."),
        ("earlier trial", "How things vary rests on the trial “Last autumn”. What treatments may do rests on common"),
    ],
)
def test_what_the_value_rests_on(source: Any, expected: str) -> None:
    """Common practice is said to have no source; of a ledger the number of trials is told."""
    plan = small_plan()
    plan = replace(
        plan, source=VarianceSource(source, "Last autumn"), value=replace(plan.value, source=source, trials=3)
    )
    assert basis_sentence(plan).startswith(expected)


def test_what_is_recommended_without_the_trial() -> None:
    """Where a ledger already tells another treatment than the current practice, that is said; else nothing."""
    plan = small_plan()
    other = replace(plan.practice, cultivar="Paleheart")
    assert now_sentences(replace(plan, value=replace(plan.value, now=plan.practice))) == ()
    assert now_sentences(replace(plan, value=replace(plan.value, now=other))) == (
        "Without the trial, the recommendation is Paleheart with 4 level teaspoons of nutrient a bucket.",
    )


def test_chances_and_intervals() -> None:
    """What another treatment's chance is, whether it is settled, and how wide the answer will be."""
    one = replace(small_plan().value.asked, change=0.883, settled=0.002, half_width_g=27.21, dose_half_width_tsp=1.888)
    assert chances_sentence(one) == (
        "The chance that it changes what is recommended is 88 in 100. The chance that the answer is then settled is "
        "less than 1 in 100."
    )
    assert left_open_sentence(one) == (
        "It should tell the gain within 27 g either way, and the best dose within 1.9 tsp."
    )
    assert left_open_sentence(replace(one, dose_half_width_tsp=None)).endswith("27 g either way.")


def test_designs_have_names() -> None:
    """By gardens and blocks, and by what else differs."""
    plan = small_plan()
    volunteers = replace(ASKED, kind="volunteers", sites=8, heads=3)
    practice = replace(ASKED, kind="practice buckets", practice_buckets=2)
    no_acid = replace(ASKED, kind="fewer levels", dropped=Dropped("acidifier", "none"))
    assert design_words(replace(ASKED, heads=1), plan) == "3 gardens with 2 blocks each, 1 head a bucket"
    assert design_words(volunteers, plan) == "8 volunteers with 3 buckets each, 3 heads a bucket"
    assert design_words(practice, plan).endswith("2 buckets of the current practice for each of another treatment")
    assert design_words(no_acid, plan).endswith("without buckets that get no acid")
    any_one = replace(ASKED, kind="fewer levels", dropped=Dropped("cultivar", None))
    assert design_words(any_one, plan).endswith("without one cultivar")
    assert design_words(replace(ASKED, sites=9, blocks=1), replace(plan, kind="volunteer blocks")) == "9 volunteers"


def test_sentences_are_short() -> None:
    """No sentence of the summary has too many words."""
    for kind in PlanVerdict:
        for line in summary(verdict(kind, *([MORE] if kind is PlanVerdict.ENLARGE else [FEWER]))):
            assert too_long(sentences(line)) == []


def test_a_trial_that_finds_nothing_of_any_size() -> None:
    """Where no difference has the power wanted, a dash stands for it."""
    plan = small_plan()
    nothing = replace(plan, difference=replace(plan.difference, detectable_g=None))
    assert "one of – g with a chance of 80 %" in power_sentences(nothing)[0]


def test_names_and_notes_of_what_is_needed() -> None:
    """A bucket has its volume, seed its cultivar; a nutrient that nobody named is what is usually given."""
    needed = small_plan().shopping
    named = {item_name(item, needed): item_note(item, needed) for item in needed.items}
    assert (
        named["food-grade bucket with a tight lid, at least 24 L (6.3 US gal) to the brim"]
        == "one for each bucket of the layout"
    )
    assert named["net cup"] == "2 for each bucket"
    assert named["seed of Fenleaf"] == "one for each head, where 85 % come up, and 10 % more"
    assert named["Blend L"] == "what the buckets get and 10 % more"
    unnamed = ShoppingItem("nutrient", None, 24, "bucket")
    assert item_name(unnamed, needed) == "nutrient"
    assert item_note(unnamed, needed) == "trial.toml names no dose, so this is what is usually given"
    vinegar = ShoppingItem("acidifier", "white vinegar 5 %", 3904, "mL")
    assert item_note(vinegar, needed) == "4 bottles of 1 L: by each garden's alkalinity, and 10 % more"
    assumed = replace(needed, waters_assumed=2)
    assert item_note(vinegar, assumed).endswith(", with 2 gardens of unknown alkalinity taken as medium")
    assert item_note(ShoppingItem("acidifier", "citric acid", 80, "g"), needed).startswith("1 pack of 100 g:")
    assert item_name(ShoppingItem("seed", None, 50, "seed"), needed) == "lettuce seed"
