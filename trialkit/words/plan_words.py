"""What a plan says, in sentences."""

from __future__ import annotations

from collections.abc import Mapping

from trialkit.documents.plan import (
    DesignRow,
    Grouping,
    Method,
    Plan,
    PlanVerdict,
    PowerCurve,
    Refusal,
    SensitivityRow,
    VarianceSource,
)
from trialkit.words.layout_words import warning_sentence
from trialkit.words.phrases import number

UNKNOWN = "–"
BLOCK_WORDS: Mapping[str, str] = {"volunteer blocks": "volunteer", "Latin square": "square", "row-column": "rectangle"}
"""What a garden has several of, by the kind of layout; blocks in all others."""
GROUPING_WORDS: Mapping[Grouping, str] = {
    "site": "gardens",
    "block": "blocks within gardens",
    "whole_plot": "whole plots within blocks",
    "site_by_factor": "treatment effects differing between gardens",
    "bucket": "buckets treated alike",
    "head": "heads within a bucket",
}
METHOD_WORDS: Mapping[Method, str] = {
    "exact": "exact",
    "approximate": "approximate: the layout is not orthogonal",
    "simulated": "simulated trials",
}


def summary(plan: Plan) -> tuple[str, ...]:
    """Say what the adviser should know first."""
    each = f" ({_count(plan.blocks, 'volunteer')} in each)" if plan.kind == "volunteer blocks" else ""
    return (
        f"{plan.buckets} buckets at {_count(plan.sites, 'garden')}{each}, {plan.heads} heads.",
        *value_sentences(plan),
        *map(warning_sentence, plan.warnings),
    )


def value_sentences(plan: Plan) -> tuple[str, ...]:
    """Say what to do with the plan, and why."""
    value = plan.value
    sentences = [verdict_sentence(plan), worth_sentence(plan)]
    sentences.append(
        f"The chance that another treatment will be recommended after it is {whole_percent(value.change)}; that the "
        f"answer will be settled, {whole_percent(value.settled)}."
    )
    return tuple(sentences)


def verdict_sentence(plan: Plan) -> str:
    """Say what to do with the plan."""
    asked, row = plan.designs[0], plan.designs[plan.proposed]
    what = design_words(row, plan)
    match plan.verdict:
        case PlanVerdict.RUN:
            return "Run it as it is: no design within the limits is clearly better for its cost."
        case PlanVerdict.NOT_WORTH_IT:
            return "Not worth it: whatever such a trial finds would hardly change what is grown."
        case PlanVerdict.ENLARGE:
            return (
                f"Enlarge it: {what} ({row.buckets} buckets) is expected to bring "
                f"{_grams(row.value_g - asked.value_g)} more a head."
            )
        case PlanVerdict.ASK_LESS if plan.proposed == 0:
            return "Ask less of it: it is beyond the limits that trial.toml states, and so is every design like it."
        case PlanVerdict.ASK_LESS if asked.beyond:
            return (
                f"Ask less of it: it is beyond the limits that trial.toml states; {what} ({row.buckets} buckets) "
                "is not."
            )
        case PlanVerdict.ASK_LESS:
            return (
                f"Ask less of it: {what} does with {row.buckets} buckets instead of {asked.buckets}, for "
                f"{_grams(asked.value_g - row.value_g)} less a head."
            )


def worth_sentence(plan: Plan) -> str:
    """Say what the trial asked for is worth."""
    value = plan.value
    base = f"As asked for, it is expected to bring the next handout {_grams(value.value_g)} more a transplanted head"
    if value.kg_a_year is None:
        return f"{base}."
    money = f", worth {value.worth_a_year:,.0f}" if value.worth_a_year is not None else ""
    return f"{base}: {value.kg_a_year:,.0f} kg a year on {value.heads_a_year:,.0f} heads{money}."


def design_words(row: DesignRow, plan: Plan) -> str:
    """Name a design."""
    block = BLOCK_WORDS.get(plan.kind, "block")
    match row.kind:
        case "volunteers":
            return f"{row.buckets // row.sites} buckets with each of {row.sites} volunteers"
        case "practice buckets":
            return f"{row.practice_buckets} buckets of the current practice for each one of another treatment"
        case "fewer levels" if row.dropped:
            level = _dropped(row.dropped.level, plan)
            return f"without {level}, {_count(row.sites, 'garden')} with {_count(row.blocks, block)} each"
        case _:
            heads = "" if row.heads == plan.heads_per_bucket else f", {_count(row.heads, 'head')} a bucket"
            return f"{_count(row.sites, 'garden')} with {_count(row.blocks, block)} each{heads}"


def _dropped(level: str | float, plan: Plan) -> str:
    if not isinstance(level, float):
        return level
    grams = plan.nutrient_g_per_tsp
    return f"{level * grams:g} g" if plan.measures == "metric" and grams is not None else f"{level:g} teaspoons"


def _grams(value: float) -> str:
    return f"{plain(value, 2)} g"


def power_sentences(plan: Plan) -> tuple[str, ...]:
    """Say what its tests can tell."""
    found, wanted = plan.difference, percent(plan.power_wanted)
    sentences = [
        f"This trial would find a difference of {plain(plan.margin_g)} g a head from the current practice with a "
        f"chance of {whole_percent(found.power)}, and one of {plain(found.detectable_g)} g with a chance of {wanted}.",
        f"Its interval for a difference would reach about {plain(found.half_width_g)} g either way, allowing for all "
        "comparisons.",
    ]
    if found.power < plan.power_wanted:
        sentences.append(
            f"That is less than the {wanted} that is usual: it would more likely miss such a difference than it "
            "should. A larger trial, fewer treatments, or a larger margin would help."
        )
    return tuple(sentences)


def refusal_sentence(refusal: Refusal) -> str:
    """Say why a size of trial cannot be analysed, and what to change."""
    match refusal.code:
        case "not analysable":
            return (
                "A trial laid out like this could not be analysed: add a block or a garden, or take fewer treatments. "
                f"(For a statistician: {refusal.detail})"
            )
        case "not comparable":
            return "No treatment shares a block or garden with the current practice: none can be compared."
        case "simulations failed":
            return (
                f"{refusal.failed} of {refusal.replicates} simulated trials could not be analysed, so the power would "
                "say little: this layout has too few blocks or buckets for its model. Add a block or garden, or take "
                "fewer treatments."
            )
        case "nothing fitted":
            return f"None of {refusal.replicates} simulated trials could be analysed: this layout is too small."


def source_words(source: VarianceSource) -> str:
    """Say where assumed variances come from."""
    match source.code:
        case "common practice":
            return "common practice, no source"
        case "trial.toml":
            return "trial.toml, and common practice, no source, for the rest"
        case "earlier trial":
            return f"the trial “{source.trial}”"
        case "ledger":
            return "the trials of the ledger"


def changed_words(row: SensitivityRow) -> str:
    """Name what is changed, and how."""
    what = "everything" if row.changed == "all" else GROUPING_WORDS[row.changed]
    return f"{what}, {'half' if row.factor < 1 else 'double'}"


def curve_words(curve: PowerCurve) -> str:
    """Name a power curve by the variances it rests on."""
    if curve.variance_factor == 1:
        return "as assumed"
    return f"variances {'half' if curve.variance_factor < 1 else 'double'}"


def plain(value: float | None, digits: int = 3) -> str:
    """Write a number to so many significant digits, whole from there up; a dash where there is none.

    Examples
    --------
    >>> plain(1234.4), plain(12.345), plain(None)
    ('1234', '12.3', '–')
    """
    if value is None:
        return UNKNOWN
    return f"{value:.0f}" if abs(value) >= 10**digits else number(value, digits)


def percent(share: float) -> str:
    """Write a share as a percentage.

    Examples
    --------
    >>> percent(0.95), percent(0.125)
    ('95 %', '12.5 %')
    """
    return f"{plain(share * 100)} %"


def whole_percent(share: float | None) -> str:
    """Write a chance as a whole percentage; a dash where there is none.

    Examples
    --------
    >>> whole_percent(0.4123), whole_percent(None)
    ('41 %', '–')
    """
    return UNKNOWN if share is None else percent(round(share, 2))


def _count(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"
