"""What the doses of a response say, and what they cannot tell."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from trialkit.documents.findings import DoseAnswer, DoseGroup, RecommendedDose
from trialkit.domain.thresholds import FEWEST_CURVE_DOSES
from trialkit.words.measures import KITCHEN, MeasureSystem, in_measures, spoons, teaspoons
from trialkit.words.phrases import in_percent, number, p_value
from trialkit.words.response_words import for_a_statistician


def not_fitted_sentence(dose: DoseAnswer, system: MeasureSystem = KITCHEN) -> str:
    """Say why no curve was fitted, and what fewer than four doses cannot tell."""
    if dose.not_fitted == "not_told_apart":
        return f"The records cannot tell the curves apart. {for_a_statistician(dose.technical or '')}"
    tried = _doses(dose.doses, system)
    if len(dose.doses) == 2:
        return (
            f"Only two doses were tried, {tried}: they tell which of the two is better, but nothing of the doses "
            "between them or beyond."
        )
    return (
        f"Only three doses were tried, {tried}: a plateau cannot be told from a curve, so no dose is recommended but "
        f"one of those tried. {FEWEST_CURVE_DOSES} doses or more could tell."
    )


def dose_sentences(
    group: DoseGroup, dose: DoseAnswer, unit: str, confidence: float, system: MeasureSystem = KITCHEN
) -> tuple[str, ...]:
    """Say what the curves of a group tell, and what they do not."""
    return tuple(_group(group, dose, unit, confidence, system))


def _group(group: DoseGroup, dose: DoseAnswer, unit: str, confidence: float, system: MeasureSystem) -> Iterator[str]:
    lowest, highest = group.points[0].dose_tsp, group.points[-1].dose_tsp
    if not group.recommended:
        yield (
            f"No effect of the dose was shown between {_doses([lowest, highest], system)} "
            f"({p_value(group.p)}), so the curve recommends none: as far as this trial can tell, the lowest serves as "
            "well."
        )
        return
    for one in group.recommended:
        yield from _recommended(one, dose.share_of_gain, confidence, system)
    gain = group.gain
    yield (
        f"From {teaspoons(lowest, system)} to the best dose the gain is {number(gain.estimate)} {unit} "
        f"({number(gain.lower)} to {number(gain.upper)})."
    )
    if not group.levels_off:
        yield "No levelling off was seen within the range tried."


def _recommended(found: RecommendedDose, share: float, confidence: float, system: MeasureSystem) -> Iterator[str]:
    why = (
        f"the smallest that reaches {in_percent(share)} of the gain that can be had"
        if found.basis == "share of gain"
        else "the one of greatest return after the cost of the nutrient"
    )
    limits = _limits(found, system)
    yield (
        f"The curve recommends {teaspoons(found.spoons_tsp, system)} a bucket, {why} within the range tried "
        f"({number(confidence * 100)} % interval {limits})."
    )
    if found.reaches_highest:
        yield "The interval reaches the highest dose tried: whether more would be better still is not known."
    if found.reaches_lowest:
        yield "The interval reaches the lowest dose tried: whether less would do is not known."


def _limits(found: RecommendedDose, system: MeasureSystem) -> str:
    limits = found.lower_tsp, found.upper_tsp
    kitchen = f"{' to '.join(number(dose, 2) for dose in limits)} teaspoons"
    grams = system.nutrient_g_per_tsp
    if grams is None:
        return kitchen
    return in_measures(system.measures, kitchen, f"{' to '.join(number(dose * grams) for dose in limits)} g")


def _doses(doses: Sequence[float], system: MeasureSystem) -> str:
    """Say some doses, the unit once."""
    kitchen = f"{', '.join(spoons(dose) for dose in doses[:-1])} and {teaspoons(doses[-1])}"
    grams = system.nutrient_g_per_tsp
    if grams is None:
        return kitchen
    *first, last = (number(dose * grams) for dose in doses)
    return in_measures(system.measures, kitchen, f"{', '.join(first)} and {last} g")
