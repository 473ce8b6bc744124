"""What a plan says, in sentences."""

from __future__ import annotations

from collections.abc import Mapping

from trialkit.documents.plan import (
    Enlargement,
    EnlargementGain,
    Grouping,
    HeadsLimit,
    LargerTrials,
    Method,
    Plan,
    PowerCurve,
    PracticeBuckets,
    Refusal,
    SensitivityRow,
    VarianceSource,
)
from trialkit.words.layout_words import warning_sentence
from trialkit.words.phrases import in_percent, number

UNKNOWN = "–"
BLOCK_WORDS: Mapping[str, str] = {"volunteer blocks": "volunteer", "Latin square": "square", "row-column": "rectangle"}
"""What a garden has several of, by the kind of layout; blocks in all others."""
ENLARGEMENT_WORDS: Mapping[Enlargement, str] = {
    "sites": "Another garden",
    "blocks": "Another {block} in each garden",
    "heads": "Another head in each bucket",
}
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
    found = plan.difference.detectable_g
    return (
        f"{plan.buckets} buckets at {_count(plan.sites, 'garden')}{each}, {plan.heads} heads: a difference of "
        f"{plan.margin_g:g} g from the current practice would be found with a chance of "
        f"{in_percent(plan.difference.power)}; one of {UNKNOWN if found is None else f'{found:.0f}'} g with "
        f"{in_percent(plan.power_wanted)}.",
        *map(warning_sentence, plan.warnings),
        *advice_sentences(plan)[:1],
        *larger_sentences(plan),
    )


def answer_sentences(plan: Plan) -> tuple[str, ...]:
    """Say what the trial can tell, to be read aloud."""
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
            "should. A larger trial (section 2), fewer treatments, or a larger margin would help."
        )
    return tuple(sentences)


def advice_sentences(plan: Plan) -> tuple[str, ...]:
    """Say what buys most, what each change brings, why heads soon stop helping, what the practice's buckets do."""
    advice, block = plan.advice, BLOCK_WORDS.get(plan.kind, "block")
    practice = [practice_sentence(advice.practice, plan.margin_g)] if advice.practice else []
    gains = [gain_sentence(gain, plan.margin_g, block) for gain in advice.gains]
    if not advice.tells_more:
        first = "None of the three changes makes this trial tell more."
    elif advice.priced:
        first = f"{_enlargement(advice.gains[0].kind, block)} buys most for what it costs."
    else:
        first = (
            f"{_enlargement(advice.gains[0].kind, block)} buys most in one step; decision.cost_per_bucket is not "
            "given, so cost is left out."
        )
    return (first, *gains, heads_sentence(advice.heads_limit), *practice)


def gain_sentence(gain: EnlargementGain, margin_g: float, block: str) -> str:
    """Say what an enlargement takes and brings; `block` is what a garden has several of."""
    effort = [f"{gain.added_buckets} more buckets"] if gain.added_buckets else []
    effort += [f"{gain.added_heads} more heads"]
    effort += [f"{gain.added_cost:,.2f} more to pay"] if gain.added_cost else []
    scope = " Only with it do the answers hold for gardens at large, whose own differences then count."
    return (
        f"{_enlargement(gain.kind, block)} ({', '.join(effort)}): the chance of finding a difference of {margin_g:g} g "
        f"goes from {in_percent(gain.power_before)} to {in_percent(gain.power_after)}, and the expected interval from "
        f"plus or minus {gain.half_width_before_g:.1f} g to {gain.half_width_after_g:.1f} g."
        f"{scope if gain.widens_scope else ''}"
    )


def heads_sentence(limit: HeadsLimit) -> str:
    """Say how far more heads in a bucket can help."""
    return (
        f"Buckets treated alike differ by about {limit.bucket_sd_g:.2g} g however many heads they hold; with "
        f"{_count(limit.heads, 'head')} a bucket that is already {in_percent(limit.bucket_share)} of the variance of a "
        f"bucket's mean. More heads can only shrink the other {in_percent(1 - limit.bucket_share)}: heads of one "
        "bucket share its solution, so they are not new trials of the treatment."
    )


def practice_sentence(practice: PracticeBuckets, margin_g: float) -> str:
    """Say what more buckets of the current practice bring."""
    return (
        f"{practice.buckets} buckets of the current practice for each one of another treatment "
        f"(layout.practice_buckets; {practice.added_buckets} more buckets): every treatment is compared with it, so "
        f"the chance of finding {margin_g:g} g goes from about {in_percent(practice.power_before)} to "
        f"{in_percent(practice.power_after)}."
    )


def larger_sentences(plan: Plan) -> tuple[str, ...]:
    """Say what it would take to have the power wanted, where the trial has less."""
    if plan.larger is None:
        return ()
    return (larger_sentence(plan.larger, plan.margin_g, plan.power_wanted, BLOCK_WORDS.get(plan.kind, "block")),)


def larger_sentence(larger: LargerTrials, margin_g: float, power_wanted: float, block: str) -> str:
    """Say what it would take; `block` is what a garden has several of."""
    target = f"a chance of {in_percent(power_wanted)} of finding {margin_g:g} g"
    parts = [
        f"{size.count} {'gardens' if size.kind == 'sites' else f'{block}s in each garden'} ({size.buckets} buckets)"
        for size in larger.sizes
        if size.count is not None
    ]
    if parts:
        return f"For {target} it would take about {', or '.join(parts)}, all else alike."
    looked = " or ".join(
        f"{size.largest} {'gardens' if size.kind == 'sites' else f'{block}s in each'}" for size in larger.sizes
    )
    beyond = f", not even with {looked}" if looked else ""
    return (
        f"No trial of this kind with up to {larger.most_buckets} buckets has {target}{beyond}: ask for a larger "
        "margin, or try fewer treatments at once."
    )


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


def _enlargement(kind: Enlargement, block: str) -> str:
    return ENLARGEMENT_WORDS[kind].format(block=block)


def _count(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"
